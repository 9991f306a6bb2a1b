package grid

import (
	"math"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// Mesh is a triangulation of the water. The points before Shore lie in the
// water; those from Shore on lie on the shoreline, where the depth is zero. The
// zero Mesh is empty.
type Mesh struct {
	Points    []plane.Point
	Shore     int        // number of points in the water
	Triangles [][3]int32 // corners, counter-clockwise
	buckets   buckets
}

// newMesh triangulates the nodes of g and the rings, whose sides are cut to at
// most one spacing.
func newMesh(g *Grid, rings [][]plane.Point) (*Mesh, error) {
	m := &Mesh{Shore: len(g.Nodes)}
	for _, n := range g.Nodes {
		m.Points = append(m.Points, n.At)
	}
	type loop struct{ from, to int }
	var loops []loop
	for _, ring := range rings {
		from := len(m.Points)
		for k, a := range ring {
			b := ring[(k+1)%len(ring)]
			cuts := max(1, int(math.Ceil(a.Distance(b)/g.SpacingM)))
			for c := range cuts {
				m.Points = append(m.Points, a.Lerp(b, float64(c)/float64(cuts)))
			}
		}
		loops = append(loops, loop{from, len(m.Points)})
	}
	spanM := float64(max(g.NX, g.NY)) * g.SpacingM
	center := g.Point(g.NX/2, g.NY/2)
	t := newTriangulation(len(m.Points), spanM)
	corner := make([]int32, len(m.Points)) // of the triangulation, by mesh point
	point := []int32{-1, -1, -1}           // and back
	for _, k := range hilbertOrder(m.Points, g.Origin, spanM) {
		p := m.Points[k].Sub(center)
		corner[k] = t.insert(int64(math.Round(p.X/latticeM)), int64(math.Round(p.Y/latticeM)))
		if int(corner[k]) == len(point) {
			point = append(point, k)
		}
	}
	for _, l := range loops {
		for k := l.from; k < l.to; k++ {
			next := k + 1
			if next == l.to {
				next = l.from
			}
			if err := t.constrain(corner[k], corner[next]); err != nil {
				return nil, err
			}
		}
	}
	for _, v := range t.inner() {
		tri := [3]int32{point[v[0]], point[v[1]], point[v[2]]}
		if tri[0] < 0 || tri[1] < 0 || tri[2] < 0 {
			return nil, ErrTangled
		}
		m.Triangles = append(m.Triangles, tri)
	}
	m.buckets = newBuckets(m, g)
	return m, nil
}

// TriangleArea returns the area of triangle t in m².
func (m *Mesh) TriangleArea(t int) float64 {
	v := m.Triangles[t]
	a, b, c := m.Points[v[0]], m.Points[v[1]], m.Points[v[2]]
	return b.Sub(a).Cross(c.Sub(a)) / 2
}

// Area returns the area of the mesh.
func (m *Mesh) Area() unit.SquareMeters {
	var sum float64
	for t := range m.Triangles {
		sum += m.TriangleArea(t)
	}
	return unit.SquareMeters(sum)
}

// Locate returns the triangle that holds p and the weights, summing to one, with
// which its corners make up p. It reports false outside the water.
func (m *Mesh) Locate(p plane.Point) (triangle int, weights [3]float64, ok bool) {
	best := -locateSlack
	for _, t := range m.buckets.at(p) {
		v := m.Triangles[t]
		a, b, c := m.Points[v[0]], m.Points[v[1]], m.Points[v[2]]
		twice := b.Sub(a).Cross(c.Sub(a))
		if twice <= 0 {
			continue
		}
		wa, wb := b.Sub(p).Cross(c.Sub(p))/twice, c.Sub(p).Cross(a.Sub(p))/twice
		w := [3]float64{wa, wb, 1 - wa - wb}
		if least := min(w[0], w[1], w[2]); least >= best {
			triangle, weights, ok, best = int(t), w, true, least
			if least >= 0 {
				break
			}
		}
	}
	return triangle, weights, ok
}

// locateSlack lets a point on a side belong to a triangle in spite of rounding.
const locateSlack = 1e-9

// buckets files triangles by the grid squares they touch.
type buckets struct {
	origin   plane.Point
	spacingM float64
	nx, ny   int
	start    []int32
	ids      []int32
}

func newBuckets(m *Mesh, g *Grid) buckets {
	b := buckets{origin: g.Origin, spacingM: g.SpacingM, nx: g.NX, ny: g.NY}
	b.start = make([]int32, b.nx*b.ny+1)
	each := func(f func(bucket, t int)) {
		for t, v := range m.Triangles {
			lo, hi := bounds([]plane.Point{m.Points[v[0]], m.Points[v[1]], m.Points[v[2]]})
			i0, j0 := b.square(lo)
			i1, j1 := b.square(hi)
			for j := j0; j <= j1; j++ {
				for i := i0; i <= i1; i++ {
					f(j*b.nx+i, t)
				}
			}
		}
	}
	each(func(bucket, _ int) { b.start[bucket+1]++ })
	for k := range b.nx * b.ny {
		b.start[k+1] += b.start[k]
	}
	b.ids = make([]int32, b.start[b.nx*b.ny])
	fill := append([]int32(nil), b.start...)
	each(func(bucket, t int) {
		b.ids[fill[bucket]] = int32(t)
		fill[bucket]++
	})
	return b
}

func (b *buckets) square(p plane.Point) (i, j int) {
	i = min(b.nx-1, max(0, int(math.Floor((p.X-b.origin.X)/b.spacingM))))
	j = min(b.ny-1, max(0, int(math.Floor((p.Y-b.origin.Y)/b.spacingM))))
	return i, j
}

func (b *buckets) at(p plane.Point) []int32 {
	if b.start == nil || !(p.X >= b.origin.X) || !(p.Y >= b.origin.Y) {
		return nil
	}
	i, j := b.square(p)
	return b.ids[b.start[j*b.nx+i]:b.start[j*b.nx+i+1]]
}
