// Package grid lays a pond out for computing: a plane grid of nodes in the
// water, a triangle mesh that fills the outline exactly, and the S2 cells in
// which soundings are binned and the surface is tiled.
//
// The grid is square and lives in the pond's local plane. Where the shoreline
// runs between two nodes their link is cut, and the node keeps the exact length
// of the arm up to the shore; so an island or a spit thinner than a cell still
// parts the water. The mesh is a constrained Delaunay triangulation of the nodes
// and the shoreline: its area is the outline's area, and a surface that is
// linear in each triangle has areas and volumes in closed form.
//
//	g, err := grid.New(s, grid.Options{})
//	t, w, ok := g.Mesh.Locate(p) // triangle and the weights of its corners
//
// The package knows no depths.
package grid

import (
	"fmt"
	"math"
	"slices"

	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

const (
	cellsAcross   = 160  // default number of spacings in the square root of the area
	minSpacingM   = 1    // finest default spacing
	clearance     = 0.08 // nodes nearer the shore than this share of a spacing are left out
	maxGridPoints = 5_000_000
)

// Directions of a node's arms.
const (
	East = iota
	West
	North
	South
)

// Options sets how fine a grid is. The zero value is the default.
type Options struct {
	// SpacingM is the distance between nodes in meters; zero means
	// max(√area / 160, 1 m), narrowed for an outline too small to hold a few
	// dozen such nodes.
	SpacingM float64
}

// Node is a grid point in the water.
type Node struct {
	At     plane.Point
	I, J   int32      // column and row
	Next   [4]int32   // neighbors by direction, −1 where the shore comes first
	ArmM   [4]float64 // length of each arm: the spacing, or less where the shore cuts it
	ShoreM float64    // distance to the shoreline
}

// Grid is a pond's grid and mesh. It is immutable and safe to share.
type Grid struct {
	SpacingM float64
	Origin   plane.Point // place of column 0, row 0
	NX, NY   int
	Nodes    []Node // row by row from the south-west
	Mesh     Mesh   // its first points are the nodes, in the same order
	AreaM2   float64
	WidestM  float64 // greatest distance of a node to the shore
}

// SizeError tells that an outline and a spacing give an unusable grid.
type SizeError struct {
	SpacingM, AreaM2 float64
	Points           float64 // number of grid points it would take
}

// Error names the spacing and the number of points it would take.
func (e *SizeError) Error() string {
	return fmt.Sprintf("a grid of %g m on %.0f m² takes %.0f points, more than %d or fewer than one", e.SpacingM, e.AreaM2, e.Points, maxGridPoints)
}

// New lays a grid over the water inside s. The result does not depend on where
// a ring starts, which way it runs or in what order the islands come. It
// returns a *SizeError for a spacing that is not usable on this outline, and
// ErrTangled for sides that cannot be told apart.
func New(s *shore.Shore, opt Options) (*Grid, error) {
	rings := canonicalRings(s.Rings())
	g := &Grid{}
	for _, ring := range rings {
		g.AreaM2 += plane.RingArea(ring)
	}
	lo, hi := bounds(rings[0])
	g.SpacingM = opt.SpacingM
	if g.SpacingM == 0 {
		side := math.Sqrt(g.AreaM2)
		g.SpacingM = min(max(side/cellsAcross, minSpacingM), side/12)
	}
	w, h := hi.X-lo.X, hi.Y-lo.Y
	if points := (w/g.SpacingM + 3) * (h/g.SpacingM + 3); !(g.SpacingM > 0) || points > maxGridPoints {
		return nil, &SizeError{SpacingM: g.SpacingM, AreaM2: g.AreaM2, Points: points}
	}
	// The middle of the outline's box lies on a node, so that a mirrored pond
	// gets the mirrored grid.
	halfX, halfY := math.Floor(w/2/g.SpacingM)+1, math.Floor(h/2/g.SpacingM)+1
	g.NX, g.NY = 2*int(halfX)+1, 2*int(halfY)+1
	g.Origin = plane.Point{X: (lo.X+hi.X)/2 - halfX*g.SpacingM, Y: (lo.Y+hi.Y)/2 - halfY*g.SpacingM}
	g.placeNodes(rings)
	if len(g.Nodes) == 0 {
		return nil, &SizeError{SpacingM: g.SpacingM, AreaM2: g.AreaM2}
	}
	mesh, err := newMesh(g, rings)
	if err != nil {
		return nil, err
	}
	g.Mesh = *mesh
	return g, nil
}

// Point returns the place of column i, row j.
func (g *Grid) Point(i, j int) plane.Point {
	return plane.Point{X: g.Origin.X + float64(i)*g.SpacingM, Y: g.Origin.Y + float64(j)*g.SpacingM}
}

// canonicalRings returns the rings each turned to start at its westernmost
// (then southernmost) corner, the islands in order of that corner.
func canonicalRings(rings [][]plane.Point) [][]plane.Point {
	out := make([][]plane.Point, len(rings))
	for r, ring := range rings {
		first := 0
		for i, p := range ring {
			if comparePoints(p, ring[first]) < 0 {
				first = i
			}
		}
		out[r] = append(slices.Clone(ring[first:]), ring[:first]...)
	}
	slices.SortStableFunc(out[1:], func(a, b []plane.Point) int { return comparePoints(a[0], b[0]) })
	return out
}

func comparePoints(a, b plane.Point) int {
	switch {
	case a.X != b.X:
		if a.X < b.X {
			return -1
		}
		return 1
	case a.Y < b.Y:
		return -1
	case a.Y > b.Y:
		return 1
	}
	return 0
}

func bounds(ring []plane.Point) (lo, hi plane.Point) {
	lo, hi = ring[0], ring[0]
	for _, p := range ring {
		lo = plane.Point{X: min(lo.X, p.X), Y: min(lo.Y, p.Y)}
		hi = plane.Point{X: max(hi.X, p.X), Y: max(hi.Y, p.Y)}
	}
	return lo, hi
}

// placeNodes finds the grid points in the water, their arms and neighbors.
func (g *Grid) placeNodes(rings [][]plane.Point) {
	rows := crossings(rings, g.Origin, g.SpacingM, g.NY)
	columns := crossings(transpose(rings), plane.Point{X: g.Origin.Y, Y: g.Origin.X}, g.SpacingM, g.NX)
	inside := make([]bool, g.NX*g.NY)
	for j := range g.NY {
		k := 0
		for i := range g.NX {
			x := g.Origin.X + float64(i)*g.SpacingM
			for k < len(rows[j]) && rows[j][k] <= x {
				k++
			}
			inside[j*g.NX+i] = k%2 == 1
		}
	}
	distance := g.shoreDistance(rings, inside)
	index := make([]int32, g.NX*g.NY)
	for k := range index {
		index[k] = -1
		if inside[k] && distance[k] > clearance*g.SpacingM {
			index[k] = int32(len(g.Nodes))
			i, j := k%g.NX, k/g.NX
			g.Nodes = append(g.Nodes, Node{At: g.Point(i, j), I: int32(i), J: int32(j), ShoreM: distance[k]})
			g.WidestM = max(g.WidestM, distance[k])
		}
	}
	for n := range g.Nodes {
		node := &g.Nodes[n]
		i, j := int(node.I), int(node.J)
		west, east := gaps(rows[j], node.At.X)
		south, north := gaps(columns[i], node.At.Y)
		for d, arm := range [4]float64{East: east, West: west, North: north, South: south} {
			node.Next[d] = -1
			k := [4]int{East: j*g.NX + i + 1, West: j*g.NX + i - 1, North: (j+1)*g.NX + i, South: (j-1)*g.NX + i}[d]
			if arm >= g.SpacingM && index[k] >= 0 {
				node.Next[d] = index[k]
			}
			node.ArmM[d] = min(arm, g.SpacingM)
		}
	}
	g.mendLinks()
}

// mendLinks cuts a link that only one of its two ends sees, which rounding at a
// grazing shoreline can leave.
func (g *Grid) mendLinks() {
	opposite := [4]int{East: West, West: East, North: South, South: North}
	for n := range g.Nodes {
		for d, m := range g.Nodes[n].Next {
			if m >= 0 && g.Nodes[m].Next[opposite[d]] != int32(n) {
				g.Nodes[n].Next[d] = -1
			}
		}
	}
}

func transpose(rings [][]plane.Point) [][]plane.Point {
	out := make([][]plane.Point, len(rings))
	for r, ring := range rings {
		for _, p := range ring {
			out[r] = append(out[r], plane.Point{X: p.Y, Y: p.X})
		}
	}
	return out
}

// crossings returns, for each of n grid rows, the sorted x at which the rings
// cross it. A corner on a row counts as just below it.
func crossings(rings [][]plane.Point, origin plane.Point, spacingM float64, n int) [][]float64 {
	rows := make([][]float64, n)
	for _, ring := range rings {
		for k, a := range ring {
			b := ring[(k+1)%len(ring)]
			if a.Y > b.Y {
				a, b = b, a // the same crossing whichever way the side runs
			}
			j0 := max(0, int(math.Floor((a.Y-origin.Y)/spacingM))-1)
			for j := j0; j < n; j++ {
				y := origin.Y + float64(j)*spacingM
				if y >= b.Y {
					break
				}
				if a.Y > y {
					continue
				}
				rows[j] = append(rows[j], a.X+(b.X-a.X)*((y-a.Y)/(b.Y-a.Y)))
			}
		}
	}
	for _, row := range rows {
		slices.Sort(row)
	}
	return rows
}

// gaps returns the distance from x down and up to the next of the sorted
// crossings.
func gaps(crossings []float64, x float64) (down, up float64) {
	k, _ := slices.BinarySearch(crossings, x)
	down, up = math.Inf(1), math.Inf(1)
	if k > 0 {
		down = x - crossings[k-1]
	}
	if k < len(crossings) {
		up = crossings[k] - x
	}
	return down, up
}

// shoreDistance returns the distance of every inside grid point to the
// shoreline. Points near a side measure it; the others ask the side nearest to
// their neighbors, in two double sweeps (after Danielsson, 1980, Euclidean
// distance mapping), which misses the nearest side only where two are almost
// equally far.
func (g *Grid) shoreDistance(rings [][]plane.Point, inside []bool) []float64 {
	type side struct{ a, b plane.Point }
	var sides []side
	for _, ring := range rings {
		for k, a := range ring {
			sides = append(sides, side{a, ring[(k+1)%len(ring)]})
		}
	}
	near := make([]int32, len(inside))
	distance := make([]float64, len(inside))
	for k := range near {
		near[k], distance[k] = -1, math.Inf(1)
	}
	try := func(k int, s int32) {
		if d, _ := plane.SegmentDistance(g.Point(k%g.NX, k/g.NX), sides[s].a, sides[s].b); d < distance[k] {
			distance[k], near[k] = d, s
		}
	}
	clampI := func(x float64) int {
		return min(g.NX-1, max(0, int(math.Floor((x-g.Origin.X)/g.SpacingM))))
	}
	clampJ := func(y float64) int {
		return min(g.NY-1, max(0, int(math.Floor((y-g.Origin.Y)/g.SpacingM))))
	}
	for s, e := range sides {
		// A long side is stepped along, so that its box stays thin.
		steps := int(math.Ceil(e.a.Distance(e.b)/(4*g.SpacingM))) + 1
		for t := range steps {
			p, q := e.a.Lerp(e.b, float64(t)/float64(steps)), e.a.Lerp(e.b, float64(t+1)/float64(steps))
			for j := max(0, clampJ(min(p.Y, q.Y))-1); j <= min(g.NY-1, clampJ(max(p.Y, q.Y))+2); j++ {
				for i := max(0, clampI(min(p.X, q.X))-1); i <= min(g.NX-1, clampI(max(p.X, q.X))+2); i++ {
					try(j*g.NX+i, int32(s))
				}
			}
		}
	}
	ask := func(i, j, di, dj int) {
		if i+di < 0 || i+di >= g.NX || j+dj < 0 || j+dj >= g.NY {
			return
		}
		k, l := j*g.NX+i, (j+dj)*g.NX+i+di
		if near[l] >= 0 && near[l] != near[k] {
			try(k, near[l])
		}
	}
	for range 2 {
		for j := range g.NY {
			for i := range g.NX {
				ask(i, j, -1, 0)
				ask(i, j, -1, -1)
				ask(i, j, 0, -1)
				ask(i, j, 1, -1)
			}
			for i := g.NX - 1; i >= 0; i-- {
				ask(i, j, 1, 0)
			}
		}
		for j := g.NY - 1; j >= 0; j-- {
			for i := g.NX - 1; i >= 0; i-- {
				ask(i, j, 1, 0)
				ask(i, j, 1, 1)
				ask(i, j, 0, 1)
				ask(i, j, -1, 1)
			}
			for i := range g.NX {
				ask(i, j, -1, 0)
			}
		}
	}
	return distance
}
