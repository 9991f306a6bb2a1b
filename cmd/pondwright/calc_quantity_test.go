package main

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// calcDimensions are all kinds of quantity that can be typed in or printed.
func calcDimensions() []*dimension {
	return []*dimension{
		ofLength.dimension, ofBore.dimension, ofArea.dimension, ofPlate.dimension, ofWater.dimension, ofLiquid.dimension, ofSolid.dimension,
		ofTemperature.dimension, ofTempChange.dimension, ofAbsolute.dimension, ofGauge.dimension, ofWindPressure.dimension, ofYield.dimension,
		ofBearing.dimension, ofStdFlow.dimension, ofActualFlow.dimension, ofQuotedFlow.dimension, ofFlow.dimension, ofMassFlow.dimension, ofDensity.dimension,
		ofStrength.dimension, ofLevel.dimension, ofMass.dimension, ofPower.dimension, ofEnergy.dimension, ofWork.dimension, ofStability.dimension,
		ofVolts.dimension, ofCurrent.dimension, ofCharge.dimension, ofLight.dimension, ofDayLight.dimension, ofField.dimension, ofTime.dimension, ofDelay.dimension, ofSpan.dimension, ofDistance.dimension,
		ofRate.dimension, ofFrequency.dimension, ofSpeed.dimension, ofSoundSpeed.dimension, ofAngle.dimension, ofPosition.dimension,
		ofFreezing.dimension, ofConduction.dimension, ofForce.dimension, ofMoment.dimension, ofNumber.dimension, ofShare.dimension,
	}
}

func TestQuantity(t *testing.T) {
	t.Parallel()
	const sp811 = "NIST Special Publication 811, 2008, appendix B"
	for _, tt := range []struct {
		d      *dimension
		text   string
		units  unitSystem
		want   float64
		source string
	}{
		{ofLength.dimension, "15ft", siUnits, 4.572, sp811},
		{ofLength.dimension, "15", usUnits, 4.572, sp811},
		{ofLength.dimension, "4.6m", usUnits, 4.6, "definition"},
		{ofLength.dimension, "4.6", siUnits, 4.6, "definition"},
		{ofLength.dimension, " 1.5e2 mm ", usUnits, 0.15, "definition"},
		{ofBore.dimension, "0.622", usUnits, 0.0157988, sp811},
		{ofBore.dimension, "15.8", siUnits, 0.0158, "definition"},
		{ofStdFlow.dimension, "1.2scfm", siUnits, 1.2 * 4.719474e-4, sp811},
		{ofStdFlow.dimension, "1.58309Nm3/h", usUnits, 4.719474e-4, "one scfm in normal m³/h by the ideal gas law, recomputed"},
		{ofStdFlow.dimension, "60 std L/min", usUnits, 1e-3, "definition"},
		{ofGauge.dimension, "8.5psi", siUnits, 8.5 * 6894.757, sp811},
		{ofAbsolute.dimension, "29.921 inHg", usUnits, 101325, sp811},
		{ofAbsolute.dimension, "1013.25hPa", usUnits, 101325, "definition"},
		{ofTemperature.dimension, "60F", siUnits, 288.70556, sp811},
		{ofTemperature.dimension, "−20 °C", usUnits, 253.15, "definition"},
		{ofTemperature.dimension, "20c", usUnits, 293.15, "definition"},
		{ofSpeed.dimension, "90mph", siUnits, 40.2336, sp811},
		{ofWater.dimension, "40 acre-ft", siUnits, 49339.27, sp811},
		{ofWater.dimension, "40ac_ft", siUnits, 49339.27, sp811},
		{ofLevel.dimension, "2.71936 lb/acre-ft", usUnits, 1, "recomputed; state fishery bulletins print 2.7"},
		{ofDensity.dimension, "1lb/gal", usUnits, 119.8264, sp811},
		{ofShare.dimension, "3%", usUnits, 0.03, "definition"},
		{ofShare.dimension, "0.03", siUnits, 0.03, "definition"},
		{ofAngle.dimension, "180", usUnits, math.Pi, "definition"},
		{ofAngle.dimension, "45deg", usUnits, math.Pi / 4, "definition"},
		{ofYield.dimension, "35ksi", siUnits, 241.3165e6, sp811},
		{ofTime.dimension, "90min", usUnits, 5400, "definition"},
	} {
		got, err := tt.d.parse(tt.text, tt.units)
		if err != nil || math.Abs(got-tt.want) > 1e-5*math.Abs(tt.want) {
			t.Errorf("%s %q: %.9g, %v, want %.9g (%s)", tt.d.name, tt.text, got, err, tt.want, tt.source)
		}
	}
}

func TestQuantity_NeverMixed(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		d          *dimension
		text, says string
	}{
		{ofGauge.dimension, "14.7psia", "absolute"},
		{ofAbsolute.dimension, "14.7psig", "absolute"},
		{ofAbsolute.dimension, "100kPa", "absolute"},
		{ofStdFlow.dimension, "3cfm", "not a standard flow"},
		{ofStdFlow.dimension, "100 L/min", "not a standard flow"},
		{ofLength.dimension, "3psi", "is no length"},
		{ofLength.dimension, "ft", "number"},
		{ofLength.dimension, "", "number"},
		{ofLength.dimension, "1.2.3ft", "number"},
		{ofLength.dimension, "1e999ft", "number"},
		{ofLength.dimension, "5,000ft", "is no length"},
		{ofLength.dimension, "NaN", "number"},
		{ofNumber.dimension, "3ft", "is no number"},
	} {
		_, err := tt.d.parse(tt.text, usUnits)
		if bad := (&quantityError{}); !errors.As(err, &bad) || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s %q: error %v, want one with %q", tt.d.name, tt.text, err, tt.says)
		}
	}
}

// TestQuantity_ReadsWhatItPrints: what prose says can be typed in again.
func TestQuantity_ReadsWhatItPrints(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SampledFrom(calcDimensions()).Draw(t, "dimension")
		u := unitSystem(rapid.Bool().Draw(t, "si"))
		shown := rapid.Float64Range(0.001, 9999).Draw(t, "value")
		want := d.scale(u).toSI(shown)
		text := strings.ReplaceAll(d.print(want, u), ",", "")
		got, err := d.parse(text, !u)
		if d == ofNumber.dimension {
			got, err = d.parse(text, u)
		}
		slack := math.Abs(d.scale(u).toSI(shown*1.001) - want)
		if err != nil || math.Abs(got-want) > slack {
			t.Fatalf("%s: %g printed as %q and read as %g, %v", d.name, want, text, got, err)
		}
	})
}

func TestDimensions_AreComplete(t *testing.T) {
	t.Parallel()
	for _, d := range calcDimensions() {
		if d.name == "" || d.key == "" && d != ofNumber.dimension && d != ofShare.dimension {
			t.Errorf("%+v has no name or no key", d)
		}
		for _, s := range append([]scale{d.us, d.si}, d.also...) {
			if v := s.from(s.toSI(12.5)); math.Abs(v-12.5) > 1e-9 {
				t.Errorf("%s: 12.5 %s came back as %g", d.name, s.symbol, v)
			}
		}
		for _, no := range d.not {
			if _, err := d.parse("1"+no, usUnits); err == nil {
				t.Errorf("%s takes %s", d.name, no)
			}
		}
	}
}

func FuzzQuantity(f *testing.F) {
	for _, seed := range []string{"15ft", "4.6 m", "1.2scfm", "-40F", "1e3", "1e", "1e+", "5e-3mg/L", "%", "3%", "", "−2 °C", "½in", "1/2in", "0x10", "inf", "1\xff", "9999999999999999999999"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		number, symbol := splitUnit(text)
		if strings.TrimLeft(number, "+-.0123456789eE") != "" {
			t.Fatalf("%q: number %q", text, number)
		}
		if symbol != strings.TrimSpace(symbol) {
			t.Fatalf("%q: unit %q", text, symbol)
		}
		for _, d := range calcDimensions() {
			for _, u := range []unitSystem{usUnits, siUnits} {
				v, err := d.parse(text, u)
				if bad := (&quantityError{}); err != nil && (!errors.As(err, &bad) || v != 0) {
					t.Fatalf("%s %q: %g with error %v", d.name, text, v, err)
				}
				if math.IsNaN(v) {
					t.Fatalf("%s %q: not a number", d.name, text)
				}
				if d.both(v, u) == "" && d != ofNumber.dimension {
					t.Fatalf("%s %q: prints as nothing", d.name, text)
				}
			}
		}
	})
}
