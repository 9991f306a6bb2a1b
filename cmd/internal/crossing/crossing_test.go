package crossing

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"pondwright/client"
	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server"
	"pondwright/server/state"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(envDir); dir != "" {
		os.Exit(serveUntilKilled(dir))
	}
	if dir := os.Getenv(envBoat); dir != "" {
		os.Exit(sailUntilKilled(dir))
	}
	goleak.VerifyTestMain(m)
}

var pond = block.PondID("Heron Hollow")

// shore is a server in this process on a loopback port.
type shore struct {
	*server.Server
	addr string
	stop func()
}

func startShore(t testing.TB, dir string) *shore {
	t.Helper()
	return startShoreWith(t, server.Config{Dir: dir})
}

func startShoreWith(t testing.TB, cfg server.Config) *shore {
	t.Helper()
	s, err := server.Open(cfg)
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
	var once atomic.Bool
	stop := func() {
		if once.Swap(true) {
			return
		}
		cancel()
		if err := errors.Join(<-served, s.Close()); err != nil {
			t.Error(err)
		}
	}
	t.Cleanup(stop)
	return &shore{s, lis.Addr().String(), stop}
}

func openBoat(t testing.TB, dir string) *client.Client {
	t.Helper()
	c, err := client.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	closeLater(t, c)
	return c
}

func closeLater(t testing.TB, c io.Closer) {
	t.Cleanup(func() {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	})
}

func dial(t testing.TB, addr string, opts ...grpc.DialOption) *grpc.ClientConn {
	t.Helper()
	conn, err := client.Dial(addr, opts...)
	if err != nil {
		t.Fatal(err)
	}
	closeLater(t, conn)
	return conn
}

// readings makes n soundings that differ from each other by their reading.
func readings(first, n int) []block.Sounding {
	draw := rand.New(rand.NewPCG(uint64(first), 0))
	out := make([]block.Sounding, n)
	for i := range out {
		out[i] = block.Sounding{TimeMs: 1718000000000 + int64(i)*1000,
			LatE7: 450000000 + int32(draw.IntN(20000)), LonE7: -930000000 + int32(draw.IntN(20000)),
			ReadingMM: int32(first + i), Reference: block.BelowTransducer, Quality: 4}
	}
	return out
}

func record(t testing.TB, c *client.Client, soundings []block.Sounding) {
	t.Helper()
	if err := c.RecordSoundings(t.Context(), pond, block.ID{7}, "crew", soundings); err != nil {
		t.Fatal(err)
	}
}

func mustSync(t testing.TB, c *client.Client, conn grpc.ClientConnInterface) client.Result {
	t.Helper()
	r, err := c.Sync(t.Context(), conn)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func status(t testing.TB, c *client.Client) client.Status {
	t.Helper()
	st, err := c.Status(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return st
}

// held returns the readings on the server, sorted, and fails if a log has a hole
// or an entry twice.
func held(t testing.TB, st *state.State) []int32 {
	t.Helper()
	return heldOf(t, st, pond)
}

func heldOf(t testing.TB, st *state.State, pond block.ID) []int32 {
	t.Helper()
	if err := st.WaitCurrent(t.Context()); err != nil {
		t.Fatal(err)
	}
	soundings, err := st.Soundings(t.Context(), server.Tenant, pond, nil)
	if err != nil {
		t.Fatal(err)
	}
	records, err := st.Records(t.Context(), server.Tenant, pond)
	if err != nil {
		t.Fatal(err)
	}
	seqs := map[block.ID][]uint64{}
	var out []int32
	for _, s := range soundings {
		seqs[s.Log] = append(seqs[s.Log], s.Seq)
		out = append(out, s.ReadingMM)
	}
	for _, r := range records {
		seqs[r.Log] = append(seqs[r.Log], r.Seq)
	}
	for log, got := range seqs {
		slices.Sort(got)
		for i, seq := range got {
			if seq != uint64(i+1) {
				t.Fatalf("log %v: entry %d stands where %d should", log, seq, i+1)
			}
		}
	}
	slices.Sort(out)
	return out
}

func sorted(soundings ...[]block.Sounding) []int32 {
	var out []int32
	for _, s := range slices.Concat(soundings...) {
		out = append(out, s.ReadingMM)
	}
	slices.Sort(out)
	return out
}

func TestCrossing_TwoBoatsOneShore(t *testing.T) {
	t.Parallel()
	s := startShore(t, t.TempDir())
	conn := dial(t, s.addr)
	a, b := openBoat(t, t.TempDir()), openBoat(t, t.TempDir())

	record(t, a, readings(0, 1300))
	rec := &pb.Record{Author: "R.", Kind: &pb.Record_Pond{Pond: &pb.Pond{Name: "Heron Hollow"}}}
	ref, err := a.Record(t.Context(), pond, rec)
	if err != nil || ref.GetSeq() != 1301 {
		t.Fatalf("record at %v, %v", ref, err)
	}
	record(t, b, readings(5000, 200))
	if st := status(t, a); st.Waiting != 1301 || st.Soundings != 1300 || st.Records != 1 || !st.LastSync.IsZero() {
		t.Errorf("before the first sync: %+v", st)
	}
	if r := mustSync(t, a, conn); r.PushedEntries != 1301 || r.PulledBlocks != 0 {
		t.Errorf("first sync moved %+v", r)
	}
	if r := mustSync(t, b, conn); r.PushedEntries != 200 || r.PulledEntries != 1301 {
		t.Errorf("second boat's sync moved %+v", r)
	}
	if r := mustSync(t, a, conn); r.PushedBlocks != 0 || r.PulledEntries != 200 {
		t.Errorf("first boat's second sync moved %+v", r)
	}
	if r := mustSync(t, a, conn); r != (client.Result{}) {
		t.Errorf("a sync with nothing new moved %+v", r)
	}
	if diff := cmp.Diff(sorted(readings(0, 1300), readings(5000, 200)), held(t, s.State())); diff != "" {
		t.Errorf("on the server (-want +got):\n%s", diff)
	}
	for name, c := range map[string]*client.Client{"first": a, "second": b} {
		got, err := c.Soundings(t.Context(), pond)
		if err != nil || len(got) != 1500 {
			t.Errorf("%s boat holds %d soundings (%v), want 1500", name, len(got), err)
		}
		if st := status(t, c); st.Waiting != 0 || st.LastSync.IsZero() || len(st.Quarantined) != 0 {
			t.Errorf("%s boat after the syncs: %+v", name, st)
		}
	}
	records, err := b.Records(t.Context(), pond)
	if err != nil || len(records) != 1 || !records[0].Foreign || !proto.Equal(records[0].Message, rec) {
		t.Errorf("pulled records %+v, %v", records, err)
	}
}

// backup copies the folder of a server that is not running.
func backup(t *testing.T, dir string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "backup")
	if err := os.CopyFS(to, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	return to
}

// TestInv09_DevicesBringBackWhatOthersWrote loses a server and a boat: what the lost
// boat wrote is still held by another that pulled it.
func TestInv09_DevicesBringBackWhatOthersWrote(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := startShore(t, dir)
	conn := dial(t, s.addr)
	a, lost := openBoat(t, t.TempDir()), openBoat(t, t.TempDir())
	record(t, a, readings(0, 100))
	mustSync(t, a, conn)
	s.stop()
	earlier := backup(t, dir)
	s = startShore(t, dir)
	conn = dial(t, s.addr)
	record(t, lost, readings(1000, 600))
	mustSync(t, lost, conn)
	mustSync(t, a, conn)
	mustSync(t, a, conn) // nothing new: from here on a cursor speaks for the server
	s.stop()

	s = startShore(t, earlier)
	mustSync(t, a, dial(t, s.addr))
	checkEverywhere(t, s, sorted(readings(0, 100), readings(1000, 600)), a)
}

// TestInv26_CursorOfAServerThatWentOnDifferently puts a server back to an earlier day
// and lets it grow beyond where a boat had read, all without the boat.
func TestInv26_CursorOfAServerThatWentOnDifferently(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := startShore(t, dir)
	a, b := openBoat(t, t.TempDir()), openBoat(t, t.TempDir())
	record(t, b, readings(0, 10))
	mustSync(t, b, dial(t, s.addr))
	s.stop()
	earlier := backup(t, dir)
	s = startShore(t, dir)
	conn := dial(t, s.addr)
	record(t, a, readings(1000, 10))
	mustSync(t, a, conn)
	mustSync(t, a, conn)
	s.stop()

	s = startShore(t, earlier)
	conn = dial(t, s.addr)
	for i := range 3 { // a journal longer than a's cursor
		record(t, b, readings(2000+100*i, 10))
		mustSync(t, b, conn)
	}
	if r := mustSync(t, a, conn); r.PushedEntries != 10 || r.PulledEntries != 30 {
		t.Errorf("the sync moved %+v", r)
	}
	mustSync(t, b, conn)
	checkEverywhere(t, s, sorted(readings(0, 10), readings(1000, 10), readings(2000, 10), readings(2100, 10), readings(2200, 10)), a, b)
}

func TestInv09_RestoredServerGetsEverythingAgain(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := startShore(t, dir)
	a, b := openBoat(t, t.TempDir()), openBoat(t, t.TempDir())
	record(t, a, readings(0, 600))
	record(t, b, readings(1000, 600))
	conn := dial(t, s.addr)
	mustSync(t, a, conn)
	s.stop()
	backup := filepath.Join(t.TempDir(), "backup")
	if err := os.CopyFS(backup, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}

	s = startShore(t, dir)
	conn = dial(t, s.addr)
	mustSync(t, b, conn)
	record(t, a, readings(2000, 10))
	mustSync(t, a, conn)
	s.stop()

	for _, tt := range []struct{ name, dir string }{{"older backup", backup}, {"nothing at all", t.TempDir()}} {
		s = startShore(t, tt.dir)
		conn = dial(t, s.addr)
		for range 2 { // the second round pulls what the first brought
			mustSync(t, a, conn)
			mustSync(t, b, conn)
		}
		want := sorted(readings(0, 600), readings(1000, 600), readings(2000, 10))
		if diff := cmp.Diff(want, held(t, s.State())); diff != "" {
			t.Errorf("%s (-want +got):\n%s", tt.name, diff)
		}
		if st := status(t, b); st.Waiting != 0 || len(st.Quarantined) != 0 {
			t.Errorf("%s: second boat %+v", tt.name, st)
		}
		s.stop()
	}
}

// cutter lets so many bytes through to the server and then breaks.
type cutter struct {
	net.Conn
	left *atomic.Int64
}

func (c cutter) Write(b []byte) (int, error) {
	if c.left.Add(-int64(len(b))) < 0 {
		return 0, errors.Join(errors.New("cut"), c.Close())
	}
	return c.Conn.Write(b)
}

func TestCut_ResendsAtMostTheWindowAndStoresNothingTwice(t *testing.T) {
	t.Parallel()
	s := startShore(t, t.TempDir())
	c := openBoat(t, t.TempDir())
	want := readings(0, 9000)
	record(t, c, want)
	sent := 0
	for round := 0; ; round++ {
		if round > 200 {
			t.Fatal("no end")
		}
		left := &atomic.Int64{}
		left.Store(9000 + int64(round)*777)
		conn, err := client.Dial(s.addr, grpc.WithContextDialer(func(ctx context.Context, addr string) (net.Conn, error) {
			conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", addr)
			return cutter{conn, left}, err
		}))
		if err != nil {
			t.Fatal(err)
		}
		before := status(t, c).Waiting
		r, err := c.Sync(t.Context(), conn)
		if err := conn.Close(); err != nil {
			t.Fatal(err)
		}
		sent += r.PushedBytes
		if after := status(t, c).Waiting; after > before {
			t.Fatalf("waiting rose from %d to %d", before, after)
		}
		if err == nil {
			t.Logf("%d bytes of blocks sent in %d connections", sent, round+1)
			break
		}
		if !errors.Is(err, client.ErrUnavailable) {
			t.Fatalf("cut: %v, want ErrUnavailable", err)
		}
		if over := r.PushedBytes; over > 9000+round*777+exchange.DefaultWindow.Bytes {
			t.Fatalf("%d bytes sent over a connection of %d", over, 9000+round*777)
		}
	}
	if diff := cmp.Diff(sorted(want), held(t, s.State())); diff != "" {
		t.Errorf("on the server (-want +got):\n%s", diff)
	}
}

func TestSync_WithoutServerSaysSo(t *testing.T) {
	t.Parallel()
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := lis.Addr().String()
	if err := lis.Close(); err != nil {
		t.Fatal(err)
	}
	c := openBoat(t, t.TempDir())
	record(t, c, readings(0, 3))
	if _, err := c.Sync(t.Context(), dial(t, addr)); !errors.Is(err, client.ErrUnavailable) {
		t.Errorf("Sync: %v, want ErrUnavailable", err)
	}
	if st := status(t, c); st.Waiting != 3 {
		t.Errorf("status %+v, want 3 waiting", st)
	}
	s := startShore(t, t.TempDir())
	var waits atomic.Int32
	wake := make(chan struct{}, 1)
	relay := dial(t, "passthrough:///pond", grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
		if waits.Load() == 0 {
			return nil, errors.New("no network")
		}
		return (&net.Dialer{}).DialContext(ctx, "tcp", s.addr)
	}))
	r, err := c.SyncPatiently(t.Context(), relay, wake, func(err error, wait time.Duration) {
		waits.Add(1)
		relay.ResetConnectBackoff()
		wake <- struct{}{}
	})
	if err != nil || r.PushedEntries != 3 || waits.Load() == 0 {
		t.Errorf("SyncPatiently = %+v, %v after %d waits", r, err, waits.Load())
	}
}

// BenchmarkDurable is soundings from a device's disk to a server's disk and state
// over loopback, acknowledged.
func BenchmarkDurable(b *testing.B) {
	for _, n := range []int{10_000, 100_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			s := startShore(b, b.TempDir())
			conn := dial(b, s.addr)
			soundings := readings(0, n)
			bytes := 0
			for b.Loop() {
				b.StopTimer()
				c, err := client.Open(b.Context(), b.TempDir())
				if err != nil {
					b.Fatal(err)
				}
				record(b, c, soundings)
				b.StartTimer()
				bytes = mustSync(b, c, conn).PushedBytes
				b.StopTimer()
				if err := c.Close(); err != nil {
					b.Fatal(err)
				}
				b.StartTimer()
			}
			b.ReportMetric(float64(b.N*n)/b.Elapsed().Seconds(), "soundings/s")
			b.ReportMetric(float64(bytes)/float64(n), "B/sounding")
		})
	}
}
