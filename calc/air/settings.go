package air

import "pondwright/calc/unit"

const (
	defaultRoughnessM = 1.5e-6
	defaultWaterKgM3  = 1000.0
	nearBoundShare    = 0.6

	valveChokeRatio = 0.7  // xT
	valveConstant   = 1360 // scfh per psia and root of 1/°R
	fouledLeast     = 1.5  // times the clean loss of a diffuser, after years
	fouledMost      = 2.0

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
		{Name: "density of polyethylene", Value: polyethyleneKgM3, Unit: "kg/m³", Mark: unit.FromMemory, Source: "handbooks"},
		{Name: "density of concrete", Value: concreteKgM3, Unit: "kg/m³", Mark: unit.CommonPractice},
		{Name: "bore over wall of light polyethylene hose", Value: wallRatio, Unit: "1", Mark: unit.FromMemory, Source: "ASTM D2239, SIDR 15"},
		{Name: "thinnest wall of polyethylene hose", Value: leastWallM, Unit: "m", Mark: unit.FromMemory, Source: "ASTM D2239"},
		{Name: "metal before plastic, at least", Value: minMetalM, Unit: "m", Mark: unit.CommonPractice},
		{Name: "constant of the gas valve equation", Value: valveConstant, Unit: "1", Mark: unit.FromMemory, Source: "IEC 60534-2-1 and ISA-75.01, in scfh, psia and °R"},
		{Name: "loss of a fouled diffuser over a clean one, least", Value: fouledLeast, Unit: "1", Mark: unit.CommonPractice},
		{Name: "loss of a fouled diffuser over a clean one, most", Value: fouledMost, Unit: "1", Mark: unit.CommonPractice},
		{Name: "pressure at which clean diffusers open, least", Value: 0.25 * psi, Unit: "Pa", Mark: unit.CommonPractice},
		{Name: "pressure at which clean diffusers open, most", Value: 0.6 * psi, Unit: "Pa", Mark: unit.CommonPractice},
		{Name: "unmarked polyethylene: share of rating at 100 °F", Value: unknownFactor(100), Unit: "1", Mark: unit.FromMemory, Source: "Plastics Pipe Institute, Handbook of PE Pipe, ch. 3"},
		{Name: "unmarked polyethylene: share of rating at 120 °F", Value: unknownFactor(120), Unit: "1", Mark: unit.FromMemory, Source: "Plastics Pipe Institute, Handbook of PE Pipe, ch. 3"},
		{Name: "unmarked polyethylene: share of rating at 140 °F", Value: unknownFactor(140), Unit: "1", Mark: unit.FromMemory, Source: "Plastics Pipe Institute, Handbook of PE Pipe, ch. 3"},
	}
	const handbook = "valve-and-fitting flow handbook"
	for _, in := range []struct {
		name string
		bore unit.Meters
	}{{"1/2", unit.Inches(0.622)}, {"3/4", unit.Inches(0.824)}, {"1", unit.Inches(1.049)}} {
		out = append(out, unit.Setting{Name: "friction of complete turbulence in a " + in.name + " in bore", Value: turbulentFriction(in.bore), Unit: "1", Mark: unit.FromMemory, Source: handbook})
	}
	for _, k := range []struct {
		name string
		is   Fitting
	}{{"90° elbow", Elbow90}, {"tee, straight through", TeeRun}, {"tee, into the branch", TeeBranch}, {"gate valve", GateValve}, {"ball valve", BallValve}, {"globe valve", GlobeValve}} {
		out = append(out, unit.Setting{Name: "fitting, loss over friction of complete turbulence: " + k.name, Value: k.is.lengths(), Unit: "1", Mark: unit.FromMemory, Source: handbook})
	}
	out = append(out,
		unit.Setting{Name: "fitting, loss factor: sharp-edged entrance", Value: Fittings(Entrance, 1, 0), Unit: "1", Mark: unit.FromMemory, Source: handbook},
		unit.Setting{Name: "fitting, loss factor: exit", Value: Fittings(Exit, 1, 0), Unit: "1", Mark: unit.FromMemory, Source: handbook})
	for _, r := range []struct {
		name, source string
		state        Reference
	}{
		{"compressed-air handbooks", "current compressed-air handbooks", StandardHandbook()}, {"ISO 1217", "ISO 1217", StandardISO1217()}, {"normal", "DIN 1343", Normal()},
	} {
		out = append(out, unit.Setting{Name: "state of " + r.name + ": pressure", Value: float64(r.state.Pressure), Unit: "Pa", Mark: unit.FromMemory, Source: r.source},
			unit.Setting{Name: "state of " + r.name + ": temperature", Value: float64(r.state.Temperature), Unit: "K", Mark: unit.FromMemory, Source: r.source})
	}
	for _, b := range Bores() {
		out = append(out, unit.Setting{Name: "bore: " + b.Standard + ", " + b.Nominal + " in", Value: float64(b.Inside), Unit: "m", Mark: b.Mark, Source: b.Source})
	}
	for _, k := range MachineKinds() {
		out = append(out, unit.Setting{Name: "power into air, least: " + k.Name, Value: k.Low, Unit: "1", Mark: unit.CommonPractice},
			unit.Setting{Name: "power into air, most: " + k.Name, Value: k.High, Unit: "1", Mark: unit.CommonPractice},
			unit.Setting{Name: "usual highest pressure: " + k.Name, Value: float64(k.Highest), Unit: "Pa", Mark: unit.CommonPractice})
	}
	for _, m := range Motors() {
		out = append(out, unit.Setting{Name: "motor efficiency: " + m.Name, Value: m.Efficiency, Unit: "1", Mark: m.Mark, Source: m.Source})
	}
	return out
}
