// Package unit gives the quantities of pond engineering their types.
//
// A type is named for its SI unit, so that a signature reads without a look-up
// and gauge and absolute pressure, or standard and actual air flow, cannot be
// swapped by accident. The value is always in that unit; functions named for
// other units convert on the way in, methods named for other units on the way
// out:
//
//	d := unit.Feet(9.8)       // Meters
//	fmt.Println(d.Feet())     // 9.8
//
// Multiplying two quantities is not done on the types: a kernel unpacks them to
// float64 locals whose names carry the SI unit, and packs the result again.
//
// The conversion factors are exact by definition unless their comment says
// otherwise: international foot 0.3048 m, pound 0.45359237 kg, standard gravity
// 9.80665 m/s², US gallon 231 in³ (NIST Special Publication 811, 2008,
// appendix B).
package unit

const (
	metersPerFoot      = 0.3048
	metersPerInch      = 0.0254
	squareMetersPerAcr = 4046.8564224      // 43,560 ft²
	cubicMetersPerAcFt = 1233.48183754752  // 43,560 ft³
	cubicMetersPerGal  = 0.003785411784    // 231 in³
	pascalsPerPSI      = 6894.757293168361 // 0.45359237 × 9.80665 / 0.0254²
	cubicMetersPerCuFt = 0.028316846592    // 0.3048³
	wattsPerHorsepower = 745.6998715822702 // 550 ft·lbf/s
	zeroCelsiusK       = 273.15
)

// Standard reference state of an air flow in this project: dry air at one
// standard atmosphere and 20 °C. A flow quoted at 60 °F or 0 °C is converted
// where it enters.
const (
	// StandardPressure is one standard atmosphere, exact by definition.
	StandardPressure Pascals = 101325
	// StandardTemperature is 20 °C (68 °F), the reference of a standard cubic
	// foot in common machinery use.
	StandardTemperature Kelvin = 293.15
	// GravityMPS2 is the conventional standard acceleration of gravity in m/s²,
	// exact by definition (3rd CGPM, 1901).
	GravityMPS2 = 9.80665
	// AirGasConstantJPerKgK is the specific gas constant of dry air in J/(kg·K):
	// 8.314462618 J/(mol·K) over 28.9647 g/mol, rounded as in the U.S. Standard
	// Atmosphere, 1976.
	AirGasConstantJPerKgK = 287.055
)

// Meters is a length. Positive down where it is a depth.
type Meters float64

// Feet converts international feet.
func Feet(ft float64) Meters { return Meters(ft * metersPerFoot) }

// Inches converts inches.
func Inches(in float64) Meters { return Meters(in * metersPerInch) }

// Feet reports m in international feet.
func (m Meters) Feet() float64 { return float64(m) / metersPerFoot }

// Inches reports m in inches.
func (m Meters) Inches() float64 { return float64(m) / metersPerInch }

// SquareMeters is an area.
type SquareMeters float64

// Acres converts acres of 43,560 square international feet.
func Acres(a float64) SquareMeters { return SquareMeters(a * squareMetersPerAcr) }

// Acres reports a in acres.
func (a SquareMeters) Acres() float64 { return float64(a) / squareMetersPerAcr }

// CubicMeters is a volume.
type CubicMeters float64

// AcreFeet converts acre-feet of 43,560 cubic international feet.
func AcreFeet(v float64) CubicMeters { return CubicMeters(v * cubicMetersPerAcFt) }

// AcreFeet reports v in acre-feet.
func (v CubicMeters) AcreFeet() float64 { return float64(v) / cubicMetersPerAcFt }

// Gallons reports v in US liquid gallons.
func (v CubicMeters) Gallons() float64 { return float64(v) / cubicMetersPerGal }

// Kelvin is an absolute temperature.
type Kelvin float64

// Celsius converts degrees Celsius.
func Celsius(c float64) Kelvin { return Kelvin(c + zeroCelsiusK) }

// Fahrenheit converts degrees Fahrenheit.
func Fahrenheit(f float64) Kelvin { return Celsius((f - 32) / 1.8) }

// Celsius reports k in degrees Celsius.
func (k Kelvin) Celsius() float64 { return float64(k) - zeroCelsiusK }

// Fahrenheit reports k in degrees Fahrenheit.
func (k Kelvin) Fahrenheit() float64 { return k.Celsius()*1.8 + 32 }

// KelvinDelta is a difference of two temperatures.
type KelvinDelta float64

// Pascals is an absolute pressure, zero in a vacuum.
type Pascals float64

// PSIA converts pounds per square inch, absolute.
func PSIA(p float64) Pascals { return Pascals(p * pascalsPerPSI) }

// PSIA reports p in pounds per square inch, absolute.
func (p Pascals) PSIA() float64 { return float64(p) / pascalsPerPSI }

// Gauge reports p above the ambient pressure atm.
func (p Pascals) Gauge(atm Pascals) PascalsGauge { return PascalsGauge(p - atm) }

// PascalsGauge is a pressure above ambient, or a difference of two pressures.
type PascalsGauge float64

// PSIG converts pounds per square inch, gauge.
func PSIG(p float64) PascalsGauge { return PascalsGauge(p * pascalsPerPSI) }

// PSIG reports p in pounds per square inch, gauge.
func (p PascalsGauge) PSIG() float64 { return float64(p) / pascalsPerPSI }

// Absolute reports p on top of the ambient pressure atm.
func (p PascalsGauge) Absolute(atm Pascals) Pascals { return Pascals(p) + atm }

// KilogramsPerCubicMeter is a density.
type KilogramsPerCubicMeter float64

// KilogramsPerSecond is a mass flow.
type KilogramsPerSecond float64

// Standard reports the flow of dry air m at the standard reference state.
func (m KilogramsPerSecond) Standard() StdCubicMetersPerSecond {
	return StdCubicMetersPerSecond(float64(m) / standardAirKgM3)
}

// Actual reports the volume flow of dry air m at absolute pressure p and
// temperature t by the ideal gas law. It is zero unless p and t are above zero.
func (m KilogramsPerSecond) Actual(p Pascals, t Kelvin) CubicMetersPerSecond {
	if !(p > 0 && t > 0) {
		return 0
	}
	return CubicMetersPerSecond(float64(m) * AirGasConstantJPerKgK * float64(t) / float64(p))
}

// standardAirKgM3 is the density of dry air at the standard reference state,
// 1.2041 kg/m³.
const standardAirKgM3 = float64(StandardPressure) / (AirGasConstantJPerKgK * float64(StandardTemperature))

// CubicMetersPerSecond is a volume flow at the state where it flows: of water,
// or of air at the pressure and temperature of the place.
type CubicMetersPerSecond float64

// GallonsPerMinute reports q in US liquid gallons per minute.
func (q CubicMetersPerSecond) GallonsPerMinute() float64 {
	return float64(q) / cubicMetersPerGal * 60
}

// CFM reports q in cubic feet per minute at the state where it flows.
func (q CubicMetersPerSecond) CFM() float64 { return float64(q) / cubicMetersPerCuFt * 60 }

// StdCubicMetersPerSecond is an air flow by the volume it would fill at one
// standard atmosphere and 20 °C: a mass flow in the trade's clothes.
type StdCubicMetersPerSecond float64

// SCFM converts standard cubic feet per minute at one atmosphere and 68 °F.
func SCFM(q float64) StdCubicMetersPerSecond {
	return StdCubicMetersPerSecond(q * cubicMetersPerCuFt / 60)
}

// SCFM reports q in standard cubic feet per minute at one atmosphere and 68 °F.
func (q StdCubicMetersPerSecond) SCFM() float64 { return float64(q) / cubicMetersPerCuFt * 60 }

// Mass reports the mass flow of dry air behind q.
func (q StdCubicMetersPerSecond) Mass() KilogramsPerSecond {
	return KilogramsPerSecond(float64(q) * standardAirKgM3)
}

// Watts is a power.
type Watts float64

// Horsepower converts mechanical horsepower of 550 ft·lbf/s.
func Horsepower(hp float64) Watts { return Watts(hp * wattsPerHorsepower) }

// Horsepower reports w in mechanical horsepower.
func (w Watts) Horsepower() float64 { return float64(w) / wattsPerHorsepower }

// WattHours is an energy.
type WattHours float64

// Volts is an electric potential difference.
type Volts float64

// Amperes is an electric current.
type Amperes float64

// MetersPerSecond is a speed.
type MetersPerSecond float64

// MPH converts international miles per hour.
func MPH(v float64) MetersPerSecond { return MetersPerSecond(v * 5280 * metersPerFoot / 3600) }

// MPH reports v in international miles per hour.
func (v MetersPerSecond) MPH() float64 { return float64(v) * 3600 / (5280 * metersPerFoot) }

// Newtons is a force.
type Newtons float64

// NewtonMeters is a moment.
type NewtonMeters float64

// Kilograms is a mass.
type Kilograms float64

// Pounds converts avoirdupois pounds.
func Pounds(lb float64) Kilograms { return Kilograms(lb * 0.45359237) }

// Pounds reports m in avoirdupois pounds.
func (m Kilograms) Pounds() float64 { return float64(m) / 0.45359237 }
