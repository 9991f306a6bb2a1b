package crossing

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/jpeg"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"google.golang.org/grpc"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// picture is a JPEG file of noise, at least n bytes long.
func picture(t testing.TB, n int, seed uint64) []byte {
	t.Helper()
	draw := rand.New(rand.NewPCG(seed, 9))
	var b bytes.Buffer
	for side := 8; b.Len() < n; side += side/8 + 1 {
		img := image.NewGray(image.Rect(0, 0, side, side))
		for i := range img.Pix {
			img.Pix[i] = byte(draw.Uint32())
		}
		b.Reset()
		if err := jpeg.Encode(&b, img, nil); err != nil {
			t.Fatal(err)
		}
	}
	return b.Bytes()
}

func addPhoto(t testing.TB, c *client.Client, file []byte) client.PhotoHash {
	t.Helper()
	h, err := c.AddPhoto(t.Context(), pond, "Ann", &pb.Photo{Caption: "the dam"}, file)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// TestPhoto_ReachesTheOtherBoat: added on one device without a network, twice, it is
// sent once, listed on the other and handed to it whole.
func TestPhoto_ReachesTheOtherBoat(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := startShore(t, dir)
	conn := dial(t, s.addr)
	a, b := openBoat(t, t.TempDir()), openBoat(t, t.TempDir())
	file := picture(t, 40_000, 1)
	h := addPhoto(t, a, file)
	if addPhoto(t, a, file) != h {
		t.Error("one picture has two names")
	}
	if r := mustSync(t, a, conn); r.PhotosSent != 1 || r.PushedEntries != 1 || r.PhotoBytes != len(file) {
		t.Errorf("sync %+v, want one record and %d bytes", r, len(file))
	}
	if r := mustSync(t, a, conn); r.PhotosSent != 0 || r.PhotoBytes != 0 {
		t.Errorf("another sync sent %+v", r)
	}
	addPhoto(t, b, file) // the other boat has the same picture
	if r := mustSync(t, b, conn); r.PhotosSent != 1 || r.PhotoBytes != 0 {
		t.Errorf("a picture that the server holds was sent: %+v", r)
	}
	files, err := os.ReadDir(filepath.Join(dir, "photos", "default", "all"))
	if err != nil || len(files) != 1 {
		t.Errorf("%d files on the server, %v", len(files), err)
	}
	third := openBoat(t, t.TempDir())
	if err := third.Watch(t.Context(), pond); err != nil {
		t.Fatal(err)
	}
	mustSync(t, third, conn)
	things, err := third.Things(t.Context(), pond)
	if err != nil || len(things) != 1 || things[0].Message.GetPhoto().GetCaption() != "the dam" || things[0].Message.GetPhoto().GetWidthPx() == 0 {
		t.Fatalf("things %+v, %v", things, err)
	}
	if _, err := third.Photo(h); !errors.Is(err, client.ErrNotFound) {
		t.Errorf("before it was fetched: %v", err)
	}
	for range 2 { // from the server, then from the device
		if got, err := third.FetchPhoto(t.Context(), conn, pond, h); err != nil || !bytes.Equal(got, file) {
			t.Errorf("fetched %d bytes, %v", len(got), err)
		}
	}
	if _, err := b.FetchPhoto(t.Context(), conn, pond, client.PhotoHash{1}); !errors.Is(err, client.ErrNotFound) {
		t.Errorf("a picture that nobody sent: %v", err)
	}
	if got, err := third.FetchPhoto(t.Context(), conn, block.PondID("another pond"), client.PhotoHash{1}); !errors.Is(err, client.ErrNotFound) {
		t.Errorf("of another pond: %d bytes, %v", len(got), err)
	}
}

// TestPhoto_GoesOnAfterACut cuts each connection after so many bytes: no piece is sent
// twice but the one under way, whether it goes up or comes down.
func TestPhoto_GoesOnAfterACut(t *testing.T) {
	t.Parallel()
	s := startShore(t, t.TempDir())
	a := openBoat(t, t.TempDir())
	file := picture(t, 150_000, 2)
	h := addPhoto(t, a, file)
	limited := func(up, down int64) *grpc.ClientConn {
		return dial(t, s.addr, grpc.WithContextDialer(func(ctx context.Context, addr string) (net.Conn, error) {
			conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", addr)
			left := breaker{conn, &atomic.Int64{}, &atomic.Int64{}}
			left.up.Store(up)
			left.down.Store(down)
			return left, err
		}))
	}
	sum, cuts := 0, 0
	for range 100 {
		r, err := a.Sync(t.Context(), limited(40_000, 1<<40))
		if sum += r.PhotoBytes; err == nil {
			break
		}
		cuts++
	}
	if most := len(file) + cuts*(16<<10); sum < len(file) || sum > most || cuts < 3 {
		t.Errorf("%d bytes in %d tries, at most %d", sum, cuts+1, most)
	}
	b := openBoat(t, t.TempDir())
	var got []byte
	tries := 0
	for err := errors.New("not yet"); err != nil && tries < 100; tries++ {
		got, err = b.FetchPhoto(t.Context(), limited(1<<40, 60_000), pond, h)
	}
	if !bytes.Equal(got, file) || tries < 3 || tries > 15 {
		t.Errorf("%d bytes in %d tries", len(got), tries)
	}
}

// TestPhoto_SoundingsGoFirst: what is recorded while a picture is being sent is on the
// server before the next piece.
func TestPhoto_SoundingsGoFirst(t *testing.T) {
	t.Parallel()
	s := startShore(t, t.TempDir())
	c := openBoat(t, t.TempDir())
	addPhoto(t, c, picture(t, 100_000, 3))
	record(t, c, readings(0, 10))
	var mu sync.Mutex
	var order []string
	next := 10
	conn := dial(t, s.addr, grpc.WithChainStreamInterceptor(func(ctx context.Context, desc *grpc.StreamDesc, cc *grpc.ClientConn, method string,
		streamer grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
		stream, err := streamer(ctx, desc, cc, method, opts...)
		return sends{stream, func(m any) {
			mu.Lock()
			defer mu.Unlock()
			switch m := m.(type) {
			case *pb.PushRequest:
				if f := m.GetBlock().GetFrame(); f != nil {
					order = append(order, "block")
				}
			case *pb.SendPhotoRequest:
				if len(m.GetPiece()) > 0 {
					order = append(order, "piece")
					if n := len(order); n == 4 || n == 6 { // while it is under way
						record(t, c, readings(next, 1))
						next++
					}
				}
			}
		}}, err
	}))
	r := mustSync(t, c, conn)
	if r.PhotosSent != 1 || r.PushedEntries != 1+12 {
		t.Errorf("%+v", r)
	}
	// The record of the picture and the soundings, then pieces; each sounding that
	// comes between goes before the next piece.
	want := []string{"block", "block", "piece", "piece", "block", "piece", "block", "piece"}
	for i, w := range want {
		if i >= len(order) || order[i] != w {
			t.Fatalf("order %v, want %v …", order, want)
		}
	}
	if got := held(t, s.State()); len(got) != 12 {
		t.Errorf("%d soundings on the server, want 12", len(got))
	}
}

// sends is a stream whose messages are looked at as they go.
type sends struct {
	grpc.ClientStream
	look func(any)
}

func (s sends) SendMsg(m any) error {
	s.look(m)
	return s.ClientStream.SendMsg(m)
}

func TestPhoto_Refusals(t *testing.T) {
	t.Parallel()
	s := startShore(t, t.TempDir())
	c := openBoat(t, t.TempDir())
	for name, file := range map[string][]byte{"no picture": []byte("soundings"), "too large": make([]byte, client.MaxPhotoBytes+1), "nothing": nil} {
		if _, err := c.AddPhoto(t.Context(), pond, "Ann", nil, file); !errors.Is(err, client.ErrPhoto) {
			t.Errorf("%s: %v, want ErrPhoto", name, err)
		}
	}
	if st := status(t, c); st.Records != 0 {
		t.Errorf("%d records of what was refused", st.Records)
	}
	conn := dial(t, s.addr)
	c.HoldPhotos(true)
	addPhoto(t, c, picture(t, 1000, 4))
	if r := mustSync(t, c, conn); r.PushedEntries != 1 || r.PhotosSent+r.PhotoBytes != 0 {
		t.Errorf("a picture that is held back was sent: %+v", r)
	}
	c.HoldPhotos(false)
	if r := mustSync(t, c, conn); r.PhotosSent != 1 {
		t.Errorf("not sent once it may go: %+v", r)
	}
	stream, err := pb.NewPhotoServiceClient(conn).SendPhoto(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := stream.Send(&pb.SendPhotoRequest{PondId: pond[:], Sha256: make([]byte, 32), SizeBytes: client.MaxPhotoBytes + 1}); err != nil {
		t.Fatal(err)
	}
	if _, err := stream.Recv(); err == nil || !strings.Contains(err.Error(), "at most 8388608") {
		t.Errorf("a picture that is too large: %v", err)
	}
}
