package treat

import "fmt"

// Rule is a rule under which this package refuses.
type Rule string

// The rules, each a reason to stop.
const (
	NoBasis       Rule = "say whether the level means the product or its active ingredient"
	LayerMixes    Rule = "a part of the pond is dosed on its own only while the aerator is off and stays off"
	LayerWeak     Rule = "a layer is dosed on its own only under a strong thermocline, measured"
	TooMuchWeed   Rule = "only part of a weedy pond is treated at a time"
	OverLabel     Rule = "the level is above the label's maximum"
	OverToxicant  Rule = "the level is above the maximum for rotenone"
	NoAlkalinity  Rule = "copper needs the water's alkalinity, measured"
	SoftWater     Rule = "no copper in water this soft"
	OverCopper    Rule = "the level is more copper than this alkalinity bears"
	CausticLime   Rule = "hydrated and quick lime can kill fish"
	AgainstFigure Rule = "a quantity cannot be told from these figures"
)

// Refusal is an answer that this package will not give, and the way out.
type Refusal struct {
	Rule       Rule
	Got, Limit float64 // zero where the rule has no number
	Unit       string  // of Got and Limit
	Remedy     string
	Source     string
}

// Error says the rule, the figures, the remedy and the source.
func (r *Refusal) Error() string {
	s := "refused: " + string(r.Rule)
	if r.Unit != "" {
		s += fmt.Sprintf(" (%.4g %s, limit %.4g)", r.Got, r.Unit, r.Limit)
	}
	if r.Remedy != "" {
		s += ": " + r.Remedy
	}
	if r.Source != "" {
		s += " (" + r.Source + ")"
	}
	return s
}
