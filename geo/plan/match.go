package plan

import (
	"cmp"
	"math"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// Moved pairs a diffuser of one plan with one of another by their places.
type Moved struct {
	Before, After int // indices; -1 for a diffuser that the other plan has not
	Distance      unit.Meters
}

// MatchSites pairs the diffusers of two plans, nearest first, whatever their labels;
// those left over came or went. Pairs come first, those that moved farthest leading,
// then those that went, then those that came.
func MatchSites(before, after []Setting) []Moved {
	var pairs []Moved
	if len(before) > 0 {
		frame := plane.NewFrame(before[0].At)
		for i, b := range before {
			p := frame.ToPlane(b.At)
			for j, a := range after {
				q := frame.ToPlane(a.At)
				pairs = append(pairs, Moved{i, j, unit.Meters(math.Hypot(q.X-p.X, q.Y-p.Y))})
			}
		}
	}
	slices.SortStableFunc(pairs, func(a, b Moved) int { return cmp.Compare(a.Distance, b.Distance) })
	usedBefore, usedAfter := make([]bool, len(before)), make([]bool, len(after))
	var out []Moved
	for _, p := range pairs {
		if !usedBefore[p.Before] && !usedAfter[p.After] {
			usedBefore[p.Before], usedAfter[p.After] = true, true
			out = append(out, p)
		}
	}
	slices.Reverse(out)
	for i, used := range usedBefore {
		if !used {
			out = append(out, Moved{Before: i, After: -1})
		}
	}
	for j, used := range usedAfter {
		if !used {
			out = append(out, Moved{Before: -1, After: j})
		}
	}
	return out
}
