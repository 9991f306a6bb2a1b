package access

import (
	"context"
	"crypto/x509"
	"errors"
	"sync"

	"google.golang.org/grpc"

	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/journal"
	"pondwright/server/state"
)

// session is an open stream of a caller. Between the handler and the transport it
// keeps blocks aside that may not go into a log, takes ponds out of a pull that are
// not granted, and lets nothing through once the caller's access has changed.
type session struct {
	grpc.ServerStream
	who    Caller
	cert   *x509.Certificate // nil on a plain connection
	keep   Keeper
	ctx    context.Context //nolint:containedctx // it is the stream's
	cancel context.CancelCauseFunc

	sending sync.Mutex        // a refusal may be sent beside the handler
	refused map[block.ID]bool // logs of which a block was kept aside
	full    map[block.ID]bool // … or could not be
}

// endedError says that the guard ended the stream, and why.
type endedError struct{ cause error }

func (e *endedError) Error() string { return e.cause.Error() }

func (e *endedError) Unwrap() error { return e.cause }

// Context returns the stream's context with the caller in it. It ends when the
// caller's access changes.
func (s *session) Context() context.Context { return s.ctx }

// ended returns why the guard ended the stream, nil if it did not.
func (s *session) ended() error {
	if e, ok := errors.AsType[*endedError](context.Cause(s.ctx)); ok {
		return e.cause
	}
	return nil
}

// SendMsg sends unless the stream was ended.
func (s *session) SendMsg(m any) error {
	s.sending.Lock()
	defer s.sending.Unlock()
	if err := s.ended(); err != nil {
		return err
	}
	return s.ServerStream.SendMsg(m)
}

// RecvMsg returns the next message that the handler may see.
func (s *session) RecvMsg(m any) error {
	for {
		if err := s.receive(m); err != nil {
			return err
		}
		switch m := m.(type) {
		case *pb.PullRequest:
			return s.narrow(m)
		case *pb.PushRequest:
			kept, err := s.keepAside(m.GetBlock().GetFrame())
			if err != nil {
				return err
			}
			if kept {
				continue
			}
		}
		return hidden(s.who, m)
	}
}

// receive waits for a message or for the end of the stream. Once it was ended the
// transport's own receive may stay behind until the handler has returned, which
// ends it, too.
func (s *session) receive(m any) error {
	if s.cert == nil {
		return s.ServerStream.RecvMsg(m)
	}
	got := make(chan error, 1)
	go func() { got <- s.ServerStream.RecvMsg(m) }()
	select {
	case err := <-got:
		return err
	case <-s.ctx.Done():
		if err := s.ended(); err != nil {
			return err
		}
		return <-got
	}
}

// narrow takes the ponds out of a pull that are not granted. A cursor then no
// longer fits when a grant changes, and the device starts from what it holds.
func (s *session) narrow(m *pb.PullRequest) error {
	if s.who.AllPonds {
		return nil
	}
	asked := len(m.GetPondIds())
	kept := m.GetPondIds()[:0]
	for _, b := range m.GetPondIds() {
		if id, err := block.IDFromBytes(b); err != nil || s.who.Sees(id) {
			kept = append(kept, b)
		}
	}
	m.PondIds = kept
	if asked > 0 && len(kept) == 0 {
		return state.ErrPondNotFound
	}
	return nil
}

// keepAside keeps a pushed block that may not go into its log and tells the device
// once for each log. A frame that cannot be read is the handler's to judge.
func (s *session) keepAside(frame []byte) (kept bool, err error) {
	if len(frame) == 0 || s.who.Standing == Good && s.who.AllPonds {
		return false, nil
	}
	b, err := block.Parse(frame)
	if err != nil || s.who.Standing == Good && s.who.Sees(b.Pond) {
		return false, nil //nolint:nilerr // see above
	}
	err = s.keep.KeepAside(s.ctx, s.who.Tenant, frame)
	if errors.Is(err, journal.ErrAsideFull) {
		return true, s.nack(b, s.full, pb.Reason_REASON_ASIDE_FULL, err.Error())
	}
	if err != nil {
		return false, err
	}
	reason, text := pb.Reason_REASON_POND_NOT_GRANTED, "the pond is not granted to this device; what was sent is kept aside until it is"
	if why, ok := errors.AsType[*Refusal](s.who.Standing.refusal()); ok {
		reason, text = why.reason, why.text
	}
	return true, s.nack(b, s.refused, reason, text)
}

// nack refuses a block unless one of its log was refused before for the same reason.
func (s *session) nack(b *block.Block, said map[block.ID]bool, reason pb.Reason, text string) error {
	if said[b.Log] {
		return nil
	}
	said[b.Log] = true
	return s.SendMsg(&pb.PushResponse{Message: &pb.PushResponse_Nack{Nack: &pb.Nack{
		LogId: b.Log[:], FirstSeq: b.FirstSeq, Reason: reason, Retryable: true, Message: text}}})
}
