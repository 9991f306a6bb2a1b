package main

import (
	"math"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// levelSquare is the test pond drawn at a level of 1 m over the benchmark.
const levelSquare = `{"type":"Feature","properties":{"water_level_m":1},"geometry":` + square + `}`

const factZones = `{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"kind":"dam","name":"north bank"},"geometry":{"type":"Polygon","coordinates":[[[-93.4002,38.30091],[-93.3986,38.30091],[-93.3986,38.3012],[-93.4002,38.3012],[-93.4002,38.30091]]]}},
{"type":"Feature","properties":{"kind":"obstacle"},"geometry":{"type":"Point","coordinates":[-93.3996,38.3004]}}]}`

const factEquipment = `{
 "power": {"source":"POWER_SOURCE_SUN_DIRECT","seasonMonths":[4,5,6,7,8,9,10],"panels":{"powerW":300,"count":6}},
 "hose": {"boresM":[0.0127],"kinds":[{"boreM":0.0127,"pricePerM":1.5}]}
}`

// planFacts are the figures by which two plans of one pond are compared.
type planFacts struct {
	Diffusers []struct {
		LatDeg, LonDeg, DepthM, AirflowM3PerS float64
		Hose                                  struct{ LengthM float64 }
	}
	TurnoversPerDay struct{ Value float64 }
	RunHoursPerDay  float64
	Cost            float64
}

// What is on record gives the plan that the same files and flags give, whatever the
// order in which it was written down.
func TestNoteFacts_PlanAsFromFiles(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	boat, pond := filepath.Join(dir, "boat"), "Mill Bottom"
	outline, soundings := write(t, "pond.geojson", levelSquare), write(t, "d.csv", grid("lat", "lon", "depth_m", 1.5))
	zones, prices := write(t, "zones.geojson", factZones), write(t, "prices.csv", "item,unit,price\ndiffuser,each,120\npanel,W,0.8\n")
	horizon := write(t, "horizon.csv", "azimuth_deg,elevation_deg\n90,10\n180,5\n270,12\n")
	levels := write(t, "levels.csv", "time,level_m\n2026-06-09T13:00:00Z,0.95\n2026-06-09T16:00:00Z,0.95\n")
	equipment := write(t, "equipment.json", factEquipment)
	note := func(kind string, args ...string) string {
		t.Helper()
		out, _ := mustRun(t, append([]string{"note", kind, "--store", boat, "--pond", pond}, args...)...)
		return out
	}

	day := dayOf(1781013600000) // 2026-06-09T14:00:00Z, when the grid begins
	if out := note("visit", "--day", day, "--levels", levels); !strings.Contains(out, "holds for 0 pass(es)") {
		t.Errorf("before the soundings: %s", out)
	}
	mustRun(t, "add", "--store", boat, "--pond", pond, outline, soundings)
	record := func() (out string) {
		out += note("visit", "--day", day, "--levels", levels)
		out += note("pond", "--use", "warm-water-fish,swimming", "--highest", "1.3m", "--low", "0.4m")
		out += note("zones", zones)
		out += note("mast", "--at", "38.3004,-93.3985", "--altitude", "250m", "--horizon", horizon)
		out += note("equipment", "--prices", prices, equipment)
		return out
	}
	if out := record(); !strings.Contains(out, "holds for 1 pass(es)") {
		t.Errorf("visit: %s", out)
	}
	waiting := func() string {
		out, _ := mustRun(t, "status", "--store", boat)
		return out
	}
	before := waiting()
	if out := record(); strings.Count(out, "on record as it is") != 6 {
		t.Errorf("said again:\n%s", out)
	}
	if after := waiting(); after != before {
		t.Errorf("the same facts said again add something:\n%s\n%s", before, after)
	}

	addr, _ := startServer(t, filepath.Join(dir, "office"))
	mustRun(t, "sync", "--store", boat, "--server", addr)
	out, errs := mustRun(t, "plans", "keep", "--by", "the designer", "--turnovers", "0.3", "--server", addr, "--pond", pond, "--json")
	kept := decode[struct{ Plan planFacts }](t, out).Plan

	if want := "taken from the record: equipment choice, mast site, pond, zone; said with the command, which outranks it: turnovers"; !strings.Contains(errs, want) {
		t.Errorf("%q is not in\n%s", want, errs)
	}

	out, _ = mustRun(t, "plan", "--shoreline", outline, "--soundings", soundings, "--water-level", "0.95m", "--zones", zones, "--prices", prices,
		"--mast", "38.3004,-93.3985", "--altitude", "250", "--horizon", "90:10,180:5,270:12", "--highest", "0.3m", "--lowest", "0.6m",
		"--power", "sun", "--season", "apr-oct", "--panels", "6", "--panel", "300W", "--hose", "12.7,1.5", "--turnovers", "0.3",
		"--out", filepath.Join(dir, "sheets"), "--json")
	fromFiles := decode[planFacts](t, out)

	if len(kept.Diffusers) == 0 || len(kept.Diffusers) != len(fromFiles.Diffusers) {
		t.Fatalf("%d diffusers from records, %d from files", len(kept.Diffusers), len(fromFiles.Diffusers))
	}
	same := func(what string, a, b, within float64) {
		t.Helper()
		if !(math.Abs(a-b) <= within) {
			t.Errorf("%s: %v from records, %v from files", what, a, b)
		}
	}
	// Stored soundings are rounded to 1e-7 of a degree and to millimeters.
	same("turnovers", kept.TurnoversPerDay.Value, fromFiles.TurnoversPerDay.Value, 0.002*fromFiles.TurnoversPerDay.Value)
	same("run hours", kept.RunHoursPerDay, fromFiles.RunHoursPerDay, 0.01)
	for i, d := range kept.Diffusers {
		f := fromFiles.Diffusers[i]
		same("latitude", d.LatDeg, f.LatDeg, 1e-6)
		same("longitude", d.LonDeg, f.LonDeg, 1e-6)
		same("depth", d.DepthM, f.DepthM, 0.01)
		same("air", d.AirflowM3PerS, f.AirflowM3PerS, 0.002*f.AirflowM3PerS)
		same("hose", d.Hose.LengthM, f.Hose.LengthM, 0.1)
	}
}

// A draft said after the soundings moves them; what cannot be is refused by name.
func TestNoteFacts_Refuses(t *testing.T) {
	t.Parallel()
	boat := filepath.Join(t.TempDir(), "boat")
	zone := `{"type":"Feature","properties":{"kind":"moat"},"geometry":{"type":"Point","coordinates":[-93.4,38.3]}}`
	for _, c := range []struct {
		name   string
		args   []string
		status int
		want   string
	}{
		{"level without a time", []string{"visit", "--day", "2026-06-09", "--levels", write(t, "l.csv", "time,level_m\n9 o'clock,1\n")}, exitFailed, `l\.csv: row 1, time: .*is not written as`},
		{"plate without a depth", []string{"visit", "--day", "2026-06-09", "--plates", write(t, "p.csv", "true_ft,shown_ft\n3,\n")}, exitFailed, `p\.csv: row 1: no shown`},
		{"day", []string{"visit", "--day", "June 9"}, exitUsage, `--day`},
		{"skyline overhead", []string{"mast", "--at", "38.3,-93.4", "--horizon", write(t, "h.csv", "azimuth_deg,elevation_deg\n90,95\n")}, exitFailed, `horizon\[0\]\.elevation_deg: `},
		{"mast nowhere", []string{"mast", "--altitude", "100m"}, exitUsage, `--at`},
		{"kind of zone", []string{"zones", write(t, "z.geojson", zone)}, exitFailed, `z\.geojson:1: .*kind`},
		{"unknown field", []string{"equipment", write(t, "e.json", `{"pwer":{}}`)}, exitFailed, `e\.json: .*pwer.*EquipmentChoice`},
		{"curve", []string{"equipment", write(t, "c.json", `{"compressor":{"count":1,"points":[{"pressurePaGauge":5,"flowM3PerS":0.1}]}}`)}, exitFailed, `compressor\.points: `},
		{"use", []string{"pond", "--use", "hockey"}, exitUsage, `none of cold-water-fish`},
		{"both answers", []string{"pond", "--dam", "--no-dam"}, exitUsage, `contradict`},
	} {
		status, _, errs := run(t, append([]string{"note", c.args[0], "--store", boat, "--pond", "Mill Bottom"}, c.args[1:]...)...)
		if status != c.status || !regexp.MustCompile(c.want).MatchString(errs) {
			t.Errorf("%s: status %d, %s", c.name, status, errs)
		}
	}
}

// A level that is wrong everywhere moves the volume by the area for each meter, so it
// joins the interval as 1.96 areas times it (from the definition of the volume).
func TestMeasure_GivenErrors(t *testing.T) {
	t.Parallel()
	files := []string{"measure", "--shoreline", write(t, "pond.geojson", square), "--soundings", write(t, "d.csv", grid("lat", "lon", "depth_m", 1.5))}
	out, _ := mustRun(t, append(files, "--json")...)
	bare := decode[jsonReport](t, out)
	out, _ = mustRun(t, append(files, "--json", "--level-error", "0.1m")...)
	with := decode[jsonReport](t, out)
	half := func(r jsonReport) float64 { return (r.VolumeM3.High - r.VolumeM3.Low) / 2 }
	want := math.Hypot(half(bare), 1.96*0.1*bare.AreaM2.Value)
	if got := half(with); math.Abs(got-want) > 0.05*want || got < 1.1*half(bare) {
		t.Errorf("half-width %.0f m³, want %.0f; without %.0f", got, want, half(bare))
	}
	text, _ := mustRun(t, append(files, "--level-error", "0.1m", "--sound-error", "1%")...)
	if !strings.Contains(text, "as given: errors of water level, sound speed.") || !strings.Contains(text, "errors of draft, muck that nobody gave") {
		t.Errorf("what is covered:\n%s", text)
	}
}
