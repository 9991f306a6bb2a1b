package sun_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/golang/geo/s1"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
)

// check is a figure against something outside the project.
type check struct {
	name           string
	got, want, tol float64 // tol absolute
	source         string
}

func run(t *testing.T, checks []check) {
	t.Helper()
	for _, c := range checks {
		t.Run(c.name, func(t *testing.T) {
			if !(math.Abs(c.got-c.want) <= c.tol) {
				t.Errorf("got %.10g, want %.10g within %g (%s)", c.got, c.want, c.tol, c.source)
			}
		})
	}
}

// must takes the value of a call that must not fail.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func wantRange(t *testing.T, what string, err error) {
	t.Helper()
	if _, ok := errors.AsType[*unit.RangeError](err); !ok {
		t.Errorf("%s: error %v, want a *unit.RangeError", what, err)
	}
}

func degrees(d float64) s1.Angle { return s1.Angle(d) * s1.Degree }

func days(whM2 ...float64) (out [12]unit.WattHoursPerSquareMeter) {
	for i, v := range whM2 {
		out[i] = unit.WattHoursPerSquareMeter(v)
	}
	return out
}

// greensboro is monthly mean global irradiation summed over the hours of the
// typical-year file TMY3 723170, Greensboro NC, latitude 36.1.
func greensboro() sun.Site {
	return sun.Site{Lat: degrees(36.1), Irradiation: days(2414, 3063, 4251, 5410, 5636, 6251, 6083, 5615, 4427, 3589, 2435, 2243)}
}

func south(tilt float64) sun.Panel { return sun.Panel{Tilt: degrees(tilt), Azimuth: degrees(180)} }

func utc(y int, m time.Month, d, h, minute, s int) time.Time {
	return time.Date(y, m, d, h, minute, s, 0, time.UTC)
}
