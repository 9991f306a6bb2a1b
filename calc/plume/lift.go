package plume

import (
	"math"

	"pondwright/calc/unit"
)

// Lift is how much water a column of bubbles brings up, with its doubt.
type Lift struct {
	// Promised is the flow to design on: the smaller of 0.8 × the closed form
	// and the integral from a point. Over the fluxes Kobus (1968) measured at
	// 400 to 2550 cm³/s of air, more than 1.2 m up, it never exceeds the
	// measured flow by more than a tenth.
	Promised unit.CubicMetersPerSecond
	// Upper is the closed form as published. It never lies below Promised.
	Upper unit.CubicMetersPerSecond
	// Low is 0.75 × Promised: the safe end for turnover.
	Low unit.CubicMetersPerSecond
	// Notes say where the answer leaves what has been measured.
	Notes []Note
}

// Note is a warning that comes with a result.
type Note uint8

// The notes, in the order in which they are listed.
const (
	AirBelowMeasured Note = iota + 1
	AirAboveMeasured
	ShallowerThanMeasured
	DeeperThanMeasured
	ModelsDisagree
	PeelsBelow
)

// String says the note in words.
func (n Note) String() string { return n.Text().String() }

// Text says the note in words.
func (n Note) Text() unit.Text {
	switch n {
	case AirBelowMeasured:
		return unit.Say("less air than the least measured (%s): the closed form is not physical here", unit.SCFM(0.3).Text())
	case AirAboveMeasured:
		return unit.Say("more air than the most measured (%s)", unit.SCFM(13).Text())
	case ShallowerThanMeasured:
		return unit.Say("shallower than %s: the origin below the orifice rules the result", unit.Meters(1.5).Text())
	case DeeperThanMeasured:
		return unit.Say("deeper than the tank measured in (about %s)", unit.Meters(4.5).Text())
	case ModelsDisagree:
		return "integral and closed form differ by more than half"
	case PeelsBelow:
		return "the plume lets go of its water below the level asked for: more air, or start before the pond layers"
	}
	return "unknown note"
}

// LiftAt reports the water that air from a diffuser brings to the surface at a
// site. Zero air lifts nothing. With a Profile the integral runs in stratified
// water, and counts what its first plume carries. Input out of range is a
// *unit.RangeError: air 0 to 0.05 std m³/s, submergence 0.1 to 30 m, pressure
// 50 to 110 kPa, water 0 to 40 °C.
func LiftAt(air unit.StdCubicMetersPerSecond, submergence unit.Meters, site Site) (Lift, error) {
	return LiftTo(air, submergence, submergence, site)
}

// LiftTo reports the water that passes a height above the diffuser on its way
// up, as LiftAt does for the surface. With height the distance from the
// diffuser to the base of the thermocline it is the lift of bottom water.
// height lies between 0 and submergence.
func LiftTo(air unit.StdCubicMetersPerSecond, submergence, height unit.Meters, site Site) (Lift, error) {
	c, err := newColumn(air, submergence, site)
	if err != nil {
		return Lift{}, err
	}
	if err := unit.CheckRange("height above the diffuser (m)", float64(height), 0, float64(submergence), "the water above the diffuser"); err != nil {
		return Lift{}, err
	}
	if air == 0 {
		return Lift{}, nil
	}
	trace := newIntegral(c, Coefficients{}.orDefault()).run(0)
	closed := c.closedForm(float64(height))
	integral := float64(trace.FlowAt(height))
	promised := math.Min(promisedShare*closed, integral)
	return Lift{
		Promised: unit.CubicMetersPerSecond(promised),
		Upper:    unit.CubicMetersPerSecond(closed),
		Low:      unit.CubicMetersPerSecond(lowShare * promised),
		Notes:    notes(air, submergence, closed, integral, trace, height),
	}, nil
}

func notes(air unit.StdCubicMetersPerSecond, submergence unit.Meters, closed, integral float64, t Trace, height unit.Meters) []Note {
	var out []Note
	add := func(when bool, n Note) {
		if when {
			out = append(out, n)
		}
	}
	peels := t.Peels() && t.Plumes[0].Top < height
	add(air.SCFM() < 0.3, AirBelowMeasured)
	add(air.SCFM() > 13, AirAboveMeasured)
	add(submergence < 1.5, ShallowerThanMeasured)
	add(submergence > 5, DeeperThanMeasured)
	add(!peels && (integral < 0.5*closed || integral > 1.5*closed), ModelsDisagree)
	add(peels, PeelsBelow)
	return out
}

// ClosedForm reports the flow of water at a height above a diffuser in water of
// one temperature by Kobus (1968) as used in Lorenzen & Fast (EPA-600/3-77-004,
// 1977),
//
//	Q = 2 sqrt(π g Ha) C (x + 0.8) sqrt(−V0 ln(1 − x/(h + Ha))/ub)
//	C = 2 V0 + 0.05,  ub = 25 V0 + 0.7
//
// in meters and seconds, V0 the air at the pressure of the surface and Ha that
// pressure as head of water: the printed 35.6 and 10.3 are this at sea level.
// Measured with 0.28 to 13 scfm in about 4.5 m of water; over the measured
// fluxes it reads 0.94 to 1.63 times too high, 1.2 in the mean.
func ClosedForm(air unit.StdCubicMetersPerSecond, submergence, height unit.Meters, site Site) (unit.CubicMetersPerSecond, error) {
	c, err := newColumn(air, submergence, site)
	if err != nil {
		return 0, err
	}
	if err := unit.CheckRange("height above the diffuser (m)", float64(height), 0, float64(submergence), "the water above the diffuser"); err != nil {
		return 0, err
	}
	return unit.CubicMetersPerSecond(c.closedForm(float64(height))), nil
}

func (c column) closedForm(xM float64) float64 {
	spread := kobusSpreadAir*c.v0M3S + kobusSpreadBase
	speed := kobusSpeedAir*c.v0M3S + kobusSpeedBase
	return 2 * math.Sqrt(math.Pi*unit.GravityMPS2*c.haM) * spread * (xM + kobusOriginM) *
		math.Sqrt(-c.v0M3S*math.Log1p(-xM/(c.hM+c.haM))/speed)
}
