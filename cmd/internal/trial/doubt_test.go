package trial

import (
	"math"
	"math/rand/v2"
	"testing"

	"pondwright/geo/bed"
)

// The parts add up to the interval that the estimator prints. The factor in use
// is found from the interval itself and must be one and the same everywhere.
func TestDoubt_AddsUpToTheInterval(t *testing.T) {
	t.Parallel()
	var factors []float64
	for _, name := range []string{"wedge", "olinda 3"} {
		p := pondNamed(t, name)
		b, err := bed.Estimate(p.Shore, p.Sound(Survey{Lines: 10, Seed: 1}), bed.Options{SpacingM: math.Sqrt(p.AreaM2) / 40})
		if err != nil {
			t.Fatal(err)
		}
		d, v := newDoubt(b, p.VolumeM3), b.Volume()
		sd := math.Sqrt(math.Expm1(math.Pow(math.Log(float64(v.High/v.Low))/2/z95, 2))) * d.ValueM3
		factors = append(factors, math.Sqrt(sd*sd-d.FixedM3*d.FixedM3)/d.LeaveOneOutM3)
		if got, want := d.half(factors[len(factors)-1], z95), float64(v.High-v.Low)/2/p.VolumeM3; math.Abs(got/want-1) > 1e-9 {
			t.Errorf("%s: half-width %.5f, want %.5f", name, got, want)
		}
	}
	if math.Abs(factors[0]-factors[1]) > 1e-6 || !(factors[0] > 0 && factors[0] <= 1) {
		t.Errorf("the factor is %.7f on one pond and %.7f on another", factors[0], factors[1])
	}
}

// Doubts drawn so that the right factor is 0.5: the fit finds it, and intervals
// with it hold the truth as often as they say.
func TestFitFactor_FindsTheFactorDrawnWith(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 5))
	ponds := make([][]Doubt, 40)
	for k := range ponds {
		for range 100 {
			d := Doubt{ValueM3: 1000, FixedM3: 2, LeaveOneOutM3: 20 + 40*rng.Float64()}
			d.TruthM3 = d.ValueM3 * math.Exp(d.logSD(0.5)*rng.NormFloat64())
			ponds[k] = append(ponds[k], d)
		}
	}
	// 4,000 draws: the standard error of the 95 % quantile is about 1.7 %.
	if c := fitFactor(ponds); math.Abs(c-0.5) > 0.03 {
		t.Errorf("factor %.2f, want 0.50 within 0.03", c)
	}
	factor := leavePondOut(ponds)
	in95, in80 := coverage(ponds, factor)
	range95, range80 := bootstrap(ponds, factor, 1)
	if in95 < 0.94 || in95 > 0.965 || in80 < 0.785 || in80 > 0.825 {
		t.Errorf("intervals of 95 and 80 %% hold %.3f and %.3f", in95, in80)
	}
	if !(range95[0] < in95 && in95 < range95[1] && range80[0] < in80 && in80 < range80[1]) {
		t.Errorf("ranges %.3f and %.3f do not hold %.3f and %.3f", range95, range80, in95, in80)
	}
}
