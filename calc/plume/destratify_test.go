package plume

import (
	"errors"
	"math"
	"testing"

	"pondwright/calc/unit"
	"pondwright/calc/water"
)

// fivePond is 5 acres and 15 ft deep, A = A0 (1 − d/D)^0.875.
func fivePond(t testing.TB) water.Hypsograph {
	t.Helper()
	var ls []water.Level
	const rows = 500
	for i := range rows + 1 {
		f := float64(i) / rows
		ls = append(ls, water.Level{Depth: unit.Meters(4.572 * f), Area: unit.SquareMeters(20234.282 * math.Pow(1-f, 0.875))})
	}
	h, err := water.NewHypsograph(ls)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// fourDiffusers is the five-acre pond with 28 °C over 14 °C and four discs of
// 1 scfm.
func fourDiffusers(t testing.TB) Basin {
	t.Helper()
	return Basin{
		Curve:     fivePond(t),
		Site:      Site{Pressure: unit.StandardPressure, Profile: profile(t, 0, 28, 1.8, 28, 2.3, 14, 4.3, 14)},
		Diffusers: []Diffusers{{Count: 4, Air: unit.SCFM(1), Submergence: 4.272}},
		Model:     Model{DiscRadius: 0.115},
	}
}

func TestDestratify_FiveAcrePond(t *testing.T) {
	t.Parallel()
	calls := 0
	m, err := fourDiffusers(t).Destratify(0.8, unit.Hours(200), func(share float64) bool {
		calls++
		return share >= 0 && share <= 1
	})
	if err != nil || !m.Reached || calls == 0 {
		t.Fatalf("%+v, %v, %d calls", m, err, calls)
	}
	// A separate layer model with its own plume code: recomputed.
	near(t, "hours to lose 80 % of stability", m.Time.Hours(), 54.3, 5.4)
	near(t, "mean efficiency", m.Efficiency, 0.039, 0.0039)
}

func TestDestratify_Edges(t *testing.T) {
	t.Parallel()
	b := fourDiffusers(t)
	if _, err := b.Destratify(0.8, unit.Hours(200), func(float64) bool { return false }); !errors.Is(err, ErrCanceled) {
		t.Errorf("canceled: %v", err)
	}
	m, err := b.Destratify(0.8, unit.Hours(1), nil)
	if err != nil || m.Reached || m.Time != unit.Hours(1) {
		t.Errorf("one hour: %+v, %v", m, err)
	}
	b.Diffusers = nil
	if m, err = b.Destratify(0.8, unit.Hours(10), nil); err != nil || m.Reached || m.Removed != 0 {
		t.Errorf("no diffusers: %+v, %v", m, err)
	}
	b.Site.Profile = profile(t, 0, 20, 4.3, 20)
	if m, err = b.Destratify(0.8, unit.Hours(10), nil); err != nil || !m.Reached {
		t.Errorf("mixed pond: %+v, %v", m, err)
	}
	b.Site.Profile = water.Profile{}
	if _, err = b.Destratify(0.8, unit.Hours(10), nil); !errors.Is(err, ErrNoProfile) {
		t.Errorf("no profile: %v", err)
	}
}

func TestStack_ConservesHeat(t *testing.T) {
	t.Parallel()
	b := fourDiffusers(t)
	s := newStack(b.Curve, b.Site.Profile)
	heat := func() (sum float64) {
		for i, v := range s.volumes {
			sum += v * s.tempsC[i]
		}
		return sum
	}
	want := heat()
	for range 100 {
		if _, err := s.stir(b); err != nil {
			t.Fatal(err)
		}
		s.advance(s.longestStepS())
	}
	near(t, "heat", heat(), want, 1e-9*want)
}
