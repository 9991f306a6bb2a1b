package survey_test

import (
	"errors"
	"math"
	"testing"

	"pondwright/calc/unit"
	"pondwright/geo/survey"
)

func guessed(t *testing.T, radiusM float64, anchor survey.Anchor, depth unit.Meters) survey.Guess {
	t.Helper()
	g, err := survey.GuessWater(round(t, radiusM), anchor, depth)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func TestGuessWater_HoldsWhatHandbooksSay(t *testing.T) {
	t.Parallel()
	area := math.Pi * bowlM * bowlM
	for _, tt := range []struct {
		name   string
		anchor survey.Anchor
		depth  unit.Meters
		want   float64 // m³
		source string
	}{
		// "Weed control in ponds and lakes", Virginia Cooperative Extension, 1981.
		{"half the greatest depth times the area", survey.FromDeepest, 3, area * 3 / 2, "extension rule for gradual slopes"},
		// Archimedes; a cone holds a third.
		{"cone", survey.FromDeepest, 3, area * 3 / 3, "solid"},
		{"paraboloid from its middle", survey.FromMiddle, 3, area * 3 / 2, "solid"},
		{"cone from its middle", survey.FromMiddle, 3, area * 3 / 3, "solid"},
		{"no depth, a usual farm pond", survey.FromOutline, 0, area * 1.5, "judgement, no source"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			v := guessed(t, bowlM, tt.anchor, tt.depth).Volume
			if !(float64(v.Low) < tt.want && tt.want < float64(v.High)) {
				t.Errorf("%.0f m³ (%s) lies outside %.0f to %.0f", tt.want, tt.source, v.Low, v.High)
			}
			if wide := float64(v.High / v.Low); wide < 2.5 {
				t.Errorf("the interval spans a factor of %.2f only: a guess knows no better than 2.5", wide)
			}
			if !(v.Low < v.Low80 && v.Low80 < v.Value && v.Value < v.High80 && v.High80 < v.High) {
				t.Errorf("the ends do not nest: %+v", v)
			}
		})
	}
}

func TestGuessWater_OneDepthNarrowsIt(t *testing.T) {
	t.Parallel()
	none, one := guessed(t, bowlM, survey.FromOutline, 0).Volume, guessed(t, bowlM, survey.FromDeepest, 3).Volume
	if one.High/one.Low >= none.High/none.Low {
		t.Errorf("with a depth a factor of %.1f, without %.1f", one.High/one.Low, none.High/none.Low)
	}
}

func TestGuessWater_RefusesDepthsNoPondHas(t *testing.T) {
	t.Parallel()
	for _, depth := range []unit.Meters{0, 0.1, 61, unit.Meters(math.NaN()), -3} {
		var bad *unit.RangeError
		if _, err := survey.GuessWater(round(t, bowlM), survey.FromDeepest, depth); !errors.As(err, &bad) {
			t.Errorf("depth %g: %v, want a range error", float64(depth), err)
		}
	}
}
