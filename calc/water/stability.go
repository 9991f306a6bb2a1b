package water

import (
	"math"

	"pondwright/calc/unit"
)

// Stability reports the Schmidt stability of a pond, the work per area of
// surface that mixing it once would take at no loss,
//
//	S = (g/A0) ∫ (z − zv) ρ(z) A(z) dz,  zv = ∫ z A dz / ∫ A dz
//
// z down from the surface (Idso, Limnol. Oceanogr. 18, 1973), integrated by
// trapezoids of at most 1/2000 of the depth. The profile is held below its last
// reading. It is zero for a pond of one temperature and for no pond; it can be
// negative where a profile is upside down.
func Stability(p Profile, h Hypsograph) unit.JoulesPerSquareMeter {
	if h.IsZero() || p.IsZero() {
		return 0
	}
	rho := func(zM float64) float64 { return DensityKgM3(interpolate(p.depthsM, p.tempsC, zM)) }
	s, _ := stability(h, p.depthsM, rho, unit.GravityMPS2)
	return unit.JoulesPerSquareMeter(s)
}

// stability is S and the depth zv of the middle of the water. knotsM are the
// depths at which rho has corners.
func stability(h Hypsograph, knotsM []float64, rho func(zM float64) float64, gMPS2 float64) (sJM2, centerM float64) {
	depthM := float64(h.Depth())
	// Densities are taken against one of them so that no digits are lost.
	rho0 := rho(0)
	var volume, moment, mass, massMoment float64
	area := func(zM float64) float64 { return float64(h.Area(unit.Meters(zM))) }
	cuts := h.cuts(0, depthM, knotsM)
	for i := 1; i < len(cuts); i++ {
		n := math.Ceil((cuts[i] - cuts[i-1]) / depthM * 2000)
		dz := (cuts[i] - cuts[i-1]) / n
		for k := 0.0; k <= n; k++ {
			z := cuts[i-1] + k*dz
			w := dz * area(z)
			if k == 0 || k == n {
				w /= 2
			}
			r := rho(z) - rho0
			volume += w
			moment += w * z
			mass += w * r
			massMoment += w * r * z
		}
	}
	if !(volume > 0) {
		return 0, 0
	}
	centerM = moment / volume
	return gMPS2 * (massMoment - centerM*mass) / area(0), centerM
}

// MixingEnergy reports the work to mix the whole pond once at no loss,
// Stability × surface area. The difference of potential energy between the pond
// as it is and one at its mean temperature is no substitute: density is not
// linear in temperature and that difference depends on where height is counted
// from.
func MixingEnergy(p Profile, h Hypsograph) unit.Joules {
	return unit.Joules(float64(Stability(p, h)) * float64(h.Area(0)))
}

// HoldingPower reports the power per area of surface that keeps a pond mixed
// while the sun warms it, P = g aT q h/(2 cp), for heat q taken up
// through a depth h of mixed water at a temperature; aT is the thermal expansion
// there. No loss is counted: divide by the mixing efficiency for the air. It
// returns a *unit.RangeError for heat outside 0 to 1500 W/m² or depth outside 0
// to 100 m.
func HoldingPower(heat unit.WattsPerSquareMeter, depth unit.Meters, t unit.Kelvin) (unit.WattsPerSquareMeter, error) {
	if err := unit.CheckRange("heat (W/m²)", float64(heat), 0, 1500, "sunshine"); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("depth (m)", float64(depth), 0, 100, "ponds and small lakes"); err != nil {
		return 0, err
	}
	if err := checkTemperature(t, densitySource); err != nil {
		return 0, err
	}
	share := unit.GravityMPS2 * expansionPerK(t.Celsius()) * float64(depth) / (2 * waterHeatJPerKgK)
	return heat * unit.WattsPerSquareMeter(share), nil
}

// waterHeatJPerKgK is the specific heat of water.
const waterHeatJPerKgK = 4182.0

// expansionPerK is −(1/ρ) dρ/dT by central difference.
func expansionPerK(tC float64) float64 {
	const d = 0.01
	return (DensityKgM3(tC-d) - DensityKgM3(tC+d)) / (2 * d * DensityKgM3(tC))
}
