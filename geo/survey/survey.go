// Package survey turns raw readings, the instruments' set-up and a shoreline into
// a survey report: area, volume and depths with their doubt, the curve of volume
// against drawdown, and every warning the readings gave rise to.
//
//	report, err := survey.Measure(survey.Input{Shore: s, Readings: readings}, nil)
//
// It is pure: readings arrive parsed, the report leaves as values. What a reading
// means (below the transducer, or below the surface) is settled here and nowhere
// else, so that files on disk and readings from the server meet the same rules.
// The report does not depend on the order of the readings.
package survey

import (
	"cmp"
	"errors"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/shore"
)

// Reference says what a reading is measured from.
type Reference int

// The references a reading can have. The zero value is BelowSurface.
const (
	BelowSurface    Reference = iota // from the water surface of the day
	BelowTransducer                  // from the transducer's face
)

// Source is where a reading or a warning comes from, for people to find it. The
// zero value is nowhere in particular.
type Source struct {
	File string
	Line int // from 1; 0 means the whole file
}

func (s Source) compare(o Source) int {
	return cmp.Or(cmp.Compare(s.File, o.File), cmp.Compare(s.Line, o.Line))
}

// Reading is one depth as it was logged.
type Reading struct {
	At        s2.LatLng
	Time      time.Time // zero if unknown
	Seq       int64     // place in the pass's own numbering, from 1; orders readings without a time; 0 if unknown
	Depth     unit.Meters
	Reference Reference
	Pass      string // the boat run; runs never share a line
	// Verdict is a person's word on the reading; it outranks every automatic rule
	// but those that ask whether there is water. With bed.Adjusted, Corrected is
	// the depth below the surface of the day to use.
	Verdict   bed.Verdict
	Corrected unit.Meters
	// Firm is the reading to the firm bottom under soft muck, from where Depth
	// counts and to whose soft bottom it goes.
	Firm    unit.Meters
	HasFirm bool
	// HDOP and Satellites are what the receiver said of the fix; 0 is not known.
	HDOP       float64
	Satellites int
	Source     Source
}

// Input is everything a survey is measured from.
type Input struct {
	Shore *shore.Shore
	// ShoreLevel is the water level over the pond's benchmark on the day the shoreline
	// was drawn; nil where nobody knows it.
	ShoreLevel *unit.Meters
	Readings   []Reading
	Setups     map[string]Setup // by pass; a pass without one has the zero Setup
	Bias       Bias
	Warnings   []Warning // what reading the files gave rise to; they lead the report's
}

// Bias is what the user knows of errors that do not average out, as standard
// deviations. The zero value adds nothing.
type Bias struct {
	Level   unit.Meters // of the water level
	Draft   unit.Meters // of the transducer's depth
	Muck    unit.Meters // of the top of the muck
	Sound   float64     // of the speed of sound, as a share of it
	Outline unit.Meters // of the shoreline's position; 0 takes bed.DefaultOutlineSDM
}

// Codes of the warnings this package gives.
const (
	CodeSwapped = "LATLON_SWAPPED"
	CodeFeet    = "FEET_AS_METERS"
	CodeOutside = "OUTSIDE_SHORE"
	CodeFlagged = "SOUNDINGS_FLAGGED"
	CodeNone    = "NO_SOUNDINGS"
	CodeSparse  = "SURVEY_SPARSE"
	CodeDraft   = "DRAFT_UNKNOWN"
	CodeSetup   = "SETUP_INVALID"
)

// Warning is something a person should know about the input: what is wrong,
// where, and what to do.
type Warning struct {
	Code    string
	Source  Source
	Field   string
	Message string
	Remedy  string
}

// ErrNoShore is returned when there is no shoreline to measure within.
var ErrNoShore = errors.New("no shoreline: a pond cannot be measured without its outline")

// SwappedError is returned when every coordinate seems to be exchanged.
type SwappedError struct{ Warning Warning }

// Error says what is wrong and what to do.
func (e *SwappedError) Error() string { return e.Warning.Message + "; " + e.Warning.Remedy }
