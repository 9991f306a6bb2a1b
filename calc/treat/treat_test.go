package treat_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pondwright/calc/treat"
	"pondwright/calc/unit"
)

// near fails unless got is within tol of want.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.8g, want %.8g within %g", what, got, want, tol)
	}
}

// sure is a volume without doubt, for checking arithmetic.
func sure(v unit.CubicMeters) treat.Volume { return treat.Volume{Low: v, Best: v, High: v} }

func quantity(t *testing.T, d treat.Dose) treat.Amount {
	t.Helper()
	a, err := treat.Quantity(d)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// wantRefusal fails unless err refuses under a rule.
func wantRefusal(t *testing.T, err error, rule treat.Rule) {
	t.Helper()
	var no *treat.Refusal
	if !errors.As(err, &no) || no.Rule != rule {
		t.Errorf("got %v, want a refusal: %s", err, rule)
	}
}

func TestQuantity(t *testing.T) {
	t.Parallel()
	t.Run("ten_acre_feet_of_a_5_percent_liquid", func(t *testing.T) {
		t.Parallel()
		a := quantity(t, treat.Dose{Level: 0.05, Basis: treat.ActiveLevel, Product: treat.Product{Strength: 0.05, Density: 1030}, Volume: sure(unit.AcreFeet(10))})
		near(t, "active (kg)", float64(a.Active), 0.61674, 1e-5) // V·C/p, recomputed
		near(t, "product (kg)", float64(a.Product), 12.3348, 1e-3)
		near(t, "liquid (L)", 1000*float64(a.Liquid), 11.9756, 1e-3)
		near(t, "liquid (gal)", a.Liquid.Gallons(), 3.1636, 1e-3)
	})
	t.Run("half_a_ppm_of_a_5_percent_product", func(t *testing.T) {
		t.Parallel()
		a := quantity(t, treat.Dose{Level: 0.5, Basis: treat.ProductLevel, Product: treat.Product{Strength: 0.05}, Volume: sure(1000)})
		near(t, "active (µg/L)", 1000*float64(a.Level), 25, 1e-9) // Colorado state agency, questions and answers on rotenone
		if a.Liquid != 0 {
			t.Errorf("a dry product measured as %g m³", a.Liquid)
		}
	})
	t.Run("35_acre_feet_at_0.9_pounds", func(t *testing.T) {
		t.Parallel()
		a := quantity(t, treat.Dose{Level: unit.PoundsPerAcreFoot(0.9), Basis: treat.ProductLevel, Product: treat.Product{Strength: 0.25}, Volume: sure(unit.AcreFeet(35))})
		near(t, "product (lb)", a.Product.Pounds(), 31.5, 1e-9) // Mathematics and Statistics for the Environment, example 23.19
	})
	t.Run("15_million_gallons_of_copper", func(t *testing.T) {
		t.Parallel()
		a := quantity(t, treat.Dose{Level: 0.5, Basis: treat.ActiveLevel, Product: treat.Product{Strength: 0.25}, Volume: sure(unit.Gallons(15e6))})
		near(t, "product (lb)", a.Product.Pounds(), 250, 0.4) // Mathematics and Statistics for the Environment, example 23.20
		near(t, "product (lb)", a.Product.Pounds(), 250.36, 0.01)
	})
	t.Run("strength_by_volume", func(t *testing.T) {
		t.Parallel()
		// 2 lb of active ingredient per gallon: 10 lb are 5 gallons (arithmetic of the label).
		a := quantity(t, treat.Dose{Level: unit.PoundsPerAcreFoot(1), Basis: treat.ActiveLevel, Product: treat.Product{ActivePerVolume: unit.PoundsPerGallon(2)}, Volume: sure(unit.AcreFeet(10))})
		near(t, "liquid (gal)", a.Liquid.Gallons(), 5, 1e-9)
		if a.Product != 0 {
			t.Errorf("mass %g kg without a density", a.Product)
		}
	})
	t.Run("four_ppm_of_a_5_percent_product_is_the_maximum", func(t *testing.T) {
		t.Parallel()
		d := treat.Dose{Level: 4, Basis: treat.ProductLevel, Product: treat.Product{Agent: treat.Rotenone, Strength: 0.05}, Volume: sure(unit.AcreFeet(1))}
		a := quantity(t, d)
		near(t, "per acre-foot (lb)", a.Product.Pounds(), 10.88, 0.005) // Finlayson 2011: 0.2 mg/L; recomputed
		// 2 to 3 ppm of a 5 % product: 5.4 to 8.1 lb per acre-foot at the bulletin's 2.7 (Alabama Cooperative Extension).
		d.Level = 2
		near(t, "at 2 ppm (lb)", quantity(t, d).Product.Pounds(), 5.4, 0.05)
		d.Level = 3
		near(t, "at 3 ppm (lb)", quantity(t, d).Product.Pounds(), 8.1, 0.07)
		d.Level = 5 // lawful once, not since 2011
		_, err := treat.Quantity(d)
		wantRefusal(t, err, treat.OverToxicant)
	})
}

func TestQuantity_UsesAndNamesTheLowEnd(t *testing.T) {
	t.Parallel()
	a := quantity(t, treat.Dose{Level: 1, Basis: treat.ProductLevel, Product: treat.Product{Strength: 1}, Volume: treat.Volume{Low: 900, Best: 1000, High: 1125}})
	near(t, "product (kg)", float64(a.Product), 0.9, 1e-12)
	near(t, "least level", float64(a.LeastLevel), 0.8, 1e-12)
	if a.VolumeUsed != 900 || !strings.Contains(a.VolumeNamed, "low end") {
		t.Errorf("used %g, %q", a.VolumeUsed, a.VolumeNamed)
	}
}

func TestQuantity_Refuses(t *testing.T) {
	t.Parallel()
	good := treat.Dose{Level: 1, Basis: treat.ActiveLevel, Product: treat.Product{Strength: 0.5}, Volume: sure(400), Pond: sure(1000)}
	for _, tt := range []struct {
		name string
		edit func(*treat.Dose)
		want treat.Rule
	}{
		{"product_or_active_not_said", func(d *treat.Dose) { d.Basis = 0 }, treat.NoBasis},
		{"layer_with_aerator_unknown", func(d *treat.Dose) { d.Part, d.Thermal = treat.Layer, true }, treat.LayerMixes},
		{"layer_with_aerator_running", func(d *treat.Dose) { d.Part, d.Thermal, d.Aerator = treat.Layer, true, treat.AeratorRuns }, treat.LayerMixes},
		{"zone_with_aerator_running", func(d *treat.Dose) { d.Part, d.Aerator = treat.Zone, treat.AeratorRuns }, treat.LayerMixes},
		{"layer_without_thermocline", func(d *treat.Dose) { d.Part, d.Aerator = treat.Layer, treat.AeratorOff }, treat.LayerWeak},
		{"whole_weedy_pond", func(d *treat.Dose) { d.Weedy, d.Volume = true, sure(1000) }, treat.TooMuchWeed},
		{"above_the_label", func(d *treat.Dose) { d.LabelMax = 0.9 }, treat.OverLabel},
		{"copper_without_alkalinity", func(d *treat.Dose) { d.Product.Agent = treat.Copper }, treat.NoAlkalinity},
		{"copper_in_soft_water", func(d *treat.Dose) { d.Product.Agent, d.Alkalinity = treat.Copper, 45 }, treat.SoftWater}, // FA008
		{"too_much_copper", func(d *treat.Dose) { d.Product.Agent, d.Alkalinity = treat.Copper, 80 }, treat.OverCopper},
		{"strength_twice", func(d *treat.Dose) { d.Product.ActivePerVolume = 240 }, treat.AgainstFigure},
		{"product_level_without_density", func(d *treat.Dose) {
			d.Basis, d.Product = treat.ProductLevel, treat.Product{ActivePerVolume: 240}
		}, treat.AgainstFigure},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			d := good
			tt.edit(&d)
			a, err := treat.Quantity(d)
			wantRefusal(t, err, tt.want)
			if a.Product != 0 || a.Active != 0 {
				t.Errorf("refused, yet %+v", a)
			}
		})
	}
	for name, ok := range map[string]treat.Dose{
		"as_is": good,
		"layer_aerator_off": func(d treat.Dose) treat.Dose {
			d.Part, d.Thermal, d.Aerator = treat.Layer, true, treat.AeratorOff
			return d
		}(good),
		"zone_no_aerator":     func(d treat.Dose) treat.Dose { d.Part, d.Aerator = treat.Zone, treat.NoAerator; return d }(good),
		"part_of_weedy_pond":  func(d treat.Dose) treat.Dose { d.Weedy = true; return d }(good),
		"just_at_label_limit": func(d treat.Dose) treat.Dose { d.LabelMax = 1; return d }(good),
	} {
		if _, err := treat.Quantity(ok); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestQuantity_LayerDilutes: once a treated part mixes, its level falls by its
// share of the pond.
func TestQuantity_LayerDilutes(t *testing.T) {
	t.Parallel()
	a := quantity(t, treat.Dose{Level: 1, Basis: treat.ActiveLevel, Product: treat.Product{Strength: 1}, Part: treat.Layer, Thermal: true, Aerator: treat.AeratorOff, Volume: sure(250), Pond: sure(1000)})
	near(t, "mixed", float64(a.Mixed), 0.25, 1e-12)
}

func TestCopper(t *testing.T) {
	t.Parallel()
	// 7.7 acre-feet at alkalinity 80: at most 0.8 mg/L of copper sulfate, 7.598 kg or
	// 16.751 lb, 0.2036 mg/L as copper (FA008, recomputed).
	c, err := treat.CopperCeiling(80)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "ceiling", float64(c), 0.8, 1e-12)
	a := quantity(t, treat.Dose{Level: c, Basis: treat.ProductLevel, Product: treat.Product{Agent: treat.Copper, Strength: 0.2545}, Alkalinity: 80, Volume: sure(unit.AcreFeet(7.7))})
	near(t, "copper sulfate (kg)", float64(a.Product), 7.598, 5e-4)
	near(t, "copper sulfate (lb)", a.Product.Pounds(), 16.751, 0.005)
	near(t, "as copper", float64(a.Level), 0.2036, 5e-5)
	for _, tt := range []struct{ alk, want float64 }{{50, 0.5}, {250, 2.5}, {400, 2.5}} {
		c, err := treat.CopperCeiling(unit.MilligramsPerLiter(tt.alk))
		if err != nil || float64(c) != tt.want {
			t.Errorf("alkalinity %g: %g, %v, want %g (FA008)", tt.alk, c, err, tt.want)
		}
	}
	for alk, rule := range map[float64]treat.Rule{0: treat.NoAlkalinity, 45: treat.SoftWater, 49.999: treat.SoftWater} {
		_, err := treat.CopperCeiling(unit.MilligramsPerLiter(alk))
		wantRefusal(t, err, rule)
	}
}

func TestDecay(t *testing.T) {
	t.Parallel()
	const day = 86400
	// 250 to 2 µg/L is 6.966 half-lives (half-lives: NAJFM 11(2), 226, 1991; recomputed).
	for halfDay, wantDays := range map[float64]float64{0.7: 4.876, 1.8: 12.5, 3.7: 25.8, 5.2: 36.2} {
		w, err := treat.Decay(0.250, 0.002, unit.Seconds(halfDay*day), unit.Seconds(halfDay*day))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "halvings", w.Halvings, 6.966, 5e-4)
		near(t, "days", w.Shortest.Days(), wantDays, 0.05)
	}
	w, err := treat.RotenoneWait(0.2, 0.002)
	if err != nil {
		t.Fatal(err)
	}
	n := math.Log2(100)
	near(t, "shortest (d)", w.Shortest.Days(), 0.7*n, 1e-9)
	near(t, "longest (d)", w.Longest.Days(), 5.2*n, 1e-9)
	if !strings.Contains(strings.Join(w.Cautions, " "), "caged fish") {
		t.Error("no caged-fish caution")
	}
}

func TestStock(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		scheme string
		acres  float64
		want   string // fish low-high
	}{
		{"Kansas, fingerlings", 2, "largemouth bass 200-200, bluegill 1000-1000, channel catfish 200-200"},
		{"Missouri, new pond, poor soil", 1, "largemouth bass 50-50, bluegill 250-250, channel catfish 50-50"},
		{"South Carolina, unfertilized", 1.5, "largemouth bass 75-75, bluegill 750-750"},
		{"Alabama, fertilized", 1, "largemouth bass 75-100, bluegill 1000-1000, channel catfish 50-100"},
		{"Alabama agency, fertilized", 1, "largemouth bass 100-100, bluegill 1000-1500"},
		{"Mississippi, catfish only", 0.5, "largemouth bass 12-12, channel catfish 50-75"},
	} {
		a := unit.Acres(tt.acres)
		s, err := treat.Stock(tt.scheme, treat.Area{Low: a, Best: a})
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, c := range s.Fish {
			got = append(got, fmt.Sprintf("%s %d-%d", c.Fish, c.Low, c.High))
		}
		if g := strings.Join(got, ", "); g != tt.want {
			t.Errorf("%s on %g acres: got %s, want %s (%s)", tt.scheme, tt.acres, g, tt.want, s.Scheme.Source)
		}
	}
	s, err := treat.Stock("South Carolina, fertilized", treat.Area{Low: unit.Acres(0.9), Best: unit.Acres(1)})
	if err != nil {
		t.Fatal(err)
	}
	if s.Fish[0].High != 90 || !strings.Contains(s.AreaNamed, "low end") {
		t.Errorf("low end not used: %+v", s)
	}
	var re *unit.RangeError
	if _, err := treat.Stock("Alabama, fertilized", treat.Area{Low: 1000, Best: 1000}); !errors.As(err, &re) || re.Min != 0.5 {
		t.Errorf("quarter of an acre: got %v", err)
	}
	_, err = treat.Stock("made up", treat.Area{Low: 1000, Best: 1000})
	wantRefusal(t, err, treat.AgainstFigure)
}

func TestSchemes_AreUniqueAndSourced(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, s := range treat.Schemes() {
		if seen[s.Name] || s.Source == "" || s.Mark == "" || s.When == "" || len(s.Fish) == 0 {
			t.Errorf("incomplete: %+v", s)
		}
		seen[s.Name] = true
		for _, f := range s.Fish {
			if f.Low > f.High || f.High <= 0 {
				t.Errorf("%s: %+v", s.Name, f)
			}
		}
	}
}

// TestCautions_OnEveryOutput: label, license and permit are named whatever is
// asked.
func TestCautions_OnEveryOutput(t *testing.T) {
	t.Parallel()
	amount := quantity(t, treat.Dose{Level: 1, Basis: treat.ActiveLevel, Product: treat.Product{Strength: 0.5}, Volume: sure(400)})
	stocking, err := treat.Stock("Alabama, fertilized", treat.Area{Low: unit.Acres(2), Best: unit.Acres(2)})
	if err != nil {
		t.Fatal(err)
	}
	wait, err := treat.RotenoneWait(0.2, 0.002)
	if err != nil {
		t.Fatal(err)
	}
	lime, err := treat.LimingNote(10, treat.AgriculturalLime, true)
	if err != nil {
		t.Fatal(err)
	}
	steps, err := treat.Calendar(temperate())
	if err != nil {
		t.Fatal(err)
	}
	outputs := map[string][]string{
		"quantity": amount.Cautions, "stocking": stocking.Cautions, "wait": wait.Cautions, "lime": lime.Cautions,
		"copper": treat.Cautions(treat.Copper), "rotenone": treat.Cautions(treat.Rotenone), "any": treat.Cautions(treat.OtherAgent),
	}
	for _, s := range steps {
		outputs["calendar, "+string(s.Work)] = s.Cautions
	}
	for name, cautions := range outputs {
		for _, word := range []string{"label", "license", "permit"} {
			if !strings.Contains(strings.Join(cautions, " "), word) {
				t.Errorf("%s: no caution about the %s", name, word)
			}
		}
	}
}

func TestLimingNote(t *testing.T) {
	t.Parallel()
	for alk, want := range map[float64]bool{7.8: true, 13.7: true, 19.9: true, 20: false, 100: false} {
		l, err := treat.LimingNote(unit.MilligramsPerLiter(alk), treat.AgriculturalLime, true)
		if err != nil || l.Needed != want || len(l.Notes) == 0 || len(l.Cautions) == 0 {
			t.Errorf("alkalinity %g: %+v, %v, want needed %v (SRAC 4100, 2013)", alk, l, err, want)
		}
	}
	_, err := treat.LimingNote(10, treat.HydratedOrQuickLime, true)
	wantRefusal(t, err, treat.CausticLime)
}

// temperate is an invented year: ice in January and February, hot in July.
func temperate() (y treat.Year) {
	for i, c := range []float64{2, 3, 8, 13, 19, 25, 29, 28, 23, 16, 9, 4.5} {
		y.SurfaceWater[i] = unit.Celsius(c)
	}
	y.Weeds, y.Removal, y.Restock = true, true, true
	return y
}

func TestCalendar(t *testing.T) {
	t.Parallel()
	steps, err := treat.Calendar(temperate())
	if err != nil {
		t.Fatal(err)
	}
	want := []struct {
		work   treat.Work
		months []time.Month
	}{
		{treat.TreatWeeds, []time.Month{time.April, time.May}},
		{treat.WaitWork, nil},
		{treat.TreatFish, []time.Month{time.September, time.October}},
		{treat.WaitWork, nil},
		{treat.StockWork, []time.Month{time.October, time.November, time.December}},
		{treat.StockWork, []time.Month{time.May, time.June}},
		{treat.StartUp, []time.Month{time.March, time.April, time.November, time.December}},
		{treat.NoStartUp, []time.Month{time.July}},
		{treat.Winter, []time.Month{time.January, time.February}},
	}
	if len(steps) != len(want) {
		t.Fatalf("%d steps, want %d: %+v", len(steps), len(want), steps)
	}
	for i, s := range steps {
		if s.Work != want[i].work || !slices.Equal(s.Months, want[i].months) {
			t.Errorf("step %d: %s %v, want %s %v", i, s.Work, s.Months, want[i].work, want[i].months)
		}
		all := strings.Join(s.Cautions, " ")
		for _, word := range []string{"label", "licensed", "permit"} {
			if !strings.Contains(all, word) {
				t.Errorf("%s: no caution about the %s", s.Work, word)
			}
		}
		if (s.Mark == unit.Published || s.Mark == unit.FromMemory) != (s.Source != "") || s.Do == "" {
			t.Errorf("%s: mark %q, source %q", s.Work, s.Mark, s.Source)
		}
	}
}

func TestCalendar_OtherClimates(t *testing.T) {
	t.Parallel()
	var hot treat.Year
	for i := range hot.SurfaceWater {
		hot.SurfaceWater[i] = unit.Celsius(26 + 3*math.Sin(float64(i)))
	}
	hot.Removal = true
	steps, err := treat.Calendar(hot)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range steps {
		switch s.Work {
		case treat.Winter:
			t.Error("a winter in the tropics")
		case treat.StartUp:
			if len(s.Months) != 1 {
				t.Errorf("start in %v, want the coolest month", s.Months)
			}
		case treat.TreatWeeds, treat.TreatFish, treat.WaitWork, treat.StockWork, treat.NoStartUp:
		}
	}
	south := temperate()
	south.Southern = true
	steps, err = treat.Calendar(south)
	if err != nil {
		t.Fatal(err)
	}
	if got := steps[5].Months; !slices.Equal(got, []time.Month{time.November, time.December}) {
		t.Errorf("bass south of the equator in %v", got)
	}
	bad := temperate()
	bad.SurfaceWater[3] = unit.Kelvin(math.NaN())
	var re *unit.RangeError
	if _, err := treat.Calendar(bad); !errors.As(err, &re) || !strings.Contains(re.Quantity, "April") {
		t.Errorf("no temperature for April: got %v", err)
	}
}

func TestQuantity_Scales(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(1, 1e6).Draw(t, "low")
		best := low * rapid.Float64Range(1, 1.5).Draw(t, "best")
		high := best * rapid.Float64Range(1, 1.5).Draw(t, "high")
		v := treat.Volume{Low: unit.CubicMeters(low), Best: unit.CubicMeters(best), High: unit.CubicMeters(high)}
		d := treat.Dose{
			Level: unit.MilligramsPerLiter(rapid.Float64Range(1e-3, 50).Draw(t, "level")), Basis: treat.ActiveLevel,
			Product: treat.Product{Strength: rapid.Float64Range(0.01, 1).Draw(t, "strength"), Density: 1100}, Volume: v,
		}
		a, err := treat.Quantity(d)
		if err != nil {
			t.Fatal(err)
		}
		// What is weighed out never passes the level anywhere within the doubt.
		for _, m3 := range []float64{low, best, high} {
			if got := float64(a.Active) * 1000 / m3; got > float64(d.Level)*(1+1e-12) {
				t.Fatalf("level %g above %g", got, float64(d.Level))
			}
		}
		d.Level *= 2
		b, err := treat.Quantity(d)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(float64(b.Product-2*a.Product)) > 1e-9*float64(b.Product) {
			t.Fatalf("twice the level: %g against %g", b.Product, a.Product)
		}
	})
}

func TestSettings_AreNamedAndMarked(t *testing.T) {
	t.Parallel()
	for _, s := range treat.Settings() {
		if s.Name == "" || s.Unit == "" || s.Mark == "" || (s.Mark == unit.Published || s.Mark == unit.FromMemory) != (s.Source != "") {
			t.Errorf("incomplete: %+v", s)
		}
	}
}

// FuzzCare throws any numbers at every call: no panic, and what is accepted is
// finite and carries cautions.
func FuzzCare(f *testing.F) {
	f.Add(0.05, 0.1, 0.05, 1030.0, 0.0, 12000.0, 12334.0, 12600.0, 80.0, 20.0, uint32(2))
	f.Add(4.0, 0.0, 0.0, 0.0, 240.0, 1.0, 1.0, 1.0, 2000.0, -2.0, uint32(0x7fffffff))
	f.Add(1e-6, 1e3, 1.0, 5000.0, 0.0, 1e9, 1e9, 1e9, 49.0, 45.0, uint32(0x2a5))
	f.Fuzz(func(t *testing.T, level, most, strength, density, perVolume, low, best, high, alk, celsius float64, bits uint32) {
		v := treat.Volume{Low: unit.CubicMeters(low), Best: unit.CubicMeters(best), High: unit.CubicMeters(high)}
		finite := func(cautions []string, vs ...float64) {
			for _, x := range vs {
				if math.IsNaN(x) || math.IsInf(x, 0) || x < 0 {
					t.Fatalf("accepted input gave %g", x)
				}
			}
			if len(cautions) == 0 {
				t.Fatal("no cautions")
			}
		}
		a, err := treat.Quantity(treat.Dose{
			Level: unit.MilligramsPerLiter(level), LabelMax: unit.MilligramsPerLiter(most), Basis: treat.Basis(bits & 3),
			Product: treat.Product{Agent: treat.Agent(bits >> 2 & 3), Strength: strength, Density: unit.KilogramsPerCubicMeter(density), ActivePerVolume: unit.KilogramsPerCubicMeter(perVolume)},
			Part:    treat.Part(bits >> 4 & 3), Aerator: treat.Aerator(bits >> 6 & 3), Thermal: bits>>8&1 == 1, Weedy: bits>>9&1 == 1,
			Volume: v, Pond: v, Alkalinity: unit.MilligramsPerLiter(alk),
		})
		if err == nil {
			finite(a.Cautions, float64(a.Active), float64(a.Product), float64(a.Liquid), float64(a.Level), float64(a.LeastLevel), float64(a.Mixed))
		}
		if w, err := treat.Decay(unit.MilligramsPerLiter(level), unit.MilligramsPerLiter(most), unit.Seconds(low), unit.Seconds(high)); err == nil {
			finite(w.Cautions, float64(w.Shortest), float64(w.Longest), w.Halvings)
		}
		schemes := treat.Schemes()
		if s, err := treat.Stock(schemes[int(bits%uint32(len(schemes)))].Name, treat.Area{Low: unit.SquareMeters(low), Best: unit.SquareMeters(best)}); err == nil {
			finite(s.Cautions, float64(s.Fish[0].Low), float64(s.Fish[0].High-s.Fish[0].Low))
		}
		if l, err := treat.LimingNote(unit.MilligramsPerLiter(alk), treat.Lime(bits&3), bits>>10&1 == 1); err == nil {
			finite(l.Cautions)
		}
		var y treat.Year
		for i := range y.SurfaceWater {
			y.SurfaceWater[i] = unit.Celsius(celsius * float64(i+1) / 12)
		}
		y.Weeds, y.Removal, y.Restock, y.Southern = true, true, true, bits>>11&1 == 1
		if steps, err := treat.Calendar(y); err == nil {
			for _, s := range steps {
				finite(s.Cautions, float64(len(s.Months)))
			}
		}
	})
}

func ExampleQuantity() {
	a, err := treat.Quantity(treat.Dose{
		Level: 0.05, Basis: treat.ActiveLevel, // typed in from the label
		Product: treat.Product{Strength: 0.05, Density: 1030},
		Volume:  treat.Volume{Low: unit.AcreFeet(9.5), Best: unit.AcreFeet(10), High: unit.AcreFeet(10.5)},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.2f gal for %.1f acre-feet, %s\n", a.Liquid.Gallons(), a.VolumeUsed.AcreFeet(), a.VolumeNamed)
	// Output: 3.01 gal for 9.5 acre-feet, low end of the measured volume, because a maximum must not be passed
}

func ExampleCopperCeiling() {
	_, err := treat.CopperCeiling(45)
	fmt.Println(err)
	// Output: refused: no copper in water this soft (45 mg/L as CaCO₃, limit 50): use no copper here (Watson & Yanong, University of Florida IFAS FA008)
}
