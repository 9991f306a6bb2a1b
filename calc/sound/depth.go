package sound

import "pondwright/calc/unit"

// Limits of what this package takes for a pond or a small lake.
const (
	minLayerM   = 1e-6
	maxReadingM = 200
	maxDraftM   = 5
	minSpeedMPS = 1350 // wider than any water, 0 to 95 °C, fresh or salt
	maxSpeedMPS = 1650
)

const depthSource = "limits of this package for ponds and small lakes"

// Sounder is how an echo sounder is set up in the boat. The zero value is not
// usable: SetSpeed must be given, see Settings for the usual factory value.
type Sounder struct {
	Draft    unit.Meters          // transducer face below the water line, 0 to 5 m
	SetSpeed unit.MetersPerSecond // sound speed the instrument assumes
}

// Depth reports the depth of the bed below the water surface from a reading
// below the transducer: draft + reading × c/SetSpeed, c being the speed of
// sound in the water of the day (EM 1110-2-1003, 2002, chapter 9; the ratio
// follows from depth = speed × time / 2). It returns a *unit.RangeError for a
// reading outside 0 to 200 m, a draft outside 0 to 5 m or a speed outside 1350
// to 1650 m/s.
func (s Sounder) Depth(reading unit.Meters, c unit.MetersPerSecond) (unit.Meters, error) {
	for _, in := range []struct {
		name        string
		got, lo, hi float64
	}{
		{"sounder reading (m)", float64(reading), 0, maxReadingM},
		{"draft (m)", float64(s.Draft), 0, maxDraftM},
		{"sound speed set in the sounder (m/s)", float64(s.SetSpeed), minSpeedMPS, maxSpeedMPS},
		{"sound speed in the water (m/s)", float64(c), minSpeedMPS, maxSpeedMPS},
	} {
		if err := unit.CheckRange(in.name, in.got, in.lo, in.hi, depthSource); err != nil {
			return 0, err
		}
	}
	return s.Draft + reading*unit.Meters(c/s.SetSpeed), nil
}

// BedHeight reports the height of the bed when water standing at level is depth
// deep. Heights are up from whatever datum the level uses.
func BedHeight(level, depth unit.Meters) unit.Meters { return level - depth }

// BelowFull reports how deep the water would be with the pond full, from a
// depth found while the water stood at level. full and level are heights over
// the same datum.
func BelowFull(full, level, depth unit.Meters) unit.Meters { return full - level + depth }

// Muck reports the thickness of soft sediment between the depth at which a flat
// disk or a high-frequency echo finds the bed and the depth at which a rod
// refuses. Water volume counts to soft, hose weights stand at firm. It returns
// a *unit.RangeError where firm is less than soft, or either is outside 0 to
// 200 m.
func Muck(soft, firm unit.Meters) (unit.Meters, error) {
	if err := unit.CheckRange("depth to soft bed (m)", float64(soft), 0, maxReadingM, depthSource); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("depth to firm bed (m)", float64(firm), float64(soft), maxReadingM, depthSource); err != nil {
		return 0, err
	}
	return firm - soft, nil
}
