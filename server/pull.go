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
	if err := s.rates.take(deviceOf(stream, nil), false); err != nil {
		return err
	}
	ponds, err := pondsOf(req.GetPondIds())
	if err != nil {
		return err
	}
	have, err := headsOf(req.GetHave())
	if err != nil {
		return err
	}
	p := &puller{
		stream:  stream,
		journal: s.journal,
		tenant:  tenantOf(stream),
		ponds:   ponds,
		have:    map[block.ID]uint64{},
		left:    int64(req.GetMaxBytes()),
		limit:   req.GetMaxBytes() > 0,
	}
	if err := p.start(req.GetCursor()); err != nil {
		return err
	}
	for _, h := range have {
		p.have[h.Log] = h.Last
	}
	return s.serve(p, req.GetFollow())
}

// serve sends what there is, and with follow what comes until somebody ends it.
func (s *syncService) serve(p *puller, follow bool) error {
	beat := make(chan struct{}, 1)
	stop := func() {}
	if follow {
		stop = s.every(heartbeat, func() {
			select {
			case beat <- struct{}{}:
			default: // the last one has not been looked at yet
			}
		})
	}
	defer stop()
	for due := true; ; {
		sent, full, err := p.send()
		if err != nil || full {
			return err
		}
		if sent || due { // what came for other ponds is no news
			if err := p.stream.Send(&pb.PullResponse{Cursor: p.cursor.Bytes(), CaughtUp: true}); err != nil {
				return err
			}
		}
		if !follow {
			return nil
		}
		if due, err = s.waitForMore(p.stream.Context(), p.cursor.Seq, beat); err != nil {
			return err
		}
	}
}

// puller sends one client what it asked for. What it holds in memory is a chunk of
// the journal: a slow client is not waited for with anything in hand but that, and
// reads on from where it is.
type puller struct {
	stream  pullStream
	journal journal.Journal
	tenant  string
	ponds   []block.ID
	have    map[block.ID]uint64
	cursor  exchange.Cursor
	left    int64 // bytes still to send, if there is a limit
	limit   bool
}

// start takes the client's cursor, or begins at the beginning: a new client gets the
// blocks of its ponds as they are stored, by the index of each pond.
func (p *puller) start(cursor []byte) (err error) {
	p.cursor.Scope = exchange.ScopeOf(p.journal.Incarnation(), p.tenant, p.ponds)
	if len(cursor) == 0 {
		p.cursor.Chain, _, err = p.journal.Chain(0)
		return err
	}
	c, err := exchange.ParseCursor(cursor)
	if err != nil {
		return err
	}
	chain, found, err := p.journal.Chain(c.Seq)
	if err != nil {
		return err
	}
	scope := p.cursor.Scope
	p.cursor = c
	return c.Check(scope, chain, found)
}

// send sends all there is now, and reports whether that was anything and whether the
// client's limit was reached.
func (p *puller) send() (sent, full bool, err error) {
	through := p.journal.Last()
	entries := p.journal.ReadPonds(p.stream.Context(), p.tenant, p.ponds, p.cursor.Seq, through)
	if planted.Is("scope-ignored") {
		entries = p.journal.Read(p.stream.Context(), p.cursor.Seq)
	}
	for e, err := range entries {
		if err != nil {
			return sent, false, err
		}
		p.cursor.Seq, p.cursor.Chain = e.Pos, e.Chain
		b, err := e.Header() // what is served was checked again
		if err != nil {
			return sent, false, err
		}
		if b.LastSeq() <= p.have[b.Log] || planted.Is("pull-skips-one") && b.FirstSeq == p.have[b.Log]+1 && p.have[b.Log] > 0 {
			continue
		}
		if err := p.stream.Send(&pb.PullResponse{Block: &pb.Block{Frame: e.Frame}, Cursor: p.cursor.Bytes()}); err != nil {
			return sent, false, err
		}
		sent = true
		p.left -= int64(len(e.Frame))
		if p.limit && p.left <= 0 {
			return sent, true, nil
		}
	}
	if through > p.cursor.Seq {
		p.cursor.Seq = through
		p.cursor.Chain, _, err = p.journal.Chain(through)
	}
	return sent, false, err
}

// waitForMore returns when the journal has grown or a heartbeat is due.
func (s *syncService) waitForMore(ctx context.Context, after uint64, beat <-chan struct{}) (due bool, err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	done := make(chan error, 1)
	go func() { done <- s.journal.Wait(ctx, after) }()
	select {
	case err := <-done:
		return false, err
	case <-beat:
		cancel()
		if err := <-done; errors.Is(err, journal.ErrClosed) {
			return false, err
		}
		// Canceled, or there is more: either way a look comes next.
		return true, nil
	case <-s.quit:
		cancel()
		return false, errors.Join(journal.ErrClosed, <-done)
	}
}
