package route

import (
	"math"
	"testing"

	"github.com/golang/geo/s2"
	"pgregory.net/rapid"

	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// middle is where the test ponds lie: an invented place.
var middle = s2.LatLngFromDegrees(37.5, -85.25)

// outline makes a shore from rings in meters about middle, and returns how to
// bring a point drawn with them into the shore's own frame.
func outline(t testing.TB, rings ...[]plane.Point) (*shore.Shore, func(x, y float64) plane.Point) {
	t.Helper()
	s, err := tryOutline(rings)
	if err != nil {
		t.Fatal(err)
	}
	drawn := plane.NewFrame(middle)
	return s, func(x, y float64) plane.Point {
		return s.Frame().ToPlane(drawn.ToLatLng(plane.Point{X: x, Y: y}))
	}
}

func tryOutline(rings [][]plane.Point) (*shore.Shore, error) {
	drawn := plane.NewFrame(middle)
	lls := make([][]s2.LatLng, len(rings))
	for r, ring := range rings {
		for _, p := range ring {
			lls[r] = append(lls[r], drawn.ToLatLng(p))
		}
	}
	return shore.New(lls[0], lls[1:])
}

// ring lists corners given as x, y pairs.
func ring(xy ...float64) []plane.Point {
	var pts []plane.Point
	for i := 0; i < len(xy); i += 2 {
		pts = append(pts, plane.Point{X: xy[i], Y: xy[i+1]})
	}
	return pts
}

// star returns a ring about c with n corners at the radii r(bearing).
func star(c plane.Point, n int, r func(rad float64) float64) []plane.Point {
	pts := make([]plane.Point, n)
	for i := range pts {
		rad := 2 * math.Pi * float64(i) / float64(n)
		pts[i] = c.Add(heading(rad).Scale(r(rad)))
	}
	return pts
}

func circle(c plane.Point, n int, radiusM float64) []plane.Point {
	return star(c, n, func(float64) float64 { return radiusM })
}

// arms returns a pond of about 30 acres with n corners: deep bays between
// capes, a shoreline rough at the scale of its corners, two islands.
func arms(n int, roughM float64) [][]plane.Point {
	seed := uint32(7)
	rough := func() float64 {
		seed = seed*1664525 + 1013904223
		return roughM * (float64(seed>>8)/(1<<24) - 0.5)
	}
	outer := star(plane.Point{}, n, func(rad float64) float64 {
		return 190 + 70*math.Sin(3*rad) + 35*math.Cos(7*rad+1) + 12*math.Sin(19*rad) + rough()
	})
	return [][]plane.Point{
		outer,
		star(plane.Point{X: 30, Y: 20}, n/20+5, func(rad float64) float64 { return 25 + 8*math.Cos(4*rad) + rough()/4 }),
		star(plane.Point{X: -60, Y: -30}, n/20+5, func(rad float64) float64 { return 18 + 6*math.Sin(5*rad) + rough()/4 }),
	}
}

// drawPond draws a star-shaped pond with up to two islands.
func drawPond(t *rapid.T) *shore.Shore {
	radii := rapid.SliceOfN(rapid.Float64Range(25, 90), 5, 40).Draw(t, "radii")
	rings := [][]plane.Point{starOf(plane.Point{}, radii)}
	for range rapid.IntRange(0, 2).Draw(t, "islands") {
		c := plane.Point{X: rapid.Float64Range(-18, 18).Draw(t, "east"), Y: rapid.Float64Range(-18, 18).Draw(t, "north")}
		rings = append(rings, starOf(c, rapid.SliceOfN(rapid.Float64Range(1, 9), 3, 9).Draw(t, "island")))
	}
	s, err := tryOutline(rings)
	if err != nil {
		t.Skip("islands touch") // drawn apart only by luck
	}
	return s
}

func starOf(c plane.Point, radii []float64) []plane.Point {
	i := -1
	return star(c, len(radii), func(float64) float64 { i++; return radii[i] })
}

// drawWater draws a point in the water that keeps offM from the shore.
func drawWater(t *rapid.T, s *shore.Shore, name string, offM float64) plane.Point {
	lo, hi := s.Bounds()
	return rapid.Custom(func(t *rapid.T) plane.Point {
		return plane.Point{X: rapid.Float64Range(lo.X, hi.X).Draw(t, "x"), Y: rapid.Float64Range(lo.Y, hi.Y).Draw(t, "y")}
	}).Filter(func(p plane.Point) bool {
		d, _ := plainNearest(s, p)
		return s.Contains(p) && d > offM
	}).Draw(t, name)
}

// plainNearest looks at every side.
func plainNearest(s *shore.Shore, p plane.Point) (bestM float64, at plane.Point) {
	bestM = math.Inf(1)
	for _, ring := range s.Rings() {
		for i, a := range ring {
			if d, q := plane.SegmentDistance(p, a, ring[(i+1)%len(ring)]); d < bestM {
				bestM, at = d, q
			}
		}
	}
	return bestM, at
}
