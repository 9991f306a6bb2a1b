package plume

import (
	"math"

	"pondwright/calc/unit"
)

// AirPower reports the power that rising air hands to the water, expanding from
// the diffuser to the surface at one temperature,
//
//	P = p V0 ln(1 + H/Ha)
//
// with V0 the volume of the air at the surface. It is not what a compressor
// draws.
func AirPower(air unit.StdCubicMetersPerSecond, submergence unit.Meters, site Site) (unit.Watts, error) {
	c, err := newColumn(air, submergence, site)
	if err != nil {
		return 0, err
	}
	return unit.Watts(float64(site.Pressure) * c.v0M3S * math.Log1p(c.hM/c.haM)), nil
}

// AreaRule reports the air that case reviews of lakes ask for by surface area,
// 9.2 m³/min per km² or 1.31 scfm per acre (Lorenzen & Fast, EPA-600/3-77-004,
// 1977, by a second hand). It is a comparison, not a design: what the same air
// moves depends on depth and on how many plumes share it.
func AreaRule(area unit.SquareMeters) unit.StdCubicMetersPerSecond {
	return unit.StdCubicMetersPerSecond(9.2 / 60 / 1e6 * float64(area))
}

// Pond is what the three turnover numbers are counted against. Use the high end
// of the volume.
type Pond struct {
	Volume    unit.CubicMeters // that can be turned over: without the water below the diffusers
	Bottom    unit.CubicMeters // below the base of the thermocline; zero when mixed
	Stability unit.Joules      // work to mix once, water.MixingEnergy; zero when mixed
}

// Station is all diffusers of a pond running together.
type Station struct {
	Lift       unit.CubicMetersPerSecond // sum at the surface
	BottomLift unit.CubicMetersPerSecond // sum at the base of the thermocline, see LiftTo
	AirPower   unit.Watts                // sum
	RunPerDay  unit.Seconds              // actual run time a day, up to 24 h
}

// Turnover is three different things that go by that name. Times are running
// time; Never where nothing runs.
type Turnover struct {
	Nominal     unit.Seconds // volume ÷ surface lift: some of it is drawn from upper water
	BottomWater unit.Seconds // bottom volume ÷ lift at the thermocline; zero when mixed
	Destratify  unit.Seconds // stability ÷ (4 % of air power), to remove four fifths of it; zero when mixed
	PerDay      float64      // nominal turnovers in a day's actual run time
}

// TurnoverOf reports the turnover numbers of a station in a pond: run it with
// the promised and the low lift for the value and its low end. Negative input
// or a day of more than 24 h is a *unit.RangeError.
func TurnoverOf(p Pond, s Station) (Turnover, error) {
	const src = "quantities of water, air and time"
	for _, c := range []struct {
		name        string
		got, lo, hi float64
	}{
		{"pond volume (m³)", float64(p.Volume), 0, 1e12},
		{"bottom volume (m³)", float64(p.Bottom), 0, 1e12},
		{"stability (J)", float64(p.Stability), 0, 1e15},
		{"lift (m³/s)", float64(s.Lift), 0, 1e6},
		{"bottom lift (m³/s)", float64(s.BottomLift), 0, 1e6},
		{"air power (W)", float64(s.AirPower), 0, 1e9},
		{"run time a day (s)", float64(s.RunPerDay), 0, 86400},
	} {
		if err := unit.CheckRange(c.name, c.got, c.lo, c.hi, src); err != nil {
			return Turnover{}, err
		}
	}
	t := Turnover{
		Nominal:     span(float64(p.Volume), float64(s.Lift)),
		BottomWater: span(float64(p.Bottom), float64(s.BottomLift)),
		Destratify:  span(float64(p.Stability), efficiency*float64(s.AirPower)),
	}
	if p.Volume > 0 {
		t.PerDay = float64(s.Lift) * float64(s.RunPerDay) / float64(p.Volume)
	}
	return t, nil
}

// span is how long a rate needs for an amount.
func span(amount, rate float64) unit.Seconds {
	if amount == 0 {
		return 0
	}
	if rate == 0 {
		return unit.Never()
	}
	return unit.Seconds(amount / rate)
}

// MinimumAir reports the least air with which the plume of one diffuser comes
// to the surface without peeling on the way, to a thousandth, searched up to
// most. It reports most and false where that still peels, and zero where the
// site has no Profile. A disc start peels lower than a point: give the diffuser's
// radius in m for the safe answer.
func MinimumAir(submergence unit.Meters, site Site, m Model, most unit.StdCubicMetersPerSecond) (air unit.StdCubicMetersPerSecond, ok bool, err error) {
	trace, err := Rise(most, submergence, site, m)
	if err != nil {
		return 0, false, err
	}
	if site.Profile.IsZero() {
		return 0, true, nil
	}
	if trace.Peels() || most == 0 {
		return most, false, nil
	}
	lo, hi := 0.0, float64(most) // lo peels, hi does not
	for hi-lo > 1e-3*hi && hi > 1e-9 {
		mid := (lo + hi) / 2
		trace, err := Rise(unit.StdCubicMetersPerSecond(mid), submergence, site, m)
		if err != nil {
			return 0, false, err
		}
		if trace.Peels() {
			lo = mid
		} else {
			hi = mid
		}
	}
	return unit.StdCubicMetersPerSecond(hi), true, nil
}
