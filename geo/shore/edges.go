package shore

import (
	"math"

	"pondwright/geo/plane"
)

// edge is side i of a ring: from its corner i to the next.
type edge struct {
	ring, i int
	a, b    plane.Point
}

// edgeIndex files the sides of all rings in square buckets, so that a look-up
// touches a handful of sides instead of thousands.
type edgeIndex struct {
	edges   []edge
	buckets [][]int32 // row-major
	lo      plane.Point
	cellM   float64
	nx, ny  int
}

func newEdgeIndex(rings [][]plane.Point) edgeIndex {
	var x edgeIndex
	lo, hi := bounds(rings[0])
	for r, ring := range rings {
		rlo, rhi := bounds(ring)
		lo = plane.Point{X: min(lo.X, rlo.X), Y: min(lo.Y, rlo.Y)}
		hi = plane.Point{X: max(hi.X, rhi.X), Y: max(hi.Y, rhi.Y)}
		for i, a := range ring {
			x.edges = append(x.edges, edge{ring: r, i: i, a: a, b: ring[(i+1)%len(ring)]})
		}
	}
	w, h := hi.X-lo.X, hi.Y-lo.Y
	// About one side a bucket: a shoreline is a curve, so a grid of n by n
	// buckets meets it in a few n of them.
	n := min(512, max(1, len(x.edges)/4))
	x.cellM = max(max(w, h)/float64(n), 1e-9)
	x.lo = plane.Point{X: lo.X - x.cellM/2, Y: lo.Y - x.cellM/2}
	x.nx, x.ny = int(w/x.cellM)+2, int(h/x.cellM)+2
	x.buckets = make([][]int32, x.nx*x.ny)
	for k, e := range x.edges {
		x.visit(e.a, e.b, func(bucket int) bool {
			x.buckets[bucket] = append(x.buckets[bucket], int32(k))
			return true
		})
	}
	return x
}

// column and row return the clamped bucket coordinates of a place.
func (x *edgeIndex) column(v float64) int {
	return min(x.nx-1, max(0, int(math.Floor((v-x.lo.X)/x.cellM))))
}

func (x *edgeIndex) row(v float64) int {
	return min(x.ny-1, max(0, int(math.Floor((v-x.lo.Y)/x.cellM))))
}

// visit calls f for every bucket the segment ab may pass through, row by row,
// until f returns false. It reports whether all were visited.
func (x *edgeIndex) visit(a, b plane.Point, f func(bucket int) bool) bool {
	if a.Y > b.Y {
		a, b = b, a
	}
	slack := x.cellM * 1e-9
	for j := x.row(a.Y - slack); j <= x.row(b.Y+slack); j++ {
		// The stretch of the segment within this row of buckets.
		y0 := max(a.Y, x.lo.Y+float64(j)*x.cellM-slack)
		y1 := min(b.Y, x.lo.Y+float64(j+1)*x.cellM+slack)
		x0, x1 := a.X, b.X
		if dy := b.Y - a.Y; dy > 0 {
			x0 = a.X + (b.X-a.X)*min(1, max(0, (y0-a.Y)/dy))
			x1 = a.X + (b.X-a.X)*min(1, max(0, (y1-a.Y)/dy))
		}
		if x0 > x1 {
			x0, x1 = x1, x0
		}
		for i := x.column(x0 - slack); i <= x.column(x1+slack); i++ {
			if !f(j*x.nx + i) {
				return false
			}
		}
	}
	return true
}

// pairs calls f for pairs of sides that share a bucket until f returns false. A
// pair may come more than once.
func (x *edgeIndex) pairs(f func(e, g edge) bool) {
	for _, bucket := range x.buckets {
		for i, k := range bucket {
			for _, l := range bucket[:i] {
				if !f(x.edges[l], x.edges[k]) {
					return
				}
			}
		}
	}
}

// inside reports whether p lies within an odd number of rings, by a ray east.
func (x *edgeIndex) inside(p plane.Point) bool {
	if p.X < x.lo.X || p.Y < x.lo.Y || p.Y > x.lo.Y+float64(x.ny)*x.cellM {
		return false
	}
	in := false
	j := x.row(p.Y)
	for i := x.column(p.X); i < x.nx; i++ {
		for _, k := range x.buckets[j*x.nx+i] {
			e := x.edges[k]
			if (e.a.Y > p.Y) == (e.b.Y > p.Y) {
				continue
			}
			at := e.a.X + (p.Y-e.a.Y)/(e.b.Y-e.a.Y)*(e.b.X-e.a.X)
			// A side lies in several buckets: count it where the ray meets it.
			if at > p.X && x.column(at) == i {
				in = !in
			}
		}
	}
	return in
}

// nearest searches buckets in growing squares about p.
func (x *edgeIndex) nearest(p plane.Point) (float64, plane.Point) {
	best, at := math.Inf(1), plane.Point{}
	ci, cj := x.column(p.X), x.row(p.Y)
	for ring := 0; ring <= max(x.nx, x.ny); ring++ {
		// Every side first met in this ring of buckets is at least so far away,
		// also from a place outside the index.
		if float64(ring-1)*x.cellM > best {
			break
		}
		for j := cj - ring; j <= cj+ring; j++ {
			if j < 0 || j >= x.ny {
				continue
			}
			step := 1
			if j != cj-ring && j != cj+ring {
				step = max(1, 2*ring)
			}
			for i := ci - ring; i <= ci+ring; i += step {
				if i < 0 || i >= x.nx {
					continue
				}
				for _, k := range x.buckets[j*x.nx+i] {
					e := x.edges[k]
					if d, q := plane.SegmentDistance(p, e.a, e.b); d < best {
						best, at = d, q
					}
				}
			}
		}
	}
	return best, at
}

// crosses reports whether the segment ab meets any side.
func (x *edgeIndex) crosses(a, b plane.Point) bool {
	return !x.visit(a, b, func(bucket int) bool {
		for _, k := range x.buckets[bucket] {
			if touches(edge{a: a, b: b}, x.edges[k]) {
				return false
			}
		}
		return true
	})
}

// touches reports whether two segments have a point in common.
func touches(e, f edge) bool {
	if max(e.a.X, e.b.X) < min(f.a.X, f.b.X) || max(f.a.X, f.b.X) < min(e.a.X, e.b.X) ||
		max(e.a.Y, e.b.Y) < min(f.a.Y, f.b.Y) || max(f.a.Y, f.b.Y) < min(e.a.Y, e.b.Y) {
		return false
	}
	return plane.Orient(e.a, e.b, f.a)*plane.Orient(e.a, e.b, f.b) <= 0 &&
		plane.Orient(f.a, f.b, e.a)*plane.Orient(f.a, f.b, e.b) <= 0
}
