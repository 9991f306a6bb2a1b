package client

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"time"

	"google.golang.org/grpc"

	"pondwright/client/store"
	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
)

const (
	clientRev = 1
	// maxLogs is how many logs one Hello may name.
	maxLogs = 256
	// ackPatience, and four round trips, is how long a server may stay silent
	// while it owes an answer.
	ackPatience = 30 * time.Second
)

// push offers every log of this device, new entries or not: the server's answer
// shows if it was put back to an earlier day.
func (c *Client) push(ctx context.Context, api pb.SyncServiceClient, r *Result) (found, error) {
	return c.pushAll(ctx, api, c.store.Heads(store.Pushed), r)
}

// found is what a push found out and did not settle.
type found struct {
	others []block.ID          // logs of other devices of which the server holds other entries
	poison map[block.ID]poison // by log of this device
}

// poison is a block that the server cannot take.
type poison struct {
	first uint64
	why   string
}

// pushAll offers logs, and no more of them once one has to move: others may name what it
// holds.
func (c *Client) pushAll(ctx context.Context, api pb.SyncServiceClient, heads []exchange.Head, r *Result) (found, error) {
	all := found{poison: map[block.ID]poison{}}
	var err error
	for len(heads) > 0 {
		n := min(len(heads), maxLogs)
		some, stopped := c.pushLogs(ctx, api, heads[:n], r)
		all.others, err = append(all.others, some.others...), errors.Join(err, stopped)
		maps.Copy(all.poison, some.poison)
		if stopped != nil && !stopsOneLog(stopped) || errors.Is(stopped, ErrForked) || len(some.poison) > 0 {
			break
		}
		heads = heads[n:]
	}
	return all, err
}

// pushing is one push stream.
type pushing struct {
	c        *Client
	stream   grpc.BidiStreamingClient[pb.PushRequest, pb.PushResponse]
	sender   *exchange.Sender
	watch    *watchdog
	archived map[block.ID]uint64
	found    found
	broken   error // blocks this device cannot read
	acked    bool  // the server took something
}

// pushLogs pushes some logs, from what was acknowledged last: the first blocks go out
// with the Hello. A server that was put back to an earlier day is asked first.
func (c *Client) pushLogs(ctx context.Context, api pb.SyncServiceClient, heads []exchange.Head, r *Result) (found, error) {
	f, err := c.pushOnce(ctx, api, heads, c.store.Resumable(), r)
	if errors.Is(err, exchange.ErrAssumed) {
		f, err = c.pushOnce(ctx, api, heads, nil, r)
	}
	return f, err
}

func (c *Client) pushOnce(ctx context.Context, api pb.SyncServiceClient, heads []exchange.Head, resumable map[block.ID]uint64, r *Result) (found, error) {
	ctx, cancel := context.WithCancelCause(ctx)
	p := &pushing{c: c, sender: exchange.NewSender(heads), archived: map[block.ID]uint64{}, found: found{poison: map[block.ID]poison{}}}
	for log, durable := range resumable {
		p.sender.Assume(log, durable)
	}
	for log, earlier := range c.store.Earlier() {
		p.sender.After(log, earlier)
	}
	p.watch = c.watchdog(cancel)
	defer p.watch.stop()
	stream, err := api.Push(ctx)
	if err != nil {
		cancel(nil)
		return found{}, causeOf(ctx, err)
	}
	p.stream = stream
	answers := make(chan answer)
	go receiveAnswers(ctx, stream, answers)
	defer func() { // the stream ends with the context, and the goroutine with it
		cancel(nil)
		for range answers {
		}
	}()
	err = p.run(ctx, answers, heads, r)
	err = errors.Join(err, p.note(heads))
	return p.found, err
}

// answer is a message from the server, or the end of the stream.
type answer struct {
	msg *pb.PushResponse
	err error
}

// receiveAnswers hands over messages until the stream or the context ends.
func receiveAnswers(ctx context.Context, stream grpc.BidiStreamingClient[pb.PushRequest, pb.PushResponse], out chan<- answer) {
	defer close(out)
	for {
		msg, err := stream.Recv()
		select {
		case out <- answer{msg, err}:
		case <-ctx.Done():
			return
		}
		if err != nil {
			return
		}
	}
}

// run greets, then keeps the window full until every log is safe or stopped.
func (p *pushing) run(ctx context.Context, answers <-chan answer, heads []exchange.Head, r *Result) error {
	if err := p.greet(ctx, answers, heads, r); err != nil {
		return err
	}
	for !p.sender.Done() {
		if err := p.fill(r); err != nil && !errors.Is(err, io.EOF) {
			return causeOf(ctx, err)
		} // io.EOF: the stream has ended, and the answer says why
		if p.sender.Done() {
			break
		}
		if err := p.hear(ctx, answers); err != nil {
			return err
		}
	}
	if err := p.stream.CloseSend(); err != nil {
		return causeOf(ctx, err)
	}
	if p.acked && len(p.sender.Stops()) == 0 {
		return nil // how the server ends the stream tells nothing new
	}
	for a := range answers { // until the server has ended the stream, too
		if a.err != nil && !errors.Is(a.err, io.EOF) {
			return causeOf(ctx, a.err)
		}
	}
	return nil
}

// greet exchanges Hello and Welcome, and sends between them what needs no answer.
func (p *pushing) greet(ctx context.Context, answers <-chan answer, heads []exchange.Head, r *Result) error {
	device := p.c.store.Device()
	hello := &pb.Hello{DeviceId: device[:], ClientRev: clientRev}
	for _, h := range heads {
		hello.Logs = append(hello.Logs, headMessage(h))
	}
	sent := p.c.clock.Now()
	if err := p.stream.Send(&pb.PushRequest{Message: &pb.PushRequest_Hello{Hello: hello}}); err != nil && !errors.Is(err, io.EOF) {
		return causeOf(ctx, err)
	}
	if err := p.fill(r); err != nil && !errors.Is(err, io.EOF) {
		return causeOf(ctx, err)
	}
	a, ok := <-answers
	if !ok {
		return causeOf(ctx, ctx.Err())
	}
	if a.err != nil {
		return causeOf(ctx, a.err)
	}
	p.watch.patience = p.c.patience() + 4*max(0, p.c.clock.Now().Sub(sent))
	p.watch.feed()
	w := a.msg.GetWelcome()
	if w == nil {
		return fmt.Errorf("%w: the first answer must be Welcome", exchange.ErrProtocol)
	}
	resumes, err := resumesOf(w.GetLogs())
	if err != nil {
		return err
	}
	for _, r := range resumes {
		p.archived[r.Log] = r.Archived
	}
	window := exchange.Window{Blocks: int(w.GetLimits().GetWindowBlocks()), Bytes: int(w.GetLimits().GetWindowBytes())}
	return p.sender.Welcome(resumes, window, p.c.store.HashAt)
}

// fill sends blocks until the window is full or nothing is left to send.
func (p *pushing) fill(r *Result) error {
	for {
		log, first, ok := p.sender.Next()
		if !ok || !p.sender.Fits(0) {
			return nil
		}
		frame, b, err := p.c.store.Frame(log, first)
		if errors.Is(err, store.ErrCorrupt) || errors.Is(err, store.ErrNotFound) {
			p.broken = errors.Join(p.broken, err)
			p.sender.Halt(log, err.Error())
			continue
		}
		if err != nil {
			return err
		}
		if !p.sender.Fits(len(frame)) {
			return nil
		}
		if err := p.stream.Send(&pb.PushRequest{Message: &pb.PushRequest_Block{Block: &pb.Block{Frame: frame}}}); err != nil {
			return err
		}
		p.sender.Sent(log, b.LastSeq(), len(frame))
		r.PushedBlocks++
		r.PushedEntries += uint64(b.Count)
		r.PushedBytes += len(frame)
	}
}

// hear waits for one message and acts on it.
func (p *pushing) hear(ctx context.Context, answers <-chan answer) error {
	a, ok := <-answers
	if !ok {
		return causeOf(ctx, ctx.Err())
	}
	if errors.Is(a.err, io.EOF) {
		return fmt.Errorf("%w: the server ended the stream before it had acknowledged all", ErrUnavailable)
	}
	if a.err != nil {
		return causeOf(ctx, a.err)
	}
	p.watch.feed()
	switch m := a.msg.GetMessage().(type) {
	case *pb.PushResponse_Ack:
		log, err := block.IDFromBytes(m.Ack.GetLogId())
		if err != nil {
			return fmt.Errorf("%w: %w", exchange.ErrProtocol, err)
		}
		p.archived[log], p.acked = m.Ack.GetArchivedThrough(), true
		return p.sender.Ack(log, m.Ack.GetDurableThrough())
	case *pb.PushResponse_Nack:
		log, err := block.IDFromBytes(m.Nack.GetLogId())
		if err != nil {
			return fmt.Errorf("%w: %w", exchange.ErrProtocol, err)
		}
		if !m.Nack.GetRetryable() && m.Nack.GetReason() == pb.Reason_REASON_BLOCK_INVALID {
			p.found.poison[log] = poison{m.Nack.GetFirstSeq(), m.Nack.GetMessage()}
		}
		return p.sender.Nack(log, m.Nack.GetReason() == pb.Reason_REASON_LOG_FORKED, m.Nack.GetMessage())
	}
	return fmt.Errorf("%w: unexpected message", exchange.ErrProtocol)
}

// note stores how far each log got and what stopped it.
func (p *pushing) note(heads []exchange.Head) error {
	stops := map[block.ID]exchange.Stop{}
	for _, s := range p.sender.Stops() {
		stops[s.Log] = s
	}
	err := p.broken
	for _, h := range heads {
		if archived, answered := p.archived[h.Log]; answered {
			err = errors.Join(err, p.c.store.Acknowledged(h.Log, p.sender.Durable(h.Log), archived))
		}
		stop, ok := stops[h.Log]
		if !ok {
			continue
		}
		if !p.c.store.Owns(h.Log) {
			if stop.Forked {
				p.found.others = append(p.found.others, h.Log)
			}
			continue // anything else is its writer's to settle
		}
		if _, ok := p.found.poison[h.Log]; ok && !stop.Forked {
			continue // see park
		}
		why, kind := stop.Reason, ErrRefused
		if stop.Forked {
			why, kind = "the server holds other entries under this log; the device's own are kept here", ErrForked
		}
		err = errors.Join(err, p.c.store.Stopped(h.Log, stop.Forked, why), fmt.Errorf("%w: log %v: %s", kind, h.Log, why))
	}
	return err
}
