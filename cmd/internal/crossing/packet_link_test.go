//go:build link && linux

package crossing

import (
	"context"
	"crypto/rand"
	"errors"
	"flag"
	"fmt"
	mathrand "math/rand/v2"
	"net"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"
	"unsafe"

	"google.golang.org/grpc"

	"pondwright/client"
	"pondwright/server"
	"pondwright/server/access"
)

var linkSeeds = flag.Int("link-seeds", 20, "how often each track crosses the packet link, each time with other losses")

// shoreline is a network of its own with one end of the link in it.
type shoreline struct {
	tun  *os.File
	work chan func() // runs on the thread that lives in this network
}

const linkMTU = 1400

// enter makes a network that holds nothing but a tunnel with the address. A thread
// lives in it: sockets that it opens stay in that network wherever they are used.
func enter(t *testing.T, address string) *shoreline {
	t.Helper()
	s := &shoreline{work: make(chan func())}
	ready := make(chan error)
	go func() {
		runtime.LockOSThread() // never unlocked: the thread ends with the goroutine
		err := syscall.Unshare(syscall.CLONE_NEWNET)
		if err == nil {
			s.tun, err = openTunnel("pond0")
		}
		for _, args := range [][]string{
			{"link", "set", "lo", "up"},
			{"addr", "add", address + "/24", "dev", "pond0"},
			{"link", "set", "pond0", "mtu", fmt.Sprint(linkMTU), "up"},
		} {
			if err == nil {
				var out []byte
				if out, err = exec.Command("ip", args...).CombinedOutput(); err != nil {
					err = fmt.Errorf("ip %v: %w: %s", args, err, out)
				}
			}
		}
		ready <- err
		for f := range s.work {
			f()
		}
	}()
	if err := <-ready; err != nil {
		close(s.work)
		t.Fatalf("a network of its own needs root: %v", err)
	}
	t.Cleanup(func() { close(s.work) })
	return s
}

// openTunnel makes a device whose packets are read and written here.
func openTunnel(name string) (*os.File, error) {
	fd, err := syscall.Open("/dev/net/tun", syscall.O_RDWR|syscall.O_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	request := struct {
		name  [16]byte
		flags uint16
		_     [22]byte
	}{flags: syscall.IFF_TUN | syscall.IFF_NO_PI}
	copy(request.name[:], name)
	if _, _, errno := syscall.Syscall(syscall.SYS_IOCTL, uintptr(fd), syscall.TUNSETIFF, uintptr(unsafe.Pointer(&request))); errno != 0 {
		return nil, errors.Join(errno, syscall.Close(fd))
	}
	if err := syscall.SetNonblock(fd, true); err != nil {
		return nil, errors.Join(err, syscall.Close(fd))
	}
	return os.NewFile(uintptr(fd), name), nil
}

// in runs f on the thread of the network.
func in[T any](s *shoreline, f func() (T, error)) (T, error) {
	var out T
	var err error
	done := make(chan struct{})
	s.work <- func() {
		out, err = f()
		close(done)
	}
	<-done
	return out, err
}

// The link: 64 kbit/s each way, 300 ms there and back, 5 % of packets lost each
// way, a queue of 32 kB.
const (
	linkBytesPerSecond = 8000
	linkDelay          = 150 * time.Millisecond
	linkLoss           = 0.05
	linkQueueBytes     = 32 << 10
)

// packets carries packets from one tunnel to the other until the first is closed.
// Losses are drawn anew from each seed.
func packets(to, from *os.File, draw func() float64, moved *atomic.Int64) {
	type packet struct {
		bytes []byte
		due   time.Time
	}
	queue := make(chan packet, 4096)
	var wait sync.WaitGroup
	wait.Go(func() {
		for p := range queue {
			time.Sleep(time.Until(p.due))
			_, _ = to.Write(p.bytes) // a closed end loses it
		}
	})
	defer wait.Wait()
	defer close(queue)
	free := time.Now()
	for {
		b := make([]byte, linkMTU)
		n, err := from.Read(b)
		if err != nil {
			return
		}
		now := time.Now()
		if free.Before(now) {
			free = now
		}
		waiting := free.Sub(now).Seconds() * linkBytesPerSecond
		if waiting+float64(n) > linkQueueBytes {
			continue
		}
		free = free.Add(time.Duration(n) * time.Second / linkBytesPerSecond)
		moved.Add(int64(n))
		if draw() < linkLoss {
			continue
		}
		queue <- packet{b[:n], free.Add(linkDelay)}
	}
}

// TestPacketLink_10000Soundings pushes 10,000 soundings over real TCP on a slow and
// lossy link, with mutual TLS: from the first packet of the connection until the
// sync is complete.
func TestPacketLink_10000Soundings(t *testing.T) {
	for _, tt := range []struct {
		name   string
		noiseM float64
		median time.Duration
	}{{"2 cm", 0.02, 8500 * time.Millisecond}, {"1 m", 1, 10_500 * time.Millisecond}} {
		t.Run(tt.name, func(t *testing.T) {
			took := crossLink(t, tt.noiseM)
			slices.Sort(took)
			median, worst := took[len(took)/2], took[len(took)-1]
			t.Logf("%s track, %d seeds: median %.1f s, best %.1f, worst %.1f", tt.name, len(took), median.Seconds(), took[0].Seconds(), worst.Seconds())
			if median > tt.median {
				t.Errorf("median %v, at most %v", median, tt.median)
			}
			if worst > 25*time.Second {
				t.Errorf("worst %v, at most 25 s", worst)
			}
		})
	}
}

func crossLink(t *testing.T, noiseM float64) (took []time.Duration) {
	near, far := enter(t, "10.77.0.2"), enter(t, "10.77.0.1")
	var draw atomic.Pointer[mathrand.Rand]
	var mu sync.Mutex
	chance := func() float64 {
		mu.Lock()
		defer mu.Unlock()
		if d := draw.Load(); d != nil {
			return d.Float64()
		}
		return 1 // nothing is lost before the first seed
	}
	var up, down atomic.Int64
	var carriers sync.WaitGroup
	carriers.Go(func() { packets(far.tun, near.tun, chance, &up) })
	carriers.Go(func() { packets(near.tun, far.tun, chance, &down) })
	t.Cleanup(carriers.Wait)
	t.Cleanup(func() { _ = errors.Join(near.tun.Close(), far.tun.Close()) })

	dir := t.TempDir()
	registry, err := server.OpenAccess(dir, time.Now, rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	invitation, err := registry.Invite(server.Tenant, access.Grant{Role: access.Crew, AllPonds: true})
	if err != nil {
		t.Fatal(err)
	}
	lis, err := in(far, func() (net.Listener, error) { return net.Listen("tcp", "10.77.0.1:0") })
	if err != nil {
		t.Fatal(err)
	}
	serveSecure(t, dir, lis)
	dialer := grpc.WithContextDialer(func(ctx context.Context, addr string) (net.Conn, error) {
		return in(near, func() (net.Conn, error) { return (&net.Dialer{}).DialContext(ctx, "tcp4", addr) })
	})
	c := openBoat(t, t.TempDir())
	target := "passthrough:///" + lis.Addr().String()
	if _, err := c.Join(t.Context(), target, invitation.Text.String(), "boat", dialer); err != nil {
		t.Fatal(err)
	}
	for seed := range *linkSeeds {
		record(t, c, track(10_000, noiseM))
		draw.Store(mathrand.New(mathrand.NewPCG(uint64(seed), 1)))
		up.Store(0)
		down.Store(0)
		conn, err := c.Dial(target, dialer)
		if err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		r := client.Result{}
		for err := error(errors.New("not yet")); err != nil; {
			var once client.Result
			once, err = c.Sync(t.Context(), conn)
			if r.PushedEntries += once.PushedEntries; err != nil && !errors.Is(err, client.ErrUnavailable) {
				t.Fatal(err)
			}
		}
		took = append(took, time.Since(began))
		if err := conn.Close(); err != nil {
			t.Fatal(err)
		}
		t.Logf("seed %d: %.1f s, %d bytes up, %d down, with IP", seed, took[seed].Seconds(), up.Load(), down.Load())
		if r.PushedEntries < 10_000 {
			t.Fatalf("pushed %d", r.PushedEntries)
		}
	}
	return took
}

// serveSecure serves a folder with TLS.
func serveSecure(t *testing.T, dir string, lis net.Listener) {
	t.Helper()
	s, err := server.Open(server.Config{Dir: dir, Secure: true})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- s.Serve(ctx, lis) }()
	t.Cleanup(func() {
		cancel()
		if err := errors.Join(<-served, s.Close()); err != nil {
			t.Error(err)
		}
	})
}
