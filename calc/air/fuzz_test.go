package air

import (
	"math"
	"testing"

	"pondwright/calc/unit"
)

// FuzzParts throws any numbers at what FuzzHose and FuzzNetwork do not reach: no
// panic, and what is accepted is a number.
func FuzzParts(f *testing.F) {
	f.Add(0.0, 2e-3, 1e5, 1.8e-3, 200.0, 308.0, 101325.0, 0.7, 0.021)
	f.Add(1e5, 0.0, 1e5, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
	f.Add(-1e308, 1e308, 1e308, -1e308, 1e308, 1e308, 1e-308, 1e308, 1e308)
	f.Fuzz(func(t *testing.T, g0, q0, g1, q1, watts, kelvin, pascals, share, meters float64) {
		for _, v := range []float64{g0, q0, g1, q1, watts, kelvin, pascals, share, meters} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Skip()
			}
		}
		number := func(what string, v float64, err error) {
			if err == nil && math.IsNaN(v) {
				t.Fatalf("%s is not a number", what)
			}
		}
		finite := func(what string, v float64, err error) {
			if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Fatalf("%s is %v", what, v)
			}
		}
		site := Site{Pressure: unit.Pascals(pascals), Intake: unit.Kelvin(kelvin)}
		points := []CurvePoint{
			{unit.PascalsGauge(g0), unit.StdCubicMetersPerSecond(q0), unit.Watts(watts)},
			{unit.PascalsGauge(g1), unit.StdCubicMetersPerSecond(q1), unit.Watts(watts)},
		}
		if c, err := NewCurve(points, unit.Watts(watts)); err == nil {
			q, err := c.Air(unit.PascalsGauge((g0+g1)/2), site)
			finite("air", float64(q), err)
			if p, ok := c.Power(unit.PascalsGauge(g1), site); ok && site.check() == nil {
				finite("power", float64(p), nil)
			}
		}
		d := Diffuser{{unit.StdCubicMetersPerSecond(q0), unit.PascalsGauge(g0)}, {unit.StdCubicMetersPerSecond(q1), unit.PascalsGauge(g1)}}
		if d.check() == nil {
			finite("diffuser", float64(d.Loss(unit.StdCubicMetersPerSecond(share))), unit.CheckRange("", share, 0, 1, ""))
		}
		hot, err := DischargeTemperature(unit.Kelvin(kelvin), unit.Pascals(pascals), unit.Pascals(pascals+g1), share)
		finite("discharge", float64(hot), err)
		l, err := MetalLength(unit.KilogramsPerSecond(q0), unit.Kelvin(kelvin), unit.Kelvin(g0), unit.Kelvin(g1), Pipe{OutsideDiameter: unit.Meters(meters), LossWM2K: share})
		finite("metal", float64(l), err)
		k, err := Barb(unit.Meters(share), unit.Meters(meters))
		finite("barb", k, err)
		number("equivalent length", float64(EquivalentLength(k, share, unit.Meters(meters))), nil)
		number("most flow", float64(MaxFlow(unit.Watts(watts), unit.Pascals(pascals), unit.Pascals(g1), share)), nil)
		r := Reference{unit.Pascals(pascals), unit.Kelvin(kelvin)}
		number("density", float64(r.Density()), nil)
		number("actual flow", float64(unit.KilogramsPerSecond(q0).Actual(unit.Pascals(pascals), unit.Kelvin(kelvin))), nil)
	})
}
