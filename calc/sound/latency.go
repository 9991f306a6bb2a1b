package sound

import (
	"errors"
	"math"
	"slices"
	"time"

	"pondwright/calc/unit"
)

// Errors of a latency test.
var (
	// ErrFlatLine means that the bed along the line is too even to show a shift.
	ErrFlatLine = errors.New("sound: bed along the line too flat to show a delay")
	// ErrShortLine means that the two runs overlap too little to compare.
	ErrShortLine = errors.New("sound: the two runs of the line overlap too little")
)

const latencySource = "EM 1110-2-1003 latency test, from memory; limits of this package"

// Latency reports the delay of positions behind soundings from the shift seen
// along a line run both ways at two speeds: shift/(v1 + v2) (latency test of EM
// 1110-2-1003, from memory). A positive shift means that the run back shows the
// bed further along the first run's direction. It returns a *unit.RangeError
// for a speed outside 0.1 to 20 m/s or a shift outside ±1000 m.
func Latency(shift unit.Meters, v1, v2 unit.MetersPerSecond) (time.Duration, error) {
	for _, v := range []unit.MetersPerSecond{v1, v2} {
		if err := unit.CheckRange("boat speed (m/s)", float64(v), 0.1, 20, latencySource); err != nil {
			return 0, err
		}
	}
	if err := unit.CheckRange("shift along the line (m)", float64(shift), -1000, 1000, latencySource); err != nil {
		return 0, err
	}
	return time.Duration(math.Round(float64(shift) / float64(v1+v2) * 1e9)), nil
}

// LatencyBias reports the depth error that a delay leaves uncorrected at a boat
// speed over a bed slope (rise over run): delay × speed × slope.
func LatencyBias(delay time.Duration, v unit.MetersPerSecond, slope float64) unit.Meters {
	return unit.Meters(delay.Seconds() * float64(v) * slope)
}

// Along is one sounding on a line: how far along, and how deep.
type Along struct {
	Distance unit.Meters // from the line's start, in the same direction for both runs
	Depth    unit.Meters
}

// LatencyFit is the delay found from a line run both ways.
type LatencyFit struct {
	Delay  time.Duration // of positions behind soundings
	StdErr time.Duration // one standard error
	Shift  unit.Meters   // of the run back against the run out
	Before unit.Meters   // root mean square of depth differences, uncorrected
	After  unit.Meters   // the same with the shift taken out
}

// FitLatency finds the delay from a line run out at v1 and back at v2: the shift
// between the two depth profiles that leaves the least mean square of
// differences, sought over ± three seconds of the joint speed. Points may come
// in any order. It returns ErrShortLine where the runs share less than twice the
// span sought, ErrFlatLine where the bed gives no hold, and a *unit.RangeError
// for values out of range.
func FitLatency(out, back []Along, v1, v2 unit.MetersPerSecond) (LatencyFit, error) {
	if _, err := Latency(0, v1, v2); err != nil {
		return LatencyFit{}, err
	}
	a, err := newTrack(out)
	if err != nil {
		return LatencyFit{}, err
	}
	b, err := newTrack(back)
	if err != nil {
		return LatencyFit{}, err
	}
	span := latencySpanS * float64(v1+v2)
	lo, hi := max(a.start(), b.start()), min(a.end(), b.end())
	if !(hi-lo > 2*span) {
		return LatencyFit{}, ErrShortLine
	}
	// Compared where every shift sought stays within both runs.
	lo, hi = lo+span, hi-span
	shift := leastMisfit(a, b, lo, hi, span)
	before, _ := misfit(a, b, lo, hi, 0)
	after, hold := misfit(a, b, lo, hi, shift)
	// The hold is the mean square slope: on a flatter bed noise rules the shift.
	if hold < minHold*minHold {
		return LatencyFit{}, ErrFlatLine
	}
	delay, err := Latency(unit.Meters(shift), v1, v2)
	if err != nil {
		return LatencyFit{}, err
	}
	// Gauss-Newton: σ_shift = σ_difference/√(n·mean slope²), n soundings compared.
	n := float64(min(a.count(lo, hi), b.count(lo, hi)))
	seM := math.Sqrt(after / (max(n, 1) * hold))
	return LatencyFit{
		Delay:  delay,
		StdErr: time.Duration(min(seM/float64(v1+v2), 1e6) * 1e9),
		Shift:  unit.Meters(shift),
		Before: unit.Meters(math.Sqrt(before)),
		After:  unit.Meters(math.Sqrt(after)),
	}, nil
}

// misfitSteps is the number of places along the line at which runs are compared.
const misfitSteps = 400

// misfit reports the mean square of back(x + shift) − out(x) over lo to hi, and
// the mean square slope of the bed there.
func misfit(out, back track, lo, hi, shift float64) (ms, hold float64) {
	step := (hi - lo) / misfitSteps
	last := 0.0
	for i := 0; i <= misfitSteps; i++ {
		x := lo + float64(i)*step
		o := out.at(x)
		d := back.at(x+shift) - o
		ms += d * d / (misfitSteps + 1)
		if i > 0 {
			g := (o - last) / step
			hold += g * g / misfitSteps
		}
		last = o
	}
	return ms, hold
}

// leastMisfit seeks the shift within ±span: a sweep, then a golden section
// around the best step.
func leastMisfit(out, back track, lo, hi, span float64) float64 {
	const steps = 120
	step := 2 * span / steps
	at := func(s float64) float64 { ms, _ := misfit(out, back, lo, hi, s); return ms }
	best, least := 0.0, at(0)
	for i := 0; i <= steps; i++ {
		s := -span + float64(i)*step
		if ms := at(s); ms < least {
			best, least = s, ms
		}
	}
	const golden = 0.6180339887498949
	left, right := max(best-step, -span), min(best+step, span)
	for right-left > 1e-6*span {
		m1, m2 := right-golden*(right-left), left+golden*(right-left)
		if at(m1) <= at(m2) {
			right = m2
		} else {
			left = m1
		}
	}
	return (left + right) / 2
}

// track is a run of soundings sorted along the line, one per place.
type track struct{ xM, depthM []float64 }

func newTrack(points []Along) (track, error) {
	var t track
	for _, p := range points {
		if err := unit.CheckRange("distance along the line (m)", float64(p.Distance), -1e5, 1e5, latencySource); err != nil {
			return t, err
		}
		if err := unit.CheckRange("depth (m)", float64(p.Depth), 0, maxReadingM, depthSource); err != nil {
			return t, err
		}
	}
	sorted := slices.Clone(points)
	slices.SortStableFunc(sorted, func(a, b Along) int {
		switch {
		case a.Distance < b.Distance:
			return -1
		case a.Distance > b.Distance:
			return 1
		}
		return 0
	})
	for _, p := range sorted {
		x := float64(p.Distance)
		if n := len(t.xM); n > 0 && x-t.xM[n-1] < 1e-6 {
			continue
		}
		t.xM = append(t.xM, x)
		t.depthM = append(t.depthM, float64(p.Depth))
	}
	if len(t.xM) < 2 {
		return t, ErrShortLine
	}
	return t, nil
}

func (t track) start() float64 { return t.xM[0] }
func (t track) end() float64   { return t.xM[len(t.xM)-1] }

// at interpolates the depth at x, holding the ends.
func (t track) at(x float64) float64 {
	i, _ := slices.BinarySearch(t.xM, x)
	switch {
	case i == 0:
		return t.depthM[0]
	case i == len(t.xM):
		return t.depthM[i-1]
	}
	share := (x - t.xM[i-1]) / (t.xM[i] - t.xM[i-1])
	return t.depthM[i-1] + share*(t.depthM[i]-t.depthM[i-1])
}

// count reports the soundings between lo and hi.
func (t track) count(lo, hi float64) int {
	i, _ := slices.BinarySearch(t.xM, lo)
	j, _ := slices.BinarySearch(t.xM, hi)
	return j - i
}
