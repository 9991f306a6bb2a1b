package unit_test

import (
	"math"
	"testing"

	"pondwright/calc/unit"
)

func TestLoads(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name            string
		got, want, back float64
		source          string
	}{
		{"pound of force", float64(unit.PoundsForce(1)), 4.448222, unit.PoundsForce(1).PoundsForce(), "NIST SP 811, 2008, appendix B.8"},
		{"pound-foot of moment", float64(unit.PoundFeet(1)), 1.355818, unit.PoundFeet(1).PoundFeet(), "NIST SP 811, 2008, appendix B.8"},
		{"pound per square foot", float64(unit.PSF(1)), 47.88026, unit.PSF(1).PSF(), "NIST SP 811, 2008, appendix B.8"},
		{"pound per square foot per foot", float64(unit.PSFPerFoot(1)), 157.0875, unit.PSFPerFoot(1).PSFPerFoot(), "the two above, recomputed"},
		{"cubic foot", float64(unit.CubicFeet(1)), 0.02831685, unit.CubicFeet(1).CubicFeet(), "NIST SP 811, 2008, appendix B.8"},
	} {
		if math.Abs(tt.got-tt.want) > 5e-7*tt.want {
			t.Errorf("%s: got %.9g, want %.9g (%s)", tt.name, tt.got, tt.want, tt.source)
		}
		if math.Abs(tt.back-1) > 1e-12 {
			t.Errorf("%s came back as %.15g", tt.name, tt.back)
		}
	}
}
