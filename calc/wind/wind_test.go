package wind_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/golang/geo/s1"
	"github.com/golang/geo/s2"
	"pgregory.net/rapid"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
	"pondwright/calc/wind"
)

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func even(mps float64) (out [12]unit.MetersPerSecond) {
	for i := range out {
		out[i] = unit.MetersPerSecond(mps)
	}
	return out
}

func TestExceeds(t *testing.T) {
	t.Parallel()
	const rayleigh = "Rayleigh distribution, closed form"
	for _, tt := range []struct {
		name        string
		mean, speed float64
		want, tol   float64
		source      string
	}{
		{"above its mean", 5, 5, math.Exp(-math.Pi / 4), 1e-12, rayleigh},
		{"above its median", 5, 5 * math.Sqrt(4*math.Ln2/math.Pi), 0.5, 1e-12, rayleigh},
		{"10 m/s where the mode is 5 m/s", 5 * math.Sqrt(math.Pi/2), 10, 0.13534, 1e-5, "exp(−v²/2σ²) with σ = 5 m/s, exp(−2), handbook exercise"},
		{"above standstill", 5, 0, 1, 0, "definition"},
		{"in still air", 0, 1, 0, 0, "definition"},
	} {
		got := must(wind.Exceeds(unit.MetersPerSecond(tt.mean), unit.MetersPerSecond(tt.speed)))
		if math.Abs(got-tt.want) > tt.tol {
			t.Errorf("%s: %.8f, want %.8f within %g (%s)", tt.name, got, tt.want, tt.tol, tt.source)
		}
	}
}

// TestRunHours_AgainstASum integrates the density of the distribution in small
// steps, and finds the scale from the mean the same way.
func TestRunHours_AgainstASum(t *testing.T) {
	t.Parallel()
	density := func(v, scale float64) float64 { return 2 * v / (scale * scale) * math.Exp(-v*v/(scale*scale)) }
	const step = 1e-3
	mean := func(scale float64) float64 {
		sum := 0.0
		for v := step / 2; v < 80; v += step {
			sum += v * density(v, scale) * step
		}
		return sum
	}
	for _, want := range []struct{ atTen, hub, shear, shelter, in, out float64 }{
		{4.5, 6, 0.14, 1, 3, 14}, {2.5, 12, 0.25, 0.7, 2.5, 60}, {7, 10, 0.14, 1, 5, 11},
	} {
		atHub := want.atTen * want.shelter * math.Exp(want.shear*math.Log(want.hub/10))
		scale := atHub / mean(1)
		hours := 0.0
		for v := want.in + step/2; v < want.out; v += step {
			hours += 24 * density(v, scale) * step
		}
		site := wind.Site{Wind: even(want.atTen), Shear: want.shear, Shelter: want.shelter}
		got := must(site.RunHours(wind.Mill{CutIn: unit.MetersPerSecond(want.in), CutOut: unit.MetersPerSecond(want.out), Hub: unit.Meters(want.hub)}))
		if math.Abs(got[0].Hours()-hours) > 1e-3 {
			t.Errorf("%+v: %.4f h, by sum %.4f h", want, got[0].Hours(), hours)
		}
	}
}

func TestAtHub(t *testing.T) {
	t.Parallel()
	high := must(wind.Site{Wind: even(2), Shear: 0.15}.AtHub(100))
	if got, want := float64(high[0]), 2.8251; math.Abs(got-want) > 1e-4 {
		t.Errorf("2 m/s at 10 m is %.4f m/s at 100 m, want %.4f (2 · 10^0.15, level ground, handbook exercise)", got, want)
	}
	same := must(wind.Site{Wind: even(4), Anemometer: 6}.AtHub(6))
	if math.Abs(float64(same[3])-4) > 1e-12 {
		t.Errorf("4 m/s at the anemometer's own height is %g", float64(same[3]))
	}
}

func TestRunHours_Properties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(0, 39).Draw(t, "mean")
		in := rapid.Float64Range(0.1, 20).Draw(t, "cut-in")
		hub := rapid.Float64Range(1, 100).Draw(t, "hub")
		run := func(v, in, hub, shelter float64) float64 {
			site := wind.Site{Wind: even(v), Shelter: shelter}
			return must(site.RunHours(wind.Mill{CutIn: unit.MetersPerSecond(in), Hub: unit.Meters(hub)}))[0].Hours()
		}
		base := run(v, in, hub, 1)
		if !(base >= 0 && base <= 24) {
			t.Fatalf("%g h a day", base)
		}
		if run(v+1, in, hub, 1) < base || run(v, in+1, hub, 1) > base || run(v, in, hub+1, 1) < base || run(v, in, hub, 0.8) > base {
			t.Fatalf("mean %g cut-in %g hub %g: more wind, a lower cut-in, a higher hub and less shelter must not run less", v, in, hub)
		}
		site := wind.Site{Wind: even(v)}
		furled := must(site.RunHours(wind.Mill{CutIn: unit.MetersPerSecond(in), CutOut: unit.MetersPerSecond(in + 5), Hub: unit.Meters(hub)}))[0].Hours()
		if furled > base || furled < 0 {
			t.Fatalf("turned out of the wind it runs %g h, else %g h", furled, base)
		}
	})
}

func TestGrid(t *testing.T) {
	t.Parallel()
	// 300 ft of cable, 500 W at power factor 1 and 240 V: 2.083 A.
	c := must(wind.Grid{Length: unit.Feet(300), Volts: 240, PowerFactor: 1, Cover: 0.6, Width: 0.2}.Size(500))
	const source = "NEC chapter 9, table 8, recomputed"
	if got, want := float64(c.Current), 500.0/240; math.Abs(got-want) > 1e-9 {
		t.Errorf("current %.4f A, want %.4f", got, want)
	}
	// 14 AWG: 2 · 0.3 kft · 3.14 Ω/kft · 2.083 A = 3.925 V, 1.64 %; 16 AWG 2.60 %; 18 AWG 4.14 %.
	if c.Gauge.Name != "16 AWG" || math.Abs(c.Loss.Share-0.02599) > 1e-4 {
		t.Errorf("%s losing %.4f, want 16 AWG losing 0.0260 (%s)", c.Gauge.Name, c.Loss.Share, source)
	}
	if got, want := float64(c.Soil), 91.44*0.6*0.2; math.Abs(got-want) > 1e-9 || c.Trench != unit.Feet(300) {
		t.Errorf("trench %v m, soil %.3f m³, want 91.44 m and %.3f m³", c.Trench, got, want)
	}
	if len(c.Notes) == 0 || c.Notes[0] != sun.CodeNote {
		t.Error("a cable without its deferral to the local electrical code")
	}
	if _, err := (wind.Grid{Length: 5000}).Size(2000); !errors.Is(err, sun.ErrNoGauge) {
		t.Errorf("2 kW over 5 km at 120 V: %v, want ErrNoGauge", err)
	}
}

func plains() wind.Case {
	climate := must(sun.ClimateAt(s2.LatLngFromDegrees(35.6, -97.9), sun.Own{}))
	return wind.Case{
		Load: 200, Hours: unit.Hours(6), Season: sun.Between(time.April, time.October),
		Sun: climate.Site(sun.Horizon{}), Panel: sun.Panel{Tilt: 20 * s1.Degree, Azimuth: 180 * s1.Degree},
		Wind: wind.Site{Wind: climate.Wind}, Grid: wind.Grid{Length: 100},
	}
}

func TestCompare(t *testing.T) {
	t.Parallel()
	c := plains()
	sources := must(wind.Compare(c))
	if len(sources) != 4 {
		t.Fatalf("%d sources, want 4", len(sources))
	}
	for i, s := range sources {
		if s.Kind != wind.Kind(i) || s.Kind.String() == "unknown source" || len(s.Notes) == 0 {
			t.Errorf("source %d: %v with notes %q", i, s.Kind, s.Notes)
		}
		if !s.Meets || s.Reason != "" || s.Hours[s.Worst-1] < c.Hours*(1-1e-9) || !c.Season.Has(s.Worst) {
			t.Errorf("%v: meets %v, worst %s with %.2f h, reason %q; want 6 h from April to October", s.Kind, s.Meets, s.Worst, s.Hours[s.Worst-1].Hours(), s.Reason)
		}
	}
	if sources[wind.SunDirect].Array <= sources[wind.SunBattery].Array/4 || sources[wind.SunBattery].Battery <= 0 {
		t.Errorf("direct %v W, battery %v W with %v Wh", sources[0].Array, sources[1].Array, sources[1].Battery)
	}
	c.Hours = 0
	around := must(wind.Compare(c))
	for kind, meets := range map[wind.Kind]bool{wind.SunDirect: false, wind.SunBattery: true, wind.WindMill: false, wind.Mains: true} {
		if s := around[kind]; s.Meets != meets || s.Meets == (s.Reason != "") {
			t.Errorf("%v round the clock: meets %v, reason %q, want %v", kind, s.Meets, s.Reason, meets)
		}
	}
	c.Grid.Length = 9000
	if far := must(wind.Compare(c))[wind.Mains]; far.Meets || far.Reason == "" || far.Hours[0] != 0 {
		t.Errorf("9 km of cable: %+v, want a reason and no hours", far)
	}
	c.Panel = sun.Panel{Tilt: 90 * s1.Degree} // a wall to the north
	c.Season = sun.Between(time.December, time.January)
	if dark := must(wind.Compare(c))[wind.SunDirect]; dark.Meets || dark.Reason == "" {
		t.Errorf("a panel on a north wall in winter: %+v", dark)
	}
}

func TestRefusals_AreRangeErrors(t *testing.T) {
	t.Parallel()
	calls := map[string]func() error{
		"a mean of a hurricane": func() error { _, err := wind.Exceeds(90, 3); return err },
		"a wind that is none":   func() error { _, err := wind.Site{Wind: even(math.NaN())}.RunHours(wind.Mill{}); return err },
		"a hub in the ground":   func() error { _, err := wind.Site{}.AtHub(-1); return err },
		"cut-out below cut-in":  func() error { _, err := wind.Site{}.RunHours(wind.Mill{CutIn: 5, CutOut: 4}); return err },
		"a shelter above one":   func() error { _, err := wind.Site{Shelter: 2}.AtHub(6); return err },
		"a shear of a wall":     func() error { _, err := wind.Site{Shear: 3}.AtHub(6); return err },
		"no load":               func() error { _, err := wind.Grid{}.Size(0); return err },
		"a cable of 20 km":      func() error { _, err := wind.Grid{Length: 2e4}.Size(100); return err },
		"25 hours a day":        func() error { c := plains(); c.Hours = unit.Hours(25); _, err := wind.Compare(c); return err },
		"no sun":                func() error { c := plains(); c.Sun = sun.Site{}; _, err := wind.Compare(c); return err },
	}
	for name, call := range calls {
		var r *unit.RangeError
		if err := call(); !errors.As(err, &r) {
			t.Errorf("%s: error %v, want a *unit.RangeError", name, err)
		}
	}
}

func TestSettings_AreNamedAndMarked(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, s := range wind.Settings() {
		if s.Name == "" || s.Unit == "" || s.Mark == "" || seen[s.Name] {
			t.Errorf("%+v: want a name of its own, a unit and a mark", s)
		}
		seen[s.Name] = true
	}
}

func FuzzRunHours(f *testing.F) {
	f.Add(4.5, 10.0, 0.14, 1.0, 3.0, 14.0, 6.0, 100.0, 300.0)
	f.Add(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
	f.Add(1e308, -1e308, 1e-308, 1e308, 5e-324, 1e308, 1e308, 1e308, 1e308)
	f.Fuzz(func(t *testing.T, mean, height, shear, shelter, in, out, hub, length, load float64) {
		for _, v := range []float64{mean, height, shear, shelter, in, out, hub, length, load} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Skip()
			}
		}
		site := wind.Site{Wind: even(mean), Anemometer: unit.Meters(height), Shear: shear, Shelter: shelter}
		mill := wind.Mill{CutIn: unit.MetersPerSecond(in), CutOut: unit.MetersPerSecond(out), Hub: unit.Meters(hub)}
		if hours, err := site.RunHours(mill); err == nil && !(hours[0] >= 0 && hours[0] <= unit.Hours(24)) {
			t.Fatalf("%v s a day", hours[0])
		}
		if c, err := (wind.Grid{Length: unit.Meters(length), PowerFactor: shelter}).Size(unit.Watts(load)); err == nil {
			if sum := float64(c.Current) + c.Loss.Share + float64(c.Loss.Power) + float64(c.Soil); math.IsNaN(sum) || math.IsInf(sum, 0) {
				t.Fatalf("%+v", c)
			}
		}
	})
}

func BenchmarkCompare(b *testing.B) {
	c := plains()
	for b.Loop() {
		must(wind.Compare(c))
	}
}
