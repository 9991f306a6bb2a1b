package bed

import (
	"math"

	"pondwright/geo/grid"
)

// makeCells shares the area and volume of every triangle out among its corners
// in the water. A triangle between three shoreline corners holds no water and
// goes to the node of a triangle beside it, as far as one can be reached.
func makeCells(g *grid.Grid, depthM []float64) []Cell {
	m := &g.Mesh
	cells := make([]Cell, len(g.Nodes))
	for n, node := range g.Nodes {
		cells[n] = Cell{At: node.At, DepthM: depthM[n], Slope: slopeAt(g, depthM, n), ShoreM: node.ShoreM}
	}
	owner := make([]int32, len(m.Points)) // a node near each shoreline corner
	for k := range owner {
		owner[k] = -1
		if k < m.Shore {
			owner[k] = int32(k)
		}
	}
	for found := true; found; {
		found = false
		for _, v := range m.Triangles {
			for k, c := range v {
				if owner[c] >= 0 {
					continue
				}
				o := max(owner[v[(k+1)%3]], owner[v[(k+2)%3]])
				if o >= 0 {
					owner[c], found = o, true
				}
			}
		}
	}
	for t, v := range m.Triangles {
		area := m.TriangleArea(t)
		volume := area * (depthM[v[0]] + depthM[v[1]] + depthM[v[2]]) / 3
		wet := 0
		for _, c := range v {
			if int(c) < m.Shore {
				wet++
			}
		}
		if wet == 0 {
			if o := owner[v[0]]; o >= 0 {
				cells[o].AreaM2 += area
			}
			continue
		}
		for _, c := range v {
			if int(c) < m.Shore {
				cells[c].AreaM2 += area / float64(wet)
				cells[c].VolumeM3 += volume / float64(wet)
			}
		}
	}
	return cells
}

// slopeAt returns the bed's slope at a node by differences over its arms; where
// an arm ends at the shore the depth there is zero.
func slopeAt(g *grid.Grid, depthM []float64, n int) float64 {
	node := &g.Nodes[n]
	along := func(a, b int) float64 {
		at := func(d int) float64 {
			if node.Next[d] < 0 {
				return 0
			}
			return depthM[node.Next[d]]
		}
		return (at(a) - at(b)) / (node.ArmM[a] + node.ArmM[b])
	}
	return math.Hypot(along(grid.East, grid.West), along(grid.North, grid.South))
}
