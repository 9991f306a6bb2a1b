package sun

import (
	"math"

	"pondwright/calc/unit"
)

// clearDays is into how many equally likely days a month is spread.
const clearDays = 20

// duskClearness is the clearness of the dullest day.
const duskClearness = 0.05

// spreadDays gives twenty equally likely days of a month of mean clearness kt,
// dullest first, after the distribution of Bendt, Collars-Pereira and Rabl 1981
// with the fits of Hollands and Huget 1983 and Herzog 1985 (Duffie and Beckman
// eqs. 2.9.4 to 2.9.7). kt must be within 0.1 to 0.8.
func spreadDays(kt float64) [clearDays]float64 {
	var days [clearDays]float64
	brightest := 0.6313 + 0.267*kt - 11.9*math.Pow(kt-0.75, 8)
	span := brightest - duskClearness
	xi := span / (brightest - kt)
	gamma := -1.498 + (1.184*xi-27.182*math.Exp(-1.5*xi))/span
	for i := range days {
		f := (float64(i) + 0.5) / clearDays
		if math.Abs(gamma) < 1e-6 {
			days[i] = duskClearness + f*span
			continue
		}
		days[i] = duskClearness + math.Log1p(f*math.Expm1(gamma*span))/gamma
	}
	return days
}

// RunHours reports for each month how long a day, on average over the month, the
// light on a panel reaches a threshold: the hours that a pump wired straight to
// the panel runs. The days of the month follow the measured spread of clearness;
// each is cut into hours by the splits of HourShare, with the daily diffuse share
// of Erbs and an even sky. Against hourly years the yearly mean is within 0.5 h
// and the worst month within 1 h. A passing cloud still stops the pump: count
// these hours as the most it can run.
//
// It returns a *unit.RangeError for a threshold outside 0 to 1500 W/m² and as
// Months does.
func (s Site) RunHours(p Panel, threshold unit.WattsPerSquareMeter) ([12]unit.Seconds, error) {
	var out [12]unit.Seconds
	months, err := s.months()
	if err != nil {
		return out, err
	}
	if err := p.check(); err != nil {
		return out, err
	}
	if err := checkThreshold(threshold); err != nil {
		return out, err
	}
	var c course
	for i, m := range months {
		c.set(m.day, p, s.Horizon, m.albedo)
		out[i] = unit.Hours(c.hoursAbove(float64(threshold), m))
	}
	return out, nil
}

func checkThreshold(threshold unit.WattsPerSquareMeter) error {
	return unit.CheckRange("threshold (W/m²)", float64(threshold), 0, 1500, "brighter than a panel ever sees for long")
}

// hoursAbove counts the steps of the twenty days in which the light reaches the
// threshold.
func (c *course) hoursAbove(thresholdWM2 float64, m siteMonth) float64 {
	steps := 0
	for _, k := range spreadDays(m.clearness) {
		level := k * m.day.beyondWhM2
		diffuse := level * dailyDiffuse(k, m.day.sunsetRad)
		for i := range courseSteps {
			if c.lightWM2(i, level, diffuse) >= thresholdWM2 {
				steps++
			}
		}
	}
	return float64(steps) * c.stepH / clearDays
}
