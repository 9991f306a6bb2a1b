package crossing

import (
	"context"
	"errors"
	"math/rand/v2"
	"net"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"

	"pondwright/client"
	"pondwright/proto/exchange"
)

// breaker lets so many bytes through each way and then breaks.
type breaker struct {
	net.Conn
	up, down *atomic.Int64
}

func (b breaker) Write(p []byte) (int, error) {
	if b.up.Add(-int64(len(p))) < 0 {
		return 0, errors.Join(errors.New("cut"), b.Close())
	}
	return b.Conn.Write(p)
}

func (b breaker) Read(p []byte) (int, error) {
	n, err := b.Conn.Read(p)
	if b.down.Add(-int64(n)) < 0 {
		return 0, errors.Join(errors.New("cut"), b.Close())
	}
	return n, err
}

// TestCut_AtAnyByte cuts the connection at bytes drawn from a seed, in either
// direction: what is sent again is at most the window, and nothing is stored twice.
func TestCut_AtAnyByte(t *testing.T) {
	t.Parallel()
	const never = 1 << 40
	c := openBoat(t, t.TempDir())
	want := readings(0, 40_000)
	record(t, c, want)
	clean := startShore(t, t.TempDir())
	total := mustSync(t, c, dial(t, clean.addr)).PushedBytes
	clean.stop()
	if total < 2*exchange.DefaultWindow.Bytes {
		t.Fatalf("%d bytes in all: too few to overrun a window", total)
	}
	draw := rand.New(rand.NewPCG(5, 5))
	most := 0
	for i := range 12 {
		up, down := int64(never), int64(never)
		if i%4 == 3 {
			down = draw.Int64N(3000)
		} else {
			up = draw.Int64N(int64(total) + 4000)
		}
		s := startShore(t, t.TempDir())
		conn, err := client.Dial(s.addr, grpc.WithContextDialer(func(ctx context.Context, addr string) (net.Conn, error) {
			conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", addr)
			left := breaker{conn, &atomic.Int64{}, &atomic.Int64{}}
			left.up.Store(up)
			left.down.Store(down)
			return left, err
		}))
		if err != nil {
			t.Fatal(err)
		}
		first, _ := c.Sync(t.Context(), conn)
		if err := conn.Close(); err != nil {
			t.Fatal(err)
		}
		second := mustSync(t, c, dial(t, s.addr))
		again := first.PushedBytes + second.PushedBytes - total
		most = max(most, again)
		if again < 0 || again > exchange.DefaultWindow.Bytes {
			t.Errorf("cut after %d up, %d down: %d bytes sent again, at most %d", up, down, again, exchange.DefaultWindow.Bytes)
		}
		if diff := cmp.Diff(sorted(want), held(t, s.State())); diff != "" {
			t.Errorf("cut after %d up, %d down (-want +got):\n%s", up, down, diff)
		}
		s.stop()
	}
	t.Logf("of %d bytes at most %d were sent again", total, most)
}

// TestLink_SlowLossyCut: over a slow link with losses that breaks twice and once
// falls silent, everything arrives once.
func TestLink_SlowLossyCut(t *testing.T) {
	t.Parallel()
	s := startShore(t, t.TempDir())
	stalls := &stallClock{}
	c, err := client.Open(t.Context(), t.TempDir(), client.WithClock(stalls))
	if err != nil {
		t.Fatal(err)
	}
	closeLater(t, c)
	want := readings(0, 6000)
	record(t, c, want)
	slow := shape{rate: 64 << 10, delay: 20 * time.Millisecond, loss: 0.05}
	cut, mute := slow, slow
	cut.cutAt, mute.muteAt = 9000, 15_000
	for _, link := range []shape{cut, mute, cut, cut, slow} {
		conn := dial(t, startRelay(t, s.addr, link).addr())
		done := make(chan error, 1)
		go func() {
			_, err := c.Sync(t.Context(), conn)
			done <- err
		}()
		if link.muteAt > 0 {
			select {
			case err := <-done:
				t.Fatalf("a sync over a link that falls silent ended: %v", err)
			case <-time.After(2 * time.Second):
				stalls.runOut() // as long as a patient client waits
			}
		}
		if err = <-done; err == nil {
			break
		}
	}
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(sorted(want), held(t, s.State())); diff != "" {
		t.Errorf("on the server (-want +got):\n%s", diff)
	}
}
