package unit

import (
	"fmt"
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
