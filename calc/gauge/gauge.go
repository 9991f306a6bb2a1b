// Package gauge reads what an aeration system's gauges say over the months: what
// has changed since it was commissioned, whether that is more than the gauges
// scatter by themselves, and what usually lies behind it.
//
//	report := gauge.Judge(readings, works, gauge.Limits{})
//	for _, f := range report.Findings { … f.Text, f.Do … }
//
// It trends, it does not measure: readings come as they were taken. Pressure is
// brought to one water level and one air temperature where those were read. The
// trend is the median of the slopes between all pairs of readings (Theil 1950; Sen,
// J. Am. Stat. Assoc. 63, 1968), which one bad reading in four does not move, and
// the scatter is the median deviation from it, times 1.4826 so that it equals the
// standard deviation of a normal distribution (Rousseeuw & Croux, J. Am. Stat.
// Assoc. 88, 1993). By how much a gauge must change to mean something is this
// project's judgement.
package gauge

import (
	"time"

	"pondwright/calc/unit"
)

// Reading is one look at the running equipment. What was not read is nil.
type Reading struct {
	At       time.Time
	Pressure *unit.PascalsGauge // in the manifold
	Current  *unit.Amperes      // of the compressor
	Voltage  *unit.Volts        // at the compressor
	Level    *unit.Meters       // of the water above the benchmark
	Air      *unit.Kelvin       // taken in by the compressor
	Boils    []Boil
}

// Boil is how strongly the water boils above a diffuser: 0 not at all, 1 weakly, 2
// as usual, 3 strongly.
type Boil struct {
	Label string
	Seen  int
}

// Work is what was done to the equipment.
type Work uint8

// The works. Commissioned, Valve and Compressor change what a gauge should read:
// the first readings after the last of them are the new normal.
const (
	Commissioned Work = iota + 1
	Filter
	Valve
	Diffuser
	Hose
	Compressor
)

// Done is a work and its time.
type Done struct {
	At   time.Time
	Work Work
}

// Limits are what the equipment bears. Zero means not known.
type Limits struct {
	Pressure unit.PascalsGauge // at which the relief valve lifts
	Current  unit.Amperes      // of the fuse or the motor's plate
	// Static is the part of the pressure that is water over the deepest diffuser:
	// air temperature does not change it.
	Static unit.PascalsGauge
}

// Quantity is what a trend is of.
type Quantity string

// The quantities.
const (
	Pressure Quantity = "pressure" // Pa above the surrounding air
	Current  Quantity = "current"  // A
)

// Trend is one gauge against commissioning. Values are SI.
type Trend struct {
	Quantity Quantity
	Normal   float64 // median of the readings at commissioning
	Now      float64 // median of the last readings
	PerMonth float64 // slope, per 30 days; zero with fewer than three readings
	Band     float64 // a change within ± this is scatter
	Readings int     // since commissioning
	Points   []Point // as compared, in order of time
	// Reaches is when the trend meets the limit, zero if it does not within a year.
	Reaches time.Time
}

// Point is one reading brought to the level and air temperature of commissioning.
type Point struct {
	At        time.Time
	Value     float64
	Corrected bool // for level or temperature
}

// Changed reports the change as a share of the normal value, 0 while it is within
// the band.
func (t Trend) Changed() float64 {
	d := t.Now - t.Normal
	if t.Normal == 0 || d <= t.Band && d >= -t.Band {
		return 0
	}
	return d / t.Normal
}

// Code names a finding.
type Code string

// The findings.
const (
	PressureUp    Code = "PRESSURE_UP"
	PressureDown  Code = "PRESSURE_DOWN"
	CurrentUp     Code = "CURRENT_UP"
	CurrentDown   Code = "CURRENT_DOWN"
	NoBoil        Code = "NO_BOIL"
	WeakBoil      Code = "WEAK_BOIL"
	NoBoilAtAll   Code = "NO_BOIL_AT_ALL"
	LimitNear     Code = "LIMIT_NEAR"
	OddReading    Code = "ODD_READING"
	NotComparable Code = "NOT_COMPARABLE"
)

// Finding is something that changed, what usually lies behind it and what to do.
type Finding struct {
	Code  Code
	Label string // the diffuser, where it is about one
	Text  string
	Do    string
}

// Report is what the gauges say.
type Report struct {
	From     time.Time // commissioning, or the work that set the normal anew; zero if unknown
	Trends   []Trend
	Findings []Finding // in order of weight; empty: nothing has changed
}
