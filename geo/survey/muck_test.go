package survey_test

import (
	"math"
	"testing"

	"pondwright/calc/unit"
	"pondwright/geo/survey"
)

// sounded2 pushes a rod to the firm bottom at every third place of the bowl: the
// muck is a fifth of the water's depth thick.
func sounded2(t *testing.T, thick float64) (survey.Input, int) {
	t.Helper()
	s := round(t, bowlM)
	in := survey.Input{Shore: s, Readings: lines(s, 8)}
	firm := 0
	for k := range in.Readings {
		if k%3 == 0 {
			r := &in.Readings[k]
			r.Firm, r.HasFirm = r.Depth*unit.Meters(1+thick), true
			firm++
		}
	}
	return in, firm
}

// A bowl holds half the cylinder about it (Archimedes), and so does muck that is
// everywhere a fifth as thick as the water is deep.
func TestMeasure_Sediment(t *testing.T) {
	t.Parallel()
	in, _ := sounded2(t, 0.2)
	r := measure(t, in)
	want := math.Pi * bowlM * bowlM * deepestM / 2 * 0.2
	if r.Sediment == nil {
		t.Fatalf("no sediment; warnings %v", r.Warnings)
	}
	if v := *r.Sediment; !(float64(v.Low) < want && want < float64(v.High)) || v.High > 2*v.Low {
		t.Errorf("sediment %+v, want %.0f m³ in a useful interval", v, want)
	}
	near(t, "water (m³)", float64(r.Volume.Value), want/0.2, 0.03*want/0.2)
}

// A shared error of the staff or the draft is in soft and firm alike.
func TestMeasure_SedimentIsFreeOfSharedErrors(t *testing.T) {
	t.Parallel()
	in, _ := sounded2(t, 0.2)
	plain := measure(t, in)
	in.Setups = map[string]survey.Setup{"": {Level: -0.15}}
	moved := measure(t, in)
	near(t, "sediment (m³)", float64(moved.Sediment.Value), float64(plain.Sediment.Value), 1e-6)
}

func TestMeasure_SedimentNeedsPlaces(t *testing.T) {
	t.Parallel()
	in, _ := sounded2(t, 0.2)
	for k := range in.Readings {
		in.Readings[k].HasFirm = k < 5
	}
	r := measure(t, in)
	if r.Sediment != nil || isSilent(r, survey.CodeMuck) {
		t.Errorf("five firm bottoms: sediment %v, warnings %v", r.Sediment, r.Warnings)
	}
	in, firm := sounded2(t, -0.2)
	r = measure(t, in)
	if r.Sediment != nil || isSilent(r, survey.CodeMuck) {
		t.Errorf("%d firm bottoms above the soft one: sediment %v, warnings %v", firm, r.Sediment, r.Warnings)
	}
	in, _ = sounded2(t, 0)
	if r = measure(t, in); r.Sediment == nil || r.Sediment.Value > r.Volume.Value/100 {
		t.Errorf("no muck anywhere: sediment %v", r.Sediment)
	}
}
