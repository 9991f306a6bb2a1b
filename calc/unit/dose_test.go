package unit_test

import (
	"math"
	"testing"

	"pondwright/calc/unit"
)

func TestDoses(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name      string
		got, want float64
		tol       float64
		source    string
	}{
		{"pounds per acre-foot for 1 mg/L", unit.MilligramsPerLiter(1).PoundsPerAcreFoot(), 2.7193620, 1e-6, "recomputed; state fishery bulletins print 2.7"},
		{"and back", float64(unit.PoundsPerAcreFoot(2.7193619627)), 1, 1e-9, "recomputed"},
		{"pounds per million gallons for 1 mg/L", unit.KilogramsPerCubicMeter(1e-3).PoundsPerGallon() * 1e6, 8.345404, 1e-5, "recomputed"},
		{"pound per gallon", float64(unit.PoundsPerGallon(1)), 119.8264, 1e-4, "NIST SP 811, 2008, appendix B.8"},
		{"gallons", unit.Gallons(325851.428571).AcreFeet(), 1, 1e-11, "definition"},
	} {
		if math.Abs(tt.got-tt.want) > tt.tol {
			t.Errorf("%s: got %.9g, want %.9g (%s)", tt.name, tt.got, tt.want, tt.source)
		}
	}
}
