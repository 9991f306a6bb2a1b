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

// dice gives evenly spread numbers from a seed (Steele, Lea and Flood, 2014,
// "Fast splittable pseudorandom number generators"); rapid's own crowd at the
// ends of a range, which makes dull ponds.
type dice uint64

func (d *dice) in(lo, hi float64) float64 {
	*d += 0x9e3779b97f4a7c15
	z := uint64(*d)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return lo + (hi-lo)*float64((z^z>>31)>>11)/(1<<53)
}

// arms returns a pond of about 30 acres with n corners: deep bays between
// capes, a shoreline rough at the scale of its corners, two islands.
func arms(n int, roughM float64) [][]plane.Point {
	d := dice(7)
	rough := func() float64 { return d.in(-roughM/2, roughM/2) }
	outer := star(plane.Point{}, n, func(rad float64) float64 {
		return 190 + 70*math.Sin(3*rad) + 35*math.Cos(7*rad+1) + 12*math.Sin(19*rad) + rough()
	})
	return [][]plane.Point{
		outer,
		star(plane.Point{X: 30, Y: 20}, n/20+5, func(rad float64) float64 { return 25 + 8*math.Cos(4*rad) + rough()/4 }),
		star(plane.Point{X: -60, Y: -30}, n/20+5, func(rad float64) float64 { return 18 + 6*math.Sin(5*rad) + rough()/4 }),
	}
}

// drawPond draws a star-shaped pond of many capes with up to two islands.
func drawPond(t *rapid.T) (*shore.Shore, *dice) {
	d := dice(rapid.Uint64().Draw(t, "seed"))
	n := rapid.IntRange(5, 40).Draw(t, "corners")
	rings := [][]plane.Point{star(plane.Point{}, n, func(float64) float64 { return d.in(15, 90) })}
	for range rapid.IntRange(0, 2).Draw(t, "islands") {
		c := plane.Point{X: d.in(-12, 12), Y: d.in(-12, 12)}
		rings = append(rings, star(c, 3+int(d.in(0, 7)), func(float64) float64 { return d.in(1, 9) }))
	}
	s, err := tryOutline(rings)
	if err != nil {
		t.Skip("islands touch") // drawn apart only by luck
	}
	return s, &d
}

// drawWater draws a point in the water that keeps offM from the shore, half the
// time far out in an arm.
func drawWater(s *shore.Shore, d *dice, offM float64) plane.Point {
	outer := s.Rings()[0]
	for {
		corner := outer[int(d.in(0, float64(len(outer))))]
		p := corner.Scale(d.in(0, 1))
		if d.in(0, 1) < 0.5 {
			p = corner.Scale(d.in(0.8, 1))
		}
		if near, _ := plainNearest(s, p); plainContains(s, p) && near > offM {
			return p
		}
	}
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
