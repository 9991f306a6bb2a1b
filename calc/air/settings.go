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

	defaultLossWM2K = 5.0
	minMetalM       = 3.048 // 10 ft

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
		{Name: "heat loss of bare pipe in still air", Value: defaultLossWM2K, Unit: "W/(m²·K)", Mark: unit.CommonPractice},
		{Name: "metal before plastic, at least", Value: minMetalM, Unit: "m", Mark: unit.CommonPractice},
		{Name: "unmarked polyethylene: share of rating at 100 °F", Value: 0.78, Unit: "1", Mark: unit.FromMemory, Source: "Plastics Pipe Institute, Handbook of PE Pipe, ch. 3"},
		{Name: "unmarked polyethylene: share of rating at 120 °F", Value: 0.63, Unit: "1", Mark: unit.FromMemory, Source: "Plastics Pipe Institute, Handbook of PE Pipe, ch. 3"},
		{Name: "unmarked polyethylene: share of rating at 140 °F", Value: 0.5, Unit: "1", Mark: unit.FromMemory, Source: "Plastics Pipe Institute, Handbook of PE Pipe, ch. 3"},
		{Name: "friction of complete turbulence in a 1/2 in bore", Value: 0.026, Unit: "1", Mark: unit.FromMemory, Source: "valve-and-fitting flow handbook"},
	}
	for _, b := range Bores() {
		out = append(out, unit.Setting{Name: "bore: " + b.Standard + ", " + b.Nominal + " in", Value: float64(b.Inside), Unit: "m", Mark: b.Mark, Source: b.Source})
	}
	for _, k := range MachineKinds() {
		out = append(out, unit.Setting{Name: "power into air, least: " + k.Name, Value: k.Low, Unit: "1", Mark: unit.CommonPractice},
			unit.Setting{Name: "power into air, most: " + k.Name, Value: k.High, Unit: "1", Mark: unit.CommonPractice})
	}
	for _, m := range Motors() {
		out = append(out, unit.Setting{Name: "motor efficiency: " + m.Name, Value: m.Efficiency, Unit: "1", Mark: m.Mark, Source: m.Source})
	}
	return out
}
