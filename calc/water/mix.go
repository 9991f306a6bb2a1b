package water

import "pondwright/calc/unit"

// Outcome is a pond after it has mixed.
type Outcome struct {
	Temperature unit.Kelvin
	Oxygen      unit.MilligramsPerLiter // never below zero
	// SurfaceCooling is how much colder the surface becomes.
	SurfaceCooling unit.KelvinDelta
}

// ImmediateDemand reports the default for the oxygen that reduced iron and
// sulfide in bottom water take at once when they meet oxygen, per volume of
// bottom water: 2 mg/L where the bottom holds less than 0.5 mg/L, else none
// (judgement; real values run from 0 to 5). Measure it: mix equal parts of
// bottom and top water in a full bottle and read oxygen again after half an hour.
func ImmediateDemand(bottom unit.MilligramsPerLiter) unit.MilligramsPerLiter {
	if bottom < demandBelowMgL {
		return demandMgL
	}
	return 0
}

// MixTonight reports what is left if the pond turned over at once,
//
//	C = (Σ Ci Vi − demand × bottom volume)/V
//
// with no time for the surface to help. Temperature mixes by volume. A pond
// without water gives the zero Outcome.
func (l Layers) MixTonight(demand unit.MilligramsPerLiter) Outcome {
	var volume, heat, oxygen float64
	for _, p := range [...]Layer{l.Upper, l.Middle, l.Bottom} {
		v := float64(p.Volume)
		volume += v
		heat += v * float64(p.Temperature)
		oxygen += v * float64(p.Oxygen)
	}
	if !(volume > 0) {
		return Outcome{}
	}
	oxygen -= max(0, float64(demand)) * float64(l.Bottom.Volume)
	mixed := unit.Kelvin(heat / volume)
	return Outcome{
		Temperature:    mixed,
		Oxygen:         unit.MilligramsPerLiter(max(0, oxygen/volume)),
		SurfaceCooling: unit.KelvinDelta(l.Upper.Temperature - mixed),
	}
}

// Gate is what oxygen after mixing permits.
type Gate uint8

// The gates, worst first.
const (
	Stop Gate = iota // do not start: wait for the season to turn
	Ramp             // let a little bottom water up each day
	Go               // start
)

// String names the gate.
func (g Gate) String() string {
	switch g {
	case Stop:
		return "stop"
	case Ramp:
		return "ramp"
	case Go:
		return "go"
	}
	return "unknown gate"
}

// GateFor reports the gate for oxygen after mixing and the cooling of the
// surface: Stop below 3 mg/L, which stresses most warm-water fish (Texas A&M
// AquaPlant; Wurts, Kentucky State Univ. WKY-211), Go from 5 mg/L, below which
// game fish are stressed (Ohio State Extension), with cooling of at most 3 K
// (judgement), Ramp between. A value that is not a number stops.
func GateFor(oxygen unit.MilligramsPerLiter, cooling unit.KelvinDelta) Gate {
	switch {
	case !(oxygen >= stopMgL):
		return Stop
	case oxygen >= goMgL && cooling <= maxCoolingK:
		return Go
	}
	return Ramp
}
