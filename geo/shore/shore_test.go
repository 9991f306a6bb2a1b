package shore_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/golang/geo/s1"
	"github.com/golang/geo/s2"
	"pgregory.net/rapid"

	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// deg lists positions given as latitude, longitude pairs in degrees.
func deg(latLng ...float64) []s2.LatLng {
	var ring []s2.LatLng
	for i := 0; i < len(latLng); i += 2 {
		ring = append(ring, s2.LatLngFromDegrees(latLng[i], latLng[i+1]))
	}
	return ring
}

// TestNew_Polygons checks area and shoreline of ponds all over the globe.
func TestNew_Polygons(t *testing.T) {
	t.Parallel()
	const source = "Planimeter of GeographicLib 2.1.2 (Karney, 2013, \"Algorithms for geodesics\"), recomputed; its round-off on a pond is about 0.005 m²"
	p2 := deg(18.2, -66.3, 18.2, -66.299, 18.2008, -66.2985, 18.2015, -66.2992, 18.2012, -66.3001)
	p4 := deg(36.6, -84.2, 36.5998, -84.1988, 36.6006, -84.198, 36.6015, -84.1986, 36.6017, -84.1997, 36.6009, -84.2004)
	p7 := deg(52.2, -0.0006, 52.1999, 0.0005, 52.2006, 0.0011, 52.2012, 0.0003, 52.2009, -0.0008)
	tests := []struct {
		name            string
		outer           []s2.LatLng
		islands         [][]s2.LatLng
		lengthM, areaM2 float64
	}{
		{"on the equator", deg(0, 37, 0, 37.0018, 0.0009, 37.002, 0.0013, 37.001, 0.001, 37.0001), nil, 638.8060, 25787.5060},
		{"18 N", p2, nil, 550.1687, 20606.9885},
		{"18 N with an island", p2, [][]s2.LatLng{deg(18.2006, -66.2995, 18.2006, -66.29935, 18.20075, -66.29935, 18.20075, -66.2995)}, 615.1088, 20343.547},
		{"30 N", deg(30.44, -84.3, 30.44, -84.2985, 30.4406, -84.2978, 30.4414, -84.2984, 30.4415, -84.2996, 30.4408, -84.3003), nil, 656.1697, 29976.5970},
		{"36 N", p4, nil, 652.6986, 30581.4619},
		{"36 N with two islands", p4, [][]s2.LatLng{
			deg(36.6006, -84.1994, 36.6006, -84.1992, 36.6008, -84.1992, 36.6008, -84.1994),
			deg(36.6011, -84.199, 36.6011, -84.19885, 36.60125, -84.1989),
		}, 782.4319, 30072.599},
		{"41 N", deg(41.5, -93.6, 41.5, -93.597, 41.502, -93.5965, 41.5028, -93.5982, 41.5015, -93.6004), nil, 1047.5073, 74278.4039},
		{"45 N", deg(45, -90, 45, -89.9985, 45.001, -89.9985, 45.001, -90), nil, 458.8020, 13143.4702},
		{"across the prime meridian", p7, nil, 433.7226, 12856.9958},
		{"across the prime meridian with an island", p7, [][]s2.LatLng{deg(52.2005, 0, 52.2005, 0.0002, 52.20065, 0.0001)}, 483.4702, 12742.880},
		{"60 N", deg(60.2, 25, 60.2, 25.003, 60.2011, 25.0036, 60.2018, 25.0019, 60.2013, 24.9998), nil, 690.1111, 32502.988},
		{"34 S", deg(-33.9, 18.9, -33.9012, 18.9003, -33.9015, 18.9015, -33.9008, 18.9024, -33.8998, 18.9014), nil, 641.4706, 27443.596},
		{"across the antimeridian", deg(-17.8, 179.9994, -17.801, 179.9996, -17.8012, -179.9996, -17.8004, -179.999, -17.7995, -179.9999), nil, 539.8929, 19713.9237},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			for _, way := range []string{"as given", "reversed", "closed"} {
				outer := slices.Clone(tt.outer)
				switch way {
				case "reversed":
					slices.Reverse(outer)
				case "closed":
					outer = append(outer, outer[0])
				}
				s, err := shore.New(outer, tt.islands)
				if err != nil {
					t.Fatalf("%s: %v", way, err)
				}
				if got := float64(s.Area()); math.Abs(got-tt.areaM2) > 0.02 {
					t.Errorf("%s: area %.4f m², want %.4f within 0.02 (%s)", way, got, tt.areaM2, source)
				}
				if got := float64(s.Length()); math.Abs(got-tt.lengthM) > 1e-3 {
					t.Errorf("%s: shoreline %.5f m, want %.4f within 1 mm (%s)", way, got, tt.lengthM, source)
				}
				if len(s.Rings()[0]) != len(tt.outer) {
					t.Errorf("%s: %d corners, want %d", way, len(s.Rings()[0]), len(tt.outer))
				}
				for r, ring := range s.Rings() {
					if ccw := plane.RingArea(ring) > 0; ccw != (r == 0) {
						t.Errorf("%s: ring %d runs the wrong way", way, r)
					}
				}
			}
		})
	}
}

// TestNew_AgreesWithAnotherLibrary has the one area that a second tool gave.
func TestNew_AgreesWithAnotherLibrary(t *testing.T) {
	t.Parallel()
	s, err := shore.New(
		deg(36.6, -84.2, 36.5998, -84.1988, 36.6006, -84.198, 36.6015, -84.1986, 36.6017, -84.1997, 36.6009, -84.2004),
		[][]s2.LatLng{deg(36.6006, -84.1994, 36.6006, -84.1992, 36.6008, -84.1992, 36.6008, -84.1994)})
	if err != nil {
		t.Fatal(err)
	}
	// ST_Area on the ellipsoid, GDAL 3.6.2 with the SQLite dialect, recomputed.
	if got, want := float64(s.Area()), 30184.3015; math.Abs(got-want) > 0.02 {
		t.Errorf("area %.4f m², want %.4f within 0.02", got, want)
	}
}

// meters lists positions in meters east, north of an invented place. What is
// straight in meters here is straight in longitude and latitude.
func meters(xy ...float64) []s2.LatLng {
	meridianM, primeVerticalM := plane.Radii(middle.Lat)
	var ring []s2.LatLng
	for i := 0; i < len(xy); i += 2 {
		ring = append(ring, s2.LatLng{
			Lat: middle.Lat + s1.Angle(xy[i+1]/meridianM),
			Lng: middle.Lng + s1.Angle(xy[i]/(primeVerticalM*math.Cos(middle.Lat.Radians()))),
		})
	}
	return ring
}

var middle = s2.LatLngFromDegrees(37.5, -85.25)

func TestNew_RefusesBadRings(t *testing.T) {
	t.Parallel()
	square := meters(0, 0, 100, 0, 100, 100, 0, 100)
	islet := func(x, y, half float64) []s2.LatLng {
		return meters(x-half, y-half, x+half, y-half, x+half, y+half, x-half, y+half)
	}
	tests := []struct {
		name    string
		outer   []s2.LatLng
		islands [][]s2.LatLng
		ring    int
		corners []int // that may be named
		reason  string
	}{
		{"nothing", nil, nil, 0, []int{0}, "no corners"},
		{"an empty island", square, [][]s2.LatLng{{}}, 1, []int{0}, "no corners"},
		{"two corners", meters(0, 0, 10, 0), nil, 0, []int{0}, "fewer than three"},
		{"one corner again and again", meters(0, 0, 10, 0, 10, 0, 0, 0, 0, 0), nil, 0, []int{0}, "fewer than three"},
		{"a bow-tie", meters(0, 0, 100, 100, 100, 0, 0, 100), nil, 0, []int{0, 2}, "bow-tie"},
		{"a clockwise bow-tie", meters(0, 100, 100, 0, 100, 100, 0, 0), nil, 0, []int{0, 2}, "bow-tie"},
		{"a figure of eight through one corner", meters(0, 0, 50, 50, 100, 0, 100, 100, 50, 50, 0, 100), nil, 0, []int{0, 1, 3, 4}, "touches itself"},
		{"a corner on another side", meters(0, 0, 100, 0, 100, 100, 50, 0, 0, 100), nil, 0, []int{0, 2, 3}, "touches itself"},
		{"a spike", meters(0, 0, 100, 0, 150, 0, 100, 0, 100, 100, 0, 100), nil, 0, []int{1, 2, 3}, "spike"},
		{"a spike inward", meters(0, 0, 100, 0, 100, 100, 50, 100, 50, 40, 50, 100, 0, 100), nil, 0, []int{2, 3, 4, 5}, ""},
		{"all on one line", meters(0, 0, 100, 0, 50, 0), nil, 0, []int{0, 1, 2}, "spike"},
		{"an island outside", square, [][]s2.LatLng{islet(150, 50, 5)}, 1, []int{0}, "outside the outer ring"},
		{"an island round the pond", square, [][]s2.LatLng{islet(50, 50, 90)}, 1, []int{0}, "outside the outer ring"},
		{"an island across the shore", square, [][]s2.LatLng{islet(100, 50, 5)}, 0, []int{1}, "clear of the shore"},
		{"an island that touches the shore", square, [][]s2.LatLng{islet(95, 50, 5)}, 0, []int{1}, "clear of the shore"},
		{"islands that cross", square, [][]s2.LatLng{islet(40, 50, 6), islet(46, 54, 6)}, 1, []int{1, 2}, "two rings"},
		{"islands that share a corner", square, [][]s2.LatLng{islet(40, 40, 5), islet(50, 50, 5)}, 1, []int{1, 2}, "two rings"},
		{"an island in an island", square, [][]s2.LatLng{islet(50, 50, 20), islet(50, 50, 5)}, 2, []int{0}, "inside island 1"},
		{"an island that is a bow-tie", square, [][]s2.LatLng{meters(40, 40, 60, 60, 60, 40, 40, 60)}, 1, []int{0, 2}, "bow-tie"},
		{"latitude not a number", []s2.LatLng{square[0], {Lat: s1.Angle(nan), Lng: square[1].Lng}, square[2]}, nil, 0, []int{1}, "not a position"},
		{"longitude infinite", []s2.LatLng{square[0], square[1], {Lat: square[2].Lat, Lng: s1.Angle(inf)}}, nil, 0, []int{2}, "not a position"},
		{"an island's corner not a number", square, [][]s2.LatLng{{square[0], square[1], {Lat: s1.Angle(nan), Lng: s1.Angle(nan)}}}, 1, []int{2}, "not a position"},
		{"longitude and latitude swapped", deg(-93.6, 41.5, -93.597, 41.5, -93.5965, 41.502), nil, 0, []int{0}, "swapped"},
		{"latitude of 120 and longitude of 250", deg(1, 1, 120, 250, 1, 2), nil, 0, []int{1}, "latitude runs from -90 to 90"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			_, err := shore.New(tt.outer, tt.islands)
			var bad *shore.RingError
			if !errors.As(err, &bad) {
				t.Fatalf("error %v, want a *RingError", err)
			}
			if bad.Ring != tt.ring || !slices.Contains(tt.corners, bad.Vertex) || !strings.Contains(bad.Reason, tt.reason) {
				t.Errorf("ring %d, corner %d: %q; want ring %d, corner of %v: %q", bad.Ring, bad.Vertex, bad.Reason, tt.ring, tt.corners, tt.reason)
			}
			given := append([][]s2.LatLng{tt.outer}, tt.islands...)
			if ring := given[bad.Ring]; len(ring) > 0 && !math.IsNaN(bad.At.Lat.Degrees()) && bad.At != ring[bad.Vertex] {
				t.Errorf("placed at %v, the corner is at %v", bad.At, ring[bad.Vertex])
			}
			if msg := err.Error(); !strings.Contains(msg, fmt.Sprintf("corner %d", bad.Vertex+1)) || !strings.Contains(msg, "lat, lon") {
				t.Errorf("message %q", msg)
			}
		})
	}
}

var nan, inf = math.NaN(), math.Inf(1)

// TestNew_RefusesACornerOnASide puts a corner of an island on a side of the
// shore, as exactly as a number can be written.
func TestNew_RefusesACornerOnASide(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := dice(rapid.Uint64().Draw(t, "seed"))
		outer := star(&d, 0, 0, 60, 90, 7, false)
		a, b, u := outer[2], outer[3], d.in(0.2, 0.8)
		on := s2.LatLng{Lat: a.Lat + s1.Angle(u)*(b.Lat-a.Lat), Lng: a.Lng + s1.Angle(u)*(b.Lng-a.Lng)}
		island := append(meters(0, 0, 1, 3), on)
		var bad *shore.RingError
		if _, err := shore.New(outer, [][]s2.LatLng{island}); !errors.As(err, &bad) || !strings.Contains(bad.Reason, "two rings") {
			t.Errorf("error %v", err)
		}
	})
}

func TestNew_TooWide(t *testing.T) {
	t.Parallel()
	_, err := shore.New(meters(0, 0, 100, 0, 100, 21000, 0, 100), nil)
	if !errors.Is(err, shore.ErrTooWide) || !strings.Contains(err.Error(), "corner 3 at 37.68") {
		t.Errorf("error %v, want ErrTooWide that names corner 3 and where it is", err)
	}
	if _, err := shore.New(meters(0, 0, 19000, 0, 19000, 100, 0, 100), nil); err != nil {
		t.Errorf("19 km wide: %v", err)
	}
}

func TestNew_DropsRepeatedCorners(t *testing.T) {
	t.Parallel()
	s, err := shore.New(meters(0, 0, 0, 0, 100, 0, 100, 0, 100, 0, 100, 100, 0, 100, 0, 0, 0, 0), nil)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(s.Rings()[0]); n != 4 || math.Abs(float64(s.Area())-1e4) > 0.1 {
		t.Errorf("%d corners, %.2f m²", n, float64(s.Area()))
	}
}

// dice gives evenly spread numbers from a seed (Steele, Lea and Flood, 2014,
// "Fast splittable pseudorandom number generators").
type dice uint64

func (d *dice) in(lo, hi float64) float64 {
	*d += 0x9e3779b97f4a7c15
	z := uint64(*d)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return lo + (hi-lo)*float64((z^z>>31)>>11)/(1<<53)
}

// star lists n corners about x, y at radii between lo and hi. Where square is
// set the corners lie on a grid of whole meters, so that sides are upright or
// level and corners share coordinates.
func star(d *dice, x, y, lo, hi float64, n int, square bool) []s2.LatLng {
	var xy []float64
	for i := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		r := d.in(lo, hi)
		px, py := x+r*cos, y+r*sin
		if square {
			px, py = math.Round(px), math.Round(py)
		}
		xy = append(xy, px, py)
	}
	return meters(xy...)
}

// drawShore draws a pond with up to three islands.
func drawShore(t *rapid.T) (*shore.Shore, *dice) {
	d := dice(rapid.Uint64().Draw(t, "seed"))
	square := rapid.Bool().Draw(t, "square")
	outer := star(&d, 0, 0, 30, 90, rapid.IntRange(3, 60).Draw(t, "corners"), square)
	var islands [][]s2.LatLng
	for _, at := range [][2]float64{{-9, 0}, {9, -5}, {5, 12}}[:rapid.IntRange(0, 3).Draw(t, "islands")] {
		islands = append(islands, star(&d, at[0], at[1], 1, 6, 3+int(d.in(0, 8)), square))
	}
	s, err := shore.New(outer, islands)
	if err != nil {
		t.Skip("rounding made rings touch")
	}
	return s, &d
}

// drawPoint draws a point in, about or level with a corner of the pond.
func drawPoint(s *shore.Shore, d *dice) plane.Point {
	lo, hi := s.Bounds()
	w := hi.Sub(lo)
	p := plane.Point{X: d.in(lo.X-w.X/3, hi.X+w.X/3), Y: d.in(lo.Y-w.Y/3, hi.Y+w.Y/3)}
	ring := s.Rings()[int(d.in(0, float64(len(s.Rings()))))]
	corner := ring[int(d.in(0, float64(len(ring))))]
	switch int(d.in(0, 5)) {
	case 0:
		p.Y = corner.Y
	case 1:
		p.X = corner.X
	case 2:
		p = corner.Add(plane.Point{X: d.in(-1, 1), Y: d.in(-1, 1)})
	}
	return p
}

// eachSide calls f with every side.
func eachSide(s *shore.Shore, f func(a, b plane.Point)) {
	for _, ring := range s.Rings() {
		for i, a := range ring {
			f(a, ring[(i+1)%len(ring)])
		}
	}
}

func plainNearest(s *shore.Shore, p plane.Point) float64 {
	best := math.Inf(1)
	eachSide(s, func(a, b plane.Point) {
		d, _ := plane.SegmentDistance(p, a, b)
		best = min(best, d)
	})
	return best
}

// plainContains sums the angles under which the sides are seen.
func plainContains(s *shore.Shore, p plane.Point) bool {
	var turn float64
	eachSide(s, func(a, b plane.Point) {
		v, w := a.Sub(p), b.Sub(p)
		turn += math.Atan2(v.Cross(w), v.Dot(w))
	})
	return turn > math.Pi
}

// plainGap returns the distance between a segment and the shoreline, zero where
// they cross.
func plainGap(s *shore.Shore, a, b plane.Point) float64 {
	gap := math.Inf(1)
	eachSide(s, func(c, d plane.Point) {
		e, f := b.Sub(a), d.Sub(c)
		if den := e.Cross(f); den != 0 {
			u, v := c.Sub(a).Cross(f)/den, c.Sub(a).Cross(e)/den
			if u >= 0 && u <= 1 && v >= 0 && v <= 1 {
				gap = 0
			}
		}
		for _, pair := range [][3]plane.Point{{a, c, d}, {b, c, d}, {c, a, b}, {d, a, b}} {
			m, _ := plane.SegmentDistance(pair[0], pair[1], pair[2])
			gap = min(gap, m)
		}
	})
	return gap
}

func TestShore_AgreesWithPlainLookups(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, d := drawShore(t)
		for range 20 {
			p, q := drawPoint(s, d), drawPoint(s, d)
			want := plainNearest(s, p)
			got, at := s.Nearest(p)
			if math.Abs(got-want) > 1e-9 || math.Abs(p.Distance(at)-got) > 1e-9 || plainNearest(s, at) > 1e-9 {
				t.Errorf("nearest to %v is %g m at %v, want %g m", p, got, at, want)
			}
			if want > 1e-9 && s.Contains(p) != plainContains(s, p) {
				t.Errorf("contains %v: %v", p, s.Contains(p))
			}
			if want > 1e-3 && s.ContainsLatLng(s.Frame().ToLatLng(p)) != s.Contains(p) {
				t.Errorf("contains %v: %v, by S2 %v", p, s.Contains(p), !s.Contains(p))
			}
			gap := plainGap(s, p, q)
			if (gap == 0 || gap > 1e-9) && s.Crosses(p, q) != (gap == 0) {
				t.Errorf("crosses from %v to %v: %v, gap %g", p, q, s.Crosses(p, q), gap)
			}
			margin := d.in(0.001, 5)
			if math.Abs(gap-margin) > 1e-9 && s.Clear(p, q, margin) != (gap > margin) {
				t.Errorf("clear by %g m from %v to %v: %v, gap %g", margin, p, q, s.Clear(p, q, margin), gap)
			}
		}
	})
}

// TestShore_FarAndNowhere asks about places far off and no places at all.
func TestShore_FarAndNowhere(t *testing.T) {
	t.Parallel()
	s, err := shore.New(meters(-50, -50, 50, -50, 50, 50, -50, 50), nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range []plane.Point{{X: 1e6}, {X: -1e6}, {Y: 1e6}, {Y: -1e6}, {X: 1e6, Y: 1e6}} {
		d, _ := s.Nearest(p)
		if want := plainNearest(s, p); s.Contains(p) || math.Abs(d-want) > 1e-6 {
			t.Errorf("%v: contained %v, %g m off, want %g", p, s.Contains(p), d, want)
		}
	}
	if nowhere := (plane.Point{X: nan, Y: nan}); s.Contains(nowhere) {
		t.Error("a place that is none lies in the water")
	}
	lo, hi := s.Bounds()
	if math.Abs(hi.X-lo.X-100) > 2e-3 || math.Abs(hi.Y-lo.Y-100) > 2e-3 {
		t.Errorf("bounds %v %v", lo, hi)
	}
}

func TestShore_CoveringCovers(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, d := drawShore(t)
		level := rapid.IntRange(14, 20).Draw(t, "level")
		covering := s.Covering(level)
		for _, id := range covering {
			if id.Level() != level {
				t.Fatalf("cell of level %d, want %d", id.Level(), level)
			}
		}
		for range 20 {
			p := drawPoint(s, d)
			ll := s.Frame().ToLatLng(p)
			if s.Contains(p) && plainNearest(s, p) > 1e-3 && !covering.ContainsCellID(s2.CellIDFromLatLng(ll)) {
				t.Errorf("%v is not covered", p)
			}
		}
	})
}

// wavy lists n corners of a pond with arms, its shore rough by roughM.
func wavy(n int, roughM float64) []s2.LatLng {
	d := dice(7)
	var xy []float64
	for i := range n {
		rad := 2 * math.Pi * float64(i) / float64(n)
		r := 190 + 70*math.Sin(3*rad) + 35*math.Cos(7*rad+1) + d.in(-roughM/2, roughM/2)
		xy = append(xy, r*math.Cos(rad), r*math.Sin(rad))
	}
	return meters(xy...)
}

func ExampleNew() {
	s, err := shore.New(deg(45, -90, 45, -89.9985, 45.001, -89.9985, 45.001, -90), nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f m² of water, %.1f m of shore\n", float64(s.Area()), float64(s.Length()))
	_, err = shore.New(deg(45, -90, 45.001, -89.9985, 45, -89.9985, 45.001, -90), nil)
	fmt.Println(err)
	// Output:
	// 13143.5 m² of water, 458.8 m of shore
	// outer ring, corner 1 at 45.0000000, -90.0000000 (lat, lon): the shoreline crosses or touches itself here; a ring must not form a bow-tie
}

func benchShore(b *testing.B) *shore.Shore {
	s, err := shore.New(wavy(5000, 0.2), nil)
	if err != nil {
		b.Fatal(err)
	}
	return s
}

func BenchmarkNew_5000Corners(b *testing.B) {
	ring := wavy(5000, 0.2)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := shore.New(ring, nil); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkShore_5000Corners(b *testing.B) {
	s := benchShore(b)
	d := dice(1)
	var pts [1024]plane.Point
	for i := range pts {
		pts[i] = drawPoint(s, &d)
	}
	i := 0
	next := func() plane.Point { i++; return pts[i%len(pts)] }
	b.Run("Contains", func(b *testing.B) {
		for b.Loop() {
			s.Contains(next())
		}
	})
	b.Run("ContainsLatLng", func(b *testing.B) {
		ll := s.Frame().ToLatLng(pts[0])
		for b.Loop() {
			s.ContainsLatLng(ll)
		}
	})
	b.Run("Nearest", func(b *testing.B) {
		for b.Loop() {
			s.Nearest(next())
		}
	})
	b.Run("Crosses", func(b *testing.B) {
		for b.Loop() {
			s.Crosses(next(), next())
		}
	})
}
