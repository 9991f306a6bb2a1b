package unit

import "fmt"

// Mark says how well a figure is known.
type Mark string

// The marks a figure can carry, best known first.
const (
	Published      Mark = "published"                  // read in the named source
	FromMemory     Mark = "from memory"                // the source is named, the figure was not read in it
	CommonPractice Mark = "common practice, no source" // a rule of thumb of the trade
	Judgement      Mark = "judgement, no source"       // this project's own choice
)

// Setting is a figure that a person may replace: it has a default here and a
// mark that says how far to trust it.
type Setting struct {
	Name   string  // what it is, in the field's words
	Value  float64 // the default, in Unit
	Unit   string  // SI symbol, or "1" for a plain number
	Mark   Mark
	Source string // the source, where there is one
}

// RangeError reports an input outside the range in which a formula holds.
type RangeError struct {
	Quantity string  // what was out of range, with its unit: "depth (m)"
	Got      float64 // the value given
	Min, Max float64 // the limits, included
	Source   string  // who sets the limits
}

// Error names the quantity, the value, the limits and who sets them.
func (e *RangeError) Error() string {
	msg := fmt.Sprintf("%s is %g, must lie between %g and %g", e.Quantity, e.Got, e.Min, e.Max)
	if e.Source != "" {
		msg += " (" + e.Source + ")"
	}
	return msg
}

// CheckRange returns a *RangeError unless lo ≤ got ≤ hi; a NaN is always out of
// range.
func CheckRange(quantity string, got, lo, hi float64, source string) error {
	if got >= lo && got <= hi {
		return nil
	}
	return &RangeError{Quantity: quantity, Got: got, Min: lo, Max: hi, Source: source}
}
