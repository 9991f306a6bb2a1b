package bed

import (
	"math"
	"slices"

	"pondwright/geo/grid"
	"pondwright/geo/plane"
)

// Settings of the fields, chosen on simulated surveys of drowned terrain; they hold
// for every pond.
const (
	bending       = 0.9  // share of the bending energy; the rest is tension
	bendingLength = 0.1  // length, in √area, at which the two weigh the same
	shortestArm   = 0.15 // arms to the shore count as at least this share of a spacing
	trends        = 3
	// Of the weighted field: the power of an arm's width that its depth goes with, the
	// share of its bending energy, and the pull to its mean at a wavelength of √area,
	// which only matters to water cut off from all soundings.
	widthPower      = 1.7
	weightedBending = 0.2
	pullToMean      = 0.1
)

// field is the prior of the bed on one grid: the trend shapes and the energy of
// what departs from them. The unknowns are the departures at the nodes, each in
// units of its node's scale, then the weights of the shapes.
type field struct {
	*layout
	shapes [trends][]float64 // of the trend, at the nodes; all zero if unused
	scale  []float64         // depth at a node per unit of its unknown
	prior  energy            // of the departures
	energy []float64         // the same, by slot
	share  []float64         // of each unknown in the volume, m²
}

// energy is what a field's departures cost: bending (the squared Laplacian with the
// given diagonal) at a length of √area, tension (the squared gradient) and a pull to
// zero at √area, all free of the grid's spacing.
type energy struct {
	diagonal               []float64
	bending, tension, pull float64
	free                   bool // at the shore
}

// layout is what all fields on one grid have in common.
type layout struct {
	grid      *grid.Grid
	outline   [trends][]float64 // torsion function, its root and the distance to the shore, up to one
	weights   []float64         // of the weighted field, up to one
	areaM2    []float64         // of water that each node stands for in the volume
	diagonal  []float64         // of the cut-cell Laplacian
	pattern   *pattern          // from here on nil if the equations are not to be factorized
	structure *structure
	meshSlot  [][6]int32 // slots of each triangle's corner pairs
	trendSlot [][]int32  // slot of (shape, node)
	tail      [trends * (trends + 1) / 2]int32
}

// newLayout solves for the shapes and, if the equations are to be factorized,
// orders the unknowns.
func newLayout(g *grid.Grid, factorized bool) (*layout, error) {
	f := &layout{grid: g}
	n := len(g.Nodes)
	f.diagonal = make([]float64, n)
	for i, node := range g.Nodes {
		for d, next := range node.Next {
			if next >= 0 {
				f.diagonal[i]++
			} else {
				f.diagonal[i] += 1 / max(shortestArm, node.ArmM[d]/g.SpacingM)
			}
		}
	}
	f.setAreas()
	if err := f.setOutline(); err != nil {
		return nil, err
	}
	if !factorized {
		return f, nil
	}
	// Neighbors: those of the squared graph, and those that share a triangle.
	neighbors := make([][]int32, n)
	for i := range g.Nodes {
		for d, j := range g.Nodes[i].Next {
			if j < 0 {
				continue
			}
			neighbors[i] = append(neighbors[i], j)
			for _, k := range g.Nodes[i].Next[:d] {
				if k >= 0 && k != j {
					neighbors[max(j, k)] = append(neighbors[max(j, k)], min(j, k))
				}
			}
		}
	}
	for _, v := range g.Mesh.Triangles {
		for a, b := range [3]int{1, 2, 0} {
			if int(v[a]) < n && int(v[b]) < n {
				neighbors[v[a]] = append(neighbors[v[a]], v[b])
			}
		}
	}
	places := make([]plane.Point, n)
	for i, node := range g.Nodes {
		places[i] = node.At
	}
	f.pattern = newPattern(n, neighbors, trends)
	f.structure = newStructure(f.pattern, places)
	f.setSlots()
	return f, nil
}

// bent returns the field that is zero at the shore: the shapes of the outline as
// trend, and bending and tension of what departs from it.
func (l *layout) bent() *field {
	f := &field{layout: l, shapes: l.outline, scale: make([]float64, len(l.grid.Nodes))}
	for i := range f.scale {
		f.scale[i] = 1
	}
	f.prior = energy{diagonal: l.diagonal, bending: bending * bendingLength * bendingLength, tension: 1 - bending}
	f.setEnergy()
	f.setShare()
	return f
}

// weighted returns the field that follows the outline by itself: weights that the
// outline gives times a smooth field that is free at the shore. In water where
// nothing was sounded its depth goes with the width.
func (l *layout) weighted() *field {
	n := len(l.grid.Nodes)
	f := &field{layout: l, scale: l.weights}
	free := make([]float64, n)
	for i, node := range l.grid.Nodes {
		for _, next := range node.Next {
			if next >= 0 {
				free[i]++
			}
		}
	}
	f.shapes = [trends][]float64{f.scale, make([]float64, n), make([]float64, n)}
	f.prior = energy{
		diagonal: free, bending: weightedBending * bendingLength * bendingLength, tension: 1 - weightedBending, pull: pullToMean, free: true,
	}
	f.setEnergy()
	f.setShare()
	return f
}

// setOutline solves for the torsion function and derives the other shapes. The
// cut-cell Laplacian is the symmetric one of Gibou, Fedkiw, Cheng & Kang, 2002,
// J. Comput. Phys. 176, 205–227, second-order accurate in the solution.
func (l *layout) setOutline() error {
	g := l.grid
	n := len(g.Nodes)
	right := make([]float64, n)
	for i := range right {
		right[i] = g.SpacingM * g.SpacingM
	}
	m := newMultigrid(l, l.diagonal, 0, 1, 0, false, func(func(i, j int32, v float64)) {})
	torsion, _, err := m.solve(right, nil)
	if err != nil {
		return err
	}
	l.setWeights(torsion)
	top := slices.Max(torsion)
	for k := range l.outline {
		l.outline[k] = make([]float64, n)
	}
	for i, v := range torsion {
		v = max(0, v/top)
		l.outline[0][i], l.outline[1][i], l.outline[2][i] = v, math.Sqrt(v), g.Nodes[i].ShoreM/g.WidestM
	}
	return nil
}

// setWeights finds the weights of the weighted field from the torsion function p.
// Across a straight arm of half-width a, p = (a² − x²)/2 and |∇p|² + 2p = a²
// everywhere, so that sum is the square of a local width on any outline, and p times
// a power of it rises evenly from the shore, as p does, and grows with the width as
// wanted. A power of p alone is too steep at the shore and fills the rim up.
func (l *layout) setWeights(torsion []float64) {
	l.weights = make([]float64, len(torsion))
	for i, slope := range l.gradients(torsion) {
		if p := torsion[i]; p > 0 {
			l.weights[i] = p * math.Pow(slope.Dot(slope)+2*p, widthPower/2-1)
		}
	}
	top := slices.Max(l.weights)
	for i := range l.weights {
		l.weights[i] /= top
	}
}

// setEnergy fills in the energy by slot.
func (f *field) setEnergy() {
	if f.pattern == nil {
		return
	}
	g, e := f.grid, &f.prior
	f.energy = make([]float64, len(f.pattern.cols))
	across := math.Sqrt(g.AreaM2) / g.SpacingM
	bend := e.bending * across * across
	add := func(i, j int32, v float64) { f.energy[f.pattern.slot(i, j)] += v }
	for i := range g.Nodes {
		row := []int32{int32(i)}
		weight := []float64{e.diagonal[i]}
		for _, j := range g.Nodes[i].Next {
			if j >= 0 {
				row, weight = append(row, j), append(weight, -1)
				if int(j) < i {
					add(int32(i), j, -e.tension)
				}
			}
		}
		add(int32(i), int32(i), e.tension*e.diagonal[i]+e.pull/(across*across))
		for a := range row {
			for b := range a + 1 {
				add(row[a], row[b], bend*weight[a]*weight[b])
			}
		}
	}
}

// setSlots looks up where observations go in the matrix.
func (l *layout) setSlots() {
	n := int32(len(l.grid.Nodes))
	l.meshSlot = make([][6]int32, len(l.grid.Mesh.Triangles))
	for t, v := range l.grid.Mesh.Triangles {
		k := 0
		for a := range 3 {
			for b := range a + 1 {
				l.meshSlot[t][k] = -1
				if v[a] < n && v[b] < n {
					l.meshSlot[t][k] = l.pattern.slot(v[a], v[b])
				}
				k++
			}
		}
	}
	l.trendSlot = make([][]int32, trends)
	k := 0
	for s := range int32(trends) {
		l.trendSlot[s] = make([]int32, n)
		for i := range n {
			l.trendSlot[s][i] = l.pattern.slot(n+s, i)
		}
		for r := range s + 1 {
			l.tail[k] = l.pattern.slot(n+s, n+r)
			k++
		}
	}
}

// setAreas finds how much water each node stands for in the volume.
func (l *layout) setAreas() {
	m := &l.grid.Mesh
	l.areaM2 = make([]float64, len(l.grid.Nodes))
	for t, v := range m.Triangles {
		for _, c := range v {
			if int(c) < len(l.areaM2) {
				l.areaM2[c] += m.TriangleArea(t) / 3
			}
		}
	}
}

// setShare finds how much each unknown adds to the volume of the surface.
func (f *field) setShare() { f.share = f.functional(f.areaM2) }

// functional returns the weights by unknown of a sum of depths with the given
// weights by node.
func (f *field) functional(weights []float64) []float64 {
	n := len(weights)
	out := make([]float64, n+trends)
	for i, w := range weights {
		out[i] = w * f.scale[i]
		for s := range trends {
			out[n+s] += w * f.shapes[s][i]
		}
	}
	return out
}

// surface returns the depths at the nodes for the unknowns x.
func (f *field) surface(x []float64) []float64 {
	n := len(f.grid.Nodes)
	u := make([]float64, n)
	for i := range n {
		u[i] = f.scale[i] * x[i]
		for s := range trends {
			u[i] += x[n+s] * f.shapes[s][i]
		}
	}
	return u
}

// observation is a bin on a field: what of the unknowns it sees.
type observation struct {
	triangle int32
	weight   [3]float64      // of the triangle's corners
	trend    [trends]float64 // of the shapes
}

// observe returns the observation of the depth at p; it reports false where the
// surface cannot but be zero.
func (f *field) observe(p plane.Point) (observation, bool) {
	t, w, ok := f.grid.Mesh.Locate(p)
	if !ok {
		return observation{}, false
	}
	o := observation{triangle: int32(t)}
	var total float64
	for k, v := range f.grid.Mesh.Triangles[t] {
		if int(v) >= len(f.grid.Nodes) {
			continue
		}
		o.weight[k] = w[k] * f.scale[v]
		total += w[k]
		for s := range trends {
			o.trend[s] += w[k] * f.shapes[s][v]
		}
	}
	return o, total > 1e-6
}

// row returns the observation by unknown.
func (f *field) row(o *observation) sparseRow {
	var r sparseRow
	for k, v := range f.grid.Mesh.Triangles[o.triangle] {
		if o.weight[k] != 0 {
			r.vars, r.values = append(r.vars, v), append(r.values, o.weight[k])
		}
	}
	n := int32(len(f.grid.Nodes))
	for s, t := range o.trend {
		r.vars, r.values = append(r.vars, n+int32(s)), append(r.values, t)
	}
	return r
}

// predict returns the depth an observation would see.
func (f *field) predict(o *observation, x []float64) float64 {
	var sum float64
	for k, v := range f.grid.Mesh.Triangles[o.triangle] {
		if o.weight[k] != 0 {
			sum += o.weight[k] * x[v]
		}
	}
	n := len(f.grid.Nodes)
	for s, t := range o.trend {
		sum += t * x[n+s]
	}
	return sum
}

// addTo adds v times the observation's row to x.
func (f *field) addTo(x []float64, o *observation, v float64) {
	for k, c := range f.grid.Mesh.Triangles[o.triangle] {
		if o.weight[k] != 0 {
			x[c] += o.weight[k] * v
		}
	}
	n := len(f.grid.Nodes)
	for s, t := range o.trend {
		x[n+s] += t * v
	}
}

// addSquare adds v times the outer product of the observation's row with itself
// to the matrix values.
func (f *field) addSquare(values []float64, o *observation, v float64) {
	corners := f.grid.Mesh.Triangles[o.triangle]
	k := 0
	for a := range 3 {
		for b := range a + 1 {
			if slot := f.meshSlot[o.triangle][k]; slot >= 0 {
				values[slot] += v * o.weight[a] * o.weight[b]
			}
			k++
		}
	}
	k = 0
	for s := range trends {
		for a, c := range corners {
			if o.weight[a] != 0 {
				values[f.trendSlot[s][c]] += v * o.trend[s] * o.weight[a]
			}
		}
		for r := range s + 1 {
			values[f.tail[k]] += v * o.trend[s] * o.trend[r]
			k++
		}
	}
}
