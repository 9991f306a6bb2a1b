package client

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"pondwright/client/store"
	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
)

// How long an entry waits on the device for others to share its block, while the
// network is there.
const (
	SealAfter     = 30 * time.Second        // few bytes
	LiveSealAfter = 1500 * time.Millisecond // somebody watches: 2 s with the rest of the way
)

// followPatience is how long a server that is followed may stay silent; it gives a
// sign of life every 25 s.
const followPatience = 75 * time.Second

// Following says how Follow goes about it. The zero value is good.
type Following struct {
	// SealAfter is how long an entry recorded here waits before it is sent: the
	// constant of that name, or LiveSealAfter. 0: SealAfter.
	SealAfter time.Duration
	// Arrived hears of what others recorded once it is stored here. It is called by
	// one goroutine at a time and holds up what comes behind. Nil: nobody listens.
	Arrived func(Arrival)
	// Tried hears why the server was lost and after which time it is tried again. Nil:
	// nobody listens.
	Tried func(error, time.Duration)
	// Wake ends such a wait: the network is back, a person tapped. It may be nil.
	Wake <-chan struct{}
}

// Arrival is what one block brought: soundings or records.
type Arrival struct {
	Pond      block.ID
	Soundings []Sounding
	Records   []Record
}

// errLogsChanged ends a stream that would bring this device's own new log back.
var errLogsChanged = errors.New("a log began or ended")

// Follow keeps device and server alike until ctx ends: what is recorded here is sent
// soon, what others send is stored and told at once. It begins with a Sync; a server
// that is lost is tried again with a Backoff. It returns ctx's error, or another if
// trying again cannot help; nothing is lost either way. A Sync called meanwhile waits
// until Follow has ended.
func (c *Client) Follow(ctx context.Context, conn grpc.ClientConnInterface, f Following) error {
	release, err := c.beginSync(ctx)
	if err != nil {
		return err
	}
	defer release()
	if f.SealAfter <= 0 {
		f.SealAfter = SealAfter
	}
	if f.Arrived != nil {
		c.heard = func(b *block.Block) {
			if a, err := arrivalOf(b); err == nil { // what cannot be unpacked is kept for a later version
				f.Arrived(a)
			}
		}
		defer func() { c.heard = nil }()
	}
	var backoff Backoff
	for {
		var r Result
		err := c.syncOnce(ctx, conn, &r)
		c.learn(err)
		if err == nil {
			backoff.Reset()
			err = c.keepUp(ctx, conn, f.SealAfter)
		}
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, errLogsChanged):
			continue
		case !mayPass(err):
			return err
		}
		if err := c.pause(ctx, &backoff, err, f.Wake, f.Tried); err != nil {
			return err
		}
	}
}

// keepUp follows the server and sends what is recorded, until one of both fails.
func (c *Client) keepUp(ctx context.Context, conn grpc.ClientConnInterface, sealAfter time.Duration) error {
	ctx, cancel := context.WithCancelCause(ctx)
	var reader sync.WaitGroup
	defer reader.Wait()
	defer cancel(nil)
	own := c.ownLogs()
	reader.Go(func() { cancel(c.pullOn(ctx, pb.NewSyncServiceClient(conn), own)) })
	for {
		if _, err := c.sendPhotos(ctx, conn, new(Result)); err != nil {
			if cause := context.Cause(ctx); cause != nil {
				err = cause
			}
			return fmt.Errorf("client: photo: %w", err)
		}
		if err := c.awaitEntries(ctx, sealAfter); err != nil {
			return err
		}
		if err := c.store.Seal(); err != nil {
			return fmt.Errorf("client: %w", err)
		}
		if err := c.sendWaitingEntries(ctx, conn); err != nil {
			return err
		}
		if !slices.Equal(own, c.ownLogs()) {
			return errLogsChanged
		}
	}
}

// awaitEntries returns sealAfter after something was recorded.
func (c *Client) awaitEntries(ctx context.Context, sealAfter time.Duration) error {
	var since time.Time
	select {
	case since = <-c.recorded:
	case <-ctx.Done():
		return context.Cause(ctx)
	}
	due := make(chan struct{})
	waited := max(0, c.clock.Now().Sub(since)) // the clock may have been set back
	stop := c.clock.AfterFunc(max(0, sealAfter-waited), func() { close(due) })
	defer stop()
	select {
	case <-due:
	case <-ctx.Done():
		return context.Cause(ctx)
	}
	select { // what came meanwhile goes along
	case <-c.recorded:
	default:
	}
	return nil
}

// sendWaitingEntries pushes if anything is not acknowledged.
func (c *Client) sendWaitingEntries(ctx context.Context, conn grpc.ClientConnInterface) error {
	if !c.store.Waiting() {
		return nil
	}
	if err := c.store.Unvouch(); err != nil {
		return fmt.Errorf("client: %w", err)
	}
	var r Result
	err := c.renewing(ctx, conn, func() error { return c.pushAndHeal(ctx, pb.NewSyncServiceClient(conn), &r) })
	if cause := context.Cause(ctx); cause != nil {
		return cause
	}
	if err != nil {
		return fmt.Errorf("client: push: %w", err)
	}
	return c.store.SetSynced(c.clock.Now().UnixMilli(), false)
}

// pullOn stores what others send until ctx ends. It asks for nothing of this device's
// own logs: the sync before it has fetched what there was.
func (c *Client) pullOn(ctx context.Context, api pb.SyncServiceClient, own []block.ID) error {
	ponds, cursor, err := c.pullFromWhere()
	if err != nil {
		return err
	}
	if len(ponds) == 0 {
		<-ctx.Done()
		return context.Cause(ctx)
	}
	have := make([]exchange.Head, len(own))
	for i, log := range own {
		have[i] = exchange.Head{Log: log, Last: math.MaxInt64}
	}
	var r Result
	if err := c.pullFrom(ctx, api, pullOrder{ponds: ponds, cursor: cursor, have: have, follow: true}, &r); err != nil {
		return fmt.Errorf("client: follow: %w", err)
	}
	return fmt.Errorf("client: follow: %w: the server ended the stream", ErrUnavailable)
}

// ownLogs returns this device's logs, in order.
func (c *Client) ownLogs() []block.ID {
	var out []block.ID
	for _, l := range c.store.Logs() {
		if l.Own() {
			out = append(out, l.ID)
		}
	}
	return out
}

// arrivalOf unpacks a block.
func arrivalOf(b *block.Block) (Arrival, error) {
	p, err := b.Payload()
	a := Arrival{Pond: b.Pond, Soundings: soundingsOf(store.Chunk{Header: b.Header, Payload: p, Foreign: true})}
	for i, bytes := range p.Records {
		m := &pb.Record{}
		if proto.Unmarshal(bytes, m) != nil {
			m = nil
		}
		a.Records = append(a.Records, Record{Log: b.Log, Seq: b.FirstSeq + uint64(i), Foreign: true, Message: m})
	}
	return a, err
}
