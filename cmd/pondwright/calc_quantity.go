package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"

	"github.com/golang/geo/s1"

	"pondwright/calc/air"
	"pondwright/calc/unit"
)

// scale is a unit: how it is written and how it turns to SI and back.
type scale struct {
	symbol     string
	toSI, from func(float64) float64
}

// linear is a unit of which one is worth one in SI.
func linear[T ~float64](symbol string, one T) scale {
	f := float64(one)
	return scale{symbol, func(v float64) float64 { return v * f }, func(v float64) float64 { return v / f }}
}

// dimension is a kind of quantity: how people write it and how it is printed.
// Values are kept in the SI unit of the type in calc/unit that it belongs to.
type dimension struct {
	name   string // in messages
	key    string // unit at the end of a data key
	us, si scale  // of prose and of bare numbers
	data   scale  // of data, where it is not the SI unit kept
	also   []scale
	digits int      // significant, in prose; 0 is 4
	not    []string // units that look right and mean something else
	why    string   // what they mean
}

// measure ties a dimension to its type, so that neither gauge and absolute
// pressure nor standard and actual flow can be taken for one another.
type measure[T ~float64] struct{ *dimension }

// The units of more than one dimension.
var (
	meters, feet         = linear("m", unit.Meters(1)), linear("ft", unit.Feet(1))
	inches, millimeters  = linear("in", unit.Inches(1)), linear("mm", unit.Meters(1e-3))
	squareMeters, sqFeet = linear("m²", 1.0), linear("ft²", float64(unit.Feet(1)*unit.Feet(1)))
	cubicMeters, gallons = linear("m³", unit.CubicMeters(1)), linear("gal", unit.Gallons(1))
	cubicFeet, liters    = linear("ft³", unit.CubicFeet(1)), linear("L", unit.CubicMeters(1e-3))
	celsius              = scale{"°C", func(v float64) float64 { return float64(unit.Celsius(v)) }, func(v float64) float64 { return unit.Kelvin(v).Celsius() }}
	fahrenheit           = scale{"°F", func(v float64) float64 { return float64(unit.Fahrenheit(v)) }, func(v float64) float64 { return unit.Kelvin(v).Fahrenheit() }}
	degree               = linear("°", s1.Degree)
	plain                = linear("", 1.0)
	percent              = linear("%", 0.01)
	watts                = linear("W", unit.Watts(1))
	wattHours            = linear("Wh", unit.WattHours(1))
)

// pascalsPerInHg is a conventional inch of mercury (NIST Special Publication
// 811, 2008, appendix B.8).
const pascalsPerInHg = 3386.389

// The kinds of quantity that the calculations take and give.
var (
	ofLength = measure[unit.Meters]{&dimension{name: "length", key: "M", us: feet, si: meters,
		also: []scale{inches, millimeters, linear("cm", 0.01), linear("km", 1e3), linear("yd", unit.Feet(3)), linear("mi", unit.Feet(5280))}}}
	ofDistance = measure[unit.Meters]{&dimension{name: "distance", key: "M", us: linear("mi", unit.Feet(5280)), si: linear("km", 1e3), also: []scale{meters, feet}}}
	ofBore     = measure[unit.Meters]{&dimension{name: "small length", key: "M", us: inches, si: millimeters,
		also: []scale{meters, feet, linear("cm", 0.01)}}}
	ofArea = measure[unit.SquareMeters]{&dimension{name: "area", key: "M2", us: linear("acres", unit.Acres(1)), si: squareMeters,
		also: []scale{sqFeet, linear("acre", unit.Acres(1)), linear("ac", unit.Acres(1)), linear("ha", 1e4)}}}
	ofPlate = measure[unit.SquareMeters]{&dimension{name: "small area", key: "M2", us: sqFeet, si: squareMeters}}
	ofWater = measure[unit.CubicMeters]{&dimension{name: "volume", key: "M3", us: linear("acre-ft", unit.AcreFeet(1)), si: cubicMeters,
		also: []scale{linear("ac-ft", unit.AcreFeet(1)), gallons, cubicFeet, liters}}}
	ofLiquid = measure[unit.CubicMeters]{&dimension{name: "small volume", key: "M3", us: gallons, si: liters, also: []scale{cubicMeters}}}
	ofSolid  = measure[unit.CubicMeters]{&dimension{name: "small volume", key: "M3", us: cubicFeet, si: cubicMeters}}

	ofTemperature = measure[unit.Kelvin]{&dimension{name: "temperature", key: "C", us: fahrenheit, si: celsius, data: celsius,
		also: []scale{linear("K", unit.Kelvin(1))}}}
	ofTempChange = measure[unit.KelvinDelta]{&dimension{name: "temperature change", key: "K", us: linear("°F", 1/1.8), si: linear("K", unit.KelvinDelta(1))}}

	ofAbsolute = measure[unit.Pascals]{&dimension{name: "absolute pressure", key: "PaAbs", us: linear("psia", unit.PSIA(1)), si: linear("kPa abs", unit.Pascals(1e3)),
		also: []scale{linear("hPa", unit.Pascals(100)), linear("mbar", unit.Pascals(100)), linear("atm", unit.StandardPressure), linear("inHg", unit.Pascals(pascalsPerInHg))},
		not:  []string{"psi", "psig", "kPa", "bar", "barg", "Pa"}, why: "does not say absolute"}}
	ofGauge = measure[unit.PascalsGauge]{&dimension{name: "gauge pressure", key: "PaGauge", us: linear("psi", unit.PSIG(1)), si: linear("kPa", unit.PascalsGauge(1e3)),
		also: []scale{linear("psig", unit.PSIG(1)), linear("Pa", unit.PascalsGauge(1)), linear("bar", unit.PascalsGauge(1e5)), linear("barg", unit.PascalsGauge(1e5))},
		not:  []string{"psia", "kPa abs", "atm", "hPa", "inHg"}, why: "is an absolute pressure"}}
	ofWindPressure = measure[unit.PascalsGauge]{&dimension{name: "wind or bearing pressure", key: "Pa", us: linear("psf", unit.PSF(1)), si: linear("kPa", unit.PascalsGauge(1e3)),
		also: []scale{linear("Pa", unit.PascalsGauge(1))}}}
	ofYield = measure[unit.PascalsGauge]{&dimension{name: "stress", key: "Pa", us: linear("ksi", unit.PSIG(1e3)), si: linear("N/mm²", unit.PascalsGauge(1e6)),
		also: []scale{linear("psi", unit.PSIG(1))}}}
	ofBearing = measure[unit.PascalsPerMeter]{&dimension{name: "lateral bearing", key: "PaPerM", us: linear("psf/ft", unit.PSFPerFoot(1)), si: linear("kPa/m", unit.PascalsPerMeter(1e3))}}

	ofStdFlow = measure[unit.StdCubicMetersPerSecond]{&dimension{name: "standard air flow", key: "StdM3PerS", us: linear("scfm", unit.SCFM(1)),
		si:   linear("std L/min", unit.StdCubicMetersPerSecond(1e-3/60)),
		also: []scale{linear("slpm", 1e-3/60), linear("std m³/h", 1.0/3600), linear("std m³/s", 1.0), linear("Nm³/h", air.Normal().Mass(1.0/3600).Standard())},
		not:  []string{"cfm", "acfm", "L/min", "L/s", "m³/h", "m³/s", "gpm"}, why: "is a flow at the pressure and temperature of its place, not a standard flow"}}
	ofActualFlow = measure[unit.CubicMetersPerSecond]{&dimension{name: "actual air flow", key: "ActualM3PerS", us: linear("acfm", 1/unit.CubicMetersPerSecond(1).CFM()),
		si: linear("actual L/min", 1e-3/60)}}
	ofFlow = measure[unit.CubicMetersPerSecond]{&dimension{name: "flow of water", key: "M3PerS", us: linear("gpm", 1/unit.CubicMetersPerSecond(1).GallonsPerMinute()),
		si: linear("L/s", 1e-3)}}
	// ofQuotedFlow is an air flow at a state that is told beside it.
	ofQuotedFlow = measure[unit.CubicMetersPerSecond]{&dimension{name: "air flow at the state it is quoted at", key: "QuotedM3PerS", us: linear("cfm", 1/unit.CubicMetersPerSecond(1).CFM()),
		si: linear("L/min", 1e-3/60), also: []scale{linear("m³/h", 1.0/3600), linear("L/s", 1e-3), linear("m³/s", 1.0)},
		not: []string{"scfm", "acfm", "slpm", "Nm³/h"}, why: "names its state: say that with --quoted, and here cfm or m³/h alone"}}
	ofMassFlow = measure[unit.KilogramsPerSecond]{&dimension{name: "mass flow", key: "KgPerS", us: linear("lb/h", float64(unit.Pounds(1))/3600), si: linear("g/s", 1e-3)}}

	ofDensity = measure[unit.KilogramsPerCubicMeter]{&dimension{name: "density", key: "KgPerM3", us: linear("lb/ft³", float64(unit.Pounds(1)/unit.Kilograms(unit.CubicFeet(1)))),
		si: linear("kg/m³", 1.0), also: []scale{linear("lb/gal", unit.PoundsPerGallon(1)), linear("g/L", 1.0), linear("kg/L", 1e3)}}}
	ofStrength = measure[unit.KilogramsPerCubicMeter]{&dimension{name: "active ingredient per volume", key: "KgPerM3", us: linear("lb/gal", unit.PoundsPerGallon(1)),
		si: linear("g/L", 1.0)}}
	ofLevel = measure[unit.MilligramsPerLiter]{&dimension{name: "concentration", key: "MgPerL", us: linear("mg/L", 1.0), si: linear("mg/L", 1.0),
		also: []scale{linear("ppm", 1.0), linear("ppb", 1e-3), linear("lb/acre-ft", unit.PoundsPerAcreFoot(1))}}}
	ofMass = measure[unit.Kilograms]{&dimension{name: "mass", key: "Kg", us: linear("lb", unit.Pounds(1)), si: linear("kg", 1.0), also: []scale{linear("g", 1e-3)}}}

	ofPower     = measure[unit.Watts]{&dimension{name: "power", key: "W", us: watts, si: watts, also: []scale{linear("kW", 1e3), linear("hp", unit.Horsepower(1))}}}
	ofEnergy    = measure[unit.WattHours]{&dimension{name: "energy", key: "Wh", us: wattHours, si: wattHours, also: []scale{linear("kWh", 1e3)}}}
	ofWork      = measure[unit.Joules]{&dimension{name: "work", key: "J", us: linear("kJ", 1e3), si: linear("kJ", 1e3), also: []scale{linear("J", 1.0), linear("Wh", 3600.0), linear("kWh", 3.6e6)}}}
	ofStability = measure[unit.JoulesPerSquareMeter]{&dimension{name: "stability", key: "JPerM2", us: linear("J/m²", 1.0), si: linear("J/m²", 1.0)}}
	ofVolts     = measure[unit.Volts]{&dimension{name: "voltage", key: "V", us: linear("V", 1.0), si: linear("V", 1.0)}}
	ofCurrent   = measure[unit.Amperes]{&dimension{name: "current", key: "A", us: linear("A", 1.0), si: linear("A", 1.0)}}
	ofCharge    = measure[unit.AmpereHours]{&dimension{name: "charge", key: "Ah", us: linear("Ah", 1.0), si: linear("Ah", 1.0)}}
	ofLight     = measure[unit.WattsPerSquareMeter]{&dimension{name: "light", key: "WPerM2", us: linear("W/m²", 1.0), si: linear("W/m²", 1.0)}}
	ofDayLight  = measure[unit.WattHoursPerSquareMeter]{&dimension{name: "light of a day", key: "WhPerM2", us: linear("kWh/m²", 1e3), si: linear("kWh/m²", 1e3),
		also: []scale{linear("Wh/m²", 1.0), linear("MJ/m²", unit.MegajoulesPerSquareMeter(1))}}}
	ofField = measure[unit.Teslas]{&dimension{name: "magnetic field", key: "T", us: linear("nT", unit.Nanoteslas(1)), si: linear("nT", unit.Nanoteslas(1))}}

	ofTime      = measure[unit.Seconds]{&dimension{name: "time", key: "S", us: linear("h", 3600.0), si: linear("h", 3600.0), also: []scale{linear("min", 60.0), linear("s", 1.0), linear("d", 86400.0)}}}
	ofSpan      = measure[unit.Seconds]{&dimension{name: "span of days", key: "S", us: linear("d", 86400.0), si: linear("d", 86400.0), also: []scale{linear("h", 3600.0)}}}
	ofDelay     = measure[unit.Seconds]{&dimension{name: "delay", key: "S", us: linear("s", 1.0), si: linear("s", 1.0), also: []scale{linear("ms", 1e-3)}}}
	ofRate      = measure[unit.PerSecond]{&dimension{name: "rate", key: "PerS", us: linear("/s", 1.0), si: linear("/s", 1.0)}}
	ofFrequency = measure[unit.Hertz]{&dimension{name: "frequency", key: "Hz", us: linear("Hz", 1.0), si: linear("Hz", 1.0)}}
	ofSpeed     = measure[unit.MetersPerSecond]{&dimension{name: "speed", key: "MPerS", us: linear("mph", unit.MPH(1)), si: linear("m/s", 1.0),
		also: []scale{linear("ft/s", unit.Feet(1)), linear("km/h", 1/3.6)}}}
	ofSoundSpeed = measure[unit.MetersPerSecond]{&dimension{name: "speed", key: "MPerS", us: linear("ft/s", unit.Feet(1)), si: linear("m/s", 1.0)}}
	ofAngle      = measure[s1.Angle]{&dimension{name: "angle", key: "Deg", us: degree, si: degree, data: degree, also: []scale{linear("deg", s1.Degree)}}}
	ofPosition   = measure[s1.Angle]{&dimension{name: "latitude or longitude", key: "Deg", us: degree, si: degree, data: degree, digits: 8}}
	ofFreezing   = measure[float64]{&dimension{name: "freezing index", key: "KDays", us: linear("°F·d", 1/1.8), si: linear("K·d", 1.0), also: []scale{linear("°C·d", 1.0)}}}
	ofConduction = measure[float64]{&dimension{name: "conductivity", key: "WPerMK", us: linear("Btu/(h·ft·°F)", 1.730735), si: linear("W/(m·K)", 1.0)}}
	ofForce      = measure[unit.Newtons]{&dimension{name: "force", key: "N", us: linear("lbf", unit.PoundsForce(1)), si: linear("N", 1.0)}}
	ofMoment     = measure[unit.NewtonMeters]{&dimension{name: "moment", key: "Nm", us: linear("lbf·ft", unit.PoundFeet(1)), si: linear("N·m", 1.0)}}

	ofNumber = measure[float64]{&dimension{name: "number", us: plain, si: plain}}
	ofShare  = measure[float64]{&dimension{name: "share", us: percent, si: percent, data: plain}}
)

// quantityError says why a text is no quantity of a dimension.
type quantityError struct{ text, reason string }

func (e *quantityError) Error() string { return fmt.Sprintf("%q %s", e.text, e.reason) }

// parse reads a number with or without a unit and returns it in SI. A bare
// number is in the units given; a bare share is a share, not a percentage.
func (d *dimension) parse(text string, u unitSystem) (float64, error) {
	number, symbol := splitUnit(text)
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, &quantityError{text, "does not begin with a number, as in 15" + d.scale(u).symbol}
	}
	want := fold(symbol)
	if want == "" {
		s := d.scale(u)
		if d == ofShare.dimension {
			s = plain
		}
		return s.toSI(v), nil
	}
	for _, s := range append([]scale{d.us, d.si}, d.also...) {
		if fold(s.symbol) == want {
			return s.toSI(v), nil
		}
	}
	for _, s := range d.not {
		if fold(s) == want {
			return 0, &quantityError{text, fmt.Sprintf("%s; write the %s in %s", d.why, d.name, d.symbols())}
		}
	}
	return 0, &quantityError{text, fmt.Sprintf("is no %s; write it in %s", d.name, d.symbols())}
}

// splitUnit cuts a text behind its leading number.
func splitUnit(text string) (number, symbol string) {
	text = strings.ReplaceAll(strings.TrimSpace(text), "−", "-")
	end := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("+-.0123456789", r) })
	if end < 0 {
		return text, ""
	}
	// An exponent belongs to the number only with digits behind it.
	if rest := text[end:]; end > 0 && (rest[0] == 'e' || rest[0] == 'E') {
		digits := strings.TrimLeft(rest[1:], "+-")
		n := len(digits) - len(strings.TrimLeft(digits, "0123456789"))
		if n > 0 && len(rest)-1-len(digits) <= 1 {
			end += len(rest) - len(digits) + n
		}
	}
	return text[:end], strings.TrimSpace(text[end:])
}

// fold makes ways to write a unit equal: "Lb/Acre-Ft" and "lb_acre_ft", "m²" and
// "m2". What stands for itself, such as %, stays.
func fold(symbol string) string {
	symbol = strings.NewReplacer("²", "2", "³", "3").Replace(symbol)
	folded := strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || r == '%' {
			return unicode.ToLower(r)
		}
		return -1
	}, symbol)
	if folded == "" && symbol != "" && symbol != "°" {
		return symbol
	}
	return folded
}

func (d *dimension) symbols() string {
	var list []string
	seen := make(map[string]bool)
	for _, s := range append([]scale{d.us, d.si}, d.also...) {
		if s.symbol != "" && !seen[s.symbol] {
			seen[s.symbol] = true
			list = append(list, s.symbol)
		}
	}
	if len(list) == 0 {
		return "plain figures"
	}
	return strings.Join(list, ", ")
}

func (d *dimension) scale(u unitSystem) scale {
	if u == siUnits {
		return d.si
	}
	return d.us
}

// datum is an SI value in the unit of data.
func (d *dimension) datum(v float64) float64 {
	if d.data.from == nil {
		return v
	}
	return d.data.from(v)
}

// print writes an SI value with its unit.
func (d *dimension) print(v float64, u unitSystem) string {
	s := d.scale(u)
	switch {
	case math.IsInf(v, 1) && d == ofTime.dimension:
		return "never"
	case math.IsInf(v, 0):
		return "without limit"
	case s.symbol == "", s.symbol == "°", s.symbol == "%":
		return significant(s.from(v), d.digits) + s.symbol
	}
	return significant(s.from(v), d.digits) + " " + s.symbol
}

// both writes a value in the chosen units with the other beside it.
func (d *dimension) both(v float64, u unitSystem) string {
	one, other := d.print(v, u), d.print(v, !u)
	if one == other {
		return one
	}
	return one + " (" + other + ")"
}

// figures prints four significant figures, all digits before the point, and no
// zeros at the end.
func figures(v float64) string { return significant(v, 0) }

// significant does the same with n figures; 0 is four.
func significant(v float64, n int) string {
	if n == 0 {
		n = 4
	}
	if v == 0 || math.IsNaN(v) {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	size := math.Abs(v)
	if size < 1e-4 || size >= 1e12 {
		return strconv.FormatFloat(v, 'g', n, 64)
	}
	s := number(v, max(0, n-1-int(math.Floor(math.Log10(size)))))
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}
