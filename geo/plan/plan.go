// Package plan turns a survey report, a mast and equipment into an aeration plan:
// where the diffusers stand, how the hoses run, what air each gets, what water it
// lifts, and what keeps the pond from turning over as often as it should.
//
//	p, err := plan.Propose(plan.Input{Survey: report, Shore: s, Mast: mast, Equipment: plan.DefaultEquipment()}, nil)
//
// A plan is always the best layout that the given air can feed. Below the target
// it names the binding constraint, the shortfall as a factor and what would close
// it; it is never a bare failure. The safe end of every doubt is used: the high
// volume and the promised lift decide whether the target is met, and the low lift
// over the high volume is the low end of the turnovers.
package plan

import (
	"errors"

	"github.com/golang/geo/s2"

	"pondwright/calc/air"
	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
	"pondwright/geo/survey"
)

// Limits and targets of a plan, settings all: judgement, no source, unless the
// comment names one.
const (
	// MaxDiffusers is the largest layout sought.
	MaxDiffusers = 60
	// MaxStations is how many masts a plan may have.
	MaxStations = 8
	// deepMuck is the soft sediment over which no diffuser is sought: judgement, no
	// source.
	deepMuck unit.Meters = 0.3
	// setBack is how far back from the bank a station is proposed.
	setBack unit.Meters = 15
	// DefaultTurnovers per day: common practice, no source.
	DefaultTurnovers = 1
	// leastAir and mostAir bound what one diffuser gets: below, the plume is
	// weaker than what has been measured; above, a second diffuser lifts more.
	leastAir = 0.5 // scfm
	mostAir  = 2.0 // scfm
	// creditedAir is the most air a diffuser's lift is counted for: more has not
	// been measured (Kobus 1968, 13 scfm).
	creditedAir = 13.0 // scfm
	// slack on the bed, so that a hose lies and does not hang.
	slack = 0.05
	// riser is the hose from the trench up to the manifold.
	riser unit.Meters = 1.5
	// spare lets a diffuser be lifted to the boat: its depth and this much more.
	spare unit.Meters = 1.5
	// waterDensity is above that of any warm fresh water, so that pressures err on
	// the safe side.
	waterDensity unit.KilogramsPerCubicMeter = 1000
	// clearance of a way through the water from land.
	clearance unit.Meters = 0.05
)

// Input is everything a plan is made from.
type Input struct {
	Survey *survey.Report
	Shore  *shore.Shore
	Mast   s2.LatLng

	// Altitude above sea level sets the air's pressure.
	Altitude      unit.Meters
	AltitudeKnown bool
	// Turnovers a day to aim at; 0 means DefaultTurnovers.
	Turnovers float64
	// WaterTemperature; 0 means 20 °C.
	WaterTemperature unit.Kelvin
	Equipment        Equipment

	// Zones are what diffusers, hoses, trench and mast keep off.
	Zones []Zone
	// NoDam says that somebody answered that the pond has no dam. Without it and
	// without a zone of a dam nothing is for construction.
	NoDam bool
	// Pins are diffusers that stand where somebody put them; the others are sought
	// round them.
	Pins []s2.LatLng
	// Bans are places where none of the sought ones may stand.
	Bans []Ban
	// MoreMasts are further places where a station may stand, used only where one
	// cannot serve. Without any a place is proposed, and marked.
	MoreMasts []s2.LatLng

	mostPatches int // among which sites are chosen; 0: mostCells

	Power     *Power     // what drives the machines; nil: a whole day of running, unverified
	Structure *Structure // what holds the panels; nil: every part of it a default
	Levels    Levels
	Answers   Answers
	Ratings   []air.Rating // of the parts that hold the air's pressure; none: not known
	Prices    Prices
}

// Constraint is what keeps a plan from its target.
type Constraint string

// The constraints, None when the target is met.
const (
	None         Constraint = "NONE"
	AirSupply    Constraint = "AIR_SUPPLY"    // the compressors cannot deliver the air
	RunHours     Constraint = "RUN_HOURS"     // the machines do not run long enough a day
	Coverage     Constraint = "COVERAGE"      // some water lies too far from every diffuser
	Depth        Constraint = "DEPTH"         // too little of the pond is deep enough
	HoseLoss     Constraint = "HOSE"          // the hose loses too much pressure
	Pressure     Constraint = "PRESSURE"      // the compressor cannot open the diffusers
	InputMissing Constraint = "INPUT_MISSING" // the pond was never sounded
)

// Plan is what to build.
type Plan struct {
	Diffusers []Diffuser
	Turnovers Range[float64] // a day, at RunHours
	RunHours  float64        // a day; in the worst month of the season where a supply is known
	Target    float64        // turnovers a day

	SiteGap    float64 // no other sites serve more water by more than this share; 1 where Placed
	Placed     bool    // somebody put every diffuser; no other site was sought
	Served     float64 // share of the water served
	Constraint Constraint
	Shortfall  unit.Text // what would close the gap; empty if nothing is short
	Factor     float64   // AirNeeded over Air: by what the air falls short; of RunHours, by what the run does; 1 or less: met, or no run at all

	Lift         Range[unit.CubicMetersPerSecond] // of all diffusers together
	Air          unit.StdCubicMetersPerSecond     // of all compressors together
	AirNeeded    unit.StdCubicMetersPerSecond     // to meet the target; 0: none would, or none is known
	Machines     int
	Manifold     unit.PascalsGauge
	SitePressure unit.Pascals
	VolumeUsed   unit.CubicMeters // the high end of the survey's volume

	// Mast and Entry are those of the first station; Machines, Air and HoseTotal are
	// of all of them, Manifold is the highest.
	Mast, Entry plane.Point
	Stations    []Station
	HoseTotal   unit.Meters
	Numbers     []Number // what more or fewer diffusers would come to, by number
	Cuts        []Cut    // from which coil each run comes
	Buy         []Coil   // hose to buy
	Tasks       []Task   // the boat work in its order
	Zones       []Drawn
	Assumptions []Assumption
	Cautions    []Caution

	RunHoursVerified bool          // worked out for this site, not taken
	Supply           *Supply       // nil: nobody said what drives the air
	Structure        *MastVerdict  // nil: no panels
	Alternatives     []Alternative // best first
	Sources          []SourceMonths
	Relief           unit.PascalsGauge // setting of the relief valve; 0: the ratings are not known
	Commissioning    *Commissioning
	Refusals         []Refusal
}

// Range is a figure with its safe low end and its upper estimate.
type Range[Q ~float64] struct{ Value, Low, High Q }

// Diffuser is one place where air enters the water, with its hose.
type Diffuser struct {
	At          plane.Point
	Depth       unit.Meters // of the water, at the level of the shoreline
	Submergence unit.Meters // of its outlet
	Air         unit.StdCubicMetersPerSecond
	Lift        Range[unit.CubicMetersPerSecond]
	Inlet       unit.PascalsGauge // at its inlet
	Valve       air.ValveSetting  // on the manifold
	Serves      unit.CubicMeters
	// Boil is how wide the water wells up over it, between the places where the rise
	// has fallen to 1/e of the axis's; 0 without air.
	Boil    unit.Meters
	Hose    Hose
	Station int  // index in Plan.Stations
	Pinned  bool // somebody put it there
}

// Hose is the air line to one diffuser.
type Hose struct {
	Order  unit.Meters   // length to order
	Trench unit.Meters   // from the mast to the shore entry
	Water  unit.Meters   // along the bed from the entry to the diffuser
	Bore   unit.Meters   // inside diameter
	Route  []plane.Point // mast, shore entry, …, diffuser

	// What Order is made of beside Trench and Water; all zero but Slack, Spare where
	// a trunk runs through the trench.
	Slack, Spare, Riser unit.Meters
	Ballast             Ballast
}

// Assumption is a figure the plan rests on.
type Assumption struct {
	Name    string
	Value   unit.Text
	Default bool   // nobody gave it
	Source  string // how far to trust it
}

// Caution is something that can hurt people or fish, or a limit of the plan.
type Caution struct {
	Code string
	Text unit.Text
}

// ErrCanceled is returned when progress asked to stop.
var ErrCanceled = errors.New("plan: canceled")

// ErrNothingSurveyed is returned for an input without a shoreline or a survey.
var ErrNothingSurveyed = errors.New("no survey: a plan is made for a measured pond")

// The stages that a Progress is told, in their order.
const (
	StageSites   = "Looking for sites"
	StageLayouts = "Choosing sites"
	StageNumbers = "Comparing numbers"
)

// Progress is told a stage and the share of it that is done; returning false
// cancels. A nil Progress is allowed.
type Progress func(stage string, share float64) bool

// bedOf is the part of a survey that a plan reads.
func (in Input) bedOf() *bed.Bed { return in.Survey.Bed }
