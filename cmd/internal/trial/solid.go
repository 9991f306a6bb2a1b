package trial

import "math"

// solid is a pond in closed form on the square |x|, |y| ≤ 1.
type solid struct {
	name   string
	depthM func(x, y float64) float64 // in any measure; negative ashore
	acres  float64
	deepM  float64
}

var solids = []solid{
	{"cone", func(x, y float64) float64 { return 0.9 - math.Hypot(x, y) }, 3, 4},
	{"paraboloid", func(x, y float64) float64 { return 0.81 - x*x - y*y }, 8, 3},
	// The floor falls toward the dam at the east end; banks of equal slope.
	{"wedge", func(x, y float64) float64 {
		return min(0.15*(x+0.9), 0.5*(0.9-x), 0.4*(0.45-math.Abs(y)))
	}, 12, 5},
	{"two basins and a sill", func(x, y float64) float64 {
		a := 0.22 - (x-0.36)*(x-0.36) - y*y
		b := 0.16 - (x+0.38)*(x+0.38) - (y-0.1)*(y-0.1)
		return max(a, b, 0.04-0.25*x*x-y*y)
	}, 20, 6},
	{"bowl about an island", func(x, y float64) float64 {
		return min(0.8-x*x-1.3*y*y, 3*(math.Hypot(x+0.2, y-0.1)-0.15))
	}, 30, 4.5},
	{"flat floor, steep banks", func(x, y float64) float64 {
		return min(0.12+0.02*x, 0.5*(0.85-math.Abs(x)), 0.5*(0.6-math.Abs(y)), 0.4*(1.15-math.Abs(x)-math.Abs(y)))
	}, 5, 3.5},
}

// bottom draws the solid on a grid.
func (s *solid) bottom() *bottom {
	const n = 221
	b := &bottom{nx: n, ny: n, cellM: 2.0 / (n - 1)}
	for j := range n {
		for i := range n {
			b.depthM = append(b.depthM, s.depthM(-1+float64(i)*b.cellM, -1+float64(j)*b.cellM))
		}
	}
	b.flood(b.deepest())
	return b
}
