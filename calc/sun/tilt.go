package sun

import (
	"math"
	"time"

	"github.com/golang/geo/s1"

	"pondwright/calc/unit"
)

// Goal says what a tilt should be best for. The zero Goal is the most light over
// the year.
type Goal struct {
	Season     Season                   // the months that count
	Worst      bool                     // raise the poorest of them, rather than their mean
	HoursAbove unit.WattsPerSquareMeter // where above 0: count the hours that reach it, rather than light
	Least      s1.Angle                 // the flattest tilt to consider; 0 is 10°, at which rain still cleans the glass
}

// BestTilt reports the tilt, to the degree, at which a panel looking to a true
// bearing serves a goal best; the flatter of two equals. It returns a
// *unit.RangeError as Months and RunHours do, and for a least tilt outside 0 to
// 90°.
func (s Site) BestTilt(facing s1.Angle, g Goal) (s1.Angle, error) {
	least := g.Least.Degrees()
	if least == 0 {
		least = leastTiltDeg
	}
	if err := unit.CheckRange("least tilt (degrees)", least, 0, 90, "a panel does not face the ground"); err != nil {
		return 0, err
	}
	if err := checkThreshold(g.HoursAbove); err != nil {
		return 0, err
	}
	if err := (Panel{Azimuth: facing}).check(); err != nil {
		return 0, err
	}
	months, err := s.months()
	if err != nil {
		return 0, err
	}
	best, bestScore := least, math.Inf(-1)
	for tilt := least; tilt <= 90; tilt++ {
		score := s.score(&months, Panel{s1.Angle(tilt) * s1.Degree, facing}, g)
		if score > bestScore*(1+1e-12) || math.IsInf(bestScore, -1) {
			best, bestScore = tilt, score
		}
	}
	return s1.Angle(best) * s1.Degree, nil
}

// monthDays weigh the months of a mean year.
var monthDays = [12]float64{31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}

// score is the goal's figure for a panel: the mean or the least of its months.
func (s Site) score(months *[12]siteMonth, p Panel, g Goal) float64 {
	sum, days, least := 0.0, 0.0, math.Inf(1)
	var c course
	for i, m := range months {
		if !g.Season.Has(time.Month(i + 1)) {
			continue
		}
		var v float64
		if g.HoursAbove > 0 {
			c.set(m.day, p, s.Horizon, m.albedo)
			v = c.hoursAbove(float64(g.HoursAbove), m)
		} else {
			v = float64(s.month(m, p).Tilted)
		}
		sum += v * monthDays[i]
		days += monthDays[i]
		least = math.Min(least, v)
	}
	if g.Worst {
		return least
	}
	return sum / days
}

// AzimuthLoss reports the share of a goal's figure that a panel loses when it is
// turned off its bearing by an angle, the mean of both sides: what an
// uncorrected compass costs. It can be negative where turning helps, as behind
// trees. It returns a *unit.RangeError as BestTilt does.
func (s Site) AzimuthLoss(p Panel, off s1.Angle, g Goal) (float64, error) {
	if err := checkThreshold(g.HoursAbove); err != nil {
		return 0, err
	}
	if err := p.check(); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("error of bearing (degrees)", off.Degrees(), -180, 180, "definition"); err != nil {
		return 0, err
	}
	months, err := s.months()
	if err != nil {
		return 0, err
	}
	on := s.score(&months, p, g)
	if on == 0 {
		return 0, nil
	}
	left := s.score(&months, Panel{p.Tilt, p.Azimuth - off}, g)
	right := s.score(&months, Panel{p.Tilt, p.Azimuth + off}, g)
	return 1 - (left+right)/2/on, nil
}

// LatitudeTilt reports the tilt of most light over the year by latitude alone,
// after the fits of Jacobson and Jadhav, Solar Energy 169:55–66, 2018, for either
// hemisphere: a check on BestTilt and a first guess without a climate. It returns
// a *unit.RangeError beyond 65°.
func LatitudeTilt(lat s1.Angle) (s1.Angle, error) {
	phi := lat.Degrees()
	if err := unit.CheckRange("latitude (degrees)", phi, -maxLatitudeDeg, maxLatitudeDeg, "the latitudes of this package"); err != nil {
		return 0, err
	}
	tilt := 1.3793 + phi*(1.2011+phi*(-0.014404+phi*0.000080509))
	if phi < 0 {
		tilt = math.Abs(-0.41657 + phi*(1.4216+phi*(0.024051+phi*0.00021828)))
	}
	return s1.Angle(tilt) * s1.Degree, nil
}
