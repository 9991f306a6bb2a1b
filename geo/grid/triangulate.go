package grid

import (
	"errors"
	"math"
	"math/bits"
	"slices"

	"pondwright/geo/plane"
)

// ErrTangled is returned when sides of the outline run so close to one another
// (about a micrometer) that they cannot be told apart.
var ErrTangled = errors.New("sides of the shoreline lie within a micrometer of each other: simplify the outline there")

// latticeM is the step to which coordinates are rounded for the predicates:
// 2⁻²⁰ m, about a micrometer. Differences within 20 km then fit 36 bits.
const latticeM = 1.0 / (1 << 20)

// triangulation is an incremental constrained Delaunay triangulation (Lawson,
// 1977, Software for C1 surface interpolation; constraints by edge swaps after
// Sloan, 1993, Computers & Structures 47, 441–450). Orientation is exact on the
// lattice. The in-circle test is filtered and says no when unsure: a swap that
// is not needed is only a matter of shape, and swapping on strict improvement
// alone must end.
type triangulation struct {
	x, y  []int64    // lattice coordinates; the first three corners frame the rest
	v     [][3]int32 // corners, counter-clockwise
	nb    [][3]int32 // neighbor across the side opposite each corner, −1 outside
	fixed [][3]bool  // sides that may not be swapped
	at    []int32    // a triangle at each corner
	last  int32      // where the next search starts
}

func newTriangulation(capacity int, spanM float64) *triangulation {
	t := &triangulation{
		v:     make([][3]int32, 0, 2*capacity+8),
		nb:    make([][3]int32, 0, 2*capacity+8),
		fixed: make([][3]bool, 0, 2*capacity+8),
	}
	far := int64(spanM/latticeM) * 4
	t.x = append(t.x, -3*far, 3*far, 0)
	t.y = append(t.y, -3*far, -3*far, 3*far)
	t.at = []int32{0, 0, 0}
	t.push([3]int32{0, 1, 2}, [3]int32{-1, -1, -1}, [3]bool{})
	return t
}

func (t *triangulation) push(v, nb [3]int32, fixed [3]bool) int32 {
	t.v, t.nb, t.fixed = append(t.v, v), append(t.nb, nb), append(t.fixed, fixed)
	return int32(len(t.v) - 1)
}

// orient reports the side of c from the line ab: +1 left, −1 right, 0 on it.
func (t *triangulation) orient(a, b, c int32) int {
	return orientXY(t.x[b]-t.x[a], t.y[b]-t.y[a], t.x[c]-t.x[a], t.y[c]-t.y[a])
}

// orientXY returns the exact sign of ux·vy − uy·vx for |values| < 2⁵³.
func orientXY(ux, uy, vx, vy int64) int {
	l, r := float64(ux)*float64(vy), float64(uy)*float64(vx)
	if d := l - r; math.Abs(d) > 0x1p-51*(math.Abs(l)+math.Abs(r)) {
		if d > 0 {
			return 1
		}
		return -1
	}
	lh, ll := mul128(ux, vy)
	rh, rl := mul128(uy, vx)
	switch {
	case lh != rh:
		if lh > rh {
			return 1
		}
		return -1
	case ll > rl:
		return 1
	case ll < rl:
		return -1
	}
	return 0
}

// mul128 returns the signed product of a and b as a two's-complement pair.
func mul128(a, b int64) (hi int64, lo uint64) {
	h, l := bits.Mul64(uint64(a), uint64(b))
	if a < 0 {
		h -= uint64(b)
	}
	if b < 0 {
		h -= uint64(a)
	}
	return int64(h), l
}

// inCircle reports whether d surely lies inside the circle through a, b, c
// (counter-clockwise). The error bound is that of Shewchuk, 1997, section 4.3.
func (t *triangulation) inCircle(a, b, c, d int32) bool {
	ax, ay := float64(t.x[a]-t.x[d]), float64(t.y[a]-t.y[d])
	bx, by := float64(t.x[b]-t.x[d]), float64(t.y[b]-t.y[d])
	cx, cy := float64(t.x[c]-t.x[d]), float64(t.y[c]-t.y[d])
	bxcy, cxby := bx*cy, cx*by
	cxay, axcy := cx*ay, ax*cy
	axby, bxay := ax*by, bx*ay
	al, bl, cl := ax*ax+ay*ay, bx*bx+by*by, cx*cx+cy*cy
	det := al*(bxcy-cxby) + bl*(cxay-axcy) + cl*(axby-bxay)
	permanent := al*(math.Abs(bxcy)+math.Abs(cxby)) + bl*(math.Abs(cxay)+math.Abs(axcy)) + cl*(math.Abs(axby)+math.Abs(bxay))
	return det > 11*0x1p-53*permanent
}

// indexOf returns the place of corner v in triangle f.
func (t *triangulation) indexOf(f, v int32) int {
	for k, w := range t.v[f] {
		if w == v {
			return k
		}
	}
	return -1
}

// sideTo returns the side of triangle f that faces triangle g.
func (t *triangulation) sideTo(f, g int32) int {
	for k, h := range t.nb[f] {
		if h == g {
			return k
		}
	}
	return -1
}

// insert adds the corner at lattice place (x, y) and returns its number, that of
// an older corner at the same place if there is one.
func (t *triangulation) insert(x, y int64) int32 {
	f, on := t.last, -1
walk:
	for ; ; on = -1 {
		for k := range 3 {
			a, b := t.v[f][(k+1)%3], t.v[f][(k+2)%3]
			switch orientXY(t.x[b]-t.x[a], t.y[b]-t.y[a], x-t.x[a], y-t.y[a]) {
			case -1:
				f = t.nb[f][k]
				continue walk
			case 0:
				on = k
			}
		}
		break
	}
	for _, w := range t.v[f] {
		if t.x[w] == x && t.y[w] == y {
			t.last = f
			return w
		}
	}
	p := int32(len(t.x))
	t.x, t.y, t.at = append(t.x, x), append(t.y, y), append(t.at, f)
	if on < 0 {
		t.splitInside(f, p)
	} else {
		t.splitSide(f, on, p)
	}
	t.last = t.at[p]
	return p
}

// relink tells triangle g, if any, that what lay across from old is now f.
func (t *triangulation) relink(g, old, f int32) {
	if g >= 0 {
		t.nb[g][t.sideTo(g, old)] = f
	}
}

// splitInside replaces triangle f by three about p.
func (t *triangulation) splitInside(f, p int32) {
	v, nb, fx := t.v[f], t.nb[f], t.fixed[f]
	g := t.push([3]int32{v[1], v[2], p}, [3]int32{-1, f, nb[0]}, [3]bool{2: fx[0]})
	h := t.push([3]int32{v[2], v[0], p}, [3]int32{f, g, nb[1]}, [3]bool{2: fx[1]})
	t.nb[g][0] = h
	t.v[f], t.nb[f], t.fixed[f] = [3]int32{v[0], v[1], p}, [3]int32{g, h, nb[2]}, [3]bool{2: fx[2]}
	t.relink(nb[0], f, g)
	t.relink(nb[1], f, h)
	t.at[v[0]], t.at[v[1]], t.at[v[2]], t.at[p] = f, f, g, f
	t.legalize(p, f, g, h)
}

// splitSide replaces the two triangles at side k of f by four about p on it.
func (t *triangulation) splitSide(f int32, k int, p int32) {
	g := t.nb[f][k]
	a, b, c := t.v[f][k], t.v[f][(k+1)%3], t.v[f][(k+2)%3]
	l := t.sideTo(g, f)
	d := t.v[g][l]
	fixed := t.fixed[f][k]
	fb, fc := t.nb[f][(k+1)%3], t.nb[f][(k+2)%3] // across ca, ab
	ffb, ffc := t.fixed[f][(k+1)%3], t.fixed[f][(k+2)%3]
	gc, gb := t.nb[g][(l+1)%3], t.nb[g][(l+2)%3] // across bd, dc
	fgc, fgb := t.fixed[g][(l+1)%3], t.fixed[g][(l+2)%3]
	// f = a b p, h = a p c, g = d p b, i = d c p.
	h := t.push([3]int32{a, p, c}, [3]int32{-1, fb, f}, [3]bool{fixed, ffb, false})
	i := t.push([3]int32{d, c, p}, [3]int32{h, g, gb}, [3]bool{fixed, false, fgb})
	t.nb[h][0] = i
	t.v[f], t.nb[f], t.fixed[f] = [3]int32{a, b, p}, [3]int32{g, h, fc}, [3]bool{fixed, false, ffc}
	t.v[g], t.nb[g], t.fixed[g] = [3]int32{d, p, b}, [3]int32{f, gc, i}, [3]bool{fixed, fgc, false}
	t.relink(fb, f, h)
	t.relink(gb, g, i)
	t.at[a], t.at[b], t.at[c], t.at[d], t.at[p] = f, f, h, g, f
	t.legalize(p, f, g, h, i)
}

// legalize swaps sides opposite p until each is locally Delaunay.
func (t *triangulation) legalize(p int32, stack ...int32) {
	for len(stack) > 0 {
		f := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		k := t.indexOf(f, p)
		g := t.nb[f][k]
		if g < 0 || t.fixed[f][k] {
			continue
		}
		d := t.v[g][t.sideTo(g, f)]
		if t.inCircle(t.v[f][0], t.v[f][1], t.v[f][2], d) {
			t.swap(f, k)
			stack = append(stack, f, g)
		}
	}
}

// swap turns the side k of f, between f = a b c and g = d c b, into ad:
// f = a b d, g = a d c.
func (t *triangulation) swap(f int32, k int) {
	g := t.nb[f][k]
	a, b, c := t.v[f][k], t.v[f][(k+1)%3], t.v[f][(k+2)%3]
	l := t.sideTo(g, f)
	d := t.v[g][l]
	ca, ab := t.nb[f][(k+1)%3], t.nb[f][(k+2)%3]
	fca, fab := t.fixed[f][(k+1)%3], t.fixed[f][(k+2)%3]
	bd, dc := t.nb[g][(l+1)%3], t.nb[g][(l+2)%3]
	fbd, fdc := t.fixed[g][(l+1)%3], t.fixed[g][(l+2)%3]
	t.v[f], t.nb[f], t.fixed[f] = [3]int32{a, b, d}, [3]int32{bd, g, ab}, [3]bool{fbd, false, fab}
	t.v[g], t.nb[g], t.fixed[g] = [3]int32{a, d, c}, [3]int32{dc, ca, f}, [3]bool{fdc, fca, false}
	t.relink(bd, g, f)
	t.relink(ca, f, g)
	t.at[a], t.at[b], t.at[c], t.at[d] = f, f, g, g
}

// constrain forces the side ab into the triangulation. It returns ErrTangled if
// another forced side is in the way.
func (t *triangulation) constrain(a, b int32) error {
	for a != b {
		next, err := t.constrainTo(a, b)
		if err != nil {
			return err
		}
		a = next
	}
	return nil
}

// constrainTo forces the stretch from a toward b up to the first corner on it,
// which it returns.
func (t *triangulation) constrainTo(a, b int32) (int32, error) {
	f := t.at[a]
	for start := f; ; { // turn about a, counter-clockwise
		k := t.indexOf(f, a)
		p, q := t.v[f][(k+1)%3], t.v[f][(k+2)%3]
		if p == b || q == b {
			t.fix(f, a, b)
			return b, nil
		}
		op, oq := t.orient(a, b, p), t.orient(a, b, q)
		if op == 0 && t.ahead(a, b, p) {
			t.fix(f, a, p)
			return p, nil
		}
		if op < 0 && oq > 0 {
			return t.clear(f, k, a, b)
		}
		if f = t.nb[f][(k+1)%3]; f < 0 || f == start {
			return a, ErrTangled
		}
	}
}

// ahead reports whether p, on the line ab, lies on b's side of a.
func (t *triangulation) ahead(a, b, p int32) bool {
	return float64(t.x[p]-t.x[a])*float64(t.x[b]-t.x[a])+float64(t.y[p]-t.y[a])*float64(t.y[b]-t.y[a]) > 0
}

// clear swaps away the sides that cross ab, beginning with side k of f.
func (t *triangulation) clear(f int32, k int, a, b int32) (int32, error) {
	type side struct{ p, q int32 } // p right of ab, q left
	var crossed []side
	var end int32
	for {
		p, q := t.v[f][(k+1)%3], t.v[f][(k+2)%3]
		if t.fixed[f][k] {
			return a, ErrTangled
		}
		crossed = append(crossed, side{p, q})
		g := t.nb[f][k]
		l := t.sideTo(g, f)
		d := t.v[g][l]
		o := t.orient(a, b, d)
		if d == b || o == 0 {
			end = d
			break
		}
		f = g
		if o > 0 { // the way leads on across p d
			k = t.indexOf(g, q)
		} else {
			k = t.indexOf(g, p)
		}
	}
	var fresh []side
	for budget := len(crossed) * (len(crossed) + 8); len(crossed) > 0; budget-- {
		if budget < 0 {
			return a, ErrTangled
		}
		s := crossed[0]
		crossed = crossed[1:]
		f, k := t.find(s.p, s.q)
		if f < 0 {
			return a, ErrTangled
		}
		g := t.nb[f][k]
		u, w := t.v[f][k], t.v[g][t.sideTo(g, f)]
		if t.orient(u, w, s.p)*t.orient(u, w, s.q) >= 0 {
			crossed = append(crossed, s) // not convex yet
			continue
		}
		t.swap(f, k)
		ou, ow := t.orient(a, end, u), t.orient(a, end, w)
		switch {
		case ou*ow < 0 && ou < 0:
			crossed = append(crossed, side{u, w})
		case ou*ow < 0:
			crossed = append(crossed, side{w, u})
		default:
			fresh = append(fresh, side{u, w})
		}
	}
	f, _ = t.find(a, end)
	if f < 0 {
		return a, ErrTangled
	}
	t.fix(f, a, end)
	for range 4 { // restore the shape of what the swaps left
		done := true
		for n, s := range fresh {
			f, k := t.find(s.p, s.q)
			if f < 0 || t.fixed[f][k] || t.nb[f][k] < 0 {
				continue
			}
			g := t.nb[f][k]
			u, w := t.v[f][k], t.v[g][t.sideTo(g, f)]
			if t.inCircle(t.v[f][0], t.v[f][1], t.v[f][2], w) && t.orient(u, w, s.p)*t.orient(u, w, s.q) < 0 {
				t.swap(f, k)
				fresh[n], done = side{u, w}, false
			}
		}
		if done {
			break
		}
	}
	return end, nil
}

// find returns a triangle with side pq and the side's place in it, or −1.
func (t *triangulation) find(p, q int32) (f int32, k int) {
	f = t.at[p]
	for start := f; ; {
		k := t.indexOf(f, p)
		if t.v[f][(k+1)%3] == q {
			return f, (k + 2) % 3
		}
		if t.v[f][(k+2)%3] == q {
			return f, (k + 1) % 3
		}
		if f = t.nb[f][(k+1)%3]; f < 0 || f == start {
			return -1, 0
		}
	}
}

// fix marks side pq of f, and of the triangle across, as not to be swapped.
func (t *triangulation) fix(f, p, q int32) {
	for k := range 3 {
		if v := t.v[f][k]; v != p && v != q {
			t.fixed[f][k] = true
			if g := t.nb[f][k]; g >= 0 {
				t.fixed[g][t.sideTo(g, f)] = true
			}
		}
	}
}

// inner returns the triangles behind an odd number of fixed sides.
func (t *triangulation) inner() [][3]int32 {
	const unseen = 2
	parity := make([]uint8, len(t.v))
	for k := range parity {
		parity[k] = unseen
	}
	first := t.at[0]
	parity[first] = 0
	queue := []int32{first}
	for len(queue) > 0 {
		f := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		for k, g := range t.nb[f] {
			if g < 0 || parity[g] != unseen {
				continue
			}
			parity[g] = parity[f]
			if t.fixed[f][k] {
				parity[g] ^= 1
			}
			queue = append(queue, g)
		}
	}
	var out [][3]int32
	for f, v := range t.v {
		if parity[f] == 1 {
			out = append(out, v)
		}
	}
	return out
}

// hilbertOrder returns the indices of points along a Hilbert curve, so that each
// next one lies near the last.
func hilbertOrder(points []plane.Point, lo plane.Point, spanM float64) []int32 {
	const order = 16
	scale := float64(int(1)<<order-1) / spanM
	type key struct {
		d uint64
		i int32
	}
	keys := make([]key, len(points))
	for n, p := range points {
		x, y := uint32((p.X-lo.X)*scale), uint32((p.Y-lo.Y)*scale)
		var d uint64
		for s := uint32(1) << (order - 1); s > 0; s >>= 1 {
			var rx, ry uint32
			if x&s > 0 {
				rx = 1
			}
			if y&s > 0 {
				ry = 1
			}
			d += uint64(s) * uint64(s) * uint64((3*rx)^ry)
			if ry == 0 {
				if rx == 1 {
					x, y = (1<<order-1)-x, (1<<order-1)-y
				}
				x, y = y, x
			}
		}
		keys[n] = key{d, int32(n)}
	}
	slices.SortFunc(keys, func(a, b key) int {
		if a.d != b.d {
			if a.d < b.d {
				return -1
			}
			return 1
		}
		return int(a.i - b.i)
	})
	out := make([]int32, len(keys))
	for n, k := range keys {
		out[n] = k.i
	}
	return out
}
