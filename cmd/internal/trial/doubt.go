package trial

import (
	"math"
	"slices"

	"pondwright/geo/bed"
)

// Doubt is what an estimate says of its volume's error, in parts, and the truth.
// Its standard deviation is fixed² + (factor × leave-one-out)², rooted; the
// interval is log-normal.
type Doubt struct {
	ValueM3, TruthM3 float64
	FixedM3          float64 // all that the factor does not touch
	LeaveOneOutM3    float64
}

// volumeFloor is the estimator's least doubt, as a share of the volume.
const volumeFloor = 0.003

func newDoubt(b *bed.Bed, truthM3 float64) Doubt {
	d := b.Diagnostics()
	v := float64(b.Volume().Value)
	return Doubt{
		ValueM3: v, TruthM3: truthM3, LeaveOneOutM3: d.LeaveOneOutM3,
		FixedM3: math.Hypot(math.Hypot(d.PosteriorSDM3, d.WanderSDM3), math.Hypot(d.RimSDM3, volumeFloor*v)),
	}
}

// logSD returns the standard deviation of the log of the volume.
func (d *Doubt) logSD(factor float64) float64 {
	sd := math.Hypot(d.FixedM3, factor*d.LeaveOneOutM3) / d.ValueM3
	return math.Sqrt(math.Log1p(sd * sd))
}

// off returns how many standard deviations the truth lies away.
func (d *Doubt) off(factor float64) float64 {
	return math.Abs(math.Log(d.TruthM3/d.ValueM3)) / d.logSD(factor)
}

// half returns the half-width of the interval of z standard deviations as a
// share of the true volume.
func (d *Doubt) half(factor, z float64) float64 {
	return d.ValueM3 / d.TruthM3 * math.Sinh(z*d.logSD(factor))
}

// Quantiles of the normal distribution for intervals of 95 and 80 %.
const (
	z95 = 1.959963984540054
	z80 = 1.2815515655446004
)

// coverage returns the shares of the doubts, pond by pond, whose 95 and 80 %
// intervals hold the truth, the factor given for each pond.
func coverage(ponds [][]Doubt, factor []float64) (in95, in80 float64) {
	n := 0.0
	for k, doubts := range ponds {
		for i := range doubts {
			z := doubts[i].off(factor[k])
			if z <= z95 {
				in95++
			}
			if z <= z80 {
				in80++
			}
			n++
		}
	}
	return in95 / n, in80 / n
}

// fitFactor returns the least factor, in hundredths up to 2, with which both
// intervals hold the truth as often as they say.
func fitFactor(ponds [][]Doubt) float64 {
	factor := make([]float64, len(ponds))
	for c := range 201 {
		for k := range factor {
			factor[k] = float64(c) / 100
		}
		if in95, in80 := coverage(ponds, factor); in95 >= 0.95 && in80 >= 0.80 {
			break
		}
	}
	return factor[0]
}

// leavePondOut returns for each pond the factor fitted on all others.
func leavePondOut(ponds [][]Doubt) []float64 {
	out := make([]float64, len(ponds))
	for k := range ponds {
		out[k] = fitFactor(slices.Concat(ponds[:k], ponds[k+1:]))
	}
	return out
}

// bootstrap draws whole ponds with replacement and returns the range that holds
// 95 of 100 coverages, for both intervals.
func bootstrap(ponds [][]Doubt, factor []float64, seed uint64) (range95, range80 [2]float64) {
	rng := draw(seed, 7)
	const times = 2000
	var all95, all80 []float64
	for range times {
		var drawn [][]Doubt
		var with []float64
		for range ponds {
			k := rng.IntN(len(ponds))
			drawn, with = append(drawn, ponds[k]), append(with, factor[k])
		}
		in95, in80 := coverage(drawn, with)
		all95, all80 = append(all95, in95), append(all80, in80)
	}
	slices.Sort(all95)
	slices.Sort(all80)
	at := func(v []float64) [2]float64 { return [2]float64{v[times/40], v[times-1-times/40]} }
	return at(all95), at(all80)
}
