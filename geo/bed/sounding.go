package bed

import (
	"time"

	"pondwright/geo/plane"
)

// Verdict is a person's decision on one sounding. It outranks every flag.
type Verdict uint8

// The verdicts. The zero Verdict leaves the sounding to the automatic rules.
const (
	Undecided Verdict = iota
	Accepted          // use it as it is, whatever the rules say
	Rejected          // do not use it
	Adjusted          // use it with AdjustedM in place of DepthM
)

// Sounding is one depth below the water level at which the shoreline was drawn.
type Sounding struct {
	At     plane.Point // in the outline's frame
	DepthM float64     // positive down
	// Time is when it was taken; zero if unknown. Lines are told apart and
	// ordered by it.
	Time time.Time
	// Seq is its place in its pass's own numbering (a row or record number). It
	// orders soundings without a time; where both are missing the order along
	// the boat's way is unknown and nothing is concluded from it.
	Seq int64
	// Pass names the boat run it belongs to; empty if unknown.
	Pass string
	// Verdict is a person's decision, Undecided if there is none.
	Verdict   Verdict
	AdjustedM float64 // the depth to use if Verdict is Adjusted
}

// depthM returns the depth to work with.
func (s *Sounding) depthM() float64 {
	if s.Verdict == Adjusted {
		return s.AdjustedM
	}
	return s.DepthM
}

// decided reports whether a person wants the sounding used.
func (s *Sounding) decided() bool { return s.Verdict == Accepted || s.Verdict == Adjusted }

// Rule names the test that set a flag.
type Rule string

// The rules, in order of application. Their thresholds are the trade's common
// practice, no source, but for the spike rule, which was tuned on simulated
// surveys.
const (
	NotADepth    Rule = "not a depth"         // not a number, zero, negative or beyond MaxDepthM
	Person       Rule = "rejected"            // a person rejected it
	OutsideShore Rule = "outside shore"       // farther outside the outline than the tolerance
	AtEdge       Rule = "at edge"             // outside the outline, within the tolerance
	LostBottom   Rule = "lost bottom"         // the same value again and again while the boat moves
	DoubleEcho   Rule = "double echo"         // about twice its neighbors' depth
	Spike        Rule = "spike"               // stands out from its neighbors along the line
	FalseRun     Rule = "run of false echoes" // a run off the bed between two steps, as over weed or fish
	Steep        Rule = "steep"               // slope to the sounding before steeper than 1:1; a hint only
	Doubtful     Rule = "does not fit bed"    // kept, but the bed gives it little weight; a hint only
)

// Flag says what a rule found wrong with a sounding.
type Flag struct {
	Rule      Rule
	Value     float64 // what was measured, in meters or as a plain ratio
	Threshold float64 // the limit it broke
}

// Excludes reports whether the rule takes the sounding out of the estimate
// unless a person accepts it.
func (f Flag) Excludes() bool { return f.Rule != Steep && f.Rule != Doubtful }
