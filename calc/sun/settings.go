package sun

import (
	"fmt"

	"pondwright/calc/unit"
)

const (
	groundAlbedo      = 0.2
	snowAlbedo        = 0.7
	linkeTurbidity    = 3
	leastTiltDeg      = 10
	nominalCellC      = 45
	powerPerK         = -0.0037
	openPerK          = -0.0028
	directShare       = 0.75
	storageShare      = 0.60
	sunlessDays       = 3
	leadDepth         = 0.5
	leadEfficiency    = 0.80
	leadAtFreezing    = 0.8
	lithiumDepth      = 0.8
	lithiumEfficiency = 0.92
	lithiumAtFreezing = 0.9
	bankV             = 24
	motorLossShare    = 0.03
	farStationM       = 150e3
)

const duffieBeckman = "Duffie and Beckman, Solar Engineering of Thermal Processes"

// Settings lists the figures of this package that rest on memory, practice or
// judgement, in a fixed order. Most are the meaning of a zero in an argument and
// so can be replaced; the others are part of a method and are listed to be seen.
func Settings() []unit.Setting {
	return append(usualSettings(), fitSettings()...)
}

// fitSettings lists the figures of fits that nobody read in their source.
func fitSettings() []unit.Setting {
	const young, erbs = "Kasten and Young, Applied Optics 28, 1989", "Erbs, Klein and Duffie, Solar Energy 28, 1982"
	out := []unit.Setting{
		{Name: "air mass: factor", Value: airMass0, Unit: "1", Mark: unit.FromMemory, Source: young},
		{Name: "air mass: zenith at which it would end", Value: airMass1, Unit: "°", Mark: unit.FromMemory, Source: young},
		{Name: "air mass: exponent", Value: airMass2, Unit: "1", Mark: unit.FromMemory, Source: young},
	}
	for _, f := range []struct {
		name string
		fit  *dailyFit
	}{{"short days", &erbsWinter}, {"longer days", &erbsSummer}} {
		for i, v := range f.fit.by {
			if v != 0 {
				out = append(out, unit.Setting{Name: fmt.Sprintf("daily diffuse share, %s: by clearness to the power of %d", f.name, i+1), Value: v, Unit: "1", Mark: unit.FromMemory, Source: erbs})
			}
		}
		out = append(out, unit.Setting{Name: "daily diffuse share, " + f.name + ": clearness from which it stays", Value: f.fit.edge, Unit: "1", Mark: unit.FromMemory, Source: erbs},
			unit.Setting{Name: "daily diffuse share, " + f.name + ": of the clearest days", Value: f.fit.clearOn, Unit: "1", Mark: unit.FromMemory, Source: erbs})
	}
	return out
}

func usualSettings() []unit.Setting {
	return []unit.Setting{
		{Name: "solar constant of the daily and monthly fits", Value: solarConstantWM2, Unit: "W/m²", Mark: unit.FromMemory, Source: duffieBeckman + ", sec. 1.2 (1361 is today's best figure)"},
		{Name: "terrestrial minus universal time", Value: deltaTS, Unit: "s", Mark: unit.FromMemory, Source: "Earth rotation service, 2020s"},
		{Name: "albedo of the ground", Value: groundAlbedo, Unit: "1", Mark: unit.FromMemory, Source: duffieBeckman + ", sec. 2.15"},
		{Name: "albedo of fresh snow", Value: snowAlbedo, Unit: "1", Mark: unit.FromMemory, Source: duffieBeckman + ", sec. 2.15"},
		{Name: "Linke turbidity of a clear sky", Value: linkeTurbidity, Unit: "1", Mark: unit.CommonPractice},
		{Name: "least tilt at which rain cleans the glass", Value: leastTiltDeg, Unit: "°", Mark: unit.Published, Source: "NREL report 95004, sec. 3.2.2"},
		{Name: "nominal cell temperature", Value: nominalCellC, Unit: "°C", Mark: unit.CommonPractice},
		{Name: "change of module power with cell temperature", Value: powerPerK, Unit: "1/K", Mark: unit.CommonPractice},
		{Name: "change of open-circuit voltage with cell temperature", Value: openPerK, Unit: "1/K", Mark: unit.CommonPractice},
		{Name: "share of rated power that reaches a pump without battery", Value: directShare, Unit: "1", Mark: unit.CommonPractice},
		{Name: "share of the panel's light that reaches a pump through a battery", Value: storageShare, Unit: "1", Mark: unit.CommonPractice},
		{Name: "days without sun that a battery bridges", Value: sunlessDays, Unit: "d", Mark: unit.CommonPractice},
		{Name: "lead-acid: depth of discharge", Value: leadDepth, Unit: "1", Mark: unit.CommonPractice},
		{Name: "lead-acid: efficiency", Value: leadEfficiency, Unit: "1", Mark: unit.CommonPractice},
		{Name: "lead-acid: share of charge at 0 °C", Value: leadAtFreezing, Unit: "1", Mark: unit.CommonPractice},
		{Name: "lithium iron phosphate: depth of discharge", Value: lithiumDepth, Unit: "1", Mark: unit.CommonPractice},
		{Name: "lithium iron phosphate: efficiency", Value: lithiumEfficiency, Unit: "1", Mark: unit.CommonPractice},
		{Name: "lithium iron phosphate: share of charge at 0 °C", Value: lithiumAtFreezing, Unit: "1", Mark: unit.Judgement},
		{Name: "battery voltage", Value: bankV, Unit: "V", Mark: unit.CommonPractice},
		{Name: "allowed voltage loss to a motor", Value: motorLossShare, Unit: "1", Mark: unit.FromMemory, Source: "NEC 210.19, informational note"},
		{Name: "distance beyond which a weather station is far", Value: farStationM, Unit: "m", Mark: unit.CommonPractice},
		{Name: "horizontal field below which a compass is not used", Value: blackoutNT * 1e-9, Unit: "T", Mark: unit.Published, Source: "World Magnetic Model annual report 2023, blackout zone"},
		{Name: "highest latitude of the monthly method", Value: maxLatitudeDeg, Unit: "°", Mark: unit.Judgement},
		{Name: "lowest clearness of a month", Value: minClearness, Unit: "1", Mark: unit.Judgement},
		{Name: "highest clearness of a month", Value: maxClearness, Unit: "1", Mark: unit.FromMemory, Source: "Erbs, Klein and Duffie 1982, range of the monthly fit"},
		{Name: "days into which a month is spread", Value: clearDays, Unit: "1", Mark: unit.Judgement},
		{Name: "stride by which a month's days follow one another behind a battery", Value: dayStride, Unit: "1", Mark: unit.Judgement},
		{Name: "elevation below which measured light counts as diffuse", Value: lowSunDeg, Unit: "°", Mark: unit.CommonPractice},
		{Name: "least light for which an array without battery is sized", Value: dimmestWM2, Unit: "W/m²", Mark: unit.Judgement},
	}
}

// Cautions lists what goes with every electrical figure of this package, in a
// fixed order.
func Cautions() []string {
	return []string{
		CodeNote,
		"No cord, inverter or battery at the water's edge; nobody in the water while wiring is open.",
		"A panel in daylight is live: cover it or work behind an open disconnect.",
		"The string's voltage on the coldest morning is above the rated one; controller, fuses and switches must stand it.",
		"Direct drive starts again by itself after dull days: fit a lock-out or timer that a person must reset.",
	}
}
