package water

import (
	"errors"
	"math"
	"time"

	"pondwright/calc/unit"
)

// Start is a pond before its aeration is first switched on, or after a rest.
type Start struct {
	Upper  unit.CubicMeters // water that holds oxygen: above the base of the thermocline
	Bottom unit.CubicMeters // water below it
	// UpperOxygen at dawn, and BottomOxygen.
	UpperOxygen, BottomOxygen unit.MilligramsPerLiter
	// Demand is the immediate demand of bottom water, see ImmediateDemand.
	Demand unit.MilligramsPerLiter
	// Lift is how fast bottom water comes up with all diffusers running. The high
	// end is the safe one here: the larger of the closed form and the integral
	// from a disc at the base of the thermocline, which can lie a third above it.
	Lift unit.CubicMetersPerSecond
	// MostPerDay bounds the run of one day, as sunlight does; 0 sets no bound.
	MostPerDay unit.Seconds
}

// Errors of a start that is not to be made.
var (
	// ErrStartStops says that the upper water has no oxygen to spare.
	ErrStartStops = errors.New("oxygen in the upper water leaves nothing to spare: do not start")
	// ErrNeverDone says that the days given do not suffice.
	ErrNeverDone = errors.New("the bottom water does not come up within the days given")
)

// Spend is how far one day may lower the oxygen of the upper water: half a mg/L
// where the bottom has less than 1 mg/L, else one, and never below 5 mg/L
// (judgement).
func (s Start) spend() (lowest float64) {
	delta := spendMgL
	if s.BottomOxygen < anoxicMgL {
		delta = spendAnoxicMgL
	}
	return math.Max(float64(s.UpperOxygen)-delta, goMgL)
}

// Allowed reports the bottom water that may come up in one run so that the upper
// water does not fall below lowest,
//
//	dV = Ve (Ce − C')/(C' − Ch + demand)
//
// and never more than there is. It is zero where the upper water is at lowest
// already. No help from the surface during the run is counted.
func (s Start) Allowed(lowest unit.MilligramsPerLiter) unit.CubicMeters {
	spare := float64(s.UpperOxygen - lowest)
	cost := float64(lowest - s.BottomOxygen + s.Demand)
	if !(spare > 0) {
		return 0
	}
	if !(cost > 0) {
		return s.Bottom
	}
	return min(s.Bottom, unit.CubicMeters(float64(s.Upper)*spare/cost))
}

// after is the pond once dv of bottom water has come up.
func (s Start) after(dv unit.CubicMeters) Start {
	ve, v := float64(s.Upper), float64(dv)
	c := (float64(s.UpperOxygen)*ve + float64(s.BottomOxygen-s.Demand)*v) / (ve + v)
	s.UpperOxygen = unit.MilligramsPerLiter(math.Max(0, c))
	s.Upper += dv
	s.Bottom -= dv
	return s
}

// Day is one day of a start.
type Day struct {
	Run      unit.Seconds // how long the air runs
	Lifted   unit.CubicMeters
	Expected unit.MilligramsPerLiter // in the upper water afterwards, with no help from the surface
	Left     unit.CubicMeters        // bottom water still down
}

// Plan reports a start day by day until less than a twentieth of the bottom
// water is left or the upper water is down to 5 mg/L, as if nothing recovered
// overnight. Each dawn the reading replaces the expectation and the plan is made
// again: stop under 4 mg/L, abort under 3, on a smell of rotten eggs, or with
// fish at the surface. It returns ErrStartStops where not even the first day has
// anything to spend, ErrNeverDone after maxDays, or a *unit.RangeError.
//
// The other way in use, 15 to 30 minutes on the first day and twice as long each
// day after, is common practice without a source and takes its largest bite
// last.
func (s Start) Plan(maxDays int) ([]Day, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	var days []Day
	enough := doneShare * s.Bottom
	for s.Bottom > enough {
		dv := s.Allowed(unit.MilligramsPerLiter(s.spend()))
		if s.MostPerDay > 0 {
			dv = min(dv, unit.CubicMeters(float64(s.Lift)*float64(s.MostPerDay)))
		}
		if dv <= s.Bottom*1e-9 {
			break
		}
		if len(days) == maxDays {
			return days, ErrNeverDone
		}
		s = s.after(dv)
		days = append(days, Day{
			Run: unit.Seconds(float64(dv) / float64(s.Lift)), Lifted: dv, Expected: s.UpperOxygen, Left: s.Bottom,
		})
	}
	if len(days) == 0 && enough > 0 {
		return nil, ErrStartStops
	}
	return days, nil
}

func (s Start) check() error {
	const src = "ponds and small lakes"
	for _, c := range []struct {
		name        string
		got, lo, hi float64
	}{
		{"upper volume (m³)", float64(s.Upper), 1e-3, 1e10},
		{"bottom volume (m³)", float64(s.Bottom), 0, 1e10},
		{"upper oxygen (mg/L)", float64(s.UpperOxygen), 0, 30},
		{"bottom oxygen (mg/L)", float64(s.BottomOxygen), 0, 30},
		{"immediate demand (mg/L)", float64(s.Demand), 0, 20},
		{"lift of bottom water (m³/s)", float64(s.Lift), 1e-9, 1e3},
		{"longest run of a day (s)", float64(s.MostPerDay), 0, 86400},
	} {
		if err := unit.CheckRange(c.name, c.got, c.lo, c.hi, src); err != nil {
			return err
		}
	}
	return nil
}

// Observation is what was seen at the pond before a start.
type Observation struct {
	Age            time.Duration // of the profile
	Dawn           bool          // the surface oxygen was read at dawn
	AboveBottom    unit.Meters   // how far above the bottom the profile ends
	Surface        unit.Kelvin
	Warmest        unit.Kelvin // surface for a new start; 0 means 28 °C
	RottenEggs     bool        // smell of hydrogen sulfide in bottom water
	HasOxygen      bool
	CanStopOrWatch bool // the equipment can stop by itself, or a person is assigned
}

// Objection is a reason not to start.
type Objection uint8

// The objections, in the order in which they are listed.
const (
	NoOxygenReading Objection = iota + 1
	ProfileTooOld
	ProfileTooShort
	NotAtDawn
	SmellsOfSulfide
	SurfaceTooWarm
	NobodyStopsIt
)

// String says the objection in words.
func (o Objection) String() string {
	switch o {
	case NoOxygenReading:
		return "measure first: the profile has no oxygen"
	case ProfileTooOld:
		return "the profile is more than 3 days old"
	case ProfileTooShort:
		return "the profile ends more than 0.5 m above the bottom"
	case NotAtDawn:
		return "surface oxygen was not read at dawn: an afternoon value is too high"
	case SmellsOfSulfide:
		return "bottom water smells of rotten eggs: no start"
	case SurfaceTooWarm:
		return "surface water is warmer than 28 °C: no new start"
	case NobodyStopsIt:
		return "nothing and nobody stops the air: no daily limit can be kept"
	}
	return "unknown objection"
}

// Objections reports every reason not to start in summer, none if there is
// none. The limits are this project's own judgement on the safe side.
func (o Observation) Objections() []Objection {
	var out []Objection
	add := func(when bool, why Objection) {
		if when {
			out = append(out, why)
		}
	}
	add(!o.HasOxygen, NoOxygenReading)
	add(o.Age > maxProfileAge || o.Age < 0, ProfileTooOld)
	add(!(o.AboveBottom <= maxAboveBottomM), ProfileTooShort)
	add(!o.Dawn, NotAtDawn)
	add(o.RottenEggs, SmellsOfSulfide)
	warmest := unit.Celsius(maxSurfaceC)
	if o.Warmest != 0 {
		warmest = o.Warmest
	}
	add(!(o.Surface <= warmest), SurfaceTooWarm)
	add(!o.CanStopOrWatch, NobodyStopsIt)
	return out
}

// Limits that others print.
const (
	// GoFrom is the oxygen that a start may not spend, see GateFor.
	GoFrom unit.MilligramsPerLiter = goMgL
	// WarmestStart is the warmest surface for a new start (judgement).
	WarmestStart unit.Kelvin = maxSurfaceC + 273.15
)
