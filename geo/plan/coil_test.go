package plan_test

import (
	"cmp"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pondwright/calc/unit"
	"pondwright/geo/plan"
)

// Whatever coils are on hand, no joint is buried or lies at the water's edge, a trunk
// is of one piece, and the pieces add up; only a trench longer than any coil is joined.
// Lengths of coils sold, 500 ft at most: common practice, no source.
func TestCuts_NoJointAshore(t *testing.T) {
	t.Parallel()
	longest := unit.Feet(500)
	rapid.Check(t, func(t *rapid.T) {
		const bore = unit.Meters(0.0158)
		length := func(name string, lo, hi float64) unit.Meters {
			return unit.Meters(rapid.Float64Range(lo, hi).Draw(t, name))
		}
		p := &plan.Plan{Stations: make([]plan.Station, 1)}
		shared := rapid.Bool().Draw(t, "shared")
		trench, riser := length("trench", 0, 200), length("riser", 0, 4)
		if shared {
			p.Stations[0].Trunk = &plan.Trunk{Bore: bore, Order: trench + riser}
		}
		for range rapid.IntRange(1, 8).Draw(t, "runs") {
			h := plan.Hose{Bore: bore, Water: length("water", 4, 300)}
			if !shared {
				h.Trench, h.Riser = trench, riser
			}
			h.Order = h.Water + h.Trench + h.Riser
			p.Diffusers = append(p.Diffusers, plan.Diffuser{Hose: h})
		}
		var own []plan.Coil
		for range rapid.IntRange(0, 6).Draw(t, "coils") {
			own = append(own, plan.Coil{Bore: bore, Length: length("coil", 1, 400), Count: rapid.IntRange(1, 3).Draw(t, "count")})
		}
		p.CutHose(own)
		pieces := func(diffuser int) (out []plan.Cut) {
			for _, c := range p.Cuts {
				if c.Diffuser == diffuser {
					out = append(out, c)
				}
			}
			slices.SortFunc(out, func(a, b plan.Cut) int { return cmp.Compare(a.Piece, b.Piece) })
			return out
		}
		check := func(diffuser int, order, whole unit.Meters) {
			var sum unit.Meters
			got := pieces(diffuser)
			for _, c := range got {
				sum += c.Length
			}
			if math.Abs(float64(sum-order)) > 1e-6 {
				t.Fatalf("run %d: pieces of %.3f m, want %.3f", diffuser, float64(sum), float64(order))
			}
			if whole = min(whole, order); len(got) > 1 && whole <= longest && got[0].Length < whole-1e-6 {
				t.Fatalf("run %d is joined %.1f m from the mast, dry land and its edge end at %.1f m", diffuser, float64(got[0].Length), float64(whole))
			}
		}
		if shared {
			check(plan.TrunkCut, trench+riser, trench+riser)
		}
		for i, d := range p.Diffusers {
			check(i, d.Hose.Order, d.Hose.Trench+d.Hose.Riser+3) // past the edge: judgement, no source
		}
	})
}
