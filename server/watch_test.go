package server

import (
	"context"
	"crypto/rand"
	"errors"
	"net"
	"runtime"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
)

// fill stores n blocks of size bytes that do not compress and returns them.
func fill(t testing.TB, s *Server, head exchange.Head, n, size int) []*block.Block {
	t.Helper()
	var out []*block.Block
	for range n {
		noise := make([]byte, size)
		if _, err := rand.Read(noise); err != nil {
			t.Fatal(err)
		}
		frame, _, err := block.Seal(block.Header{Log: head.Log, Pond: block.ID{9}, FirstSeq: head.Last + 1, Prev: head.Hash},
			block.Payload{Records: [][]byte{noise}}, block.Plain)
		if err != nil {
			t.Fatal(err)
		}
		b, err := block.Parse(frame)
		if err != nil {
			t.Fatal(err)
		}
		receipt, err := s.journal.Submit(t.Context(), Tenant, b)
		if err != nil {
			t.Fatal(err)
		}
		if r := <-receipt; r.Err != nil || r.Verdict != exchange.Append {
			t.Fatalf("receipt %+v", r)
		}
		head = exchange.After(b)
		out = append(out, b)
	}
	return out
}

func heap() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// TestInv25_StalledWatchersHoldBoundedMemory lets 200 watchers stop reading in the
// middle of a journal, which then grows. Held in memory for each may be a chunk of the
// journal and what the transport has under way at both ends, which share this process.
func TestInv25_StalledWatchersHoldBoundedMemory(t *testing.T) { //nolint:paralleltest // it measures the heap
	const (
		watchers = 200
		perConn  = 10
		blocks   = 160
		size     = 30 << 10 // 4.8 MB, for each watcher if it were held for it
		most     = 384 << 10
	)
	s, err := Open(Config{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- s.Serve(ctx, lis) }()
	defer func() {
		cancel()
		if err := errors.Join(<-served, s.Close()); err != nil {
			t.Error(err)
		}
	}()
	all := fill(t, s, exchange.Head{Log: block.ID{1}}, blocks, size)
	before := heap()

	pond := block.ID{9}
	var streams []grpc.ServerStreamingClient[pb.PullResponse]
	for i := range watchers {
		if i%perConn == 0 {
			conn, err := grpc.NewClient(lis.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()),
				grpc.WithInitialWindowSize(64<<10), grpc.WithInitialConnWindowSize(perConn*64<<10))
			if err != nil {
				t.Fatal(err)
			}
			defer func() {
				if err := conn.Close(); err != nil {
					t.Error(err)
				}
			}()
			for range perConn {
				stream, err := pb.NewSyncServiceClient(conn).Pull(ctx, &pb.PullRequest{PondIds: [][]byte{pond[:]}, Follow: true})
				if err != nil {
					t.Fatal(err)
				}
				streams = append(streams, stream)
			}
		}
	}
	for _, stream := range streams {
		if m, err := stream.Recv(); err != nil || m.GetBlock() == nil {
			t.Fatalf("first message %v, %v", m, err)
		}
	}
	stalled := heap()
	all = append(all, fill(t, s, exchange.After(all[len(all)-1]), 20, size)...)
	if later := heap(); later > stalled+stalled/10 {
		t.Errorf("the heap grew from %d to %d bytes while all watchers were stalled, at most a tenth", stalled, later)
	}
	grown := heap() - min(before, heap())
	t.Logf("%d bytes for each of %d stalled watchers, of %d there are", grown/watchers, watchers, len(all)*size)
	if grown/watchers > most {
		t.Errorf("%d bytes for each watcher, at most %d", grown/watchers, most)
	}

	for _, stream := range streams[:3] { // and they have lost nothing
		for i, want := range all[1:] {
			m, err := stream.Recv()
			for err == nil && m.GetBlock() == nil {
				m, err = stream.Recv()
			}
			if err != nil {
				t.Fatal(err)
			}
			if got, err := block.Parse(m.GetBlock().GetFrame()); err != nil || got.Hash != want.Hash {
				t.Fatalf("block %d is another one, %v", i+1, err)
			}
		}
	}
}

// TestPull_HeartbeatCarriesTheCursor follows a pond in which nothing happens while
// another grows.
func TestPull_HeartbeatCarriesTheCursor(t *testing.T) {
	t.Parallel()
	beat := make(chan func(), 1)
	s, conn, _ := start(t, Config{Every: func(d time.Duration, f func()) func() {
		if d == heartbeat {
			beat <- f
		}
		return func() {}
	}})
	quiet := block.ID{8}
	stream, err := pb.NewSyncServiceClient(conn).Pull(t.Context(), &pb.PullRequest{PondIds: [][]byte{quiet[:]}, Follow: true})
	if err != nil {
		t.Fatal(err)
	}
	first, err := stream.Recv()
	if err != nil || !first.GetCaughtUp() {
		t.Fatalf("%v, %v", first, err)
	}
	fill(t, s, exchange.Head{Log: block.ID{1}}, 3, 100) // of another pond: no news
	(<-beat)()
	m, err := stream.Recv()
	if err != nil || m.GetBlock() != nil || !m.GetCaughtUp() {
		t.Fatalf("%v, %v", m, err)
	}
	// A sign of life moves the cursor past what is not for this reader.
	if c, err := exchange.ParseCursor(m.GetCursor()); err != nil || c.Seq != 3 {
		t.Errorf("cursor %+v, %v, want one at 3", c, err)
	}
}
