package client

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"

	"pondwright/client/store"
	"pondwright/proto/block"
	"pondwright/proto/exchange"
	"pondwright/proto/planted"
	pb "pondwright/proto/pondwright/v1"
)

// maxHeals is how often one sync pushes again after it has moved forked logs or
// parked blocks.
const maxHeals = 8

// heal moves what this device alone holds of each forked log to a new log, after it
// has found the last block that the server holds as well.
func (c *Client) heal(ctx context.Context, api pb.SyncServiceClient) error {
	for _, l := range c.store.Forked() {
		common := uint64(0)
		if l.Move == nil {
			var err error
			if common, err = c.findCommon(ctx, api, l); err != nil {
				return fmt.Errorf("find where log %v forked: %w", l.ID, err)
			}
		}
		if err := c.store.Fork(l.ID, common); err != nil {
			return err
		}
	}
	return nil
}

// park sets aside blocks that the server cannot take, so that what follows them is
// not held up, and reports whether it did with any. The server is asked first what it
// holds: it may have taken the same block over an earlier connection, of which this
// device has not heard.
func (c *Client) park(ctx context.Context, api pb.SyncServiceClient, blocks map[block.ID]poison) (parked bool, err error) {
	for _, l := range c.store.Logs() {
		p, ok := blocks[l.ID]
		if !ok {
			continue
		}
		common, err := c.findCommon(ctx, api, l)
		if err != nil {
			return parked, fmt.Errorf("find how far log %v is held: %w", l.ID, err)
		}
		if common+1 != p.first {
			continue // the next push goes on from there
		}
		if err := c.store.Park(l.ID, common, p.why); err != nil {
			return parked, err
		}
		parked = true
	}
	return parked, nil
}

// offerPulled offers what other devices wrote and this one pulled: a server that was
// put back to an earlier day may hold less of it. Where it has come to hold other
// entries it keeps these aside, and so does this device, whose copy then gives way to
// the server's: one log reads the same everywhere.
func (c *Client) offerPulled(ctx context.Context, api pb.SyncServiceClient, r *Result) error {
	f, err := c.pushAll(ctx, api, c.store.Heads(store.Pulled), r)
	if err != nil && !stopsOneLog(err) {
		return err
	}
	for _, l := range c.store.Logs() {
		if !slices.Contains(f.others, l.ID) || planted.Is("stale-copy-kept") {
			continue
		}
		common, err := c.findCommon(ctx, api, l)
		if err != nil {
			return fmt.Errorf("find where log %v forked: %w", l.ID, err)
		}
		if _, err := c.offer(ctx, api, []store.Log{l}, map[block.ID]uint64{l.ID: common}); err != nil {
			return err
		}
		if err := c.store.GiveWay(l.ID, common); err != nil {
			return err
		}
	}
	return nil
}

// findCommon asks the server for the last block of a log that both hold.
func (c *Client) findCommon(ctx context.Context, api pb.SyncServiceClient, l store.Log) (uint64, error) {
	marks, err := c.store.Marks(l.ID)
	if err != nil {
		return 0, err
	}
	search := exchange.NewSearch(marks)
	for ask := search.Next(); len(ask) > 0; ask = search.Next() {
		common, err := c.askCommon(ctx, api, l, ask)
		if err != nil {
			return 0, err
		}
		if err := search.Answer(common); err != nil {
			return 0, err
		}
	}
	return search.Common().Last, nil
}

// askCommon puts one question, in a push that sends nothing.
func (c *Client) askCommon(ctx context.Context, api pb.SyncServiceClient, l store.Log, ask []exchange.Mark) (uint64, error) {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	watch := c.watchdog(cancel)
	defer watch.stop()
	stream, err := api.Push(ctx)
	if err != nil {
		return 0, causeOf(ctx, err)
	}
	head := headMessage(exchange.Head{Log: l.ID, Last: l.Sealed, Hash: l.Head})
	for _, m := range ask {
		head.Marks = append(head.Marks, &pb.BlockMark{LastSeq: m.Last, Hash: m.Hash[:]})
	}
	device := c.store.Device()
	hello := &pb.Hello{DeviceId: device[:], ClientRev: clientRev, Logs: []*pb.LogHead{head}}
	err = stream.Send(&pb.PushRequest{Message: &pb.PushRequest_Hello{Hello: hello}})
	if err == nil {
		err = stream.CloseSend()
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return 0, causeOf(ctx, err)
	}
	msg, err := stream.Recv()
	if err != nil {
		return 0, causeOf(ctx, err)
	}
	resumes, err := resumesOf(msg.GetWelcome().GetLogs())
	if err != nil {
		return 0, err
	}
	if len(resumes) != 1 || resumes[0].Log != l.ID {
		return 0, fmt.Errorf("%w: no answer for log %v", exchange.ErrProtocol, l.ID)
	}
	for err == nil { // until the server has ended the stream, too
		_, err = stream.Recv()
	}
	if !errors.Is(err, io.EOF) {
		return 0, causeOf(ctx, err)
	}
	return resumes[0].After, nil
}

// Unpark makes the next sync offer the blocks once more that a server could not take:
// see Status. A sync does so by itself once a day.
func (c *Client) Unpark(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	return c.store.Unpark()
}
