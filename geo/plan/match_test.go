package plan_test

import (
	"math"
	"testing"

	"github.com/golang/geo/s2"
	"pgregory.net/rapid"

	"pondwright/geo/plan"
)

// Every diffuser of both plans appears once; plans that differ by labels alone do
// not move.
func TestMatchSites(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) (out []plan.Setting) {
			for range rapid.IntRange(0, 6).Draw(t, name) {
				out = append(out, plan.Setting{At: s2.LatLngFromDegrees(38.3+rapid.Float64Range(0, 0.002).Draw(t, "lat"), -93.4)})
			}
			return out
		}
		before, after := draw("before"), draw("after")
		seenBefore, seenAfter := map[int]int{}, map[int]int{}
		last := math.Inf(1)
		for _, m := range plan.MatchSites(before, after) {
			if m.Before < 0 && m.After < 0 {
				t.Fatal("a pair of nothing")
			}
			if m.Before >= 0 {
				seenBefore[m.Before]++
			}
			if m.After >= 0 {
				seenAfter[m.After]++
			}
			if m.Before >= 0 && m.After >= 0 {
				if float64(m.Distance) > last {
					t.Fatalf("%v after %v", m.Distance, last)
				}
				last = float64(m.Distance)
			}
		}
		if len(seenBefore) != len(before) || len(seenAfter) != len(after) {
			t.Fatalf("%v %v", seenBefore, seenAfter)
		}
		shuffled := rapid.Permutation(before).Draw(t, "order")
		for _, m := range plan.MatchSites(before, shuffled) {
			if m.Distance > 1e-9 || m.Before < 0 || m.After < 0 {
				t.Fatalf("moved %+v", m)
			}
		}
	})
}
