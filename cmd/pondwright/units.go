package main

import (
	"errors"
	"strings"

	"pondwright/calc/unit"
)

// unitSystem is the user's choice for prose. The zero value is US customary.
type unitSystem unit.System

const (
	usUnits = unitSystem(unit.US)
	siUnits = unitSystem(unit.SI)
)

// String, Set and Type make the choice a flag.
func (u *unitSystem) String() string { return unit.System(*u).String() }

func (u *unitSystem) Set(s string) error {
	chosen, err := unit.ParseSystem(s)
	*u = unitSystem(chosen)
	return err
}

func (u *unitSystem) Type() string { return "us|si" }

// The methods below print a quantity with its unit, at a precision that a
// contractor can use.

// says is an error in the units chosen, as far as its words keep their quantities.
func (u unitSystem) says(err error) string {
	var marked interface {
		error
		Text() unit.Text
	}
	if !errors.As(err, &marked) {
		return err.Error()
	}
	return strings.Replace(err.Error(), marked.Error(), marked.Text().In(unit.System(u)), 1)
}

// words is a message's text in the units chosen.
func (u unitSystem) words(template, text string) string {
	return unit.Words(unit.System(u), template, text)
}

func (u unitSystem) length(m unit.Meters) string      { return unit.System(u).Length(m) }
func (u unitSystem) distance(m unit.Meters) string    { return unit.System(u).Distance(m) }
func (u unitSystem) area(a unit.SquareMeters) string  { return unit.System(u).Area(a) }
func (u unitSystem) volume(v unit.CubicMeters) string { return unit.System(u).Volume(v) }
func (u unitSystem) gauge(p unit.PascalsGauge) string { return unit.System(u).Gauge(p) }
func (u unitSystem) mass(m unit.Kilograms) string     { return unit.System(u).Mass(m) }
func (u unitSystem) air(q unit.StdCubicMetersPerSecond) string {
	return unit.System(u).Air(q)
}

func (u unitSystem) speed(v unit.MetersPerSecond) string {
	if u == siUnits {
		return number(float64(v), 1) + " m/s"
	}
	return number(float64(v)/float64(unit.Feet(1)), 0) + " ft/s"
}

func (u unitSystem) water(q unit.CubicMetersPerSecond) string {
	return unit.System(u).Water(q)
}

// number prints v with n decimals and commas between thousands.
func number(v float64, n int) string { return unit.Decimal(v, n) }
