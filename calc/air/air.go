// Package air carries compressed air from a compressor through hose, fittings
// and valves to diffusers under water: how much arrives where, at what
// pressure, with what power, and how hot.
//
// It does not know what a diffuser lifts with its air (package plume) or where
// the hoses lie.
//
// The usual sequence:
//
//	c, err := air.NewCurve(points, shaft)      // what one machine delivers
//	n := air.Network{Compressor: c, Machines: 2, Site: site, Runs: runs}
//	op, err := n.Solve()                       // flows at the operating point
//	b, err := n.Balance(shares)                // or with valves set
//	relief, err := air.ReliefSetting(b.Manifold, ratings)
//
// Flow is kept as mass; standard flow (one atmosphere, 20 °C) is its label at
// the package's edges. Hose flow is isothermal and compressible over all
// Reynolds numbers (Churchill, Chemical Engineering, Nov 1977).
package air

import (
	"math"

	"pondwright/calc/unit"
)

// gasJPerKgK is R of dry air.
const gasJPerKgK = unit.AirGasConstantJPerKgK

// heatRatio is γ of air.
const heatRatio = 1.4

// Site is where the compressor breathes.
type Site struct {
	// Pressure of the atmosphere, 50 to 110 kPa.
	Pressure unit.Pascals
	// Intake temperature; the zero value means 20 °C.
	Intake unit.Kelvin
	// WaterDensity; the zero value means 1000 kg/m³, on the safe side.
	WaterDensity unit.KilogramsPerCubicMeter
}

func (s Site) intakeK() float64 {
	if s.Intake == 0 {
		return float64(unit.StandardTemperature)
	}
	return float64(s.Intake)
}

func (s Site) waterKgM3() float64 {
	if s.WaterDensity == 0 {
		return defaultWaterKgM3
	}
	return float64(s.WaterDensity)
}

func (s Site) check() error {
	if err := unit.CheckRange("site pressure (Pa)", float64(s.Pressure), 50e3, 110e3, "inhabited ground"); err != nil {
		return err
	}
	if err := unit.CheckRange("intake temperature (K)", s.intakeK(), 230, 340, "weather and a hot enclosure"); err != nil {
		return err
	}
	return unit.CheckRange("water density (kg/m³)", s.waterKgM3(), 990, 1035, "fresh to sea water")
}

// Reference is a state at which an air flow is quoted.
type Reference struct {
	Pressure    unit.Pascals
	Temperature unit.Kelvin
}

// StandardGasTrade is 14.696 psia and 60 °F. "Standard" on a machine's plate can
// mean this or one of the next two; 60 °F and 68 °F differ by 1.5 %.
func StandardGasTrade() Reference { return Reference{101325, unit.Fahrenheit(60)} }

// StandardMachinery is 14.696 psia and 68 °F, the standard flow of package unit.
func StandardMachinery() Reference { return Reference{101325, unit.Fahrenheit(68)} }

// StandardHandbook is 14.5 psia and 68 °F, dry, as in current compressed-air
// handbooks (from memory).
func StandardHandbook() Reference { return Reference{unit.PSIA(14.5), unit.Fahrenheit(68)} }

// StandardISO1217 is 1 bar and 20 °C, dry (from memory).
func StandardISO1217() Reference { return Reference{100000, unit.Celsius(20)} }

// Normal is 101.325 kPa and 0 °C (DIN 1343, from memory).
func Normal() Reference { return Reference{101325, unit.Celsius(0)} }

// Density reports the density of dry air at r by the ideal gas law. It is zero where the
// temperature is not above zero.
func (r Reference) Density() unit.KilogramsPerCubicMeter {
	if !(r.Temperature > 0) {
		return 0
	}
	return unit.KilogramsPerCubicMeter(float64(r.Pressure) / (gasJPerKgK * float64(r.Temperature)))
}

// Mass reports the mass behind a flow quoted at r.
func (r Reference) Mass(q unit.CubicMetersPerSecond) unit.KilogramsPerSecond {
	return unit.KilogramsPerSecond(float64(q) * float64(r.Density()))
}

// Viscosity reports the viscosity of air at absolute temperature t in Pa·s by Sutherland's formula
// with the constants of the U.S. Standard Atmosphere 1976, for 200 to 500 K. It
// is zero where the temperature is not above zero.
func Viscosity(t unit.Kelvin) float64 {
	tK := float64(t)
	if !(tK > 0) {
		return 0
	}
	return 1.458e-6 * tK * math.Sqrt(tK) / (tK + 110.4)
}

// Head reports the pressure of water of the given density at a depth, p = ρ g h.
// depth is below the highest level the water will reach, not the level of the
// day it was sounded.
func Head(depth unit.Meters, density unit.KilogramsPerCubicMeter) unit.PascalsGauge {
	return unit.PascalsGauge(float64(density) * unit.GravityMPS2 * float64(depth))
}
