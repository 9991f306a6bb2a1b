package mast_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/golang/geo/s1"
	"pgregory.net/rapid"

	"pondwright/calc/mast"
	"pondwright/calc/unit"
)

// near fails unless got is within tol of want.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.6g, want %.6g within %g", what, got, want, tol)
	}
}

func fourInch() mast.Pipe { return mast.Schedule40()[4] }

// threePanels is a mast with three panels at 45° whose middle stands 8 ft above
// grade on 7 ft of exposed 4 in pipe, in open country, everything given.
func threePanels(panelM2, mph float64, width unit.Meters) mast.Design {
	frost := unit.Meters(0.3)
	return mast.Design{
		Wind: mast.Wind{Speed: unit.MPH(mph), Map: mast.ASCE716, Exposure: mast.ExposureC, Topographic: 1},
		Array: mast.Array{
			Area: unit.SquareMeters(3 * panelM2), Chord: 1.05, Tilt: 45 * s1.Degree, Center: unit.Feet(8), Mass: 60,
		},
		Pole:    mast.Pole{Section: fourInch(), Exposed: unit.Feet(7), Yield: 241.3e6},
		Footing: mast.Footing{Width: width, Depth: unit.Feet(4)},
		Ground:  mast.Ground{Soil: mast.Clay, Dry: true, Frost: &frost},
	}
}

// tabulated is the wind whose pressure at the formula's Kz of 0.8489 is that of a
// speed at the rounded 0.85 which printed tables use.
func tabulated(mph float64) unit.MetersPerSecond { return unit.MPH(mph * math.Sqrt(0.85/0.84888)) }

const (
	smallM2 = 1.05 * 0.54
	largeM2 = 1.72 * 1.13
)

// TestThreePanels walks the table of three-panel masts: force on the array and
// the pole, moment, moment over S and over 7073 lb·ft, and the depth that five
// footings need.
func TestThreePanels(t *testing.T) {
	t.Parallel()
	const source = "ASCE 7 wind with figure 27.3-4 coefficients, IBC 1807.3.2.1, recomputed"
	for _, tt := range []struct {
		name                  string
		panel, tilt, mph      float64
		edition               mast.Edition
		array, pole, m        float64 // lb, lb·ft
		ksi, share            float64
		clay12, clay18        float64 // ft
		clay2, sand18, sand24 float64 // ft, bearing doubled
	}{
		{"small_45_90", smallM2, 45, 90, mast.ASCE716, 232, 24, 1943, 7.3, 0.27, 6.42, 5.48, 4.21, 3.62, 3.26},
		{"small_45_90_service_map", smallM2, 45, 90, mast.ASCE705, 387, 40, 3238, 12.1, 0.46, 7.85, 6.69, 5.11, 4.38, 3.94},
		{"small_45_105", smallM2, 45, 105, mast.ASCE716, 316, 33, 2645, 9.9, 0.37, 7.24, 6.18, 4.73, 4.06, 3.65},
		{"small_45_115", smallM2, 45, 115, mast.ASCE716, 379, 39, 3172, 11.8, 0.45, 7.78, 6.63, 5.07, 4.35, 3.91},
		{"small_30_115", smallM2, 30, 115, mast.ASCE716, 240, 39, 2055, 7.7, 0.29, 6.59, 5.63, 4.32, 3.71, 3.34},
		{"large_45_90", largeM2, 45, 90, mast.ASCE716, 797, 24, 6463, 24.1, 0.91, 10.28, 8.73, 6.64, 5.67, 5.08},
		{"large_45_90_service_map", largeM2, 45, 90, mast.ASCE705, 1329, 40, 10772, 40.2, 1.52, 13.21, 10.74, 8.12, 6.92, 6.18},
		{"large_45_105", largeM2, 45, 105, mast.ASCE716, 1085, 33, 8797, 32.8, 1.24, 11.67, 9.89, 7.49, 6.39, 5.72},
		{"large_45_115", largeM2, 45, 115, mast.ASCE716, 1302, 39, 10552, 39.4, 1.49, 13.02, 10.65, 8.05, 6.86, 6.13},
		{"large_30_115", largeM2, 30, 115, mast.ASCE716, 823, 39, 6718, 25.1, 0.95, 10.47, 8.88, 6.75, 5.77, 5.16},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			t.Log(source)
			for _, f := range []struct {
				name     string
				inches   float64
				soil     mast.Soil
				isolated bool
				wantFt   float64
			}{
				{"12 in clay", 12, mast.Clay, false, tt.clay12},
				{"18 in clay", 18, mast.Clay, false, tt.clay18},
				{"18 in clay doubled", 18, mast.Clay, true, tt.clay2},
				{"18 in sand doubled", 18, mast.Sand, true, tt.sand18},
				{"24 in sand doubled", 24, mast.Sand, true, tt.sand24},
			} {
				d := threePanels(tt.panel, tt.mph, unit.Inches(f.inches))
				d.Wind.Map, d.Wind.Speed = tt.edition, tabulated(tt.mph)
				d.Array.Tilt = s1.Angle(tt.tilt) * s1.Degree
				d.Ground.Soil, d.Ground.Isolated = f.soil, f.isolated
				d.Footing.Depth = unit.Feet(3)
				r, err := mast.Judge(d)
				if err != nil {
					t.Fatal(err)
				}
				near(t, "force on the array (lb)", r.Loads.ArrayPush.PoundsForce(), tt.array, max(0.8, 0.002*tt.array))
				near(t, "force on the pole (lb)", r.Loads.PoleDrag.PoundsForce(), tt.pole, 0.6)
				near(t, "moment (lb ft)", r.Loads.Moment.PoundFeet(), tt.m, 0.0015*tt.m)
				near(t, "moment over S (ksi)", float64(r.Loads.Moment)/fourInch().ElasticM3()/6894757.293, tt.ksi, 0.06)
				near(t, "moment over 7073", r.Loads.Moment.PoundFeet()/7073, tt.share, 0.006)
				near(t, "share of the pole's strength", r.PoleShare, tt.share, 0.01)
				near(t, f.name+" depth (ft)", r.RequiredDepth.Feet(), f.wantFt, 0.02)

				// A three-foot hole is not enough for any of these.
				v, ok := r.Verdict.(mast.NotEnough)
				if !ok || v.By[0].Kind != mast.LateralCheck || v.By[0].Short() <= 0 {
					t.Errorf("%s: three feet judged %v", f.name, r.Verdict)
				}
			}
		})
	}
}

// TestLoads_Vertical: push and lift of the large array at 115 mph.
func TestLoads_Vertical(t *testing.T) {
	t.Parallel()
	d := threePanels(largeM2, 115, unit.Inches(18))
	d.Wind.Speed = tabulated(115)
	d.Array.Tilt = 30 * s1.Degree
	r, err := mast.Judge(d)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "push down at 30° (lb)", r.Loads.Down.PoundsForce(), 1425, 2) // recomputed
	d.Array.Tilt = 45 * s1.Degree
	r, err = mast.Judge(d)
	if err != nil {
		t.Fatal(err)
	}
	// 997 lb belongs to a coefficient of 1.8 (recomputed); the figure's mean at 45° is 1.70.
	near(t, "uplift at 45° (lb)", r.Loads.Uplift.PoundsForce(), 997*1.70/1.8, 2)
	// Case B twist: 0.15 q G A c at 45° from the face pair, 0.20 from the back pair (recomputed).
	want := 0.20 * r.Factor * float64(r.Pressure) * 0.85 * 3 * largeM2 * 1.05
	near(t, "twist (N m)", float64(r.Loads.Twist), want, 1e-6*want)
}

func TestVelocityPressure(t *testing.T) {
	t.Parallel()
	w := mast.Wind{Speed: unit.MPH(115), Map: mast.ASCE716, Exposure: mast.ExposureC, Topographic: 1}
	for _, tt := range []struct{ mph, psf, pa float64 }{{90, 14.98, 717.3}, {105, 20.39, 976.4}, {115, 24.46, 1171.2}} {
		w.Speed = unit.MPH(tt.mph)
		q, err := w.VelocityPressure(unit.Feet(8))
		if err != nil {
			t.Fatal(err)
		}
		// The published figures take Kz as 0.85; the formula gives 0.8489.
		near(t, "q (psf)", q.PSF()*0.85/0.8489, tt.psf, 0.02) // ASCE 7-16, 26.10, recomputed
		near(t, "q (Pa)", float64(q)*0.85/0.8489, tt.pa, 1)
	}
	// Strength-level to service-level speed: V√0.6, 120 mph to 93 mph (engineers' practice, ASCE 7-10).
	near(t, "√0.6", 120*math.Sqrt(mast.ASCE716.Factor()), 93, 0.1)
	for mph, want := range map[float64]float64{90: 69.7, 105: 81.3, 115: 89.1} {
		near(t, "V√0.6", mph*math.Sqrt(mast.ASCE722.Factor()), want, 0.05)
	}
}

func TestVelocityPressure_GroundElevation(t *testing.T) {
	t.Parallel()
	w := mast.Wind{Speed: 50, Map: mast.ASCE722, Exposure: mast.ExposureC, Topographic: 1, Elevation: unit.Feet(5000)}
	_, ke, err := w.Coefficients(3)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Ke at 5000 ft", ke, math.Exp(-0.181), 1e-12) // ASCE 7-22, exp(−0.0000362 z), recomputed
	w.Map = mast.ASCE716
	if _, ke, _ = w.Coefficients(3); ke != 1 {
		t.Errorf("Ke with the 2016 edition: got %g, want 1", ke)
	}
	w.Exposure = mast.ExposureB
	low, _, _ := w.Coefficients(1)
	high, _, _ := w.Coefficients(unit.Feet(30))
	if low != high {
		t.Errorf("exposure B below 30 ft: got %g, want %g", low, high)
	}
}

func TestNetCoefficients(t *testing.T) {
	t.Parallel()
	const source = "ASCE 7-22 figure 27.3-4, as in Bangladesh National Building Code figure 6.2.18(a)"
	for _, tt := range []struct{ deg, push, uplift float64 }{
		{7.5, 1.20, 0.80}, {15, 1.45, 1.10}, {22.5, 1.75, 1.55}, {30, 2.10, 1.80}, {37.5, 2.15, 1.80}, {45, 2.35, 1.70},
		{18.75, 1.60, 1.325}, {41.25, 2.25, 1.75}, // between rows
		{60, 2.35, 1.70}, {90, 2.35, 1.70}, // held beyond the figure
	} {
		c, err := mast.NetCoefficients(s1.Angle(tt.deg) * s1.Degree)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("push at %g°", tt.deg), c.Push, tt.push, 1e-9)
		near(t, fmt.Sprintf("uplift at %g°", tt.deg), c.Uplift, tt.uplift, 1e-9)
		if c.Beyond != (tt.deg > 45) {
			t.Errorf("%g°: beyond is %v (%s)", tt.deg, c.Beyond, source)
		}
	}
	// Twist over 8, by tilt: 0.20 face and 0.25 back at 30°, 0.15 and 0.20 at 45°.
	for deg, want := range map[float64]float64{30: 0.25, 45: 0.20} {
		c, _ := mast.NetCoefficients(s1.Angle(deg) * s1.Degree)
		near(t, "twist over 8", c.Twist/8, want, 1e-9)
	}
	for _, deg := range []float64{0, 7, 91, math.NaN()} {
		var re *unit.RangeError
		if _, err := mast.NetCoefficients(s1.Angle(deg) * s1.Degree); !errors.As(err, &re) {
			t.Errorf("%g°: got %v, want a range error", deg, err)
		}
	}
}

func TestPipe(t *testing.T) {
	t.Parallel()
	const in = 0.0254
	p := fourInch()
	near(t, "A (in²)", p.AreaM2()/(in*in), 3.174, 1e-3)                                                                               // from outside diameter and wall
	near(t, "I (in⁴)", p.InertiaM4()/math.Pow(in, 4), 7.2326, 1e-3)                                                                   // recomputed
	near(t, "S (in³)", p.ElasticM3()/math.Pow(in, 3), 3.2145, 1e-3)                                                                   // recomputed
	near(t, "Z (in³)", p.PlasticM3()/math.Pow(in, 3), 4.3115, 1e-3)                                                                   // recomputed
	near(t, "mass (lb/ft)", p.MassPerMeter()*0.3048/0.45359237, 10.79, 0.015)                                                         // ASTM A53 table, from memory
	near(t, "I (cm⁴)", p.InertiaM4()*1e8, 301.0, 0.1)                                                                                 // recomputed
	near(t, "S (cm³)", p.ElasticM3()*1e6, 52.68, 0.02)                                                                                // recomputed
	near(t, "Z (cm³)", p.PlasticM3()*1e6, 70.65, 0.02)                                                                                // recomputed
	near(t, "mass (kg/m)", p.MassPerMeter(), 16.06, 0.02)                                                                             // recomputed from ASTM A53's 10.79 lb/ft
	near(t, "Fy Z/1.67, nominal wall (kip ft)", unit.NewtonMeters(35000*6894.757293*p.PlasticM3()/1.67).PoundFeet()/1000, 7.53, 0.01) // recomputed
	m, err := p.Allowable(unit.PascalsGauge(35000 * 6894.757293))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "M/Ω (kip ft)", m.PoundFeet()/1000, 7.073, 0.02) // Fy Z/1.67 with the listed design wall of 0.221 in, recomputed; 0.93 t is 0.2204 in
}

// TestSchedule40 compares with the section moduli and weights printed in the
// steel construction manual (8th edition), from memory.
func TestSchedule40(t *testing.T) {
	t.Parallel()
	want := []struct{ s, lbFt float64 }{
		{0.561, 3.65}, {1.06, 5.79}, {1.72, 7.58}, {2.39, 9.11}, {3.21, 10.79}, {5.45, 14.62}, {8.50, 18.97}, {16.8, 28.55}, {29.9, 40.48},
	}
	pipes := mast.Schedule40()
	if len(pipes) != len(want) {
		t.Fatalf("%d sizes, want %d", len(pipes), len(want))
	}
	for i, p := range pipes {
		near(t, p.Name+" S", p.ElasticM3()/math.Pow(0.0254, 3), want[i].s, 0.006*want[i].s)
		near(t, p.Name+" weight", p.MassPerMeter()*0.3048/0.45359237, want[i].lbFt, 0.004*want[i].lbFt)
		if _, err := p.Allowable(250e6); err != nil {
			t.Errorf("%s: %v", p.Name, err)
		}
	}
	if _, err := (mast.Pipe{Outside: 0.2, Wall: 0.002}).Allowable(350e6); err == nil {
		t.Error("a duct was taken for a pole")
	}
}

func TestConcrete(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		w, d, ft3 float64
		bags      int
	}{{12, 36, 2.08, 0}, {18, 36, 5.025, 9}, {18, 48, 6.68, 12}, {24, 60, 15.21, 26}} {
		f := mast.Footing{Width: unit.Inches(tt.w), Depth: unit.Inches(tt.d)}
		v := f.Concrete(fourInch(), unit.Inches(6))
		near(t, fmt.Sprintf("%g×%g in (ft³)", tt.w, tt.d), v.CubicFeet(), tt.ft3, 5e-3) // recomputed
		d := threePanels(smallM2, 90, f.Width)
		d.Footing.Depth = f.Depth
		r, err := mast.Judge(d)
		if err != nil {
			t.Fatal(err)
		}
		if tt.bags > 0 && r.Bags != tt.bags { // 80 lb bags at 0.60 ft³, common practice
			t.Errorf("%g×%g in: %d bags, want %d", tt.w, tt.d, r.Bags, tt.bags)
		}
	}
}

// TestUplift: an 18 × 48 in footing weighs 969 lb at 145 lb/ft³ and 11 ft of 4
// in pipe 119 lb, so 0.6 D is 653 lb in dry ground (recomputed).
func TestUplift(t *testing.T) {
	t.Parallel()
	d := threePanels(largeM2, 115, unit.Inches(18))
	d.Pole.Exposed = unit.Feet(7.5) // 11 ft of pole with 3.5 ft below grade
	d.Array.Mass = 0.001
	r, err := mast.Judge(d)
	if err != nil {
		t.Fatal(err)
	}
	up := check(t, r, mast.UpliftCheck)
	near(t, "0.6 D (lb)", unit.Newtons(up.Capacity).PoundsForce(), 653, 1.5)
	if up.Pass() {
		t.Error("the large array at 115 mph must not be held by 653 lb")
	}
	// Soaked ground carries part of the concrete: 62.4 of 145 lb/ft³.
	d.Ground.Dry = false
	r, err = mast.Judge(d)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "0.6 D in water (lb)", unit.Newtons(check(t, r, mast.UpliftCheck).Capacity).PoundsForce(), 0.6*(6.68*(145-62.4)+119), 2)
}

func check(t *testing.T, r mast.Report, k mast.Kind) mast.Check {
	t.Helper()
	for _, c := range r.Checks {
		if c.Kind == k {
			return c
		}
	}
	t.Fatalf("no check of %s", k)
	return mast.Check{}
}

// TestChecks takes each check's two sides from the report's own parts.
func TestChecks(t *testing.T) {
	t.Parallel()
	d := threePanels(smallM2, 105, unit.Inches(18))
	r, err := mast.Judge(d)
	if err != nil {
		t.Fatal(err)
	}
	// The moment peaks below grade, by 15 % (common practice, no source: 5 to 15 %).
	pole := check(t, r, mast.PoleCheck)
	near(t, "moment asked", pole.Demand, 1.15*float64(r.Loads.Moment), 1e-6)
	near(t, "share at grade", r.PoleShare*pole.Capacity, float64(r.Loads.Moment), 1e-6)

	frost := check(t, r, mast.FrostCheck)
	if frost.Demand != 0.3 || frost.Capacity != float64(unit.Feet(4)) {
		t.Errorf("frost: %+v", frost)
	}

	// Under the footing: push, steel, masthead and what concrete weighs above the soil it replaces.
	steelKg := fourInch().MassPerMeter() * float64(r.PoleLength)
	want := float64(r.Loads.Down) + 9.80665*(steelKg+60+float64(r.Concrete)*(2322.7-1760))
	bearing := check(t, r, mast.BearingCheck)
	near(t, "on the soil (N)", bearing.Demand, want, 1e-6*want)
	near(t, "what clay bears (lb)", unit.Newtons(bearing.Capacity).PoundsForce(), 1500*math.Pi/4*1.5*1.5, 0.1) // IBC table 1806.2

	// A heavier masthead holds down better, at six tenths of its weight.
	d.Array.Mass += 10
	heavier, err := mast.Judge(d)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "10 kg more (N)", check(t, heavier, mast.UpliftCheck).Capacity-check(t, r, mast.UpliftCheck).Capacity, 0.6*98.0665, 1e-6)
}

func TestSize_GoesBelowFrost(t *testing.T) {
	t.Parallel()
	d := threePanels(0.2, 90, unit.Inches(24))
	deep := unit.Feet(6)
	d.Ground.Frost = &deep
	r, err := mast.Size(d)
	if err != nil {
		t.Fatal(err)
	}
	if r.RequiredDepth >= deep || r.Design.Footing.Depth < deep || r.Design.Footing.Depth > deep+0.0254 {
		t.Errorf("need %g m, frost %g m, dug %g m", r.RequiredDepth, deep, r.Design.Footing.Depth)
	}
	d.Footing.Depth = deep - 0.01
	r, err = mast.Judge(d)
	if err != nil {
		t.Fatal(err)
	}
	v, ok := r.Verdict.(mast.NotEnough)
	if !ok || len(v.By) != 1 || v.By[0].Kind != mast.FrostCheck {
		t.Fatalf("above frost: %v", r.Verdict)
	}
	near(t, "short by (m)", v.By[0].Short(), 0.01, 1e-9)
}

func TestFrostDepth(t *testing.T) {
	t.Parallel()
	// k 1 Btu/(h ft °F), nF 1000 °F·day, L 2160 Btu/ft³: 4.71 ft (US Army TM 5-852-6, from memory; recomputed).
	// L = 144 × 100 lb/ft³ × 0.15.
	x, err := mast.FrostDepth(mast.FrostSoil{Conductivity: 1.730735, DryDensity: 1601.846, Water: 0.15}, 1, 1000/1.8)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Stefan (ft)", x.Feet(), 4.71, 0.01)
}

func TestSize_IsJustEnough(t *testing.T) {
	t.Parallel()
	d := threePanels(smallM2, 115, unit.Inches(24))
	d.Ground.Soil = mast.Gravel
	r, err := mast.Size(d)
	if err != nil {
		t.Fatal(err)
	}
	v, ok := r.Verdict.(mast.Enough)
	if !ok {
		t.Fatalf("got %v", r.Verdict)
	}
	if v.Margin < 1 || v.Margin > 1.1 {
		t.Errorf("margin %g", v.Margin)
	}
	if r.Design.Footing.Depth < r.RequiredDepth || r.Design.Footing.Depth > r.RequiredDepth+0.0254 {
		t.Errorf("depth %g for a need of %g", r.Design.Footing.Depth, r.RequiredDepth)
	}
	if r.Design.Wind.Speed != d.Wind.Speed || r.Verdict == nil {
		t.Error("a depth without its wind or verdict")
	}
	d.Ground.Slab = true
	held, err := mast.Size(d)
	if err != nil {
		t.Fatal(err)
	}
	if held.RequiredDepth >= r.RequiredDepth || !mentions(held.Cautions, "slab") {
		t.Errorf("slab: %g m against %g m", held.RequiredDepth, r.RequiredDepth)
	}
}

func mentions(lines []string, word string) bool {
	return strings.Contains(strings.Join(lines, "\n"), word)
}

// TestVerdict_FlipsAtCapacity: the lateral check passes at the required depth
// and fails a hair above it in the ground.
func TestVerdict_FlipsAtCapacity(t *testing.T) {
	t.Parallel()
	d := threePanels(smallM2, 105, unit.Inches(24))
	d.Ground.Soil = mast.Gravel
	r, err := mast.Judge(d)
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		depth unit.Meters
		want  bool
	}{{r.RequiredDepth, true}, {unit.Meters(math.Nextafter(float64(r.RequiredDepth), 0)), false}} {
		d.Footing.Depth = tt.depth
		r, err := mast.Judge(d)
		if err != nil {
			t.Fatal(err)
		}
		_, enough := r.Verdict.(mast.Enough)
		if enough != tt.want {
			t.Errorf("at %.17g m: %v", tt.depth, r.Verdict)
		}
	}
}

// TestVerdict_DefaultsAreNeverEnough leaves out one input at a time of a mast
// that is enough.
func TestVerdict_DefaultsAreNeverEnough(t *testing.T) {
	t.Parallel()
	base := threePanels(0.2, 90, unit.Inches(24))
	base.Footing.Depth = unit.Feet(9)
	r, err := mast.Judge(base)
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := r.Verdict.(mast.Enough); !ok {
		t.Fatalf("base: %v", r.Verdict)
	}
	for input, leaveOut := range map[string]func(*mast.Design){
		"wind speed":              func(d *mast.Design) { d.Wind.Speed = 0 },
		"edition of the wind map": func(d *mast.Design) { d.Wind.Map = 0 },
		"exposure":                func(d *mast.Design) { d.Wind.Exposure = 0 },
		"topographic factor":      func(d *mast.Design) { d.Wind.Topographic = 0 },
		"mass at the masthead":    func(d *mast.Design) { d.Array.Mass = 0 },
		"steel of the pole":       func(d *mast.Design) { d.Pole.Yield = 0 },
		"soil class":              func(d *mast.Design) { d.Ground.Soil = 0 },
		"frost depth":             func(d *mast.Design) { d.Ground.Frost = nil },
	} {
		d := base
		leaveOut(&d)
		r, err := mast.Judge(d)
		if err != nil {
			t.Fatal(err)
		}
		v, ok := r.Verdict.(mast.Unverified)
		if !ok || len(v.Because) != 1 || v.Because[0].Input != input {
			t.Errorf("without %s: %v", input, r.Verdict)
		}
		if s := r.Verdict.String(); s != "unverified because "+input+" is a default" {
			t.Errorf("says %q", s)
		}
	}
	// With nothing given but the geometry, a hole of three feet still fails aloud.
	bare := mast.Design{Array: base.Array, Pole: mast.Pole{Section: fourInch()}, Footing: mast.Footing{Width: unit.Inches(18), Depth: unit.Feet(3)}}
	bare.Array.Area = 3 * smallM2
	r, err = mast.Judge(bare)
	if err != nil {
		t.Fatal(err)
	}
	if v, ok := r.Verdict.(mast.NotEnough); !ok || len(v.Defaults) < 6 || !strings.Contains(v.String(), "on defaults for") {
		t.Errorf("bare design: %v", r.Verdict)
	}
}

func TestGround(t *testing.T) {
	t.Parallel()
	f := mast.Footing{Width: unit.Inches(18), Depth: unit.Feet(5)}
	hold := func(g mast.Ground) float64 {
		n, err := mast.LateralCapacity(f, g, unit.Feet(7.5))
		if err != nil {
			t.Fatal(err)
		}
		return float64(n)
	}
	dry := hold(mast.Ground{Soil: mast.Clay, Dry: true})
	near(t, "wet shore is halved", hold(mast.Ground{Soil: mast.Clay})/dry, 0.5, 1e-12) // common practice, no source
	near(t, "tested shore is not", hold(mast.Ground{Soil: mast.Clay, Tested: true})/dry, 1, 1e-12)
	near(t, "isolated pole doubles", hold(mast.Ground{Soil: mast.Clay, Dry: true, Isolated: true})/dry, 2, 1e-12) // IBC 1806.3.4
	near(t, "report rules", hold(mast.Ground{Bearing: unit.PSFPerFoot(250)})/dry, 2.5, 1e-12)
	if hold(mast.Ground{Soil: mast.Clay, Dry: true, Uncount: 0.3}) >= dry {
		t.Error("soil not counted did not cost anything")
	}
	if _, err := mast.LateralCapacity(f, mast.Ground{Soil: mast.Organic}, 2); !errors.Is(err, mast.ErrNoBearing) {
		t.Errorf("peat: got %v", err)
	}
	square := f
	square.Square = true
	n, err := mast.LateralCapacity(square, mast.Ground{Soil: mast.Clay, Dry: true}, unit.Feet(7.5))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "square bears on its diagonal", float64(n)/dry, math.Sqrt2, 1e-12)
	for s, want := range map[mast.Soil][2]float64{
		mast.Bedrock: {1200, 12000}, mast.SedimentaryRock: {400, 4000}, mast.Gravel: {200, 3000}, mast.Sand: {150, 2000}, mast.Clay: {100, 1500},
	} {
		l, err := s.Lateral()
		if err != nil {
			t.Fatal(err)
		}
		v, _ := s.Vertical()
		near(t, s.String()+" lateral", l.PSFPerFoot(), want[0], 1e-9) // IBC table 1806.2
		near(t, s.String()+" vertical", v.PSF(), want[1], 1e-9)
	}
}

func TestForce_GrowsWithTheSquareOfTheWind(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := threePanels(rapid.Float64Range(0.1, 3).Draw(t, "m2"), rapid.Float64Range(20, 100).Draw(t, "mph"), unit.Inches(24))
		d.Array.Tilt = s1.Angle(rapid.Float64Range(8, 85).Draw(t, "tilt")) * s1.Degree
		a, err := mast.Judge(d)
		if err != nil {
			t.Fatal(err)
		}
		k := rapid.Float64Range(1.01, 2).Draw(t, "k")
		d.Wind.Speed *= unit.MetersPerSecond(k)
		b, err := mast.Judge(d)
		if err != nil {
			t.Fatal(err)
		}
		if got := float64(b.Loads.Lateral() / a.Loads.Lateral()); math.Abs(got-k*k) > 1e-9*k*k {
			t.Fatalf("force grew by %g, want %g", got, k*k)
		}
		if b.RequiredDepth <= a.RequiredDepth {
			t.Fatalf("depth %g for more wind than %g", b.RequiredDepth, a.RequiredDepth)
		}
	})
}

func TestRules_Refuse(t *testing.T) {
	t.Parallel()
	d := threePanels(smallM2, 90, unit.Inches(18))
	d.Rules.WetShare = 1.2
	var re *unit.RangeError
	if _, err := mast.Judge(d); !errors.As(err, &re) {
		t.Errorf("wet soil better than dry: got %v", err)
	}
}

func TestSettings_AreNamedAndMarked(t *testing.T) {
	t.Parallel()
	for _, s := range mast.Settings() {
		if s.Name == "" || s.Unit == "" || s.Mark == "" || s.Value == 0 || (s.Mark == unit.Published || s.Mark == unit.FromMemory) != (s.Source != "") {
			t.Errorf("incomplete: %+v", s)
		}
	}
}

// FuzzJudge throws any numbers at a design: no panic, and no result that is not
// a finite number.
func FuzzJudge(f *testing.F) {
	f.Add(50.0, 1.0, 300.0, 2.0, 45.0, 2.4, 60.0, 0.114, 0.006, 2.0, 0.45, 1.2, 0.3, 0.0, uint32(0))
	f.Add(0.0, 0.0, 0.0, 6.0, 90.0, 15.0, 0.0, 0.06, 0.0039, 0.0, 3.0, 15.0, 0.0, 3.0, uint32(0xffffffff))
	f.Add(110.0, 3.0, -500.0, 100.0, 7.5, 0.3, 1e4, 1.0, 0.5, 20.0, 0.02, 0.0, 5.0, 0.0, uint32(0x1234567))
	f.Fuzz(func(t *testing.T, speed, topo, elev, area, tilt, center, mass, od, wall, exposed, width, depth, frost, uncount float64, bits uint32) {
		fr := unit.Meters(frost)
		d := mast.Design{
			Wind: mast.Wind{Speed: unit.MetersPerSecond(speed), Map: mast.Edition(bits & 7), Exposure: mast.Exposure(bits >> 3 & 3), Topographic: topo, Elevation: unit.Meters(elev)},
			Array: mast.Array{Area: unit.SquareMeters(area), Chord: unit.Meters(depth), Tilt: s1.Angle(tilt) * s1.Degree,
				Center: unit.Meters(center), Mass: unit.Kilograms(mass)},
			Pole:    mast.Pole{Section: mast.Pipe{Outside: unit.Meters(od), Wall: unit.Meters(wall)}, Exposed: unit.Meters(exposed)},
			Footing: mast.Footing{Width: unit.Meters(width), Depth: unit.Meters(depth), Square: bits>>5&1 == 1, Bare: bits>>6&1 == 1},
			Ground:  mast.Ground{Soil: mast.Soil(bits >> 7 & 7), Dry: bits>>10&1 == 1, Isolated: bits>>11&1 == 1, Slab: bits>>12&1 == 1, Uncount: unit.Meters(uncount), Frost: &fr},
		}
		for _, judge := range []func(mast.Design) (mast.Report, error){mast.Judge, mast.Size} {
			r, err := judge(d)
			if err != nil {
				continue
			}
			if r.Verdict == nil || r.Design.Wind.Speed <= 0 || len(r.Cautions) == 0 {
				t.Fatalf("report without wind, verdict or cautions: %+v", r)
			}
			for _, v := range append(values(r.Checks), float64(r.RequiredDepth), float64(r.Pressure), float64(r.Loads.Twist), float64(r.Frequency), float64(r.Concrete), r.PoleShare) {
				if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
					t.Fatalf("bad number %g in %+v", v, r)
				}
			}
			_ = r.Verdict.String()
		}
		_, _ = mast.FrostDepth(mast.FrostSoil{Conductivity: speed, DryDensity: unit.KilogramsPerCubicMeter(mass), Water: wall}, topo, elev)
	})
}

func values(cs []mast.Check) (out []float64) {
	for _, c := range cs {
		out = append(out, c.Demand, c.Capacity)
	}
	return out
}

func ExampleJudge() {
	frost := unit.Feet(2)
	r, err := mast.Judge(mast.Design{
		Wind:    mast.Wind{Speed: unit.MPH(105), Map: mast.ASCE716, Exposure: mast.ExposureC, Topographic: 1},
		Array:   mast.Array{Area: 1.7, Chord: 1.05, Tilt: 45 * s1.Degree, Center: unit.Feet(8), Mass: 45},
		Pole:    mast.Pole{Section: mast.Schedule40()[4], Exposed: unit.Feet(7), Yield: 240e6},
		Footing: mast.Footing{Width: unit.Inches(18), Depth: unit.Feet(3)},
		Ground:  mast.Ground{Soil: mast.Sand, Tested: true, Frost: &frost},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("at %.0f mph: %.1f ft needed, %v\n", r.Design.Wind.Speed.MPH(), r.RequiredDepth.Feet(), r.Verdict)
	// Output: at 105 mph: 5.3 ft needed, not enough: lateral hold of the footing short by 1208 N
}

func BenchmarkSize(b *testing.B) {
	d := threePanels(smallM2, 105, unit.Inches(24))
	for b.Loop() {
		if _, err := mast.Size(d); err != nil {
			b.Fatal(err)
		}
	}
}
