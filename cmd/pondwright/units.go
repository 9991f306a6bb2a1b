package main

import (
	"fmt"
	"strconv"
	"strings"

	"pondwright/calc/unit"
)

// unitSystem is the user's choice for prose. The zero value is US customary.
type unitSystem bool

const (
	usUnits unitSystem = false
	siUnits unitSystem = true
)

// String, Set and Type make the choice a flag.
func (u *unitSystem) String() string {
	if *u == siUnits {
		return "si"
	}
	return "us"
}

func (u *unitSystem) Set(s string) error {
	switch strings.ToLower(s) {
	case "us":
		*u = usUnits
	case "si":
		*u = siUnits
	default:
		return fmt.Errorf("%q is neither us nor si", s)
	}
	return nil
}

func (u *unitSystem) Type() string { return "us|si" }

// The methods below print a quantity with its unit, at a precision that a
// contractor can use.

func (u unitSystem) length(m unit.Meters) string {
	if u == siUnits {
		return number(float64(m), 1) + " m"
	}
	return number(m.Feet(), 1) + " ft"
}

// mass is in kilograms, or in pounds of exactly 0.45359237 kg.
func (u unitSystem) mass(m unit.Kilograms) string {
	if u == siUnits {
		return number(float64(m), 1) + " kg"
	}
	return number(float64(m)/0.45359237, 1) + " lb"
}

func (u unitSystem) distance(m unit.Meters) string {
	if u == siUnits {
		return number(float64(m), 0) + " m"
	}
	return number(m.Feet(), 0) + " ft"
}

func (u unitSystem) area(a unit.SquareMeters) string {
	if u == siUnits {
		return number(float64(a), 0) + " m²"
	}
	return number(a.Acres(), 2) + " acres"
}

func (u unitSystem) volume(v unit.CubicMeters) string {
	if u == siUnits {
		return number(float64(v), 0) + " m³"
	}
	return number(v.AcreFeet(), 2) + " acre-ft"
}

func (u unitSystem) air(q unit.StdCubicMetersPerSecond) string {
	if u == siUnits {
		return number(float64(q)*60000, 1) + " L/min"
	}
	return number(q.SCFM(), 2) + " scfm"
}

func (u unitSystem) speed(v unit.MetersPerSecond) string {
	if u == siUnits {
		return number(float64(v), 1) + " m/s"
	}
	return number(float64(v)/float64(unit.Feet(1)), 0) + " ft/s"
}

func (u unitSystem) water(q unit.CubicMetersPerSecond) string {
	if u == siUnits {
		return number(float64(q)*1000, 0) + " L/s"
	}
	return number(q.GallonsPerMinute(), 0) + " gpm"
}

func (u unitSystem) gauge(p unit.PascalsGauge) string {
	if u == siUnits {
		return number(float64(p)/1000, 1) + " kPa"
	}
	return number(p.PSIG(), 1) + " psi"
}

// both prints a quantity in the chosen units with the other beside it.
func (u unitSystem) both(text func(unitSystem) string) string {
	return text(u) + " (" + text(!u) + ")"
}

// number prints v with n decimals and commas between thousands.
func number(v float64, n int) string {
	s := strconv.FormatFloat(v, 'f', n, 64)
	sign := ""
	if strings.HasPrefix(s, "-") {
		sign, s = "-", s[1:]
	}
	whole, frac, hasFrac := strings.Cut(s, ".")
	var b strings.Builder
	for i, c := range whole {
		if i > 0 && (len(whole)-i)%3 == 0 {
			b.WriteByte(',')
		}
		b.WriteRune(c)
	}
	if hasFrac {
		b.WriteString("." + frac)
	}
	return sign + b.String()
}
