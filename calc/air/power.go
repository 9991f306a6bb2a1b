package air

import (
	"math"

	"pondwright/calc/unit"
)

// AdiabaticPower is the power to compress an intake flow from one pressure to
// another without loss and without cooling,
//
//	P = γ/(γ−1) p1 V1 [(p2/p1)^((γ−1)/γ) − 1],  γ = 1.4
//
// zero where outlet is not above intake.
func AdiabaticPower(intake, outlet unit.Pascals, flow unit.CubicMetersPerSecond) unit.Watts {
	if !(outlet > intake) || !(intake > 0) || !(flow > 0) {
		return 0
	}
	const k = (heatRatio - 1) / heatRatio
	r := float64(outlet) / float64(intake)
	return unit.Watts(float64(intake) * float64(flow) / k * (math.Pow(r, k) - 1))
}

// IsothermalPower is the power to compress an intake flow without loss at one
// temperature, P = p1 V1 ln(p2/p1): no machine does it for less.
func IsothermalPower(intake, outlet unit.Pascals, flow unit.CubicMetersPerSecond) unit.Watts {
	if !(outlet > intake) || !(intake > 0) || !(flow > 0) {
		return 0
	}
	return unit.Watts(float64(intake) * float64(flow) * math.Log(float64(outlet)/float64(intake)))
}

// MaxFlow is the intake flow that a power compresses isothermally at a
// shaft-to-air efficiency; at efficiency 1 it is the bound no machine passes.
// It is zero without power or efficiency, and else +Inf where outlet is not above
// intake.
func MaxFlow(power unit.Watts, intake, outlet unit.Pascals, efficiency float64) unit.CubicMetersPerSecond {
	if !(power > 0) || !(efficiency > 0) {
		return 0
	}
	perFlow := float64(IsothermalPower(intake, outlet, 1))
	if perFlow == 0 {
		return unit.CubicMetersPerSecond(math.Inf(1))
	}
	return unit.CubicMetersPerSecond(float64(power) / perFlow * efficiency)
}

// Motor is a kind of electric motor with the efficiency from input to shaft.
type Motor struct {
	Name       string
	Efficiency float64
	Mark       unit.Mark
	Source     string
}

// Motors lists motor kinds. The first three are the least averages the law asks
// of open four-pole capacitor-start motors at full load; the rest are mid
// values of what is met.
func Motors() []Motor {
	const law = "10 CFR 431.446, text of January 2025"
	return []Motor{
		{"capacitor-start, open, 4-pole, 1/4 hp", 0.685, unit.Published, law},
		{"capacitor-start, open, 4-pole, 1/3 hp", 0.724, unit.Published, law},
		{"capacitor-start, open, 4-pole, 1/2 hp", 0.762, unit.Published, law},
		{"shaded-pole or permanent-split capacitor, fractional", 0.48, unit.CommonPractice, ""},
		{"brushless direct current", 0.80, unit.CommonPractice, ""},
		{"brushed direct current", 0.68, unit.CommonPractice, ""},
	}
}

// Input reports the electrical input for a shaft power; zero efficiency gives
// +Inf, no power needs none.
func (m Motor) Input(shaft unit.Watts) unit.Watts {
	if shaft == 0 {
		return 0
	}
	return unit.Watts(float64(shaft) / m.Efficiency)
}

// MachineKind is a kind of small compressor and how much of its power ends up
// in compressed air, against AdiabaticPower: of the electrical input where
// Electrical, else of the shaft's. All ranges are common practice without a
// source; a maker's curve is always better.
type MachineKind struct {
	Name       string
	Highest    unit.PascalsGauge // usual limit
	Low, High  float64
	Electrical bool
}

// MachineKinds lists the kinds that ponds are aerated with. Above 1000 m the
// maker's thermal rating of the motor applies.
func MachineKinds() []MachineKind {
	return []MachineKind{
		{"linear diaphragm", unit.PSIG(5), 0.25, 0.45, true},
		{"oil-less rocking piston", unit.PSIG(50), 0.25, 0.50, false},
		{"dry rotary vane", unit.PSIG(15), 0.20, 0.40, false},
	}
}
