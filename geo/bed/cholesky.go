package bed

import (
	"cmp"
	"errors"
	"math"
	"math/bits"
	"runtime"
	"slices"
	"sync"

	"pondwright/geo/plane"
)

// errNotPositive is returned when a matrix that must be positive definite is not.
var errNotPositive = errors.New("bed: the equations of the field are not positive definite")

// pattern is the sparsity of a symmetric matrix: for each row the columns up to
// and including the diagonal. The last rows may be dense.
type pattern struct {
	start []int32
	cols  []int32
}

// newPattern returns the pattern of n variables with the given neighbors, which
// may repeat and need be named from one side only, and of tail further ones,
// each coupled to all.
func newPattern(n int, neighbors [][]int32, tail int) *pattern {
	lower := make([][]int32, n)
	for i, list := range neighbors {
		for _, j := range list {
			hi, lo := max(int32(i), j), min(int32(i), j)
			lower[hi] = append(lower[hi], lo)
		}
	}
	p := &pattern{start: []int32{0}}
	for i := range n {
		row := lower[i]
		row = append(row, int32(i))
		slices.Sort(row)
		p.cols = append(p.cols, slices.Compact(row)...)
		p.start = append(p.start, int32(len(p.cols)))
	}
	for i := n; i < n+tail; i++ {
		for j := range i + 1 {
			p.cols = append(p.cols, int32(j))
		}
		p.start = append(p.start, int32(len(p.cols)))
	}
	return p
}

// slot returns the place of entry (i, j) among the values, which must be in the
// pattern.
func (p *pattern) slot(i, j int32) int32 {
	if i < j {
		i, j = j, i
	}
	row := p.cols[p.start[i]:p.start[i+1]]
	k, found := slices.BinarySearch(row, j)
	if !found {
		return -1
	}
	return p.start[i] + int32(k)
}

// structure is the elimination order of a pattern by geometric nested dissection
// (George, 1973, SIAM J. Numer. Anal. 10, 345–363) and the fronts of the
// multifrontal method (Duff & Reid, 1983, ACM TOMS 9, 302–325): dense blocks of
// columns that are eliminated together.
type structure struct {
	pattern *pattern
	place   []int32                      // position of each variable in the order
	fronts  []front                      // children before parents
	owner   []int32                      // front of each position
	scratch [bits.UintSize + 1]sync.Pool // by the size's number of bits
}

// take returns n zeros, in memory that give was given if there is any of that size.
func (s *structure) take(n int) []float64 {
	size := bits.Len(uint(n))
	if old, ok := s.scratch[size].Get().(*[]float64); ok {
		out := (*old)[:n]
		clear(out)
		return out
	}
	return make([]float64, n, 1<<size)
}

// give takes back what take returned.
func (s *structure) give(old []float64) { s.scratch[bits.Len(uint(len(old)))].Put(&old) }

type front struct {
	first, last int32   // positions eliminated here
	rows        []int32 // positions below that they touch, rising
	children    []int32
	parent      int32
	toParent    []int32 // place of each of rows in the parent's front
	entries     []entry // of the matrix, in these columns
	work        float64 // about the number of multiplications, with all below
}

type entry struct{ row, col, slot int32 }

// leafSize is the number of variables below which a region is not dissected.
const leafSize = 40

// newStructure orders the first len(at) variables of p, which lie at the given
// places, and puts the rest last.
func newStructure(p *pattern, at []plane.Point) *structure {
	n := len(p.start) - 1
	s := &structure{pattern: p, place: make([]int32, n), owner: make([]int32, n)}
	adj := make([][]int32, len(at))
	for i := range at {
		for k := p.start[i]; k < p.start[i+1]-1; k++ {
			j := p.cols[k]
			adj[i] = append(adj[i], j)
			adj[j] = append(adj[j], int32(i))
		}
	}
	d := dissection{s: s, at: at, adj: adj, side: make([]int8, len(at))}
	all := make([]int32, len(at))
	for i := range all {
		all[i] = int32(i)
	}
	roots := d.dissect(all)
	tail := make([]int32, 0, n-len(at))
	for i := len(at); i < n; i++ {
		tail = append(tail, int32(i))
	}
	if len(tail) > 0 || len(roots) > 1 {
		d.close(tail, roots)
	}
	s.analyze()
	return s
}

type dissection struct {
	s    *structure
	at   []plane.Point
	adj  [][]int32
	side []int8
	next int32
}

// close makes a front of vars above the given children and returns its number.
func (d *dissection) close(vars, children []int32) int32 {
	f := int32(len(d.s.fronts))
	first := d.next
	for _, v := range vars {
		d.s.place[v], d.s.owner[d.next] = d.next, f
		d.next++
	}
	d.s.fronts = append(d.s.fronts, front{first: first, last: d.next, children: children, parent: -1})
	for _, c := range children {
		d.s.fronts[c].parent = f
	}
	return f
}

// dissect orders vars and returns the topmost fronts it made.
func (d *dissection) dissect(vars []int32) []int32 {
	if len(vars) <= leafSize {
		if len(vars) == 0 {
			return nil
		}
		return []int32{d.close(vars, nil)}
	}
	lo, hi := d.at[vars[0]], d.at[vars[0]]
	for _, v := range vars {
		lo = plane.Point{X: min(lo.X, d.at[v].X), Y: min(lo.Y, d.at[v].Y)}
		hi = plane.Point{X: max(hi.X, d.at[v].X), Y: max(hi.Y, d.at[v].Y)}
	}
	coordinate := func(v int32) float64 { return d.at[v].X }
	if hi.Y-lo.Y > hi.X-lo.X {
		coordinate = func(v int32) float64 { return d.at[v].Y }
	}
	sorted := slices.Clone(vars)
	slices.SortFunc(sorted, func(a, b int32) int {
		return cmp.Or(cmp.Compare(coordinate(a), coordinate(b)), cmp.Compare(a, b))
	})
	// Cut between two different coordinates, so that a grid's separator is a
	// straight stack of columns.
	cut := len(sorted) / 2
	for cut < len(sorted)-1 && coordinate(sorted[cut]) == coordinate(sorted[cut-1]) {
		cut++
	}
	const left, right, separator = 1, 2, 3
	for k, v := range sorted {
		d.side[v] = right
		if k < cut {
			d.side[v] = left
		}
	}
	touching := func(from, to int8) (out []int32) {
		for _, v := range sorted {
			if d.side[v] == from && slices.ContainsFunc(d.adj[v], func(w int32) bool { return d.side[w] == to }) {
				out = append(out, v)
			}
		}
		return out
	}
	sep := touching(left, right)
	if other := touching(right, left); len(other) < len(sep) {
		sep = other
	}
	for _, v := range sep {
		d.side[v] = separator
	}
	var low, high []int32
	for _, v := range sorted {
		switch d.side[v] {
		case left:
			low = append(low, v)
		case right:
			high = append(high, v)
		}
	}
	for _, v := range sorted {
		d.side[v] = 0
	}
	if len(low) == 0 && len(high) == 0 {
		return []int32{d.close(sep, nil)}
	}
	children := append(d.dissect(low), d.dissect(high)...)
	if len(sep) == 0 {
		return children
	}
	return []int32{d.close(sep, children)}
}

// analyze finds the rows of each front, the way to its parent and the matrix
// entries it takes.
func (s *structure) analyze() {
	n := len(s.place)
	above := make([][]entry, n) // entries by column position; row holds a position
	for i := range n {
		for k := s.pattern.start[i]; k < s.pattern.start[i+1]; k++ {
			a, b := s.place[i], s.place[s.pattern.cols[k]]
			above[min(a, b)] = append(above[min(a, b)], entry{row: max(a, b), slot: k})
		}
	}
	local := make([]int32, n)
	for f := range s.fronts {
		t := &s.fronts[f]
		mark := func(p int32) {
			if p >= t.last && local[p] != int32(f)+1 {
				local[p] = int32(f) + 1
				t.rows = append(t.rows, p)
			}
		}
		for c := t.first; c < t.last; c++ {
			for _, e := range above[c] {
				mark(e.row)
			}
		}
		for _, c := range t.children {
			for _, r := range s.fronts[c].rows {
				mark(r)
			}
		}
		slices.Sort(t.rows)
		nc, nr := float64(t.last-t.first), float64(len(t.rows))
		t.work = nc*nc*nc/6 + nc*nr*(nc+nr)/2
		for _, c := range t.children {
			t.work += s.fronts[c].work
		}
	}
	for f := range s.fronts {
		t := &s.fronts[f]
		nc := t.last - t.first
		index := func(p int32) int32 {
			if p < t.last {
				return p - t.first
			}
			k, _ := slices.BinarySearch(t.rows, p)
			return nc + int32(k)
		}
		for c := t.first; c < t.last; c++ {
			for _, e := range above[c] {
				t.entries = append(t.entries, entry{row: index(e.row), col: c - t.first, slot: e.slot})
			}
		}
		for _, c := range t.children {
			child := &s.fronts[c]
			child.toParent = make([]int32, len(child.rows))
			for k, p := range child.rows {
				child.toParent[k] = index(p)
			}
		}
	}
}

// factor is the Cholesky factor L of a matrix P = L Lᵀ in the structure's order.
type factor struct {
	s      *structure
	blocks [][]float64 // of each front: its columns of L, row by row
	logDet float64
}

// factorize returns the factor of the matrix with the given values. The result
// does not depend on the number of processors: each front's arithmetic is its
// own, only independent fronts run side by side. The memory of the factor old, if
// there is one, is used again: old is lost.
func (s *structure) factorize(values []float64, old *factor) (*factor, error) {
	f := &factor{s: s, blocks: make([][]float64, len(s.fronts))}
	if old != nil {
		f.blocks = old.blocks
	}
	updates := make([][]float64, len(s.fronts))
	bad := make([]bool, len(s.fronts))
	var run func(t int32, spare int)
	run = func(t int32, spare int) {
		children := s.fronts[t].children
		if spare > 1 && len(children) == 2 && min(s.fronts[children[0]].work, s.fronts[children[1]].work) > 1e5 {
			var wait sync.WaitGroup
			wait.Go(func() { run(children[0], spare/2) })
			run(children[1], spare-spare/2)
			wait.Wait()
		} else {
			for _, c := range children {
				run(c, spare)
			}
		}
		bad[t] = !f.eliminate(t, values, updates)
		for _, c := range children {
			s.give(updates[c])
			updates[c] = nil
			bad[t] = bad[t] || bad[c]
		}
	}
	for t := range s.fronts {
		if s.fronts[t].parent < 0 {
			run(int32(t), 2*runtime.GOMAXPROCS(0))
			if bad[t] {
				return nil, errNotPositive
			}
		}
	}
	for t, front := range s.fronts {
		nc := int(front.last - front.first)
		for c := range nc {
			f.logDet += 2 * math.Log(f.blocks[t][c*nc+c])
		}
	}
	return f, nil
}

// eliminate assembles front t from the matrix and its children's updates,
// factorizes its columns and leaves its own update.
func (f *factor) eliminate(t int32, values []float64, updates [][]float64) bool {
	front := &f.s.fronts[t]
	nc, nr := int(front.last-front.first), len(front.rows)
	l, u := f.blocks[t], f.s.take(nr*nr)
	if l == nil {
		l = make([]float64, (nc+nr)*nc)
	} else {
		clear(l)
	}
	for _, e := range front.entries {
		l[int(e.row)*nc+int(e.col)] += values[e.slot]
	}
	for _, c := range front.children {
		child := &f.s.fronts[c]
		cu, cn := updates[c], len(child.rows)
		for i, pi := range child.toParent {
			row := cu[i*cn : i*cn+i+1]
			for j, v := range row {
				if pj := child.toParent[j]; int(pj) < nc {
					l[int(pi)*nc+int(pj)] += v
				} else {
					u[(int(pi)-nc)*nr+int(pj)-nc] += v
				}
			}
		}
	}
	const block = 24
	for k := 0; k < nc; k += block {
		end := min(k+block, nc)
		// Bring the block of columns up to date with those before it.
		subtractProducts(l[k*nc+k:], nc, l[k*nc:], nc, l[k*nc:], nc, nc+nr-k, end-k, k, true)
		for c := k; c < end; c++ {
			rc := l[c*nc+k : c*nc+c]
			d := l[c*nc+c] - dot(rc, rc)
			if !(d > 0) || math.IsInf(d, 0) {
				return false
			}
			d = math.Sqrt(d)
			l[c*nc+c] = d
			inverse := 1 / d
			for r := c + 1; r < nc+nr; r++ {
				l[r*nc+c] = (l[r*nc+c] - dot(l[r*nc+k:r*nc+c], rc)) * inverse
			}
		}
	}
	for c := range nc {
		clear(l[c*nc+c+1 : c*nc+nc])
	}
	subtractProducts(u, nr, l[nc*nc:], nc, l[nc*nc:], nc, nr, nr, nc, true)
	f.blocks[t], updates[t] = l, u
	return true
}

// subtractProducts does C −= A·Bᵀ for C of m × n and A, B of m × k and n × k, all
// row by row with the given strides. With lower set, entries above the diagonal
// may be left alone. It keeps a tile of 2 × 4 sums in registers.
func subtractProducts(c []float64, strideC int, a []float64, strideA int, b []float64, strideB, m, n, k int, lower bool) {
	if k == 0 {
		return
	}
	i := 0
	for ; i+1 < m; i += 2 {
		a0, a1 := a[i*strideA:i*strideA+k], a[(i+1)*strideA:(i+1)*strideA+k]
		end := n
		if lower {
			end = min(n, i+2)
		}
		j := 0
		for ; j+3 < end; j += 4 {
			b0, b1 := b[j*strideB:j*strideB+k], b[(j+1)*strideB:(j+1)*strideB+k]
			b2, b3 := b[(j+2)*strideB:(j+2)*strideB+k], b[(j+3)*strideB:(j+3)*strideB+k]
			var s00, s01, s02, s03, s10, s11, s12, s13 float64
			a1 = a1[:len(a0)]
			b0, b1, b2, b3 = b0[:len(a0)], b1[:len(a0)], b2[:len(a0)], b3[:len(a0)]
			for p, x := range a0 {
				y := a1[p]
				q0, q1, q2, q3 := b0[p], b1[p], b2[p], b3[p]
				s00 += x * q0
				s01 += x * q1
				s02 += x * q2
				s03 += x * q3
				s10 += y * q0
				s11 += y * q1
				s12 += y * q2
				s13 += y * q3
			}
			r0, r1 := c[i*strideC+j:i*strideC+j+4], c[(i+1)*strideC+j:(i+1)*strideC+j+4]
			r0[0] -= s00
			r0[1] -= s01
			r0[2] -= s02
			r0[3] -= s03
			r1[0] -= s10
			r1[1] -= s11
			r1[2] -= s12
			r1[3] -= s13
		}
		for ; j < end; j++ {
			bj := b[j*strideB : j*strideB+k]
			c[i*strideC+j] -= dot(a0, bj)
			c[(i+1)*strideC+j] -= dot(a1, bj)
		}
	}
	for ; i < m; i++ {
		end := n
		if lower {
			end = min(n, i+1)
		}
		for j := range end {
			c[i*strideC+j] -= dot(a[i*strideA:i*strideA+k], b[j*strideB:j*strideB+k])
		}
	}
}

func dot(a, b []float64) float64 {
	var s0, s1 float64
	b = b[:len(a)]
	k := 0
	for ; k+1 < len(a); k += 2 {
		s0 += a[k] * b[k]
		s1 += a[k+1] * b[k+1]
	}
	if k < len(a) {
		s0 += a[k] * b[k]
	}
	return s0 + s1
}

// solve returns P⁻¹ b.
func (f *factor) solve(b []float64) []float64 {
	x := make([]float64, len(b))
	for v, p := range f.s.place {
		x[p] = b[v]
	}
	for t := range f.s.fronts {
		f.forward(t, x)
	}
	for t := len(f.s.fronts) - 1; t >= 0; t-- {
		front := &f.s.fronts[t]
		nc := int(front.last - front.first)
		l, y := f.blocks[t], x[front.first:front.last]
		for k, r := range front.rows {
			v := x[r]
			for c, w := range l[(nc+k)*nc : (nc+k+1)*nc] {
				y[c] -= w * v
			}
		}
		for c := nc - 1; c >= 0; c-- {
			y[c] /= l[c*nc+c]
			for k, w := range l[c*nc : c*nc+c] {
				y[k] -= w * y[c]
			}
		}
	}
	out := make([]float64, len(b))
	for v, p := range f.s.place {
		out[v] = x[p]
	}
	return out
}

// forward eliminates front t from x, which is in the structure's order.
func (f *factor) forward(t int, x []float64) {
	front := &f.s.fronts[t]
	nc := int(front.last - front.first)
	l, y := f.blocks[t], x[front.first:front.last]
	for c := range nc {
		y[c] = (y[c] - dot(l[c*nc:c*nc+c], y[:c])) / l[c*nc+c]
	}
	for k, r := range front.rows {
		x[r] -= dot(l[(nc+k)*nc:(nc+k+1)*nc], y)
	}
}

// sparseRow is a row vector with few entries, by variable.
type sparseRow struct {
	vars   []int32
	values []float64
}

// gram returns the matrix of hᵢ P⁻¹ hⱼᵀ for the given rows, row by row. Only the
// fronts above a row's entries take part.
func (f *factor) gram(rows []sparseRow) []float64 {
	n, m := len(f.s.place), len(rows)
	visited := make([]bool, len(f.s.fronts))
	for _, h := range rows {
		for _, v := range h.vars {
			for t := f.s.owner[f.s.place[v]]; t >= 0 && !visited[t]; t = f.s.fronts[t].parent {
				visited[t] = true
			}
		}
	}
	x := f.s.take(m * n)
	defer f.s.give(x)
	for k, h := range rows {
		for e, v := range h.vars {
			x[k*n+int(f.s.place[v])] += h.values[e]
		}
	}
	out := make([]float64, m*m)
	var below []float64
	for t := range f.s.fronts {
		if !visited[t] {
			continue
		}
		front := &f.s.fronts[t]
		nc, nr, first := int(front.last-front.first), len(front.rows), int(front.first)
		l := f.blocks[t]
		for k := range m {
			y := x[k*n+first : k*n+first+nc]
			for c := range nc {
				y[c] = (y[c] - dot(l[c*nc:c*nc+c], y[:c])) / l[c*nc+c]
			}
		}
		below = append(below[:0], make([]float64, m*nr)...)
		subtractProducts(below, nr, x[first:], n, l[nc*nc:], nc, m, nr, nc, false)
		for k := range m {
			for r, p := range front.rows {
				x[k*n+int(p)] += below[k*nr+r]
			}
		}
		subtractProducts(out, m, x[first:], n, x[first:], n, m, m, nc, true)
	}
	for i := range out {
		out[i] = -out[i]
	}
	for i := range m {
		for j := range i {
			out[j*m+i] = out[i*m+j]
		}
	}
	return out
}
