package water

import (
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pondwright/calc/unit"
)

func near(t *testing.T, name string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.9g, want %.9g within %.2g", name, got, want, tol)
	}
}

func TestDensity(t *testing.T) {
	t.Parallel()
	// Tanaka et al., Metrologia 38 (2001) 301, published values.
	for tC, want := range map[float64]float64{0: 999.8428, 10: 999.7027, 15: 999.1026, 20: 998.2067, 30: 995.6488} {
		got, err := Density(unit.Celsius(tC))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "Tanaka", float64(got), want, 1e-4)
	}
	near(t, "Tanaka 20 °C, ten digits (UNESCO comparison page)", DensityKgM3(20), 998.2067455596, 1e-7)
	// Martin & McCutcheon 1999, recomputed from the published formula.
	for tC, want := range map[float64]float64{4: 1000.000, 10: 999.728, 15: 999.1286, 20: 998.2336, 25: 997.0751, 28: 996.2642, 30: 995.6783} {
		near(t, "Martin & McCutcheon", DensityMartinMcCutcheon(tC), want, 1e-3)
	}
	for _, tC := range []float64{-1, 41, math.NaN(), math.Inf(1)} {
		var r *unit.RangeError
		if _, err := Density(unit.Celsius(tC)); !errors.As(err, &r) || r.Min != 0 || r.Max != 40 || r.Source == "" {
			t.Errorf("density at %v °C: %v", tC, err)
		}
	}
	for _, f := range []float64{32, 104} { // the limits, typed in °F
		if _, err := Density(unit.Fahrenheit(f)); err != nil {
			t.Errorf("density at %v °F: %v", f, err)
		}
	}
}

// unescoKgM3 is the density of UNESCO Tech. Papers Mar. Sci. 44, 1983.
func unescoKgM3(t float64) float64 {
	return 999.842594 + t*(6.793952e-2+t*(-9.095290e-3+t*(1.001685e-4+t*(-1.120083e-6+t*6.536332e-9))))
}

func TestDensity_AgreesWithOtherFormulas(t *testing.T) {
	t.Parallel()
	near(t, "UNESCO 20 °C, published", unescoKgM3(20), 998.2063193824, 1e-9)
	for tC := 0.0; tC <= 40; tC++ {
		near(t, "Tanaka over UNESCO", DensityKgM3(tC), unescoKgM3(tC), 0.006)
	}
}

func TestAirPressure(t *testing.T) {
	t.Parallel()
	// U.S. Standard Atmosphere 1976 / ISO 2533, recomputed.
	for _, c := range []struct{ m, want, tol float64 }{
		{0, 101325, 1e-9}, {1524, 84307, 10}, {3048, 69682, 10},
		{300, 733.35 * 133.322368, 7}, {1000, 674.11 * 133.322368, 7}, {2000, 596.26 * 133.322368, 7},
	} {
		got, err := AirPressure(unit.Meters(c.m))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "pressure", float64(got), c.want, c.tol)
	}
	var r *unit.RangeError
	if _, err := AirPressure(9000); !errors.As(err, &r) {
		t.Errorf("9 km: %v", err)
	}
}

func TestOxygenSaturation(t *testing.T) {
	t.Parallel()
	const mmHg = 133.322368
	for _, c := range []struct {
		tC, pPa, want, tol float64
		source             string
	}{
		{0, 101325, 14.621, 0.002, "Standard Methods 4500-O table, recomputed"},
		{4, 101325, 13.108, 0.002, "same"},
		{10, 101325, 11.288, 0.002, "same"},
		{15, 101325, 10.084, 0.002, "same"},
		{20, 101325, 9.092, 0.002, "same"},
		{25, 101325, 8.263, 0.002, "same"},
		{30, 101325, 7.559, 0.002, "same"},
		{40, 101325, 6.413, 0.002, "same"},
		{20, 101325, 9.09, 0.01, "EN 25814"},
		{25, 101325, 8.26, 0.01, "EN 25814"},
		{30, 101325, 7.56, 0.01, "EN 25814"},
		{0, 101325, 14.6, 0.05, "EN 25814"},
		{20, 700 * mmHg, 8.358, 0.003, "recomputed, pressure terms from memory"},
		{30, 600 * mmHg, 5.899, 0.003, "recomputed, pressure terms from memory"},
		{25, 0.9 * 101325, 7.411, 0.003, "recomputed, pressure terms from memory"},
		{20, 716.02 * mmHg, 8.554, 0.003, "recomputed, 500 m"},
	} {
		got, err := OxygenSaturation(unit.Celsius(c.tC), unit.Pascals(c.pPa))
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.source, float64(got), c.want, c.tol)
	}
	var r *unit.RangeError
	if _, err := OxygenSaturation(unit.Celsius(20), 40e3); !errors.As(err, &r) {
		t.Errorf("0.4 atm: %v", err)
	}
}

func TestOxygenTransfer(t *testing.T) {
	t.Parallel()
	standard, err := StandardTransfer(unit.SCFM(1), unit.Feet(14), FineBubbles)
	if err != nil {
		t.Fatal(err)
	}
	// 1 scfm at 14 ft, fine bubbles at 2 %/ft: recomputed from the rule of
	// EPA/625/1-89/023, from memory.
	near(t, "lb/h", float64(standard)*3600/0.45359237, 0.290, 0.01*0.290)
	coarse, err := StandardTransfer(unit.SCFM(1), unit.Feet(14), CoarseBubbles)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "coarse lb/h", float64(coarse)*3600/0.45359237, 0.109, 0.01*0.109)
	for c, want := range map[float64]float64{0: 0.903, 4: 0.457, 6: 0.234} { // recomputed
		got, err := FieldTransfer(standard, unit.MilligramsPerLiter(c), unit.Celsius(25), unit.StandardPressure)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "field share", float64(got/standard), want, 0.001)
	}
}

// readings makes a profile from depth, °C and mg/L.
func readings(t testing.TB, rows ...[3]float64) Profile {
	t.Helper()
	var rs []Reading
	for _, r := range rows {
		rs = append(rs, Reading{Depth: unit.Meters(r[0]), Temperature: unit.Celsius(r[1]), Oxygen: unit.MilligramsPerLiter(r[2])})
	}
	p, err := NewProfile(rs)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func levels(t testing.TB, rows ...[2]float64) Hypsograph {
	t.Helper()
	var ls []Level
	for _, r := range rows {
		ls = append(ls, Level{unit.Meters(r[0]), unit.SquareMeters(r[1])})
	}
	h, err := NewHypsograph(ls)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// bowl is a pond of a closed form, A = A0 (1 − d/D)^p.
func bowl(t testing.TB, a0M2, depthM, p float64, rows int) Hypsograph {
	t.Helper()
	var ls [][2]float64
	for i := range rows + 1 {
		d := depthM * float64(i) / float64(rows)
		ls = append(ls, [2]float64{d, a0M2 * math.Pow(1-float64(i)/float64(rows), p)})
	}
	return levels(t, ls...)
}

// fivePond is 5 acres and 15 ft deep, of the closed form with exponent 0.875.
func fivePond(t testing.TB) Hypsograph {
	t.Helper()
	return bowl(t, 5*4046.8564224, 4.572, 0.875, 2000)
}

func TestHypsograph(t *testing.T) {
	t.Parallel()
	h := fivePond(t)
	near(t, "volume of the closed form, A0 D/(p+1)", float64(h.Volume()), 49339, 5)
	near(t, "in acre-feet", h.Volume().AcreFeet(), 40.00, 0.004)
	near(t, "below the diffuser at 0.3 m, share", float64(h.Below(4.272)/h.Volume()), 0.0061, 0.0001)
	near(t, "split adds up", float64(h.Between(0, 1.234)+h.Below(1.234)), float64(h.Volume()), 1e-6)
	cone := bowl(t, 4000, 4, 2, 4000)
	near(t, "cone", float64(cone.Volume()), 4000*4/3.0, 1e-2)
	if h.Below(5) != 0 || h.Area(5) != 0 || (Hypsograph{}).Volume() != 0 {
		t.Error("water below the bottom")
	}
	for name, ls := range map[string][]Level{
		"rising area":    {{0, 1}, {1, 2}},
		"repeated depth": {{0, 2}, {1, 1}, {1, 0}},
		"not a number":   {{0, 2}, {unit.Meters(math.NaN()), 1}},
	} {
		var r *unit.RangeError
		if _, err := NewHypsograph(ls); !errors.As(err, &r) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := NewHypsograph([]Level{{0, 0}, {1, 0}}); !errors.Is(err, ErrNoWater) {
		t.Errorf("dry: %v", err)
	}
}

func TestStability(t *testing.T) {
	t.Parallel()
	// Idso 1973 on closed forms: two layers h1, h2 in a prism give g Δρ h1 h2/2,
	// linear density gives g Δρ H²/12.
	prism := levels(t, [2]float64{0, 1000}, [2]float64{4.3, 1000})
	sharp := readings(t, [3]float64{0, 25, 0}, [3]float64{2, 25, 0}, [3]float64{2 + 1e-6, 15, 0}, [3]float64{4.3, 15, 0})
	dRho := DensityKgM3(15) - DensityKgM3(25)
	near(t, "two layers", float64(Stability(sharp, prism)), unit.GravityMPS2*dRho*2*2.3/2, 1e-3)
	near(t, "two layers with other density and g, recomputed", float64(Stability(sharp, prism)), 46.332, 1.2e-3*46.332)
	rho := func(z float64) float64 {
		return DensityMartinMcCutcheon(25) + (DensityMartinMcCutcheon(15)-DensityMartinMcCutcheon(25))*z/4.3
	}
	s, _ := stability(prism, nil, rho, 9.81)
	near(t, "linear density, recomputed with Martin & McCutcheon", s, 31.039, 1e-3*31.039)
	// Cone and cylinder of 4 m, 25 °C over 15 °C at 2 m, recomputed with UNESCO
	// densities 997.0480 and 999.1016 (UNESCO Tech. Papers Mar. Sci. 44, 1983).
	step := func(z float64) float64 {
		if z < 2 {
			return 997.0480
		}
		return 999.1016
	}
	corner := []float64{2 - 1e-9, 2}
	s, _ = stability(levels(t, [2]float64{0, 1}, [2]float64{4, 1}), corner, step, 9.81)
	near(t, "cylinder", s, 40.292, 0.01)
	s, center := stability(bowl(t, 4000, 4, 2, 2000), corner, step, 9.81)
	near(t, "cone", s, 5.0365, 0.002)
	near(t, "middle of a cone", center, 1, 1e-4)
}

// TestStability_PublishedExample is the example of the open lake-physics
// package that follows Idso 1973; its rectangles of 0.1 m give 23.77, converged
// trapezoids 23.076.
func TestStability_PublishedExample(t *testing.T) {
	t.Parallel()
	h := levels(t, [2]float64{0, 1000}, [2]float64{2.3, 900}, [2]float64{2.5, 864}, [2]float64{4.2, 820}, [2]float64{5.8, 200}, [2]float64{7, 10})
	p := readings(t, [3]float64{0, 28, 0}, [3]float64{1, 27, 0}, [3]float64{2, 26.4, 0}, [3]float64{3, 26, 0}, [3]float64{4, 25.4, 0}, [3]float64{5, 24, 0}, [3]float64{6, 23.3, 0})
	s, center := stability(h, p.depthsM, func(z float64) float64 {
		return DensityMartinMcCutcheon(interpolate(p.depthsM, p.tempsC, z))
	}, 9.81)
	near(t, "S", s, 23.0764, 0.01)
	near(t, "middle of the water", center, 2.6206, 1e-3)
	near(t, "volume", float64(h.Volume()), 4734.8, 0.1)
	near(t, "S by the package's own density and g", float64(Stability(p, h)), 23.0764, 0.005*23.0764)
}

func TestStability_FiveAcrePond(t *testing.T) {
	t.Parallel()
	h, p := fivePond(t), summer(t)
	near(t, "S, recomputed", float64(Stability(p, h)), 31.61, 0.005*31.61)
	near(t, "kJ, recomputed", float64(MixingEnergy(p, h))/1000, 639.7, 0.005*639.7)
}

// summer is 28 °C to 1.8 m and 14 °C from 2.3 m.
func summer(t testing.TB) Profile {
	t.Helper()
	return readings(t, [3]float64{0, 28, 8}, [3]float64{1.8, 28, 8}, [3]float64{2.3, 14, 0}, [3]float64{4.3, 14, 0})
}

func TestBuoyancyFrequency(t *testing.T) {
	t.Parallel()
	p := readings(t, [3]float64{0, 25, 0}, [3]float64{4.3, 15, 0})
	near(t, "25 over 15 °C in 4.3 m, recomputed", float64(p.BuoyancyFrequency(0, 4.3)), 0.06851, 1e-3*0.06851)
	p = readings(t, [3]float64{0, 26, 0}, [3]float64{1, 18, 0}, [3]float64{2, 17, 0})
	n := float64(p.BuoyancyFrequency(0, 1))
	near(t, "N² of 26 over 18 °C in 1 m, recomputed", n*n, 0.017803, 3e-5)
	n = buoyancyFrequency(unescoKgM3(26), unescoKgM3(18), 1)
	near(t, "with UNESCO densities", n*n, 0.017803, 1e-5)
	n = buoyancyFrequency(unescoKgM3(20), unescoKgM3(19), 1)
	near(t, "20 over 19 °C with UNESCO densities", n*n, 0.0019751, 1e-6)
	if p.BuoyancyFrequency(1, 0) != 0 || readings(t, [3]float64{0, 10, 0}, [3]float64{1, 20, 0}).BuoyancyFrequency(0, 1) != 0 {
		t.Error("unstable water oscillates")
	}
}

func TestHoldingPower(t *testing.T) {
	t.Parallel()
	got, err := HoldingPower(150, 2.44, unit.Celsius(25))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "W/m², closed form with aT 2.57e-4", float64(got), 1.103e-4, 0.01*1.103e-4)
}

func TestSplit(t *testing.T) {
	t.Parallel()
	l := Split(summer(t), fivePond(t))
	// Volumes of the closed form A0 (1 − d/D)^0.875, recomputed.
	near(t, "upper", float64(l.Upper.Volume), 30032, 5)
	near(t, "middle", float64(l.Middle.Volume), 6011, 5)
	near(t, "bottom", float64(l.Bottom.Volume), 13297, 5)
	near(t, "upper temperature", l.Upper.Temperature.Celsius(), 28, 1e-9)
	near(t, "upper oxygen", float64(l.Upper.Oxygen), 8, 1e-9)
	near(t, "bottom oxygen", float64(l.Bottom.Oxygen), 0, 1e-9)
	if l.Mixed {
		t.Error("a summer pond counts as mixed")
	}
	// Read et al. 2011 on readings of 1 m: the steepest step is from 3 to 4 m and
	// the steeper neighbor lies above; the vertex of a parabola through the three
	// steps is at 3.322 m too.
	p := readings(t, [3]float64{0, 28, 0}, [3]float64{1, 27.8, 0}, [3]float64{2, 27.5, 0}, [3]float64{3, 24, 0}, [3]float64{4, 18, 0}, [3]float64{5, 15, 0}, [3]float64{6, 14, 0})
	l = Split(p, bowl(t, 1000, 6.5, 1, 100))
	near(t, "thermocline", float64(l.Thermocline), 3.322, 2e-3)
	if l.Middle.Top != 2 || l.Middle.Bottom != 5 {
		t.Errorf("middle layer %v to %v m, want 2 to 5", l.Middle.Top, l.Middle.Bottom)
	}
	l = Split(readings(t, [3]float64{0, 20, 7}, [3]float64{4, 19.9, 6}), fivePond(t))
	if !l.Mixed || l.Bottom.Volume != 0 || math.Abs(float64(l.Upper.Volume)-49339) > 5 {
		t.Errorf("an isothermal pond splits: %+v", l)
	}
	l = Split(readings(t, [3]float64{0, 25, 7}, [3]float64{4.5, 15, 0}), fivePond(t))
	if l.Mixed || !(l.Bottom.Volume > 0) {
		t.Errorf("a gradient to the bottom leaves no bottom water: %+v", l)
	}
}

func TestMixTonight(t *testing.T) {
	t.Parallel()
	// Volumes of the five-acre pond with 8, 3 and 0 mg/L: recomputed.
	l := Layers{
		Upper:  Layer{Volume: 30032, Temperature: unit.Celsius(28), Oxygen: 8},
		Middle: Layer{Volume: 6011, Temperature: unit.Celsius(21), Oxygen: 3},
		Bottom: Layer{Volume: 13297, Temperature: unit.Celsius(14), Oxygen: 0},
	}
	near(t, "oxygen", float64(l.MixTonight(0).Oxygen), 5.235, 0.01)
	out := l.MixTonight(ImmediateDemand(0))
	near(t, "oxygen with demand", float64(out.Oxygen), 4.696, 0.01)
	near(t, "temperature", out.Temperature.Celsius(), 23.37, 0.01)
	near(t, "surface cools by", float64(out.SurfaceCooling), 28-23.374, 0.01)
	two := Layers{Upper: Layer{Volume: 30000, Oxygen: 6}, Bottom: Layer{Volume: 19339}}
	out = two.MixTonight(2)
	near(t, "two boxes", float64(out.Oxygen), 2.864, 0.001)
	if GateFor(out.Oxygen, 0) != Stop {
		t.Error("a fatal mix does not stop")
	}
	// A cone of 4 m in four layers by its own volume shares: recomputed.
	cone := bowl(t, 1, 4, 2, 4000)
	var sum float64
	for i, c := range []float64{8.2, 7.9, 4.1, 0.6} {
		sum += c * float64(cone.Between(unit.Meters(i), unit.Meters(i+1))/cone.Volume())
	}
	near(t, "volume-weighted oxygen of a cone", sum, 7.54375, 1e-4)
}

func TestGateFor(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		oxygen, cooling float64
		want            Gate
	}{
		{2.9, 0, Stop}, {3, 0, Ramp}, {4.99, 0, Ramp}, {5, 3, Go}, {5, 3.1, Ramp}, {math.NaN(), 0, Stop}, {8, math.NaN(), Ramp},
	} {
		if got := GateFor(unit.MilligramsPerLiter(c.oxygen), unit.KelvinDelta(c.cooling)); got != c.want {
			t.Errorf("GateFor(%v, %v) = %v, want %v", c.oxygen, c.cooling, got, c.want)
		}
	}
}

func TestStart(t *testing.T) {
	t.Parallel()
	s := Start{Upper: 30000, Bottom: 19339, UpperOxygen: 6, Demand: 2, Lift: 0.262}
	near(t, "allowed, closed form", float64(s.Allowed(4)), 10000, 1e-9)
	pond := Start{Upper: 30032, Bottom: 13297, UpperOxygen: 8, Demand: 2, Lift: 0.262}
	days, err := pond.Plan(30)
	if err != nil {
		t.Fatal(err)
	}
	// Arithmetic of the rule on the five-acre pond, recomputed.
	want := []float64{1.67, 1.86, 2.08, 2.34, 2.65, 3.03}
	if len(days) != len(want) {
		t.Fatalf("%d days, want %d", len(days), len(want))
	}
	for i, d := range days {
		near(t, "hours", d.Run.Hours(), want[i], 0.02*want[i])
	}
	near(t, "oxygen at the end", float64(days[5].Expected), 5, 1e-9)
	near(t, "left, m³", float64(days[5].Left), 426, 15)
	pond.UpperOxygen = 5
	if _, err := pond.Plan(30); !errors.Is(err, ErrStartStops) {
		t.Errorf("5 mg/L: %v", err)
	}
	pond.UpperOxygen = 8
	if _, err := pond.Plan(2); !errors.Is(err, ErrNeverDone) {
		t.Errorf("two days: %v", err)
	}
}

func TestObjections(t *testing.T) {
	t.Parallel()
	good := Observation{Age: 24 * time.Hour, Dawn: true, AboveBottom: 0.4, Surface: unit.Celsius(24), HasOxygen: true, CanStopOrWatch: true}
	if got := good.Objections(); len(got) != 0 {
		t.Errorf("a good profile: %v", got)
	}
	bad := Observation{Age: 100 * time.Hour, AboveBottom: 1, Surface: unit.Celsius(29), RottenEggs: true}
	want := []Objection{NoOxygenReading, ProfileTooOld, ProfileTooShort, NotAtDawn, SmellsOfSulfide, SurfaceTooWarm, NobodyStopsIt}
	if got := bad.Objections(); !slices.Equal(got, want) {
		t.Errorf("got %v, want all", got)
	}
}

func TestProfile_Refusals(t *testing.T) {
	t.Parallel()
	if _, err := NewProfile(nil); !errors.Is(err, ErrTooFewReadings) {
		t.Errorf("empty: %v", err)
	}
	r := Reading{Depth: 1, Temperature: unit.Celsius(20)}
	if _, err := NewProfile([]Reading{r, r}); !errors.Is(err, ErrDepthsRepeat) {
		t.Errorf("repeated: %v", err)
	}
	var e *unit.RangeError
	for _, bad := range []Reading{{Depth: -1, Temperature: 290}, {Depth: 2, Temperature: 400}, {Depth: 2, Temperature: 290, Oxygen: -1}, {Depth: unit.Meters(math.NaN()), Temperature: 290}} {
		if _, err := NewProfile([]Reading{r, bad}); !errors.As(err, &e) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
	p, err := NewProfile([]Reading{{Depth: 2, Temperature: unit.Celsius(10), NoOxygen: true}, r})
	if err != nil || p.HasOxygen() || p.Deepest() != 2 {
		t.Errorf("unsorted, without oxygen: %+v, %v", p, err)
	}
	if _, ok := p.Oxygen(1); ok {
		t.Error("oxygen out of nothing")
	}
}

// drawPond is any pond and any profile to near its bottom; stable profiles get
// denser all the way down.
func drawPond(t *rapid.T, stable bool) (Profile, Hypsograph) {
	depthM := rapid.Float64Range(1, 10).Draw(t, "depth")
	rows := rapid.IntRange(1, 20).Draw(t, "rows")
	exponent := rapid.Float64Range(0.3, 3).Draw(t, "exponent")
	var ls []Level
	for i := range rows + 1 {
		ls = append(ls, Level{unit.Meters(depthM * float64(i) / float64(rows)), unit.SquareMeters(1000 * math.Pow(1-float64(i)/float64(rows), exponent))})
	}
	h, err := NewHypsograph(ls)
	if err != nil {
		t.Fatal(err)
	}
	n := rapid.IntRange(2, 12).Draw(t, "readings")
	lo, hi := 0.0, 35.0
	if stable { // one side of the densest water: between readings on both sides density has a hump
		lo, hi = 4, 35
		if rapid.Bool().Draw(t, "winter") {
			lo, hi = 0, 3.98
		}
	}
	temps := rapid.SliceOfN(rapid.Float64Range(lo, hi), n, n).Draw(t, "temps")
	if stable {
		slices.SortFunc(temps, func(a, b float64) int {
			if DensityKgM3(a) < DensityKgM3(b) {
				return -1
			}
			return 1
		})
	}
	var rs []Reading
	for i, tC := range temps {
		rs = append(rs, Reading{
			Depth: unit.Meters(depthM * float64(i) / float64(n-1)), Temperature: unit.Celsius(tC),
			Oxygen: unit.MilligramsPerLiter(rapid.Float64Range(0, 15).Draw(t, "oxygen")),
		})
	}
	p, err := NewProfile(rs)
	if err != nil {
		t.Fatal(err)
	}
	return p, h
}

func TestMixing_ConservesHeatAndOxygen(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p, h := drawPond(t, rapid.Bool().Draw(t, "stable"))
		l := Split(p, h)
		out := l.MixTonight(0)
		heat := h.mean(0, float64(h.Depth()), p.depthsM, p.tempsC)
		oxygen := h.mean(0, float64(h.Depth()), p.depthsM, p.oxygenMgL)
		if math.Abs(out.Temperature.Celsius()-heat) > 1e-9*300 || math.Abs(float64(out.Oxygen)-oxygen) > 1e-9*30 {
			t.Fatalf("mixed %v °C %v mg/L, whole pond %v and %v", out.Temperature.Celsius(), out.Oxygen, heat, oxygen)
		}
		lo, hi := slices.Min(p.oxygenMgL), slices.Max(p.oxygenMgL)
		if c := float64(out.Oxygen); c < lo-1e-9 || c > hi+1e-9 {
			t.Fatalf("mixed oxygen %v outside %v to %v", c, lo, hi)
		}
		if with := l.MixTonight(2); with.Oxygen > out.Oxygen || with.Oxygen < 0 {
			t.Fatalf("demand raises oxygen: %v over %v", with.Oxygen, out.Oxygen)
		}
	})
}

func TestStability_IsNotNegativeWhenStable(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p, h := drawPond(t, true)
		if s := Stability(p, h); float64(s) < -1e-6 {
			t.Fatalf("stability %v of a stable profile", s)
		}
	})
	uniform := readings(t, [3]float64{0, 17, 0}, [3]float64{3, 17, 0})
	near(t, "uniform", float64(Stability(uniform, fivePond(t))), 0, 1e-9)
	winter := readings(t, [3]float64{0, 0.5, 0}, [3]float64{1, 2, 0}, [3]float64{3, 3.9, 0})
	if s := Stability(winter, fivePond(t)); s <= 0 {
		t.Errorf("inverse winter layers have stability %v", s)
	}
}

func TestStart_KeepsItsPromise(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := Start{
			Upper:       unit.CubicMeters(rapid.Float64Range(100, 1e5).Draw(t, "upper")),
			Bottom:      unit.CubicMeters(rapid.Float64Range(0, 1e5).Draw(t, "bottom")),
			UpperOxygen: unit.MilligramsPerLiter(rapid.Float64Range(0, 12).Draw(t, "ce")), BottomOxygen: unit.MilligramsPerLiter(rapid.Float64Range(0, 12).Draw(t, "ch")),
			Demand: unit.MilligramsPerLiter(rapid.Float64Range(0, 5).Draw(t, "demand")), Lift: 0.1,
		}
		days, _ := s.Plan(60)
		last := float64(s.UpperOxygen)
		for i, d := range days {
			if float64(d.Expected) < math.Min(goMgL, last)-1e-9 || float64(d.Expected) < last-1-1e-9 {
				t.Fatalf("day %d falls from %v to %v", i+1, last, d.Expected)
			}
			last = float64(d.Expected)
		}
	})
}

func FuzzProfile(f *testing.F) {
	f.Add(0.0, 28.0, 8.0, 4.0, 14.0, 0.0, 5.0, 1000.0)
	f.Fuzz(func(t *testing.T, d0, t0, c0, d1, t1, c1, depth, area float64) {
		p, err := NewProfile([]Reading{
			{Depth: unit.Meters(d0), Temperature: unit.Celsius(t0), Oxygen: unit.MilligramsPerLiter(c0)},
			{Depth: unit.Meters(d1), Temperature: unit.Celsius(t1), Oxygen: unit.MilligramsPerLiter(c1)},
		})
		if err != nil {
			return
		}
		h, err := NewHypsograph([]Level{{0, unit.SquareMeters(area)}, {unit.Meters(depth), unit.SquareMeters(area / 2)}})
		if err != nil {
			return
		}
		l := Split(p, h)
		out := l.MixTonight(2)
		for _, v := range []float64{
			float64(l.Upper.Volume), float64(l.Bottom.Volume), float64(l.Bottom.Temperature), float64(l.Middle.Oxygen),
			float64(out.Oxygen), float64(out.Temperature), float64(Stability(p, h)), float64(p.BuoyancyFrequency(0, p.Deepest())),
		} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%v %v: %+v", p, h, l)
			}
		}
	})
}

func TestDefaults_AreNamedAndMarked(t *testing.T) {
	t.Parallel()
	for _, s := range Defaults() {
		if s.Name == "" || s.Unit == "" || s.Mark == "" || s.Value == 0 {
			t.Errorf("setting %+v is incomplete", s)
		}
		if s.Source == "" && (s.Mark == unit.Published || s.Mark == unit.FromMemory) {
			t.Errorf("%s is %s without a source", s.Name, s.Mark)
		}
	}
}
