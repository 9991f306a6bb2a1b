package trial

import (
	"fmt"
	"math"
	"math/rand/v2"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// Check is a place with its true depth.
type Check struct {
	At     plane.Point
	DepthM float64
}

// Pond is a pond with a known bed.
type Pond struct {
	Name     string
	Terrain  bool // cut from terrain, not a solid in closed form
	Shore    *shore.Shore
	AreaM2   float64
	VolumeM3 float64
	MaxM     float64 // greatest depth
	Islands  int
	Checks   []Check // places drawn evenly over the water

	bed     *bottom
	toShore func(plane.Point) plane.Point // from the bed's plane to the outline's
	toBed   func(plane.Point) plane.Point // and back
	axis    plane.Point                   // direction of the long axis, in the bed's plane
}

// checks is the number of check places of a pond.
const checks = 2000

// cuts lists the terrain ponds: where from, the seed, whether the ground is
// refined smoothly, and the fewest islands it must have.
var cuts = []struct {
	terrain string
	seed    uint64
	cubic   bool
	islands int
}{
	{"tennessee", 1, false, 0}, {"tennessee", 2, true, 0}, {"tennessee", 3, false, 0}, {"tennessee", 4, true, 0},
	{"tennessee", 5, false, 0}, {"tennessee", 6, true, 1}, {"tennessee", 7, false, 2}, {"tennessee", 8, true, 1}, {"tennessee", 9, false, 3},
	{"topobathy", 1, false, 0}, {"topobathy", 2, true, 0}, {"topobathy", 3, false, 1},
	{"olinda", 1, false, 0}, {"olinda", 2, true, 0}, {"olinda", 3, false, 1}, {"olinda", 5, true, 1},
	{"chesapeake", 1, false, 0}, {"chesapeake", 2, true, 0}, {"chesapeake", 3, false, 1}, {"chesapeake", 4, true, 1},
}

// Ponds returns all ponds: the solids, then those cut from the terrain whose
// files lie in the two folders, this package's and the height grids'.
func Ponds(own, grids string) ([]*Pond, error) {
	ground, err := terrains(own, grids)
	if err != nil {
		return nil, err
	}
	var out []*Pond
	for k := range solids {
		s := &solids[k]
		b := s.bottom()
		b.scale(float64(unit.Acres(s.acres)), s.deepM)
		p, err := newPond(s.name, b, draw(uint64(k), 0))
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	for _, c := range cuts {
		rng := draw(c.seed, uint64(len(c.terrain)))
		b, err := cut(ground[c.terrain], rng, c.cubic, c.islands)
		if err != nil {
			return nil, err
		}
		acres := 2 * math.Pow(200, rng.Float64())
		deepM := 2.5 * math.Pow(12/2.5, rng.Float64())
		b.scale(float64(unit.Acres(acres)), deepM)
		p, err := newPond(fmt.Sprintf("%s %d", c.terrain, c.seed), b, rng)
		if err != nil {
			return nil, err
		}
		p.Terrain = true
		out = append(out, p)
	}
	return out, nil
}

// newPond puts a bed somewhere on the earth.
func newPond(name string, b *bottom, rng *rand.Rand) (*Pond, error) {
	home := plane.NewFrame(s2.LatLngFromDegrees(26+22*rng.Float64(), -105+30*rng.Float64()))
	var rings [][]s2.LatLng
	for _, ring := range b.rings() {
		var lls []s2.LatLng
		for _, p := range ring {
			lls = append(lls, home.ToLatLng(p))
		}
		rings = append(rings, lls)
	}
	s, err := shore.New(rings[0], rings[1:])
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	p := &Pond{Name: name, Shore: s, Islands: len(rings) - 1, MaxM: b.depthM[b.deepest()], bed: b}
	p.AreaM2, p.VolumeM3 = b.measure()
	p.toShore = func(q plane.Point) plane.Point { return s.Frame().ToPlane(home.ToLatLng(q)) }
	p.toBed = func(q plane.Point) plane.Point { return home.ToPlane(s.Frame().ToLatLng(q)) }
	p.axis = b.longAxis()
	for len(p.Checks) < checks {
		q := b.origin.Add(plane.Point{X: rng.Float64() * float64(b.nx-1) * b.cellM, Y: rng.Float64() * float64(b.ny-1) * b.cellM})
		if d := b.at(q); d > 0 {
			p.Checks = append(p.Checks, Check{p.toShore(q), d})
		}
	}
	return p, nil
}

// longAxis returns the direction in which the water spreads most.
func (b *bottom) longAxis() plane.Point {
	var n, x, y, xx, xy, yy float64
	for k, d := range b.depthM {
		if d > 0 {
			p := b.node(k)
			n, x, y = n+1, x+p.X, y+p.Y
			xx, xy, yy = xx+p.X*p.X, xy+p.X*p.Y, yy+p.Y*p.Y
		}
	}
	xx, xy, yy = xx-x*x/n, xy-x*y/n, yy-y*y/n
	sin, cos := math.Sincos(math.Atan2(2*xy, xx-yy) / 2)
	return plane.Point{X: cos, Y: sin}
}
