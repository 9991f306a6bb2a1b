package server

import (
	"context"
	"errors"
	"time"

	"google.golang.org/grpc"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	"pondwright/proto/planted"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/journal"
)

// heartbeat is how often a follower that hears nothing else hears a cursor.
const heartbeat = 25 * time.Second

type pullStream = grpc.ServerStreamingServer[pb.PullResponse]

// Pull sends the blocks of some ponds in journal order from a cursor on.
func (s *syncService) Pull(req *pb.PullRequest, stream pullStream) error {
	ponds, err := pondsOf(req.GetPondIds())
	if err != nil {
		return err
	}
	have, err := headsOf(req.GetHave())
	if err != nil {
		return err
	}
	p := &puller{
		stream: stream,
		ponds:  map[block.ID]bool{},
		have:   map[block.ID]uint64{},
		cursor: exchange.Cursor{Incarnation: s.journal.Incarnation(), Scope: exchange.ScopeOf(tenantOf(stream), ponds)},
		left:   int64(req.GetMaxBytes()),
		limit:  req.GetMaxBytes() > 0,
	}
	if len(req.GetCursor()) > 0 {
		c, err := exchange.ParseCursor(req.GetCursor())
		if err != nil {
			return err
		}
		if err := c.Check(p.cursor.Incarnation, p.cursor.Scope, s.journal.Last()); err != nil {
			return err
		}
		p.cursor = c
	}
	for _, id := range ponds {
		p.ponds[id] = true
	}
	for _, h := range have {
		p.have[h.Log] = h.Last
	}
	for {
		full, err := p.send(s.journal)
		if err != nil || full {
			return err
		}
		if err := stream.Send(&pb.PullResponse{Cursor: p.cursor.Bytes(), CaughtUp: true}); err != nil {
			return err
		}
		if !req.GetFollow() {
			return nil
		}
		if err := s.waitForMore(stream.Context(), p.cursor.Seq); err != nil {
			return err
		}
	}
}

// puller sends one client what it asked for.
type puller struct {
	stream pullStream
	ponds  map[block.ID]bool
	have   map[block.ID]uint64
	cursor exchange.Cursor
	left   int64 // bytes still to send, if there is a limit
	limit  bool
}

// send sends all there is, and reports whether the client's limit was reached.
func (p *puller) send(j journal.Journal) (full bool, err error) {
	tenant := tenantOf(p.stream)
	for e, err := range j.Read(p.stream.Context(), p.cursor.Seq) {
		if err != nil {
			return false, err
		}
		p.cursor.Seq = e.Pos
		if e.Tenant != tenant || !p.ponds[e.Pond] && !planted.Is("scope-ignored") {
			continue
		}
		b, err := e.Parse() // what is served was checked again
		if err != nil {
			return false, err
		}
		if b.LastSeq() <= p.have[b.Log] || planted.Is("pull-skips-one") && b.FirstSeq == p.have[b.Log]+1 && p.have[b.Log] > 0 {
			continue
		}
		if err := p.stream.Send(&pb.PullResponse{Block: &pb.Block{Frame: e.Frame}, Cursor: p.cursor.Bytes()}); err != nil {
			return false, err
		}
		p.left -= int64(len(e.Frame))
		if p.limit && p.left <= 0 {
			return true, nil
		}
	}
	return false, nil
}

// waitForMore returns when the journal has grown or a heartbeat is due.
func (s *syncService) waitForMore(ctx context.Context, after uint64) error {
	ctx, cancel := context.WithTimeout(ctx, heartbeat)
	defer cancel()
	done := make(chan error, 1)
	go func() { done <- s.journal.Wait(ctx, after) }()
	select {
	case err := <-done:
		if errors.Is(err, context.DeadlineExceeded) {
			return nil
		}
		return err
	case <-s.quit:
		cancel()
		return errors.Join(journal.ErrClosed, <-done)
	}
}
