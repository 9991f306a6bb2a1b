package contour

import (
	"pondwright/geo/grid"
	"pondwright/geo/plane"
)

// parts is how many pieces Smooth cuts a side into.
const parts = 3

// Smooth returns a finer mesh with depths on a smooth surface through those given:
// in each triangle a cubic whose slope at the corners is the surface's there (the
// control net of Vlachos, Peters, Boyd & Mitchell, 2001, Curved PN Triangles, for
// heights). Neighbors share their side's curve, so the surface has no gaps: lines of
// equal depth drawn on it with Rings are closed, never cross, and lie inside one
// another as the depths do. It stays zero along the shoreline and never falls below
// zero. Depths that do not match the mesh give an empty mesh.
func Smooth(m *grid.Mesh, depthM []float64) (*grid.Mesh, []float64) {
	if len(depthM) != len(m.Points) {
		return &grid.Mesh{}, nil
	}
	r := &refiner{
		from: m, depthM: depthM, slope: slopes(m, depthM), shore: shoreSides(m),
		inner: make(map[side]int32, 3*len(m.Triangles)/2),
		out:   &grid.Mesh{Points: append([]plane.Point(nil), m.Points...), Shore: m.Shore},
		deep:  append([]float64(nil), depthM...),
	}
	for _, v := range m.Triangles {
		r.refine(v)
	}
	return r.out, r.deep
}

// side is a side of a triangle by its corners in rising order.
type side [2]int32

func sideOf(a, b int32) side { return side{min(a, b), max(a, b)} }

// slopes returns the slope at each point: the mean of those of the triangles about
// it, by their areas.
func slopes(m *grid.Mesh, depthM []float64) []plane.Point {
	out, weight := make([]plane.Point, len(m.Points)), make([]float64, len(m.Points))
	for t, v := range m.Triangles {
		a, b, c := m.Points[v[0]], m.Points[v[1]], m.Points[v[2]]
		twice := 2 * m.TriangleArea(t)
		if twice <= 0 {
			continue
		}
		u, w := b.Sub(a), c.Sub(a)
		du, dw := depthM[v[1]]-depthM[v[0]], depthM[v[2]]-depthM[v[0]]
		// Twice the area times the gradient, which is the weight that it is to have.
		g := plane.Point{X: du*w.Y - dw*u.Y, Y: dw*u.X - du*w.X}
		for _, k := range v {
			out[k], weight[k] = out[k].Add(g), weight[k]+twice
		}
	}
	for k := range out {
		if weight[k] > 0 {
			out[k] = out[k].Scale(1 / weight[k])
		}
	}
	return out
}

// shoreSides returns the sides that only one triangle has.
func shoreSides(m *grid.Mesh) map[side]bool {
	count := make(map[side]int, 3*len(m.Triangles)/2)
	for _, v := range m.Triangles {
		for k := range 3 {
			count[sideOf(v[k], v[(k+1)%3])]++
		}
	}
	out := make(map[side]bool)
	for s, n := range count {
		if n == 1 {
			out[s] = true
		}
	}
	return out
}

// refiner cuts a mesh finer.
type refiner struct {
	from   *grid.Mesh
	depthM []float64
	slope  []plane.Point
	shore  map[side]bool
	inner  map[side]int32 // first of the points inside a side
	out    *grid.Mesh
	deep   []float64
}

// control returns the height of the control point a third of the way from a to b. It
// leaves the range of the two by no more than half of it, so that a step does not
// swing.
func (r *refiner) control(a, b int32) float64 {
	if r.shore[sideOf(a, b)] {
		return (2*r.depthM[a] + r.depthM[b]) / 3
	}
	h := r.depthM[a] + r.slope[a].Dot(r.from.Points[b].Sub(r.from.Points[a]))/3
	lo, hi := min(r.depthM[a], r.depthM[b]), max(r.depthM[a], r.depthM[b])
	swing := (hi - lo) / 2
	if int(a) >= r.from.Shore && int(b) >= r.from.Shore {
		swing = h // between two banks the water may be deep
	}
	return max(0, min(max(h, lo-swing), hi+swing))
}

// within returns the first of the new points inside a side, which run from its lower
// corner on.
func (r *refiner) within(s side) int32 {
	if k, ok := r.inner[s]; ok {
		return k
	}
	first := int32(len(r.out.Points))
	r.inner[s] = first
	a, b := s[0], s[1]
	ca, cb := r.control(a, b), r.control(b, a)
	for k := 1; k < parts; k++ {
		t := float64(k) / parts
		u := 1 - t
		r.add(r.from.Points[a].Lerp(r.from.Points[b], t), u*u*u*r.depthM[a]+3*u*u*t*ca+3*u*t*t*cb+t*t*t*r.depthM[b])
	}
	return first
}

func (r *refiner) add(at plane.Point, depthM float64) int32 {
	r.out.Points, r.deep = append(r.out.Points, at), append(r.deep, max(0, depthM))
	return int32(len(r.out.Points) - 1)
}

// refine cuts one triangle into nine.
func (r *refiner) refine(v [3]int32) {
	var corner [parts + 1][parts + 1]int32 // by steps toward the second and the third corner
	corner[0][0], corner[parts][0], corner[0][parts] = v[0], v[1], v[2]
	on := func(a, b int32, k int) int32 { // the k-th new point from a to b
		first := r.within(sideOf(a, b))
		if a < b {
			return first + int32(k) - 1
		}
		return first + int32(parts-k) - 1
	}
	for k := 1; k < parts; k++ {
		corner[k][0], corner[0][k], corner[parts-k][k] = on(v[0], v[1], k), on(v[0], v[2], k), on(v[1], v[2], k)
	}
	corner[1][1] = r.middle(v)
	for i := range parts {
		for j := range parts - i {
			r.out.Triangles = append(r.out.Triangles, [3]int32{corner[i][j], corner[i+1][j], corner[i][j+1]})
			if i+j < parts-1 {
				r.out.Triangles = append(r.out.Triangles, [3]int32{corner[i+1][j], corner[i+1][j+1], corner[i][j+1]})
			}
		}
	}
}

// middle adds the point in the middle of a triangle.
func (r *refiner) middle(v [3]int32) int32 {
	var corners, controls float64
	at := plane.Point{}
	for k := range 3 {
		a, b := v[k], v[(k+1)%3]
		corners += r.depthM[a]
		controls += r.control(a, b) + r.control(b, a)
		at = at.Add(r.from.Points[a].Scale(1.0 / 3))
	}
	center := max(0, controls/4-corners/6)
	// All ten control points by their Bernstein weights at the middle.
	return r.add(at, (corners+3*controls+6*center)/27)
}
