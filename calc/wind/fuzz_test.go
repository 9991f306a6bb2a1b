package wind_test

import (
	"math"
	"testing"

	"github.com/golang/geo/s1"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
	"pondwright/calc/wind"
)

// FuzzCompare throws any numbers at the comparison of sources: no panic, and
// what is accepted is a number.
func FuzzCompare(f *testing.F) {
	f.Add(200.0, 21600.0, 36.1, 4000.0, 20.0, 5.0, 3.0, 100.0, 120.0)
	f.Add(1.0, 86400.0, -65.0, 100.0, 90.0, 0.0, 0.1, 0.0, 24.0)
	f.Add(1e308, -1e308, 1e308, -1e308, 1e308, 1e308, 1e-308, 1e308, 1e308)
	f.Fuzz(func(t *testing.T, load, seconds, lat, level, tilt, mean, cutIn, length, volts float64) {
		for _, v := range []float64{load, seconds, lat, level, tilt, mean, cutIn, length, volts} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Skip()
			}
		}
		if share, err := wind.Exceeds(unit.MetersPerSecond(mean), unit.MetersPerSecond(cutIn)); err == nil && !(share >= 0 && share <= 1) {
			t.Fatalf("share of time %v", share)
		}
		c := wind.Case{
			Load: unit.Watts(load), Hours: unit.Seconds(seconds), Sun: sun.Site{Lat: s1.Angle(lat) * s1.Degree},
			Panel: sun.Panel{Tilt: s1.Angle(tilt) * s1.Degree}, Wind: wind.Site{Wind: even(mean)},
			Mill: wind.Mill{CutIn: unit.MetersPerSecond(cutIn)}, Grid: wind.Grid{Length: unit.Meters(length), Volts: unit.Volts(volts)},
		}
		for m := range c.Sun.Irradiation {
			c.Sun.Irradiation[m] = unit.WattHoursPerSquareMeter(level)
		}
		list, err := wind.Compare(c)
		if err != nil {
			return
		}
		for _, s := range list {
			for _, h := range s.Hours {
				if !(h >= 0 && h <= 86400*(1+1e-9)) {
					t.Fatalf("%s runs %v a day", s.Kind, h)
				}
			}
			if math.IsNaN(float64(s.Array)) || math.IsNaN(float64(s.Battery)) || math.IsNaN(float64(s.Cable.Loss.Drop)) {
				t.Fatalf("%s: %+v", s.Kind, s)
			}
		}
	})
}
