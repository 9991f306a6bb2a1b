package site

import (
	"math"
	"testing"

	"github.com/golang/geo/s2"

	"pondwright/geo/plane"
	"pondwright/geo/route"
	"pondwright/geo/shore"
)

// pond is a test pond of our own: rings in meters about an invented place, and
// a depth.
type pond struct {
	name   string
	rings  [][]plane.Point
	depthM func(p plane.Point, shoreM float64) float64
	cellM  float64
}

func ring(xy ...float64) []plane.Point {
	var pts []plane.Point
	for i := 0; i < len(xy); i += 2 {
		pts = append(pts, plane.Point{X: xy[i], Y: xy[i+1]})
	}
	return pts
}

func star(c plane.Point, n int, r func(rad float64) float64) []plane.Point {
	pts := make([]plane.Point, n)
	for i := range pts {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		pts[i] = c.Add(plane.Point{X: cos, Y: sin}.Scale(r(2 * math.Pi * float64(i) / float64(n))))
	}
	return pts
}

// bank is a bed that falls from the shore at a slope to a greatest depth.
func bank(slope, deepestM float64) func(plane.Point, float64) float64 {
	return func(_ plane.Point, shoreM float64) float64 {
		return deepestM * (1 - math.Exp(-slope*shoreM/deepestM))
	}
}

func ponds() []pond {
	disk := func(radiusM float64) []plane.Point {
		return star(plane.Point{}, 240, func(float64) float64 { return radiusM })
	}
	arms := star(plane.Point{}, 600, func(rad float64) float64 {
		return 190 + 70*math.Sin(3*rad) + 35*math.Cos(7*rad+1) + 12*math.Sin(19*rad)
	})
	island := star(plane.Point{X: 10, Y: -5}, 60, func(rad float64) float64 { return 25 + 6*math.Cos(4*rad) })
	return []pond{
		{"disk of 2 acres", [][]plane.Point{disk(50)}, bank(0.15, 4), 2},
		{"island ring of 8 acres", [][]plane.Point{disk(100), island}, bank(0.12, 4), 3.5},
		{"two basins of 6 acres", [][]plane.Point{ring(-110, -50, 110, -50, 110, 50, -110, 50)}, func(p plane.Point, shoreM float64) float64 {
			// The bed rises to a sill across the middle.
			return min(0.2*shoreM, 4.5) * (0.35 + 0.65*min(1, math.Abs(p.X+20)/40))
		}, 3},
		{"L of 12 acres", [][]plane.Point{ring(-120, -120, 120, -120, 120, -20, -20, -20, -20, 120, -120, 120)}, bank(0.1, 5), 4},
		{"arms of 30 acres", [][]plane.Point{arms}, bank(0.08, 5), 5.5},
		{"shallow arms of 30 acres", [][]plane.Point{arms}, bank(0.1, 2.6), 5.5},
		{"fine arms of 30 acres", [][]plane.Point{arms}, bank(0.08, 6), 4.5},
	}
}

// problem cuts a pond into cells.
func (p pond) problem(t testing.TB) Problem {
	t.Helper()
	drawn := plane.NewFrame(s2.LatLngFromDegrees(37.5, -85.25))
	lls := make([][]s2.LatLng, len(p.rings))
	for r, ring := range p.rings {
		for _, q := range ring {
			lls[r] = append(lls[r], drawn.ToLatLng(q))
		}
	}
	s, err := shore.New(lls[0], lls[1:])
	if err != nil {
		t.Fatal(err)
	}
	water, err := route.New(s, route.DefaultClearance)
	if err != nil {
		t.Fatal(err)
	}
	prob := Problem{Water: water, HeightOffBottom: 0.3}
	depthM := func(q plane.Point) float64 {
		if !s.Contains(q) {
			return 0
		}
		shoreM, _ := s.Nearest(q)
		return p.depthM(q, shoreM)
	}
	lo, hi := s.Bounds()
	h := p.cellM
	for y := lo.Y + h/2; y < hi.Y; y += h {
		for x := lo.X + h/2; x < hi.X; x += h {
			q := plane.Point{X: x, Y: y}
			if !s.Contains(q) {
				continue
			}
			shoreM, _ := s.Nearest(q)
			slope := math.Hypot(
				depthM(plane.Point{X: x + 1, Y: y})-depthM(plane.Point{X: x - 1, Y: y}),
				depthM(plane.Point{X: x, Y: y + 1})-depthM(plane.Point{X: x, Y: y - 1})) / 2
			prob.Cells = append(prob.Cells, Cell{At: q, AreaM2: h * h, DepthM: depthM(q), Slope: slope, ShoreM: shoreM})
		}
	}
	return prob
}
