// Package contour draws lines of equal depth on a triangle mesh.
//
// Every line is a closed ring: the shoreline has depth zero, so a line of
// positive depth cannot leave the water, and corners that lie exactly at the
// level count as shallower, so it cannot branch.
package contour

import (
	"math"

	"pondwright/geo/grid"
	"pondwright/geo/plane"
)

// Rings returns the closed lines at depth levelM > 0 of the surface with depthM[i]
// meters of water at point i of the mesh, zero on the shoreline. Deeper water
// lies to the left, so a ring round a hole runs counter-clockwise and a ring
// round a shoal clockwise. The last point is not repeated. It returns nil for a
// level of zero or less and for depths that do not match the mesh.
func Rings(m *grid.Mesh, depthM []float64, levelM float64) [][]plane.Point {
	if !(levelM > 0) || len(depthM) != len(m.Points) {
		return nil
	}
	// In each crossed triangle the line enters on one side and leaves on another.
	// A side is named by its two corners in rising order.
	type side [2]int32
	name := func(a, b int32) side { return side{min(a, b), max(a, b)} }
	next := make(map[side]side)
	var starts []side
	for _, v := range m.Triangles {
		deep := [3]bool{depthM[v[0]] > levelM, depthM[v[1]] > levelM, depthM[v[2]] > levelM}
		if deep[0] == deep[1] && deep[1] == deep[2] {
			continue
		}
		var in, out side
		for k := range 3 {
			a, b := k, (k+1)%3
			switch {
			case !deep[a] && deep[b]: // going round, water gets deep: the line leaves here
				out = name(v[a], v[b])
			case deep[a] && !deep[b]:
				in = name(v[a], v[b])
			}
		}
		next[in] = out
		starts = append(starts, in)
	}
	at := func(s side) plane.Point {
		da, db := depthM[s[0]], depthM[s[1]]
		return m.Points[s[0]].Lerp(m.Points[s[1]], math.Min(1, math.Max(0, (levelM-da)/(db-da))))
	}
	var rings [][]plane.Point
	for _, start := range starts {
		var ring []plane.Point
		for s := start; ; {
			to, ok := next[s]
			if !ok {
				break
			}
			delete(next, s)
			if p := at(s); len(ring) == 0 || ring[len(ring)-1] != p {
				ring = append(ring, p)
			}
			s = to
		}
		for len(ring) > 1 && ring[0] == ring[len(ring)-1] {
			ring = ring[:len(ring)-1]
		}
		if len(ring) >= 3 {
			rings = append(rings, ring)
		}
	}
	return rings
}

// Levels returns round depths for contours down to maxDepthM: the finest of the
// steps 0.25, 0.5, 1, 2 and 5 times scaleM (1 for meters, 0.3048 for feet) that
// gives at most n lines.
func Levels(maxDepthM, scaleM float64, n int) []float64 {
	if !(maxDepthM > 0) || !(scaleM > 0) || n < 1 {
		return nil
	}
	for _, k := range []float64{0.25, 0.5, 1, 2, 5, 10, 20, 50, 100} {
		step := k * scaleM
		count := int(math.Ceil(maxDepthM/step)) - 1
		if count > n {
			continue
		}
		out := make([]float64, 0, count)
		for i := 1; i <= count; i++ {
			out = append(out, float64(i)*step)
		}
		return out
	}
	return nil
}
