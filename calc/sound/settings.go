package sound

import "pondwright/calc/unit"

const (
	usualSetSpeedMPS = 1500
	minCrossings     = 10
	maxBiasM         = 0.06
	staffEveryS      = 3600
	staffStepM       = 0.02
	deadZoneM        = 0.6
)

// Settings lists the figures of this package that rest on practice or judgement
// and that a person may replace, in a fixed order.
func Settings() []unit.Setting {
	return []unit.Setting{
		{Name: "sound speed set in a sounder, where the set-up does not say", Value: usualSetSpeedMPS, Unit: "m/s", Mark: unit.CommonPractice},
		{Name: "least depth below the transducer to trust an echo", Value: deadZoneM, Unit: "m", Mark: unit.CommonPractice},
		{Name: "longest time between staff readings", Value: staffEveryS, Unit: "s", Mark: unit.CommonPractice},
		{Name: "change of level that calls for a staff reading", Value: staffStepM, Unit: "m", Mark: unit.CommonPractice},
		{Name: "fewest crossings of check lines", Value: minCrossings, Unit: "1", Mark: unit.CommonPractice},
		{Name: "greatest mean difference at crossings", Value: maxBiasM, Unit: "m", Mark: unit.Published, Source: "EM 1110-2-1003, 2002, table 3-1, bias on soft bottoms (0.2 ft)"},
	}
}
