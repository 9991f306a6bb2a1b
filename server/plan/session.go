package plan

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"sync"

	"google.golang.org/protobuf/proto"

	"pondwright/geo/plan"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/survey"
)

// keptSessions is how many prepared ponds are kept for designers at work.
const keptSessions = 8

// session is a pond prepared for one designer's input.
type session struct {
	key      [sha256.Size]byte
	pond     *survey.Pond
	in       plan.Input
	prepared *plan.Prepared
}

// sessions are the last ones used, the newest last. The zero value is empty; it is
// safe for concurrent use.
type sessions struct {
	mu   sync.Mutex
	list []*session
}

// find returns the session of a key, nil where there is none, and makes it the
// newest.
func (s *sessions) find(key [sha256.Size]byte) *session {
	s.mu.Lock()
	defer s.mu.Unlock()
	i := slices.IndexFunc(s.list, func(k *session) bool { return k.key == key })
	if i < 0 {
		return nil
	}
	found := s.list[i]
	s.list = append(slices.Delete(s.list, i, i+1), found)
	return found
}

// keep makes a session the newest in place of one with its key.
func (s *sessions) keep(k *session) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.list = slices.DeleteFunc(s.list, func(o *session) bool { return o.key == k.key })
	s.list = append(s.list, k)
	if len(s.list) > keptSessions {
		s.list = slices.Delete(s.list, 0, 1)
	}
}

// keyOf is the same for requests that say the same.
func keyOf(req *pb.ProposeRequest) ([sha256.Size]byte, error) {
	text, err := proto.MarshalOptions{Deterministic: true}.Marshal(req)
	if err != nil {
		return [sha256.Size]byte{}, fmt.Errorf("read the request again: %w", err)
	}
	return sha256.Sum256(text), nil
}

// Evaluate plans for diffusers that stand where somebody put them.
func (s *Service) Evaluate(ctx context.Context, req *pb.EvaluateRequest) (*pb.EvaluateResponse, error) {
	basis, ok := proto.Clone(req.GetBasis()).(*pb.ProposeRequest)
	if !ok {
		return nil, errors.New("a clone of another kind")
	}
	basis.Pins, basis.Bans = nil, nil
	k, err := s.session(ctx, basis)
	if err != nil {
		return nil, err
	}
	p, err := k.prepared.Evaluate(latLngs(req.GetDiffusers()))
	if err != nil {
		return nil, refuse(err, basis)
	}
	return &pb.EvaluateResponse{Plan: Message(p, k.in)}, nil
}

// session returns the pond of a request, prepared: that of before where nothing has
// changed.
func (s *Service) session(ctx context.Context, req *pb.ProposeRequest) (*session, error) {
	key, err := keyOf(req)
	if err != nil {
		return nil, err
	}
	known := s.sessions.find(key)
	if known != nil && req.GetInline() != nil {
		return known, nil
	}
	pond, err := s.pond(ctx, req, func(string, float64) bool { return ctx.Err() == nil })
	if err != nil {
		return nil, err
	}
	if known != nil && known.pond == pond {
		return known, nil
	}
	in, err := input(req, pond)
	if err != nil {
		return nil, err
	}
	prepared, err := plan.Prepare(in, func(string, float64) bool { return ctx.Err() == nil })
	if errors.Is(err, plan.ErrCanceled) {
		return nil, errors.Join(ctx.Err(), context.Canceled)
	}
	if err != nil {
		return nil, refuse(err, req)
	}
	k := &session{key: key, pond: pond, in: in, prepared: prepared}
	s.sessions.keep(k)
	return k, nil
}
