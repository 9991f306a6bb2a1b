package plan

import (
	"fmt"
	"math"

	"pondwright/calc/plume"
	"pondwright/calc/unit"
	"pondwright/calc/water"
	"pondwright/geo/survey"
)

// What a ballpark takes for granted: judgement, no source.
const (
	// ballparkAir is what one diffuser gets, within what a plan gives one.
	ballparkAir = 1.0 // scfm
	// ballparkDepth is where diffusers stand between the mean and the greatest
	// depth.
	ballparkDepth = 0.5
)

// System is what it takes to turn a volume over.
type System struct {
	Volume    unit.CubicMeters
	Diffusers int
	Air       unit.StdCubicMetersPerSecond // of all of them
	Lift      unit.CubicMetersPerSecond    // of all of them
}

// Ballpark is the system a guessed pond may need, with the ends of the doubt: the
// low volume at the upper end of the lift, the high volume at its low end. It is
// never for ordering.
type Ballpark struct {
	System, Low, High System
	Assumptions       []string
}

// GuessSystem returns the system that turns a guessed pond over so many times a day
// in so many hours of running; 0 means DefaultTurnovers and 24. It returns a
// *unit.RangeError for more than 10 turnovers or a day of other than 1 to 24 hours,
// for an altitude that water.AirPressure refuses, and for a pond too shallow or too
// deep for plume.LiftAt.
func GuessSystem(g survey.Guess, turnovers, hours float64, altitude unit.Meters) (Ballpark, error) {
	if turnovers == 0 {
		turnovers = DefaultTurnovers
	}
	if hours == 0 {
		hours = runHours
	}
	if err := unit.CheckRange("turnovers a day", turnovers, 0.01, 10, "this project's own limit"); err != nil {
		return Ballpark{}, fmt.Errorf("plan: %w", err)
	}
	if err := unit.CheckRange("hours of running a day", hours, 1, 24, "a day"); err != nil {
		return Ballpark{}, fmt.Errorf("plan: %w", err)
	}
	pressure, err := water.AirPressure(altitude)
	if err != nil {
		return Ballpark{}, fmt.Errorf("plan: %w", err)
	}
	depth := g.MeanDepth.Value + ballparkDepth*(g.Deepest-g.MeanDepth.Value) - DefaultEquipment().OffBottom
	lift, err := plume.LiftAt(unit.SCFM(ballparkAir), depth, plume.Site{Pressure: pressure, Temperature: unit.StandardTemperature})
	if err != nil {
		return Ballpark{}, fmt.Errorf("plan: %w", err)
	}
	system := func(v unit.CubicMeters, each unit.CubicMetersPerSecond) System {
		n := max(1, int(math.Ceil(float64(v)*turnovers/(hours*3600)/float64(each))))
		return System{
			Volume: v, Diffusers: n,
			Air:  unit.SCFM(ballparkAir * float64(n)),
			Lift: each * unit.CubicMetersPerSecond(n),
		}
	}
	return Ballpark{
		System: system(g.Volume.Value, lift.Promised),
		Low:    system(g.Volume.Low, lift.Upper),
		High:   system(g.Volume.High, lift.Low),
		Assumptions: []string{
			fmt.Sprintf("%g turnovers a day in %g hours of running", turnovers, hours),
			fmt.Sprintf("each diffuser gets %g scfm (%.1f L/min) and stands in %.1f m (%.1f ft) of water, halfway between the mean and the greatest depth (judgement, no source)",
				ballparkAir, float64(unit.SCFM(ballparkAir))*60000, float64(depth), depth.Feet()),
			fmt.Sprintf("water of 20 °C without layers, %.0f m (%.0f ft) above the sea", float64(altitude), altitude.Feet()),
			"no word on whether the water between the diffusers is reached, nor on hoses, valves and what the compressor loses",
		},
	}, nil
}
