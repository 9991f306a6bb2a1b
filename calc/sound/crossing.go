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
	Enough   bool        // as many crossings as the settings ask
	Pass     bool        // enough, bias within its limit and 95 % of differences within theirs
}

// CheckCrossings compares check lines with main lines against an order of S-44.
// The bias limit, 0.06 m, is that of EM 1110-2-1003, 2002, table 3-1, for soft
// bottoms; the share of 95 % and the ten crossings are common practice, no
// source. It returns a *unit.RangeError for a depth outside 0 to 200 m.
func CheckCrossings(crossings []Crossing, order Order) (CrossingReport, error) {
	r := CrossingReport{Count: len(crossings), Enough: len(crossings) >= minCrossings}
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
	r.Pass = r.Enough && math.Abs(float64(r.Bias)) <= maxBiasM && r.Within >= 0.95
	return r, nil
}
