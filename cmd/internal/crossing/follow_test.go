package crossing

import (
	"context"
	"errors"
	"net"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// handClock is a clock that stands still until it is moved.
type handClock struct {
	mu     sync.Mutex
	now    time.Time
	timers map[*handTimer]struct{}
	set    chan time.Duration // the wait of each timer
}

type handTimer struct {
	due time.Time
	f   func()
}

func newHandClock() *handClock {
	return &handClock{now: time.UnixMilli(1718000000000), timers: map[*handTimer]struct{}{}, set: make(chan time.Duration, 1000)}
}

func (c *handClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *handClock) AfterFunc(d time.Duration, f func()) func() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	t := &handTimer{c.now.Add(d), f}
	c.timers[t] = struct{}{}
	select {
	case c.set <- d:
	default: // nobody listens
	}
	return func() bool {
		c.mu.Lock()
		defer c.mu.Unlock()
		_, running := c.timers[t]
		delete(c.timers, t)
		return running
	}
}

// advance moves the clock and runs what is due.
func (c *handClock) advance(d time.Duration) {
	c.mu.Lock()
	c.now = c.now.Add(d)
	var due []func()
	for t := range c.timers {
		if !t.due.After(c.now) {
			due = append(due, t.f)
			delete(c.timers, t)
		}
	}
	c.mu.Unlock()
	for _, f := range due {
		f()
	}
}

// awaitTimer returns once a timer of this wait was set.
func (c *handClock) awaitTimer(t *testing.T, d time.Duration) {
	t.Helper()
	for {
		select {
		case got := <-c.set:
			if got == d {
				return
			}
		case <-time.After(20 * time.Second):
			t.Fatalf("no timer of %v was set", d)
		}
	}
}

// valve is a connection of which one direction can be shut: what is read or written
// then waits, and comes out when it is opened.
type valve struct {
	net.Conn
	shut   *sync.Mutex // held while shut
	writes bool        // it is the writes that wait
}

func (v valve) Read(b []byte) (int, error) {
	n, err := v.Conn.Read(b)
	if !v.writes {
		v.shut.Lock()
		defer v.shut.Unlock()
	}
	return n, err
}

func (v valve) Write(b []byte) (int, error) {
	if v.writes {
		v.shut.Lock()
		defer v.shut.Unlock()
	}
	return v.Conn.Write(b)
}

func throughValve(shut *sync.Mutex, writes bool) grpc.DialOption {
	return grpc.WithContextDialer(func(ctx context.Context, addr string) (net.Conn, error) {
		c, err := (&net.Dialer{}).DialContext(ctx, "tcp", addr)
		return valve{c, shut, writes}, err
	})
}

// follower is a device that follows, and what it hears.
type follower struct {
	*client.Client
	clock    *handClock
	arrivals chan client.Arrival
	lost     chan error
}

// openFollower returns a device that does not follow yet.
func openFollower(t *testing.T) *follower {
	t.Helper()
	f := &follower{clock: newHandClock(), arrivals: make(chan client.Arrival, 1000), lost: make(chan error, 1000)}
	c, err := client.Open(t.Context(), t.TempDir(), client.WithClock(f.clock))
	if err != nil {
		t.Fatal(err)
	}
	closeLater(t, c)
	f.Client = c
	return f
}

func (f *follower) start(t *testing.T, conn grpc.ClientConnInterface, sealAfter time.Duration) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() {
		ended <- f.Follow(ctx, conn, client.Following{SealAfter: sealAfter,
			Arrived: func(a client.Arrival) { f.arrivals <- a },
			Tried:   func(err error, _ time.Duration) { f.lost <- err }})
	}()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Errorf("Follow ended with %v", err)
		}
	})
}

func follow(t *testing.T, conn grpc.ClientConnInterface, sealAfter time.Duration, watch ...block.ID) *follower {
	t.Helper()
	f := openFollower(t)
	for _, p := range watch {
		if err := f.Watch(t.Context(), p); err != nil {
			t.Fatal(err)
		}
	}
	f.start(t, conn, sealAfter)
	return f
}

// watchedAfter is how long a server may stay silent once the boat has all that there is:
// the wait that shows that it follows.
const watchedAfter = 75 * time.Second

// followUnderWay returns a boat whose log has begun, with reading 0, and that has come to
// follow, so that all it records from now on waits for company and nothing else is due
// within half a minute. The watcher has heard the reading.
func followUnderWay(t *testing.T, conn grpc.ClientConnInterface, sealAfter time.Duration, watcher *follower) *follower {
	t.Helper()
	f := openFollower(t)
	record(t, f.Client, readings(0, 1))
	f.start(t, conn, sealAfter)
	watcher.hear(t)
	f.clock.awaitTimer(t, watchedAfter)
	return f
}

// hear returns the next soundings that arrive.
func (f *follower) hear(t *testing.T) []client.Sounding {
	t.Helper()
	for {
		select {
		case a := <-f.arrivals:
			if len(a.Soundings) > 0 {
				return a.Soundings
			}
		case <-time.After(20 * time.Second):
			t.Fatal("nothing arrives")
		}
	}
}

// TestFollow_SoundingReachesALiveWatcher: at most 2 s and one round trip after it was
// recorded. The 2 s are of the boat's clock, which stands still but for what the test
// moves it. The round trip is half of one up and half of one down: from when the block
// is due the boat hears nothing from the server, and the watcher can tell it nothing.
func TestFollow_SoundingReachesALiveWatcher(t *testing.T) {
	t.Parallel()
	s := startShore(t, t.TempDir())
	var toBoat, fromWatcher sync.Mutex
	watcher := follow(t, dial(t, s.addr, throughValve(&fromWatcher, true)), client.LiveSealAfter, pond)
	boat := followUnderWay(t, dial(t, s.addr, throughValve(&toBoat, false)), client.LiveSealAfter, watcher)

	next := 1
	step := func(shut bool) {
		t.Helper()
		began := boat.clock.Now()
		record(t, boat.Client, readings(next, 1))
		boat.clock.awaitTimer(t, client.LiveSealAfter)
		boat.clock.advance(client.LiveSealAfter / 2)
		record(t, boat.Client, readings(next+1, 1)) // goes along
		select {
		case a := <-watcher.arrivals:
			t.Fatalf("a block arrived before it was due: %+v", a)
		case <-time.After(20 * time.Millisecond):
		}
		if shut {
			toBoat.Lock()
			defer toBoat.Unlock()
			fromWatcher.Lock()
			defer fromWatcher.Unlock()
		}
		boat.clock.advance(client.LiveSealAfter / 2)
		got := watcher.hear(t)
		if len(got) != 2 || got[0].ReadingMM != int32(next) || got[1].ReadingMM != int32(next+1) || got[0].Author != "crew" {
			t.Fatalf("heard %+v, want readings %d and %d", got, next, next+1)
		}
		if took := boat.clock.Now().Sub(began); took > 2*time.Second {
			t.Fatalf("%v by the boat's clock, at most 2 s", took)
		}
		next += 2
	}
	for _, shut := range []bool{false, false, true, true} {
		step(shut)
	}
	if n := len(boat.arrivals); n != 0 {
		t.Errorf("the boat heard %d blocks of its own", n)
	}
}

// TestFollow_SealsAfterHalfAMinute: somebody who does not watch gets fewer, fuller
// blocks.
func TestFollow_SealsAfterHalfAMinute(t *testing.T) {
	t.Parallel()
	s := startShore(t, t.TempDir())
	watcher := follow(t, dial(t, s.addr), 0, pond)
	boat := followUnderWay(t, dial(t, s.addr), 0, watcher)
	record(t, boat.Client, readings(1, 1))
	boat.clock.awaitTimer(t, 30*time.Second)
	for i := 2; i <= 30; i++ {
		boat.clock.advance(time.Second)
		record(t, boat.Client, readings(i, 1))
	}
	boat.clock.advance(time.Second)
	if got := watcher.hear(t); len(got) != 30 {
		t.Errorf("%d soundings in the first block, want 30", len(got))
	}
}

// TestFollow_ComesBack: a server that goes away and comes back costs nothing but time,
// each sounding arrives once, and records arrive as well.
func TestFollow_ComesBack(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := startShore(t, dir)
	r := startRelay(t, s.addr, shape{})
	boat := follow(t, dial(t, r.addr()), client.LiveSealAfter)
	watcher := follow(t, dial(t, r.addr()), client.LiveSealAfter, pond)
	seen, name := map[int32]int{}, ""
	sail := func(arrived func() bool) {
		t.Helper()
		for range 2000 {
			select {
			case a := <-watcher.arrivals:
				for _, got := range a.Soundings {
					seen[got.ReadingMM]++
				}
				for _, got := range a.Records {
					name = got.Message.GetPond().GetName()
				}
			case <-boat.lost:
			case <-watcher.lost:
			case <-time.After(5 * time.Millisecond):
				boat.clock.advance(10 * time.Second) // less than the patience with a silent server
				watcher.clock.advance(10 * time.Second)
			}
			if arrived() {
				return
			}
		}
		t.Fatal("nothing arrives")
	}
	for i := range int32(4) {
		record(t, boat.Client, readings(int(i), 1))
		if i == 2 {
			r.cut()
		}
		sail(func() bool { return seen[i] > 0 })
	}
	for i := range int32(4) {
		if seen[i] != 1 {
			t.Errorf("sounding %d was heard of %d times", i, seen[i])
		}
	}
	if _, err := boat.Record(t.Context(), pond, &pb.Record{Author: "crew", Kind: &pb.Record_Pond{Pond: &pb.Pond{Name: "Heron Hollow"}}}); err != nil {
		t.Fatal(err)
	}
	sail(func() bool { return name == "Heron Hollow" })
}
