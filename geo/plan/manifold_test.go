package plan

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pondwright/calc/air"
	"pondwright/calc/plume"
	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/site"
)

// threeRuns is a manifold of hoses 250 ft of 0.500 in to 8 ft of water, 400 ft of
// 0.500 in to 12 ft and 600 ft of 0.622 in to 15 ft, at sea level.
func threeRuns() (*feeder, site.Layout) {
	e := DefaultEquipment() // its curve and diffuser are those of the example
	e.Fouling, e.OffBottom = 1, 0
	f := &feeder{
		in: Input{Equipment: e}, bore: unit.Inches(0.622),
		place:    plume.Site{Pressure: unit.StandardPressure, Temperature: unit.StandardTemperature},
		breathes: air.Site{Pressure: unit.StandardPressure, WaterDensity: waterDensity},
		stations: []*station{{hoses: make(map[plane.Point]laid)}},
	}
	var l site.Layout
	for i, r := range []struct{ longFt, boreIn, deepFt float64 }{{250, 0.5, 8}, {400, 0.5, 12}, {600, 0.622, 15}} {
		at := plane.Point{X: float64(i)}
		l.Sites = append(l.Sites, site.Site{At: at, Depth: unit.Feet(r.deepFt)})
		f.stations[0].hoses[at] = laid{hose: Hose{Order: unit.Feet(r.longFt), Bore: unit.Inches(r.boreIn)}}
	}
	return f, l
}

func closeTo(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.5g, want %.5g ± %g", what, got, want, tol)
	}
}

// A manifold worked by hand, solved with a general-purpose root finder from the
// isothermal equation, Churchill 1977 and a monotone cubic through the curve
// (recomputed): head 0.433 psi/ft, diffusers 0.25 psi and 0.12 psi per scfm.
func TestFeed_WorkedManifold(t *testing.T) {
	t.Parallel()
	f, l := threeRuns()
	out, err := f.feed(l, 1)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "manifold (psi)", out.manifold.PSIG(), 7.254, 0.015)
	for i, want := range []struct{ needed, drop float64 }{{4.340, 2.914}, {6.280, 0.974}, {7.254, 0}} {
		d := out.diffusers[i]
		closeTo(t, "air of a run (scfm)", d.Air.SCFM(), 1.4266, 0.003)
		closeTo(t, "pressure needed (psi)", d.Valve.Needed.PSIG(), want.needed, 0.015)
		closeTo(t, "valve's drop (psi)", d.Valve.Drop.PSIG(), want.drop, 0.015)
	}
	closeTo(t, "coefficient of valve 1", out.diffusers[0].Valve.Cv, 0.193, 0.004)
	closeTo(t, "coefficient of valve 2", out.diffusers[1].Valve.Cv, 0.319, 0.005)
	// Wide open: 5.978 psi, 3.341 and 1.063 scfm, and the deepest run starves.
	wide, err := out.groups[0].network.Solve()
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "manifold wide open (psi)", wide.Manifold.PSIG(), 5.978, 0.01)
	closeTo(t, "air of run 1 wide open (scfm)", wide.Runs[0].Air.SCFM(), 3.341, 0.01)
	closeTo(t, "air of run 2 wide open (scfm)", wide.Runs[1].Air.SCFM(), 1.063, 0.01)
	if got := strings.Join(out.starved(), ","); got != "3" {
		t.Errorf("run %q starves, want 3", got)
	}
}

// The narrowest hose that serves: the pressure stays, and no run gets less.
func TestNarrow_CostsNoAir(t *testing.T) {
	t.Parallel()
	f, l := threeRuns()
	for at, h := range f.stations[0].hoses {
		h.hose.Bore = f.bore
		f.stations[0].hoses[at] = h
	}
	f.in.Equipment.Hoses = []HoseKind{{Bore: unit.Inches(0.622)}, {Bore: unit.Inches(0.36)}, {Bore: unit.Inches(0.475)}}
	f.in.Survey = nil
	wide, err := f.feed(l, 1)
	if err != nil {
		t.Fatal(err)
	}
	thin := *wide
	thin.groups = []group{wide.groups[0]}
	kinds := []HoseKind{{Bore: unit.Inches(0.36)}, {Bore: unit.Inches(0.475)}, {Bore: unit.Inches(0.622)}}
	if err := f.narrow(&thin.groups[0], kinds); err != nil {
		t.Fatal(err)
	}
	closeTo(t, "manifold (psi)", thin.groups[0].balance.Manifold.PSIG(), wide.manifold.PSIG(), 1e-6)
	narrower := 0
	for n, run := range thin.groups[0].network.Runs {
		closeTo(t, "air of a run (scfm)", thin.groups[0].balance.Valves[n].Air.SCFM(), wide.diffusers[n].Air.SCFM(), 1e-9)
		if run.Hose.Bore < unit.Inches(0.622) {
			narrower++
		}
		// One step narrower would ask for more than the manifold has.
		for k, kind := range kinds {
			if k == 0 || kind.Bore != run.Hose.Bore {
				continue
			}
			try := thin.groups[0].network
			try.Runs = []air.Run{run}
			try.Runs[0].Hose.Bore = kinds[k-1].Bore
			b, err := try.Require([]unit.StdCubicMetersPerSecond{thin.groups[0].balance.Valves[n].Air})
			if err == nil && b.Manifold <= wide.manifold {
				t.Errorf("run %d has %.1f mm and would do with less", n+1, 1000*float64(run.Hose.Bore))
			}
		}
	}
	if narrower != 2 {
		t.Errorf("%d runs are narrower, want the two shallow ones", narrower)
	}
}

// A machine that cannot open the deepest diffuser is an error of the feeder, and
// the search takes it for no layout.
func TestFeed_CannotOpenTheDeepest(t *testing.T) {
	t.Parallel()
	f, l := threeRuns()
	weak, err := air.NewCurve([]air.CurvePoint{{Gauge: 0, Air: unit.SCFM(4)}, {Gauge: unit.PSIG(6), Air: unit.SCFM(1)}}, 0)
	if err != nil {
		t.Fatal(err)
	}
	f.in.Equipment.Compressor = weak
	if _, err := f.feed(l, 1); !nothingFlows(err) {
		t.Errorf("6 psi under 15 ft of water: %v", err)
	}
}

// Machines go where they are fewest for the diffusers.
func TestAllot(t *testing.T) {
	t.Parallel()
	groups := []group{{sites: make([]int, 6)}, {sites: make([]int, 2)}, {sites: make([]int, 1)}}
	allot(groups, 9)
	if got := [3]int{groups[0].machines, groups[1].machines, groups[2].machines}; got != [3]int{6, 2, 1} {
		t.Errorf("9 machines for 6, 2 and 1 diffusers: %v", got)
	}
}

// Each diffuser goes to the station from which it takes the least hose; with fewer
// machines than stations the first stays and what is missed least is closed.
func TestAssign(t *testing.T) {
	t.Parallel()
	f := new(feeder)
	var l site.Layout
	lengths := [3][3]float64{{10, 50, 90}, {60, 20, 60}, {90, 50, 12}} // by station, site
	for k := range lengths {
		st := &station{hoses: make(map[plane.Point]laid)}
		for i, m := range lengths[k] {
			st.hoses[plane.Point{X: float64(i)}] = laid{hose: Hose{Order: unit.Meters(m)}}
		}
		f.stations = append(f.stations, st)
	}
	for i := range 3 {
		l.Sites = append(l.Sites, site.Site{At: plane.Point{X: float64(i)}})
	}
	for _, c := range []struct {
		most int
		want [][]int // sites by station in order; a station without any is closed
	}{
		{3, [][]int{{0}, {1}, {2}}},
		{2, [][]int{{0, 1}, nil, {2}}},
		{1, [][]int{{0, 1, 2}, nil, nil}},
	} {
		groups, err := f.assign(l, c.most)
		if err != nil {
			t.Fatal(err)
		}
		got := make([][]int, 3)
		for _, g := range groups {
			got[g.station] = g.sites
		}
		for k := range got {
			if len(got[k]) != len(c.want[k]) {
				t.Errorf("at most %d stations: station %d feeds %v, want %v", c.most, k+1, got[k], c.want[k])
			}
		}
	}
	f.stations = f.stations[:1]
	f.stations[0].hoses[plane.Point{}] = laid{err: errors.New("an island in the way")}
	if _, err := f.assign(l, 1); !errors.As(err, new(*hoseError)) {
		t.Errorf("a site out of reach: %v", err)
	}
}
