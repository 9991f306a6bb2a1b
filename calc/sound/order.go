package sound

import (
	"math"

	"pondwright/calc/unit"
)

// Order is an order of survey of IHO S-44. It is used as a yardstick only: what
// meets the figures of an order is not certified by it. The zero value is
// Order2, the loosest.
type Order int

// The orders of S-44, loosest first.
const (
	Order2 Order = iota
	Order1b
	Order1a
	OrderSpecial
	OrderExclusive
)

const s44Source = "IHO S-44, edition 6, 2020, table 1"

// s44 holds table 1 of S-44 edition 6: the fixed and the depth-dependent part of
// vertical uncertainty, and of horizontal uncertainty, at 95 %.
var s44 = [...]struct {
	name             string
	aM, b            float64
	thuM, thuPerUnit float64
}{
	Order2:         {"Order 2", 1.0, 0.023, 20, 0.10},
	Order1b:        {"Order 1b", 0.5, 0.013, 5, 0.05},
	Order1a:        {"Order 1a", 0.5, 0.013, 5, 0.05},
	OrderSpecial:   {"Special Order", 0.25, 0.0075, 2, 0},
	OrderExclusive: {"Exclusive Order", 0.15, 0.0075, 1, 0},
}

// String names the order as S-44 does.
func (o Order) String() string {
	if o < 0 || int(o) >= len(s44) {
		return "unknown order"
	}
	return s44[o].name
}

// check returns a *unit.RangeError for an unknown order or an unfit depth.
func (o Order) check(depth unit.Meters) error {
	if err := unit.CheckRange("order of survey", float64(o), 0, float64(len(s44)-1), s44Source); err != nil {
		return err
	}
	return unit.CheckRange("depth (m)", float64(depth), 0, 12000, s44Source)
}

// MaxVertical reports the greatest total vertical uncertainty that the order
// allows at a depth, at 95 %: √(a² + (b·d)²), S-44 edition 6, table 1. It
// returns a *unit.RangeError for a depth outside 0 to 12,000 m.
func (o Order) MaxVertical(depth unit.Meters) (unit.Meters, error) {
	if err := o.check(depth); err != nil {
		return 0, err
	}
	return unit.Meters(math.Hypot(s44[o].aM, s44[o].b*float64(depth))), nil
}

// MaxHorizontal reports the greatest total horizontal uncertainty that the order
// allows at a depth, at 95 % (S-44 edition 6, table 1). Errors are those of
// MaxVertical.
func (o Order) MaxHorizontal(depth unit.Meters) (unit.Meters, error) {
	if err := o.check(depth); err != nil {
		return 0, err
	}
	return unit.Meters(s44[o].thuM + s44[o].thuPerUnit*float64(depth)), nil
}

// StrictestMet reports the strictest order whose vertical limit holds an
// uncertainty of vertical95 at a depth. ok is false where none does.
func StrictestMet(vertical95, depth unit.Meters) (o Order, ok bool, err error) {
	if err := unit.CheckRange("vertical uncertainty (m)", float64(vertical95), 0, math.MaxFloat64, s44Source); err != nil {
		return 0, false, err
	}
	for o := OrderExclusive; o >= Order2; o-- {
		limit, err := o.MaxVertical(depth)
		if err != nil {
			return 0, false, err
		}
		if vertical95 <= limit {
			return o, true, nil
		}
	}
	return 0, false, nil
}
