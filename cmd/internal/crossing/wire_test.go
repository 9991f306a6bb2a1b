package crossing

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"net"
	"sync/atomic"
	"testing"

	"google.golang.org/grpc"

	"pondwright/proto/block"
)

// counter counts the bytes of a connection, both ways.
type counter struct {
	net.Conn
	n *atomic.Int64
}

func (c counter) Read(b []byte) (int, error) {
	n, err := c.Conn.Read(b)
	c.n.Add(int64(n))
	return n, err
}

func (c counter) Write(b []byte) (int, error) {
	n, err := c.Conn.Write(b)
	c.n.Add(int64(n))
	return n, err
}

// track is a boat at 1 m/s on lines 5 m apart, one fix a second, with noiseM of
// noise in position and 2 cm in depth, at the resolution of the block.
func track(n int, noiseM float64) []block.Sounding {
	draw := rand.New(rand.NewPCG(11, 0))
	const lineM = 150.0
	out := make([]block.Sounding, n)
	for i := range out {
		along := math.Abs(math.Mod(float64(i), 2*lineM) - lineM)
		x := along + noiseM*draw.NormFloat64()
		y := 5*math.Floor(float64(i)/lineM) + noiseM*draw.NormFloat64()
		depthM := 2 + math.Sin(x/30) + math.Cos(y/40)/2 + 0.02*draw.NormFloat64()
		out[i] = block.Sounding{
			TimeMs:    1718000000000 + int64(i)*1000,
			LatE7:     450000000 + int32(math.Round(y/0.0111132)),
			LonE7:     -930000000 + int32(math.Round(x/0.0078847)),
			ReadingMM: int32(math.Round(depthM * 1000)),
			Reference: block.BelowTransducer,
			Quality:   4,
		}
	}
	return out
}

// TestWire_BytesPerSounding counts everything on the connection: the connection's
// own set-up, framing, acknowledgements and the pull that follows.
func TestWire_BytesPerSounding(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name   string
		noiseM float64
		most   float64
	}{{"1 m", 1, 4.1}, {"2 cm", 0.02, 2.7}} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			const n = 10_000
			s := startShore(t, t.TempDir())
			var bytes atomic.Int64
			conn := dial(t, s.addr, grpc.WithContextDialer(func(ctx context.Context, addr string) (net.Conn, error) {
				c, err := (&net.Dialer{}).DialContext(ctx, "tcp", addr)
				return counter{c, &bytes}, err
			}))
			c := openBoat(t, t.TempDir())
			record(t, c, track(n, tt.noiseM))
			mustSync(t, c, conn)
			per := float64(bytes.Load()) / n
			t.Logf("%.2f bytes a sounding on the wire", per)
			if per > tt.most {
				t.Errorf("%.2f bytes a sounding, at most %.1f", per, tt.most)
			}
		})
	}
}

// TestWire_SyncWithNothingNew counts what a sync costs when nothing waits at either
// end: at most 400 bytes and 60 for each log, and one request, so one round trip.
func TestWire_SyncWithNothingNew(t *testing.T) {
	t.Parallel()
	for _, logs := range []int{1, 20} {
		t.Run(fmt.Sprint(logs, "_logs"), func(t *testing.T) {
			t.Parallel()
			s := startShore(t, t.TempDir())
			var bytes, calls atomic.Int64
			conn := dial(t, s.addr, grpc.WithContextDialer(func(ctx context.Context, addr string) (net.Conn, error) {
				c, err := (&net.Dialer{}).DialContext(ctx, "tcp", addr)
				return counter{c, &bytes}, err
			}), grpc.WithChainStreamInterceptor(func(ctx context.Context, desc *grpc.StreamDesc, cc *grpc.ClientConn, method string,
				streamer grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
				calls.Add(1)
				return streamer(ctx, desc, cc, method, opts...)
			}))
			c := openBoat(t, t.TempDir())
			for i := range logs {
				id := block.PondID(fmt.Sprint("Pond ", i))
				if err := c.RecordSoundings(t.Context(), id, block.ID{7}, "crew", readings(100*i, 10)); err != nil {
					t.Fatal(err)
				}
			}
			mustSync(t, c, conn)
			mustSync(t, c, conn) // header compression has seen everything
			before, called := bytes.Load(), calls.Load()
			const times = 10
			for range times {
				mustSync(t, c, conn)
			}
			per := (bytes.Load() - before) / times
			t.Logf("%d bytes for a sync with nothing new", per)
			if most := int64(400 + 60*logs); per > most {
				t.Errorf("%d bytes, at most %d", per, most)
			}
			if n := calls.Load() - called; n != times {
				t.Errorf("%d calls in %d syncs, want one each", n, times)
			}
		})
	}
}
