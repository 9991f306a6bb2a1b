// Package plume reports how much water a column of air bubbles lifts from a
// diffuser on the bottom of a pond.
//
// It knows one diffuser at a time, by its air, its depth and the water above
// it. It does not know where diffusers stand or what carries the air there.
//
// The usual call is LiftAt, which answers with a flow that may be promised and
// the ends around it:
//
//	lift, err := plume.LiftAt(unit.SCFM(1), unit.Feet(14), plume.Site{
//		Pressure:    unit.StandardPressure,
//		Temperature: unit.Celsius(20),
//	})
//
// Two models stand behind it. The closed form of Kobus (Proc. 11th Coastal
// Engineering Conf., 1968), as used in Lorenzen & Fast (EPA-600/3-77-004, 1977),
// and an integral of a round Gaussian plume with bubble slip and isothermal gas
// expansion (Cederwall & Ditmars, Caltech KH-R-24, 1970; Wüest, Brooks &
// Imboden, Water Resour. Res. 28, 1992). Kobus' own measured fluxes lie below
// the closed form and around the integral, so neither is promised as it stands.
//
// Air enters as standard flow, which is mass, and is converted to the volume it
// fills at the pond's surface pressure and water temperature before any formula
// sees it. At 5,000 ft the same mass fills a fifth more volume than standard
// flow says.
package plume

import (
	"math"
	"slices"

	"pondwright/calc/unit"
	"pondwright/calc/water"
)

// Site is the place a column of bubbles rises at.
type Site struct {
	// Pressure is the atmospheric pressure at the water surface, 50 to 110 kPa.
	Pressure unit.Pascals
	// Temperature of the water, 0 to 40 °C. With a Profile it is not used.
	Temperature unit.Kelvin
	// Profile of the water above the diffuser. The zero value is water of one
	// temperature from top to bottom.
	Profile water.Profile
}

// The ranges in which the package answers. Beyond the measured ranges, which
// are narrower, a result carries a Note.
const (
	maxAirM3S       = 0.05 // about 100 scfm
	minSubmergenceM = 0.1
	maxSubmergenceM = 30.0
	minPressurePa   = 50e3
	maxPressurePa   = 110e3
	rangeSource     = "range in which the plume model is meant to be used"
)

// column is a checked input, unpacked.
type column struct {
	hM    float64 // diffuser below the surface
	v0M3S float64 // air at the pressure of the surface and the water's temperature
	haM   float64 // atmospheric pressure as head of water
	rho0  float64 // density of the water at the diffuser
	amb   ambient // empty where the water is of one temperature
}

func newColumn(air unit.StdCubicMetersPerSecond, submergence unit.Meters, site Site) (column, error) {
	if err := unit.CheckRange("air (std m³/s)", float64(air), 0, maxAirM3S, rangeSource); err != nil {
		return column{}, err
	}
	if err := unit.CheckRange("submergence (m)", float64(submergence), minSubmergenceM, maxSubmergenceM, rangeSource); err != nil {
		return column{}, err
	}
	if err := unit.CheckRange("site pressure (Pa)", float64(site.Pressure), minPressurePa, maxPressurePa, rangeSource); err != nil {
		return column{}, err
	}
	temp := site.Temperature
	if !site.Profile.IsZero() {
		reach := float64(site.Profile.Deepest()) + profileSlackM
		if err := unit.CheckRange("submergence (m)", float64(submergence), minSubmergenceM, reach, "depth the profile reaches"); err != nil {
			return column{}, err
		}
		temp = site.Profile.Temperature(submergence)
	}
	rho, err := water.Density(temp)
	if err != nil {
		return column{}, err
	}
	c := column{
		hM:    float64(submergence),
		v0M3S: float64(air.Mass().Actual(site.Pressure, temp)),
		rho0:  float64(rho),
	}
	c.haM = float64(site.Pressure) / (c.rho0 * unit.GravityMPS2)
	if !site.Profile.IsZero() {
		c.amb = newAmbient(site.Profile, c.hM)
	}
	return c, nil
}

// ambient is the water around the plume by height above the diffuser: a broken
// line of a conserved scalar, and the density that belongs to it.
type ambient struct {
	zM     []float64 // increasing, first 0
	scalar []float64 // °C for real water
	rho    func(scalar float64) float64
}

func newAmbient(p water.Profile, hM float64) ambient {
	at := func(depthM float64) float64 { return p.Temperature(unit.Meters(depthM)).Celsius() }
	a := ambient{rho: water.DensityKgM3}
	add := func(zM, s float64) {
		a.zM = append(a.zM, zM)
		a.scalar = append(a.scalar, s)
	}
	var depthsM []float64
	p.Knots(func(depthM, _ float64) {
		if depthM > 0 && depthM < hM {
			depthsM = append(depthsM, depthM)
		}
	})
	add(0, at(hM))
	for _, d := range slices.Backward(depthsM) {
		add(hM-d, at(d))
	}
	add(hM, at(0))
	return a
}

func (a *ambient) still() bool { return len(a.zM) == 0 }

// at reads the scalar at height z; i is the caller's place in the line and
// makes a walk up the column cost nothing to look up.
func (a *ambient) at(zM float64, i *int) float64 {
	n := len(a.zM)
	for *i+2 < n && zM > a.zM[*i+1] {
		*i++
	}
	for *i > 0 && zM < a.zM[*i] {
		*i--
	}
	z0, z1 := a.zM[*i], a.zM[*i+1]
	f := (zM - z0) / (z1 - z0)
	f = math.Max(0, math.Min(1, f))
	return a.scalar[*i] + f*(a.scalar[*i+1]-a.scalar[*i])
}

// neutral reports the height at or below topM where the surrounding water has
// density rho, searched downward: where water let go at topM comes to rest.
func (a *ambient) neutral(rho, topM float64) float64 {
	i := len(a.zM) - 2
	zHi := topM
	rHi := a.rho(a.at(topM, &i))
	if rHi >= rho {
		return topM
	}
	for k, v := range slices.Backward(a.zM) {
		if v >= topM {
			continue
		}
		rLo := a.rho(a.scalar[k])
		if rLo >= rho {
			f := (rho - rLo) / (rHi - rLo)
			return v + f*(zHi-v)
		}
		zHi, rHi = v, rLo
	}
	return 0
}
