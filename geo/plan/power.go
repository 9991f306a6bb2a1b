package plan

import (
	"time"

	"github.com/golang/geo/s1"

	"pondwright/calc/mast"
	"pondwright/calc/sun"
	"pondwright/calc/unit"
	"pondwright/calc/wind"
)

// Source is what drives the compressors. The empty Source means that nobody said:
// the plan then takes a whole day of running and calls it unverified.
type Source string

// The sources of power.
const (
	SunDirect  Source = "SUN_DIRECT"  // panel wired straight to the machines
	SunBattery Source = "SUN_BATTERY" // panel, battery, machines
	WindMill   Source = "WIND"        // each machine is a mill's pump
	Grid       Source = "GRID"        // a cable from the mains
)

// Power is what the air is driven with, and where it stands. The zero value of a
// part is its documented default, which the plan lists.
type Power struct {
	Source Source
	// Climate is a person's own twelve numbers; a series that is nil is the nearest
	// station's.
	Climate sun.Own
	// Season is the months that must meet the target; the zero Season is the
	// growing season: April to October, or October to April in the south.
	Season sun.Season
	// Horizon is the skyline seen from the mast. None and not HorizonKnown: nobody
	// looked.
	Horizon      []sun.HorizonPoint
	HorizonKnown bool
	Panels       Panels
	Battery      Battery
	Wiring       Wiring
	Mill         Mill
	Grid         wind.Grid // a zero length: how far the mains are is not known
	// Efficiency is the share of electrical input that ends up in compressed air,
	// 0.05 to 0.9, for machines whose curve has no power; 0 is 0.25.
	Efficiency float64
	// Day is when the compass is read; the zero Day gives no reading.
	Day time.Time
	// Lockout says that the machines cannot start again by themselves: a timer or
	// switch that a person must reset.
	Lockout bool
}

// Panels are the panels on the mast.
type Panels struct {
	Module sun.Module // a zero power is 100 W, an Open of 0 leaves out the cold voltage
	// Count owned; 0 lets the plan propose as many as the target takes.
	Count int
	// Tilt from level; 0 is the best of the season, no flatter than 10°.
	Tilt s1.Angle
	// Azimuth is the true bearing the panels face; nil is toward the equator.
	Azimuth *s1.Angle
	// Area of one panel; 0 is a square meter for each 200 W.
	Area unit.SquareMeters
	// Coldest daylight that the panels see; 0 is 30 K below the coldest month's mean.
	Coldest unit.Kelvin
}

// Battery is the battery between panels and machines.
type Battery struct {
	Capacity unit.WattHours // owned; 0 lets the plan propose
	Kind     sun.Battery    // the zero Kind is lead-acid
	Days     float64        // without sun to bridge where the plan proposes; 0 is 3
	Coldest  unit.Kelvin    // of the battery; 0 is 25 °C
}

// Wiring is the pair of wires from the panels, or the battery, to the machines.
type Wiring struct {
	Volts  unit.Volts  // at the machines, 6 to 1000 V; 0 is 24 V
	Length unit.Meters // one way; 0 says nothing of wire
	Gauge  sun.Gauge   // the zero Gauge lets the plan size it for a loss of 3 %
}

// Mill is a wind pump and where it stands.
type Mill struct {
	wind.Mill
	Shelter float64 // share of a station's wind that reaches it; 0 is 1
}

// Supply is what drives the air of a plan, month by month.
type Supply struct {
	Source Source
	// Light and Wind say where the twelve numbers come from; Warning is what must be
	// said about a far station.
	Light, Wind unit.Text
	Warning     unit.Text

	Season        sun.Season
	SeasonDefault bool
	Months        [12]SupplyMonth
	Worst         time.Month // of the season: the month that is judged

	Load      unit.Watts // electrical, of all machines at the operating point
	FromCurve bool       // the load is the machines' own figure
	Drawn     unit.Watts // from the source, with what the wire takes

	Panels       int
	PanelsWanted bool // nobody owns them: the plan proposes them
	Module       unit.Watts
	Array        unit.Watts
	Area         unit.SquareMeters
	Threshold    unit.WattsPerSquareMeter // light from which machines without a battery run
	Tilt         s1.Angle
	Azimuth      s1.Angle  // true
	Compass      *s1.Angle // what a compass shows along it; nil: CompassNote says why
	CompassNote  string
	Declination  *s1.Angle // east of true north
	ColdVoltage  unit.Volts
	Coldest      unit.Kelvin

	Battery       unit.WattHours
	BatteryWanted bool // nobody owns it: the plan proposes it

	Wire  *Wire       // nil: nothing is known of its length
	Cable *wind.Cable // of the grid
	Parts []Part      // without which the plan does not hold
}

// SupplyMonth is a month of a supply.
type SupplyMonth struct {
	InSeason  bool
	Hours     unit.Seconds // of running, a day
	Turnovers Range[float64]
}

// Wire is the pair of wires to the machines.
type Wire struct {
	Length  unit.Meters
	Current unit.Amperes
	Gauge   sun.Gauge
	Sized   bool // by the plan
	Loss    sun.WireLoss
}

// Part is something that a plan needs beside what it moves air with.
type Part struct{ Code, Text string }

// Structure is what holds the panels up. What is left out takes a default, and the
// verdict is then unverified at best.
type Structure struct {
	Wind   mast.Wind
	Ground mast.Ground
	Pole   mast.Pole // the zero Section is 4 in schedule 40
	// Footing of which a Depth of 0 is sought and a Width of 0 is 0.4572 m, 18 in.
	Footing mast.Footing
	Center  unit.Meters    // height of the panels' middle; 0 is 2.4384 m, 8 ft
	Mass    unit.Kilograms // at the masthead
}

// MastVerdict is a judged mast: the wind it was made for, its footing and whether
// both are enough. A depth never goes without the other two.
type MastVerdict struct {
	Report  mast.Report
	Verdict mast.Verdict
	// Defaults are the inputs that nobody gave, the report's own among them.
	Defaults []mast.Assumption
	// Sought says that the depth is the least that holds, and not one that was given.
	Sought bool
}

// Levels are the pond's water levels over that of its shoreline: positive up. Nil:
// not known.
type Levels struct {
	Full    *unit.Meters
	Low     *unit.Meters // that a usual dry season reaches
	Highest *unit.Meters // expected
}

// Answers are what only a person at the pond can say. The empty answer is none.
type Answers struct {
	WinterRun    bool // running in the months of ice is wanted
	WinterPermit bool // permit, signs, inspection and foot traffic on the ice are settled
	Profile      bool // temperature and oxygen were measured from top to bottom
}

// Refusal is a part of a plan that must not be built or switched on as it stands.
// The plan itself is still the best that can be had.
type Refusal struct {
	Code   string
	Field  string // of the input that would mend it
	Text   unit.Text
	Remedy string
}

// The codes of refusals.
const (
	CodeNoSun       = "NO_SUN_WINDOW"        // the sun never drives the machines in some month of the season
	CodeHorizon     = "HORIZON_BLOCKS"       // the skyline takes most of the running
	CodeArrayTooBig = "ARRAY_TOO_BIG"        // the mast does not hold the panels
	CodeSoil        = "SOIL_UNTESTED"        // the code has no bearing value for the soil
	CodeRelief      = "RELIEF_CONFLICT"      // no relief setting suits pressure and weakest part
	CodeRestart     = "RESTART_UNVERIFIED"   // direct drive starts again by itself
	CodeWinter      = "WINTER_UNSETTLED"     // running under ice without the answers it needs
	CodeDam         = "DAM_UNANSWERED"       // nobody said whether there is a dam
	CodeNotBuildNow = "NOT_FOR_CONSTRUCTION" // defaults stand where a measurement belongs
)

// Alternative is another way to build, solved anew.
type Alternative struct {
	Change    Change
	Text      unit.Text
	Turnovers Range[float64] // in the worst month of the season
	RunHours  float64
	Meets     bool // the target
	Diffusers int
	Machines  int
	Array     unit.Watts
	Battery   unit.WattHours
	Items     []Item   // to buy, beyond what the plan has
	Cost      *float64 // of the items; nil: a price is missing
	Unpriced  []string // the items without a price
}

// Change is what an alternative changes.
type Change string

// The changes.
const (
	MoreDiffusers  Change = "MORE_DIFFUSERS"
	WiderHose      Change = "WIDER_HOSE"
	MoreMachines   Change = "MORE_MACHINES"
	MorePanels     Change = "MORE_PANELS"
	AddBattery     Change = "BATTERY"
	MachinesPanels Change = "MACHINES_AND_PANELS"
	ByWind         Change = "WIND"
	ByGrid         Change = "GRID"
)

// Item is a quantity of something with a price, in the unit in which Prices have
// it.
type Item struct {
	Name     string
	Unit     string
	Quantity float64
}

// SourceMonths is one source of air beside the others.
type SourceMonths struct {
	Source    Source
	Hours     [12]unit.Seconds
	Turnovers [12]float64 // promised, over the high volume
	Worst     time.Month
	Meets     bool
	Reason    string // why not
	Array     unit.Watts
	Battery   unit.WattHours
	Cable     *wind.Cable
	Notes     []string
	Items     []Item
	Cost      *float64
	Unpriced  []string
}

// Commissioning is what the gauges should read at start-up.
type Commissioning struct {
	SoundingDay, Highest Gauges
	Stations             []Gauges   // each of several on the sounding day, in order of Plan.Stations
	Volts                unit.Volts // for which the amps hold; 0: not known
}

// Gauges is what the gauges read at one water level, clean diffusers low and
// fouled ones high.
type Gauges struct {
	Pressure Range[unit.PascalsGauge] // in the manifold
	Amps     Range[unit.Amperes]      // of all machines; zero: not known
}
