package server

import (
	"errors"
	"fmt"
	"io"
	"math"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
)

func TestRates(t *testing.T) {
	t.Parallel()
	now := time.UnixMilli(0)
	r := newRates(Rates{Calls: 2, CallsPerSecond: 1, Blocks: 3, BlocksPerSecond: 0.5}, func() time.Time { return now })
	a, b := block.ID{1}, block.ID{2}
	tests := []struct {
		name   string
		device block.ID
		blocks bool
		after  time.Duration
		wait   time.Duration // 0: allowed
	}{
		{"first", a, false, 0, 0},
		{"second", a, false, 0, 0},
		{"third", a, false, 0, time.Second},
		{"another device", b, false, 0, 0},
		{"a block", a, true, 0, 0},
		{"half a second later", a, false, 500 * time.Millisecond, 500 * time.Millisecond},
		{"a second later", a, false, 500 * time.Millisecond, 0},
		{"a clock set back", a, false, -time.Hour, time.Second},
		{"two more blocks", a, true, 0, 0},
		{"and", a, true, 0, 0},
		{"one too many", a, true, 0, 2 * time.Second},
		{"the operator", block.ID{}, true, 0, 0},
	}
	for _, tt := range tests {
		now = now.Add(tt.after)
		err := r.take(tt.device, tt.blocks)
		var limit *rateError
		if (err == nil) != (tt.wait == 0) || errors.As(err, &limit) && (limit.wait-tt.wait).Abs() > time.Millisecond {
			t.Errorf("%s: %v, want to wait %v", tt.name, err, tt.wait)
		}
	}
	for i := range ratesKept + 5 { // a crowd is forgotten once it has had its time
		_ = r.take(block.ID{byte(i), byte(i >> 8), 3}, false)
		now = now.Add(10 * time.Second)
	}
	if len(r.left) > ratesKept {
		t.Errorf("%d allowances are kept", len(r.left))
	}
}

// detailed fails unless an error says what a caller needs: a code that is not Unknown
// and an ErrorInfo of ours.
func detailed(t testing.TB, what string, err error, want codes.Code, reason string) {
	t.Helper()
	if got := status.Code(err); got != want || reasonOf(err) != reason {
		t.Errorf("%s: %v %q, want %v %q", what, err, reasonOf(err), want, reason)
	}
}

func retryAfter(err error) time.Duration {
	for _, d := range status.Convert(err).Details() {
		if r, ok := d.(*errdetails.RetryInfo); ok {
			return r.GetRetryDelay().AsDuration()
		}
	}
	return 0
}

func TestPush_TooManyBlocksAreAskedToWait(t *testing.T) {
	t.Parallel()
	s, conn, _ := start(t, Config{Rates: Rates{Calls: 2, CallsPerSecond: 1e-3, Blocks: 2, BlocksPerSecond: 1e-3}})
	blocks := chain(t, block.ID{1}, "a", 3)
	p, _ := hello(t, conn, exchange.After(blocks[2]))
	for _, b := range blocks {
		p.block(b.Frame)
	}
	var err error
	acknowledged := uint64(0)
	for err == nil {
		var m *pb.PushResponse
		if m, err = p.Recv(); err == nil {
			acknowledged = m.GetAck().GetDurableThrough()
		}
	}
	detailed(t, "third block", err, codes.ResourceExhausted, "RATE_LIMITED")
	if retryAfter(err) < time.Minute {
		t.Errorf("retry after %v", retryAfter(err))
	}
	if acknowledged != 2 || s.journal.Last() != 2 {
		t.Errorf("acknowledged through %d, stored %d: what came before the limit must be", acknowledged, s.journal.Last())
	}
	hello(t, conn, exchange.After(blocks[2]))
	stream, err := pb.NewSyncServiceClient(conn).Push(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	device := block.ID{1}
	if err := stream.Send(&pb.PushRequest{Message: &pb.PushRequest_Hello{Hello: &pb.Hello{DeviceId: device[:], ClientRev: 1}}}); err != nil {
		t.Fatal(err)
	}
	_, err = stream.Recv()
	detailed(t, "third call", err, codes.ResourceExhausted, "RATE_LIMITED")
}

// TestTooLarge: a refusal for size says what is too large, by how much, and what to do.
func TestTooLarge(t *testing.T) {
	t.Parallel()
	_, conn, _ := start(t, Config{})
	tests := []struct {
		name  string
		send  func() error
		field string
		limit string
	}{
		{"a block", func() error {
			p, _ := hello(t, conn, exchange.Head{Log: block.ID{1}})
			err := p.Send(&pb.PushRequest{Message: &pb.PushRequest_Block{Block: &pb.Block{Frame: make([]byte, block.MaxFrameBytes+1)}}})
			for err == nil || errors.Is(err, io.EOF) {
				_, err = p.Recv()
			}
			return err
		}, "block.frame", "270336"},
		{"a message", func() error {
			stream, err := pb.NewSyncServiceClient(conn).Pull(t.Context(), &pb.PullRequest{PondIds: [][]byte{make([]byte, 16)}, Cursor: make([]byte, maxMessageBytes)})
			if err == nil {
				_, err = stream.Recv()
			}
			return err
		}, "PullRequest", "1048576"},
		{"a call of one answer", func() error {
			_, err := pb.NewDeviceServiceClient(conn).Enroll(t.Context(), &pb.EnrollRequest{Code: "0123456789", Csr: make([]byte, maxMessageBytes)})
			return err
		}, "EnrollRequest", "1048576"},
	}
	for _, tt := range tests {
		err := tt.send()
		detailed(t, tt.name, err, codes.ResourceExhausted, "TOO_LARGE")
		for _, d := range status.Convert(err).Details() {
			if d, ok := d.(*errdetails.ErrorInfo); ok && (d.GetMetadata()["field"] != tt.field || d.GetMetadata()["max"] != tt.limit || d.GetMetadata()["remedy"] == "") {
				t.Errorf("%s: %v", tt.name, d.GetMetadata())
			}
		}
	}
}

// TestPush_DiskFull runs out of room and gets it back, all without a restart.
func TestPush_DiskFull(t *testing.T) {
	t.Parallel()
	var free atomic.Uint64
	free.Store(math.MaxUint64)
	s, conn, _ := start(t, Config{free: func() (uint64, error) { return free.Load(), nil }})
	blocks := chain(t, block.ID{1}, "a", 2)
	push := func(b *block.Block) error {
		p, _ := hello(t, conn, exchange.After(blocks[1]))
		p.block(b.Frame)
		m, err := p.Recv()
		if err == nil && m.GetAck().GetDurableThrough() != b.LastSeq() {
			err = fmt.Errorf("answer %v", m)
		}
		return err
	}
	if err := push(blocks[0]); err != nil {
		t.Fatal(err)
	}
	free.Store(1 << 20)
	err := push(blocks[1])
	detailed(t, "push", err, codes.Unavailable, "DISK_FULL")
	if retryAfter(err) == 0 {
		t.Error("no word on when to come back")
	}
	if _, err := s.journal.Head(Tenant, block.ID{1}); err != nil {
		t.Errorf("reading: %v", err)
	}
	free.Store(math.MaxUint64)
	if err := push(blocks[1]); err != nil {
		t.Errorf("with room again: %v", err)
	}
}
