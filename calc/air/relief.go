package air

import (
	"errors"
	"math"

	"pondwright/calc/unit"
)

// Rating is the highest pressure a part may see at the temperature it runs at.
type Rating struct {
	Part  string
	Limit unit.PascalsGauge
}

// ErrNoRatings says that no part's rating is known, so no relief setting can be
// called safe.
var ErrNoRatings = errors.New("a relief setting needs the rating of the weakest part")

// WeakestPartError says that a part cannot take the pressure at which a relief
// valve would have to stand for normal running.
type WeakestPartError struct {
	Weakest Rating
	Needed  unit.PascalsGauge // the least setting that normal running allows
}

// Error names the part, its limit and what is needed.
func (e *WeakestPartError) Error() string { return e.Text().String() }

// Text names the part, its limit and what is needed.
func (e *WeakestPartError) Text() unit.Text {
	return unit.Say("%s is rated %s, the relief valve needs at least %s: choose a stronger part or less pressure",
		e.Weakest.Part, e.Weakest.Limit.Text(), e.Needed.Text())
}

// ReliefSetting reports where the relief valve stands for a normal manifold
// pressure: the larger of 1.2 × normal and normal + 1.5 psi, rounded up to half
// a psi where the weakest part allows it, and never above the weakest part. It
// returns ErrNoRatings, a *WeakestPartError, or a *unit.RangeError for a normal
// pressure outside 0 to 1 MPa.
//
// The valve must pass the full flow of the compressors at this setting, and no
// other valve may stand between it and them. The rule is common practice without
// a published source: local code and the maker's instructions come first.
func ReliefSetting(normal unit.PascalsGauge, ratings []Rating) (unit.PascalsGauge, error) {
	if err := unit.CheckRange("normal manifold pressure (Pa)", float64(normal), 0, 1e6, "aeration systems"); err != nil {
		return 0, err
	}
	if len(ratings) == 0 {
		return 0, ErrNoRatings
	}
	weakest := ratings[0]
	for _, r := range ratings {
		if err := unit.CheckRange("rating of "+r.Part+" (Pa)", float64(r.Limit), 0, 1e8, "pressure parts"); err != nil {
			return 0, err
		}
		if r.Limit < weakest.Limit {
			weakest = r
		}
	}
	needed := math.Max(reliefFactor*float64(normal), float64(normal)+reliefMargin)
	if needed > float64(weakest.Limit) {
		return 0, &WeakestPartError{Weakest: weakest, Needed: unit.PascalsGauge(needed)}
	}
	set := math.Ceil(needed/reliefStep-1e-9) * reliefStep
	return min(unit.PascalsGauge(set), weakest.Limit), nil
}
