package gauge

import (
	"time"

	"pondwright/calc/unit"
)

const (
	// normalSpan and normalMost bound the readings that set the normal.
	normalSpan = 7 * 24 * time.Hour
	normalMost = 5
	// lastCount readings stand for now.
	lastCount  = 3
	mostPoints = 300

	bandSigmas  = 2.0
	leastChange = 0.10 // of the normal value
	oddSigmas   = 4.0
	nearShare   = 0.9 // of a limit
	monthS      = 30 * 86400.0
	yearS       = 365 * 86400.0

	waterKgM3 = 1000.0
)

// Defaults lists the figures of this package that rest on judgement.
func Defaults() []unit.Setting {
	return []unit.Setting{
		{Name: "least change of a gauge that means something, of its normal value", Value: leastChange, Unit: "1", Mark: unit.Judgement},
		{Name: "scatter that a change must exceed, robust standard deviations", Value: bandSigmas, Unit: "1", Mark: unit.Judgement},
		{Name: "distance of one reading that is called odd, robust standard deviations", Value: oddSigmas, Unit: "1", Mark: unit.Judgement},
		{Name: "span of the readings that set the normal", Value: normalSpan.Seconds(), Unit: "s", Mark: unit.Judgement},
		{Name: "most readings that set the normal", Value: normalMost, Unit: "1", Mark: unit.Judgement},
		{Name: "last readings that stand for now", Value: lastCount, Unit: "1", Mark: unit.Judgement},
		{Name: "share of a limit from which to warn", Value: nearShare, Unit: "1", Mark: unit.Judgement},
	}
}
