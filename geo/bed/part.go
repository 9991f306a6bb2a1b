package bed

import (
	"math"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// pieces is the number of parts a side of a triangle is cut into where a ring may
// cross it.
const pieces = 8

// VolumeWithin returns the volume of the water inside a ring of corners in the
// outline's frame, which may run either way and reach ashore. It is zero for a ring
// of fewer than three corners or without water.
func (b *Bed) VolumeWithin(ring []plane.Point) Interval[unit.CubicMeters] {
	if len(ring) < 3 {
		return Interval[unit.CubicMeters]{}
	}
	m := &b.grid.Mesh
	box := boxOf(ring)
	var volume float64
	for t, v := range m.Triangles {
		p, q, r := m.Points[v[0]], m.Points[v[1]], m.Points[v[2]]
		if !box.meets(p, q, r) {
			continue
		}
		full := m.TriangleArea(t)
		share, w := shareInside(ring, p, q, r)
		volume += full * share * (w[0]*b.depthM[v[0]] + w[1]*b.depthM[v[1]] + w[2]*b.depthM[v[2]])
	}
	return sumInterval[unit.CubicMeters](b, volume, func(at plane.Point, _ float64) float64 {
		if inRing(ring, at) {
			return 1
		}
		return 0
	})
}

// VolumeBetween returns the volume of the layer between two drawdowns from the
// level of the shoreline, in either order: the water above a thermocline is that
// between zero and its depth.
func (b *Bed) VolumeBetween(upper, lower unit.Meters) Interval[unit.CubicMeters] {
	upper, lower = max(0, min(upper, lower)), max(0, upper, lower)
	volume := float64(b.curve.Between(upper, lower))
	return sumInterval[unit.CubicMeters](b, volume, func(_ plane.Point, depthM float64) float64 {
		if depthM > float64(upper) && depthM <= float64(lower) {
			return 1
		}
		return 0
	})
}

// AreaAt returns the water area at a drawdown. Its doubt is that of the depths
// near that level and of the outline.
func (b *Bed) AreaAt(drawdown unit.Meters) Interval[unit.SquareMeters] {
	area := b.curve.Area(drawdown)
	// dA is minus the change of the volume's derivative, taken over a band of depth
	// that holds a fair number of nodes.
	band := 0.05 * float64(b.curve.MaxDepth())
	out := sumInterval[unit.SquareMeters](b, float64(area), func(_ plane.Point, depthM float64) float64 {
		if math.Abs(depthM-float64(drawdown)) < band && drawdown > 0 {
			return 1 / (2 * band)
		}
		return 0
	})
	if area <= 0 {
		return out
	}
	depths := math.Log(float64(out.High/area)) / z95
	return interval(area, math.Hypot(depths, b.areaSD))
}

// sumInterval returns the interval of a value that grows by weight(place, depth) m²
// for each meter of depth at a place, by the parts of the volume's own doubt.
func sumInterval[Q ~float64](b *Bed, value float64, weight func(at plane.Point, depthM float64) float64) Interval[Q] {
	if len(b.doubtful) == 0 {
		return interval(Q(value), math.Log(guessFactor)/z95)
	}
	if value <= 0 {
		return Interval[Q]{}
	}
	t := b.doubtful[0].coarse
	weights := make([]float64, len(t.grid.Nodes))
	for i, n := range t.grid.Nodes {
		weights[i] = t.areaM2[i] * weight(n.At, b.Depth(n.At))
	}
	var field, wander, moved, lifted float64
	for _, m := range b.doubtful {
		a := m.coarse.functional(weights)
		spread := m.coarse.factor.solve(a)
		field += m.weight * math.Sqrt(m.coarse.variance*max(0, dot(a, spread)))
		wander += m.weight * b.positionSDM * m.coarse.wander(spread)
	}
	for i, w := range weights {
		moved, lifted = moved+w, lifted+w*b.Depth(t.grid.Nodes[i].At)
	}
	sd := math.Hypot(field, leaveOneOutShare*b.strips.sd(weights))
	for _, part := range []float64{wander, volumeFloor * value, b.commonM * moved, b.speedSD * lifted} {
		sd = math.Hypot(sd, part)
	}
	return interval(Q(value), logSD(ratio(sd, value)))
}

// box is an axis-parallel rectangle.
type box struct{ lo, hi plane.Point }

func boxOf(ring []plane.Point) box {
	b := box{ring[0], ring[0]}
	for _, p := range ring {
		b.lo = plane.Point{X: min(b.lo.X, p.X), Y: min(b.lo.Y, p.Y)}
		b.hi = plane.Point{X: max(b.hi.X, p.X), Y: max(b.hi.Y, p.Y)}
	}
	return b
}

func (b box) meets(p, q, r plane.Point) bool {
	return max(p.X, q.X, r.X) >= b.lo.X && min(p.X, q.X, r.X) <= b.hi.X &&
		max(p.Y, q.Y, r.Y) >= b.lo.Y && min(p.Y, q.Y, r.Y) <= b.hi.Y
}

// inRing reports whether p lies inside the ring by the even-odd rule.
func inRing(ring []plane.Point, p plane.Point) bool {
	in := false
	for k, a := range ring {
		b := ring[(k+1)%len(ring)]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(b.X-a.X)*(p.Y-a.Y)/(b.Y-a.Y) {
			in = !in
		}
	}
	return in
}

// shareInside returns the share of the triangle that lies in the ring and the
// weights of its corners at that part's centroid, from the middles of equal pieces.
func shareInside(ring []plane.Point, p, q, r plane.Point) (share float64, weights [3]float64) {
	count := 0
	for i := range pieces {
		for j := range pieces - i {
			for up := range 2 {
				if up == 1 && i+j == pieces-1 {
					continue // no piece upside down at the rim
				}
				off := float64(1+up) / 3
				w := [3]float64{1: (float64(i) + off) / pieces, 2: (float64(j) + off) / pieces}
				w[0] = 1 - w[1] - w[2]
				if inRing(ring, p.Scale(w[0]).Add(q.Scale(w[1])).Add(r.Scale(w[2]))) {
					count++
					for k := range w {
						weights[k] += w[k]
					}
				}
			}
		}
	}
	for k := range weights {
		weights[k] /= float64(max(1, count))
	}
	return float64(count) / (pieces * pieces), weights
}
