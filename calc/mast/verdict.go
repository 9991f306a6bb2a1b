package mast

import (
	"fmt"
	"strings"

	"pondwright/calc/unit"
)

// Verdict is one of Enough, NotEnough and Unverified.
type Verdict interface {
	fmt.Stringer
	// Text says the verdict in words, with every shortfall.
	Text() unit.Text
	verdict()
}

// Enough means that every check passes on inputs that were all given.
type Enough struct {
	Margin float64 // least of capacity over demand, at least 1
}

// NotEnough means that a check fails. Defaults lists the inputs that were left
// out: with the site's own figures it may pass, or fail by more.
type NotEnough struct {
	By       []Check
	Defaults []Assumption
}

// Unverified means that every check passes, but only on defaults.
type Unverified struct {
	Because []Assumption // at least one
}

func (Enough) verdict()     {}
func (NotEnough) verdict()  {}
func (Unverified) verdict() {}

// String says the verdict in SI units.
func (v Enough) String() string { return v.Text().String() }

// String says the verdict in SI units.
func (v NotEnough) String() string { return v.Text().String() }

// String says the verdict in SI units.
func (v Unverified) String() string { return v.Text().String() }

// Text says the verdict in words.
func (v Enough) Text() unit.Text {
	return unit.Say("enough, with %.0f %% to spare at the weakest check", 100*(v.Margin-1))
}

// Text says the verdict and every shortfall in words.
func (v NotEnough) Text() unit.Text {
	var parts []string
	for _, c := range v.By {
		parts = append(parts, string(unit.Say("%s short by %s", c.Kind, c.Amount(c.Short()))))
	}
	t := unit.Text("not enough: " + strings.Join(parts, ", "))
	if len(v.Defaults) > 0 {
		t += unit.Text("; on defaults for " + names(v.Defaults))
	}
	return t
}

// Text says the verdict and the reasons in words.
func (v Unverified) Text() unit.Text {
	verb := "is a default"
	if len(v.Because) > 1 {
		verb = "are defaults"
	}
	return unit.Text("unverified because " + names(v.Because) + " " + verb)
}

// Assumption is an input that was left out, and what was put in its place.
type Assumption struct {
	Input string
	Used  unit.Text
}

func names(as []Assumption) string {
	var n []string
	for _, a := range as {
		n = append(n, a.Input)
	}
	return strings.Join(n, ", ")
}

// Kind says what a Check compares.
type Kind string

// The checks, in the order in which a Report lists them.
const (
	LateralCheck Kind = "lateral hold of the footing"
	PoleCheck    Kind = "bending strength of the pole"
	UpliftCheck  Kind = "weight against uplift"
	BearingCheck Kind = "bearing under the footing"
	FrostCheck   Kind = "depth below frost"
	RigidCheck   Kind = "stiffness of the mast"
)

// Check compares what is asked with what there is, both in Unit.
type Check struct {
	Kind             Kind
	Demand, Capacity float64
	Unit             string // SI symbol
}

// Amount is v, in Unit, for people.
func (c Check) Amount(v float64) unit.Text {
	switch c.Unit {
	case "N":
		return unit.Newtons(v).Text()
	case "N·m":
		return unit.NewtonMeters(v).Text()
	case "m":
		return unit.Meters(v).Text()
	case "Pa":
		return unit.PascalsGauge(v).Stress()
	}
	return unit.Say("%.4g %s", v, c.Unit)
}

// Pass reports whether the capacity holds the demand.
func (c Check) Pass() bool { return c.Capacity >= c.Demand }

// Short reports by how much the capacity falls short, or zero.
func (c Check) Short() float64 { return max(0, c.Demand-c.Capacity) }

// judge turns checks and assumptions into a verdict.
func judge(checks []Check, assumed []Assumption) Verdict {
	var short []Check
	margin := 1e6
	for _, c := range checks {
		if !c.Pass() {
			short = append(short, c)
		}
		if c.Demand > 0 {
			margin = min(margin, c.Capacity/c.Demand)
		}
	}
	switch {
	case len(short) > 0:
		return NotEnough{By: short, Defaults: assumed}
	case len(assumed) > 0:
		return Unverified{Because: assumed}
	}
	return Enough{Margin: margin}
}
