package sound

import "pondwright/calc/unit"

const (
	// UsualSetSpeed is the sound speed that sounders are commonly set to at the
	// factory (common practice, no source), for set-ups that do not say.
	UsualSetSpeed unit.MetersPerSecond = 1500

	minCrossings = 10
	maxBiasM     = 0.06
	minShare     = 0.95
	staffEveryS  = 3600
	staffStepM   = 0.02
	deadZoneM    = 0.6
	minScale     = 0.8
	maxScale     = 1.25
	latencySpanS = 3
	minHold      = 0.01
)

// Settings lists the figures of this package that rest on practice or judgement
// and that a person may replace, in a fixed order.
func Settings() []unit.Setting {
	return []unit.Setting{
		{Name: "sound speed set in a sounder, where the set-up does not say", Value: float64(UsualSetSpeed), Unit: "m/s", Mark: unit.CommonPractice},
		{Name: "least depth below the transducer to trust an echo", Value: deadZoneM, Unit: "m", Mark: unit.CommonPractice},
		{Name: "longest time between staff readings", Value: staffEveryS, Unit: "s", Mark: unit.CommonPractice},
		{Name: "change of level that calls for a staff reading", Value: staffStepM, Unit: "m", Mark: unit.CommonPractice},
		{Name: "fewest crossings of check lines", Value: minCrossings, Unit: "1", Mark: unit.CommonPractice},
		{Name: "greatest mean difference at crossings", Value: maxBiasM, Unit: "m", Mark: unit.Published, Source: "EM 1110-2-1003, 2002, table 3-1, bias on soft bottoms (0.2 ft)"},
		{Name: "share of differences at crossings within their limit", Value: minShare, Unit: "1", Mark: unit.CommonPractice},
		{Name: "least scale of a plate check to believe", Value: minScale, Unit: "1", Mark: unit.Judgement},
		{Name: "greatest scale of a plate check to believe", Value: maxScale, Unit: "1", Mark: unit.Judgement},
		{Name: "longest delay sought in a line run both ways", Value: latencySpanS, Unit: "s", Mark: unit.Judgement},
		{Name: "least mean slope of a line that shows a delay", Value: minHold, Unit: "1", Mark: unit.Judgement},
	}
}
