package plume

import (
	"math"
	"testing"

	"pondwright/calc/unit"
)

// FuzzNumbers throws any numbers at what FuzzRise does not reach: no panic, and
// what is accepted is a number.
func FuzzNumbers(f *testing.F) {
	f.Add(4.7e-4, 4.3, 101325.0, 293.0, 0.05, 0.25, 100.0, 49339.0, 43200.0)
	f.Add(1e-9, 0.1, 50000.0, 273.15, 0.0, 0.01, 0.1, 0.0, 0.0)
	f.Add(1e308, -1e308, 1e308, 1e308, 1e308, 1e308, -1e308, 1e308, 1e308)
	f.Fuzz(func(t *testing.T, air, depth, pascals, kelvin, n, slip, length, volume, seconds float64) {
		site := Site{Pressure: unit.Pascals(pascals), Temperature: unit.Kelvin(kelvin)}
		q, h := unit.StdCubicMetersPerSecond(air), unit.Meters(depth)
		number := func(what string, err error, values ...float64) {
			for _, v := range values {
				if err == nil && math.IsNaN(v) {
					t.Fatalf("%s is not a number: %v", what, values)
				}
			}
		}
		k, err := NumbersOf(q, h, site, unit.PerSecond(n), unit.MetersPerSecond(slip))
		number("plume numbers", err, k.Stratification, k.Source, k.SourceTotalHead, k.Slip, float64(k.PeelHeight), float64(k.TrapHeight), k.Spread)
		v, err := SlipVelocity(unit.Meters(slip))
		number("slip", err, float64(v))
		c, err := CurtainOf(q, unit.Meters(length), h, site)
		number("curtain", err, float64(c.Surface), float64(c.Thickness))
		p, err := AirPower(q, h, site)
		number("air power", err, float64(p))
		closed, err := ClosedForm(q, h, unit.Meters(length), site)
		number("closed form", err, float64(closed))
		out, err := TurnoverOf(Pond{Volume: unit.CubicMeters(volume), Bottom: unit.CubicMeters(volume / 3), Stability: unit.Joules(length)},
			Station{Lift: unit.CubicMetersPerSecond(air), BottomLift: unit.CubicMetersPerSecond(slip), AirPower: unit.Watts(n), RunPerDay: unit.Seconds(seconds)})
		number("turnover", err, out.PerDay, float64(out.Nominal), float64(out.BottomWater), float64(out.Destratify))
	})
}
