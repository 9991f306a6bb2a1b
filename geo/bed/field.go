package bed

import (
	"math"

	"pondwright/geo/grid"
	"pondwright/geo/plane"
)

// Settings of the field, chosen on simulated surveys of drowned terrain; they hold
// for every pond.
const (
	bending       = 0.7  // share of the bending energy; the rest is tension
	bendingLength = 0.1  // length, in √area, at which the two weigh the same
	shortestArm   = 0.15 // arms to the shore count as at least this share of a spacing
	trends        = 3
)

// field is the prior of the bed on one grid: the trend shapes and the energy of
// what departs from them. The unknowns are the departures at the nodes, then the
// weights of the shapes.
type field struct {
	grid      *grid.Grid
	shapes    [trends][]float64 // at the nodes
	pattern   *pattern
	structure *structure
	energy    []float64  // of the departures, by slot
	share     []float64  // of each unknown in the volume, m²
	meshSlot  [][6]int32 // slots of each triangle's corner pairs
	trendSlot [][]int32  // slot of (shape, node)
	tail      [trends * (trends + 1) / 2]int32
}

func newField(g *grid.Grid) (*field, error) {
	f := &field{grid: g}
	n := len(g.Nodes)
	diagonal := make([]float64, n)
	for i, node := range g.Nodes {
		for d, next := range node.Next {
			if next >= 0 {
				diagonal[i]++
			} else {
				diagonal[i] += 1 / max(shortestArm, node.ArmM[d]/g.SpacingM)
			}
		}
	}
	if err := f.setShapes(diagonal); err != nil {
		return nil, err
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
	f.setEnergy(diagonal)
	f.setSlots()
	f.setShare()
	return f, nil
}

// setShapes solves for the torsion function and derives the trend's shapes. The
// cut-cell Laplacian is the symmetric one of Gibou, Fedkiw, Cheng & Kang, 2002,
// J. Comput. Phys. 176, 205–227, second-order accurate in the solution.
func (f *field) setShapes(diagonal []float64) error {
	g := f.grid
	n := len(g.Nodes)
	neighbors := make([][]int32, n)
	places := make([]plane.Point, n)
	for i, node := range g.Nodes {
		places[i] = node.At
		for _, j := range node.Next {
			if j >= 0 {
				neighbors[i] = append(neighbors[i], j)
			}
		}
	}
	p := newPattern(n, neighbors, 0)
	values := make([]float64, len(p.cols))
	right := make([]float64, n)
	for i := range n {
		for k := p.start[i]; k < p.start[i+1]-1; k++ {
			values[k] = -1
		}
		values[p.start[i+1]-1] = diagonal[i]
		right[i] = g.SpacingM * g.SpacingM
	}
	fac, err := newStructure(p, places).factorize(values)
	if err != nil {
		return err
	}
	torsion := fac.solve(right)
	var top float64
	for _, v := range torsion {
		top = max(top, v)
	}
	for k := range f.shapes {
		f.shapes[k] = make([]float64, n)
	}
	for i, v := range torsion {
		v = max(0, v/top)
		f.shapes[0][i], f.shapes[1][i], f.shapes[2][i] = v, math.Sqrt(v), g.Nodes[i].ShoreM/g.WidestM
	}
	return nil
}

// setEnergy fills in bending (the squared Laplacian) and tension (the squared
// gradient), both free of the grid's spacing.
func (f *field) setEnergy(diagonal []float64) {
	g := f.grid
	f.energy = make([]float64, len(f.pattern.cols))
	across := bendingLength * math.Sqrt(g.AreaM2) / g.SpacingM
	bend := bending * across * across
	add := func(i, j int32, v float64) { f.energy[f.pattern.slot(i, j)] += v }
	for i := range g.Nodes {
		row := []int32{int32(i)}
		weight := []float64{diagonal[i]}
		for _, j := range g.Nodes[i].Next {
			if j >= 0 {
				row, weight = append(row, j), append(weight, -1)
				if int(j) < i {
					add(int32(i), j, -(1 - bending))
				}
			}
		}
		add(int32(i), int32(i), (1-bending)*diagonal[i])
		for a := range row {
			for b := range a + 1 {
				add(row[a], row[b], bend*weight[a]*weight[b])
			}
		}
	}
}

// setSlots looks up where observations go in the matrix.
func (f *field) setSlots() {
	n := int32(len(f.grid.Nodes))
	f.meshSlot = make([][6]int32, len(f.grid.Mesh.Triangles))
	for t, v := range f.grid.Mesh.Triangles {
		k := 0
		for a := range 3 {
			for b := range a + 1 {
				f.meshSlot[t][k] = -1
				if v[a] < n && v[b] < n {
					f.meshSlot[t][k] = f.pattern.slot(v[a], v[b])
				}
				k++
			}
		}
	}
	f.trendSlot = make([][]int32, trends)
	k := 0
	for s := range int32(trends) {
		f.trendSlot[s] = make([]int32, n)
		for i := range n {
			f.trendSlot[s][i] = f.pattern.slot(n+s, i)
		}
		for r := range s + 1 {
			f.tail[k] = f.pattern.slot(n+s, n+r)
			k++
		}
	}
}

// setShare finds how much each unknown adds to the volume of the surface.
func (f *field) setShare() {
	m := &f.grid.Mesh
	n := len(f.grid.Nodes)
	f.share = make([]float64, n+trends)
	for t, v := range m.Triangles {
		for _, c := range v {
			if int(c) < n {
				f.share[c] += m.TriangleArea(t) / 3
			}
		}
	}
	for i := range n {
		for s := range trends {
			f.share[n+s] += f.share[i] * f.shapes[s][i]
		}
	}
}

// surface returns the depths at the nodes for the unknowns x.
func (f *field) surface(x []float64) []float64 {
	n := len(f.grid.Nodes)
	u := make([]float64, n)
	for i := range n {
		u[i] = x[i]
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
		o.weight[k] = w[k]
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
