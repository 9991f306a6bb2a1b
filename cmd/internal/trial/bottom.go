package trial

import (
	"math"

	"pondwright/geo/plane"
)

// bottom is a pond's true bed: depths on a square grid, negative ashore, linear
// in each half of a square cut along the diagonal from its south-west to its
// north-east corner.
type bottom struct {
	nx, ny int
	cellM  float64
	origin plane.Point
	depthM []float64
}

// neighbors are the steps along the sides of the triangles.
var neighbors = [6][2]int{{1, 0}, {0, 1}, {1, 1}, {-1, 0}, {0, -1}, {-1, -1}}

// flood keeps the one pool that holds node seed: all other water becomes land.
// It reports false if the pool reaches the grid's border.
func (b *bottom) flood(seed int) bool {
	in := make([]bool, len(b.depthM))
	in[seed] = true
	queue := []int{seed}
	closed := true
	for len(queue) > 0 {
		k := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		i, j := k%b.nx, k/b.nx
		if i == 0 || j == 0 || i == b.nx-1 || j == b.ny-1 {
			closed = false
			continue
		}
		for _, d := range neighbors {
			l := (j+d[1])*b.nx + i + d[0]
			if !in[l] && b.depthM[l] > 0 {
				in[l] = true
				queue = append(queue, l)
			}
		}
	}
	var top float64
	for k, d := range b.depthM {
		if in[k] {
			top = max(top, d)
		}
	}
	// No node lies within a hair of the level, so that no side of the outline
	// vanishes.
	hair := 1e-3 * top
	for k := range b.depthM {
		if in[k] {
			b.depthM[k] = max(b.depthM[k], hair)
		} else {
			b.depthM[k] = min(b.depthM[k], -hair)
		}
	}
	return closed
}

// triangles calls f with the node numbers of every triangle, counter-clockwise.
func (b *bottom) triangles(f func(v [3]int)) {
	for j := range b.ny - 1 {
		for i := range b.nx - 1 {
			k := j*b.nx + i
			f([3]int{k, k + 1, k + b.nx + 1})
			f([3]int{k, k + b.nx + 1, k + b.nx})
		}
	}
}

// measure returns the exact area and volume of the water.
func (b *bottom) measure() (areaM2, volumeM3 float64) {
	half := b.cellM * b.cellM / 2
	b.triangles(func(v [3]int) {
		a, v3 := wetPart([3]float64{b.depthM[v[0]], b.depthM[v[1]], b.depthM[v[2]]})
		areaM2 += half * a
		volumeM3 += half * v3
	})
	return areaM2, volumeM3
}

// wetPart returns the share of a triangle that lies under water and the mean of
// the water's depth over the whole triangle, for the given depths at its corners.
func wetPart(d [3]float64) (area, volume float64) {
	wet := 0
	for _, x := range d {
		if x > 0 {
			wet++
		}
	}
	for k, x := range d {
		y, z := d[(k+1)%3], d[(k+2)%3]
		switch {
		case wet == 1 && x > 0:
			area = x / (x - y) * x / (x - z)
			return area, area * x / 3
		case wet == 2 && x <= 0:
			dry := x / (x - y) * x / (x - z)
			return 1 - dry, (x+y+z)/3 - dry*x/3
		}
	}
	if wet == 3 {
		return 1, (d[0] + d[1] + d[2]) / 3
	}
	return 0, 0
}

// at returns the depth at p, zero ashore.
func (b *bottom) at(p plane.Point) float64 {
	x, y := (p.X-b.origin.X)/b.cellM, (p.Y-b.origin.Y)/b.cellM
	i, j := int(math.Floor(x)), int(math.Floor(y))
	if i < 0 || j < 0 || i >= b.nx-1 || j >= b.ny-1 {
		return 0
	}
	x, y = x-float64(i), y-float64(j)
	k := j*b.nx + i
	sw, se, nw, ne := b.depthM[k], b.depthM[k+1], b.depthM[k+b.nx], b.depthM[k+b.nx+1]
	if x >= y {
		return max(0, sw+x*(se-sw)+y*(ne-se))
	}
	return max(0, sw+y*(nw-sw)+x*(ne-nw))
}

// node returns the place of node k.
func (b *bottom) node(k int) plane.Point {
	return plane.Point{X: b.origin.X + float64(k%b.nx)*b.cellM, Y: b.origin.Y + float64(k/b.nx)*b.cellM}
}

// rings returns the shoreline: every side of a triangle between a wet and a dry
// corner is crossed once. Water lies to the left. The outer ring comes first.
func (b *bottom) rings() [][]plane.Point {
	type side struct{ wet, dry int }
	next := map[side]side{}
	var starts []side
	b.triangles(func(v [3]int) {
		var from, to side
		crossed := false
		for k := range 3 {
			p, q := v[k], v[(k+1)%3]
			switch {
			case b.depthM[p] > 0 && b.depthM[q] <= 0:
				from, crossed = side{p, q}, true
			case b.depthM[p] <= 0 && b.depthM[q] > 0:
				to = side{q, p}
			}
		}
		if crossed {
			next[from] = to
			starts = append(starts, from)
		}
	})
	seen := map[side]bool{}
	var out [][]plane.Point
	outer, most := 0, 0.0
	for _, s := range starts {
		var ring []plane.Point
		for ; !seen[s]; s = next[s] {
			seen[s] = true
			w, d := b.depthM[s.wet], b.depthM[s.dry]
			ring = append(ring, b.node(s.wet).Lerp(b.node(s.dry), w/(w-d)))
		}
		if len(ring) == 0 {
			continue
		}
		if a := plane.RingArea(ring); a > most {
			outer, most = len(out), a
		}
		out = append(out, ring)
	}
	out[0], out[outer] = out[outer], out[0]
	return out
}

// deepest returns the node with the greatest depth.
func (b *bottom) deepest() int {
	best := 0
	for k, d := range b.depthM {
		if d > b.depthM[best] {
			best = k
		}
	}
	return best
}

// scale stretches the bed to the given area and greatest depth and puts the
// middle of its grid at the plane's zero point.
func (b *bottom) scale(areaM2, deepestM float64) {
	a, _ := b.measure()
	b.cellM *= math.Sqrt(areaM2 / a)
	k := deepestM / b.depthM[b.deepest()]
	for i := range b.depthM {
		b.depthM[i] *= k
	}
	b.origin = plane.Point{X: -float64(b.nx-1) / 2 * b.cellM, Y: -float64(b.ny-1) / 2 * b.cellM}
}
