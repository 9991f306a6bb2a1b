package air

import (
	"math"

	"pondwright/calc/unit"
)

// valveKgPerPa is the mass flow of air through a valve of Cv 1 per Pa of inlet
// pressure and Y sqrt(x/T), T in K: 1360 scfh (14.696 psia, 60 °F) per psia and
// root of 1/°R, the constant of the gas equation in US units.
var valveKgPerPa = float64(valveConstant) / 3600 * 0.028316846592 * float64(StandardGasTrade().Density()) / psi / math.Sqrt(1.8)

// Cv reports the flow coefficient of a valve that passes m of air at absolute
// temperature t with a drop from inlet to outlet,
//
//	Q = 1360 Cv p1 Y sqrt(x/(G T)),  x = Δp/p1,  Y = 1 − x/(3 xT),  xT = 0.7
//
// in scfh, psia and °R (IEC 60534-2-1 and ISA-75.01, from memory; US gallons
// per minute of water at 1 psi). A drop past the choke counts as the choke. It
// is zero where there is no drop, which means wide open.
func Cv(m unit.KilogramsPerSecond, inlet, outlet unit.Pascals, t unit.Kelvin) float64 {
	x := math.Min(1-float64(outlet)/float64(inlet), valveChokeRatio)
	if !(x > 0) || !(t > 0) {
		return 0
	}
	y := 1 - x/(3*valveChokeRatio)
	return float64(m) / (valveKgPerPa * float64(inlet) * y * math.Sqrt(x/float64(t)))
}

// Kv converts a Cv to the metric coefficient (m³/h of water at 1 bar).
func Kv(cv float64) float64 { return 0.865 * cv }

// afterValve is the pressure that a valve of flow coefficient cv leaves of
// inletPa at a flow, or 0 where it chokes below that flow. With s = sqrt(x) the
// valve equation is s − s³/(3 xT) = c, whose least positive root has a closed
// form.
func afterValve(cv, mKgS, inletPa, tK float64) float64 {
	c := mKgS * math.Sqrt(tK) / (valveKgPerPa * cv * inletPa)
	sMax := math.Sqrt(valveChokeRatio)
	if c >= 2.0/3*sMax {
		return 0
	}
	s := 2 * sMax * math.Cos(math.Acos(-1.5*c/sMax)/3-2*math.Pi/3)
	return inletPa * (1 - s*s)
}
