package crossing

import (
	"io"
	"math/rand/v2"
	"net"
	"sync"
	"testing"
	"time"
)

// shape is what a link does to a byte stream in each direction. The zero shape
// does nothing.
type shape struct {
	seed   uint64
	rate   int           // bytes a second; 0 for no limit
	delay  time.Duration // one way
	loss   float64       // share of segments that arrive a round trip late, as if sent again
	cutAt  int           // bytes from the client after which the link breaks; 0 for never
	muteAt int           // bytes from the client after which everything vanishes; 0 for never
}

// segment is how many bytes travel together.
const segment = 1400

// relay is a slow and faulty piece of the way from a client to a server: TCP in,
// TCP out, all of it in this process.
type relay struct {
	shape
	to    string
	lis   net.Listener
	pipes sync.WaitGroup

	mu    sync.Mutex
	conns []net.Conn
}

func startRelay(t testing.TB, to string, s shape) *relay {
	t.Helper()
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	r := &relay{shape: s, to: to, lis: lis}
	r.pipes.Go(r.accept)
	t.Cleanup(func() {
		_ = lis.Close()
		r.cut()
		r.pipes.Wait()
	})
	return r
}

func (r *relay) addr() string { return r.lis.Addr().String() }

func (r *relay) accept() {
	for n := uint64(0); ; n++ {
		near, err := r.lis.Accept()
		if err != nil {
			return
		}
		far, err := net.Dial("tcp", r.to)
		if err != nil {
			_ = near.Close()
			continue
		}
		r.mu.Lock()
		r.conns = append(r.conns, near, far)
		r.mu.Unlock()
		r.pipes.Go(func() { r.carry(far, near, rand.New(rand.NewPCG(r.seed, 2*n)), r.cutAt, r.muteAt) })
		r.pipes.Go(func() { r.carry(near, far, rand.New(rand.NewPCG(r.seed, 2*n+1)), 0, 0) })
	}
}

// cut breaks every connection.
func (r *relay) cut() {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, c := range r.conns {
		_ = c.Close()
	}
	r.conns = nil
}

// parcel is a segment and when it arrives.
type parcel struct {
	bytes []byte
	due   time.Time
}

// carry takes bytes from one end to the other. The reading end stops reading when
// 32 kB are under way, as a router's queue would be full.
func (r *relay) carry(to io.WriteCloser, from io.Reader, draw *rand.Rand, cutAt, muteAt int) {
	queue := make(chan parcel, 32<<10/segment)
	r.pipes.Go(func() {
		for p := range queue {
			time.Sleep(time.Until(p.due))
			if _, err := to.Write(p.bytes); err != nil {
				for range queue { // until the other end notices, too
				}
				return
			}
		}
		_ = to.Close()
	})
	defer close(queue)
	var free time.Time // when the line is free again
	latest := time.Time{}
	for sent := 0; ; {
		b := make([]byte, segment)
		n, err := from.Read(b)
		if err != nil {
			return
		}
		if cutAt > 0 && sent+n > cutAt {
			r.cut()
			return
		}
		sent += n
		if muteAt > 0 && sent > muteAt {
			continue
		}
		now := time.Now()
		if free.Before(now) {
			free = now
		}
		if r.rate > 0 {
			free = free.Add(time.Duration(n) * time.Second / time.Duration(r.rate))
		}
		due := free.Add(r.delay)
		if draw.Float64() < r.loss {
			due = due.Add(2 * r.delay)
		}
		if due.Before(latest) { // what follows a lost segment waits for it
			due = latest
		}
		latest = due
		queue <- parcel{b[:n], due}
	}
}

// TestRelay_CarriesBytesInOrder: whatever the shape, what goes in comes out.
func TestRelay_CarriesBytesInOrder(t *testing.T) {
	t.Parallel()
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer lis.Close()
	go func() {
		for {
			c, err := lis.Accept()
			if err != nil {
				return
			}
			go func() {
				_, _ = io.Copy(c, c)
				_ = c.Close()
			}()
		}
	}()
	r := startRelay(t, lis.Addr().String(), shape{seed: 1, rate: 4 << 20, delay: 2 * time.Millisecond, loss: 0.2})
	c, err := net.Dial("tcp", r.addr())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	sent := make([]byte, 200_000)
	draw := rand.New(rand.NewPCG(3, 3))
	for i := range sent {
		sent[i] = byte(draw.Uint32())
	}
	go func() { _, _ = c.Write(sent) }()
	got := make([]byte, len(sent))
	if _, err := io.ReadFull(c, got); err != nil {
		t.Fatal(err)
	}
	if string(got) != string(sent) {
		t.Error("bytes differ")
	}
}

// stallClock is a clock whose timers end at once when told to.
type stallClock struct {
	mu     sync.Mutex
	timers []func()
}

func (s *stallClock) Now() time.Time { return time.Now() }

func (s *stallClock) AfterFunc(_ time.Duration, f func()) func() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	live := true
	s.timers = append(s.timers, func() {
		if live {
			f()
		}
	})
	return func() bool {
		s.mu.Lock()
		defer s.mu.Unlock()
		was := live
		live = false
		return was
	}
}

// runOut ends every timer that waits.
func (s *stallClock) runOut() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, f := range s.timers {
		f()
	}
	s.timers = nil
}
