package survey

import (
	"math"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/shore"
)

// Anchor is what a guess hangs on beside the outline.
type Anchor int

// The anchors. The zero value is FromOutline.
const (
	FromOutline Anchor = iota // no depth at all
	FromDeepest               // the greatest depth anybody knows of
	FromMiddle                // one depth at the place farthest from the shore
)

// What a pond's mean depth is of one depth, fitted on ponds whose bed is known;
// cmd/internal/trial makes the ponds and holds the figures to them.
const (
	deepestRatio = 0.364 // of the greatest depth: geometric mean of the ponds
	deepestLogSD = 0.270 // standard deviation of its logarithm
	middleRatio  = 0.527 // of the depth farthest from the shore
	middleLogSD  = 0.307
	ratioPonds   = 26
	// ratioT is Student's t for 95 % at 25 degrees of freedom, ratioT80 that for
	// 80 % (Abramowitz & Stegun, 1964, Handbook of Mathematical Functions, table
	// 26.10).
	ratioT   = 2.060
	ratioT80 = 1.316
)

// Guess is a ballpark of how much water there is. It is never for ordering.
type Guess struct {
	Anchor    Anchor
	Depth     unit.Meters // as given; zero for FromOutline
	Area      bed.Interval[unit.SquareMeters]
	Volume    bed.Interval[unit.CubicMeters]
	MeanDepth bed.Interval[unit.Meters]
	Deepest   unit.Meters // likely
	Source    string      // where ratio and spread come from
}

// GuessWater guesses the water inside an outline from one depth or none. The
// interval is that for one more pond: the spread of the ratio over ponds of known
// bed, with what so few ponds leave open. The depth counts as exact. It returns a
// *unit.RangeError for a depth outside 0.2 to 60 m, and what Measure does for the
// outline.
func GuessWater(s *shore.Shore, anchor Anchor, depth unit.Meters) (Guess, error) {
	r, err := Measure(Input{Shore: s}, nil)
	if err != nil {
		return Guess{}, err
	}
	g := Guess{Anchor: anchor, Area: r.Area}
	if anchor == FromOutline {
		g.Volume, g.MeanDepth = r.Volume, r.MeanDepth
		g.Deepest = r.MaxDepth.Value
		g.Source = "no depth was given: a mean depth of 1.5 m is taken, and a factor of 3 either way said to hold 95 of 100 ponds (judgement, no source)"
		return g, nil
	}
	if err := unit.CheckRange("depth to guess from (m)", float64(depth), 0.2, 60, "this project's own limit"); err != nil {
		return Guess{}, err
	}
	g.Depth = depth
	ratio, logSD := deepestRatio, deepestLogSD
	g.Deepest = depth
	g.Source = "mean over greatest depth of the 26 ponds of known bed that this project is tested on, 0.16 to 0.65; small dug ponds lie at the upper end"
	if anchor == FromMiddle {
		ratio, logSD = middleRatio, middleLogSD
		g.Deepest = depth * unit.Meters(max(1, middleRatio/deepestRatio))
		g.Source = "mean depth over the depth farthest from the shore in the 26 ponds of known bed that this project is tested on, 0.29 to 1.20"
	}
	g.MeanDepth = guessed(depth*unit.Meters(ratio), logSD)
	g.Volume = guessed(unit.CubicMeters(float64(g.MeanDepth.Value)*float64(g.Area.Value)), logSD)
	return g, nil
}

// guessed returns the interval for one more pond.
func guessed[Q ~float64](value Q, logSD float64) bed.Interval[Q] {
	one := logSD * math.Sqrt(1+1.0/ratioPonds)
	at := func(t float64) Q { return value * Q(math.Exp(t*one)) }
	return bed.Interval[Q]{Value: value, Low: at(-ratioT), High: at(ratioT), Low80: at(-ratioT80), High80: at(ratioT80)}
}
