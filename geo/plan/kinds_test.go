package plan_test

import (
	"slices"
	"strings"
	"testing"

	"pondwright/calc/air"
	"pondwright/calc/unit"
	"pondwright/geo/plan"
)

// The kind taken is the one a designer would find by planning for each on its own.
func TestPropose_ChoosesAmongKinds(t *testing.T) {
	t.Parallel()
	little := plan.Kind{Label: "little", Curve: small(t), Count: 1}
	big := plan.Kind{Label: "big", Curve: plan.DefaultEquipment().Compressor, Count: 1}
	weak, err := air.NewCurve([]air.CurvePoint{{Gauge: 0, Air: unit.SCFM(9)}, {Gauge: unit.PSIG(0.5), Air: unit.SCFM(8)}}, 0)
	if err != nil {
		t.Fatal(err)
	}
	shallow := plan.Kind{Label: "shallow", Curve: weak, Count: 1} // opens nothing in the bowl
	with := func(turnovers float64, kinds ...plan.Kind) *plan.Plan {
		_, p := bowl(t).vary(t, func(in *plan.Input) {
			e := &in.Equipment
			in.Turnovers, e.Label, e.Compressor, e.Machines, e.OtherKinds = turnovers, kinds[0].Label, kinds[0].Curve, kinds[0].Count, kinds[1:]
		})
		return p
	}
	alone := with(brisk, little)
	reach := alone.Turnovers.Value // of the middle volume: a little more than is judged by
	if alone.Constraint != plan.None {
		t.Fatalf("the little one alone: %s", alone.Constraint)
	}
	if slices.ContainsFunc(alone.Assumptions, func(a plan.Assumption) bool { return strings.HasPrefix(a.Name, "compressor ") }) {
		t.Errorf("one kind, and a choice is told: %v", alone.Assumptions)
	}
	bigAlone := with(brisk, big).Turnovers.Value
	for _, c := range []struct {
		name      string
		turnovers float64
		kinds     []plan.Kind
		takes     plan.Kind
		meets     bool
	}{
		{"the little one suffices", brisk, []plan.Kind{big, little}, little, true},
		{"it does not", 1.5 * reach, []plan.Kind{little, big}, big, true},
		{"neither does", 20 * bigAlone, []plan.Kind{little, shallow, big}, big, false},
	} {
		for range 2 {
			p := with(c.turnovers, c.kinds...)
			want := with(c.turnovers, c.takes)
			if p.Turnovers != want.Turnovers || p.Air != want.Air || p.Constraint != want.Constraint || p.Shortfall != want.Shortfall {
				t.Errorf("%s: %v turnovers, %s; alone %v, %s", c.name, p.Turnovers, p.Constraint, want.Turnovers, want.Constraint)
			}
			if (p.Constraint == plan.None) != c.meets {
				t.Errorf("%s: %s", c.name, p.Constraint)
			}
			taken, left := 0, 0
			for _, a := range p.Assumptions {
				switch a.Name {
				case "compressor taken":
					taken++
					if !strings.Contains(string(a.Value), "("+c.takes.Label+")") || strings.Contains(a.Source, "none meets") == c.meets {
						t.Errorf("%s: %v", c.name, a)
					}
				case "compressor not taken":
					left++
					if strings.Contains(string(a.Value), "(shallow)") != strings.Contains(string(a.Value), "cannot open") {
						t.Errorf("%s: %v", c.name, a)
					}
				}
			}
			if taken != 1 || left != len(c.kinds)-1 {
				t.Errorf("%s: %d taken, %d left of %d", c.name, taken, left, len(c.kinds))
			}
			slices.Reverse(c.kinds)
		}
	}
}
