package plan

import "pondwright/calc/unit"

// leastWater is the water over a diffuser below which nothing is credited with
// more: a usual low that bares a diffuser is a caution, not a refusal.
const leastWater unit.Meters = 0.3

// mostSwing bounds levels against the shoreline's.
const mostSwing = 10 // m

// rise is how far the highest level stands over the shoreline's, never below it:
// the pressure at which the machines must still open the diffusers.
func (l Levels) rise() unit.Meters {
	var out unit.Meters
	for _, level := range []*unit.Meters{l.Full, l.Highest} {
		if level != nil {
			out = max(out, *level)
		}
	}
	return out
}

// fall is how far the usual low lies below the shoreline's level, never above it:
// the water that still lifts.
func (l Levels) fall() unit.Meters {
	if l.Low == nil {
		return 0
	}
	return max(0, -*l.Low)
}

// least is the water over a diffuser at the usual low.
func (l Levels) least(submergence unit.Meters) unit.Meters {
	return max(min(submergence, leastWater), submergence-l.fall())
}

// known reports whether both ends that a plan uses were given.
func (l Levels) known() bool { return l.Low != nil && l.Highest != nil }

func (l Levels) check() error {
	for _, c := range []struct {
		quantity string
		level    *unit.Meters
	}{{"full level over the shoreline's (m)", l.Full}, {"usual low level over the shoreline's (m)", l.Low}, {"highest level over the shoreline's (m)", l.Highest}} {
		if c.level == nil {
			continue
		}
		if err := unit.CheckRange(c.quantity, float64(*c.level), -mostSwing, mostSwing, "this project's own limit"); err != nil {
			return err
		}
	}
	return nil
}

// assume lists the levels that a plan rests on.
func (l Levels) assume(add func(name string, isDefault bool, source, format string, args ...any)) {
	if l.known() {
		add("water levels", false, "as given", "pressure at %s above the shoreline's level, lift at %s below it", l.rise().Text(), l.fall().Text())
		return
	}
	if l == (Levels{}) {
		add("water levels", true, "the level of the shoreline is used for pressure and for lift alike", "no rise, no fall")
		return
	}
	add("water levels", true, "not both the usual low and the highest were given", "pressure at %s above the shoreline's level, lift at %s below it", l.rise().Text(), l.fall().Text())
}
