package plan_test

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/golang/geo/s1"
	"github.com/golang/geo/s2"
	"github.com/google/go-cmp/cmp"

	"pondwright/calc/air"
	"pondwright/calc/unit"
	"pondwright/geo/plan"
	"pondwright/geo/plane"
	"pondwright/geo/route"
	"pondwright/geo/survey"
)

// bowl is a long wide pond, a paraboloid 2.8 m deep. Its diffusers reach little of
// it each, which makes it quick to plan for.
var bowl = once(func() (*testPond, error) {
	return sounded(ellipse(200, 50), nil, 12, func(q plane.Point) float64 { return 2.8 * (1 - q.X*q.X/40000 - q.Y*q.Y/2500) })
})

// often is a target that takes the bowl more than one machine.
const often = 0.9

// twins is a pond with two basins 4 m deep behind a sill of 0.9 m.
var twins = once(func() (*testPond, error) {
	return sounded(ellipse(100, 35), nil, 6, func(q plane.Point) float64 {
		inside := 1 - q.X*q.X/10000 - q.Y*q.Y/1225
		return min(1, 3*inside) * (0.9 + 3.2*(1-math.Exp(-q.X*q.X/900)))
	})
})

// islet is a pond with an island in the way of most hoses.
var islet = once(func() (*testPond, error) {
	island := ring(40, func(turn float64) plane.Point {
		sin, cos := math.Sincos(turn)
		return plane.Point{X: 10 * cos, Y: 30 * sin}
	})
	return sounded(ellipse(150, 60), [][]s2.LatLng{island}, 12, func(q plane.Point) float64 {
		shore, land := 1-q.X*q.X/22500-q.Y*q.Y/3600, q.X*q.X/100+q.Y*q.Y/900-1
		return 2.6 * min(1, 2*shore, land/2)
	})
})

func propose(t testing.TB, in plan.Input) *plan.Plan {
	t.Helper()
	p, err := plan.Propose(in, nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.8g, want %.8g ± %g", what, got, want, tol)
	}
}

// same asserts that two sums agree to rounding.
func same(t *testing.T, what string, got, want float64) {
	t.Helper()
	near(t, what, got, want, 1e-9*math.Abs(want))
}

// inWater and offShore are written anew here, so that nothing which laid the
// hoses also judges them: the even-odd rule, and the least distance to a side.
func inWater(rings [][]plane.Point, p plane.Point) bool {
	odd := false
	for _, r := range rings {
		for i, a := range r {
			b := r[(i+1)%len(r)]
			if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
				odd = !odd
			}
		}
	}
	return odd
}

func offShore(rings [][]plane.Point, p plane.Point) float64 {
	least := math.Inf(1)
	for _, r := range rings {
		for i, a := range r {
			b := r[(i+1)%len(r)]
			dx, dy := b.X-a.X, b.Y-a.Y
			along := min(1, max(0, ((p.X-a.X)*dx+(p.Y-a.Y)*dy)/(dx*dx+dy*dy)))
			least = min(least, math.Hypot(p.X-a.X-along*dx, p.Y-a.Y-along*dy))
		}
	}
	return least
}

// checkHose follows a hose from the mast to its diffuser.
func checkHose(t *testing.T, pond *testPond, p *plan.Plan, d plan.Diffuser) {
	t.Helper()
	rings, way := pond.shore.Rings(), d.Hose.Route
	if len(way) < 3 || way[0] != p.Mast || way[1] != p.Entry || way[len(way)-1] != d.At {
		t.Fatalf("route %v runs from the mast %v through the entry %v to %v?", way, p.Mast, p.Entry, d.At)
	}
	if off := offShore(rings, p.Entry); off > 1e-6 {
		t.Errorf("the shore entry lies %g m off the shore", off)
	}
	if inWater(rings, p.Mast) {
		t.Error("the mast stands in the water")
	}
	var waterM float64
	for i := 2; i < len(way); i++ {
		a, b := way[i-1], way[i]
		waterM += a.Distance(b)
		n := max(1, int(math.Ceil(a.Distance(b)/0.25)))
		for k := 1; k <= n; k++ {
			q := a.Lerp(b, float64(k)/float64(n))
			if !inWater(rings, q) {
				t.Fatalf("hose runs ashore at %v", q)
			}
			// The hose has to come out from the shore somewhere: at the entry.
			if off := offShore(rings, q); off < 0.05-1e-6 && q.Distance(p.Entry) > 0.12 {
				t.Errorf("hose runs %.3f m from land at %v", off, q)
			}
		}
	}
	same(t, "trench (m)", float64(d.Hose.Trench), p.Mast.Distance(p.Entry))
	if float64(d.Hose.Water) < waterM-1e-6 || float64(d.Hose.Water) > 1.2*waterM+float64(d.Depth) {
		t.Errorf("hose is %.2f m along the bed and %.2f m in the plan", float64(d.Hose.Water), waterM)
	}
	if least := d.Hose.Trench + d.Hose.Water + d.Depth; d.Hose.Order < least {
		t.Errorf("%v m of hose ordered, trench, water and lifting take %v m", d.Hose.Order, least)
	}
}

// printedLift is the closed form with the constants as printed in Lorenzen & Fast,
// EPA-600/3-77-004, 1977, after Kobus 1968: m³/s at sea level and 20 °C, where
// standard air is actual air.
func printedLift(airM3S, hM float64) float64 {
	return 35.6 * (2*airM3S + 0.05) * (hM + 0.8) * math.Sqrt(-airM3S*math.Log(1-hM/(hM+10.3))/(25*airM3S+0.7))
}

// checkPlan asserts what holds for every plan with diffusers at sea level.
func checkPlan(t *testing.T, pond *testPond, in plan.Input, p *plan.Plan) {
	t.Helper()
	if len(p.Diffusers) == 0 || len(p.Diffusers) > plan.MaxDiffusers {
		t.Fatalf("%d diffusers", len(p.Diffusers))
	}
	var sum struct{ air, lift, low, high, order float64 }
	for i, d := range p.Diffusers {
		if d.Depth < 1.2 || math.Abs(float64(d.Depth)-pond.report.Bed.Depth(d.At)) > 1e-9 {
			t.Errorf("diffuser %d stands in %.3f m of water, by the bed %.3f", i+1, float64(d.Depth), pond.report.Bed.Depth(d.At))
		}
		same(t, "submergence (m)", float64(d.Submergence), float64(d.Depth-in.Equipment.OffBottom))
		checkHose(t, pond, p, d)
		want := printedLift(float64(d.Air), float64(d.Submergence))
		near(t, "upper lift (m³/s)", float64(d.Lift.High), want, 0.005*want)
		if promised := float64(d.Lift.Value); promised > 0.8*float64(d.Lift.High)*(1+1e-9) || promised < 0.4*float64(d.Lift.High) {
			t.Errorf("diffuser %d is promised %g m³/s of %g", i+1, promised, float64(d.Lift.High))
		}
		same(t, "low lift", float64(d.Lift.Low), 0.75*float64(d.Lift.Value))
		if head := air.Head(d.Submergence, 1000); d.Inlet < head || d.Valve.Needed < d.Inlet || p.Manifold < d.Valve.Needed-1e-6 || d.Valve.Drop < -1e-6 {
			t.Errorf("diffuser %d: head %v Pa, inlet %v, needed %v, manifold %v, drop %v", i+1, head, d.Inlet, d.Valve.Needed, p.Manifold, d.Valve.Drop)
		}
		sum.air += float64(d.Air)
		sum.lift += float64(d.Lift.Value)
		sum.low += float64(d.Lift.Low)
		sum.high += float64(d.Lift.High)
		sum.order += float64(d.Hose.Order)
	}
	same(t, "air of all diffusers", sum.air, float64(p.Air))
	same(t, "hose to order (m)", float64(p.HoseTotal), sum.order)
	same(t, "lift", float64(p.Lift.Value), sum.lift)
	same(t, "low lift", float64(p.Lift.Low), sum.low)
	same(t, "high lift", float64(p.Lift.High), sum.high)
	delivered, err := in.Equipment.Compressor.Air(p.Manifold, air.Site{Pressure: p.SitePressure})
	if err != nil {
		t.Fatal(err)
	}
	if most := float64(delivered) * float64(in.Equipment.Machines); hasCaution(p, "RELIEF_LIFTS") != (float64(p.Air) < most*(1-1e-6)) || float64(p.Air) > most*(1+1e-6) {
		t.Errorf("diffusers get %g m³/s, the machines deliver %g", float64(p.Air), most)
	}
	checkTurnovers(t, pond, p)
	if p.SiteGap < 0 || p.SiteGap > 0.01 {
		t.Errorf("another layout could serve %.2f %% more", 100*p.SiteGap)
	}
	if p.Served <= 0 || p.Served > 1 {
		t.Errorf("%g of the water is served", p.Served)
	}
	for _, code := range []string{"START_UP", "ZONES_UNKNOWN", "PRESSURE", "ELECTRIC", "BOAT", "ICE", "AUTHORITY", "RUN_HOURS_UNVERIFIED", plan.CodeDefaults} {
		if !hasCaution(p, code) {
			t.Errorf("no caution %s", code)
		}
	}
}

func checkTurnovers(t *testing.T, pond *testPond, p *plan.Plan) {
	t.Helper()
	v := pond.report.Volume
	same(t, "volume used (m³)", float64(p.VolumeUsed), float64(v.High))
	seconds := p.RunHours * 3600
	same(t, "turnovers × volume (m³)", p.Turnovers.Value*float64(v.Value), float64(p.Lift.Value)*seconds)
	same(t, "low turnovers × high volume (m³)", p.Turnovers.Low*float64(v.High), float64(p.Lift.Low)*seconds)
	same(t, "high turnovers × low volume (m³)", p.Turnovers.High*float64(v.Low), float64(p.Lift.High)*seconds)
	if r := p.Turnovers; !(0 < r.Low && r.Low <= r.Value && r.Value <= r.High) {
		t.Errorf("turnovers %+v are out of order", r)
	}
	onSafeSide := float64(p.Lift.Value) * seconds / float64(v.High)
	if met := onSafeSide >= p.Target*(1-1e-9); met != (p.Constraint == plan.None || p.Constraint == plan.Coverage) {
		t.Errorf("%.4f turnovers of the high volume, target %g, constraint %s", onSafeSide, p.Target, p.Constraint)
	}
	if (p.Shortfall == "") != (p.Constraint == plan.None) {
		t.Errorf("constraint %s, shortfall %q", p.Constraint, p.Shortfall)
	}
	if p.Constraint == plan.None && (p.Factor > 1+1e-9 || p.AirNeeded <= 0) {
		t.Errorf("met with a factor of %g, %v m³/s of air needed", p.Factor, p.AirNeeded)
	}
}

func hasCaution(p *plan.Plan, code string) bool {
	return slices.ContainsFunc(p.Cautions, func(c plan.Caution) bool { return c.Code == code })
}

var machinesNamed = regexp.MustCompile(`: (\d+) machines like this in place of (\d+), feeding (\d+) diffusers`)

// named returns the machines that a shortfall asks for.
func named(t *testing.T, p *plan.Plan) int {
	t.Helper()
	m := machinesNamed.FindStringSubmatch(p.Shortfall.String())
	if m == nil {
		t.Fatalf("shortfall %q names no machines", p.Shortfall)
	}
	n, err := strconv.Atoi(m[1])
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// One default machine is too little for each of the known ponds; the machines that
// the plan asks for are enough, and one fewer is not.
func TestPropose_KnownPonds(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name      string
		neededCFM float64 // with diffusers at half a scfm each, worked by hand; 0: more than 60 of them
	}{
		{"O1_bowl", 6}, {"O2_valley20", 16}, {"O3_arms30", 28}, {"O4_dense60", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			pond := surveyed[c.name](t)
			in, p := pond.vary(t, func(*plan.Input) {})
			checkPlan(t, pond, in, p)
			if p.Constraint != plan.AirSupply || p.Factor <= 1 || !hasCaution(p, "AIR_SUPPLY_SHORT") {
				t.Fatalf("constraint %s, factor %g, cautions %v", p.Constraint, p.Factor, p.Cautions)
			}
			if got := p.AirNeeded.SCFM(); c.neededCFM > 0 && (got < 0.9*c.neededCFM || got > 1.3*c.neededCFM) {
				t.Errorf("%.1f scfm needed, by hand about %g", got, c.neededCFM)
			}
			in, heeded := pond.vary(t, func(in *plan.Input) { in.Equipment.Machines = named(t, p) })
			if heeded.Constraint != plan.None {
				t.Fatalf("%q, and with as many: %s, %q", p.Shortfall, heeded.Constraint, heeded.Shortfall)
			}
			checkPlan(t, pond, in, heeded)
			if c.name == "O1_bowl" { // in one piece it comes to the same
				if diff := cmp.Diff(heeded, propose(t, in)); diff != "" {
					t.Errorf("with as many machines from the start (-heeded +proposed):\n%s", diff)
				}
			}
		})
	}
}

// A pond worked by hand: 5 acres, 15 ft deep in the middle, area falling with
// depth d as (1 − d/15 ft)^0.875, so 8 ft in the mean and 49,339 m³. Four
// diffusers of 1 scfm, 0.3 m off the deepest bottom, lift 0.8 times the closed
// form each, 0.1125 m³/s, and turn it over in 30.5 h (recomputed).
func TestEvaluate_WorkedPond(t *testing.T) {
	t.Parallel()
	const deepM = 4.572
	acres := unit.Acres(5)
	radiusM := math.Sqrt(float64(acres) / math.Pi)
	pond, err := sounded(ellipse(radiusM, radiusM), nil, 8, func(q plane.Point) float64 {
		return deepM * (1 - math.Pow(q.Norm()/radiusM, 2/0.875))
	})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "volume (m³)", float64(pond.report.Volume.Value), 49339, 0.015*49339)
	in := pond.input(1)
	// A machine that gives 4 scfm at any pressure.
	if in.Equipment.Compressor, err = air.NewCurve([]air.CurvePoint{{Gauge: 0, Air: unit.SCFM(4)}, {Gauge: unit.PSIG(25), Air: unit.SCFM(4)}}, 0); err != nil {
		t.Fatal(err)
	}
	var placed []s2.LatLng
	for _, at := range []plane.Point{{X: 6}, {X: -6}, {Y: 6}, {Y: -6}} {
		placed = append(placed, pond.shore.Frame().ToLatLng(at))
	}
	p, err := plan.Evaluate(in, placed)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range p.Diffusers {
		near(t, "air (scfm)", d.Air.SCFM(), 1, 1e-6)
		near(t, "submergence (m)", float64(d.Submergence), 4.272, 0.05)
		near(t, "promised lift (m³/s)", float64(d.Lift.Value), 0.1125, 0.02*0.1125)
	}
	near(t, "hours a turnover", p.RunHours/p.Turnovers.Value, 30.5, 0.05*30.5)
}

func TestPropose_HosesGoRoundAnIsland(t *testing.T) {
	t.Parallel()
	pond := islet(t)
	in := pond.input(2)
	in.Mast = pond.shore.Frame().ToLatLng(plane.Point{X: -165, Y: 4})
	p := propose(t, in)
	checkPlan(t, pond, in, p)
	bent := 0
	for _, d := range p.Diffusers {
		if len(d.Hose.Route) > 4 {
			bent++
		}
	}
	if bent == 0 {
		t.Error("no hose bends round the island: the test tells nothing")
	}
}

func TestPropose_SameTwice(t *testing.T) {
	t.Parallel()
	in := bowl(t).input(1)
	in.Turnovers = 0.3
	if diff := cmp.Diff(propose(t, in), propose(t, in)); diff != "" {
		t.Errorf("two plans of one pond differ:\n%s", diff)
	}
}

// More machines never turn the pond over less, up to the target; nor does hose of
// a larger bore. Thinner air never weighs more.
func TestPropose_Monotone(t *testing.T) {
	t.Parallel()
	pond := bowl(t)
	run := func(name string, vary func(*plan.Input, float64), values []float64, more func(a, b *plan.Plan) bool) {
		var last *plan.Plan
		for _, v := range values {
			_, p := pond.vary(t, func(in *plan.Input) {
				in.Turnovers, in.Equipment.Machines = often, 2
				vary(in, v)
			})
			if last != nil && !more(last, p) {
				t.Errorf("%s %g: %.4f turnovers from %g kg/s of air by %d diffusers, before %.4f, %g, %d", name, v,
					p.Turnovers.Value, float64(p.Air.Mass()), len(p.Diffusers), last.Turnovers.Value, float64(last.Air.Mass()), len(last.Diffusers))
			}
			last = p
		}
	}
	turnsMore := func(a, b *plan.Plan) bool {
		return min(b.Turnovers.Value, often) >= min(a.Turnovers.Value, often)
	}
	run("machines", func(in *plan.Input, v float64) { in.Equipment.Machines = int(v) }, []float64{1, 2, 4}, turnsMore)
	run("bore (m)", func(in *plan.Input, v float64) { in.Equipment.Bore = unit.Meters(v) }, []float64{0.004, 0.007, 0.0158}, turnsMore)
	run("altitude (m)", func(in *plan.Input, v float64) { in.Altitude = unit.Meters(v) }, []float64{-400, 0, 1800, 3600},
		func(a, b *plan.Plan) bool { return b.Air.Mass() <= a.Air.Mass() && b.SitePressure < a.SitePressure })
}

// The low end of the pond's doubt never decides: a wider interval needs more air.
func TestPropose_UsesTheSafeEnd(t *testing.T) {
	t.Parallel()
	pond := bowl(t)
	_, sure := pond.vary(t, func(in *plan.Input) { in.Equipment.Machines = 2 })
	doubtful := *pond.report
	doubtful.Volume.High *= 1.5
	_, unsure := pond.vary(t, func(in *plan.Input) { in.Survey, in.Equipment.Machines = &doubtful, 2 })
	if unsure.AirNeeded <= sure.AirNeeded {
		t.Errorf("%v m³/s of air for a volume of up to %v, %v for up to %v", unsure.AirNeeded, unsure.VolumeUsed, sure.AirNeeded, sure.VolumeUsed)
	}
}

func TestPropose_Coverage(t *testing.T) {
	t.Parallel()
	pond := twins(t)
	// Air for one diffuser, not for two.
	weak := curve(t, 0, 0.8, 25, 0.7)
	in, p := pond.vary(t, func(in *plan.Input) { in.Turnovers, in.Equipment.Compressor = 0.05, weak })
	checkPlan(t, pond, in, p)
	if p.Constraint != plan.Coverage || len(p.Diffusers) != 1 || !hasCaution(p, "BASIN_WITHOUT_SITE") || p.Factor <= 1 {
		t.Fatalf("constraint %s, %d diffusers, factor %g, %q", p.Constraint, len(p.Diffusers), p.Factor, p.Shortfall)
	}
	in, all := pond.vary(t, func(in *plan.Input) {
		in.Turnovers, in.Equipment.Compressor, in.Equipment.Machines = 0.05, weak, named(t, p)
	})
	checkPlan(t, pond, in, all)
	if all.Constraint != plan.None || hasCaution(all, "BASIN_WITHOUT_SITE") {
		t.Errorf("%q, and with as many: %s, %q", p.Shortfall, all.Constraint, all.Shortfall)
	}
	west := func(d plan.Diffuser) bool { return d.At.X < 0 }
	if !slices.ContainsFunc(all.Diffusers, west) || !slices.ContainsFunc(all.Diffusers, func(d plan.Diffuser) bool { return !west(d) }) {
		t.Errorf("diffusers %+v leave a basin alone", all.Diffusers)
	}
}

// boreNamed returns the bore that a shortfall asks for.
func boreNamed(t *testing.T, p *plan.Plan) unit.Meters {
	t.Helper()
	m := regexp.MustCompile(`hose of ([0-9.]+) mm bore`).FindStringSubmatch(p.Shortfall.String())
	if m == nil {
		t.Fatalf("shortfall %q names no bore", p.Shortfall)
	}
	mm, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return unit.Meters(mm / 1000)
}

func TestPropose_HoseTooNarrow(t *testing.T) {
	t.Parallel()
	pond := bowl(t)
	with := func(bore unit.Meters) (plan.Input, *plan.Plan) {
		return pond.vary(t, func(in *plan.Input) { in.Turnovers, in.Equipment.Machines, in.Equipment.Bore = 0.5, 3, bore })
	}
	if _, p := with(plan.DefaultEquipment().Bore); p.Constraint != plan.None {
		t.Fatalf("with the default hose: %s, %q", p.Constraint, p.Shortfall)
	}
	in, p := with(0.003)
	if p.Constraint != plan.HoseLoss || p.Factor <= 1 {
		t.Fatalf("constraint %s, factor %g, %q", p.Constraint, p.Factor, p.Shortfall)
	}
	checkPlan(t, pond, in, p)
	if _, wide := with(boreNamed(t, p)); wide.Constraint != plan.None {
		t.Errorf("%q, and with it: %s, %q", p.Shortfall, wide.Constraint, wide.Shortfall)
	}
}

// One machine behind 3 mm hose: larger hose alone is not enough, more machines
// alone are not either.
func TestPropose_HoseAndAir(t *testing.T) {
	t.Parallel()
	with := func(machines int, bore unit.Meters) *plan.Plan {
		_, p := bowl(t).vary(t, func(in *plan.Input) { in.Turnovers, in.Equipment.Machines, in.Equipment.Bore = often, machines, bore })
		return p
	}
	p := with(1, 0.003)
	if p.Constraint != plan.HoseLoss || p.Factor <= 1 {
		t.Fatalf("constraint %s, factor %g, %q", p.Constraint, p.Factor, p.Shortfall)
	}
	if wide := with(named(t, p), boreNamed(t, p)); wide.Constraint != plan.None {
		t.Errorf("%q, and with it: %s, %q", p.Shortfall, wide.Constraint, wide.Shortfall)
	}
}

func curve(t *testing.T, psiSCFM ...float64) air.Curve {
	t.Helper()
	var points []air.CurvePoint
	for i := 0; i < len(psiSCFM); i += 2 {
		points = append(points, air.CurvePoint{Gauge: unit.PSIG(psiSCFM[i]), Air: unit.SCFM(psiSCFM[i+1])})
	}
	c, err := air.NewCurve(points, 0)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

var pressureNamed = regexp.MustCompile(`at more than ([0-9.]+) kPa`)

func TestPropose_Pressure(t *testing.T) {
	t.Parallel()
	with := func(c air.Curve) *plan.Plan {
		_, p := bowl(t).vary(t, func(in *plan.Input) { in.Equipment.Compressor = c })
		return p
	}
	p := with(curve(t, 0, 50, 1, 40, 2, 30)) // a fan
	if p.Constraint != plan.Pressure || len(p.Diffusers) != 0 {
		t.Fatalf("constraint %s, %d diffusers, %q", p.Constraint, len(p.Diffusers), p.Shortfall)
	}
	m := pressureNamed.FindStringSubmatch(p.Shortfall.String())
	if m == nil {
		t.Fatalf("shortfall %q names no pressure", p.Shortfall)
	}
	kPa, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	if strong := with(curve(t, 0, 17, unit.PascalsGauge(1000*kPa).PSIG()+1, 15)); strong.Constraint != plan.None {
		t.Errorf("%q, and with 15 scfm there: %s, %q", p.Shortfall, strong.Constraint, strong.Shortfall)
	}
}

func TestPropose_Depth(t *testing.T) {
	t.Parallel()
	pond, err := sounded(ellipse(40, 30), nil, 8, func(q plane.Point) float64 { return 1 - q.X*q.X/1600 - q.Y*q.Y/900 })
	if err != nil {
		t.Fatal(err)
	}
	p := propose(t, pond.input(1))
	if p.Constraint != plan.Depth || len(p.Diffusers) != 0 || !strings.Contains(p.Shortfall.String(), "1.2 m") || strings.HasPrefix(p.Shortfall.String(), "plan:") {
		t.Errorf("constraint %s, %d diffusers, %q", p.Constraint, len(p.Diffusers), p.Shortfall)
	}
	if !hasCaution(p, "START_UP") || !hasCaution(p, plan.CodeDefaults) {
		t.Errorf("cautions %v of a plan without diffusers", p.Cautions)
	}
}

func TestPropose_InputMissing(t *testing.T) {
	t.Parallel()
	guessed := &testPond{shore: bowl(t).shore}
	if err := guessed.measure(nil); err != nil {
		t.Fatal(err)
	}
	p := propose(t, guessed.input(1))
	if p.Constraint != plan.InputMissing || len(p.Diffusers) != 0 || p.Shortfall == "" {
		t.Errorf("constraint %s, %d diffusers, %q", p.Constraint, len(p.Diffusers), p.Shortfall)
	}
}

// A small pond gets more air from one machine than its few diffusers use well:
// that meets the target, with a caution.
func TestPropose_MoreAirThanUsed(t *testing.T) {
	t.Parallel()
	pond, err := sounded(ellipse(17, 15), nil, 4, func(q plane.Point) float64 { return 3 * (1 - q.X*q.X/289 - q.Y*q.Y/225) })
	if err != nil {
		t.Fatal(err)
	}
	for _, machines := range []int{30, 60} {
		in := pond.input(machines)
		p := propose(t, in)
		if p.Constraint != plan.None || !hasCaution(p, "AIR_PER_DIFFUSER") {
			t.Errorf("%d machines: constraint %s, %d diffusers with %.2f scfm, %q", machines, p.Constraint, len(p.Diffusers), p.Air.SCFM(), p.Shortfall)
		}
		checkTurnovers(t, pond, p)
	}
}

// Air beyond all measure is still a plan, and lift is not promised for all of it.
func TestPropose_AirBeyondMeasure(t *testing.T) {
	t.Parallel()
	pond := bowl(t)
	_, p := pond.vary(t, func(in *plan.Input) {
		in.Equipment.Machines, in.Equipment.Compressor, in.Equipment.Bore = 60, curve(t, 0, 100, 30, 90), 0.2
	})
	if p.Constraint != plan.None || !hasCaution(p, "AIR_PER_DIFFUSER") {
		t.Errorf("constraint %s with %.0f scfm, %q", p.Constraint, p.Air.SCFM(), p.Shortfall)
	}
	for _, d := range p.Diffusers {
		if most := printedLift(float64(unit.SCFM(13)), float64(d.Submergence)); float64(d.Lift.High) > 1.005*most {
			t.Errorf("%.0f scfm are credited with %v m³/s, 13 scfm lift %v", d.Air.SCFM(), d.Lift.High, most)
		}
	}
}

// A target for which sixty machines are too few says so.
func TestPropose_MoreMachinesThanAPlanMayHave(t *testing.T) {
	t.Parallel()
	_, p := bowl(t).vary(t, func(in *plan.Input) { in.Equipment.Compressor = curve(t, 0, 0.06, 25, 0.05) })
	if p.Constraint != plan.AirSupply || p.Factor <= 60 || !strings.Contains(p.Shortfall.String(), "more than the 60") {
		t.Errorf("constraint %s, factor %g, %q", p.Constraint, p.Factor, p.Shortfall)
	}
}

func TestPropose_Refuses(t *testing.T) {
	t.Parallel()
	pond := bowl(t)
	frame := pond.shore.Frame()
	at := func(x, y float64) func(*plan.Input) {
		return func(in *plan.Input) { in.Mast = frame.ToLatLng(plane.Point{X: x, Y: y}) }
	}
	isRange := func(err error) bool { return errors.As(err, new(*unit.RangeError)) }
	isFar := func(err error) bool { return errors.As(err, new(*route.FarMastError)) }
	is := func(want error) func(error) bool { return func(err error) bool { return errors.Is(err, want) } }
	for _, c := range []struct {
		name string
		vary func(*plan.Input)
		want func(error) bool
	}{
		{"mast in the water", at(10, 10), is(route.ErrMastInWater)},
		{"mast a kilometer off", at(1000, 0), isFar},
		{"mast in another country", func(in *plan.Input) { in.Mast = s2.LatLngFromDegrees(-38, 93) }, isFar},
		{"mast nowhere", func(in *plan.Input) { in.Mast = s2.LatLng{} }, isFar},
		{"mast is no number", func(in *plan.Input) { in.Mast.Lat = s1.Angle(math.NaN()) }, isFar},
		{"target beyond reason", func(in *plan.Input) { in.Turnovers = 11 }, isRange},
		{"negative target", func(in *plan.Input) { in.Turnovers = -1 }, isRange},
		{"target is no number", func(in *plan.Input) { in.Turnovers = math.NaN() }, isRange},
		{"hot water", func(in *plan.Input) { in.WaterTemperature = unit.Celsius(60) }, isRange},
		{"above the highest town", func(in *plan.Input) { in.Altitude = 9000 }, isRange},
		{"air too thin for the plume", func(in *plan.Input) { in.Altitude = 5900 }, isRange},
		{"no machine", func(in *plan.Input) { in.Equipment.Machines = 0 }, isRange},
		{"too many machines", func(in *plan.Input) { in.Equipment.Machines = 61 }, isRange},
		{"pipe", func(in *plan.Input) { in.Equipment.Bore = 1 }, isRange},
		{"thread", func(in *plan.Input) { in.Equipment.Bore = 0.001 }, isRange},
		{"cleaner than clean", func(in *plan.Input) { in.Equipment.Fouling = 0.5 }, isRange},
		{"floating", func(in *plan.Input) { in.Equipment.OffBottom = 2 }, isRange},
		{"no curve", func(in *plan.Input) { in.Equipment.Compressor = air.Curve{} }, is(air.ErrTooFewPoints)},
		{"no equipment", func(in *plan.Input) { in.Equipment = plan.Equipment{} }, is(air.ErrTooFewPoints)},
		{"no survey", func(in *plan.Input) { in.Survey = nil }, is(plan.ErrNothingSurveyed)},
		{"empty survey", func(in *plan.Input) { in.Survey = new(survey.Report) }, is(plan.ErrNothingSurveyed)},
		{"no shore", func(in *plan.Input) { in.Shore = nil }, is(plan.ErrNothingSurveyed)},
	} {
		in := pond.input(1)
		c.vary(&in)
		p, err := plan.Propose(in, nil)
		if p != nil || err == nil || !c.want(err) {
			t.Errorf("%s: plan %v, error %v", c.name, p, err)
		}
		if err != nil && strings.Count(err.Error(), "plan: ") != 1 {
			t.Errorf("%s: error %q says plan %d times", c.name, err, strings.Count(err.Error(), "plan: "))
		}
	}
}

func TestPropose_ProgressAndCancel(t *testing.T) {
	t.Parallel()
	in := bowl(t).input(1)
	in.Turnovers = 0.3
	var stages []string
	last, calls := -1.0, 0
	if _, err := plan.Propose(in, func(stage string, share float64) bool {
		if n := len(stages); n == 0 || stages[n-1] != stage {
			stages, last = append(stages, stage), -1
		}
		if share < last || share < 0 || share > 1 {
			t.Errorf("%s went from %v to %v", stage, last, share)
		}
		last, calls = share, calls+1
		return true
	}); err != nil {
		t.Fatal(err)
	}
	if want := []string{plan.StageSites, plan.StageLayouts, plan.StageNumbers}; !slices.Equal(stages, want) {
		t.Errorf("stages %q, want %q", stages, want)
	}
	for _, stop := range []int{1, calls / 2, calls} {
		n := 0
		p, err := plan.Propose(in, func(string, float64) bool { n++; return n < stop })
		if !errors.Is(err, plan.ErrCanceled) || p != nil || n != stop {
			t.Errorf("stopped at call %d of %d: plan %v, error %v, %d calls", stop, calls, p, err, n)
		}
	}
}

// What nobody gave is marked, what somebody gave is not.
func TestPropose_Assumptions(t *testing.T) {
	t.Parallel()
	marked := func(vary func(*plan.Input)) []string {
		var out []string
		_, p := bowl(t).vary(t, vary)
		for _, a := range p.Assumptions {
			if a.Default {
				out = append(out, a.Name)
			}
			if a.Value == "" || a.Source == "" {
				t.Errorf("assumption %+v says too little", a)
			}
		}
		return out
	}
	before := marked(func(*plan.Input) {})
	after := marked(func(in *plan.Input) {
		in.AltitudeKnown = true
		in.Equipment.CompressorDefault, in.Equipment.DiffuserDefault, in.Equipment.HoseDefault = false, false, false
	})
	for _, name := range []string{"altitude", "compressor", "diffuser", "hose"} {
		if !slices.Contains(before, name) || slices.Contains(after, name) {
			t.Errorf("%s: marked %v before it was given, %v after", name, before, after)
		}
	}
	for _, name := range []string{"run time", "water temperature", "water levels"} {
		if !slices.Contains(after, name) {
			t.Errorf("%s is not marked though nobody can give it yet", name)
		}
	}
}

// The patches hold all of the bed's water, none twice, and no diffuser is offered
// a place that is too shallow for one.
func TestPatches_HoldAllWater(t *testing.T) {
	t.Parallel()
	for name, pond := range map[string]*testPond{"island": islet(t), "twins": twins(t)} {
		cells := pond.input(1).Fine().Patches()
		var areaM2, volumeM3 float64
		for _, c := range cells {
			areaM2 += c.AreaM2
			volumeM3 += c.AreaM2 * c.DepthM
			if !inWater(pond.shore.Rings(), c.At) {
				t.Errorf("%s: a patch stands ashore at %v", name, c.At)
			}
			if shallow := pond.report.Bed.Depth(c.At) < 1.2; shallow != c.Barred && math.Abs(pond.report.Bed.Depth(c.At)-1.2) > 1e-6 {
				t.Errorf("%s: %.3f m of water at %v, barred: %v", name, pond.report.Bed.Depth(c.At), c.At, c.Barred)
			}
		}
		near(t, name+": area (m²)", areaM2, float64(pond.report.Area.Value), 1e-6*areaM2)
		near(t, name+": volume (m³)", volumeM3, float64(pond.report.Volume.Value), 1e-6*volumeM3)
		if len(cells) < 1000 || len(cells) > 6000 {
			t.Errorf("%s: %d patches", name, len(cells))
		}
	}
}

func ExamplePropose() {
	pond, err := sounded(ellipse(60, 20), nil, 6, func(q plane.Point) float64 { return 3 * (1 - q.X*q.X/3600 - q.Y*q.Y/400) })
	if err != nil {
		fmt.Println(err)
		return
	}
	p, err := plan.Propose(plan.Input{
		Survey: pond.report, Shore: pond.shore, Mast: pond.mast, Equipment: plan.DefaultEquipment(),
	}, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(p.Constraint, len(p.Diffusers), "diffusers")
	// Output: NONE 3 diffusers
}

func BenchmarkPropose(b *testing.B) {
	in := bowl(b).input(1)
	b.ReportAllocs()
	for b.Loop() {
		propose(b, in)
	}
}

func BenchmarkPropose_KnownPonds(b *testing.B) {
	for _, name := range []string{"O1_bowl", "O2_valley20", "O3_arms30", "O4_dense60"} {
		b.Run(name, func(b *testing.B) {
			in := surveyed[name](b).input(1)
			b.ReportAllocs()
			for b.Loop() {
				propose(b, in)
			}
		})
	}
}
