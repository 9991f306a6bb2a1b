package plan

import (
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/calc/plume"
	"pondwright/calc/unit"
	"pondwright/calc/water"
)

// Settings of a start: judgement, no source, unless the comment names one.
const (
	// oxygenError of a probe in the field, taken off every reading.
	oxygenError unit.MilligramsPerLiter = 0.2
	// StopBelow and AbortBelow are oxygen of the upper water in a run: under the one
	// the day's run ends, under the other the start (Texas A&M AquaPlant: below
	// 3 mg/L stresses most warm-water fish).
	StopBelow  unit.MilligramsPerLiter = 4
	AbortBelow unit.MilligramsPerLiter = 3
	// mostStartDays bounds a schedule.
	mostStartDays = 40
	// offDeepest is how much shallower than the pond's deepest water the place of a
	// profile may be.
	offDeepest unit.Meters = 0.5
	// stepHold is how long diffusers hang at one depth before they are lowered.
	stepHold = 3 * 24 * time.Hour
	// stepGrain is the depth by which steps are sought.
	stepGrain = 0.1 // m
)

// Fish is what lives in the pond, as far as a start cares.
type Fish struct {
	ColdWater bool
	Limit     unit.Kelvin // that cold-water fish bear; 0: nobody said
}

// StartInput is everything that a start is decided on.
type StartInput struct {
	Now   time.Time // of the decision
	First time.Time // day of the first run, any hour; days are counted from it
	Where s2.LatLng // of the pond, for the sun

	// Curve is the pond at the level of the profile's day; Low and High are the ends
	// of its volume over the value, 1 where there is no doubt.
	Curve     water.Hypsograph
	Low, High float64
	Deepest   unit.Meters // water at the deepest place, on that day

	Profile water.Profile // the zero Profile: nobody measured
	Seen    Sighting
	Jets    []Jet
	Disc    unit.Meters // radius of a diffuser
	Air     unit.Pascals
	Fish    Fish

	// Undecided names facts that can hurt someone and on which people contradict
	// each other.
	Undecided []string
	// Stops says that a timer ends each run by itself; Person is who else does.
	Stops  bool
	Person string
	// Direct says that panels drive the machines without a battery, so that they
	// start again by themselves; Lockout that something a person must reset keeps
	// them from it.
	Direct, Lockout bool
	RunHours        float64     // a day that the power gives, above 0 to 24; 0 means 24
	Warmest         unit.Kelvin // surface for a new start; 0 means 28 °C
}

// Sighting is how a profile was taken.
type Sighting struct {
	Taken      time.Time
	Dawn       bool        // in the word of who took it
	Bottom     unit.Meters // depth to the bottom there; 0: not sounded
	SmellAsked bool
	RottenEggs bool
	// Demand of bottom water as a bottle showed it; nil takes water.ImmediateDemand.
	Demand *unit.MilligramsPerLiter
}

// Jet is a diffuser as a start sees it.
type Jet struct {
	Label       string
	Submergence unit.Meters
	Air         unit.StdCubicMetersPerSecond
}

// StartWay is what may be done.
type StartWay string

// The ways, best first.
const (
	StartAtOnce   StartWay = "AT_ONCE"        // oxygen permits it: no ramp
	StartByDays   StartWay = "BY_DAYS"        // so many hours a day
	StartBySteps  StartWay = "LOWER_BY_STEPS" // diffusers hung shallow, lowered in steps
	StartNotToday StartWay = "NOT_NOW"        // the objections say why
)

// Objection is a reason not to start, and what would lift it.
type Objection struct {
	Code   string
	Text   unit.Text
	Remedy string
}

// Start is how a pond's air is first switched on, or why not.
type Start struct {
	Way        StartWay
	Objections []Objection // against starting by days; empty but for StartBySteps and StartNotToday
	Instead    []string    // what may be done in place of it

	// Expected is the pond if it turned over tonight; Bad is the same with the bad
	// ends of volume and probe, by which Gate is decided.
	Expected, Bad water.Outcome
	Gate          water.Gate
	Layers        water.Layers
	Demand        unit.MilligramsPerLiter
	// BottomLift is the high end of the bottom water that comes up while it runs.
	BottomLift unit.CubicMetersPerSecond

	Days        []StartDay
	Steps       []StartStep
	Visits      []Visit
	Rules       []string // to stop by, every day
	Cautions    []Caution
	Assumptions []Assumption
}

// StartDay is one day of a start.
type StartDay struct {
	Date     time.Time // at midnight UTC of the local calendar day
	Run      unit.Seconds
	Expected unit.MilligramsPerLiter // in the upper water next dawn, with no help from the surface
	Stop     unit.MilligramsPerLiter // the run ends under it
	Abort    unit.MilligramsPerLiter // the start ends under it
	Left     unit.CubicMeters        // bottom water still down
}

// StartStep is one depth at which diffusers hang, running as the power gives.
type StartStep struct {
	From     time.Time // at midnight UTC of the local calendar day
	Depth    unit.Meters
	Expected unit.MilligramsPerLiter // once the water above is mixed
}

// Visit is a day on which somebody has to be at the pond.
type Visit struct {
	Date time.Time
	Who  string // empty: whoever is free
	Why  unit.Text
}

// DecideStart decides whether and how a pond's air may be switched on for the first
// time, or after a rest. It refuses by objections, not by an error; an error is a
// *unit.RangeError for figures that cannot be.
func DecideStart(in StartInput) (Start, error) {
	if err := in.check(); err != nil {
		return Start{}, err
	}
	s := Start{Way: StartNotToday, Cautions: startCautions()}
	s.Objections = in.objections()
	if in.Profile.IsZero() || !in.Profile.HasOxygen() {
		s.Instead = instead()
		return s, nil
	}
	s.Layers = water.Split(in.Profile, in.Curve)
	s.Demand = water.ImmediateDemand(s.Layers.Bottom.Oxygen)
	if in.Seen.Demand != nil {
		s.Demand = *in.Seen.Demand
	}
	s.Expected = s.Layers.MixTonight(s.Demand)
	bad := in.badEnds(s.Layers)
	s.Bad = bad.MixTonight(s.Demand)
	s.Gate = water.GateFor(s.Bad.Oxygen, s.Bad.SurfaceCooling)
	s.assume(in)
	s.Objections = append(s.Objections, in.mixedObjections(s)...)
	if err := s.schedule(in, bad); err != nil {
		return Start{}, err
	}
	if s.Way == StartNotToday || s.Way == StartBySteps {
		s.Instead = instead()
	}
	s.Rules = rules()
	s.visits(in)
	return s, nil
}

func (in StartInput) check() error {
	for _, c := range []struct {
		name        string
		got, lo, hi float64
	}{
		{"low end of the volume over its value", in.Low, 0.01, 1},
		{"high end of the volume over its value", in.High, 1, 100},
		{"hours of running a day", in.RunHours, 0, 24},
		{"water at the deepest place (m)", float64(in.Deepest), 0.1, 100},
		{"diffusers", float64(len(in.Jets)), 0, MaxDiffusers},
	} {
		if err := unit.CheckRange(c.name, c.got, c.lo, c.hi, "one pond"); err != nil {
			return err
		}
	}
	if in.Seen.Demand != nil {
		return unit.CheckRange("immediate demand (mg/L)", float64(*in.Seen.Demand), 0, 20, "a bottle test")
	}
	return nil
}

// badEnds is the pond with its volumes and readings at the ends that hold the least
// oxygen.
func (in StartInput) badEnds(l water.Layers) water.Layers {
	for _, p := range []*water.Layer{&l.Upper, &l.Middle, &l.Bottom} {
		p.Oxygen = max(0, p.Oxygen-oxygenError)
	}
	l.Upper.Volume *= unit.CubicMeters(in.Low)
	l.Middle.Volume *= unit.CubicMeters(in.High)
	l.Bottom.Volume *= unit.CubicMeters(in.High)
	return l
}

// schedule finds the best way that the objections leave, with its days or steps.
func (s *Start) schedule(in StartInput, bad water.Layers) error {
	stopless := true // only that nothing stops it stands against it
	for _, o := range s.Objections {
		stopless = stopless && (o.Code == CodeNobodyStops || o.Code == CodeNoLockout)
	}
	switch {
	case !stopless:
		return nil
	case len(s.Objections) > 0:
		if s.Steps = in.steps(s.Layers, s.Demand); len(s.Steps) > 0 {
			s.Way = StartBySteps
		}
		return nil
	case s.Gate == water.Go:
		s.atOnce(in)
		return nil
	}
	return s.byDays(in, bad)
}

// atOnce is a start without a ramp: as long as the power gives.
func (s *Start) atOnce(in StartInput) {
	s.Way = StartAtOnce
	s.Days = []StartDay{{Date: dayOf(in.First), Run: in.longestRun(), Expected: s.Bad.Oxygen, Stop: StopBelow, Abort: AbortBelow}}
}

// byDays fills in the days of a start.
func (s *Start) byDays(in StartInput, bad water.Layers) error {
	lift, err := in.bottomLift(s.Layers)
	if err != nil {
		return err
	}
	s.BottomLift = lift
	if !(lift > 0) {
		s.Objections = append(s.Objections, Objection{CodeShallowJets, "no diffuser reaches below the thermocline: the bottom water stays down", "lower the diffusers, or run them as they are and leave the bottom"})
		return nil
	}
	start := water.Start{
		Upper: bad.Upper.Volume, Bottom: bad.Bottom.Volume, UpperOxygen: bad.Upper.Oxygen, BottomOxygen: bad.Bottom.Oxygen,
		Demand: s.Demand, Lift: lift, MostPerDay: in.longestRun(),
	}
	days, err := start.Plan(mostStartDays)
	switch {
	case err == nil && len(days) == 0 && bad.Upper.Oxygen >= water.GoFrom: // no bottom water to bring up
		s.atOnce(in)
		return nil
	case errors.Is(err, water.ErrStartStops), err == nil && len(days) == 0:
		s.Objections = append(s.Objections, Objection{CodeNothingToSpend,
			unit.Say("the upper water holds %.1f mg/L at the bad end: nothing to spend above 5", float64(bad.Upper.Oxygen)), "wait for sunny, windy days and measure again at dawn"})
		return nil
	case errors.Is(err, water.ErrNeverDone):
		s.Cautions = append(s.Cautions, Caution{"START_UNFINISHED", unit.Say("After %d days bottom water is left: measure a new profile and plan again.", mostStartDays)})
	case err != nil:
		return err
	}
	s.Way = StartByDays
	for i, d := range days {
		s.Days = append(s.Days, StartDay{Date: dayOf(in.First).AddDate(0, 0, i), Run: d.Run, Expected: d.Expected, Stop: StopBelow, Abort: AbortBelow, Left: d.Left})
	}
	return nil
}

// longestRun is how long the power runs the machines in a day.
func (in StartInput) longestRun() unit.Seconds {
	if in.RunHours == 0 {
		return 24 * 3600
	}
	return unit.Seconds(in.RunHours * 3600)
}

// bottomLift is the high end of the bottom water that all diffusers lift, which is
// the safe one here: the larger of the closed form and the integral from a disc, at
// the base of the thermocline.
func (in StartInput) bottomLift(l water.Layers) (unit.CubicMetersPerSecond, error) {
	base := l.Middle.Bottom
	at := plume.Site{Pressure: in.Air, Profile: in.Profile}
	var sum unit.CubicMetersPerSecond
	for _, j := range in.Jets {
		height := j.Submergence - base
		if !(height > 0) || !(j.Air > 0) {
			continue
		}
		air := min(j.Air, unit.SCFM(creditedAir))
		closed, err := plume.ClosedForm(air, j.Submergence, height, at)
		if err != nil {
			return 0, fmt.Errorf("lift of diffuser %s: %w", j.Label, err)
		}
		trace, err := plume.Rise(air, j.Submergence, at, plume.Model{DiscRadius: in.Disc})
		if err != nil {
			return 0, fmt.Errorf("lift of diffuser %s: %w", j.Label, err)
		}
		sum += max(closed, trace.FlowAt(height))
	}
	return sum, nil
}

// steps are depths to hang diffusers at, each so much deeper than the last that the
// water above, once mixed, is no lower in oxygen than a day of a start may make it.
// They end where no step is small enough, or at the bottom; none if not even the
// first is.
func (in StartInput) steps(l water.Layers, demand unit.MilligramsPerLiter) []StartStep {
	mixedTo := float64(l.Upper.Bottom)
	held := float64(l.Upper.Oxygen - oxygenError)
	from := dayOf(in.First)
	var out []StartStep
	for mixedTo < float64(in.Deepest)-stepGrain/2 && len(out) < mostStartDays {
		spend := 1.0
		if l.Bottom.Oxygen < 1 {
			spend = 0.5
		}
		lowest := math.Max(held-spend, float64(water.GoFrom))
		next, then := mixedTo, held
		for d := mixedTo + stepGrain; d <= float64(in.Deepest)+1e-9; d += stepGrain {
			c := in.mixedDownTo(d, float64(l.Upper.Bottom), demand)
			if c < lowest {
				break
			}
			next, then = d, c
		}
		if next == mixedTo {
			return out
		}
		out = append(out, StartStep{From: from, Depth: unit.Meters(next), Expected: unit.MilligramsPerLiter(then)})
		mixedTo, held, from = next, then, from.Add(stepHold)
	}
	return out
}

// mixedDownTo is the oxygen in mg/L of the water above a depth once it is mixed, at
// the bad ends. Water with next to no oxygen pays its demand.
func (in StartInput) mixedDownTo(depthM, upperM float64, demand unit.MilligramsPerLiter) float64 {
	const slices = 100
	var volume, oxygen float64
	for i := range slices {
		top, bottom := depthM*float64(i)/slices, depthM*float64(i+1)/slices
		v := float64(in.Curve.Between(unit.Meters(top), unit.Meters(bottom)))
		if mid := (top + bottom) / 2; mid < upperM {
			v *= in.Low
		} else {
			v *= in.High
		}
		c, _ := in.Profile.Oxygen(unit.Meters((top + bottom) / 2))
		level := math.Max(0, float64(c-oxygenError))
		if water.ImmediateDemand(c) > 0 {
			level -= float64(demand)
		}
		volume, oxygen = volume+v, oxygen+v*level
	}
	if !(volume > 0) {
		return 0
	}
	return math.Max(0, oxygen/volume)
}

// dayOf is the calendar day of a time in its own zone, at midnight UTC.
func dayOf(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}
