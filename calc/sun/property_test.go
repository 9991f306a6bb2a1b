package sun_test

import (
	"math"
	"testing"
	"time"

	"github.com/golang/geo/s1"
	"github.com/golang/geo/s2"
	"pgregory.net/rapid"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
)

// drawSite draws a site whose every month is within the clearness of the method.
func drawSite(t *rapid.T) sun.Site {
	lat := degrees(rapid.Float64Range(-60, 60).Draw(t, "lat"))
	return siteOf(lat, rapid.Float64Range(0.25, 0.75).Draw(t, "clearness"))
}

func siteOf(lat s1.Angle, clearness float64) sun.Site {
	s := sun.Site{Lat: lat}
	for m := range 12 {
		outside := must(sun.Extraterrestrial(lat, sun.MeanDay(time.Month(m+1))))
		s.Irradiation[m] = outside * unit.WattHoursPerSquareMeter(clearness)
	}
	return s
}

func drawPanel(t *rapid.T) sun.Panel {
	return sun.Panel{
		Tilt:    degrees(rapid.Float64Range(0, 90).Draw(t, "tilt")),
		Azimuth: degrees(rapid.Float64Range(0, 360).Draw(t, "azimuth")),
	}
}

func drawHorizon(t *rapid.T) sun.Horizon {
	n := rapid.IntRange(1, 6).Draw(t, "points")
	points := make([]sun.HorizonPoint, n)
	for i := range points {
		points[i].Azimuth = degrees(rapid.Float64Range(0, 360).Draw(t, "bearing"))
		points[i].Elevation = degrees(rapid.Float64Range(0, 90).Draw(t, "height"))
	}
	return must(sun.NewHorizon(points))
}

func TestEnergy_IsNeverNegative(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, p := drawSite(t), drawPanel(t)
		s.Horizon = drawHorizon(t)
		hours := must(s.RunHours(p, unit.WattsPerSquareMeter(rapid.Float64Range(0, 1500).Draw(t, "threshold"))))
		for m, v := range must(s.Months(p)) {
			if !(v.Tilted >= 0) || math.IsInf(float64(v.Tilted), 0) {
				t.Fatalf("month %d: %g Wh/m²", m+1, float64(v.Tilted))
			}
			if h := hours[m].Hours(); !(h >= 0 && h <= 24) {
				t.Fatalf("month %d: %g h", m+1, h)
			}
		}
	})
}

// TestEnergy_HorizonOnlyTakesAway holds for months, run hours and single hours.
func TestEnergy_HorizonOnlyTakesAway(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		open, p := drawSite(t), drawPanel(t)
		walled := open
		walled.Horizon = drawHorizon(t)
		threshold := unit.WattsPerSquareMeter(rapid.Float64Range(50, 800).Draw(t, "threshold"))
		a, b := must(open.Months(p)), must(walled.Months(p))
		ha, hb := must(open.RunHours(p, threshold)), must(walled.RunHours(p, threshold))
		for m := range 12 {
			if float64(b[m].Tilted) > float64(a[m].Tilted)*(1+1e-12) || hb[m] > ha[m] {
				t.Fatalf("month %d: behind a horizon %g Wh/m² and %g h, in the open %g and %g", m+1,
					float64(b[m].Tilted), hb[m].Hours(), float64(a[m].Tilted), ha[m].Hours())
			}
		}
		pos := sun.Position{Elevation: degrees(rapid.Float64Range(-5, 90).Draw(t, "sun")), Azimuth: degrees(rapid.Float64Range(0, 360).Draw(t, "sun bearing"))}
		sky := must(sun.SplitHour(unit.WattsPerSquareMeter(rapid.Float64Range(0, 1100).Draw(t, "global")), 1367, pos.Elevation))
		model := sun.SkyModel(rapid.IntRange(0, 2).Draw(t, "model"))
		lit := must(sun.Scene{Panel: p, Model: model}.Light(pos, sky, 1367, 0)).Total()
		shaded := must(sun.Scene{Panel: p, Model: model, Horizon: walled.Horizon}.Light(pos, sky, 1367, 0)).Total()
		if !(shaded >= 0 && float64(shaded) <= float64(lit)*(1+1e-12)) {
			t.Fatalf("behind a horizon %g W/m², in the open %g", float64(shaded), float64(lit))
		}
	})
}

// TestEnergy_GrowsWithClearness holds where the beam is worth at least as much on
// the panel as the sky's light: a panel that looks away from the sun loses when
// diffuse light turns into beam.
func TestEnergy_GrowsWithClearness(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lat := degrees(rapid.Float64Range(-60, 60).Draw(t, "lat"))
		p := sun.Panel{Tilt: degrees(rapid.Float64Range(0, 90).Draw(t, "tilt")), Azimuth: sun.TowardEquator(lat)}
		k := rapid.Float64Range(0.25, 0.7).Draw(t, "clearness")
		more := rapid.Float64Range(0.005, 0.05).Draw(t, "more")
		dull, bright := must(siteOf(lat, k).Months(p)), must(siteOf(lat, k+more).Months(p))
		for m := range 12 {
			if dull[m].BeamRatio < 1 {
				continue
			}
			if bright[m].Tilted <= dull[m].Tilted {
				t.Fatalf("month %d: clearness %g gives %g Wh/m², %g gives %g", m+1, k, float64(dull[m].Tilted), k+more, float64(bright[m].Tilted))
			}
		}
		level := unit.WattsPerSquareMeter(rapid.Float64Range(50, 900).Draw(t, "threshold"))
		few, many := must(siteOf(lat, k).RunHours(sun.Panel{}, level)), must(siteOf(lat, k+more).RunHours(sun.Panel{}, level))
		for m := range 12 {
			if many[m].Hours() < few[m].Hours()-0.05 {
				t.Fatalf("month %d: level panel, clearness %g runs %g h, %g runs %g h", m+1, k, few[m].Hours(), k+more, many[m].Hours())
			}
		}
	})
}

func TestRunHours_FallWithThreshold(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, p := drawSite(t), drawPanel(t)
		low := rapid.Float64Range(0, 1000).Draw(t, "low")
		high := low + rapid.Float64Range(0, 400).Draw(t, "step")
		a, b := must(s.RunHours(p, unit.WattsPerSquareMeter(low))), must(s.RunHours(p, unit.WattsPerSquareMeter(high)))
		for m := range 12 {
			if b[m] > a[m] {
				t.Fatalf("month %d: %g h above %g, %g h above %g W/m²", m+1, a[m].Hours(), low, b[m].Hours(), high)
			}
		}
	})
}

// TestHemispheres_Mirror turns the world over at the equinox-symmetric pieces:
// the sun's course, and two sites whose months lie half a year apart.
func TestHemispheres_Mirror(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lat := rapid.Float64Range(0, 90).Draw(t, "lat")
		decl := rapid.Float64Range(-23.45, 23.45).Draw(t, "decl")
		hour := rapid.Float64Range(-179, 179).Draw(t, "hour")
		el1, az1, err1 := sun.Horizontal(degrees(lat), degrees(decl), degrees(hour))
		el2, az2, err2 := sun.Horizontal(degrees(-lat), degrees(-decl), degrees(hour))
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		turned := math.Abs(math.Remainder((az1+az2).Radians()-math.Pi, 2*math.Pi))
		if math.Abs((el1-el2).Degrees()) > 1e-9 || turned*math.Cos(el1.Radians()) > 1e-9 {
			t.Fatalf("north %v %v, south %v %v", el1, az1, el2, az2)
		}
		if math.Abs((sun.SunsetAngle(degrees(lat), degrees(decl)) - sun.SunsetAngle(degrees(-lat), degrees(-decl))).Degrees()) > 1e-9 {
			t.Fatal("sunset differs between the hemispheres")
		}
	})
}

// TestHemispheres_MonthsMirror compares a northern site with the southern one
// half a year later. The mean days of two months half a year apart differ by up
// to 0.6° of declination, which bounds how far the beam ratios can part.
func TestHemispheres_MonthsMirror(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lat := rapid.Float64Range(0.1, 50).Draw(t, "lat") // on the equator itself both are northern
		tilt := rapid.Float64Range(0, 60).Draw(t, "tilt")
		turn := rapid.Float64Range(-90, 90).Draw(t, "turn")
		k := rapid.Float64Range(0.3, 0.7).Draw(t, "clearness")
		north := must(siteOf(degrees(lat), k).Months(sun.Panel{Tilt: degrees(tilt), Azimuth: degrees(180 + turn)}))
		south := must(siteOf(degrees(-lat), k).Months(sun.Panel{Tilt: degrees(tilt), Azimuth: degrees(-turn)}))
		for m := range 12 {
			a, b := north[m], south[(m+6)%12]
			ra, rb := float64(a.Tilted/a.Level), float64(b.Tilted/b.Level)
			if math.Abs(ra/rb-1) > 0.05 {
				t.Fatalf("month %d: gain %g north, %g south", m+1, ra, rb)
			}
		}
	})
}

// TestMonths_DoNotJump turns a panel by a hair off the equator's direction and a
// horizon by a hair off level.
func TestMonths_DoNotJump(t *testing.T) {
	t.Parallel()
	g := greensboro()
	straight := must(g.Months(south(36)))
	turned := must(g.Months(sun.Panel{Tilt: degrees(36), Azimuth: degrees(180.001)}))
	walled := g
	walled.Horizon = must(sun.NewHorizon([]sun.HorizonPoint{{Elevation: degrees(0.001)}}))
	low := must(walled.Months(south(36)))
	for m := range 12 {
		for _, other := range []sun.Month{turned[m], low[m]} {
			if math.Abs(float64(other.Tilted/straight[m].Tilted)-1) > 1e-4 {
				t.Errorf("%s: %g Wh/m² jumps to %g", time.Month(m+1), float64(straight[m].Tilted), float64(other.Tilted))
			}
		}
	}
}

func TestBestTilt_IsNoWorseThanItsNeighbors(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := drawSite(t)
		tilt := must(s.BestTilt(sun.TowardEquator(s.Lat), sun.Goal{Worst: true, Least: degrees(1)}))
		worst := func(tilt s1.Angle) float64 {
			least := math.Inf(1)
			for _, m := range must(s.Months(sun.Panel{Tilt: tilt, Azimuth: sun.TowardEquator(s.Lat)})) {
				least = math.Min(least, float64(m.Tilted))
			}
			return least
		}
		for _, other := range []s1.Angle{degrees(1), tilt - s1.Degree, tilt + s1.Degree, degrees(90)} {
			if other < degrees(1) || other > degrees(90.5) {
				continue
			}
			other = min(other, 90*s1.Degree)
			if worst(other) > worst(tilt)*(1+1e-9) {
				t.Fatalf("%v beats the best tilt %v", other, tilt)
			}
		}
	})
}

// TestLight_LevelPanelSeesTheLevelLight is energy conservation: a level panel in
// the open receives what the level ground does, whatever the sky model.
func TestLight_LevelPanelSeesTheLevelLight(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		el := degrees(rapid.Float64Range(6, 90).Draw(t, "sun"))
		global := rapid.Float64Range(1, 1000).Draw(t, "global")
		sky := must(sun.SplitHour(unit.WattsPerSquareMeter(global), 1367, el))
		for m := sun.Perez; m <= sun.Isotropic; m++ {
			got := float64(must(sun.Scene{Model: m}.Light(sun.Position{Elevation: el}, sky, 1367, 0)).Total())
			if math.Abs(got-global) > 1e-6*global {
				t.Fatalf("model %d: %g W/m² on a level panel, %g on level ground", m, got, global)
			}
		}
	})
}

// TestWire_Scales holds the law of Ohm: twice the length or the current is twice
// the drop, and a heavier wire loses less.
func TestWire_Scales(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		c := sun.Circuit{
			Length:  unit.Meters(rapid.Float64Range(0, 5000).Draw(t, "length")),
			Current: unit.Amperes(rapid.Float64Range(0, 500).Draw(t, "current")),
			Source:  unit.Volts(rapid.Float64Range(1, 1000).Draw(t, "source")),
		}
		longer, stronger := c, c
		longer.Length *= 2
		stronger.Current *= 2
		before := math.Inf(1)
		for _, g := range sun.Gauges() {
			one := must(c.Loss(g))
			tol := 1e-12 + 1e-9*float64(one.Drop)
			if a, b := must(longer.Loss(g)).Drop, must(stronger.Loss(g)).Drop; math.Abs(float64(a-2*one.Drop)) > tol || math.Abs(float64(b-2*one.Drop)) > tol {
				t.Fatalf("%s: %g V becomes %g and %g", g.Name, float64(one.Drop), float64(a), float64(b))
			}
			if float64(one.Drop) > before {
				t.Fatalf("%s loses more than the lighter wire", g.Name)
			}
			before = float64(one.Drop)
		}
	})
}

// TestPosition_MovesLikeTheSun holds for any instant and place: the sun's
// declination stays within the tropics and it stands highest at noon.
func TestPosition_MovesLikeTheSun(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		at := s2.LatLngFromDegrees(rapid.Float64Range(-60, 60).Draw(t, "lat"), rapid.Float64Range(-180, 180).Draw(t, "lon"))
		when := utc(1950, 1, 1, 0, 0, 0).Add(time.Duration(rapid.Int64Range(0, 100*365*86400).Draw(t, "second")) * time.Second)
		p := must(sun.PositionAt(when, at, sun.Air{}))
		if math.Abs(p.Declination.Degrees()) > 23.46 || p.DistanceAU < 0.983 || p.DistanceAU > 1.017 {
			t.Fatalf("declination %v, distance %g", p.Declination, p.DistanceAU)
		}
		day := must(sun.DaylightOn(when, at))
		noon := must(sun.PositionAt(day.Noon, at, sun.Air{}))
		if math.Abs(noon.HourAngle.Degrees()) > 1e-3 || p.Elevation > noon.Elevation+degrees(0.5) {
			t.Fatalf("noon at hour angle %v stands at %v, the sun at %v", noon.HourAngle, noon.Elevation, p.Elevation)
		}
		if !day.Rise.Before(day.Noon) || !day.Set.After(day.Noon) {
			t.Fatalf("rise %v, noon %v, set %v", day.Rise, day.Noon, day.Set)
		}
	})
}

func TestRefusals_AreRangeErrors(t *testing.T) {
	t.Parallel()
	g := greensboro()
	nan := math.NaN()
	place := s2.LatLngFromDegrees(40, -100)
	missing := g
	missing.Irradiation[5] = 0
	polar := g
	polar.Lat = degrees(70)
	snowy := g
	snowy.Albedo[0] = 1.5
	calls := map[string]func() error{
		"a year before the series": func() error { _, err := sun.PositionAt(utc(1850, 1, 1, 0, 0, 0), place, sun.Air{}); return err },
		"a place off the globe": func() error {
			_, err := sun.PositionAt(utc(2026, 1, 1, 0, 0, 0), s2.LatLngFromDegrees(91, 0), sun.Air{})
			return err
		},
		"air of the stratosphere": func() error {
			_, err := sun.PositionAt(utc(2026, 1, 1, 0, 0, 0), place, sun.Air{Pressure: 1000})
			return err
		},
		"a month without light":  func() error { _, err := missing.Months(south(30)); return err },
		"a polar latitude":       func() error { _, err := polar.Months(south(30)); return err },
		"an albedo above one":    func() error { _, err := snowy.Months(south(30)); return err },
		"a tilt of 91°":          func() error { _, err := g.Months(south(91)); return err },
		"a tilt that is no tilt": func() error { _, err := g.Months(south(nan)); return err },
		"a negative threshold":   func() error { _, err := g.RunHours(south(30), -1); return err },
		"a horizon below":        func() error { _, err := sun.NewHorizon([]sun.HorizonPoint{{Elevation: -1}}); return err },
		"a bearing beyond":       func() error { _, err := sun.NewHorizon([]sun.HorizonPoint{{Azimuth: degrees(361)}}); return err },
		"an unknown sky model": func() error {
			_, err := sun.Scene{Model: 9}.Light(sun.Position{}, sun.Sky{}, 1367, 0)
			return err
		},
		"a global below zero": func() error {
			_, err := sun.Scene{}.Hours(place, utc(2026, 1, 1, 0, 0, 0), []unit.WattsPerSquareMeter{-1})
			return err
		},
		"no load": func() error { _, err := g.SizeStorage(south(30), sun.StorageNeed{}); return err },
		"a battery drawn to nothing": func() error {
			_, err := g.SizeStorage(south(30), sun.StorageNeed{Load: 1, Battery: sun.Battery{Depth: 2, Efficiency: 1, AtFreezing: 1}})
			return err
		},
		"a wire of glass": func() error {
			_, err := sun.Circuit{Source: 24}.Loss(sun.Gauge{Name: "glass", OhmsPerMeter: 1e9})
			return err
		},
		"a source without volts":        func() error { _, _, err := sun.Circuit{}.Size(0); return err },
		"a winter arc in the north":     func() error { _, err := sun.KeepClear(degrees(60)); return err },
		"weather of another planet":     func() error { _, err := sun.CellInWind(700, 900, 5); return err },
		"strings without number":        func() error { _, err := sun.Module{}.CurrentFor(0); return err },
		"a turbidity of smoke":          func() error { _, err := sun.IneichenPerez(sun.ClearAir{Linke: 99}); return err },
		"a run of hours past the years": func() error { _, err := sun.ClearHours(place, utc(2100, 6, 1, 0, 0, 0), 9000); return err },
	}
	for name, call := range calls {
		wantRange(t, name, call())
	}
}
