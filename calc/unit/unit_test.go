package unit_test

import (
	"math"
	"testing"

	"pondwright/calc/unit"
)

func TestConversions(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name      string
		got, want float64
		tol       float64 // relative
		source    string
	}{
		{"one acre-foot in cubic meters", float64(unit.AcreFeet(1)), 1233.48183754752, 0, "NIST SP 811, 2008, appendix B (international foot)"},
		{"one acre-foot in gallons", unit.AcreFeet(1).Gallons(), 325851.428571, 1e-11, "NIST SP 811, 2008, appendix B"},
		{"one acre", float64(unit.Acres(1)), 4046.8564224, 0, "NIST SP 811, 2008, appendix B (international foot)"},
		{"one psi", float64(unit.PSIA(1)), 6894.757, 1e-7, "NIST SP 811, 2008, appendix B.8"},
		{"one standard cubic foot per minute", float64(unit.SCFM(1)), 4.719474e-4, 1e-6, "NIST SP 811, 2008, appendix B.8 (cubic foot per minute)"},
		{"one scfm as mass", float64(unit.SCFM(1).Mass()), 5.6827e-4, 2e-5, "ideal gas law at 101325 Pa, 293.15 K, R = 287.055 J/(kg K), recomputed"},
		{"ten scfm at 12.228 psia and 95 °F", unit.SCFM(10).Mass().Actual(unit.PSIA(12.228), unit.Fahrenheit(95)).CFM(), 12.6332, 2e-5, "ideal gas law, recomputed"},
		{"three scfm inside a hose at 8 psig and 55 °F", unit.SCFM(3).Mass().Actual(unit.PSIG(8).Absolute(unit.StandardPressure), unit.Fahrenheit(55)).CFM(), 1.8947, 3e-5, "ideal gas law, recomputed"},
		{"horsepower", float64(unit.Horsepower(1)), 745.6999, 1e-7, "NIST SP 811, 2008, appendix B.8 (550 ft·lbf/s)"},
		{"gallons a minute of one acre-foot a day", unit.CubicMetersPerSecond(float64(unit.AcreFeet(1)) / 86400).GallonsPerMinute(), 226.3, 1e-4, "definition, recomputed"},
		{"gallons a minute in a cubic meter a second", unit.CubicMetersPerSecond(1).GallonsPerMinute(), 15850.3, 1e-5, "NIST SP 811, 2008, appendix B.8 (US gallon)"},
		{"gallons a minute, there and back", float64(unit.Gallons(unit.CubicMetersPerSecond(0.57106).GallonsPerMinute())) / 60, 0.57106, 1e-12, "round trip"},
		{"cubic feet a minute, there and back", float64(unit.CubicFeet(unit.CubicMetersPerSecond(0.0123).CFM())) / 60, 0.0123, 1e-12, "round trip"},
		{"room temperature", unit.Fahrenheit(68).Celsius(), 20, 1e-12, "definition"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if math.Abs(tt.got-tt.want) > tt.tol*math.Abs(tt.want) {
				t.Errorf("got %.12g, want %.12g within %g relative (%s)", tt.got, tt.want, tt.tol, tt.source)
			}
		})
	}
}

func TestRoundTrips(t *testing.T) {
	t.Parallel()
	for _, v := range []float64{-3.25, 0, 1e-6, 1, 123456.789} {
		for name, got := range map[string]float64{
			"feet":       unit.Feet(v).Feet(),
			"inches":     unit.Inches(v).Inches(),
			"acres":      unit.Acres(v).Acres(),
			"acre-feet":  unit.AcreFeet(v).AcreFeet(),
			"psia":       unit.PSIA(v).PSIA(),
			"psig":       unit.PSIG(v).PSIG(),
			"scfm":       unit.SCFM(v).SCFM(),
			"horsepower": unit.Horsepower(v).Horsepower(),
			"mph":        unit.MPH(v).MPH(),
			"pounds":     unit.Pounds(v).Pounds(),
			"fahrenheit": unit.Fahrenheit(v).Fahrenheit(),
			"gauge":      float64(unit.PascalsGauge(v).Absolute(101325).Gauge(101325)),
			"mass":       float64(unit.StdCubicMetersPerSecond(v).Mass().Standard()),
		} {
			if math.Abs(got-v) > 1e-9*math.Max(1, math.Abs(v)) {
				t.Errorf("%s: %g came back as %g", name, v, got)
			}
		}
	}
}
