package air

import (
	"errors"
	"math"

	"pondwright/calc/unit"
)

// DischargeTemperature reports how hot air leaves a machine,
//
//	T2 = T1 [1 + (r^((γ−1)/γ) − 1)/η],  r = p2/p1
//
// before the casing loses any heat. η is the adiabatic efficiency, 0.1 to 1;
// pressures must be above zero with outlet not below intake.
func DischargeTemperature(intake unit.Kelvin, p1, p2 unit.Pascals, efficiency float64) (unit.Kelvin, error) {
	if err := unit.CheckRange("intake temperature (K)", float64(intake), 230, 340, "weather and a hot enclosure"); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("intake pressure (Pa)", float64(p1), 50e3, 110e3, "inhabited ground"); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("outlet pressure (Pa)", float64(p2), float64(p1), 2e6, "single-stage machines"); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("adiabatic efficiency", efficiency, 0.1, 1, "small machines"); err != nil {
		return 0, err
	}
	rise := math.Pow(float64(p2)/float64(p1), (heatRatio-1)/heatRatio) - 1
	return unit.Kelvin(float64(intake) * (1 + rise/efficiency)), nil
}

// airHeatJPerKgK is the specific heat of air at constant pressure.
const airHeatJPerKgK = 1005.0

// Pipe is the metal pipe in which air cools before it may enter plastic.
type Pipe struct {
	OutsideDiameter unit.Meters // 5 to 200 mm
	// Coefficient of heat loss to the air around, 0.5 to 200 W/(m²·K); zero
	// means 5, still air.
	LossWM2K float64
}

// ErrNeverCool says that the surroundings are not cooler than the limit.
var ErrNeverCool = errors.New("the air around is hotter than plastic may be: no length of pipe cools the air enough")

// MetalLength reports how much metal pipe stands between a compressor and the
// first plastic, so that the air cools from hot to limit in surroundings at
// ambient: its excess over ambient falls with exp(−U π D L/(m cp)), and never
// less than 10 ft. limit is what the plastic may carry, see PlasticFactor. It
// returns ErrNeverCool or a *unit.RangeError. Rigid PVC is no choice at any
// temperature: it shatters (OSHA hazard bulletin, 1990), and above ground codes
// forbid it for air unless encased.
func MetalLength(m unit.KilogramsPerSecond, hot, ambient, limit unit.Kelvin, p Pipe) (unit.Meters, error) {
	u := p.LossWM2K
	if u == 0 {
		u = defaultLossWM2K
	}
	for _, c := range []struct {
		name        string
		got, lo, hi float64
	}{
		{"air flow (kg/s)", float64(m), 0, 10},
		{"discharge temperature (K)", float64(hot), 230, 800},
		{"ambient temperature (K)", float64(ambient), 230, 340},
		{"temperature limit of plastic (K)", float64(limit), 250, 400},
		{"pipe diameter (m)", float64(p.OutsideDiameter), 0.005, 0.2},
		{"heat loss (W/m²K)", u, 0.5, 200},
	} {
		if err := unit.CheckRange(c.name, c.got, c.lo, c.hi, "pipe of ponds"); err != nil {
			return 0, err
		}
	}
	if ambient >= limit {
		return 0, ErrNeverCool
	}
	if hot <= limit {
		return minMetalM, nil
	}
	decay := u * math.Pi * float64(p.OutsideDiameter) / airHeatJPerKgK
	length := float64(m) / decay * math.Log(float64(hot-ambient)/float64(limit-ambient))
	return unit.Meters(math.Max(minMetalM, length)), nil
}

// Plastic is a kind of polyethylene hose.
type Plastic uint8

// The kinds: without a mark on the hose it is UnknownPE, the weaker table.
const (
	UnknownPE Plastic = iota
	PE4710
)

// PlasticFactor reports the share of its 23 °C pressure rating that hose keeps
// at a temperature, and zero above 60 °C (140 °F), where it must not be used.
// PE4710 follows the Plastics Pipe Institute's Handbook of PE Pipe, 2nd ed.,
// errata of June 2020, chapter 3, table A.2, by steps; unmarked hose takes 0.78
// at 100 °F, 0.63 at 120 °F and 0.5 at 140 °F, from memory, by straight lines.
func PlasticFactor(kind Plastic, t unit.Kelvin) float64 {
	f := t.Fahrenheit()
	if !(f <= 140) {
		return 0
	}
	if kind != PE4710 {
		return unknownFactor(f)
	}
	for _, s := range [...]struct{ upToF, factor float64 }{
		{80, 1}, {90, 0.9}, {100, 0.8}, {110, 0.8}, {120, 0.7}, {130, 0.7},
	} {
		if f <= s.upToF {
			return s.factor
		}
	}
	return 0.6
}

func unknownFactor(f float64) float64 {
	at := [...][2]float64{{80, 1}, {100, 0.78}, {120, 0.63}, {140, 0.5}}
	if f <= at[0][0] {
		return 1
	}
	for i := 1; i < len(at); i++ {
		if f <= at[i][0] {
			s := (f - at[i-1][0]) / (at[i][0] - at[i-1][0])
			return at[i-1][1] + s*(at[i][1]-at[i-1][1])
		}
	}
	return 0
}
