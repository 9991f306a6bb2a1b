package plan_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/plan"
	"pondwright/geo/plane"
	"pondwright/geo/route"
	"pondwright/geo/site"
)

// little is a pond of half an acre, 3 m deep.
var little = once(func() (*testPond, error) {
	return sounded(ellipse(60, 22), nil, 6, func(q plane.Point) float64 { return 3 * (1 - q.X*q.X/3600 - q.Y*q.Y/484) })
})

// zone draws a zone in the plane of the pond.
func (p *testPond) zone(kind plan.ZoneKind, area bool, at ...plane.Point) plan.Zone {
	return plan.Zone{Kind: kind, Area: area, Points: p.latLngs(at...)}
}

func (p *testPond) latLngs(at ...plane.Point) []s2.LatLng {
	var out []s2.LatLng
	for _, q := range at {
		out = append(out, p.shore.Frame().ToLatLng(q))
	}
	return out
}

func box(x0, y0, x1, y1 float64) []plane.Point {
	return []plane.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
}

// along calls f for places every quarter of a meter along a way.
func along(way []plane.Point, f func(plane.Point)) {
	for i := 1; i < len(way); i++ {
		n := max(1, int(math.Ceil(way[i-1].Distance(way[i])/0.25)))
		for k := range n + 1 {
			f(way[i-1].Lerp(way[i], float64(k)/float64(n)))
		}
	}
}

func TestPropose_KeepsOffZones(t *testing.T) {
	t.Parallel()
	pond := little(t)
	dam, stump := box(18, -60, 80, 60), plane.Point{X: -8, Y: -3}
	in := pond.input(1)
	in.Mast = pond.latLngs(plane.Point{X: -20, Y: -38})[0]
	in.Zones = []plan.Zone{
		pond.zone(plan.DamZone, true, dam...),
		pond.zone(plan.ObstacleZone, false, stump),
		pond.zone(plan.PropertyZone, true, box(-58, -60, 200, 60)...),
		pond.zone(plan.BuriedLineZone, false, plane.Point{X: -60, Y: -30}, plane.Point{X: 60, Y: -30}),
	}
	p := propose(t, in)
	if len(p.Diffusers) == 0 {
		t.Fatalf("no diffusers: %s, %s", p.Constraint, p.Shortfall)
	}
	for i, d := range p.Diffusers {
		if d.At.X > 15 || d.At.Distance(stump) < 2 || d.At.X < -58 {
			t.Errorf("diffuser %d stands at %v", i+1, d.At)
		}
		along(d.Hose.Route, func(q plane.Point) {
			if q.X > 15 || q.Distance(stump) < 2 {
				t.Fatalf("hose %d runs at %v", i+1, q)
			}
		})
	}
	for _, code := range []string{"ZONES_UNKNOWN", "DAM_UNKNOWN"} {
		if hasCaution(p, code) {
			t.Errorf("caution %s in spite of the zones", code)
		}
	}
	if !hasCaution(p, "TRENCH_CROSSES") {
		t.Error("the trench crosses a buried line and nobody says so")
	}
	if len(p.Zones) != 4 {
		t.Errorf("%d zones for the drawing", len(p.Zones))
	}
}

// Without a dam drawn or denied nothing is for construction.
func TestPropose_AsksForTheDam(t *testing.T) {
	t.Parallel()
	isDefault := func(vary func(*plan.Input)) bool {
		in := little(t).input(1)
		vary(&in)
		p := propose(t, in)
		i := slices.IndexFunc(p.Assumptions, func(a plan.Assumption) bool { return a.Name == "dam" })
		if i < 0 || p.Assumptions[i].Default != hasCaution(p, "DAM_UNKNOWN") {
			t.Fatalf("assumptions %v, cautions %v", p.Assumptions, p.Cautions)
		}
		return p.Assumptions[i].Default
	}
	if !isDefault(func(*plan.Input) {}) || isDefault(func(in *plan.Input) { in.NoDam = true }) {
		t.Error("an open question about the dam passes, or an answer does not")
	}
}

func TestPropose_RefusesTheGround(t *testing.T) {
	t.Parallel()
	pond := little(t)
	shoreAt := plane.Point{Y: -22}
	land := plane.Point{Y: -38}
	as := func(to any) func(error) bool { return func(err error) bool { return errors.As(err, to) } }
	is := func(want error) func(error) bool { return func(err error) bool { return errors.Is(err, want) } }
	zones := func(list ...plan.Zone) func(*plan.Input) { return func(in *plan.Input) { in.Zones = list } }
	for _, c := range []struct {
		name string
		vary func(*plan.Input)
		want func(error) bool
	}{
		{"mast on the dam", zones(pond.zone(plan.DamZone, true, box(-9, -60, 9, -30)...)), as(new(*plan.MastZoneError))},
		{"mast off the property", zones(pond.zone(plan.PropertyZone, true, box(-99, -30, 99, 99)...)), as(new(*plan.MastZoneError))},
		{"mast on a buried line", zones(pond.zone(plan.BuriedLineZone, false, land.Add(plane.Point{X: -5}), land.Add(plane.Point{X: 5}))), as(new(*plan.MastZoneError))},
		{"dam all round", zones(pond.zone(plan.DamZone, true, box(-150, -34, 150, -15)...)), is(route.ErrBarred)},
		{"dam as a line", zones(pond.zone(plan.DamZone, false, shoreAt, land)), as(new(*plan.ZoneError))},
		{"two properties", zones(pond.zone(plan.PropertyZone, true, box(-99, -99, 99, 99)...), pond.zone(plan.PropertyZone, true, box(-99, -99, 99, 99)...)), as(new(*plan.ZoneError))},
		{"no kind", zones(pond.zone("", true, box(0, 0, 1, 1)...)), as(new(*plan.ZoneError))},
		{"two corners", zones(pond.zone(plan.KeepOutZone, true, shoreAt, land)), as(new(*plan.ZoneError))},
		{"no area", zones(pond.zone(plan.KeepOutZone, true, shoreAt, land, land.Lerp(shoreAt, 0.5))), as(new(*plan.ZoneError))},
		{"no place", zones(plan.Zone{Kind: plan.IntakeZone, Points: []s2.LatLng{{Lat: 9}}}), as(new(*plan.ZoneError))},
		{"margin", zones(plan.Zone{Kind: plan.IntakeZone, Points: pond.latLngs(shoreAt), Margin: -1}), as(new(*plan.ZoneError))},
		{"pin ashore", func(in *plan.Input) { in.Pins = pond.latLngs(land) }, is(site.ErrSiteAshore)},
		{"pin on the dam", func(in *plan.Input) {
			in.Zones, in.Pins = []plan.Zone{pond.zone(plan.DamZone, true, box(20, -60, 80, 60)...)}, pond.latLngs(plane.Point{X: 30})
		}, func(err error) bool { return errors.As(err, new(*plan.PinError)) && errors.Is(err, route.ErrBarred) }},
		{"ban of no size", func(in *plan.Input) { in.Bans = []plan.Ban{{At: pond.latLngs(shoreAt)[0]}} }, as(new(*unit.RangeError))},
		{"nine masts", func(in *plan.Input) { in.MoreMasts = make([]s2.LatLng, 8) }, as(new(*unit.RangeError))},
		{"second mast in the water", func(in *plan.Input) { in.MoreMasts = pond.latLngs(plane.Point{}) }, is(route.ErrMastInWater)},
	} {
		in := pond.input(1)
		in.Mast = pond.latLngs(land)[0]
		c.vary(&in)
		if p, err := plan.Propose(in, nil); p != nil || err == nil || !c.want(err) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// What somebody pinned stays where it is, and what somebody banned stays away.
func TestPropose_RoundPins(t *testing.T) {
	t.Parallel()
	pond := little(t)
	in := pond.input(2)
	pin, ban := plane.Point{X: 20, Y: 4}, plane.Point{X: -12}
	in.Pins = pond.latLngs(pin)
	in.Bans = []plan.Ban{{At: pond.latLngs(ban)[0], Radius: 10}}
	p := propose(t, in)
	if len(p.Diffusers) < 2 || !p.Diffusers[0].Pinned || p.Diffusers[0].At.Distance(pin) > 1e-6 {
		t.Fatalf("diffusers %+v", p.Diffusers)
	}
	for i, d := range p.Diffusers[1:] {
		if d.Pinned || d.At.Distance(ban) < 10 {
			t.Errorf("diffuser %d stands at %v", i+2, d.At)
		}
		if least := 2 * float64(max(d.Submergence, p.Diffusers[0].Submergence)); d.At.Distance(pin) < 0.9*least {
			t.Errorf("diffuser %d stands %.1f m from the pin", i+2, d.At.Distance(pin))
		}
	}
	if p.SiteGap < 0 || p.SiteGap > 0.01 {
		t.Errorf("gap %g", p.SiteGap)
	}
}

// Evaluating the places that were proposed comes to the plan that was proposed.
func TestEvaluate_AgreesWithPropose(t *testing.T) {
	t.Parallel()
	pond := little(t)
	prepared, err := plan.Prepare(pond.input(2), nil)
	if err != nil {
		t.Fatal(err)
	}
	p, err := prepared.Propose(nil)
	if err != nil {
		t.Fatal(err)
	}
	var at []plane.Point
	for _, d := range p.Diffusers {
		at = append(at, d.At)
	}
	again, err := prepared.Evaluate(pond.latLngs(at...))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "lift (m³/s)", float64(again.Lift.Value), float64(p.Lift.Value), 1e-6)
	near(t, "turnovers", again.Turnovers.Value, p.Turnovers.Value, 1e-5)
	near(t, "hose (m)", float64(again.HoseTotal), float64(p.HoseTotal), float64(len(at)))
	near(t, "served", again.Served, p.Served, 0.02)
	if again.Constraint != p.Constraint || !again.Placed || again.SiteGap != 1 || p.Placed {
		t.Errorf("constraint %s and %s, gap %g", again.Constraint, p.Constraint, again.SiteGap)
	}
	if _, err := prepared.Evaluate(pond.latLngs(plane.Point{Y: 90})); !errors.As(err, new(*plan.PinError)) {
		t.Errorf("a diffuser ashore: %v", err)
	}
	if _, err := prepared.Evaluate(nil); !errors.As(err, new(*unit.RangeError)) {
		t.Errorf("no diffuser: %v", err)
	}
}

// checkHoseBook holds lengths, cuts and boat work of a plan together.
func checkHoseBook(t *testing.T, pond *testPond, p *plan.Plan) {
	t.Helper()
	cut, left := make(map[int]float64), make(map[int]float64)
	long, taken, pieces := make(map[int]float64), make(map[int]float64), make(map[int]int)
	for _, c := range p.Cuts {
		if c.Diffuser != plan.TrunkCut {
			cut[c.Diffuser] += float64(c.Length)
			pieces[c.Diffuser] = max(pieces[c.Diffuser], c.Piece)
			if c.Bore != p.Diffusers[c.Diffuser].Hose.Bore {
				t.Errorf("run %d of %v m bore is cut from %v", c.Diffuser+1, p.Diffusers[c.Diffuser].Hose.Bore, c.Bore)
			}
		}
		taken[c.Coil] += float64(c.Length)
		long[c.Coil] = float64(c.CoilLong)
		if v, ok := left[c.Coil]; !ok || float64(c.Left) < v {
			left[c.Coil] = float64(c.Left)
		}
	}
	for coil, m := range long {
		same(t, "coil (m)", taken[coil]+left[coil], m)
	}
	var sumM float64
	for i, d := range p.Diffusers {
		h := d.Hose
		same(t, "cut for a run (m)", cut[i], float64(h.Order))
		same(t, "parts of a run (m)", float64(h.Trench+h.Water+h.Riser+h.Spare+h.Slack), float64(h.Order))
		// The way drawn, walked along the bed in steps of 0.1 m.
		var bedM float64
		way := h.Route[1:]
		for k := 1; k < len(way); k++ {
			n := max(1, int(way[k-1].Distance(way[k])/0.1))
			last := pond.report.Bed.Depth(way[k-1])
			for j := range n {
				at := pond.report.Bed.Depth(way[k-1].Lerp(way[k], float64(j+1)/float64(n)))
				bedM += math.Hypot(way[k-1].Distance(way[k])/float64(n), at-last)
				last = at
			}
		}
		near(t, "hose along the bed (m)", float64(h.Water), bedM, 0.01*bedM)
		if h.Slack < 0.05*h.Water-1e-9 || float64(h.Slack) > 0.05*float64(h.Water)+1 {
			t.Errorf("run %d has %v m of slack on %v m of bed", i+1, h.Slack, h.Water)
		}
		// Weights hold the hose down by half more than it pulls up: concrete of
		// 145 lb/ft³ keeps 57 % of its weight under water (common practice, no source).
		if b := h.Ballast; math.Abs(float64(b.Mass)*9.80665*(1-1000/2322.7)-1.5*float64(b.Lift)) > 0.01 || float64(b.Apart)*float64(b.Weights)-float64(h.Water) > 1e-9 {
			t.Errorf("run %d: ballast %+v", i+1, b)
		}
		sumM += float64(h.Order)
	}
	for _, st := range p.Stations {
		if st.Trunk != nil {
			sumM += float64(st.Trunk.Order)
		}
	}
	same(t, "hose to order (m)", float64(p.HoseTotal), sumM)
	var work []int
	for _, task := range p.Tasks {
		work = append(work, task.Diffuser)
	}
	slices.Sort(work)
	if len(work) != len(p.Diffusers) || len(slices.Compact(work)) != len(p.Diffusers) {
		t.Errorf("boat work for %v of %d diffusers", work, len(p.Diffusers))
	}
}

func TestPropose_CutsCoils(t *testing.T) {
	t.Parallel()
	pond := little(t)
	bought := propose(t, pond.input(1))
	checkHoseBook(t, pond, bought)
	if len(bought.Buy) == 0 || hasCaution(bought, "HOSES_CROSS") {
		t.Errorf("to buy %v, cautions %v", bought.Buy, bought.Cautions)
	}
	// The same length on hand in long coils is enough, half of it is not.
	for _, c := range []struct {
		longM float64
		count int
		want  plan.Constraint
	}{{float64(bought.HoseTotal), 1, plan.None}, {70, 12, plan.None}, {float64(bought.HoseTotal) / 2, 1, plan.HoseLoss}} {
		in := pond.input(1)
		in.Equipment.Coils = []plan.Coil{{Bore: in.Equipment.Bore, Length: unit.Meters(c.longM), Count: c.count}, {Bore: 0.05, Length: 500}}
		p := propose(t, in)
		checkHoseBook(t, pond, p)
		if p.Constraint != c.want {
			t.Errorf("%d coils of %g m: %s, %q", c.count, c.longM, p.Constraint, p.Shortfall)
		}
		if c.want == plan.HoseLoss && (!strings.Contains(p.Shortfall.String(), "for run ") || len(p.Buy) == 0) {
			t.Errorf("shortfall %q, to buy %v", p.Shortfall, p.Buy)
		}
		if c.want == plan.None && len(p.Buy) > 0 {
			t.Errorf("to buy %v with %d coils of %g m", p.Buy, c.count, c.longM)
		}
	}
}

// A long trench is dug for one trunk rather than for each run, where there is
// wider hose; it costs at most a hundredth of the air.
func TestPropose_SharesATrunk(t *testing.T) {
	t.Parallel()
	pond := little(t)
	far := pond.latLngs(plane.Point{X: 0, Y: -150})[0]
	run := func(vary func(*plan.Input)) *plan.Plan {
		in := pond.input(1)
		in.Mast = far
		in.Equipment.Hoses = []plan.HoseKind{{Bore: 0.0158}, {Bore: 0.0266}}
		vary(&in)
		p := propose(t, in)
		checkHoseBook(t, pond, p)
		return p
	}
	own := run(func(in *plan.Input) { in.Equipment.Sharing = plan.Separate })
	cheap := run(func(*plan.Input) {})
	if own.Stations[0].Trunk != nil || cheap.Stations[0].Trunk == nil {
		t.Fatalf("trunks %v and %v", own.Stations[0].Trunk, cheap.Stations[0].Trunk)
	}
	if cheap.HoseTotal >= own.HoseTotal || float64(cheap.Air) < 0.99*float64(own.Air) {
		t.Errorf("%v m of hose and %v m³/s with a trunk, %v and %v without", cheap.HoseTotal, cheap.Air, own.HoseTotal, own.Air)
	}
	if shared := run(func(in *plan.Input) { in.Equipment.Sharing = plan.Shared }); shared.Stations[0].Trunk == nil {
		t.Error("no trunk where one is asked for")
	}
}

// Where the hose is too narrow for its length a second station helps.
func TestPropose_SeveralStations(t *testing.T) {
	t.Parallel()
	pond := bowl(t)
	run := func(more ...plane.Point) *plan.Plan {
		in := pond.input(4)
		in.Turnovers, in.Equipment.Bore = 0.5, 0.004
		in.Mast = pond.latLngs(plane.Point{X: -215})[0]
		in.MoreMasts = pond.latLngs(more...)
		return propose(t, in)
	}
	p := run(plane.Point{X: 215})
	checkHoseBook(t, pond, p)
	if len(p.Stations) != 2 {
		t.Fatalf("%d stations: %s, %q", len(p.Stations), p.Constraint, p.Shortfall)
	}
	var machines int
	var air float64
	seen := make([]int, len(p.Diffusers))
	for k, st := range p.Stations {
		machines += st.Machines
		air += float64(st.Air)
		var each float64
		for _, i := range st.Diffusers {
			d := p.Diffusers[i]
			seen[i]++
			each += float64(d.Air)
			if d.Station != k || d.Hose.Route[0] != st.Mast || d.Hose.Route[1] != st.Entry {
				t.Errorf("diffuser %d of station %d: %+v", i+1, k+1, d.Hose.Route[:2])
			}
			if other := p.Stations[1-k]; d.At.Distance(other.Mast) < d.At.Distance(st.Mast)-10 {
				t.Errorf("diffuser %d hangs on the farther station", i+1)
			}
		}
		same(t, "air of a station (m³/s)", each, float64(st.Air))
	}
	same(t, "air of all stations (m³/s)", air, float64(p.Air))
	if machines != p.Machines || slices.Max(seen) != 1 || slices.Min(seen) != 1 {
		t.Errorf("%d of %d machines, diffusers fed %v times", machines, p.Machines, seen)
	}
	gauges := p.Commissioning.Stations
	if len(gauges) != 2 {
		t.Fatalf("gauges of %d stations", len(gauges))
	}
	same(t, "the higher manifold (Pa)", float64(max(gauges[0].Pressure.Value, gauges[1].Pressure.Value)), float64(p.Commissioning.SoundingDay.Pressure.Value))
	if hasCaution(p, "HOSES_CROSS") || hasCaution(p, "STATION_PROPOSED") {
		t.Errorf("cautions %v", p.Cautions)
	}
	proposed := run()
	if len(proposed.Stations) < 2 || !proposed.Stations[1].Proposed || !hasCaution(proposed, "STATION_PROPOSED") {
		t.Fatalf("%d stations: %s, %q", len(proposed.Stations), proposed.Constraint, proposed.Shortfall)
	}
	if off := offShore(pond.shore.Rings(), proposed.Stations[1].Mast); math.Abs(off-15) > 0.5 {
		t.Errorf("a station is proposed %.1f m from the bank, want 15", off)
	}
}

// The table's row for the plan's number is the plan, and what meets the target is
// what the plan chose.
func TestPropose_Numbers(t *testing.T) {
	t.Parallel()
	pond := little(t)
	p := propose(t, pond.input(1))
	last := plan.Number{}
	for _, n := range p.Numbers {
		if n.Diffusers != last.Diffusers+1 || n.Served < last.Served-0.002 || n.Hose <= last.Hose {
			t.Errorf("row %+v after %+v", n, last)
		}
		if n.Diffusers < len(p.Diffusers) && n.Meets {
			t.Errorf("%d diffusers meet every target, the plan has %d", n.Diffusers, len(p.Diffusers))
		}
		if n.Diffusers == len(p.Diffusers) {
			near(t, "served", n.Served, p.Served, 1e-9)
			near(t, "turnovers of the high volume", n.Turnovers*float64(p.VolumeUsed), float64(p.Lift.Value)*p.RunHours*3600, 1e-6*float64(p.VolumeUsed))
			same(t, "gap", n.Gap+1, p.SiteGap+1)
			if n.Meets != (p.Constraint == plan.None) {
				t.Errorf("row %+v, constraint %s", n, p.Constraint)
			}
		}
		last = n
	}
	if last.Diffusers < len(p.Diffusers)+2 {
		t.Errorf("the table ends at %d, the plan has %d", last.Diffusers, len(p.Diffusers))
	}
}
