package plan

import (
	"errors"
	"fmt"
	"math"
	"time"

	"pondwright/calc/plume"
	"pondwright/calc/unit"
	"pondwright/calc/water"
)

// What tells a pond that has rolled over: judgement, no source.
const (
	mixedWithin   unit.KelvinDelta        = 1 // between top and bottom
	aliveAtBottom unit.MilligramsPerLiter = 3
	// lateFactor is how far running may exceed the prediction before something is
	// wrong: the plume models agree with measured fluxes to about this.
	lateFactor = 1.5
	// goneShare of the stability is what the prediction is made for.
	goneShare = 0.8
)

// Rolled is how far a pond has rolled over.
type Rolled string

// The states.
const (
	RolledOver  Rolled = "ROLLED_OVER"
	RolledWarm  Rolled = "WARM_BUT_DEAD" // one temperature, and little oxygen at the bottom
	RolledPart  Rolled = "PARTLY"
	StillLayers Rolled = "STILL_LAYERED"
)

// RolloverInput is a pond before the air and later.
type RolloverInput struct {
	Before, After     water.Profile
	Taken, TakenAfter time.Time
	Curve             water.Hypsograph
	Jets              []Jet
	Air               unit.Pascals
	Ran               time.Duration // between the profiles; zero: not known
}

// Rollover is what a later profile says beside the prediction.
type Rollover struct {
	State      Rolled
	Difference unit.KelvinDelta        // top less bottom, now
	Was        unit.KelvinDelta        // before
	Bottom     unit.MilligramsPerLiter // oxygen there; NaN where not measured
	Left       float64                 // of the stability there was before, 0 to 1 and more
	// Predicted is the running after which four fifths of the stability should be
	// gone, without wind or sun; zero where there was none to remove.
	Predicted unit.Seconds
	Late      bool // it has run half as long again and the layers are still there
	Change    []string
}

// CompareRollover holds a later profile against what the air was to do. It returns
// plume.ErrNoProfile without both profiles, or a *unit.RangeError.
func CompareRollover(in RolloverInput) (Rollover, error) {
	if in.Before.IsZero() || in.After.IsZero() {
		return Rollover{}, plume.ErrNoProfile
	}
	r := Rollover{Difference: spread(in.After), Was: spread(in.Before), Bottom: unit.MilligramsPerLiter(math.NaN())}
	if c, ok := in.After.Oxygen(in.After.Deepest()); ok {
		r.Bottom = c
	}
	was, is := float64(water.Stability(in.Before, in.Curve)), float64(water.Stability(in.After, in.Curve))
	if was > 0 {
		r.Left = max(0, is/was)
	}
	if err := r.predict(in, was); err != nil {
		return Rollover{}, err
	}
	switch {
	case math.Abs(float64(r.Difference)) <= float64(mixedWithin) && !(r.Bottom < aliveAtBottom):
		r.State = RolledOver
	case math.Abs(float64(r.Difference)) <= float64(mixedWithin):
		r.State = RolledWarm
	case r.Left <= 1-goneShare/2:
		r.State = RolledPart
	default:
		r.State = StillLayers
	}
	r.Late = r.Predicted > 0 && in.Ran.Seconds() > lateFactor*float64(r.Predicted) && (r.State == StillLayers || r.State == RolledPart)
	r.Change = r.change(in)
	return r, nil
}

func spread(p water.Profile) unit.KelvinDelta {
	return unit.KelvinDelta(p.Temperature(0) - p.Temperature(p.Deepest()))
}

// longestForecast bounds the prediction.
const longestForecast unit.Seconds = 60 * 86400

// predict runs the diffusers against the layers that there were.
func (r *Rollover) predict(in RolloverInput, was float64) error {
	if !(was > 0) || len(in.Jets) == 0 {
		return nil
	}
	basin := plume.Basin{Curve: in.Curve, Site: plume.Site{Pressure: in.Air, Profile: in.Before}}
	for _, j := range in.Jets {
		if j.Air > 0 {
			basin.Diffusers = append(basin.Diffusers, plume.Diffusers{Count: 1, Air: min(j.Air, unit.SCFM(creditedAir)), Submergence: j.Submergence})
		}
	}
	if len(basin.Diffusers) == 0 {
		return nil
	}
	mixing, err := basin.Destratify(goneShare, longestForecast, nil)
	if errors.Is(err, plume.ErrNoProfile) {
		return nil
	}
	if err == nil && mixing.Reached {
		r.Predicted = mixing.Time
	}
	return err
}

// change says what to change.
func (r *Rollover) change(in RolloverInput) []string {
	var out []string
	switch {
	case r.State == RolledOver:
		out = append(out, "Nothing: keep it running, and take the next profile in a month.")
	case r.State == RolledWarm:
		out = append(out, fmt.Sprintf("The water is of one temperature but the bottom holds %.1f mg/L: the pond takes more oxygen than its surface gives. Shorten the runs, ask where the load comes from, and measure each dawn.", float64(r.Bottom)))
	case in.Ran == 0:
		out = append(out, "Nobody wrote down how long it ran: read an hour meter, or note each day's run.")
	case !r.Late:
		out = append(out, "It has not run long enough to tell: go on, and measure again.")
	default:
		out = append(out, "It has run half as long again as predicted. Look first at the gauges and boils: air that does not arrive lifts nothing.",
			"Then at the depths as built: a diffuser above the thermocline leaves the bottom alone.",
			"Then at the run hours: sun warms the top again in every pause.",
			"If all that is as planned, plan again with this profile: more air, or more diffusers.")
	}
	return out
}
