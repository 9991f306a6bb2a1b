package air

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pondwright/calc/unit"
)

// testCurve is a made-up machine: psig against scfm at 68 °F.
func testCurve(t testing.TB) Curve {
	t.Helper()
	c, err := NewCurve(curvePoints([][2]float64{{0, 5.0}, {5, 4.5}, {10, 4.0}, {15, 3.4}, {20, 2.7}, {25, 1.8}}), 0)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func curvePoints(psigSCFM [][2]float64) []CurvePoint {
	var out []CurvePoint
	for _, p := range psigSCFM {
		out = append(out, CurvePoint{Gauge: unit.PSIG(p[0]), Air: unit.SCFM(p[1])})
	}
	return out
}

func testRun(name string, lengthFt, boreIn, depthFt float64) Run {
	return Run{
		Name: name, Hose: Hose{Length: unit.Feet(lengthFt), Bore: unit.Inches(boreIn)},
		Submergence: unit.Feet(depthFt), Diffuser: LinearDiffuser(unit.PSIG(0.25), unit.PSIG(0.12)),
	}
}

// threeRuns is a worked case with water of 0.433 psi/ft.
func threeRuns(t testing.TB) Network {
	t.Helper()
	return Network{
		Compressor: testCurve(t),
		Site:       Site{Pressure: unit.PSIA(14.696), WaterDensity: 998.8},
		Runs: []Run{
			testRun("near", 250, 0.500, 8),
			testRun("middle", 400, 0.500, 12),
			testRun("deep", 600, 0.622, 15),
		},
	}
}

func TestCurve_MonotoneCubic(t *testing.T) {
	t.Parallel()
	c := testCurve(t)
	// SciPy's PchipInterpolator on the same table.
	for psig, want := range map[float64]float64{7.5: 4.255681818, 12: 3.772285315, 17: 3.136153846} {
		got, err := c.Air(unit.PSIG(psig), seaLevel)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "scfm", got.SCFM(), want, 1e-8)
	}
	var above *AboveRatingError
	if _, err := c.Air(unit.PSIG(25.1), seaLevel); !errors.As(err, &above) {
		t.Errorf("above the table: %v", err)
	}
	if !slices.Contains(c.Notes(), NoPower) {
		t.Error("a table without power is not noted")
	}
}

func TestCurve_AltitudeKeepsThePressureRatio(t *testing.T) {
	t.Parallel()
	c := testCurve(t)
	high := Site{Pressure: unit.PSIA(12.228)} // 5000 ft
	share := 12.228 / 14.695948775513
	near(t, "rated psig", c.Rated(high).PSIG(), 25*share, 1e-9)
	low, _ := c.Air(unit.PSIG(10), seaLevel)
	got, err := c.Air(unit.PSIG(10*share), high)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "same volume, less mass", float64(got/low), share, 1e-12)
}

func TestCurve_Power(t *testing.T) {
	t.Parallel()
	points := curvePoints([][2]float64{{0, 5}, {10, 4}})
	points[0].Power, points[1].Power = 150, 250
	c, err := NewCurve(points, 0)
	if err != nil {
		t.Fatal(err)
	}
	half := Site{Pressure: unit.StandardPressure / 2 * 1.2}
	for _, w := range []struct {
		psig float64
		site Site
		want float64
	}{{-1, seaLevel, 150}, {5, seaLevel, 200}, {20, seaLevel, 250}, {6 * 0.5, half, 0.6 * 200}} {
		got, ok := c.Power(unit.PSIG(w.psig), w.site)
		if !ok {
			t.Fatal("power is lost")
		}
		near(t, "W", float64(got), w.want, 1e-9)
	}
	n := threeRuns(t)
	n.Compressor, n.Machines = c, 2
	o, err := n.Solve()
	if err != nil {
		t.Fatal(err)
	}
	one, _ := c.Power(o.Outlet, n.Site)
	near(t, "two machines", float64(o.Power), 2*float64(one), 1e-9)
	if _, ok := testCurve(t).Power(0, seaLevel); ok {
		t.Error("power out of nothing")
	}
}

func TestCurve_RejectsWhatNoMachineDoes(t *testing.T) {
	t.Parallel()
	// A quarter horsepower compresses at most 5.5 cfm to 15 psig isothermally:
	// P/(p1 ln r), recomputed.
	var impossible *ImpossibleError
	_, err := NewCurve(curvePoints([][2]float64{{0, 7}, {15, 6}}), unit.Horsepower(0.25))
	if !errors.As(err, &impossible) {
		t.Fatalf("6 scfm at 15 psig from 1/4 hp: %v", err)
	}
	near(t, "bound, scfm", impossible.Bound.SCFM(), 0.25/4.511*100, 0.01)
	c, err := NewCurve(curvePoints([][2]float64{{0, 4.5}, {15, 3.5}}), unit.Horsepower(0.25))
	if err != nil {
		t.Fatal(err)
	}
	if got := c.Notes(); !slices.Equal(got, []CurveNote{NearPowerBound, OnlyTwoPoints}) {
		t.Errorf("notes %v", got)
	}
	for name, points := range map[string][]CurvePoint{
		"rising flow":      curvePoints([][2]float64{{0, 1}, {5, 2}}),
		"falling pressure": curvePoints([][2]float64{{5, 2}, {0, 1}}),
		"negative flow":    curvePoints([][2]float64{{0, 1}, {5, -1}}),
		"not a number":     curvePoints([][2]float64{{0, 1}, {math.NaN(), 1}}),
	} {
		var r *unit.RangeError
		if _, err := NewCurve(points, 0); !errors.As(err, &r) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestNetwork_DeepRunStarves(t *testing.T) {
	t.Parallel()
	o, err := threeRuns(t).Solve()
	if err != nil {
		t.Fatal(err)
	}
	// recomputed with a separate solver
	near(t, "manifold psig", o.Manifold.PSIG(), 5.9781, 0.002)
	near(t, "near", o.Runs[0].Air.SCFM(), 3.341, 0.002)
	near(t, "middle", o.Runs[1].Air.SCFM(), 1.063, 0.002)
	near(t, "total", o.Air.SCFM(), 4.4036, 0.002)
	if o.Runs[2].Air != 0 || !slices.Equal(o.Starved(), []string{"deep"}) {
		t.Errorf("deep run carries %v, starved %v", o.Runs[2].Air.SCFM(), o.Starved())
	}
	if len(o.Runs) > 0 && o.Runs[2].Opens <= o.Manifold {
		t.Errorf("deep run opens at %.3f psi, manifold at %.3f", o.Runs[2].Opens.PSIG(), o.Manifold.PSIG())
	}
}

func TestNetwork_BalancedToEqualFlow(t *testing.T) {
	t.Parallel()
	n := threeRuns(t)
	b, err := n.Balance([]float64{1, 1, 1})
	if err != nil {
		t.Fatal(err)
	}
	// recomputed with a separate solver
	near(t, "manifold psig", b.Manifold.PSIG(), 7.254, 0.002)
	for i, want := range []struct{ needed, drop float64 }{{4.340, 2.914}, {6.280, 0.974}, {7.254, 0}} {
		near(t, "flow", b.Valves[i].Air.SCFM(), 1.4266, 0.002)
		near(t, "needed psig", b.Valves[i].Needed.PSIG(), want.needed, 0.002)
		near(t, "drop psi", b.Valves[i].Drop.PSIG(), want.drop, 0.005)
	}
	if b.Index != 2 || b.Valves[2].Cv != 0 {
		t.Errorf("index run %d, its Cv %v; want the deep run wide open", b.Index, b.Valves[2].Cv)
	}
	// With the valves so set the open network finds the same point by itself.
	for i := range n.Runs {
		n.Runs[i].ValveCv = b.Valves[i].Cv
	}
	o, err := n.Solve()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "manifold with valves set", float64(o.Manifold), float64(b.Manifold), 1)
	for _, r := range o.Runs {
		near(t, "flow with valves set", r.Air.SCFM(), 1.4266, 0.002)
	}
	again, err := n.Require([]unit.StdCubicMetersPerSecond{b.Valves[0].Air, b.Valves[1].Air, b.Valves[2].Air})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "required manifold", float64(again.Manifold), float64(b.Manifold), 1e-3)
}

func TestNetwork_Feeder(t *testing.T) {
	t.Parallel()
	n := threeRuns(t)
	n.Feeder = &Hose{Length: 20, Bore: 0.0209}
	o, err := n.Solve()
	if err != nil {
		t.Fatal(err)
	}
	p2, err := n.Feeder.Downstream(o.Air.Mass(), o.Outlet.Absolute(n.Site.Pressure))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "manifold behind the feeder", float64(p2), float64(o.Manifold.Absolute(n.Site.Pressure)), 1e-3)
	b, err := n.Balance([]float64{1, 1, 1})
	if err != nil {
		t.Fatal(err)
	}
	if b.Outlet <= b.Manifold || o.Outlet <= o.Manifold {
		t.Error("the feeder costs nothing")
	}
}

func TestNetwork_Refusals(t *testing.T) {
	t.Parallel()
	n := threeRuns(t)
	n.Machines = 4
	n.Runs = n.Runs[2:]
	n.Runs[0].Hose = Hose{Length: 600, Bore: 0.0095}
	var above *AboveRatingError
	if _, err := n.Solve(); !errors.As(err, &above) || above.Taken >= above.Delivered {
		t.Errorf("four machines on one thin hose: %v", err)
	}
	n = threeRuns(t)
	for i := range n.Runs {
		n.Runs[i].Submergence = unit.Feet(70)
	}
	if _, err := n.Solve(); !errors.Is(err, ErrNothingOpens) {
		t.Errorf("70 ft: %v", err)
	}
	if _, err := n.Balance([]float64{1, 1, 1}); !errors.Is(err, ErrNothingOpens) {
		t.Errorf("balance at 70 ft: %v", err)
	}
	if _, err := (Network{Compressor: testCurve(t), Site: seaLevel}).Solve(); !errors.Is(err, ErrNoRuns) {
		t.Errorf("no runs: %v", err)
	}
	n = threeRuns(t)
	n.Runs[1].Hose.Bore = unit.Meters(math.NaN())
	var r *unit.RangeError
	if _, err := n.Solve(); !errors.As(err, &r) {
		t.Errorf("a bore that is not a number: %v", err)
	}
}

// slowHead marches from the end of a hose to its head in short pieces, each with
// the density of its own end: no closed form, no logarithm.
func slowHead(h Hose, m, p2 float64) float64 {
	const pieces = 400
	area := math.Pi / 4 * float64(h.Bore) * float64(h.Bore)
	g := m / area
	rt := gasJPerKgK * h.airK()
	f := Friction(g*float64(h.Bore)/Viscosity(unit.Kelvin(h.airK())), 1.5e-6/float64(h.Bore))
	dx := float64(h.Length) / pieces
	p := p2
	for range pieces {
		slope := func(p float64) float64 { return f / float64(h.Bore) * g * g * rt / (2 * p) / (1 - g*g*rt/(p*p)) }
		p += dx * slope(p+dx/2*slope(p))
	}
	return p
}

// slowNetwork is a second, plain solver: halving of the manifold pressure
// around halving of each run's flow around a march along each hose.
func slowNetwork(n Network) (manifoldPa float64, flowsKgS []float64) {
	halve := func(lo, hi float64, tooHigh func(float64) bool) float64 {
		for range 45 {
			if mid := (lo + hi) / 2; tooHigh(mid) {
				hi = mid
			} else {
				lo = mid
			}
		}
		return (lo + hi) / 2
	}
	runFlow := func(r Run, pm float64) float64 {
		end := func(m float64) float64 {
			q := unit.KilogramsPerSecond(m).Standard().SCFM()
			return float64(n.Site.Pressure) + n.Site.waterKgM3()*unit.GravityMPS2*float64(r.Submergence) + (0.25+0.12*q)*6894.757
		}
		if pm <= end(0) {
			return 0
		}
		return halve(0, 0.01, func(m float64) bool { return slowHead(r.Hose, m, end(m)) > pm })
	}
	pa := float64(n.Site.Pressure)
	pm := halve(pa, pa+25*6894.757, func(pm float64) bool {
		var sum float64
		for _, r := range n.Runs {
			sum += runFlow(r, pm)
		}
		q, _ := n.Compressor.Air(unit.PascalsGauge(pm-pa), n.Site)
		return sum > float64(q.Mass())*float64(max(1, n.Machines))
	})
	for _, r := range n.Runs {
		flowsKgS = append(flowsKgS, runFlow(r, pm))
	}
	return pm - pa, flowsKgS
}

func TestNetwork_AgreesWithASlowSecondImplementation(t *testing.T) {
	t.Parallel()
	small, double := threeRuns(t), threeRuns(t)
	double.Machines = 2
	double.Runs = double.Runs[1:]
	for _, n := range []Network{small, double} {
		o, err := n.Solve()
		if err != nil {
			t.Fatal(err)
		}
		pm, flows := slowNetwork(n)
		near(t, "manifold, Pa", float64(o.Manifold), pm, 1)
		for i, m := range flows {
			near(t, "run, kg/s", float64(o.Runs[i].Air.Mass()), m, 1e-4*float64(o.Air.Mass()))
		}
	}
}

// drawNetwork is any sensible station.
func drawNetwork(t *rapid.T, curve Curve) Network {
	n := Network{
		Compressor: curve,
		Machines:   rapid.IntRange(1, 3).Draw(t, "machines"),
		Site:       Site{Pressure: unit.Pascals(rapid.Float64Range(75e3, 104e3).Draw(t, "pa"))},
	}
	for i := range rapid.IntRange(1, 6).Draw(t, "runs") {
		n.Runs = append(n.Runs, Run{
			Name: string(rune('a' + i)),
			Hose: Hose{
				Length: unit.Meters(rapid.Float64Range(5, 300).Draw(t, "length")),
				Bore:   unit.Meters(rapid.SampledFrom([]float64{0.0095, 0.0127, 0.0158, 0.0209}).Draw(t, "bore")),
				K:      rapid.Float64Range(0, 20).Draw(t, "K"),
			},
			Submergence: unit.Meters(rapid.Float64Range(0.5, 8).Draw(t, "depth")),
			Diffuser:    LinearDiffuser(unit.PSIG(rapid.Float64Range(0.1, 1).Draw(t, "a")), unit.PSIG(rapid.Float64Range(0, 0.5).Draw(t, "b"))),
			Crack:       unit.PSIG(rapid.SampledFrom([]float64{0, 0.3}).Draw(t, "crack")),
		})
	}
	return n
}

func solveOrSkip(t *rapid.T, n Network) Operating {
	o, err := n.Solve()
	var above *AboveRatingError
	if errors.As(err, &above) || errors.Is(err, ErrNothingOpens) || errors.Is(err, ErrChoked) {
		t.Skip(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	return o
}

func TestNetwork_TotalIsWhatTheMachinesDeliver(t *testing.T) {
	t.Parallel()
	curve := testCurve(t)
	rapid.Check(t, func(t *rapid.T) {
		n := drawNetwork(t, curve)
		o := solveOrSkip(t, n)
		q, err := n.Compressor.Air(o.Outlet, n.Site)
		if err != nil {
			t.Fatal(err)
		}
		want := float64(q) * float64(n.Machines)
		if math.Abs(float64(o.Air)-want) > 1e-9*want {
			t.Fatalf("runs take %v, machines deliver %v", o.Air.SCFM(), want)
		}
	})
}

func TestNetwork_DeeperRunTakesLessAndOthersNotLess(t *testing.T) {
	t.Parallel()
	curve := testCurve(t)
	rapid.Check(t, func(t *rapid.T) {
		n := drawNetwork(t, curve)
		before := solveOrSkip(t, n)
		i := rapid.IntRange(0, len(n.Runs)-1).Draw(t, "which")
		n.Runs = slices.Clone(n.Runs)
		n.Runs[i].Submergence += unit.Meters(rapid.Float64Range(0.01, 2).Draw(t, "deeper"))
		after := solveOrSkip(t, n)
		eps := 1e-9 * float64(before.Air)
		for j := range n.Runs {
			d := float64(after.Runs[j].Air - before.Runs[j].Air)
			if j == i && d > eps || j != i && d < -eps {
				t.Fatalf("run %d deeper: run %d changes by %g of %g", i, j, d, float64(before.Air))
			}
		}
	})
}

func TestNetwork_OrderOfRunsDoesNotMatter(t *testing.T) {
	t.Parallel()
	curve := testCurve(t)
	rapid.Check(t, func(t *rapid.T) {
		n := drawNetwork(t, curve)
		before := solveOrSkip(t, n)
		n.Runs = slices.Clone(n.Runs)
		slices.Reverse(n.Runs)
		after := solveOrSkip(t, n)
		for i := range n.Runs {
			a, b := float64(before.Runs[i].Air), float64(after.Runs[len(n.Runs)-1-i].Air)
			if math.Abs(a-b) > 1e-9*float64(before.Air) {
				t.Fatalf("run %d carries %g, reversed %g", i, a, b)
			}
		}
	})
}

func TestNetwork_EqualRunsShareEqually(t *testing.T) {
	t.Parallel()
	n := threeRuns(t)
	n.Runs = nil
	for range 5 {
		n.Runs = append(n.Runs, testRun("same", 300, 0.5, 9))
	}
	o, err := n.Solve()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range o.Runs {
		near(t, "share", float64(r.Air), float64(o.Air)/5, 1e-15)
	}
}

func FuzzNetwork(f *testing.F) {
	f.Add(101325.0, 100.0, 0.0127, 3.0, 1.0, 2.0, 0.0, 0.0, 1)
	f.Add(84000.0, 300.0, 0.0158, 0.0, 0.0, 0.0, 0.3, 0.2, 3)
	curve, err := NewCurve(curvePoints([][2]float64{{0, 5}, {10, 4}, {25, 0}}), 0)
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, pa, length, bore, depth, opening, slope, crack, cv float64, machines int) {
		run := Run{
			Hose: Hose{Length: unit.Meters(length), Bore: unit.Meters(bore)}, Submergence: unit.Meters(depth),
			Diffuser: LinearDiffuser(unit.PSIG(opening), unit.PSIG(slope)), Crack: unit.PSIG(crack), ValveCv: cv,
		}
		other := run
		other.ValveCv, other.Submergence = 0, run.Submergence/2
		n := Network{Compressor: curve, Machines: machines, Site: Site{Pressure: unit.Pascals(pa)}, Runs: []Run{run, other}, Feeder: &run.Hose}
		o, err := n.Solve()
		if err != nil {
			return
		}
		for _, v := range []float64{float64(o.Outlet), float64(o.Manifold), float64(o.Air), float64(o.Runs[0].Air), float64(o.Runs[0].End)} {
			if math.IsNaN(v) || math.IsInf(v, 0) || v < -1e-6 {
				t.Fatalf("%+v", o)
			}
		}
		b, err := n.Balance([]float64{1, 2})
		if err == nil && (math.IsNaN(float64(b.Manifold)) || math.IsNaN(b.Valves[0].Cv) || b.Valves[0].Drop < -1e-6) {
			t.Fatalf("%+v", b)
		}
	})
}

func BenchmarkNetwork12Runs(b *testing.B) {
	n := threeRuns(b)
	n.Machines = 5
	n.Runs = nil
	for i := range 12 {
		n.Runs = append(n.Runs, testRun("run", 150+40*float64(i), 0.622, 8+0.3*float64(i)))
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := n.Solve(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkBalance12Runs(b *testing.B) {
	n := threeRuns(b)
	n.Machines = 5
	n.Runs = nil
	shares := make([]float64, 12)
	for i := range shares {
		shares[i] = 1
		n.Runs = append(n.Runs, testRun("run", 150+40*float64(i), 0.622, 8+0.3*float64(i)))
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := n.Balance(shares); err != nil {
			b.Fatal(err)
		}
	}
}
