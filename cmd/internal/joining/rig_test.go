package joining

import (
	"context"
	"errors"
	"net"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"
	"google.golang.org/grpc"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server"
	"pondwright/server/access"
	"pondwright/server/journal"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var heron, otter = block.PondID("Heron Hollow"), block.PondID("Otter Bend")

// clock is the time of both ends.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func newClock() *clock { return &clock{now: time.Date(2031, 5, 1, 6, 0, 0, 0, time.UTC)} }

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// AfterFunc waits on the machine's clock: nothing here waits for a silent server.
func (c *clock) AfterFunc(d time.Duration, f func()) func() bool { return time.AfterFunc(d, f).Stop }

// office is a secure server on a port of this machine.
type office struct {
	*server.Server
	registry *access.Registry
	clock    *clock
	addr     string
	dir      string
	recheck  func() // what the server does every 30 s
	every    time.Duration
	close    func()
}

func open(t testing.TB) *office { return reopen(t, t.TempDir(), newClock()) }

func reopen(t testing.TB, dir string, c *clock) *office { return listenOn(t, "127.0.0.1:0", dir, c) }

func listenOn(t testing.TB, addr, dir string, c *clock) *office {
	return listenWith(t, addr, dir, c, func(*server.Config) {})
}

func listenWith(t testing.TB, addr, dir string, c *clock, change func(*server.Config)) *office {
	t.Helper()
	o := &office{clock: c, dir: dir}
	var err error
	cfg := server.Config{
		Dir: dir, Now: c.Now, Secure: true,
		Every: func(d time.Duration, f func()) func() {
			if o.recheck == nil { // the watch over open streams comes first
				o.recheck, o.every = f, d
			}
			return func() {}
		},
		Services: []server.Service{server.Answers(nil)},
	}
	change(&cfg)
	o.Server, err = server.Open(cfg)
	if err != nil {
		t.Fatal(err)
	}
	// As from another process: the operator's program opens the folder, too.
	if o.registry, err = server.OpenAccess(dir, c.Now, nil); err != nil {
		t.Fatal(err)
	}
	lis, err := net.Listen("tcp", addr)
	if err != nil {
		t.Fatal(err)
	}
	o.addr = lis.Addr().String()
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- o.Serve(ctx, lis) }()
	o.close = sync.OnceFunc(func() {
		cancel()
		if err := errors.Join(<-served, o.Close()); err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(o.close)
	return o
}

func (o *office) invite(t testing.TB, tenant string, g access.Grant) string {
	t.Helper()
	i, err := o.registry.Invite(tenant, g)
	if err != nil {
		t.Fatal(err)
	}
	return i.Text.String()
}

// aside counts what is kept aside for a tenant.
func (o *office) aside(t testing.TB, tenant string) int {
	t.Helper()
	o.close()
	j, err := journal.Open(journal.Options{Dir: filepath.Join(o.dir, "journal"), Now: o.clock.Now, Rand: zeros{}})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, err := range j.Aside(t.Context(), tenant) {
		if err != nil {
			t.Fatal(err)
		}
		n++
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	return n
}

// zeros is for a journal that is only read.
type zeros struct{}

func (zeros) Read(b []byte) (int, error) { clear(b); return len(b), nil }

// boat is a device with an open connection.
type boat struct {
	*client.Client
	conn *grpc.ClientConn
	client.Membership
}

func openBoat(t testing.TB, o *office) *client.Client {
	t.Helper()
	c, err := client.Open(t.Context(), t.TempDir(), client.WithClock(o.clock))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	})
	return c
}

// join makes a device that is in.
func (o *office) join(t testing.TB, tenant string, g access.Grant) *boat {
	t.Helper()
	c := openBoat(t, o)
	m, err := c.Join(t.Context(), o.addr, o.invite(t, tenant, g), "boat")
	if err != nil {
		t.Fatal(err)
	}
	return &boat{c, dial(t, c, o), m}
}

func dial(t testing.TB, c *client.Client, o *office) *grpc.ClientConn {
	t.Helper()
	conn, err := c.Dial(o.addr)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := conn.Close(); err != nil {
			t.Error(err)
		}
	})
	return conn
}

// sound records soundings and seals them into one block.
func (b *boat) sound(t testing.TB, pond block.ID, n int) {
	t.Helper()
	s := make([]block.Sounding, n)
	for i := range s {
		s[i] = block.Sounding{LatE7: 403000000 + int32(i), LonE7: -803000000, ReadingMM: 2000, Reference: block.BelowSurface}
	}
	if err := b.RecordSoundings(t.Context(), pond, block.ID{1}, "R. Alder", s); err != nil {
		t.Fatal(err)
	}
}

func (b *boat) waiting(t testing.TB) uint64 {
	t.Helper()
	s, err := b.Status(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return s.Waiting
}

func (b *boat) mustSync(t testing.TB) client.Result {
	t.Helper()
	r, err := b.Sync(t.Context(), b.conn)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (b *boat) api() pb.SyncServiceClient { return pb.NewSyncServiceClient(b.conn) }

func crew(ponds ...block.ID) access.Grant {
	return access.Grant{Role: access.Crew, AllPonds: len(ponds) == 0, Ponds: ponds}
}
