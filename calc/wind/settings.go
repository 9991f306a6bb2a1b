package wind

import "pondwright/calc/unit"

const (
	anemometerM   = 10
	openShear     = 1.0 / 7
	openShelter   = 1
	cutInMPS      = 3
	hubM          = 6
	mainsV        = 120
	powerFactor   = 0.7
	cableLoss     = 0.03
	trenchCoverM  = 0.6
	trenchWidthM  = 0.15
	fallbackLight = 300
)

// Settings lists the figures of this package that rest on memory, practice or
// judgement, in a fixed order. Every one but the last two is the meaning of a zero
// in an argument, so that a person may replace it; those are listed to be seen.
func Settings() []unit.Setting {
	return []unit.Setting{
		{Name: "height of the anemometer", Value: anemometerM, Unit: "m", Mark: unit.CommonPractice},
		{Name: "exponent of the wind's rise with height in open country", Value: openShear, Unit: "1", Mark: unit.CommonPractice},
		{Name: "share of the open wind that reaches the mill", Value: openShelter, Unit: "1", Mark: unit.Judgement},
		{Name: "cut-in wind of a mill", Value: cutInMPS, Unit: "m/s", Mark: unit.Judgement},
		{Name: "hub height of a mill", Value: hubM, Unit: "m", Mark: unit.Judgement},
		{Name: "mains voltage", Value: mainsV, Unit: "V", Mark: unit.CommonPractice},
		{Name: "power factor of a small motor", Value: powerFactor, Unit: "1", Mark: unit.Judgement},
		{Name: "allowed voltage loss in a cable to a motor", Value: cableLoss, Unit: "1", Mark: unit.FromMemory, Source: "NEC 210.19, informational note"},
		{Name: "cover over a buried cable", Value: trenchCoverM, Unit: "m", Mark: unit.Published, Source: "NEC table 300.5, column 1, direct burial, all locations not otherwise named"},
		{Name: "width of a cable trench", Value: trenchWidthM, Unit: "m", Mark: unit.Judgement},
		{Name: "light for which a directly driven array is sized where the hours asked for cannot be had", Value: fallbackLight, Unit: "W/m²", Mark: unit.Judgement},
		{Name: "running time a day too short to size an array for", Value: leastRunH, Unit: "h", Mark: unit.Judgement},
	}
}
