package survey_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"math/rand"
	"slices"
	"testing"

	"github.com/golang/geo/s2"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	pb "pondwright/proto/pondwright/v1"
)

func contoursOf(t *testing.T, c pb.SurveyServiceClient, req *pb.DrawContoursRequest) ([]*pb.Contour, error) {
	t.Helper()
	stream, err := c.DrawContours(t.Context(), req)
	if err != nil {
		return nil, err
	}
	var out []*pb.Contour
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, err
		}
		out = append(out, m.GetContour())
	}
}

// In a round bowl of 3 m the line at depth d is the circle of radius 20 √(1 − d/3) m.
func TestDrawContours(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.put(pond, sounded(), shoreline(circle(20)))
	c := serve(t, m)
	feet, err := contoursOf(t, c, &pb.DrawContoursRequest{PondId: pond[:], Interval: &pb.DrawContoursRequest_IntervalFt{IntervalFt: 2}})
	if err != nil {
		t.Fatal(err)
	}
	if len(feet) != 4 { // 2, 4, 6 and 8 ft of 9.8
		t.Fatalf("%d contours", len(feet))
	}
	for k, line := range feet {
		near(t, "depth (m)", line.GetDepthM(), 0.6096*float64(k+1), 1e-9)
		if len(line.GetRings()) != 1 || line.GetRings()[0].GetAroundShoal() {
			t.Fatalf("rings at %g m: %d", line.GetDepthM(), len(line.GetRings()))
		}
		want := 20 * math.Sqrt(1-line.GetDepthM()/3)
		for _, p := range line.GetRings()[0].GetPoints() {
			near(t, "radius (m)", math.Hypot((p.GetLatDeg()-midLat)*perLat, (p.GetLonDeg()-midLon)*perLon), want, 0.6)
		}
	}
	meters, err := contoursOf(t, c, &pb.DrawContoursRequest{PondId: pond[:], Interval: &pb.DrawContoursRequest_IntervalM{IntervalM: 0.5}})
	if err != nil || len(meters) < 5 {
		t.Errorf("%d contours every 0.5 m, %v", len(meters), err)
	}
	_, err = contoursOf(t, c, &pb.DrawContoursRequest{PondId: pond[:]})
	if err == nil {
		t.Error("no interval was taken")
	}
}

// watcher reads tiles as they come.
type watcher struct {
	tiles  map[string]*pb.DepthTile
	cursor []byte
	moved  int
}

// next reads up to the next cursor, as one change.
func (w *watcher) next(stream interface {
	Recv() (*pb.FollowTilesResponse, error)
}) error {
	for {
		m, err := stream.Recv()
		if err != nil {
			return err
		}
		for _, tile := range m.GetTiles() {
			w.tiles[tile.GetCellToken()] = tile
			w.moved++
		}
		for _, token := range m.GetGone() {
			delete(w.tiles, token)
			w.moved++
		}
		if len(m.GetCursor()) > 0 {
			w.cursor = m.GetCursor()
			return nil
		}
	}
}

func tilesSince(t *testing.T, c pb.SurveyServiceClient, cursor []byte, level uint32) *watcher {
	t.Helper()
	stream, err := c.FollowTiles(t.Context(), &pb.FollowTilesRequest{PondId: pond[:], Cursor: cursor, CellLevel: level})
	if err != nil {
		t.Fatal(err)
	}
	w := &watcher{tiles: make(map[string]*pb.DepthTile)}
	if err := w.next(stream); err != nil {
		t.Fatal(err)
	}
	return w
}

func TestFollowTiles_SinceACursor(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.put(pond, sounded(), shoreline(circle(20)))
	c := serve(t, m)
	all := tilesSince(t, c, nil, 21)
	if len(all.tiles) == 0 || all.moved != len(all.tiles) {
		t.Fatalf("%d tiles, %d moved", len(all.tiles), all.moved)
	}
	var volume float64
	for token, tile := range all.tiles {
		id := s2.CellIDFromToken(token).ChildBeginAtLevel(21)
		for k, d := range tile.GetDepthCm() {
			if d >= 0 {
				// ApproxArea is that of the sphere of radius 1; 6371.0 km is near enough here.
				volume += s2.CellFromCellID(id).ApproxArea() * 6371.0e3 * 6371.0e3 * float64(d) / 100
				if tile.GetSdCm()[k] <= 0 {
					t.Fatalf("cell %s has no doubt", id.ToToken())
				}
			}
			id = id.Next()
		}
	}
	near(t, "volume of the tiles (m³)", volume, bowlM3, 0.06*bowlM3)
	if again := tilesSince(t, c, all.cursor, 21); again.moved != 0 || !bytes.Equal(again.cursor, all.cursor) {
		t.Errorf("%d tiles moved with nothing new", again.moved)
	}
	for name, cursor := range map[string][]byte{"another level's": tilesSince(t, c, nil, 19).cursor, "noise": []byte("noise"), "cut short": all.cursor[:len(all.cursor)-3]} {
		if w := tilesSince(t, c, cursor, 21); w.moved != len(all.tiles) {
			t.Errorf("%s cursor brings %d of %d tiles", name, w.moved, len(all.tiles))
		}
	}
	deeper := sounded()
	for k := range deeper {
		deeper[k].ReadingMM += 100
	}
	m.put(pond, deeper, shoreline(circle(20)))
	if w := tilesSince(t, c, all.cursor, 21); w.moved == 0 {
		t.Error("a tenth of a meter moves no tile")
	}
	stream, err := c.FollowTiles(t.Context(), &pb.FollowTilesRequest{PondId: pond[:], CellLevel: 9})
	if err == nil {
		_, err = stream.Recv()
	}
	refused(t, err, codes.InvalidArgument, "FIELD_INVALID", "cell_level")
}

// Whoever follows is told of the change, and only of it.
func TestFollowTiles_Follows(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.put(pond, sounded(), shoreline(circle(20)))
	c := serve(t, m)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	stream, err := c.FollowTiles(ctx, &pb.FollowTilesRequest{PondId: pond[:], Follow: true})
	if err != nil {
		t.Fatal(err)
	}
	w := &watcher{tiles: make(map[string]*pb.DepthTile)}
	if err := w.next(stream); err != nil {
		t.Fatal(err)
	}
	deeper := sounded()
	for k := range deeper {
		deeper[k].ReadingMM += 200
	}
	m.put(pond, deeper, shoreline(circle(20)))
	w.moved = 0
	if err := w.next(stream); err != nil || w.moved == 0 {
		t.Fatalf("%d tiles moved, %v", w.moved, err)
	}
	if cold := tilesSince(t, c, nil, 0); !bytes.Equal(cold.cursor, w.cursor) {
		t.Error("who followed ends at another place than who asks now")
	}
}

// Two servers that got the same soundings in other orders hand out the same bytes.
func TestFollowTiles_OrderOfArrival(t *testing.T) {
	t.Parallel()
	var want []byte
	for n := range 2 {
		put := sounded()
		rand.New(rand.NewSource(int64(n))).Shuffle(len(put), func(i, j int) { put[i], put[j] = put[j], put[i] })
		m := newMemory()
		m.put(pond, put, shoreline(circle(20)))
		w := tilesSince(t, serve(t, m), nil, 22)
		got := slices.Clone(w.cursor)
		var tokens []string
		for token := range w.tiles {
			tokens = append(tokens, token)
		}
		slices.Sort(tokens)
		for _, token := range tokens {
			raw, err := proto.MarshalOptions{Deterministic: true}.Marshal(w.tiles[token])
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, raw...)
		}
		if n == 0 {
			want = got
		} else if !bytes.Equal(got, want) {
			t.Error("tiles depend on the order in which soundings arrived")
		}
	}
}
