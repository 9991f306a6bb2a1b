package route

import (
	"math"
	"slices"

	"pondwright/geo/plane"
)

// mooringM is how far off the shore a way's free part begins: outside the
// polygons that round the corners of land, which reach a little farther than the
// clearance.
func (m *Map) mooringM() float64 {
	return (m.clearanceM+roundingM)/math.Cos(sharpest/2) + roundingM
}

// moor ties p to clear water: to itself where it is far enough off the shore,
// else to the first place straight off the shore that is.
func (m *Map) moor(p plane.Point) (mooring, error) {
	distM, near := m.shore.Nearest(p)
	inWater := m.shore.Contains(p)
	marginM := m.mooringM()
	if inWater && m.free(p, marginM) {
		return mooring{at: p, clear: p}, nil
	}
	if !inWater && !(distM <= ashoreTolM) { // a NaN is ashore too
		return mooring{}, ErrAshore
	}
	if !m.allowed(p, p, marginM) {
		return mooring{}, ErrBarred
	}
	base, list := near, m.offshore(near, marginM*(1+1e-6))
	if inWater && distM > 1e-6 {
		// Straight on, away from the shore, is shortest.
		base = p
		list = slices.Insert(list, 0, p.Sub(near).Scale(marginM*(1+1e-6)/distM))
	}
	for _, v := range list {
		if q := near.Add(v); m.free(q, marginM) && m.opens(base, q) {
			return mooring{at: p, clear: q, legM: p.Distance(q)}, nil
		}
	}
	return mooring{}, ErrNoWater
}

// opens reports whether the short leg from base, on the shoreline or beside it,
// to q runs through water.
func (m *Map) opens(base, q plane.Point) bool {
	// The leg may touch the shore where it begins, nowhere else.
	return !m.shore.Crosses(base.Lerp(q, 1e-4), q)
}

// offshore lists the vectors from a point on the shoreline to where clear water
// may begin, clearM off the shore, best first: square to the sides that meet there, along their
// bisector, then round about in growing circles.
func (m *Map) offshore(near plane.Point, clearM float64) []plane.Point {
	var list []plane.Point
	var sum plane.Point
	for _, ring := range m.shore.Rings() {
		for i, a := range ring {
			b := ring[(i+1)%len(ring)]
			if d, _ := plane.SegmentDistance(near, a, b); d > 1e-7 {
				continue
			}
			d := b.Sub(a)
			normal := plane.Point{X: -d.Y, Y: d.X}.Scale(1 / d.Norm()) // water lies left
			list, sum = append(list, normal.Scale(clearM)), sum.Add(normal)
		}
	}
	if len(list) > 1 && sum.Norm() > 1e-3 {
		// In a pocket whose sides' normals have the sum s the place as far from
		// both sides lies 2/|s| as far along the bisector.
		list = append(list, sum.Scale(2*clearM/sum.Dot(sum)))
	}
	const directions = 64
	for _, times := range []float64{1.01, 1.5, 2, 3, 5, 8, 13, 20} {
		for k := range directions {
			list = append(list, heading(2*math.Pi*float64(k)/directions).Scale(times*clearM))
		}
	}
	return list
}
