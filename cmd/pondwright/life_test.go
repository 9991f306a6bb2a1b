package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/golang/geo/s2"
	"github.com/ledongthuc/pdf"

	"pondwright/client"
	"pondwright/geo/plan"
	"pondwright/proto/block"
	"pondwright/proto/digest"
	pb "pondwright/proto/pondwright/v1"
	planservice "pondwright/server/plan"
)

// lastDawn is a moment of the last dawn over the test pond.
func lastDawn(t *testing.T) time.Time {
	t.Helper()
	now := time.Now().UTC().Truncate(time.Minute)
	for back := range 26 * 6 {
		at := now.Add(-time.Duration(back) * 10 * time.Minute)
		dawn, err := plan.AtDawn(at, s2.LatLngFromDegrees(38.3, -93.4))
		if err != nil {
			t.Fatal(err)
		}
		if dawn {
			return at
		}
	}
	t.Fatal("no dawn in a day")
	return now
}

// waterProfile is a profile file of the test pond, 4.5 m deep.
func waterProfile(at time.Time, timeOfDay string, topC, bottomC, topMgL, bottomMgL float64) string {
	var b strings.Builder
	b.WriteString("depth_m,temp_c,oxygen_mg_l,time,time_of_day,smell\n")
	for d := 0.0; d <= 4.5; d += 0.25 {
		f := min(1, max(0, (d-1.5)/0.5))
		fmt.Fprintf(&b, "%.2f,%.2f,%.2f,%s,%s,none\n", d, topC+f*(bottomC-topC), topMgL+f*(bottomMgL-topMgL), at.Format(time.RFC3339), timeOfDay)
	}
	return b.String()
}

// The life of a plan, from the boat to a year later, by commands alone.
func TestLifeOfAPlan(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	boat, pond := filepath.Join(dir, "boat"), "Mill Bottom"
	addr, _ := startServer(t, filepath.Join(dir, "office"))
	office := func(args ...string) []string { return append(args, "--server", addr, "--pond", pond) }
	boatside := func(args ...string) []string { return append(args, "--store", boat, "--pond", pond) }

	mustRun(t, boatside("add", write(t, "pond.geojson", square), write(t, "d.csv", grid("lat", "lon", "depth_m", 1.5)))...)
	first := recordMastAndPlan(t, boat, pond)
	mustRun(t, "sync", "--store", boat, "--server", addr)

	out, _ := mustRun(t, office("plans", "keep", "--by", "the designer", "--turnovers", "0.3", "--compressors", "2")...)
	second := regexp.MustCompile(`P-[0-9A-Z]{4}-[0-9A-Z]{4}`).FindString(out)
	if first == "" || second == "" || first == second {
		t.Fatalf("plans %q and %q", first, second)
	}
	if out, _ := mustRun(t, office("plans", "compare", first, second)...); !strings.Contains(out, "compressors: 2, was 1") || !strings.Contains(out, "survey") {
		t.Errorf("compared:\n%s", out)
	}
	status, _, errs := run(t, office("plans", "approve", "--by", "the designer", second)...)
	if status != exitFailed || !strings.Contains(errs, "why it may be built") {
		t.Errorf("approved without a reason: status %d, %s", status, errs)
	}
	mustRun(t, office("plans", "approve", "--by", "the designer", "--reason", "a trial on our own pond", second)...)
	if out, _ := mustRun(t, office("plans")...); !regexp.MustCompile(second+` +approved`).MatchString(out) || !regexp.MustCompile(first+` +draft`).MatchString(out) {
		t.Errorf("after the approval:\n%s", out)
	}
	if out, _ := mustRun(t, office("plans", "show")...); !strings.Contains(out, "Plan "+second+", approved") || !strings.Contains(out, "a trial on our own pond") {
		t.Errorf("shown:\n%s", out)
	}
	if status, _, errs := run(t, office("plans", "show", "P-0000-0000")...); status != exitFailed || !strings.Contains(errs, "no such plan") {
		t.Errorf("unknown plan: status %d, %s", status, errs)
	}

	checkStart(t, boat, addr, office, boatside)
	checkPrint(t, second, office)
	checkReview(t, boat, addr, office, boatside)
}

// recordMastAndPlan records a mast and a plan of one machine, and returns the plan's
// id.
func recordMastAndPlan(t *testing.T, boat, pond string) string {
	t.Helper()
	c, err := client.Open(t.Context(), boat)
	if err != nil {
		t.Fatal(err)
	}
	p := &pb.Plan{Compressors: 1, RunHoursPerDay: 24, BindingConstraint: pb.Plan_AIR_SUPPLY}
	d := planservice.Digest(p)
	p.PlanId = digest.Short("P", d)
	for _, rec := range []*pb.Record{
		{Kind: &pb.Record_MastSite{MastSite: &pb.MastSite{LatDeg: 38.3011, LonDeg: -93.3994, AltitudeM: new(250.0)}}},
		{RecordId: d[:16], Kind: &pb.Record_Plan{Plan: p}},
	} {
		if _, err := c.Record(t.Context(), block.PondID(pond), rec); err != nil {
			t.Fatal(err)
		}
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	return p.GetPlanId()
}

// checkStart asks for a start without a profile, with an afternoon's and with one
// that will do.
func checkStart(t *testing.T, boat, addr string, office, boatside func(...string) []string) {
	t.Helper()
	dawn := lastDawn(t)
	start := office("care", "start", "--timer", "--direct", "no", "--hours", "6")
	status, out, errs := run(t, start...)
	if status != exitFailed || !strings.Contains(errs, "measure first") || strings.Contains(out, "abort under") {
		t.Errorf("without a profile: status %d\n%s\n%s", status, out, errs)
	}
	afternoon := write(t, "afternoon.csv", waterProfile(dawn.Add(-16*time.Hour), "day", 22, 12, 9, 1.5))
	mustRun(t, boatside("add", afternoon)...)
	mustRun(t, "sync", "--store", boat, "--server", addr)
	if status, _, errs = run(t, start...); status != exitFailed || !strings.Contains(errs, "not read at dawn") {
		t.Errorf("in the afternoon: status %d, %s", status, errs)
	}
	mustRun(t, boatside("add", write(t, "dawn.csv", waterProfile(dawn, "dawn", 22, 12, 8.5, 1.5)))...)
	mustRun(t, "sync", "--store", boat, "--server", addr)
	out, _ = mustRun(t, start...)
	if !regexp.MustCompile(`A start in \d+ days`).MatchString(out) || !strings.Contains(out, "abort under") || !strings.Contains(out, "fish") {
		t.Errorf("start:\n%s", out)
	}
	out, _ = mustRun(t, append(start, "--json")...)
	r := decode[struct {
		Way  string
		Days []struct {
			Day                  string
			RunS, ExpectedMgPerL float64
		}
	}](t, out)
	if r.Way != "START_WAY_BY_DAYS" || len(r.Days) == 0 || !(r.Days[0].RunS > 0) || r.Days[0].ExpectedMgPerL < 5 {
		t.Errorf("start as data: %+v", r)
	}
	if out, _ := mustRun(t, office("care", "oxygen")...); !strings.Contains(out, "If it turned over tonight") {
		t.Errorf("oxygen:\n%s", out)
	}
	if status, _, errs := run(t, office("care", "start", "--direct", "perhaps")...); status != exitUsage || !strings.Contains(errs, "neither yes nor no") {
		t.Errorf("status %d, %s", status, errs)
	}
	if out, _ := mustRun(t, office("care", "winter")...); !strings.Contains(out, "Off and drained") {
		t.Errorf("winter:\n%s", out)
	}
	if status, _, errs := run(t, office("care", "dose", "--level", "1", "--basis", "active", "--strength", "0.25", "--agent", "copper")...); status != exitFailed || !strings.Contains(errs, "alkalinity") {
		t.Errorf("copper: status %d, %s", status, errs)
	}
	if out, _ := mustRun(t, office("care", "dose", "--level", "1", "--basis", "active", "--strength", "0.5")...); !strings.Contains(out, "low end") {
		t.Errorf("dose:\n%s", out)
	}
	if out, _ := mustRun(t, office("care", "stock")...); !strings.Contains(out, "Kansas") {
		t.Errorf("tables:\n%s", out)
	}
}

// checkPrint prints the approved plan with its first start, and an unknown one.
func checkPrint(t *testing.T, approved string, office func(...string) []string) {
	t.Helper()
	out := filepath.Join(t.TempDir(), "sheets")
	mustRun(t, office("plans", "print", "--out", out, "--paper", "a4", "--timer", "--direct", "no", "--hours", "6")...)
	for _, name := range []string{"sheets.pdf", "owner.pdf", "waypoints.gpx", "map.svg", "map.png"} {
		if info, err := os.Stat(filepath.Join(out, name)); err != nil || info.Size() == 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
	f, r, err := pdf.Open(filepath.Join(out, "sheets.pdf"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	text, err := r.GetPlainText()
	if err != nil {
		t.Fatal(err)
	}
	words, err := io.ReadAll(text)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{approved, "Approved by the designer", "First start"} {
		if !strings.Contains(string(words), want) {
			t.Errorf("%q is not on the sheets", want)
		}
	}
	if status, _, errs := run(t, office("plans", "print", "--out", out, "P-0000-0000")...); status != exitFailed || !strings.Contains(errs, "no such plan") {
		t.Errorf("unknown plan: status %d, %s", status, errs)
	}
	if status, _, _ := run(t, office("plans", "print", "--out", out, "--paper", "napkin")...); status != exitUsage {
		t.Errorf("napkin: status %d", status)
	}
}

// checkReview writes down a summer and reads it back.
func checkReview(t *testing.T, boat, addr string, office, boatside func(...string) []string) {
	t.Helper()
	at := func(day int) string { return time.Now().AddDate(0, 0, day-60).UTC().Format(time.RFC3339) }
	mustRun(t, boatside("note", "work", "--time", at(0), "commissioned")...)
	mustRun(t, boatside("note", "set", "--time", at(0), "--at", "38.3,-93.4", "--depth", "14.5ft", "D1")...)
	for i := range 6 {
		mustRun(t, boatside("note", "gauges", "--time", at(1+10*i), "--pressure", fmt.Sprintf("%.1fpsi", 6+0.4*float64(i)), "--amps", "8", "--boil", fmt.Sprintf("D1=2,D2=%d", 2-2*(i/5)))...)
	}
	mustRun(t, "sync", "--store", boat, "--server", addr)
	out, _ := mustRun(t, office("care", "review")...)
	for _, want := range []string{"No boil at D2", "Pressure is", "As built", "D1: ", "Treat the next switching-on as a first start"} {
		if !strings.Contains(out, want) && !(want == "Treat the next switching-on as a first start" && !plan.InSeason(time.Now(), s2.LatLngFromDegrees(38.3, -93.4))) {
			t.Errorf("%q is not in the review:\n%s", want, out)
		}
	}
	for _, bad := range [][]string{
		boatside("note", "gauges"), boatside("note", "gauges", "--pressure", "6furlongs"), boatside("note", "gauges", "--boil", "D1=7"),
		boatside("note", "gauges", "--amps", "NaN"), boatside("note", "work", "dancing"), boatside("note", "set", "--at", "1", "D1"),
	} {
		if status, _, errs := run(t, bad...); status != exitUsage {
			t.Errorf("%v: status %d, %s", bad, status, errs)
		}
	}
}

func TestAddProfile_Refusals(t *testing.T) {
	t.Parallel()
	store := filepath.Join(t.TempDir(), "boat")
	for name, c := range map[string]struct{ data, want string }{
		"no time":   {"depth_m,temp_c\n0,20\n1,19\n", "column time"},
		"one depth": {"depth_m,temp_c,time\n0,20,2026-06-09T11:00:00Z\n9,99,\n", "at least two depths"},
	} {
		status, _, errs := run(t, "add", "--store", store, "--pond", "p", write(t, "p.csv", c.data))
		if status != exitFailed || !strings.Contains(errs, c.want) || !strings.Contains(errs, "p.csv") {
			t.Errorf("%s: status %d, %s", name, status, errs)
		}
	}
	again := write(t, "p.csv", "depth_m,temp_c,time\n0,20,2026-06-09T11:00:00Z\n1,19,\n")
	for range 2 {
		mustRun(t, "add", "--store", store, "--pond", "p", again)
	}
	if out, _ := mustRun(t, "status", "--store", store); !strings.Contains(out, "2 records taken here") {
		t.Errorf("added twice:\n%s", out)
	}
}
