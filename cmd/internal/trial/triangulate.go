package trial

import (
	"math"
	"slices"

	"pondwright/geo/bed"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// plain is the ordinary way to make a surface: a Delaunay triangulation of the
// soundings and of the shoreline at depth zero, linear in each triangle. It is
// the yardstick, and so shares no code with the estimator.
//
// Corners lie on a lattice of one millimeter. The shoreline is forced by halving
// its sides until each is a side of a triangle.
type plain struct {
	x, y   []int64
	depthM []float64
	v      [][3]int32 // corners, counter-clockwise
	nb     [][3]int32 // the triangle across from each corner, −1 outside
	last   int32
	index  map[[2]int64]int32
	water  *shore.Shore
	lo     plane.Point
}

const perMeter = 1000

// newPlain triangulates soundings that lie in the water and shoreline points at
// most √area/120 apart.
func newPlain(s *shore.Shore, soundings []bed.Sounding) *plain {
	lo, hi := s.Bounds()
	t := &plain{index: map[[2]int64]int32{}, water: s, lo: lo}
	far := 4 * int64(perMeter*max(hi.X-lo.X, hi.Y-lo.Y))
	t.x, t.y, t.depthM = []int64{-far, 3 * far, -far}, []int64{-far, -far, 3 * far}, []float64{0, 0, 0}
	t.v, t.nb = [][3]int32{{0, 1, 2}}, [][3]int32{{-1, -1, -1}}
	for _, f := range soundings {
		if f.DepthM > 0 && s.Contains(f.At) {
			t.insert(f.At, f.DepthM)
		}
	}
	type side struct{ a, b plane.Point }
	var todo []side
	stepM := math.Sqrt(float64(s.Area())) / 120
	for _, ring := range s.Rings() {
		for k, a := range ring {
			b := ring[(k+1)%len(ring)]
			n := max(1, int(math.Ceil(a.Distance(b)/stepM)))
			for c := range n {
				todo = append(todo, side{a.Lerp(b, float64(c)/float64(n)), a.Lerp(b, float64(c+1)/float64(n))})
			}
		}
	}
	for _, e := range todo {
		t.depthM[t.insert(e.a, 0)] = 0
	}
	for range 8 {
		var missing []side
		for _, e := range todo {
			a, b := t.insert(e.a, 0), t.insert(e.b, 0)
			if a != b && !t.joined(a, b) {
				missing = append(missing, e)
			}
		}
		todo = todo[:0]
		for _, e := range missing {
			m := e.a.Lerp(e.b, 0.5)
			t.depthM[t.insert(m, 0)] = 0
			todo = append(todo, side{e.a, m}, side{m, e.b})
		}
	}
	return t
}

func (t *plain) lattice(p plane.Point) (x, y int64) {
	return int64(math.Round((p.X - t.lo.X) * perMeter)), int64(math.Round((p.Y - t.lo.Y) * perMeter))
}

// side returns twice the area of the triangle from corner a to b to (x, y).
func (t *plain) side(a, b int32, x, y int64) int64 {
	return (t.x[b]-t.x[a])*(y-t.y[a]) - (t.y[b]-t.y[a])*(x-t.x[a])
}

// walk returns the triangle that holds (x, y).
func (t *plain) walk(x, y int64) int32 {
	f := t.last
	for moved := true; moved; {
		moved = false
		for k := range 3 {
			if g := t.nb[f][k]; g >= 0 && t.side(t.v[f][(k+1)%3], t.v[f][(k+2)%3], x, y) < 0 {
				f, moved = g, true
				break
			}
		}
	}
	t.last = f
	return f
}

// insert adds a corner, unless there is one at its place, and returns its number.
func (t *plain) insert(p plane.Point, depthM float64) int32 {
	x, y := t.lattice(p)
	if c, ok := t.index[[2]int64{x, y}]; ok {
		return c
	}
	f := t.walk(x, y)
	c := int32(len(t.x))
	t.x, t.y, t.depthM = append(t.x, x), append(t.y, y), append(t.depthM, depthM)
	t.index[[2]int64{x, y}] = c
	// Three triangles about the corner; one may be flat, and a swap mends that.
	v, nb := t.v[f], t.nb[f]
	g, h := int32(len(t.v)), int32(len(t.v)+1)
	t.v[f], t.nb[f] = [3]int32{v[0], v[1], c}, [3]int32{g, h, nb[2]}
	t.v = append(t.v, [3]int32{v[1], v[2], c}, [3]int32{v[2], v[0], c})
	t.nb = append(t.nb, [3]int32{h, f, nb[0]}, [3]int32{f, g, nb[1]})
	t.relink(nb[0], f, g)
	t.relink(nb[1], f, h)
	for stack := []int32{f, g, h}; len(stack) > 0; {
		f := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		k := slices.Index(t.v[f][:], c)
		if g := t.nb[f][k]; g >= 0 && t.better(f, k, g) {
			t.swap(f, k, g)
			stack = append(stack, f, g)
		}
	}
	return c
}

func (t *plain) relink(f, old, to int32) {
	if f >= 0 {
		t.nb[f][slices.Index(t.nb[f][:], old)] = to
	}
}

// better reports whether the side of f across from its corner k should be
// swapped: the corner beyond lies in f's circle, or f is flat.
func (t *plain) better(f int32, k int, g int32) bool {
	a, b, c := t.v[f][k], t.v[f][(k+1)%3], t.v[f][(k+2)%3]
	d := t.v[g][slices.Index(t.nb[g][:], f)]
	if t.side(a, b, t.x[d], t.y[d]) <= 0 || t.side(a, d, t.x[c], t.y[c]) <= 0 {
		return false // not convex: the swapped triangles would overlap
	}
	if t.side(a, b, t.x[c], t.y[c]) == 0 {
		return true
	}
	var m [3][3]float64
	for i, p := range [3]int32{a, b, c} {
		dx, dy := float64(t.x[p]-t.x[d]), float64(t.y[p]-t.y[d])
		m[i] = [3]float64{dx, dy, dx*dx + dy*dy}
	}
	det := m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0]) - m[1][2]*(m[0][0]*m[2][1]-m[0][1]*m[2][0]) + m[2][2]*(m[0][0]*m[1][1]-m[0][1]*m[1][0])
	size := (m[0][2] + m[1][2] + m[2][2])
	return det > 1e-14*size*size
}

func (t *plain) swap(f int32, k int, g int32) {
	l := slices.Index(t.nb[g][:], f)
	a, b, c, d := t.v[f][k], t.v[f][(k+1)%3], t.v[f][(k+2)%3], t.v[g][l]
	ca, ab := t.nb[f][(k+1)%3], t.nb[f][(k+2)%3]
	bd, dc := t.nb[g][(l+1)%3], t.nb[g][(l+2)%3]
	t.v[f], t.nb[f] = [3]int32{a, b, d}, [3]int32{bd, g, ab}
	t.v[g], t.nb[g] = [3]int32{a, d, c}, [3]int32{dc, ca, f}
	t.relink(bd, g, f)
	t.relink(ca, f, g)
}

// joined reports whether ab is a side of a triangle: it is looked for about a.
func (t *plain) joined(a, b int32) bool {
	f := t.walk(t.x[a], t.y[a])
	start := f
	for {
		k := slices.Index(t.v[f][:], a)
		if t.v[f][(k+1)%3] == b || t.v[f][(k+2)%3] == b {
			return true
		}
		if f = t.nb[f][(k+1)%3]; f < 0 || f == start {
			return false
		}
	}
}

// volumeM3 returns the volume over the triangles whose middle lies in the water.
func (t *plain) volumeM3() float64 {
	var sum float64
	for _, v := range t.v {
		if min(v[0], v[1], v[2]) < 3 {
			continue
		}
		mid := plane.Point{
			X: t.lo.X + float64(t.x[v[0]]+t.x[v[1]]+t.x[v[2]])/3/perMeter,
			Y: t.lo.Y + float64(t.y[v[0]]+t.y[v[1]]+t.y[v[2]])/3/perMeter,
		}
		if t.water.Contains(mid) {
			area := float64(t.side(v[0], v[1], t.x[v[2]], t.y[v[2]])) / 2 / (perMeter * perMeter)
			sum += area * (t.depthM[v[0]] + t.depthM[v[1]] + t.depthM[v[2]]) / 3
		}
	}
	return sum
}

// at returns the depth at p in the water.
func (t *plain) at(p plane.Point) float64 {
	x, y := t.lattice(p)
	v := t.v[t.walk(x, y)]
	all := float64(t.side(v[0], v[1], t.x[v[2]], t.y[v[2]]))
	if all <= 0 {
		return t.depthM[v[0]]
	}
	a := float64(t.side(v[1], v[2], x, y)) / all
	b := float64(t.side(v[2], v[0], x, y)) / all
	return a*t.depthM[v[0]] + b*t.depthM[v[1]] + (1-a-b)*t.depthM[v[2]]
}
