package sun_test

import (
	"math"
	"testing"
	"time"

	"github.com/golang/geo/s1"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
)

// This file is a second, slow implementation of run hours that shares no line
// with the package: directions are vectors instead of angles, the distribution
// of clearness is inverted by search in its closed integral, days are cut into
// minutes and months into a thousand days.

type vector struct{ east, north, up float64 }

func (a vector) dot(b vector) float64 { return a.east*b.east + a.north*b.north + a.up*b.up }

func ofBearing(azDeg, elDeg float64) vector {
	az, el := azDeg*math.Pi/180, elDeg*math.Pi/180
	return vector{math.Cos(el) * math.Sin(az), math.Cos(el) * math.Cos(az), math.Sin(el)}
}

// slowClearness finds the clearness below which a share f of the days of a month
// lie, by bisection in the cumulative distribution.
func slowClearness(mean, f float64) float64 {
	const low = 0.05
	top := 0.6313 + 0.267*mean - 11.9*math.Pow(mean-0.75, 8)
	xi := (top - low) / (top - mean)
	g := -1.498 + (1.184*xi-27.182*math.Exp(-1.5*xi))/(top-low)
	share := func(k float64) float64 {
		return (math.Exp(g*low) - math.Exp(g*k)) / (math.Exp(g*low) - math.Exp(g*top))
	}
	a, b := low, top
	for range 60 {
		if c := (a + b) / 2; share(c) < f {
			a = c
		} else {
			b = c
		}
	}
	return (a + b) / 2
}

func slowDiffuse(k, sunsetDeg float64) float64 {
	if sunsetDeg > 81.4 {
		if k > 0.722 {
			return 0.175
		}
		return 1 + 0.2832*k - 2.5557*math.Pow(k, 2) + 0.8448*math.Pow(k, 3)
	}
	if k > 0.715 {
		return 0.143
	}
	return 1 - 0.2727*k + 2.4495*math.Pow(k, 2) - 11.9514*math.Pow(k, 3) + 9.3879*math.Pow(k, 4)
}

// slowRunHours is the mean run time a day of one month, in hours.
func slowRunHours(latDeg, levelWhM2 float64, month int, panel vector, skylineDeg func(azDeg float64) float64, view, albedo, thresholdWM2 float64) float64 {
	middle := []float64{17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344}[month]
	declDeg := 23.45 * math.Sin(2*math.Pi*(284+middle)/365)
	lat, decl := latDeg*math.Pi/180, declDeg*math.Pi/180
	pole := vector{0, math.Cos(lat), math.Sin(lat)}
	equator := vector{0, -math.Sin(lat), math.Cos(lat)} // where the meridian meets the equator
	sunAt := func(minute int) vector {                  // minutes of solar time, in the middle of the minute
		w := (float64(minute)+0.5)/1440*2*math.Pi - math.Pi
		x, y, z := math.Cos(decl)*math.Cos(w), -math.Cos(decl)*math.Sin(w), math.Sin(decl)
		return vector{y, x*equator.north + z*pole.north, x*equator.up + z*pole.up}
	}
	normal := 1367 * (1 + 0.033*math.Cos(2*math.Pi*middle/365))
	outside, sunsetDeg := 0.0, 0.0
	for m := range 1440 {
		if s := sunAt(m); s.up > 0 {
			outside += normal * s.up / 60
			sunsetDeg += 0.125
		}
	}
	// Shares of the minutes, weighed by the height of the sun above its height at
	// sunset and the morning-to-noon rise of transparency.
	lag := math.Sin((sunsetDeg - 60) * math.Pi / 180)
	a, b := 0.409+0.5016*lag, 0.6609-0.4767*lag
	var global, diffuse [1440]float64
	sumG, sumD := 0.0, 0.0
	for m := range 1440 {
		if s := sunAt(m); s.up > 0 {
			w := (float64(m)+0.5)/1440*2*math.Pi - math.Pi
			diffuse[m] = s.up
			global[m] = s.up * (a + b*math.Cos(w))
			sumG += global[m]
			sumD += diffuse[m]
		}
	}
	const spread = 1000
	minutes := 0
	for d := range spread {
		k := slowClearness(levelWhM2/outside, (float64(d)+0.5)/spread)
		level := k * outside
		cloudy := level * slowDiffuse(k, sunsetDeg)
		for m := range 1440 {
			if diffuse[m] == 0 {
				continue
			}
			s := sunAt(m)
			all := level * global[m] / sumG * 60
			sky := math.Min(all, cloudy*diffuse[m]/sumD*60)
			beam := 0.0
			azDeg := math.Mod(math.Atan2(s.east, s.north)*180/math.Pi+360, 360)
			if math.Asin(s.up)*180/math.Pi >= skylineDeg(azDeg) {
				beam = (all - sky) / s.up * math.Max(0, s.dot(panel))
			}
			if beam+sky*view*(1+panel.up)/2+all*albedo*(1-panel.up)/2 >= thresholdWM2 {
				minutes++
			}
		}
	}
	return float64(minutes) / 60 / spread
}

func TestRunHours_AgainstTheSlowImplementation(t *testing.T) {
	t.Parallel()
	flat := func(float64) float64 { return 0 }
	trees := func(azDeg float64) float64 { // a hill of 30° at east falling to 0 at north and south
		return math.Max(0, 30-math.Abs(azDeg-90)/3)
	}
	skyline := must(sun.NewHorizon([]sun.HorizonPoint{
		{Azimuth: degrees(0), Elevation: 0}, {Azimuth: degrees(90), Elevation: degrees(30)}, {Azimuth: degrees(180), Elevation: 0}}))
	view := 0.0
	for i := range 36000 {
		view += math.Pow(math.Cos(trees((float64(i)+0.5)/100)*math.Pi/180), 2) / 36000
	}
	australia := days(6900, 6100, 5000, 3600, 2500, 2050, 2250, 3050, 4200, 5500, 6500, 7000)
	tests := []struct {
		name      string
		site      sun.Site
		panel     sun.Panel
		skyline   func(float64) float64
		view      float64
		threshold float64
		months    []time.Month
	}{
		{"south in the open, 400 W/m²", greensboro(), south(36), flat, 1, 400, []time.Month{1, 4, 7, 10}},
		{"southeast in the open, 250 W/m²", greensboro(), sun.Panel{Tilt: degrees(50), Azimuth: degrees(130)}, flat, 1, 250, []time.Month{2, 6, 12}},
		{"behind a hill, 300 W/m²", sun.Site{Lat: degrees(36.1), Irradiation: greensboro().Irradiation, Horizon: skyline}, south(30), trees, view, 300, []time.Month{3, 9}},
		{"southern hemisphere, 500 W/m²", sun.Site{Lat: degrees(-36), Irradiation: australia}, sun.Panel{Tilt: degrees(35)}, flat, 1, 500, []time.Month{1, 6}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := must(tt.site.RunHours(tt.panel, unit.WattsPerSquareMeter(tt.threshold)))
			normal := ofBearing(tt.panel.Azimuth.Degrees(), 90-tt.panel.Tilt.Degrees())
			for _, m := range tt.months {
				want := slowRunHours(tt.site.Lat.Degrees(), float64(tt.site.Irradiation[m-1]), int(m-1), normal, tt.skyline, tt.view, 0.2, tt.threshold)
				if math.Abs(got[m-1].Hours()-want) > 0.08 {
					t.Errorf("%s: %.3f h, slow implementation %.3f h, allowed 0.08", m, got[m-1].Hours(), want)
				}
			}
		})
	}
}

// TestHorizon_SkyViewBySum checks the closed integral against a plain sum.
func TestHorizon_SkyViewBySum(t *testing.T) {
	t.Parallel()
	points := []sun.HorizonPoint{
		{Azimuth: degrees(300), Elevation: degrees(20)}, {Azimuth: degrees(10), Elevation: degrees(5)},
		{Azimuth: degrees(100), Elevation: degrees(60)}, {Azimuth: degrees(100), Elevation: degrees(2)},
		{Azimuth: degrees(180), Elevation: degrees(2)},
	}
	h := must(sun.NewHorizon(points))
	sum, n := 0.0, 360000
	for i := range n {
		c := math.Cos(h.At(s1.Angle((float64(i) + 0.5) / float64(n) * 2 * math.Pi)).Radians())
		sum += c * c
	}
	if got, want := h.SkyView(), sum/float64(n); math.Abs(got-want) > 1e-4 {
		t.Errorf("sky view %.6f, plain sum %.6f", got, want)
	}
	run(t, []check{
		{"half way up", h.At(degrees(55)).Degrees(), 32.5, 1e-9, "straight between (10°, 5°) and (100°, 60°)"},
		{"after the step", h.At(degrees(101)).Degrees(), 2, 1e-9, "step at 100°"},
		{"over north", h.At(degrees(335)).Degrees(), 12.5, 1e-9, "straight between (300°, 20°) and (370°, 5°)"},
		{"a level horizon sees all", sun.Horizon{}.SkyView(), 1, 0, "definition"},
		{"a wall of 30° all round", must(sun.NewHorizon([]sun.HorizonPoint{{Elevation: degrees(30)}})).SkyView(), 0.75, 1e-12, "cos² 30°"},
		{"a tree of 10 m at 20 m", must(sun.ObstacleElevation(10, 20)).Degrees(), 26.565, 1e-3, "atan 1/2"},
	})
}
