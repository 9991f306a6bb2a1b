package client

import (
	"context"
	"errors"
	"fmt"

	"google.golang.org/grpc"

	"pondwright/client/store"
	"pondwright/proto/block"
	"pondwright/proto/exchange"
	"pondwright/proto/planted"
	pb "pondwright/proto/pondwright/v1"
)

// Result is what a sync moved.
type Result struct {
	PushedBlocks  int
	PushedEntries uint64
	PushedBytes   int // of blocks
	PulledBlocks  int
	PulledEntries uint64
	PulledAside   int // blocks that contradict what is held here
	PhotosSent    int // pictures that the server now holds whole
	PhotoBytes    int // of pieces sent
}

// Sync sends what was recorded and not yet acknowledged, then fetches what is new
// in the ponds this device knows, and sends pictures once nothing else waits; what is
// recorded meanwhile goes before the next piece. An error says why it did not come to its end;
// what was moved until then stays moved, nothing is lost, and the next sync goes on
// from there. Result counts what was moved even with an error. The caller may try
// as often as it likes, or let SyncPatiently do it.
func (c *Client) Sync(ctx context.Context, conn grpc.ClientConnInterface) (Result, error) {
	var r Result
	release, err := c.beginSync(ctx)
	if err != nil {
		return r, err
	}
	defer release()
	err = c.syncAll(ctx, conn, &r)
	c.learn(err)
	return r, err
}

// syncAll syncs and sends pictures, and syncs again when something is recorded between
// two pieces.
func (c *Client) syncAll(ctx context.Context, conn grpc.ClientConnInterface, r *Result) error {
	for {
		if err := c.syncOnce(ctx, conn, r); err != nil {
			return err
		}
		if done, err := c.sendPhotos(ctx, conn, r); err != nil {
			return fmt.Errorf("client: photo: %w", err)
		} else if done {
			return nil
		}
	}
}

// beginSync waits until no other sync is under way.
func (c *Client) beginSync(ctx context.Context) (release func(), err error) {
	select {
	case c.syncing <- struct{}{}:
		return func() { <-c.syncing }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// syncOnce is a sync but for the pictures.
func (c *Client) syncOnce(ctx context.Context, conn grpc.ClientConnInterface, r *Result) error {
	select { // all that was recorded until now is sealed now
	case <-c.recorded:
	default:
	}
	if err := c.store.Seal(); err != nil {
		return fmt.Errorf("client: %w", err)
	}
	api := pb.NewSyncServiceClient(conn)
	now := c.clock.Now().UnixMilli()
	if err := c.store.UnparkDue(now); err != nil {
		return fmt.Errorf("client: %w", err)
	}
	idle, err := c.store.Vouched(now)
	if err != nil {
		return fmt.Errorf("client: %w", err)
	}
	if idle && !c.renewalDue() {
		switch err := c.pullNews(ctx, api, r); {
		case err == nil:
			return c.store.SetSynced(now, false)
		case ctx.Err() != nil || errors.Is(err, ErrUnavailable) || errors.Is(err, ErrStalled) || errors.Is(err, ErrBusy) || errors.Is(err, ErrDiskFull):
			return fmt.Errorf("client: pull: %w", err)
		} // the long way finds out what is the matter
	}
	if err := c.store.Unvouch(); err != nil {
		return fmt.Errorf("client: %w", err)
	}
	pushErr := c.renewing(ctx, conn, func() error { return c.pushAndHeal(ctx, api, r) })
	if pushErr != nil && !stopsOneLog(pushErr) {
		return fmt.Errorf("client: push: %w", pushErr)
	}
	err = c.pull(ctx, api, r)
	if errors.Is(err, ErrCredentialExpired) && c.Renew(ctx, conn) == nil {
		err = c.pull(ctx, api, r) // nothing was pushed, and the device's clock is behind
	}
	if err != nil {
		return errors.Join(pushErr, fmt.Errorf("client: pull: %w", err))
	}
	if pushErr != nil {
		return fmt.Errorf("client: push: %w", pushErr)
	}
	return c.store.SetSynced(now, true)
}

// pullNews is all of a sync when nothing waits here: one request, one round trip, and
// the same few bytes however many logs there are. A server that takes the cursor of
// the last sync still holds everything that it held then, which is all of this
// device's.
func (c *Client) pullNews(ctx context.Context, api pb.SyncServiceClient, r *Result) error {
	ponds, cursor, err := c.pullFromWhere()
	if err != nil {
		return err
	}
	return c.pullFrom(ctx, api, pullOrder{ponds: ponds, cursor: cursor}, r)
}

// pushAndHeal pushes until nothing is left to push: a log that turns out forked, or
// a block that the server cannot take, moves out of the way and the rest goes on.
func (c *Client) pushAndHeal(ctx context.Context, api pb.SyncServiceClient, r *Result) error {
	var refused error
	for range maxHeals {
		if err := c.heal(ctx, api); err != nil {
			return errors.Join(refused, err)
		}
		f, err := c.push(ctx, api, r)
		if err != nil && !stopsOneLog(err) {
			return errors.Join(refused, err)
		}
		parked, parkErr := c.park(ctx, api, f.poison)
		if parked {
			refused = fmt.Errorf("%w: it is parked on this device, see its status", ErrRefused)
		}
		if parkErr != nil || len(f.poison) == 0 && !errors.Is(err, ErrForked) {
			return errors.Join(refused, err, parkErr)
		}
	}
	return fmt.Errorf("%w: logs keep forking or being refused", ErrForked)
}

// stopsOneLog reports whether the others can go on, and a pull as well.
func stopsOneLog(err error) bool {
	return errors.Is(err, ErrForked) || errors.Is(err, ErrRefused) || errors.Is(err, store.ErrCorrupt)
}

// maxPonds is how many ponds one pull may ask for.
const maxPonds = 1000

// pull fetches what is new. A cursor that the server does not take is dropped: the
// server may have been put back to an earlier day. A pull without a cursor starts
// from what is held, which the server is offered first.
func (c *Client) pull(ctx context.Context, api pb.SyncServiceClient, r *Result) error {
	ponds, cursor, err := c.pullFromWhere()
	if err != nil || len(ponds) == 0 {
		return err
	}
	if len(cursor) > 0 {
		err = c.pullFrom(ctx, api, pullOrder{ponds: ponds, cursor: cursor, have: c.store.Heads(store.Held)}, r)
		if errors.Is(err, ErrCursorInvalid) {
			cursor, err = nil, c.store.ForgetCursor()
		}
	}
	if err == nil && len(cursor) == 0 {
		err = c.pullAnew(ctx, api, ponds, r)
	}
	if errors.Is(err, store.ErrGap) { // start from what is held next time
		return errors.Join(err, c.store.ForgetCursor())
	}
	return err
}

func (c *Client) pullAnew(ctx context.Context, api pb.SyncServiceClient, ponds []block.ID, r *Result) error {
	if err := c.offerPulled(ctx, api, r); err != nil && !errors.Is(err, ErrPermission) { // a reader has nothing to offer
		return err
	}
	return c.pullFrom(ctx, api, pullOrder{ponds: ponds, have: c.store.Heads(store.Held)}, r)
}

func (c *Client) pullFromWhere() (ponds []block.ID, cursor []byte, err error) {
	if ponds, err = c.store.Ponds(); err != nil {
		return nil, nil, err
	}
	cursor, err = c.store.Cursor()
	return ponds[:min(len(ponds), maxPonds)], cursor, err
}

// One transaction takes so many pulled blocks and bytes.
const (
	pullBlocks = 64
	pullBytes  = 256 << 10
)

// pullOrder is what a pull asks for.
type pullOrder struct {
	ponds  []block.ID
	cursor []byte
	have   []exchange.Head
	follow bool // go on when caught up
}

func (o *pullOrder) request() *pb.PullRequest {
	req := &pb.PullRequest{Cursor: o.cursor, Follow: o.follow}
	for _, p := range o.ponds {
		req.PondIds = append(req.PondIds, p[:])
	}
	for _, h := range o.have[:min(len(o.have), maxLogs)] {
		req.Have = append(req.Have, headMessage(h))
	}
	return req
}

func (c *Client) pullFrom(ctx context.Context, api pb.SyncServiceClient, order pullOrder, r *Result) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	watch := c.watchdog(cancel)
	defer watch.stop()
	cursor := order.cursor
	stream, err := api.Pull(ctx, order.request())
	if err != nil {
		return causeOf(ctx, err)
	}
	var pending []*block.Block
	size := 0
	for {
		resp, err := stream.Recv()
		if err != nil {
			return errors.Join(causeOf(ctx, err), c.receive(pending, cursor, r))
		}
		watch.feed()
		if planted.Is("cursor-before-commit") {
			_ = c.receive(nil, resp.GetCursor(), r)
		}
		if frame := resp.GetBlock().GetFrame(); frame != nil {
			b, err := block.Parse(frame)
			if err != nil {
				return errors.Join(fmt.Errorf("received: %w", err), c.receive(pending, cursor, r))
			}
			pending, size = append(pending, b), size+len(frame)
		}
		caughtUp := resp.GetCaughtUp()
		if len(pending) >= pullBlocks || size >= pullBytes || caughtUp && (len(pending) > 0 || string(cursor) != string(resp.GetCursor())) {
			if err := c.receive(pending, resp.GetCursor(), r); err != nil {
				return err
			}
			pending, size = nil, 0
		}
		cursor = resp.GetCursor()
		if caughtUp && !order.follow {
			return nil
		}
		if caughtUp {
			watch.wait(max(followPatience, c.patience()))
		}
	}
}

// receive stores pulled blocks with the cursor behind them.
func (c *Client) receive(blocks []*block.Block, cursor []byte, r *Result) error {
	if len(blocks) == 0 && len(cursor) == 0 {
		return nil
	}
	stored, aside, err := c.store.Receive(blocks, cursor)
	if err != nil {
		return err
	}
	r.PulledBlocks += len(stored)
	r.PulledAside += aside
	for _, b := range blocks {
		r.PulledEntries += uint64(b.Count)
	}
	for _, b := range stored {
		if c.heard != nil {
			c.heard(b)
		}
	}
	return nil
}

// causeOf returns why a stream broke: what the client itself decided, else the
// server's word.
func causeOf(ctx context.Context, err error) error {
	if cause := context.Cause(ctx); errors.Is(cause, ErrStalled) {
		return cause
	}
	return FromServer(err)
}
