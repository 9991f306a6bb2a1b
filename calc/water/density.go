// Package water knows still fresh water: its density, how much oxygen it can
// hold, how a pond is layered, what keeps the layers apart and what is left
// when they mix.
//
// It does not know where the pond is or how it was measured, and it moves no
// water: that is package plume.
//
// The usual sequence:
//
//	p, err := water.NewProfile(readings)   // temperature and oxygen by depth
//	h, err := water.NewHypsograph(levels)  // area by depth
//	l := water.Split(p, h)                 // upper, middle and bottom water
//	mixed := l.MixTonight(water.ImmediateDemand(l.Bottom.Oxygen))
//	gate := water.GateFor(mixed.Oxygen, mixed.SurfaceCooling)
//
// The methods follow Tanaka et al. 2001 (density), Benson & Krause 1984 and
// Standard Methods 4500-O (oxygen), Idso 1973 (stability) and Read et al. 2011
// (layers).
package water

import (
	"math"

	"pondwright/calc/unit"
)

const (
	waterMinC = 0.0
	waterMaxC = 40.0

	densitySource = "Tanaka et al. 2001: fresh water"
)

// Density reports the density of air-free fresh water at one atmosphere by
// Tanaka et al., Metrologia 38 (2001) 301, the formula recommended by the CIPM.
// It is valid from 0 to 40 °C; outside it returns a *unit.RangeError.
//
// It is the one density of this project: of the formulas in use it alone has a
// stated uncertainty (below 0.001 kg/m³), and differences between temperatures,
// which drive every stratification number, agree with the others within 0.2 %.
// DensityMartinMcCutcheon is kept to check against published lake examples.
func Density(t unit.Kelvin) (unit.KilogramsPerCubicMeter, error) {
	if err := checkTemperature(t, densitySource); err != nil {
		return 0, err
	}
	return unit.KilogramsPerCubicMeter(DensityKgM3(t.Celsius())), nil
}

// DensityKgM3 is the kernel of Density: tC in °C, kg/m³ out, no range check.
func DensityKgM3(tC float64) float64 {
	d := tC - 3.983035
	return 999.974950 * (1 - d*d*(tC+301.797)/(522528.9*(tC+69.34881)))
}

// DensityMartinMcCutcheon is the density in kg/m³ of fresh water at tC in °C by
// Martin & McCutcheon, Hydrodynamics and Transport for Water Quality Modeling,
// 1999, valid from 0 to 40 °C, with no range check. Lake physics software uses
// it, so published stability examples do too.
func DensityMartinMcCutcheon(tC float64) float64 {
	d := tC - 3.9863
	return 1000 * (1 - (tC+288.9414)*d*d/(508929.2*(tC+68.12963)))
}

// slackC lets pass what a temperature at the limit picks up on its way through
// kelvin or °F.
const slackC = 1e-9

// checkTemperature returns a *unit.RangeError that names the true limits.
func checkTemperature(t unit.Kelvin, source string) error {
	tC := t.Celsius()
	if tC >= waterMinC-slackC && tC <= waterMaxC+slackC {
		return nil
	}
	return unit.CheckRange("water temperature (°C)", tC, waterMinC, waterMaxC, source)
}

// AirPressure reports the pressure of the standard atmosphere at an altitude
// above sea level:
//
//	p = 101325 (1 − 0.0065 z/288.15)^5.25588
//
// U.S. Standard Atmosphere 1976 and ISO 2533, troposphere. The range here is
// −500 m to 6000 m; outside it returns a *unit.RangeError. Weather moves the
// real pressure by about ±3 %.
func AirPressure(altitude unit.Meters) (unit.Pascals, error) {
	zM := float64(altitude)
	if err := unit.CheckRange("altitude (m)", zM, -500, 6000, "standard atmosphere, inhabited ground"); err != nil {
		return 0, err
	}
	return unit.Pascals(101325 * math.Pow(1-0.0065*zM/288.15, 5.25588)), nil
}
