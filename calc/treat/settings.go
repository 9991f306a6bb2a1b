package treat

import "pondwright/calc/unit"

// Settings lists the figures of this package with their marks, in a fixed order.
// Limits of safety are listed to be seen; they are not to be raised.
func Settings() []unit.Setting {
	return []unit.Setting{
		{Name: "greatest share of a weedy pond treated at a time", Value: maxWeedShare, Unit: "1", Mark: unit.FromMemory, Source: "extension bulletins"},
		{Name: "days between parts of a weedy pond, at least", Value: 10, Unit: "d", Mark: unit.FromMemory, Source: "extension bulletins"},
		{Name: "days between parts of a weedy pond, at most", Value: 14, Unit: "d", Mark: unit.FromMemory, Source: "extension bulletins"},
		{Name: "greatest level of rotenone, active ingredient", Value: maxRotenoneMGL, Unit: "mg/L", Mark: unit.Published, Source: rotenoneSource},
		{Name: "least alkalinity for copper", Value: minCopperAlkMGL, Unit: "mg/L", Mark: unit.Published, Source: copperSource},
		{Name: "greatest level of copper sulfate in hard water", Value: maxCopperSulfate, Unit: "mg/L", Mark: unit.Published, Source: copperSource},
		{Name: "alkalinity below which a pond is limed", Value: minLimeAlkMGL, Unit: "mg/L", Mark: unit.Published, Source: "SRAC 4100, 2013"},
		{Name: "coldest water for a fish toxicant to work well", Value: coldTreatC, Unit: "°C", Mark: unit.Published, Source: "Colorado state agency, questions and answers on rotenone"},
		{Name: "warmest water for a fish toxicant to work well", Value: warmTreatC, Unit: "°C", Mark: unit.Published, Source: "Colorado state agency, questions and answers on rotenone"},
		{Name: "warmest surface for a new start of the aerator", Value: hottestC, Unit: "°C", Mark: unit.Judgement},
		{Name: "warmest month in which a pond is taken as mixed", Value: mixedToC, Unit: "°C", Mark: unit.Judgement},
		{Name: "coldest month in which a pond is taken as mixed", Value: mixedFromC, Unit: "°C", Mark: unit.Judgement},
		{Name: "water colder than this may carry ice", Value: iceC, Unit: "°C", Mark: unit.Judgement},
	}
}
