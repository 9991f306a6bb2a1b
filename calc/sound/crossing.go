package sound

import (
	"math"

	"pondwright/calc/unit"
)

// Crossing is a place where a check line crosses a main line, with the depth
// that each found, both at the same water level.
type Crossing struct {
	Main, Check unit.Meters
}

// CrossingReport says how well check lines agree with main lines.
type CrossingReport struct {
	Count    int
	Bias     unit.Meters // mean of check less main
	Spread95 unit.Meters // 1.96 standard deviations of one sounding: of the difference, over √2
	Within   float64     // share of differences within √2 times the order's vertical limit
	Enough   bool        // as many crossings as the rules ask
	Pass     bool        // enough, bias within its limit and the share of differences within theirs
}

// CrossingRules say when check lines pass. A zero field takes its default from
// Settings.
type CrossingRules struct {
	Fewest  int         // crossings
	MaxBias unit.Meters // mean difference either way, 0.001 to 1 m
	Share   float64     // of differences within √2 times the order's limit, 0.5 to 1
}

func (r CrossingRules) filled() CrossingRules {
	if r.Fewest == 0 {
		r.Fewest = minCrossings
	}
	if r.MaxBias == 0 {
		r.MaxBias = maxBiasM
	}
	if r.Share == 0 {
		r.Share = minShare
	}
	return r
}

func (r CrossingRules) check() error {
	for _, in := range []struct {
		name        string
		got, lo, hi float64
	}{
		{"fewest crossings", float64(r.Fewest), 1, 1e6},
		{"greatest mean difference at crossings (m)", float64(r.MaxBias), 0.001, 1},
		{"share of differences within their limit", r.Share, 0.5, 1},
	} {
		if err := unit.CheckRange(in.name, in.got, in.lo, in.hi, depthSource); err != nil {
			return err
		}
	}
	return nil
}

// CheckCrossings compares check lines with main lines against an order of S-44.
// It returns a *unit.RangeError for a depth outside 0 to 200 m or a rule out of
// range.
func CheckCrossings(crossings []Crossing, order Order, rules CrossingRules) (CrossingReport, error) {
	rules = rules.filled()
	if err := rules.check(); err != nil {
		return CrossingReport{}, err
	}
	r := CrossingReport{Count: len(crossings), Enough: len(crossings) >= rules.Fewest}
	if r.Count == 0 {
		return r, nil
	}
	n := float64(r.Count)
	within := 0
	for _, c := range crossings {
		for _, d := range []unit.Meters{c.Main, c.Check} {
			if err := unit.CheckRange("depth (m)", float64(d), 0, maxReadingM, depthSource); err != nil {
				return CrossingReport{}, err
			}
		}
		limit, err := order.MaxVertical((c.Main + c.Check) / 2)
		if err != nil {
			return CrossingReport{}, err
		}
		if math.Abs(float64(c.Check-c.Main)) <= math.Sqrt2*float64(limit) {
			within++
		}
		r.Bias += (c.Check - c.Main) / unit.Meters(n)
	}
	var ss float64
	for _, c := range crossings {
		d := float64(c.Check - c.Main - r.Bias)
		ss += d * d
	}
	r.Spread95 = unit.Meters(1.96 / math.Sqrt2 * math.Sqrt(ss/max(n-1, 1)))
	r.Within = float64(within) / n
	r.Pass = r.Enough && math.Abs(float64(r.Bias)) <= float64(rules.MaxBias) && r.Within >= rules.Share
	return r, nil
}
