package plan_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/golang/geo/s2"
	"pgregory.net/rapid"

	"pondwright/calc/unit"
	"pondwright/calc/water"
	"pondwright/geo/plan"
)

// farmCurve is a pond of 5 acres and 15 ft whose area falls as (1 − d/15 ft)^0.875:
// 49,339 m³ in closed form.
func farmCurve(t testing.TB) water.Hypsograph {
	t.Helper()
	deepest, area := unit.Feet(15), unit.Acres(5)
	var levels []water.Level
	for i := range 61 {
		share := float64(i) / 60
		levels = append(levels, water.Level{Depth: unit.Meters(share) * deepest, Area: unit.SquareMeters(math.Pow(1-share, 0.875)) * area})
	}
	h, err := water.NewHypsograph(levels)
	if err != nil {
		t.Fatal(err)
	}
	if v := float64(h.Volume()); math.Abs(v-49339) > 50 {
		t.Fatalf("volume %v", v)
	}
	return h
}

// layered is a profile of two layers with a step of half a meter from 1.8 m on.
func layered(t testing.TB, topC, bottomC, topMgL, bottomMgL float64, to unit.Meters) water.Profile {
	t.Helper()
	var rs []water.Reading
	for d := 0.0; d <= float64(to)+1e-9; d += 0.1 {
		f := min(1, max(0, (d-1.8)/0.5))
		rs = append(rs, water.Reading{Depth: unit.Meters(d), Temperature: unit.Celsius(topC + f*(bottomC-topC)), Oxygen: unit.MilligramsPerLiter(topMgL + f*(bottomMgL-topMgL))})
	}
	p, err := water.NewProfile(rs)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// onPond is about 38° N, 93° W; dawn there on 9 June is about 11 h UTC.
var (
	onPond = s2.LatLngFromDegrees(38.3, -93.4)
	dawn   = time.Date(2026, 6, 9, 11, 0, 0, 0, time.UTC)
)

func readyStart(t testing.TB) plan.StartInput {
	t.Helper()
	var jets []plan.Jet
	for i := range 4 {
		jets = append(jets, plan.Jet{Label: fmt.Sprint("D", i+1), Submergence: 4.2, Air: unit.SCFM(1)})
	}
	return plan.StartInput{
		Now: dawn.Add(26 * time.Hour), First: dawn.Add(30 * time.Hour), Where: onPond,
		Curve: farmCurve(t), Low: 0.95, High: 1.05, Deepest: unit.Feet(15),
		Profile: layered(t, 26, 14, 8, 1, 4.3),
		Seen:    plan.Sighting{Taken: dawn, Dawn: true, SmellAsked: true},
		Jets:    jets, Disc: 0.115, Air: unit.StandardPressure, Stops: true, RunHours: 6,
	}
}

func decide(t testing.TB, in plan.StartInput) plan.Start {
	t.Helper()
	s, err := plan.DecideStart(in)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// A pond that may start does so by days: each leaves the upper water at 5 mg/L or
// more, none is longer than the power gives, and every day somebody reads at dawn.
func TestDecideStart_ByDays(t *testing.T) {
	t.Parallel()
	in := readyStart(t)
	s := decide(t, in)
	if s.Way != plan.StartByDays || len(s.Objections) != 0 || len(s.Days) < 3 || s.Gate != water.Ramp {
		t.Fatalf("way %s, gate %s, %d days, objections %v", s.Way, s.Gate, len(s.Days), s.Objections)
	}
	if !(s.Bad.Oxygen < s.Expected.Oxygen) {
		t.Errorf("bad ends %v, expected %v", s.Bad.Oxygen, s.Expected.Oxygen)
	}
	left := unit.CubicMeters(math.Inf(1))
	for i, d := range s.Days {
		if d.Expected < 5-1e-9 || d.Stop != 4 || d.Abort != 3 || !(d.Run > 0) || d.Run > 6*3600 || d.Left >= left {
			t.Errorf("day %d: %+v", i, d)
		}
		if want := time.Date(2026, 6, 10+i, 0, 0, 0, 0, time.UTC); !d.Date.Equal(want) {
			t.Errorf("day %d on %v, want %v", i, d.Date, want)
		}
		left = d.Left
	}
	if len(s.Visits) != len(s.Days)+1 {
		t.Errorf("%d visits for %d days", len(s.Visits), len(s.Days))
	}
}

// Every reason not to start is found by itself, names what would lift it, and no day
// is handed out.
func TestDecideStart_Refusals(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		vary func(*plan.StartInput)
		code string
		way  plan.StartWay
	}{
		{"no profile", func(in *plan.StartInput) { in.Profile = water.Profile{} }, plan.CodeNoProfile, plan.StartNotToday},
		{"no oxygen", func(in *plan.StartInput) { in.Profile = noOxygen(t) }, plan.CodeNoOxygen, plan.StartNotToday},
		{"four days old", func(in *plan.StartInput) { in.Now = dawn.Add(4 * 24 * time.Hour) }, plan.CodeProfileOld, plan.StartNotToday},
		{"four days old when it is needed", func(in *plan.StartInput) { in.First = dawn.Add(4 * 24 * time.Hour) }, plan.CodeProfileOld, plan.StartNotToday},
		{"from tomorrow", func(in *plan.StartInput) { in.Now = dawn.Add(-time.Hour) }, plan.CodeProfileOld, plan.StartNotToday},
		{"shorter than the pond", func(in *plan.StartInput) { in.Profile = layered(t, 26, 14, 8, 1, 3.9) }, plan.CodeProfileShort, plan.StartNotToday},
		{"not at the deepest point", func(in *plan.StartInput) { in.Profile, in.Seen.Bottom = layered(t, 26, 14, 8, 1, 3.4), 3.5 }, plan.CodeNotDeepest, plan.StartNotToday},
		{"in the afternoon", func(in *plan.StartInput) { in.Seen.Taken, in.Seen.Dawn = dawn.Add(9*time.Hour), false }, plan.CodeNotDawn, plan.StartNotToday},
		{"in the afternoon, called dawn", func(in *plan.StartInput) { in.Seen.Taken = dawn.Add(9 * time.Hour) }, plan.CodeNotDawn, plan.StartNotToday},
		{"called day at dawn", func(in *plan.StartInput) { in.Seen.Dawn = false }, plan.CodeNotDawn, plan.StartNotToday},
		{"rotten eggs", func(in *plan.StartInput) { in.Seen.RottenEggs = true }, plan.CodeSmell, plan.StartNotToday},
		{"nobody smelled", func(in *plan.StartInput) { in.Seen.SmellAsked = false }, plan.CodeSmellUnknown, plan.StartNotToday},
		{"too warm", func(in *plan.StartInput) { in.Profile = layered(t, 28.5, 14, 8, 1, 4.3) }, plan.CodeTooWarm, plan.StartNotToday},
		{"warmer than the owner allows", func(in *plan.StartInput) { in.Warmest = unit.Celsius(25) }, plan.CodeTooWarm, plan.StartNotToday},
		{"oxygen too low", func(in *plan.StartInput) { in.Profile = layered(t, 26, 14, 4.5, 0, 4.3) }, plan.CodeLowOxygen, plan.StartNotToday},
		{"nothing to spend", func(in *plan.StartInput) { in.Profile = layered(t, 26, 14, 5.1, 2, 4.3) }, plan.CodeNothingToSpend, plan.StartNotToday},
		{"mixed and low in oxygen", func(in *plan.StartInput) { in.Profile = layered(t, 12, 11.9, 4, 3.9, 4.3) }, plan.CodeNothingToSpend, plan.StartNotToday},
		{"conflict", func(in *plan.StartInput) { in.Undecided = []string{"the mast"} }, plan.CodeUndecided, plan.StartNotToday},
		{"cold-water fish, limit not given", func(in *plan.StartInput) { in.Fish.ColdWater = true }, plan.CodeNoFishLimit, plan.StartNotToday},
		{"too warm for trout", func(in *plan.StartInput) { in.Fish = plan.Fish{ColdWater: true, Limit: unit.Celsius(20)} }, plan.CodeTooWarmForFish, plan.StartNotToday},
		{"diffusers above the thermocline", func(in *plan.StartInput) {
			for i := range in.Jets {
				in.Jets[i].Submergence = 1.5
			}
		}, plan.CodeShallowJets, plan.StartNotToday},
		{"nobody stops it", func(in *plan.StartInput) { in.Stops = false }, plan.CodeNobodyStops, plan.StartBySteps},
		{"starts again by itself", func(in *plan.StartInput) { in.Direct = true }, plan.CodeNoLockout, plan.StartBySteps},
	} {
		in := readyStart(t)
		c.vary(&in)
		s := decide(t, in)
		if s.Way != c.way || len(s.Days) != 0 || len(s.Objections) != 1 || s.Objections[0].Code != c.code {
			t.Errorf("%s: %s, %d days, objections %v", c.name, s.Way, len(s.Days), s.Objections)
		}
		for _, o := range s.Objections {
			if o.Text == "" || o.Remedy == "" {
				t.Errorf("%s: objection %+v", c.name, o)
			}
		}
		if c.way == plan.StartNotToday && len(s.Instead) == 0 && c.code != plan.CodeNothingToSpend {
			t.Errorf("%s: nothing to do instead", c.name)
		}
	}
}

func noOxygen(t testing.TB) water.Profile {
	t.Helper()
	p, err := water.NewProfile([]water.Reading{{Depth: 0, Temperature: unit.Celsius(26), NoOxygen: true}, {Depth: 4.4, Temperature: unit.Celsius(14), NoOxygen: true}})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// A person in place of a timer, or a lock-out behind the panels, lifts the objection.
func TestDecideStart_SomebodyStopsIt(t *testing.T) {
	t.Parallel()
	in := readyStart(t)
	in.Stops, in.Person, in.Direct, in.Lockout = false, "the owner", true, true
	s := decide(t, in)
	if s.Way != plan.StartByDays {
		t.Fatalf("%s: %v", s.Way, s.Objections)
	}
	for _, v := range s.Visits {
		if v.Who != "the owner" {
			t.Errorf("visit %+v", v)
		}
	}
}

// Mixed water with oxygen needs no ramp.
func TestDecideStart_AtOnce(t *testing.T) {
	t.Parallel()
	in := readyStart(t)
	in.Profile = layered(t, 15, 14.9, 8, 7.5, 4.3)
	if s := decide(t, in); s.Way != plan.StartAtOnce || len(s.Days) != 1 || s.Days[0].Run != 6*3600 {
		t.Errorf("%s: %v %v", s.Way, s.Days, s.Objections)
	}
}

// Steps go down, three days apart, and never leave the mixed water below 5 mg/L.
func TestDecideStart_Steps(t *testing.T) {
	t.Parallel()
	in := readyStart(t)
	in.Stops = false
	s := decide(t, in)
	if len(s.Steps) < 2 {
		t.Fatalf("steps %v", s.Steps)
	}
	for i, st := range s.Steps {
		if st.Expected < 5 || st.Depth > in.Deepest+0.1 {
			t.Errorf("step %d: %+v", i, st)
		}
		if i > 0 && (st.Depth <= s.Steps[i-1].Depth || st.From.Sub(s.Steps[i-1].From) != 72*time.Hour) {
			t.Errorf("step %d: %+v after %+v", i, st, s.Steps[i-1])
		}
	}
}

// Whatever the pond, days and steps keep 5 mg/L, more doubt never lengthens a day,
// and an answer with objections against days hands out none.
func TestDecideStart_Properties(t *testing.T) {
	t.Parallel()
	curve := readyStart(t)
	rapid.Check(t, func(r *rapid.T) {
		in := curve
		in.Profile = layered(t, rapid.Float64Range(12, 29).Draw(r, "top"), rapid.Float64Range(8, 12).Draw(r, "bottom"),
			rapid.Float64Range(3, 11).Draw(r, "oxygen"), rapid.Float64Range(0, 3).Draw(r, "deep"), 4.4)
		in.Stops = rapid.Bool().Draw(r, "stops")
		in.Low, in.High = 1, 1
		sure := decide(t, in)
		in.Low, in.High = rapid.Float64Range(0.8, 1).Draw(r, "low"), rapid.Float64Range(1, 1.2).Draw(r, "high")
		s := decide(t, in)
		if len(s.Days) > 0 && len(s.Objections) > 0 {
			r.Fatalf("days in spite of %v", s.Objections)
		}
		for _, d := range s.Days {
			if d.Expected < 5-1e-9 {
				r.Fatalf("day %+v", d)
			}
		}
		for _, st := range s.Steps {
			if st.Expected < 5-1e-9 {
				r.Fatalf("step %+v", st)
			}
		}
		if s.Bad.Oxygen > sure.Bad.Oxygen+1e-9 {
			r.Fatalf("with doubt %v, without %v", s.Bad.Oxygen, sure.Bad.Oxygen)
		}
		if (s.Way == plan.StartByDays || s.Way == plan.StartAtOnce) != (len(s.Days) > 0) {
			r.Fatalf("%s with %d days", s.Way, len(s.Days))
		}
		if s.Way == plan.StartByDays && sure.Way == plan.StartByDays && s.Days[0].Run > sure.Days[0].Run+1e-6 {
			r.Fatalf("with doubt %v, without %v", s.Days[0].Run, sure.Days[0].Run)
		}
	})
}

func TestDecideStart_FiguresThatCannotBe(t *testing.T) {
	t.Parallel()
	for name, vary := range map[string]func(*plan.StartInput){
		"hours":  func(in *plan.StartInput) { in.RunHours = 25 },
		"low":    func(in *plan.StartInput) { in.Low = math.NaN() },
		"demand": func(in *plan.StartInput) { in.Seen.Demand = new(unit.MilligramsPerLiter(21)) },
	} {
		in := readyStart(t)
		vary(&in)
		if _, err := plan.DecideStart(in); err == nil {
			t.Errorf("%s passes", name)
		}
	}
}

// The sun over 38.3° N, 93.4° W on 9 June 2026 rises at 10:50 UTC (4:50 Central
// Standard Time; U.S. Naval Observatory's method, to a few minutes, from memory).
func TestAtDawn(t *testing.T) {
	t.Parallel()
	for hour, want := range map[int]bool{8: false, 10: true, 11: true, 14: false, 18: false, 24: false} {
		got, err := plan.AtDawn(time.Date(2026, 6, 9, hour, 0, 0, 0, time.UTC), onPond)
		if err != nil || got != want {
			t.Errorf("%d h UTC: %v, %v", hour, got, err)
		}
	}
}

func TestRestOf(t *testing.T) {
	t.Parallel()
	at := func(month time.Month, day int) time.Time { return time.Date(2026, month, day, 12, 0, 0, 0, time.UTC) }
	south := s2.LatLngFromDegrees(-38, 145)
	for _, c := range []struct {
		name  string
		seen  []time.Time
		now   time.Time
		where s2.LatLng
		gap   time.Duration
		fresh bool
	}{
		{"never", nil, at(6, 9), onPond, 0, true},
		{"yesterday", []time.Time{at(6, 8), at(5, 1)}, at(6, 9), onPond, 24 * time.Hour, false},
		{"five days", []time.Time{at(6, 4)}, at(6, 9), onPond, 120 * time.Hour, false},
		{"six days", []time.Time{at(6, 3)}, at(6, 9), onPond, 144 * time.Hour, true},
		{"a winter", []time.Time{at(1, 5)}, at(3, 20), onPond, 0, false},
		{"into April", []time.Time{at(1, 5)}, at(4, 9), onPond, 204 * time.Hour, true},
		{"southern winter", []time.Time{at(6, 3)}, at(6, 20), south, 0, false},
		{"only tomorrow", []time.Time{at(6, 10)}, at(6, 9), onPond, 0, true},
	} {
		r := plan.RestOf(c.seen, c.now, c.where)
		if r.Gap != c.gap || r.NewStart != c.fresh {
			t.Errorf("%s: %+v", c.name, r)
		}
	}
}

func TestDecideWinter(t *testing.T) {
	t.Parallel()
	ready := plan.WinterInput{Ice: plan.Yes, Wanted: true, Permit: plan.Yes, Signs: plan.Yes, Inspect: plan.Yes, Traffic: plan.No}
	for _, c := range []struct {
		name string
		vary func(*plan.WinterInput)
		code string
	}{
		{"all answered", func(*plan.WinterInput) {}, ""},
		{"no ice", func(in *plan.WinterInput) { *in = plan.WinterInput{Ice: plan.No, Wanted: true} }, ""},
		{"ice not told", func(in *plan.WinterInput) { in.Ice = plan.NotAnswered }, "ICE_NOT_TOLD"},
		{"panels alone", func(in *plan.WinterInput) { in.Direct = true }, "DIRECT_DRIVE"},
		{"no permit", func(in *plan.WinterInput) { in.Permit = plan.No }, "PERMIT_MISSING"},
		{"no signs", func(in *plan.WinterInput) { in.Signs = plan.NotAnswered }, "SIGNS_MISSING"},
		{"nobody inspects", func(in *plan.WinterInput) { in.Inspect = plan.No }, "INSPECTION_MISSING"},
		{"traffic not told", func(in *plan.WinterInput) { in.Traffic = plan.NotAnswered }, "TRAFFIC_NOT_TOLD"},
		{"traffic", func(in *plan.WinterInput) { in.Traffic = plan.Yes }, "TRAFFIC_ON_ICE"},
		{"traffic on record", func(in *plan.WinterInput) { in.TrafficUse = true }, "TRAFFIC_ON_ICE"},
	} {
		in := ready
		c.vary(&in)
		w := plan.DecideWinter(in)
		if c.code == "" && (!w.Run || len(w.Objections) > 0) || c.code != "" && (w.Run || len(w.Objections) != 1 || w.Objections[0].Code != c.code) {
			t.Errorf("%s: %v %v", c.name, w.Run, w.Objections)
		}
		if len(w.Do) == 0 || len(w.Cautions) == 0 {
			t.Errorf("%s says nothing to do", c.name)
		}
	}
	if w := plan.DecideWinter(plan.WinterInput{}); w.Run || len(w.Objections) > 0 {
		t.Errorf("nobody asked: %+v", w)
	}
}

func TestCompareBuilt(t *testing.T) {
	t.Parallel()
	at := func(east, north float64) s2.LatLng { // on the WGS 84 ellipsoid at 38.3° N: 111,002 m and 87,481 m a degree (Snyder 1987)
		return s2.LatLngFromDegrees(38.3+north/111002, -93.4+east/87481)
	}
	nan := unit.Meters(math.NaN())
	planned := []plan.Setting{{"D10", at(50, 0), 3}, {"D1", at(0, 0), 4}, {"D2", at(20, 0), 4}, {"D3", at(40, 0), 4}}
	built := []plan.Setting{{"D2", at(20, 8), 4.1}, {"D1", at(1, 1), nan}, {"D10", at(50, 0), 3.6}, {"D7", at(0, 0), 2}}
	got := plan.CompareBuilt(planned, built)
	if labels := fmt.Sprint(slices.Collect(func(yield func(string) bool) {
		for _, d := range got {
			if !yield(d.Label) {
				return
			}
		}
	})); labels != "[D1 D2 D3 D7 D10]" {
		t.Fatalf("labels %s", labels)
	}
	if d := got[0]; d.Verdict != "" || math.Abs(float64(d.Distance)-math.Sqrt2) > 1e-3 || math.Abs(d.Bearing-45) > 0.1 || !math.IsNaN(float64(d.Deeper)) {
		t.Errorf("D1 %+v", d)
	}
	if d := got[1]; math.Abs(float64(d.Distance)-8) > 1e-2 || math.Abs(float64(d.Deeper)-0.1) > 1e-9 || d.Verdict == "" {
		t.Errorf("D2 %+v", d)
	}
	if !got[2].Missing || !got[3].Extra {
		t.Errorf("D3 %+v, D7 %+v", got[2], got[3])
	}
	if d := got[4]; math.Abs(float64(d.Head)-0.6*9806.65) > 1e-6 || d.Verdict == "" {
		t.Errorf("D10 %+v", d)
	}
}

func TestCompareRollover(t *testing.T) {
	t.Parallel()
	in := readyStart(t)
	before := layered(t, 26, 14, 8, 0, 4.3)
	for _, c := range []struct {
		name  string
		after water.Profile
		ran   time.Duration
		state plan.Rolled
		late  bool
	}{
		{"rolled over", layered(t, 22, 21.5, 7, 6, 4.3), 100 * time.Hour, plan.RolledOver, false},
		{"of one temperature and dead below", layered(t, 22, 21.5, 5, 1, 4.3), 100 * time.Hour, plan.RolledWarm, false},
		{"half way", layered(t, 22, 18, 7, 2, 4.3), 20 * time.Hour, plan.RolledPart, false},
		{"unmoved, soon after", layered(t, 26, 14, 8, 0, 4.3), 10 * time.Hour, plan.StillLayers, false},
		{"unmoved, long after", layered(t, 26, 14, 8, 0, 4.3), 600 * time.Hour, plan.StillLayers, true},
	} {
		r, err := plan.CompareRollover(plan.RolloverInput{Before: before, After: c.after, Curve: in.Curve, Jets: in.Jets, Air: in.Air, Ran: c.ran})
		if err != nil || r.State != c.state || r.Late != c.late || len(r.Change) == 0 {
			t.Errorf("%s: %+v, %v", c.name, r, err)
		}
		if h := float64(r.Predicted) / 3600; !(h > 10 && h < 200) {
			t.Errorf("%s: predicted %v h", c.name, h)
		}
	}
	if _, err := plan.CompareRollover(plan.RolloverInput{}); err == nil {
		t.Error("nothing compared with nothing")
	}
}
