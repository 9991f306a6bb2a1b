package unit

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// System is the units in which people read quantities. Its methods print one with
// its unit, at a precision that a contractor can use. The zero value is US.
type System bool

// The systems.
const (
	US System = false // US customary
	SI System = true
)

// ParseSystem reads "us" or "si", in either case.
func ParseSystem(s string) (System, error) {
	switch strings.ToLower(s) {
	case "us":
		return US, nil
	case "si":
		return SI, nil
	}
	return US, fmt.Errorf("%q is neither us nor si", s)
}

// String returns the name that ParseSystem reads.
func (u System) String() string {
	if u == SI {
		return "si"
	}
	return "us"
}

// Length prints a depth or a height.
func (u System) Length(m Meters) string {
	if u == SI {
		return Decimal(float64(m), 1) + " m"
	}
	return Decimal(m.Feet(), 1) + " ft"
}

// Distance prints a way along ground or water.
func (u System) Distance(m Meters) string {
	if u == SI {
		return Decimal(float64(m), 0) + " m"
	}
	return Decimal(m.Feet(), 0) + " ft"
}

// Far prints a way across country.
func (u System) Far(m Meters) string {
	if u == SI {
		return Decimal(float64(m)/1000, 0) + " km"
	}
	return Decimal(m.Feet()/5280, 0) + " mi"
}

// Bore prints the inside diameter of a hose.
func (u System) Bore(m Meters) string {
	if u == SI {
		return Decimal(1000*float64(m), 1) + " mm"
	}
	return Decimal(m.Feet()*12, 2) + " in"
}

// Area prints a water surface.
func (u System) Area(a SquareMeters) string {
	if u == SI {
		return Decimal(float64(a), 0) + " m²"
	}
	return Decimal(a.Acres(), 2) + " acres"
}

// Volume prints an amount of water.
func (u System) Volume(v CubicMeters) string {
	if u == SI {
		return Decimal(float64(v), 0) + " m³"
	}
	return Decimal(v.AcreFeet(), 2) + " acre-ft"
}

// Air prints a flow of air at standard conditions.
func (u System) Air(q StdCubicMetersPerSecond) string {
	if u == SI {
		return Decimal(float64(q)*60000, 1) + " L/min"
	}
	return Decimal(q.SCFM(), 2) + " scfm"
}

// Water prints a flow of water.
func (u System) Water(q CubicMetersPerSecond) string {
	if u == SI {
		return Decimal(float64(q)*1000, 0) + " L/s"
	}
	return Decimal(q.GallonsPerMinute(), 0) + " gpm"
}

// Gauge prints a pressure above the surrounding air.
func (u System) Gauge(p PascalsGauge) string {
	if u == SI {
		return Decimal(float64(p)/1000, 1) + " kPa"
	}
	return Decimal(p.PSIG(), 1) + " psi"
}

// Mass prints a weight to carry.
func (u System) Mass(m Kilograms) string {
	if u == SI {
		return Decimal(float64(m), 1) + " kg"
	}
	return Decimal(m.Pounds(), 1) + " lb"
}

// Wind prints a speed of wind.
func (u System) Wind(v MetersPerSecond) string {
	if u == SI {
		return Decimal(float64(v), 1) + " m/s"
	}
	return Decimal(v.MPH(), 0) + " mph"
}

// Temperature prints a temperature.
func (u System) Temperature(t Kelvin) string {
	if u == SI {
		return Decimal(t.Celsius(), 0) + " °C"
	}
	return Decimal(t.Fahrenheit(), 0) + " °F"
}

// Warmth prints a temperature to a tenth of a degree.
func (u System) Warmth(t Kelvin) string {
	if u == SI {
		return Decimal(t.Celsius(), 1) + " °C"
	}
	return Decimal(t.Fahrenheit(), 1) + " °F"
}

// Fill prints an amount of concrete or soil.
func (u System) Fill(v CubicMeters) string {
	if u == SI {
		return Decimal(float64(v), 2) + " m³"
	}
	return Decimal(v.CubicFeet(), 1) + " ft³"
}

// Panel prints the area of panels.
func (u System) Panel(a SquareMeters) string {
	if u == SI {
		return Decimal(float64(a), 2) + " m²"
	}
	foot := float64(Feet(1))
	return Decimal(float64(a)/(foot*foot), 1) + " ft²"
}

// Force prints a load, large ones in thousands in SI units.
func (u System) Force(f Newtons) string {
	if u == SI {
		return thousands(float64(f), "N")
	}
	return Decimal(f.PoundsForce(), 0) + " lbf"
}

// Moment prints a load by its arm, large ones in thousands in SI units.
func (u System) Moment(m NewtonMeters) string {
	if u == SI {
		return thousands(float64(m), "N·m")
	}
	return Decimal(m.PoundFeet(), 0) + " lbf·ft"
}

// Stress prints a stress of soil or steel.
func (u System) Stress(p PascalsGauge) string {
	switch {
	case u == US && math.Abs(float64(p)) < 1e6:
		return Decimal(p.PSF(), 0) + " psf"
	case u == US:
		return Decimal(p.PSIG(), 0) + " psi"
	}
	return thousands(float64(p), "Pa")
}

// thousands prints four places: 1208 N, 100.2 kN, 240 MPa.
func thousands(v float64, unit string) string {
	for _, large := range []struct {
		from, by float64
		prefix   string
	}{{1e7, 1e6, "M"}, {1e4, 1e3, "k"}} {
		if math.Abs(v) >= large.from {
			return fmt.Sprintf("%.4g %s%s", v/large.by, large.prefix, unit)
		}
	}
	return fmt.Sprintf("%.4g %s", v, unit)
}

// Both prints a quantity in the chosen units with the other beside it.
func (u System) Both(text func(System) string) string {
	return text(u) + " (" + text(!u) + ")"
}

// Decimal prints v with n decimals and commas between thousands.
func Decimal(v float64, n int) string {
	s := strconv.FormatFloat(v, 'f', n, 64)
	sign := ""
	if strings.HasPrefix(s, "-") {
		sign, s = "-", s[1:]
	}
	whole, frac, hasFrac := strings.Cut(s, ".")
	var b strings.Builder
	for i, c := range whole {
		if i > 0 && (len(whole)-i)%3 == 0 && c >= '0' && c <= '9' {
			b.WriteByte(',')
		}
		b.WriteRune(c)
	}
	if hasFrac {
		b.WriteString("." + frac)
	}
	return sign + b.String()
}
