package treat

import (
	"math"

	"pondwright/calc/unit"
)

// HalfLife is a measured half-life of rotenone in a pond.
type HalfLife struct {
	Pond        string // earthen or concrete
	Temperature unit.Kelvin
	Time        unit.Seconds
}

const halfLifeSource = "North American Journal of Fisheries Management 11(2), 226, 1991"

// HalfLives lists rotenone half-lives measured in ponds (North American Journal
// of Fisheries Management 11(2):226–231, 1991), in the source's order. They do
// not follow temperature alone, so no formula is fitted to them.
func HalfLives() []HalfLife {
	const day = 86400
	return []HalfLife{
		{"earthen", unit.Celsius(8), 1.8 * day},
		{"earthen", unit.Celsius(22), 0.7 * day},
		{"earthen", unit.Celsius(15), 1.8 * day},
		{"concrete", unit.Celsius(8), 3.7 * day},
		{"concrete", unit.Celsius(22), 1.3 * day},
		{"concrete", unit.Celsius(15), 5.2 * day},
	}
}

// Wait is a span of waiting, known only within limits.
type Wait struct {
	Shortest, Longest unit.Seconds
	Halvings          float64
	Cautions          []string
}

// Decay reports how long a level takes to fall to another when it halves within
// the given span of half-lives: first order, log₂(from/to) halvings. It returns
// a *unit.RangeError unless 0 < to ≤ from ≤ 1000 mg/L and one minute ≤ shortest ≤
// longest ≤ ten years.
func Decay(from, to unit.MilligramsPerLiter, shortest, longest unit.Seconds) (Wait, error) {
	const source = "first-order decay"
	const tenYearsS = 10 * 366 * 86400
	for _, in := range []struct {
		name        string
		got, lo, hi float64
	}{
		{"level at the start (mg/L)", float64(from), 1e-9, maxLevelMGL},
		{"level at the end (mg/L)", float64(to), 1e-9, float64(from)},
		{"longest half-life (s)", float64(longest), 60, tenYearsS},
		{"shortest half-life (s)", float64(shortest), 60, float64(longest)},
	} {
		if err := unit.CheckRange(in.name, in.got, in.lo, in.hi, source); err != nil {
			return Wait{}, err
		}
	}
	n := math.Log2(float64(from) / float64(to))
	return Wait{
		Shortest: unit.Seconds(n) * shortest,
		Longest:  unit.Seconds(n) * longest,
		Halvings: n,
		Cautions: append(append([]string(nil), always...), "Waiting times are a range from few measurements. Only caged fish that live in the pond's water show that it is safe to stock."),
	}, nil
}

// RotenoneWait reports how long rotenone takes to fall from a level to another,
// over all half-lives measured. Errors are those of Decay.
func RotenoneWait(from, to unit.MilligramsPerLiter) (Wait, error) {
	shortest, longest := unit.Never(), unit.Seconds(0)
	for _, h := range HalfLives() {
		shortest, longest = min(shortest, h.Time), max(longest, h.Time)
	}
	w, err := Decay(from, to, shortest, longest)
	if err != nil {
		return Wait{}, err
	}
	w.Cautions = append(w.Cautions, "Placards stay up and people out for the label's re-entry time, up to 14 days, however fast the level falls ("+rotenoneSource+").",
		"Half-lives from "+halfLifeSource+".")
	return w, nil
}
