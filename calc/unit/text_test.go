package unit_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"pondwright/calc/unit"
)

// Factors: NIST Special Publication 811, 2008, appendix B.
func TestText(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		text   unit.Text
		us, si string
	}{
		{unit.Say("%s deep, %s away", unit.Feet(10).Text(), unit.Feet(100).Distance()), "10.0 ft deep, 100 ft away", "3.0 m deep, 30 m away"},
		{unit.Say("hose of %s", unit.Inches(0.5).Bore()), "hose of 0.50 in", "hose of 12.7 mm"},
		{unit.Say("%s at %s", unit.SCFM(2).Text(), unit.PSIG(10).Text()), "2.00 scfm at 10.0 psi", "56.6 L/min at 68.9 kPa"},
		{unit.Say("short by %s, %s", unit.PoundsForce(1000).Text(), unit.PoundFeet(100).Text()), "short by 1,000 lbf, 100 lbf·ft", "short by 4448 N, 135.6 N·m"},
		{unit.Say("%s of steel, %s of soil", unit.PascalsGauge(240e6).Stress(), unit.PSF(1500).Stress()), "34,809 psi of steel, 1,500 psf of soil", "240 MPa of steel, 71.82 kPa of soil"},
		{unit.Say("%s, %s", unit.Fahrenheit(50).Text(), unit.Celsius(21.5).Exactly()), "50 °F, 70.7 °F", "10 °C, 21.5 °C"},
		{unit.Say("%s; %s; %s; %s", unit.MPH(115).Text(), unit.Pounds(22).Text(), unit.Feet(5280*93).Far(), unit.AcreFeet(2).Text()), "115 mph; 22.0 lb; 93 mi; 2.00 acre-ft", "51.4 m/s; 10.0 kg; 150 km; 2,467 m³"},
		{unit.Say("so: %s.", unit.Say("%d of %s", 3, unit.Meters(1).Text())), "so: 3 of 3.3 ft.", "so: 3 of 1.0 m."},
		{"a {name} and {length x} and {hue 3}", "a {name} and {length x} and {hue 3}", "a {name} and {length x} and {hue 3}"},
	} {
		if got := tt.text.In(unit.US); got != tt.us {
			t.Errorf("%s: %q, want %q", string(tt.text), got, tt.us)
		}
		if got := fmt.Sprint(tt.text); got != tt.si {
			t.Errorf("%s: %q, want %q", string(tt.text), got, tt.si)
		}
	}
}

// A mark keeps the whole value, however large or small.
func TestText_KeepsTheValue(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m := unit.Meters(rapid.Float64().Draw(t, "m"))
		for _, u := range []unit.System{unit.US, unit.SI} {
			if got, want := m.Text().In(u), u.Length(m); got != want {
				t.Fatalf("%q, want %q", got, want)
			}
			if got := unit.Words(u, "", "as it is"); got != "as it is" {
				t.Fatalf("without a Text: %q", got)
			}
		}
	})
}
