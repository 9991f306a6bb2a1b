package air

import "pondwright/calc/unit"

const (
	defaultRoughnessM = 1.5e-6
	defaultWaterKgM3  = 1000.0
	nearBoundShare    = 0.6

	valveChokeRatio = 0.7 // xT

	reliefFactor = 1.2
	reliefMargin = 1.5 * psi
	reliefStep   = 0.5 * psi

	psi = 6894.757293168361 // Pa
)

// Defaults lists the figures of this package that rest on memory, practice or
// judgement, and the published ones a person may want to replace.
func Defaults() []unit.Setting {
	out := []unit.Setting{
		{Name: "roughness of smooth plastic hose", Value: defaultRoughnessM, Unit: "m", Mark: unit.FromMemory, Source: "handbooks, drawn tubing and plastic"},
		{Name: "density of pond water for head", Value: defaultWaterKgM3, Unit: "kg/m³", Mark: unit.Judgement, Source: "above any warm fresh water, so on the safe side"},
		{Name: "share of the adiabatic bound above which a curve is doubted", Value: nearBoundShare, Unit: "1", Mark: unit.Judgement},
		{Name: "choked pressure ratio of a balancing valve", Value: valveChokeRatio, Unit: "1", Mark: unit.FromMemory, Source: "IEC 60534-2-1"},
		{Name: "relief setting over normal pressure", Value: reliefFactor, Unit: "1", Mark: unit.CommonPractice},
		{Name: "relief setting above normal pressure, at least", Value: reliefMargin, Unit: "Pa", Mark: unit.CommonPractice},
		{Name: "step of relief settings", Value: reliefStep, Unit: "Pa", Mark: unit.CommonPractice},
	}
	return out
}
