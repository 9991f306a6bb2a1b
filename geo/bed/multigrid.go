package bed

import (
	"errors"
	"math"
	"slices"
)

// Settings of the multigrid solver.
const (
	coarsestNodes = 60
	maxIterations = 200
	solveRelative = 1e-7 // error left, in the energy norm, as the cycle measures it
)

// errNotConverged is returned when the multigrid solver does not reach its
// tolerance.
var errNotConverged = errors.New("bed: the field's equations did not converge")

// multigrid solves the equations of a field on a fine grid,
//
//	(D + βL + πI + αL²) u = f,
//
// D being the data's part and L the Laplacian, by conjugate gradients. The squared
// Laplacian spoils the usual multigrid cycles, so the preconditioner works on the
// mixed form with w = Lu,
//
//	⎡D + βL + πM   αL ⎤ ⎡u⎤   ⎡f⎤
//	⎣    αL       −αM ⎦ ⎣w⎦ = ⎣0⎦,
//
// which holds second differences only (Ciarlet & Raviart, 1974, from memory): one
// W-cycle of Gauss–Seidel sweeps, up and down, that solve for both unknowns of a
// node at once, with coarse operators by Galerkin's product. The number of
// iterations then hardly depends on the grid. All of it is sequential, so the
// result is the same on any number of processors.
type multigrid struct {
	alpha, beta, pull float64
	levels            []level // finest first
}

// level is one grid of the hierarchy. Its matrices share one sparsity, both
// triangles kept.
type level struct {
	i, j             []int32 // place of each node
	start, cols      []int32
	lap, mass, data  []float64
	diagonal         []int32  // slot of each diagonal entry
	up               transfer // to this level from the next coarser one
	u, w, f, g, r, q []float64
}

// transfer interpolates: for each fine node the coarse nodes and their weights.
type transfer struct {
	start, cols []int32
	weights     []float64
	coarse      int // number of coarse nodes
}

// newMultigrid prepares the equations: diagonal is that of the Laplacian, whose
// other entries are −1 between neighbors on the grid; free tells that nothing holds
// it at the shore.
func newMultigrid(l *layout, diagonal []float64, alpha, beta, pull float64, free bool, observe func(add func(i, j int32, v float64))) *multigrid {
	m := &multigrid{alpha: alpha, beta: beta, pull: pull}
	m.levels = append(m.levels, finest(l, diagonal, observe))
	for {
		fine := &m.levels[len(m.levels)-1]
		n := len(fine.i)
		if n <= coarsestNodes {
			break
		}
		var i, j []int32
		fine.up, i, j = fine.coarsen(free)
		if fine.up.coarse == 0 || fine.up.coarse > n*3/4 {
			break
		}
		m.levels = append(m.levels, fine.galerkin(i, j))
	}
	for k := range m.levels {
		v := &m.levels[k]
		n := len(v.i)
		v.u, v.w, v.f, v.g = make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		v.r, v.q = make([]float64, n), make([]float64, n)
	}
	return m
}

// finest returns the level of the grid itself.
func finest(l *layout, diagonal []float64, observe func(add func(i, j int32, v float64))) level {
	nodes := l.grid.Nodes
	n := len(nodes)
	v := level{i: make([]int32, n), j: make([]int32, n), start: make([]int32, n+1)}
	extra := make(map[[2]int32]float64)
	var coupled [][2]int32
	observe(func(i, j int32, w float64) {
		key := [2]int32{i, j}
		if _, known := extra[key]; !known {
			coupled = append(coupled, key)
		}
		extra[key] += w
	})
	slices.SortFunc(coupled, func(a, b [2]int32) int {
		if a[0] != b[0] {
			return int(a[0] - b[0])
		}
		return int(a[1] - b[1])
	})
	v.cols = make([]int32, 0, 5*n)
	next := 0
	for i := range nodes {
		node := &nodes[i]
		v.i[i], v.j[i] = node.I, node.J
		row := append(make([]int32, 0, 12), int32(i))
		for _, j := range node.Next {
			if j >= 0 {
				row = append(row, j)
			}
		}
		from := next
		for next < len(coupled) && coupled[next][0] == int32(i) {
			row = append(row, coupled[next][1])
			next++
		}
		slices.Sort(row)
		row = slices.Compact(row)
		for _, j := range row {
			var lap, mass float64
			switch {
			case j == int32(i):
				lap, mass = diagonal[i], 1
			case slices.Contains(node.Next[:], j):
				lap = -1
			}
			var data float64
			if from < next {
				data = extra[[2]int32{int32(i), j}]
			}
			v.cols, v.lap, v.mass, v.data = append(v.cols, j), append(v.lap, lap), append(v.mass, mass), append(v.data, data)
		}
		v.start[i+1] = int32(len(v.cols))
	}
	v.setDiagonal()
	return v
}

func (v *level) setDiagonal() {
	v.diagonal = make([]int32, len(v.i))
	for i := range v.diagonal {
		for k := v.start[i]; k < v.start[i+1]; k++ {
			if int(v.cols[k]) == i {
				v.diagonal[i] = k
			}
		}
	}
}

// coarsen picks the nodes on even rows and columns and interpolates the others
// linearly along the links between them. What lies beyond a cut link is zero, or,
// if the field is free there, not asked. A free node that no coarse one reaches
// becomes a coarse one itself.
func (v *level) coarsen(free bool) (t transfer, ci, cj []int32) {
	n := len(v.i)
	number := make([]int32, n)
	take := func(i int) {
		number[i] = int32(len(ci))
		ci, cj = append(ci, v.i[i]>>1), append(cj, v.j[i]>>1)
	}
	for i := range n {
		number[i] = -1
		if v.i[i]&1 == 0 && v.j[i]&1 == 0 {
			take(i)
		}
	}
	type weight struct {
		col int32
		v   float64
	}
	// side gathers the coarse nodes that node i sees along one axis.
	side := func(out []weight, i int, alongI bool, share float64) []weight {
		for k := v.start[i]; k < v.start[i+1]; k++ {
			c := v.cols[k]
			di, dj := v.i[c]-v.i[i], v.j[c]-v.j[i]
			if v.lap[k] < 0 && number[c] >= 0 && ((alongI && dj == 0 && di != 0) || (!alongI && di == 0 && dj != 0)) {
				out = append(out, weight{number[c], share})
			}
		}
		return out
	}
	gather := func(out []weight, i int) []weight {
		switch oi, oj := v.i[i]&1 == 1, v.j[i]&1 == 1; {
		case number[i] >= 0:
			return append(out, weight{number[i], 1})
		case oi && !oj:
			out = side(out, i, true, 0.5)
		case oj && !oi:
			out = side(out, i, false, 0.5)
		case oi && oj:
			for k := v.start[i]; k < v.start[i+1]; k++ {
				c := v.cols[k]
				di, dj := v.i[c]-v.i[i], v.j[c]-v.j[i]
				if v.lap[k] < 0 && di*dj == 0 && di+dj != 0 {
					out = side(out, int(c), di == 0, 0.125) // each corner is reached by two ways
				}
			}
		}
		return out
	}
	var row []weight
	if free {
		for i := range n {
			if row = gather(row[:0], i); len(row) == 0 {
				take(i)
			}
		}
	}
	t.start = make([]int32, n+1)
	for i := range n {
		row = gather(row[:0], i)
		slices.SortFunc(row, func(a, b weight) int { return int(a.col - b.col) })
		var sum float64
		for _, w := range row {
			sum += w.v
		}
		for k, w := range row {
			if free {
				w.v /= sum
			}
			if k > 0 && t.cols[len(t.cols)-1] == w.col && int(t.start[i]) < len(t.cols) {
				t.weights[len(t.weights)-1] += w.v
				continue
			}
			t.cols, t.weights = append(t.cols, w.col), append(t.weights, w.v)
		}
		t.start[i+1] = int32(len(t.cols))
	}
	t.coarse = len(ci)
	return t, ci, cj
}

// galerkin returns the coarse level PᵀAP for each of the level's matrices.
func (v *level) galerkin(ci, cj []int32) level {
	t := &v.up
	c := level{i: ci, j: cj, start: make([]int32, t.coarse+1)}
	// The fine nodes that each coarse one reaches.
	count := make([]int32, t.coarse+1)
	for _, col := range t.cols {
		count[col+1]++
	}
	for k := range t.coarse {
		count[k+1] += count[k]
	}
	from, weight := make([]int32, len(t.cols)), make([]float64, len(t.cols))
	fill := slices.Clone(count)
	for i := range v.i {
		for k := t.start[i]; k < t.start[i+1]; k++ {
			at := fill[t.cols[k]]
			from[at], weight[at] = int32(i), t.weights[k]
			fill[t.cols[k]]++
		}
	}
	slot := make([]int32, t.coarse)
	for k := range slot {
		slot[k] = -1
	}
	for a := range t.coarse {
		first := int32(len(c.cols))
		for k := count[a]; k < count[a+1]; k++ {
			i, wi := from[k], weight[k]
			for e := v.start[i]; e < v.start[i+1]; e++ {
				j := v.cols[e]
				lap, mass, data := wi*v.lap[e], wi*v.mass[e], wi*v.data[e]
				for q := t.start[j]; q < t.start[j+1]; q++ {
					b, wj := t.cols[q], t.weights[q]
					if slot[b] < first {
						slot[b] = int32(len(c.cols))
						c.cols = append(c.cols, b)
						c.lap, c.mass, c.data = append(c.lap, 0), append(c.mass, 0), append(c.data, 0)
					}
					s := slot[b]
					c.lap[s] += wj * lap
					c.mass[s] += wj * mass
					c.data[s] += wj * data
				}
			}
		}
		c.start[a+1] = int32(len(c.cols))
	}
	c.setDiagonal()
	return c
}

// relax sweeps over the nodes, upwards or downwards, and solves for both unknowns
// of each in turn.
func (m *multigrid) relax(v *level, down bool) {
	n := len(v.i)
	for k := range n {
		i := k
		if down {
			i = n - 1 - k
		}
		ru, rw := v.f[i], v.g[i]
		lo, hi := v.start[i], v.start[i+1]
		cols, lap, mass, data := v.cols[lo:hi], v.lap[lo:hi], v.mass[lo:hi], v.data[lo:hi]
		for e, c := range cols {
			u, w, l := v.u[c], v.w[c], lap[e]
			ru -= (data[e]+m.beta*l+m.pull*mass[e])*u + m.alpha*l*w
			rw -= m.alpha * (l*u - mass[e]*w)
		}
		d := v.diagonal[i]
		a, b, c := v.data[d]+m.beta*v.lap[d]+m.pull*v.mass[d], m.alpha*v.lap[d], m.alpha*v.mass[d]
		if m.alpha == 0 {
			v.u[i] += ru / a
			continue
		}
		det := a*c + b*b
		v.u[i] += (c*ru + b*rw) / det
		v.w[i] += (b*ru - a*rw) / det
	}
}

// residual fills in r and q with what the present u and w leave of f and g.
func (m *multigrid) residual(v *level) {
	for i := range v.i {
		ru, rw := v.f[i], v.g[i]
		for e := v.start[i]; e < v.start[i+1]; e++ {
			c := v.cols[e]
			ru -= (v.data[e]+m.beta*v.lap[e]+m.pull*v.mass[e])*v.u[c] + m.alpha*v.lap[e]*v.w[c]
			rw -= m.alpha * (v.lap[e]*v.u[c] - v.mass[e]*v.w[c])
		}
		v.r[i], v.q[i] = ru, rw
	}
}

// cycle improves u and w on the given level, from zero if fresh. It visits the
// next coarser level twice: with one visit the iterations grow slowly with the
// number of levels.
func (m *multigrid) cycle(depth int, fresh bool) {
	v := &m.levels[depth]
	if fresh {
		clear(v.u)
		clear(v.w)
	}
	if depth == len(m.levels)-1 {
		m.direct(v)
		return
	}
	m.relax(v, false)
	m.relax(v, true)
	m.residual(v)
	c, t := &m.levels[depth+1], &v.up
	clear(c.f)
	clear(c.g)
	for i := range v.i {
		for k := t.start[i]; k < t.start[i+1]; k++ {
			c.f[t.cols[k]] += t.weights[k] * v.r[i]
			c.g[t.cols[k]] += t.weights[k] * v.q[i]
		}
	}
	m.cycle(depth+1, true)
	if depth+2 < len(m.levels) {
		m.cycle(depth+1, false)
	}
	for i := range v.i {
		for k := t.start[i]; k < t.start[i+1]; k++ {
			v.u[i] += t.weights[k] * c.u[t.cols[k]]
			v.w[i] += t.weights[k] * c.w[t.cols[k]]
		}
	}
	m.relax(v, false)
	m.relax(v, true)
}

// direct solves the coarsest level.
func (m *multigrid) direct(v *level) {
	n := len(v.i)
	if n > 4*coarsestNodes { // water that will not coarsen: thin on every grid
		for range 20 {
			m.relax(v, false)
			m.relax(v, true)
		}
		return
	}
	size := 2 * n
	a, x := make([]float64, size*size), make([]float64, size)
	for i := range n {
		for e := v.start[i]; e < v.start[i+1]; e++ {
			c := int(v.cols[e])
			a[i*size+c] = v.data[e] + m.beta*v.lap[e] + m.pull*v.mass[e]
			a[i*size+n+c], a[(n+i)*size+c] = m.alpha*v.lap[e], m.alpha*v.lap[e]
			a[(n+i)*size+n+c] = -m.alpha * v.mass[e]
		}
		x[i], x[n+i] = v.f[i], v.g[i]
	}
	solveGeneral(a, x, size)
	copy(v.u, x[:n])
	copy(v.w, x[n:])
}

// apply returns the product of the equations' matrix and x in y; w is scratch.
func (m *multigrid) apply(y, w, x []float64) {
	v := &m.levels[0]
	for i := range v.i {
		var s float64
		for e := v.start[i]; e < v.start[i+1]; e++ {
			s += v.lap[e] * x[v.cols[e]]
		}
		w[i] = s
	}
	for i := range v.i {
		s := m.pull*x[i] + m.beta*w[i]
		for e := v.start[i]; e < v.start[i+1]; e++ {
			c := v.cols[e]
			s += v.data[e]*x[c] + m.alpha*v.lap[e]*w[c]
		}
		y[i] = s
	}
}

// solve returns the solution for the right side and the number of iterations. It
// starts from start, which may be nil for zero.
func (m *multigrid) solve(right, start []float64) ([]float64, int, error) {
	v := &m.levels[0]
	n := len(v.i)
	x, r := make([]float64, n), slices.Clone(right)
	y, w, p := make([]float64, n), make([]float64, n), make([]float64, n)
	if start != nil {
		copy(x, start)
		m.apply(y, w, x)
		for i := range r {
			r[i] -= y[i]
		}
	}
	var last float64
	for count := 0; ; count++ {
		copy(v.f, r)
		clear(v.g)
		m.cycle(0, true)
		rz := dot(r, v.u)
		if rz >= 0 && rz <= solveRelative*solveRelative*dot(x, right) {
			return x, count, nil
		}
		if !(rz > 0) || count == maxIterations {
			return nil, count, errNotConverged
		}
		b := 0.0
		if count > 0 {
			b = rz / last
		}
		last = rz
		for i := range p {
			p[i] = v.u[i] + b*p[i]
		}
		m.apply(y, w, p)
		a := rz / dot(p, y)
		for i := range x {
			x[i] += a * p[i]
			r[i] -= a * y[i]
		}
	}
}

// equations returns the multigrid form of the fit's equations for the field alone,
// with the trend's weights as they are in x, or zero before there are any.
func (t *fit) equations() (*multigrid, []float64) {
	n := len(t.grid.Nodes)
	right := make([]float64, n)
	b := make([]float64, n+trends)
	if t.x != nil {
		copy(b[n:], t.x[n:])
	}
	ratio := math.Exp(t.logRatio)
	across := math.Sqrt(t.grid.AreaM2) / t.grid.SpacingM
	e := &t.prior
	return newMultigrid(t.layout, e.diagonal, ratio*e.bending*across*across, ratio*e.tension, ratio*e.pull/(across*across), e.free, func(add func(i, j int32, v float64)) {
		for k := range t.data {
			if !t.seen[k] {
				continue
			}
			d, o := &t.data[k], &t.rows[k]
			w := d.weight / d.spread
			corners := t.grid.Mesh.Triangles[o.triangle]
			miss := d.depthM - t.predict(o, b)
			for a, i := range corners {
				if o.weight[a] == 0 {
					continue
				}
				right[i] += w * o.weight[a] * miss
				for c, j := range corners {
					if o.weight[c] != 0 {
						add(i, j, w*o.weight[a]*o.weight[c])
					}
				}
			}
		}
	}), right
}

// refine conditions the field by multigrid, with the trend's weights and the
// variance of a fit on a coarser grid, from which it starts.
func (t *fit) refine(coarse *fit) error {
	t.logRatio = coarse.logRatio
	n, nc := len(t.grid.Nodes), len(coarse.grid.Nodes)
	t.x = make([]float64, n+trends)
	copy(t.x[n:], coarse.x[nc:])
	departure := append(slices.Clone(coarse.x[:nc]), make([]float64, trends)...)
	start := make([]float64, n)
	for i := range start {
		if o, ok := coarse.observe(t.grid.Nodes[i].At); ok {
			start[i] = coarse.predict(&o, departure) / t.scale[i]
		}
	}
	m, right := t.equations()
	x, _, err := m.solve(right, start)
	if err != nil {
		return err
	}
	copy(t.x, x)
	t.variance = coarse.variance
	return nil
}
