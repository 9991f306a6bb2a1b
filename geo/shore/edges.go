package shore

import (
	"math"

	"pondwright/geo/plane"
)

// side is side i of a ring: from its corner i to the next.
type side struct {
	ring, i int
	a, b    plane.Point
}

// box is an upright rectangle, rims included.
type box struct{ lo, hi plane.Point }

func boxOf(a, b plane.Point) box {
	return box{
		lo: plane.Point{X: min(a.X, b.X), Y: min(a.Y, b.Y)},
		hi: plane.Point{X: max(a.X, b.X), Y: max(a.Y, b.Y)},
	}
}

func (b box) union(c box) box {
	return box{
		lo: plane.Point{X: min(b.lo.X, c.lo.X), Y: min(b.lo.Y, c.lo.Y)},
		hi: plane.Point{X: max(b.hi.X, c.hi.X), Y: max(b.hi.Y, c.hi.Y)},
	}
}

func (b box) overlaps(c box) bool {
	return b.lo.X <= c.hi.X && c.lo.X <= b.hi.X && b.lo.Y <= c.hi.Y && c.lo.Y <= b.hi.Y
}

// grown returns the box with a rim of marginM.
func (b box) grown(marginM float64) box {
	rim := plane.Point{X: marginM, Y: marginM}
	return box{lo: b.lo.Sub(rim), hi: b.hi.Add(rim)}
}

// distance2 returns the square of the distance from p to the box.
func (b box) distance2(p plane.Point) float64 {
	dx := max(b.lo.X-p.X, 0, p.X-b.hi.X)
	dy := max(b.lo.Y-p.Y, 0, p.Y-b.hi.Y)
	return dx*dx + dy*dy
}

// leafSides is how many sides a leaf of the tree holds.
const leafSides = 4

// sideTree is a binary tree of boxes over the sides of all rings in ring order.
// A shoreline is a curve, so sides that follow one another lie together and the
// boxes are small; they are exact, so no look-up needs a tolerance of its own.
type sideTree struct {
	sides []side
	boxes []box // in heap order: children of k are 2k+1 and 2k+2
}

// span is a node of the tree with the sides [lo, hi) below it.
type span struct{ node, lo, hi int }

func (s span) leaf() bool { return s.hi-s.lo <= leafSides }

func (s span) children() (left, right span) {
	mid := (s.lo + s.hi) / 2
	return span{2*s.node + 1, s.lo, mid}, span{2*s.node + 2, mid, s.hi}
}

func newSideTree(rings [][]plane.Point) sideTree {
	var t sideTree
	for r, ring := range rings {
		for i, a := range ring {
			t.sides = append(t.sides, side{ring: r, i: i, a: a, b: ring[(i+1)%len(ring)]})
		}
	}
	size := 1
	for n := len(t.sides); n > leafSides; n = (n + 1) / 2 {
		size = 2*size + 1
	}
	t.boxes = make([]box, size)
	t.build(t.root())
	return t
}

func (t *sideTree) root() span { return span{0, 0, len(t.sides)} }

func (t *sideTree) build(s span) box {
	var b box
	if s.leaf() {
		b = boxOf(t.sides[s.lo].a, t.sides[s.lo].b)
		for _, e := range t.sides[s.lo+1 : s.hi] {
			b = b.union(boxOf(e.a, e.b))
		}
	} else {
		left, right := s.children()
		b = t.build(left).union(t.build(right))
	}
	t.boxes[s.node] = b
	return b
}

// search calls f for the sides of every leaf whose box and whose ancestors'
// boxes pass enter, in ring order, until f returns false. It reports whether
// all were visited.
func (t *sideTree) search(enter func(b *box) bool, f func(sides []side) bool) bool {
	var stack [64]span
	stack[0] = t.root()
	for n := 1; n > 0; {
		n--
		s := stack[n]
		if !enter(&t.boxes[s.node]) {
			continue
		}
		if s.leaf() {
			if !f(t.sides[s.lo:s.hi]) {
				return false
			}
			continue
		}
		stack[n+1], stack[n] = s.children()
		n += 2
	}
	return true
}

// pairs calls f for every pair of sides whose boxes come within tolM of each
// other, in ring order, until f returns false.
func (t *sideTree) pairs(tolM float64, f func(e, g side) bool) {
	for k, e := range t.sides {
		at := boxOf(e.a, e.b).grown(tolM)
		more := t.search(func(b *box) bool { return at.overlaps(*b) }, func(sides []side) bool {
			for _, g := range sides {
				if g.ring < e.ring || g.ring == e.ring && g.i <= e.i || !at.overlaps(boxOf(g.a, g.b)) {
					continue
				}
				if !f(t.sides[k], g) {
					return false
				}
			}
			return true
		})
		if !more {
			return
		}
	}
}

// inside reports whether p lies within an odd number of rings, by a ray east.
func (t *sideTree) inside(p plane.Point) bool { return t.odd(t.root(), p) }

// odd reports whether the ray east from p meets an odd number of the sides
// below s. A stretch of one ring that lies wholly east of p meets the ray an odd
// number of times exactly when its ends lie on different sides of it, so the
// look-up descends along the ray's start only.
func (t *sideTree) odd(s span, p plane.Point) bool {
	b := &t.boxes[s.node]
	if p.Y < b.lo.Y || p.Y > b.hi.Y || p.X > b.hi.X {
		return false
	}
	first, last := &t.sides[s.lo], &t.sides[s.hi-1]
	if p.X < b.lo.X && first.ring == last.ring {
		return (first.a.Y > p.Y) != (last.b.Y > p.Y)
	}
	if !s.leaf() {
		left, right := s.children()
		return t.odd(left, p) != t.odd(right, p)
	}
	in := false
	for _, e := range t.sides[s.lo:s.hi] {
		if (e.a.Y > p.Y) == (e.b.Y > p.Y) {
			continue
		}
		lower, upper := e.a, e.b
		if lower.Y > upper.Y {
			lower, upper = upper, lower
		}
		if plane.Orient(lower, upper, p) > 0 {
			in = !in
		}
	}
	return in
}

// nearest returns the distance from p to the nearest side and the place on it.
func (t *sideTree) nearest(p plane.Point) (float64, plane.Point) {
	best, at := math.Inf(1), plane.Point{}
	var stack [64]struct {
		span
		d2 float64
	}
	stack[0].span = t.root()
	for n := 1; n > 0; {
		n--
		s := stack[n]
		if s.d2 >= best*best {
			continue
		}
		if s.leaf() {
			for _, e := range t.sides[s.lo:s.hi] {
				if d, q := plane.SegmentDistance(p, e.a, e.b); d < best {
					best, at = d, q
				}
			}
			continue
		}
		near, far := s.children()
		dn, df := t.boxes[near.node].distance2(p), t.boxes[far.node].distance2(p)
		if df < dn {
			near, far, dn, df = far, near, df, dn
		}
		stack[n].span, stack[n].d2 = far, df
		stack[n+1].span, stack[n+1].d2 = near, dn
		n += 2
	}
	return best, at
}

// crosses reports whether the segment ab meets any side.
func (t *sideTree) crosses(a, b plane.Point) bool { return !t.clear(a, b, 0) }

// clear reports whether every side is farther than marginM from the segment ab;
// with a margin of zero, whether none touches it.
func (t *sideTree) clear(a, b plane.Point, marginM float64) bool {
	d := b.Sub(a)
	reach := boxOf(a, b).grown(marginM)
	ax, ay := math.Abs(d.X), math.Abs(d.Y)
	// The slack keeps rounding from pruning a box that the segment grazes.
	slack := (marginM + 1e-9) * (ax + ay)
	near := func(c *box) bool {
		if !reach.overlaps(*c) {
			return false
		}
		// The box lies off the segment's line when its center is farther from it
		// than its half-diagonal projects.
		mx, my := (c.lo.X+c.hi.X)/2-a.X, (c.lo.Y+c.hi.Y)/2-a.Y
		hx, hy := (c.hi.X-c.lo.X)/2, (c.hi.Y-c.lo.Y)/2
		return math.Abs(d.X*my-d.Y*mx) <= hx*ay+hy*ax+slack
	}
	return t.search(near, func(sides []side) bool {
		for i := range sides {
			e := &sides[i]
			if touches(a, b, e.a, e.b) || marginM > 0 && apart(a, b, e.a, e.b) <= marginM {
				return false
			}
		}
		return true
	})
}

// touches reports whether segments ab and cd have a point in common.
func touches(a, b, c, d plane.Point) bool {
	if max(a.X, b.X) < min(c.X, d.X) || max(c.X, d.X) < min(a.X, b.X) ||
		max(a.Y, b.Y) < min(c.Y, d.Y) || max(c.Y, d.Y) < min(a.Y, b.Y) {
		return false
	}
	return plane.Orient(a, b, c)*plane.Orient(a, b, d) <= 0 &&
		plane.Orient(c, d, a)*plane.Orient(c, d, b) <= 0
}

// apart returns the distance between two segments that do not touch.
func apart(a, b, c, d plane.Point) float64 {
	return math.Sqrt(min(distance2(a, c, d), distance2(b, c, d), distance2(c, a, b), distance2(d, a, b)))
}

// distance2 returns the square of the distance from p to the segment ab.
func distance2(p, a, b plane.Point) float64 {
	d, v := b.Sub(a), p.Sub(a)
	if l2 := d.Dot(d); l2 > 0 {
		v = v.Sub(d.Scale(min(1, max(0, v.Dot(d)/l2))))
	}
	return v.Dot(v)
}
