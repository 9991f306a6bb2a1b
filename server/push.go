package server

import (
	"errors"
	"fmt"
	"io"
	"time"

	"google.golang.org/grpc"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	"pondwright/proto/planted"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/access"
	"pondwright/server/journal"
)

// syncService implements SyncService on a journal.
type syncService struct {
	pb.UnimplementedSyncServiceServer
	journal  journal.Journal
	quit     <-chan struct{}
	faults   func(point string) error
	leases   *leases
	rates    *rates
	every    func(time.Duration, func()) (stop func())
	archived func() uint64 // journal position
	// forked hears of a device that contradicted a log of its own.
	forked func(tenant string, device block.ID) error
}

type pushStream = grpc.BidiStreamingServer[pb.PushRequest, pb.PushResponse]

// arrival is a block on its way through the journal, or the reason it never got
// there.
type arrival struct {
	log     block.ID
	first   uint64
	last    uint64
	writer  block.ID // the installation that sealed it
	frame   []byte
	receipt <-chan journal.Receipt
	refused error // instead of receipt
}

// maxArrivals bounds what a connection has in the journal's hands: beyond it the
// server stops reading and the sender's window fills.
const maxArrivals = 64

// Push receives blocks. One goroutine reads the stream and submits, this one sends
// what became of each block, in order. The reader ends when the stream does, which
// gRPC sees to once Push returns.
func (s *syncService) Push(stream pushStream) error {
	g, err := s.greet(stream)
	if err != nil {
		return err
	}
	mine, release := s.leases.take(tenantOf(stream), g.pushed())
	defer release()
	archived, err := s.archivedOf(tenantOf(stream), g.heads)
	if err != nil {
		return err
	}
	if err := s.welcome(stream, g, archived); err != nil {
		return err
	}
	receiver := exchange.NewReceiver(g.heads)
	arrivals := make(chan arrival, maxArrivals)
	readEnd := make(chan error, 1)
	go func() {
		defer close(arrivals)
		readEnd <- s.readBlocks(stream, g.caller, receiver, arrivals)
	}()
	p := &pusher{s: s, stream: stream, receiver: receiver, archived: archived, durable: map[block.ID]uint64{}}
	for {
		if err := p.idle(arrivals); err != nil {
			return err
		}
		select {
		case a, ok := <-arrivals:
			if !ok {
				if err := p.flush(); err != nil {
					return err
				}
				return <-readEnd
			}
			if err := p.settle(a); err != nil {
				return err
			}
		case <-mine.lost:
			return errLogInUse
		case <-s.quit:
			return journal.ErrClosed
		}
	}
}

// greeting is what a device opens a push with.
type greeting struct {
	caller block.ID // the device, as it is known here
	writer block.ID // the installation, as it calls itself in its blocks
	heads  []exchange.Head
	marks  map[block.ID][]exchange.Mark // by log: blocks by which it looks for where the log forked
}

// greet takes the Hello.
func (s *syncService) greet(stream pushStream) (greeting, error) {
	req, err := stream.Recv()
	if errors.Is(err, io.EOF) {
		return greeting{}, fmt.Errorf("%w: no Hello", exchange.ErrProtocol)
	}
	if err != nil {
		return greeting{}, err
	}
	hello := req.GetHello()
	if hello == nil {
		return greeting{}, fmt.Errorf("%w: the first message must be Hello", exchange.ErrProtocol)
	}
	g := greeting{caller: deviceOf(stream, hello.GetDeviceId())}
	if g.writer, err = block.IDFromBytes(hello.GetDeviceId()); err != nil {
		return g, fmt.Errorf("%w: %w", exchange.ErrProtocol, err)
	}
	if err := s.rates.take(g.caller, false); err != nil {
		return g, err
	}
	if g.heads, err = headsOf(hello.GetLogs()); err != nil {
		return g, err
	}
	g.marks, err = marksOf(hello.GetLogs())
	return g, err
}

// pushed returns the logs that are not only asked about.
func (g *greeting) pushed() []exchange.Head {
	var out []exchange.Head
	for _, h := range g.heads {
		if len(g.marks[h.Log]) == 0 {
			out = append(out, h)
		}
	}
	return out
}

// archivedOf returns how far each log is in a backup away from this machine.
func (s *syncService) archivedOf(tenant string, heads []exchange.Head) (map[block.ID]uint64, error) {
	out := map[block.ID]uint64{}
	pos := s.archived()
	if pos == 0 {
		return out, nil
	}
	for _, h := range heads {
		head, err := s.journal.HeadAt(tenant, h.Log, pos)
		if err != nil {
			return nil, err
		}
		out[h.Log] = head.Last
	}
	return out, nil
}

// welcome tells the device where to go on with each log.
func (s *syncService) welcome(stream pushStream, g greeting, archived map[block.ID]uint64) error {
	generation := s.journal.Incarnation()
	w := &pb.Welcome{ServerGen: generation[:], Limits: &pb.PushLimits{
		MaxBlockBytes: block.MaxFrameBytes,
		WindowBlocks:  uint32(exchange.DefaultWindow.Blocks),
		WindowBytes:   uint32(exchange.DefaultWindow.Bytes),
	}}
	for _, offered := range g.heads {
		held, err := s.journal.Head(tenantOf(stream), offered.Log)
		if err != nil {
			return err
		}
		var lookup error
		hashAt := func(last uint64) (block.Hash, bool) {
			hash, ok, err := s.journal.HashAt(tenantOf(stream), offered.Log, last)
			lookup = errors.Join(lookup, err)
			return hash, ok
		}
		answer := exchange.Answer(offered, held, hashAt)
		if answer.State == exchange.Parted {
			if err := s.noteFork(stream, offered.Log, g.writer); err != nil {
				return err
			}
		}
		if ask := g.marks[offered.Log]; len(ask) > 0 {
			common := exchange.Common(ask, hashAt)
			answer = exchange.Resume{Log: offered.Log, State: exchange.Parted, After: common.Last, Hash: common.Hash}
		}
		if lookup != nil {
			return lookup
		}
		answer.Archived = archived[offered.Log]
		w.Logs = append(w.Logs, resumeMessage(answer))
	}
	return stream.Send(&pb.PushResponse{Message: &pb.PushResponse_Welcome{Welcome: w}})
}

// noteFork notes that a device contradicts what is held of a log, if it is a log of its
// own: its store was put back to an earlier day, or a copy of it is in use.
func (s *syncService) noteFork(stream pushStream, log, writer block.ID) error {
	began, found, err := s.journal.Writer(tenantOf(stream), log)
	if err != nil || !found || began != writer || writer.IsZero() {
		return err
	}
	device := deviceOf(stream, nil)
	if device.IsZero() { // the operator on this machine
		return nil
	}
	if err := s.forked(tenantOf(stream), device); !errors.Is(err, access.ErrDeviceNotFound) {
		return err
	}
	return nil // it hears so from the guard
}

// readBlocks submits each block that arrives until the device has sent all.
func (s *syncService) readBlocks(stream pushStream, caller block.ID, receiver *exchange.Receiver, arrivals chan<- arrival) error {
	ctx := stream.Context()
	for {
		req, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if req.GetBlock() == nil {
			return fmt.Errorf("%w: Hello may come only once", exchange.ErrProtocol)
		}
		if err := s.rates.take(caller, true); err != nil {
			return err
		}
		a, err := s.submit(stream, receiver, req.GetBlock().GetFrame())
		if err != nil {
			return err
		}
		select {
		case arrivals <- a:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// submit hands a frame to the journal. A damaged one is refused and will be sent
// again; one that only a later server can read is kept aside.
func (s *syncService) submit(stream pushStream, receiver *exchange.Receiver, frame []byte) (arrival, error) {
	b, err := block.Parse(frame)
	if err != nil {
		h, readable := block.Peek(frame)
		if !readable || !receiver.Offered(h.Log) {
			return arrival{}, err
		}
		if errors.Is(err, block.ErrUnknownCodec) {
			err := s.journal.KeepAside(stream.Context(), tenantOf(stream), frame)
			if err != nil && !errors.Is(err, journal.ErrAsideFull) { // if so the device parks it all the same
				return arrival{}, err
			}
		}
		return arrival{log: h.Log, first: h.FirstSeq, refused: err}, nil
	}
	if !receiver.Offered(b.Log) {
		return arrival{}, fmt.Errorf("%w: block of log %v, which Hello did not name", exchange.ErrProtocol, b.Log)
	}
	receipt, err := s.journal.Submit(stream.Context(), tenantOf(stream), b)
	return arrival{log: b.Log, first: b.FirstSeq, last: b.LastSeq(), writer: b.Device, frame: frame, receipt: receipt}, err
}

// pusher sends acknowledgements: as few as possible, none before its time.
type pusher struct {
	s        *syncService
	stream   pushStream
	receiver *exchange.Receiver
	archived map[block.ID]uint64 // when the stream began
	durable  map[block.ID]uint64 // acknowledgements not yet sent
	order    []block.ID          // in which they are sent
}

// idle sends what is owed if nothing more is about to be.
func (p *pusher) idle(arrivals <-chan arrival) error {
	if len(arrivals) > 0 {
		return nil
	}
	return p.flush()
}

// settle waits for one block's receipt and notes what to say about it.
func (p *pusher) settle(a arrival) error {
	if a.refused != nil {
		reason, retryable := pb.Reason_REASON_BLOCK_CORRUPT, true
		if errors.Is(a.refused, block.ErrUnknownCodec) {
			reason, retryable = pb.Reason_REASON_BLOCK_INVALID, false
		}
		return p.refuse(a, reason, retryable, a.refused.Error())
	}
	var r journal.Receipt
	if planted.Is("ack-before-sync") {
		return p.owe(a)
	}
	select {
	case r = <-a.receipt:
	default: // a sync is under way: what the last one covered can go out
		if err := p.flush(); err != nil {
			return err
		}
		r = <-a.receipt
	}
	if r.Err != nil {
		return r.Err
	}
	switch r.Verdict {
	case exchange.Append, exchange.Duplicate:
		return p.owe(a)
	case exchange.Forked:
		p.receiver.Fork(a.log)
		if err := p.s.noteFork(p.stream, a.log, a.writer); err != nil {
			return err
		}
		text := "the server holds other entries at this place; this block was kept beside them"
		if !r.Kept {
			text = "the server holds other entries at this place, and no room to keep this block beside them"
		}
		return p.refuse(a, pb.Reason_REASON_LOG_FORKED, false, text)
	case exchange.Gap:
		if p.receiver.Forked(a.log) {
			err := p.s.journal.KeepAside(p.stream.Context(), tenantOf(p.stream), a.frame)
			if errors.Is(err, journal.ErrAsideFull) {
				err = nil // the device keeps it aside as well
			}
			return err
		}
	}
	if planted.Is("ack-across-a-gap") {
		return p.owe(a)
	}
	return p.refuse(a, pb.Reason_REASON_LOG_GAP, true, "blocks before this one are missing")
}

// owe notes an acknowledgement to send.
func (p *pusher) owe(a arrival) error {
	if _, owed := p.durable[a.log]; !owed {
		p.order = append(p.order, a.log)
	}
	p.durable[a.log] = max(p.durable[a.log], a.last)
	return nil
}

// refuse says once for each log that a block was not taken.
func (p *pusher) refuse(a arrival, reason pb.Reason, retryable bool, text string) error {
	if !p.receiver.Refuse(a.log) {
		return nil
	}
	if err := p.flush(); err != nil {
		return err
	}
	return p.stream.Send(nackMessage(a.log, a.first, reason, retryable, text))
}

// flush sends the acknowledgements that are owed.
func (p *pusher) flush() error {
	for _, log := range p.order {
		if err := p.stream.Send(ackMessage(log, p.durable[log], p.archived[log])); err != nil {
			return err
		}
		_ = p.s.faults(FaultAfterAck) // too late to fail
		delete(p.durable, log)
	}
	p.order = p.order[:0]
	return nil
}
