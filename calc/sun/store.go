package sun

import (
	"fmt"

	"pondwright/calc/unit"
)

// Beside the sizing of SizeStorage, how long a battery on hand lasts.

// storeRounds is how often the days of a month are gone through: the first round
// takes the battery from full to what the month keeps it at.
const storeRounds = 3

// dayStride is the order in which the twenty days of a month follow one another:
// neither all dull days together nor dull and bright in turn. It has no common
// factor with their number, so that each comes once.
const dayStride = 7

// StorageHours reports for each month how long a day, on average, a load runs from
// an array through a battery, round the clock where both suffice. The load takes
// the panel's light while there is any, the rest fills the battery, and the night
// is run from it. The days of the month follow the measured spread of clearness,
// in an order without long dull spells: those are for the days without sun that a
// battery is sized for. Of need, hours and season are not read.
//
// It returns a *unit.RangeError for an array outside 0 to 10 MW, a battery outside
// 0 to 10 MWh, and as SizeStorage does.
func (s Site) StorageHours(p Panel, array unit.Watts, battery unit.WattHours, need StorageNeed) ([12]unit.Seconds, error) {
	var out [12]unit.Seconds
	need.Hours = 0
	n, err := need.withDefaults()
	if err != nil {
		return out, err
	}
	if err := unit.CheckRange("array (W)", float64(array), 0, 1e7, "ponds"); err != nil {
		return out, err
	}
	if err := unit.CheckRange("battery (Wh)", float64(battery), 0, 1e7, "ponds"); err != nil {
		return out, err
	}
	light, err := s.Months(p)
	if err != nil {
		return out, err
	}
	months, err := s.months()
	if err != nil {
		return out, fmt.Errorf("battery: %w", err)
	}
	usableWh := float64(battery) * n.Battery.Depth * n.Battery.Efficiency * n.Battery.coldShare(n.Coldest)
	var c course
	for i, m := range months {
		c.set(m.day, p, s.Horizon, m.albedo)
		var days [clearDays]float64
		sum := 0.0
		for d, k := range spreadDays(m.clearness) {
			level := k * m.day.beyondWhM2
			days[d] = c.energy(level, level*dailyDiffuse(k, m.day.sunsetRad))
			sum += days[d]
		}
		if sum > 0 { // the mean day is that of Months
			scale := float64(light[i].Tilted) * clearDays / sum * float64(array) / 1000 * n.Share
			for d := range days {
				days[d] *= scale
			}
		}
		out[i] = unit.Hours(storedHours(days, float64(n.Load), c.stepH*courseSteps, usableWh))
	}
	return out, nil
}

// storedHours is the mean run of a day over a month whose days bring so much
// energy, a battery behind it.
func storedHours(daysWh [clearDays]float64, loadW, daylightH, usableWh float64) float64 {
	storedWh, ranWh := usableWh, 0.0
	for round := range storeRounds {
		for i := range clearDays {
			inWh := daysWh[i*dayStride%clearDays]
			wantWh := loadW * daylightH
			ran := min(inWh, wantWh)
			if short := wantWh - ran; short > 0 {
				use := min(short, storedWh)
				ran, storedWh = ran+use, storedWh-use
			}
			storedWh = min(usableWh, storedWh+inWh-min(inWh, wantWh))
			night := min(loadW*(24-daylightH), storedWh)
			ran, storedWh = ran+night, storedWh-night
			if round == storeRounds-1 {
				ranWh += ran
			}
		}
	}
	return min(24, ranWh/clearDays/loadW)
}
