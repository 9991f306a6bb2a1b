package client

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"

	"google.golang.org/grpc"

	"pondwright/client/store"
	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
)

// renewing runs a push, and renews the certificate when it is due or when the
// server says that it has expired. Whether that works never keeps the push from
// being tried. A server that will not take what it is sent into its logs still
// keeps it aside: then the device hands over all that waits.
func (c *Client) renewing(ctx context.Context, conn grpc.ClientConnInterface, push func() error) error {
	_, joined, err := c.Membership()
	if c.renewalDue() {
		err = c.Renew(ctx, conn)
	}
	pushErr := push()
	if errors.Is(pushErr, ErrCredentialExpired) {
		if err == nil {
			err = c.Renew(ctx, conn) // the device's clock is behind the server's
		}
		if err == nil {
			return push()
		}
		pushErr = errors.Join(pushErr, err)
	} // any other failure to renew is tried again at the next sync
	shutOut := errors.Is(pushErr, ErrCredentialExpired) || errors.Is(pushErr, ErrRevoked) || errors.Is(pushErr, ErrNotJoined)
	if !shutOut && (!joined || !errors.Is(pushErr, ErrRefused)) {
		return pushErr
	}
	if err := c.handOver(ctx, pb.NewSyncServiceClient(conn), shutOut); err != nil && ctx.Err() != nil {
		pushErr = errors.Join(pushErr, err)
	}
	return pushErr
}

// renewalDue reports whether the certificate has little time left.
func (c *Client) renewalDue() bool {
	m, joined, err := c.Membership()
	return err == nil && joined && m.Expires.Sub(c.clock.Now()) < renewBefore
}

// handOver sends what waits, or of that only the logs that were refused, to a server
// that keeps it aside. Nothing comes of it on this device, where it goes on waiting;
// what was handed over is not sent again while the program runs.
func (c *Client) handOver(ctx context.Context, api pb.SyncServiceClient, all bool) error {
	var logs []store.Log
	for _, l := range c.store.Logs() {
		if l.Own() && (all || l.Trouble != "") && max(l.Durable, c.handed[l.ID]) < l.Sealed && len(logs) < maxLogs {
			logs = append(logs, l)
		}
	}
	if len(logs) == 0 {
		return nil
	}
	after := make(map[block.ID]uint64, len(logs))
	for _, l := range logs {
		after[l.ID] = max(l.Durable, c.handed[l.ID])
	}
	sent, err := c.offer(ctx, api, logs, after)
	if errors.Is(err, ErrUnavailable) || ctx.Err() != nil || sent == nil {
		return err
	} // any other error is the word of a server that keeps what it refuses
	if c.handed == nil {
		c.handed = map[block.ID]uint64{}
	}
	maps.Copy(c.handed, sent)
	return nil
}

// offer sends what lies after some entry of each log to a server that will not take
// it into the log, but keep it aside. It returns how far it got with each, nil if not
// all was sent, and how the stream ended: without an error if all is kept.
func (c *Client) offer(ctx context.Context, api pb.SyncServiceClient, logs []store.Log, after map[block.ID]uint64) (map[block.ID]uint64, error) {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	watch := c.watchdog(cancel)
	defer watch.stop()
	stream, err := api.Push(ctx)
	if err != nil {
		return nil, causeOf(ctx, err)
	}
	device := c.store.Device()
	hello := &pb.Hello{DeviceId: device[:], ClientRev: clientRev}
	for _, l := range logs {
		hello.Logs = append(hello.Logs, headMessage(exchange.Head{Log: l.ID, Last: l.Sealed, Hash: l.Head}))
	}
	if err := stream.Send(&pb.PushRequest{Message: &pb.PushRequest_Hello{Hello: hello}}); err != nil && !errors.Is(err, io.EOF) {
		return nil, causeOf(ctx, err)
	}
	if _, err := stream.Recv(); err != nil { // Welcome, or a refusal that keeps nothing
		return nil, causeOf(ctx, err)
	}
	sent, err := c.sendAfter(stream, logs, after, watch)
	if err != nil {
		return nil, causeOf(ctx, err)
	}
	if err := stream.CloseSend(); err != nil {
		return nil, causeOf(ctx, err)
	}
	for err == nil { // refusals, one for each log, and why in the end
		watch.feed()
		var m *pb.PushResponse
		if m, err = stream.Recv(); m.GetNack().GetReason() == pb.Reason_REASON_ASIDE_FULL {
			if log, err := block.IDFromBytes(m.GetNack().GetLogId()); err == nil {
				delete(sent, log) // not all of it was kept: it is offered again
			}
		}
	}
	if errors.Is(err, io.EOF) {
		return sent, nil
	}
	return sent, causeOf(ctx, err)
}

// sendAfter sends the blocks after some entry of each log and returns how far it got
// with each. A block that this device cannot read ends its log.
func (c *Client) sendAfter(stream grpc.BidiStreamingClient[pb.PushRequest, pb.PushResponse], logs []store.Log, after map[block.ID]uint64, watch *watchdog) (map[block.ID]uint64, error) {
	sent := map[block.ID]uint64{}
	for _, l := range logs {
		for last := after[l.ID]; last < l.Sealed; last = sent[l.ID] {
			b, err := c.store.Block(l.ID, last+1)
			if errors.Is(err, store.ErrCorrupt) || errors.Is(err, store.ErrNotFound) {
				break
			}
			if err != nil {
				return nil, fmt.Errorf("block after %d of log %v: %w", last, l.ID, err)
			}
			watch.feed()
			if err := stream.Send(&pb.PushRequest{Message: &pb.PushRequest_Block{Block: &pb.Block{Frame: b.Frame}}}); err != nil {
				return nil, err
			}
			sent[l.ID] = b.LastSeq()
		}
	}
	return sent, nil
}
