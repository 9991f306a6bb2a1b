package air

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"pondwright/calc/unit"
)

// CurvePoint is one row of a compressor's table.
type CurvePoint struct {
	Gauge unit.PascalsGauge            // at the outlet, machine at sea level
	Air   unit.StdCubicMetersPerSecond // delivered
	Power unit.Watts                   // electrical input; zero if the table does not say
}

// ErrTooFewPoints says that a curve needs two points at least.
var ErrTooFewPoints = errors.New("a compressor curve needs at least two points")

// ImpossibleError says that a point of a curve delivers more air than its power
// can compress even without any loss.
type ImpossibleError struct {
	Point CurvePoint
	Power unit.Watts                   // the power it would have to do with
	Bound unit.StdCubicMetersPerSecond // P/(p1 ln r), the most that power can deliver
}

// Error names the point and the bound.
func (e *ImpossibleError) Error() string {
	return fmt.Sprintf("compressor curve: %.3g scfm at %.3g psi is more than %.3g W can compress: at most %.3g scfm (isothermal work, no losses)",
		e.Point.Air.SCFM(), e.Point.Gauge.PSIG(), float64(e.Power), e.Bound.SCFM())
}

// Curve is the flow of one machine against outlet pressure: a monotone cubic
// through its table (Fritsch & Carlson, SIAM J. Numer. Anal. 17, 1980, with
// weighted harmonic slopes). There is no extrapolation: below the first
// pressure the first flow holds, above the last nothing is known. Make one with
// NewCurve.
type Curve struct {
	gaugePa []float64
	flow    []float64 // std m³/s
	slope   []float64
	power   []float64 // nil if any point lacks it
	notes   []CurveNote
}

// CurveNote is a doubt about a curve's data.
type CurveNote uint8

// The notes of a curve.
const (
	OnlyTwoPoints  CurveNote = iota + 1 // a straight line: low confidence
	NearPowerBound                      // a point is above 0.6 of what its power could do adiabatically
	NoPower                             // nothing to check the flow against
)

// String says the note in words.
func (n CurveNote) String() string {
	switch n {
	case OnlyTwoPoints:
		return "the curve has two points only: a straight line, low confidence"
	case NearPowerBound:
		return "the curve claims more than 60 % of what its power could do without loss: check the table"
	case NoPower:
		return "no power is given, so the curve cannot be checked against it"
	}
	return "unknown note"
}

// NewCurve checks a table and makes its curve: pressure rising, flow not
// rising, and no point above the isothermal bound of its power. shaft is the
// power at the shaft; where it is zero the point's electrical power is used, and
// where that is zero too the check is left out and noted. It returns
// ErrTooFewPoints, a *unit.RangeError or an *ImpossibleError.
func NewCurve(points []CurvePoint, shaft unit.Watts) (Curve, error) {
	if len(points) < 2 {
		return Curve{}, ErrTooFewPoints
	}
	if err := unit.CheckRange("shaft power (W)", float64(shaft), 0, 1e6, "machines for ponds"); err != nil {
		return Curve{}, err
	}
	var c Curve
	lastP, lastQ := -1.0, math.Inf(1)
	hasPower := true
	for _, p := range points {
		if err := checkPoint(p, lastP, lastQ); err != nil {
			return Curve{}, err
		}
		note, err := checkPower(p, shaft)
		if err != nil {
			return Curve{}, err
		}
		c.note(note)
		lastP, lastQ = float64(p.Gauge), float64(p.Air)
		c.gaugePa = append(c.gaugePa, lastP)
		c.flow = append(c.flow, lastQ)
		c.power = append(c.power, float64(p.Power))
		hasPower = hasPower && p.Power > 0
	}
	if !hasPower {
		c.power = nil
	}
	if len(points) == 2 {
		c.note(OnlyTwoPoints)
	}
	c.slope = monotoneSlopes(c.gaugePa, c.flow)
	return c, nil
}

func checkPoint(p CurvePoint, lastP, lastQ float64) error {
	const src = "pressure rises along a compressor curve and flow does not"
	if err := unit.CheckRange("curve pressure (Pa gauge)", float64(p.Gauge), lastP+1, 2e6, src); err != nil {
		return err
	}
	if err := unit.CheckRange("curve flow (std m³/s)", float64(p.Air), 0, math.Min(lastQ, 10), src); err != nil {
		return err
	}
	return unit.CheckRange("curve power (W)", float64(p.Power), 0, 1e6, "machines for ponds")
}

func checkPower(p CurvePoint, shaft unit.Watts) (CurveNote, error) {
	power := shaft
	if power == 0 {
		power = p.Power
	}
	if power == 0 {
		return NoPower, nil
	}
	if p.Gauge <= 0 {
		return 0, nil
	}
	outlet := p.Gauge.Absolute(unit.StandardPressure)
	bound := MaxFlow(power, unit.StandardPressure, outlet, 1)
	if float64(p.Air) > float64(bound) {
		return 0, &ImpossibleError{Point: p, Power: power, Bound: unit.StdCubicMetersPerSecond(bound)}
	}
	adiabatic := AdiabaticPower(unit.StandardPressure, outlet, unit.CubicMetersPerSecond(p.Air))
	if float64(adiabatic) > nearBoundShare*float64(power) {
		return NearPowerBound, nil
	}
	return 0, nil
}

func (c *Curve) note(n CurveNote) {
	if slices.Contains(c.notes, n) {
		return
	}
	if n != 0 {
		c.notes = append(c.notes, n)
	}
}

// Notes reports the doubts about the curve's data.
func (c Curve) Notes() []CurveNote { return append([]CurveNote(nil), c.notes...) }

// IsZero reports whether c was not made by NewCurve.
func (c Curve) IsZero() bool { return len(c.gaugePa) == 0 }

// Rated reports the highest pressure of the table at a site: the same pressure
// ratio as at sea level.
func (c Curve) Rated(site Site) unit.PascalsGauge {
	if c.IsZero() {
		return 0
	}
	return unit.PascalsGauge(c.gaugePa[len(c.gaugePa)-1] * altitudeRatio(site))
}

func altitudeRatio(site Site) float64 {
	return float64(site.Pressure) / float64(unit.StandardPressure)
}

// Air reports what one machine delivers at an outlet pressure at a site. The
// table is taken as volume at the machine's own intake for the same ratio of
// pressures; at altitude the gauge pressure for a ratio and the mass in a volume
// both fall. Above Rated it returns an *AboveRatingError.
func (c Curve) Air(outlet unit.PascalsGauge, site Site) (unit.StdCubicMetersPerSecond, error) {
	if err := site.check(); err != nil {
		return 0, err
	}
	if c.IsZero() {
		return 0, ErrTooFewPoints
	}
	if rated := c.Rated(site); !(outlet <= rated) {
		return 0, &AboveRatingError{Rated: rated, Needed: outlet}
	}
	return unit.StdCubicMetersPerSecond(c.airM3S(float64(outlet), site)), nil
}

// airM3S is Air without checks.
func (c Curve) airM3S(outletPa float64, site Site) float64 {
	ratio := altitudeRatio(site)
	return cubic(c.gaugePa, c.flow, c.slope, outletPa/ratio) * ratio * float64(unit.StandardTemperature) / site.intakeK()
}

// Power reports the electrical input of one machine at an outlet pressure at a
// site, and whether the table has it. At one ratio of pressures power goes with
// intake pressure. Outside the table it holds the end values.
func (c Curve) Power(outlet unit.PascalsGauge, site Site) (p unit.Watts, ok bool) {
	if c.power == nil {
		return 0, false
	}
	ratio := altitudeRatio(site)
	x := float64(outlet) / ratio
	n := len(c.gaugePa)
	if !(x > c.gaugePa[0]) {
		return unit.Watts(c.power[0] * ratio), true
	}
	for i := 1; i < n; i++ {
		if x <= c.gaugePa[i] {
			f := (x - c.gaugePa[i-1]) / (c.gaugePa[i] - c.gaugePa[i-1])
			return unit.Watts((c.power[i-1] + f*(c.power[i]-c.power[i-1])) * ratio), true
		}
	}
	return unit.Watts(c.power[n-1] * ratio), true
}

// monotoneSlopes are the slopes at the points that keep a cubic through them
// monotone: weighted harmonic means inside, shape-preserving three-point ends.
func monotoneSlopes(x, y []float64) []float64 {
	n := len(x)
	d := make([]float64, n)
	if n == 2 {
		d[0] = (y[1] - y[0]) / (x[1] - x[0])
		d[1] = d[0]
		return d
	}
	h := make([]float64, n-1)
	s := make([]float64, n-1)
	for i := range h {
		h[i] = x[i+1] - x[i]
		s[i] = (y[i+1] - y[i]) / h[i]
	}
	for i := 1; i < n-1; i++ {
		if s[i-1]*s[i] <= 0 {
			continue
		}
		w1, w2 := 2*h[i]+h[i-1], h[i]+2*h[i-1]
		d[i] = (w1 + w2) / (w1/s[i-1] + w2/s[i])
	}
	d[0] = endSlope(h[0], h[1], s[0], s[1])
	d[n-1] = endSlope(h[n-2], h[n-3], s[n-2], s[n-3])
	return d
}

func endSlope(h0, h1, s0, s1 float64) float64 {
	d := ((2*h0+h1)*s0 - h0*s1) / (h0 + h1)
	if d*s0 <= 0 {
		return 0
	}
	if s0*s1 <= 0 && math.Abs(d) > 3*math.Abs(s0) {
		return 3 * s0
	}
	return d
}

// cubic reads the curve at v; below the first point and above the last it holds
// the end value.
func cubic(x, y, d []float64, v float64) float64 {
	n := len(x)
	if !(v > x[0]) {
		return y[0]
	}
	if v >= x[n-1] {
		return y[n-1]
	}
	i := 1
	for v > x[i] {
		i++
	}
	h := x[i] - x[i-1]
	t := (v - x[i-1]) / h
	return (1+2*t)*(1-t)*(1-t)*y[i-1] + t*(1-t)*(1-t)*h*d[i-1] + t*t*(3-2*t)*y[i] - t*t*(1-t)*h*d[i]
}
