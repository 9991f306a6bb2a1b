package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"pondwright/cmd/pondwright/demo"
	"pondwright/geo/plan"
)

// run executes the program in this process.
func run(t *testing.T, args ...string) (status int, out, errs string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	m := Main{Out: &stdout, Err: &stderr}
	status = m.Run(t.Context(), args)
	return status, stdout.String(), stderr.String()
}

// mustRun executes the program and fails the test unless it is done.
func mustRun(t *testing.T, args ...string) (out, errs string) {
	t.Helper()
	status, out, errs := run(t, args...)
	if status != exitDone {
		t.Fatalf("pondwright %s: status %d\n%s", strings.Join(args, " "), status, errs)
	}
	return out, errs
}

// write puts a file into a temporary folder.
func write(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// The types below are what other programs read; their names are a promise.
type jsonInterval struct{ Value, Low, High float64 }

type jsonReport struct {
	AreaM2, VolumeM3, MeanDepthM, MaxDepthM *jsonInterval
	ShorelineM                              float64
	SoundingsUsed, SoundingsRejected        int
	Curve                                   []struct{ DepthM, AreaM2, VolumeM3 float64 }
	Warnings                                []jsonWarning
}

type jsonWarning struct {
	Code, File, Field, Message, Remedy string
	Line                               int
}

type jsonPlan struct {
	Diffusers []struct {
		Lat, Lon, DepthM, AirflowM3PerS, LiftM3PerS float64
		Hose                                        struct {
			LengthM, WaterM, TrenchM, BoreM float64
			Route                           []struct{ Lat, Lon float64 }
		}
	}
	TurnoversPerDay                                *jsonInterval
	RunHoursPerDay, SiteGap                        float64
	BindingConstraint, Shortfall                   string
	Cautions                                       []struct{ Code, Text string }
	ShortfallFactor, AirNeededM3PerS, VolumeUsedM3 float64
}

// decode reads JSON strictly by our spelling: a field of another case is not ours.
func decode[T any](t *testing.T, text string) T {
	t.Helper()
	var v T
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		t.Fatalf("not JSON: %v\n%s", err, text)
	}
	return v
}

// knownPonds are the made ponds with their truth. The limits are those within which
// the volume must be found, in percent; the mast stands 15 m back from the bank
// nearest the deepest water.
var knownPonds = []struct {
	name        string
	volumeLimit float64
	mast        string
}{
	{"O1_bowl", 1.0, "38.3120857,-93.4510398"},
	{"O2_valley20", 1.5, "36.9211294,-86.6746136"},
	{"O3_arms30", 2.5, "33.1826660,-89.0405024"},
	{"O4_dense60", 0.6, "41.5546164,-95.2175564"},
}

func knownFiles(name string) (shoreline, soundings string) {
	dir := filepath.Join("..", "..", "geo", "bed", "testdata", name)
	return filepath.Join(dir, "shoreline.geojson"), filepath.Join(dir, "soundings.csv")
}

func TestMeasure_KnownPonds(t *testing.T) {
	t.Parallel()
	for _, pond := range knownPonds {
		t.Run(pond.name, func(t *testing.T) {
			t.Parallel()
			shoreline, soundings := knownFiles(pond.name)
			truth := readTruth(t, filepath.Join(filepath.Dir(shoreline), "truth.json"))
			out, _ := mustRun(t, "measure", "--shoreline", shoreline, "--soundings", soundings, "--json")
			r := decode[jsonReport](t, out)
			if off := 100 * (r.VolumeM3.Value/truth.VolumeM3 - 1); math.Abs(off) > pond.volumeLimit {
				t.Errorf("volume is off by %.2f %%, want within %.1f", off, pond.volumeLimit)
			}
			if r.VolumeM3.Low > truth.VolumeM3 || r.VolumeM3.High < truth.VolumeM3 {
				t.Errorf("interval %.0f to %.0f misses the truth, %.0f m³", r.VolumeM3.Low, r.VolumeM3.High, truth.VolumeM3)
			}
			if off := math.Abs(r.AreaM2.Value/truth.RingAreaM2 - 1); off > 0.0005 {
				t.Errorf("area is off by %.4f %%, want within 0.05", 100*off)
			}
			checkCurve(t, r)
		})
	}
}

type jsonTruth struct {
	VolumeM3   float64 `json:"volume_m3"`
	AreaM2     float64 `json:"area_m2"`
	RingAreaM2 float64 `json:"ring_area_m2"`
}

func readTruth(t *testing.T, path string) jsonTruth {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return decode[jsonTruth](t, string(data))
}

// checkCurve holds the curve to what the contract says of it.
func checkCurve(t *testing.T, r jsonReport) {
	t.Helper()
	if len(r.Curve) < 3 || r.Curve[0].DepthM != 0 || r.Curve[len(r.Curve)-1].VolumeM3 != 0 {
		t.Fatalf("curve has %d rows, want one at 0 and the last with no water", len(r.Curve))
	}
	if first := r.Curve[0]; math.Abs(first.VolumeM3/r.VolumeM3.Value-1) > 0.002 {
		t.Errorf("curve starts at %.1f m³, report says %.1f", first.VolumeM3, r.VolumeM3.Value)
	}
	for i := 1; i < len(r.Curve); i++ {
		a, b := r.Curve[i-1], r.Curve[i]
		if b.DepthM-a.DepthM > 0.1+1e-9 || b.DepthM <= a.DepthM || b.VolumeM3 >= a.VolumeM3 || b.AreaM2 > a.AreaM2+1e-9 {
			t.Fatalf("rows %d and %d: %+v, %+v", i-1, i, a, b)
		}
	}
}

func TestPlan_KnownPonds(t *testing.T) {
	t.Parallel()
	for _, pond := range knownPonds {
		t.Run(pond.name, func(t *testing.T) {
			t.Parallel()
			shoreline, soundings := knownFiles(pond.name)
			dir := t.TempDir()
			out, _ := mustRun(t, "plan", "--shoreline", shoreline, "--soundings", soundings, "--mast", pond.mast, "--out", dir, "--json")
			p := decode[jsonPlan](t, out)
			if p.BindingConstraint != string(plan.AirSupply) || p.ShortfallFactor <= 1 || p.Shortfall == "" {
				t.Errorf("one machine: %s %q factor %.2f, want a shortage of air", p.BindingConstraint, p.Shortfall, p.ShortfallFactor)
			}
			if p.SiteGap < 0 || p.SiteGap > 0.01 {
				t.Errorf("site gap %.4f, want at most 0.01", p.SiteGap)
			}
			if p.RunHoursPerDay != 24 || len(p.Diffusers) == 0 || p.TurnoversPerDay.Low > p.TurnoversPerDay.Value || p.TurnoversPerDay.High < p.TurnoversPerDay.Value {
				t.Errorf("run hours %g, %d diffusers, turnovers %+v", p.RunHoursPerDay, len(p.Diffusers), p.TurnoversPerDay)
			}
			for i, d := range p.Diffusers {
				h := d.Hose
				if d.DepthM < 1.2 || d.AirflowM3PerS <= 0 || d.LiftM3PerS <= 0 || h.BoreM != 0.0158 || h.LengthM < h.WaterM+h.TrenchM || len(h.Route) < 3 {
					t.Errorf("diffuser %d: %+v", i+1, d)
				}
			}
			drawing, err := os.ReadFile(filepath.Join(dir, "map.svg"))
			if err != nil || !bytes.Contains(drawing, []byte("NOT FOR CONSTRUCTION")) {
				t.Errorf("drawing: %v, want one that is stamped", err)
			}
			if saved, err := os.ReadFile(filepath.Join(dir, "plan.json")); err != nil || string(saved) != out {
				t.Errorf("plan.json differs from what was printed: %v", err)
			}
		})
	}
}

// square is a pond of about 100 m by 100 m.
const square = `{"type":"Polygon","coordinates":[[[-93.4,38.3],[-93.39886,38.3],[-93.39886,38.3009],[-93.4,38.3009]]]}`

// grid returns soundings of a bowl in the square, scaled, with lat and lon under
// the given names.
func grid(lat, lon, depth string, scale float64) string {
	var b strings.Builder
	fmt.Fprintf(&b, "time,%s,%s,%s\n", lat, lon, depth)
	k := 0
	for i := 1; i < 10; i++ {
		for j := 1; j < 20; j++ {
			u, v := float64(i)/10, float64(j)/20
			d := 16 * 3 * u * (1 - u) * v * (1 - v) * scale
			fmt.Fprintf(&b, "%s,%.7f,%.7f,%.3f\n",
				time.Date(2026, 6, 9, 14, 0, 0, 0, time.UTC).Add(time.Duration(k+100*i)*time.Second).Format(time.RFC3339),
				38.3+0.0009*u, -93.4+0.00114*v, d)
			k++
		}
	}
	return b.String()
}

func TestMeasure_BadInput(t *testing.T) {
	t.Parallel()
	good := grid("lat", "lon", "depth_m", 1)
	lines := strings.SplitAfter(good, "\n")
	bowTie := strings.Replace(square, "[-93.39886,38.3],[-93.39886,38.3009]", "[-93.39886,38.3009],[-93.39886,38.3]", 1)
	nmea := "$GPGGA,153027.40,3818.02700,N,09323.96400,W,4,14,0.8,312.4,M,-31.2,M,1.0,0123*00\n"
	tests := []struct {
		name                 string
		shoreline, soundings string
		status               int
		code                 string
		file                 string // of the warning
		line                 int
		survives             bool // the report still has a volume from soundings
	}{
		{"a clean survey", square, good, exitDone, "", "", 0, true},
		{"a shoreline that crosses itself", bowTie, good, exitFailed, "RING_CROSSES", "pond.geojson", 1, false},
		{"several polygons", `{"type":"MultiPolygon","coordinates":[[[[0,0],[1,0],[1,1]]],[[[2,2],[3,2],[3,3]]]]}`, good, exitFailed, "MULTIPOLYGON", "pond.geojson", 1, false},
		{"latitude and longitude exchanged", square, grid("lon", "lat", "depth_m", 1), exitFailed, "LATLON_SWAPPED", "soundings.csv", 0, false},
		{"feet labeled as meters", square, grid("lat", "lon", "depth_m", 5), exitDone, "FEET_AS_METERS", "soundings.csv", 0, true},
		{"soundings outside the shore", square, good + "2026-06-09T16:00:00Z,38.3020,-93.3995,1.0\n", exitDone, "OUTSIDE_SHORE", "soundings.csv", len(lines), true},
		{"a line cut short", square, good + "2026-06-09T16:00:00Z,38.30", exitDone, "CSV_LINE_CUT", "soundings.csv", len(lines), true},
		{"a depth that is no number", square, good + "2026-06-09T16:00:00Z,38.3002,-93.3995,deep\n", exitDone, "VALUE_INVALID", "soundings.csv", len(lines), true},
		{"depth in meters and in feet", square, "lat,lon,depth_m,depth_ft\n38.3002,-93.3995,1,3.3\n", exitFailed, "COLUMN_TWICE", "soundings.csv", 1, false},
		{"a wrong checksum", square, nmea, exitDone, "NMEA_CHECKSUM", "soundings.csv", 1, false},
		{"an empty file", square, "", exitDone, "FILE_EMPTY", "soundings.csv", 0, false},
		{"no soundings at all", square, "time,lat,lon,depth_m\n", exitDone, "NO_SOUNDINGS", "", 0, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			shoreline, soundings := write(t, "pond.geojson", tt.shoreline), write(t, "soundings.csv", tt.soundings)
			status, out, errs := run(t, "measure", "--shoreline", shoreline, "--soundings", soundings, "--json")
			if status != tt.status {
				t.Fatalf("status %d, want %d\n%s", status, tt.status, errs)
			}
			r := decode[jsonReport](t, out)
			if tt.code != "" {
				w := findWarning(r.Warnings, tt.code)
				if w == nil {
					t.Fatalf("no warning %s in %+v", tt.code, r.Warnings)
				}
				if tt.file != "" && filepath.Base(w.File) != tt.file || tt.line != 0 && w.Line != tt.line || w.Message == "" || w.Remedy == "" {
					t.Errorf("warning %+v, want file %q, line %d, a message and a remedy", w, tt.file, tt.line)
				}
				if !strings.Contains(errs, tt.code) {
					t.Errorf("people are not told: %q", errs)
				}
			} else if len(r.Warnings) != 0 {
				t.Errorf("clean survey gave %+v", r.Warnings)
			}
			if got := r.SoundingsUsed > 150; got != tt.survives {
				t.Errorf("%d soundings used, want the good rest to survive: %v", r.SoundingsUsed, tt.survives)
			}
			if status == exitDone && (r.AreaM2 == nil || math.Abs(r.AreaM2.Value-9960) > 100 || r.VolumeM3 == nil || r.VolumeM3.Value <= 0) {
				t.Errorf("the outline alone must still give area and a stated guess: %+v %+v", r.AreaM2, r.VolumeM3)
			}
		})
	}
}

func findWarning(ws []jsonWarning, code string) *jsonWarning {
	for i := range ws {
		if ws[i].Code == code {
			return &ws[i]
		}
	}
	return nil
}

func TestMeasure_OtherHeadersByMap(t *testing.T) {
	t.Parallel()
	shoreline, soundings := write(t, "pond.geojson", square), write(t, "soundings.csv", grid("Breite", "Laenge", "Echo", 1))
	out, _ := mustRun(t, "measure", "--shoreline", shoreline, "--soundings", soundings, "--json",
		"--map", "lat=Breite", "--map", "lon=Laenge", "--map", "depth=Echo")
	if r := decode[jsonReport](t, out); r.SoundingsUsed < 150 {
		t.Errorf("%d soundings used", r.SoundingsUsed)
	}
}

func TestMeasure_ProseInEitherUnit(t *testing.T) {
	t.Parallel()
	shoreline, soundings := write(t, "pond.geojson", square), write(t, "soundings.csv", grid("lat", "lon", "depth_m", 1))
	us, _ := mustRun(t, "measure", "--shoreline", shoreline, "--soundings", soundings)
	si, _ := mustRun(t, "--units", "si", "measure", "--shoreline", shoreline, "--soundings", soundings)
	for _, tt := range []struct{ text, want string }{
		{us, "acre-ft"}, {us, "2.46 acres"}, {us, "1.0 ft"}, {si, "m³"}, {si, "0.2 m"},
	} {
		if !strings.Contains(tt.text, tt.want) {
			t.Errorf("report lacks %q:\n%s", tt.want, tt.text)
		}
	}
}

func TestPlan_Refusals(t *testing.T) {
	t.Parallel()
	shoreline, soundings := write(t, "pond.geojson", square), write(t, "soundings.csv", grid("lat", "lon", "depth_m", 1))
	tests := []struct {
		name, mast string
		status     int
		code       string
	}{
		{"a mast in the water", "38.30045,-93.39943", exitFailed, "MAST_IN_WATER"},
		{"a mast far away", "38.31,-93.39943", exitFailed, "MAST_TOO_FAR"},
		{"a mast without longitude", "38.31", exitUsage, ""},
		{"a latitude beyond the pole", "-93.39943,38.30", exitUsage, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			status, out, errs := run(t, "plan", "--shoreline", shoreline, "--soundings", soundings, "--mast", tt.mast, "--out", t.TempDir(), "--json")
			if status != tt.status || !strings.Contains(errs, tt.code) {
				t.Fatalf("status %d, %q, want %d, %s", status, errs, tt.status, tt.code)
			}
			if tt.status == exitFailed {
				p := decode[jsonPlan](t, out)
				if len(p.Cautions) != 1 || p.Cautions[0].Code != tt.code || p.BindingConstraint != "INPUT_MISSING" {
					t.Errorf("JSON says %+v", p)
				}
			}
		})
	}
}

// A machine of one's own takes the place of the generic one; a curve that rises with
// pressure is refused with its line.
func TestPlan_OwnMachine(t *testing.T) {
	t.Parallel()
	args := []string{"plan", "--shoreline", write(t, "pond.geojson", square), "--soundings", write(t, "soundings.csv", grid("lat", "lon", "depth_m", 1)),
		"--mast", "38.3011,-93.3994", "--place", "38.30045,-93.39943", "--out", t.TempDir(), "--json", "--compressor"}
	out, _ := mustRun(t, append(args, write(t, "machine.csv", "pressure_psi,air_scfm\n0,6\n10,5.2\n20,4\n"))...)
	found := false
	for _, a := range decode[struct {
		Assumptions []struct {
			Name, Value string
			IsDefault   bool
		}
	}](t, out).Assumptions {
		found = found || a.Name == "compressor" && !a.IsDefault && strings.Contains(a.Value, "169.9 L/min") // 6 scfm
	}
	if !found {
		t.Errorf("the machine is not that of the file:\n%s", out)
	}
	weak := write(t, "weak.csv", "pressure_psi,air_scfm\n0,9\n0.2,8\n") // opens nothing under a meter of water
	out, _ = mustRun(t, append(args, weak, "--compressors", "3,2", "--compressor", write(t, "machine.csv", "pressure_psi,air_scfm\n0,6\n10,5.2\n20,4\n"))...)
	if p := decode[struct{ Compressors int }](t, out); p.Compressors != 2 || !strings.Contains(out, "kind 2 (machine.csv)") || !strings.Contains(out, "kind 1 (weak.csv)") {
		t.Errorf("of two kinds, %d machines are taken:\n%s", p.Compressors, out)
	}
	if status, _, errs := run(t, append(args, weak, "--compressors", "3,2")...); status != exitUsage || !strings.Contains(errs, "2 numbers for 1 kinds") {
		t.Errorf("more numbers than kinds: status %d, %s", status, errs)
	}
	status, _, errs := run(t, append(args, write(t, "bad.csv", "pressure_psi,air_scfm\n0,4\n10,5\n"))...)
	if status != exitFailed || !strings.Contains(errs, "bad.csv") {
		t.Errorf("a rising curve: status %d, %s", status, errs)
	}
}

func TestPlan_WithoutSoundingsAsksForThem(t *testing.T) {
	t.Parallel()
	shoreline, soundings := write(t, "pond.geojson", square), write(t, "soundings.csv", "lat,lon,depth_m\n")
	out, _ := mustRun(t, "plan", "--shoreline", shoreline, "--soundings", soundings, "--mast", "38.29995,-93.39943", "--out", t.TempDir(), "--json")
	if p := decode[jsonPlan](t, out); p.BindingConstraint != "INPUT_MISSING" || len(p.Diffusers) != 0 || p.Shortfall == "" {
		t.Errorf("plan on a guess: %+v", p)
	}
}

func TestUsage(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{
		{"frobnicate"}, {"measure"}, {"measure", "--shoreline"}, {"measure", "--bogus"}, {"add", "--store", "x", "--pond", "p"},
		{"--units", "furlong", "measure"}, {"add", "--store", "x", "--pond", "  ", "file"}, {"sync", "extra"},
	} {
		status, _, errs := run(t, args...)
		if status != exitUsage || !strings.Contains(errs, "--help") {
			t.Errorf("%v: status %d, %q, want %d and a way to help", args, status, errs, exitUsage)
		}
	}
}

// TestUsage_NamesTheWholeCommand: what wrong usage tells to run is the command
// that was meant.
func TestUsage_NamesTheWholeCommand(t *testing.T) {
	t.Parallel()
	for want, args := range map[string][]string{
		"'pondwright --help'":           {"frobnicate"},
		"'pondwright measure --help'":   {"measure", "--bogus"},
		"'pondwright calc --help'":      {"calc", "guesswork"},
		"'pondwright calc lift --help'": {"--units", "si", "calc", "lift", "--air", "8cfm", "--depth", "14ft"},
	} {
		if status, _, errs := run(t, args...); status != exitUsage || !strings.Contains(errs, want) {
			t.Errorf("%v: status %d, %q lacks %s", args, status, errs, want)
		}
	}
}

func TestServe_RefusesOtherMachines(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "office")
	status, _, errs := run(t, "serve", "--listen", "0.0.0.0:0", "--data", data)
	if status != exitFailed || !strings.Contains(errs, "TLS") {
		t.Errorf("status %d, %q", status, errs)
	}
	if _, err := os.Stat(data); !os.IsNotExist(err) {
		t.Errorf("a refused server made its folder: %v", err)
	}
}

// lockedBuffer is a buffer that one goroutine writes and another reads.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// startServer runs serve until the test ends and returns its address.
func startServer(t *testing.T, data string, flags ...string) (addr string, stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	var errs lockedBuffer
	done := make(chan int, 1)
	go func() {
		m := Main{Out: new(bytes.Buffer), Err: &errs}
		done <- m.Run(ctx, append([]string{"serve", "--listen", "127.0.0.1:0", "--data", data}, flags...))
	}()
	address := regexp.MustCompile(`on (127\.0\.0\.1:\d+);`)
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for deadline := time.After(20 * time.Second); addr == ""; {
		select {
		case <-deadline:
			t.Fatalf("the server did not start: %s", errs.String())
		case status := <-done:
			t.Fatalf("the server ended with %d: %s", status, errs.String())
		case <-tick.C:
			if found := address.FindStringSubmatch(errs.String()); found != nil {
				addr = found[1]
			}
		}
	}
	var once sync.Once
	stop = func() {
		once.Do(func() {
			cancel()
			if status := <-done; status != exitDone {
				t.Errorf("the server ended with %d: %s", status, errs.String())
			}
		})
	}
	t.Cleanup(stop)
	return addr, stop
}

// Two boats without a signal, a server that comes, goes and comes back: what was
// added arrives once, and each boat gets what the other took.
func TestBoatsAndOffice(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	boat1, boat2, office := filepath.Join(dir, "boat-1"), filepath.Join(dir, "boat-2"), filepath.Join(dir, "office")
	shoreline, first := write(t, "pond.geojson", square), write(t, "first.csv", grid("lat", "lon", "depth_m", 1))
	second := write(t, "second.csv", "lat,lon,depth_m\n38.3002,-93.3995,1.25\n38.3003,-93.3995,1.5\n")

	mustRun(t, "add", "--store", boat1, "--pond", "Mill Bottom", shoreline, first)
	mustRun(t, "add", "--store", boat2, "--pond", "mill  bottom", second)
	if status, _, errs := run(t, "sync", "--store", boat1, "--server", "127.0.0.1:1"); status != exitFailed || !strings.Contains(errs, "nothing is lost") {
		t.Errorf("sync without a server: status %d, %q", status, errs)
	}
	if out, _ := mustRun(t, "status", "--store", boat1); !strings.Contains(out, "Mill Bottom: 171 soundings") || !strings.Contains(out, "wait to be sent") {
		t.Errorf("status before the first sync:\n%s", out)
	}

	addr, stop := startServer(t, office)
	mustRun(t, "sync", "--store", boat1, "--server", addr)
	stop()
	addr, _ = startServer(t, office)
	mustRun(t, "sync", "--store", boat2, "--server", addr)
	if out, _ := mustRun(t, "sync", "--store", boat2, "--server", addr); !strings.HasPrefix(out, "sent 0 entries") {
		t.Errorf("a second sync sent again: %s", out)
	}
	out, _ := mustRun(t, "status", "--store", boat2)
	// Boat 1 holds 171 soundings, the pond, the outline and one pass.
	if !strings.Contains(out, "174 entries fetched") || !strings.Contains(out, "everything taken here is on the server") {
		t.Errorf("status of boat 2:\n%s", out)
	}
	if out, _ := mustRun(t, "add", "--store", boat2, "--pond", "Mill Bottom", second); !strings.Contains(out, "0 soundings added, 2 were there already") {
		t.Errorf("the same file added again: %s", out)
	}
}

func TestAdd_GoodFilesSurviveABadOne(t *testing.T) {
	t.Parallel()
	store := filepath.Join(t.TempDir(), "boat")
	bad, good := write(t, "bad.csv", "lat,lon\n1,2\n"), write(t, "good.csv", grid("lat", "lon", "depth_m", 1))
	status, out, errs := run(t, "add", "--store", store, "--pond", "p", bad, good)
	if status != exitFailed || !strings.Contains(errs, "bad.csv") || !strings.Contains(out, "171 soundings added") {
		t.Errorf("status %d\n%s\n%s", status, out, errs)
	}
}

func TestStatus_OfNoStore(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "typo")
	if status, _, errs := run(t, "status", "--store", dir); status != exitFailed || !strings.Contains(errs, "no store") {
		t.Errorf("status %d, %q", status, errs)
	}
	if _, err := os.Stat(dir); !os.IsNotExist(err) {
		t.Error("a mistyped folder was made into a store")
	}
}

func TestDemo(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for _, name := range []string{"map-9.png", "map-mine.png"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("was here"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	out, _ := mustRun(t, "demo", "--out", dir)
	if _, err := os.Stat(filepath.Join(dir, "map-9.png")); !os.IsNotExist(err) {
		t.Error("a drawing of an earlier plan is left")
	}
	if readAll(t, filepath.Join(dir, "map-mine.png")) != "was here" {
		t.Error("a file of somebody else's is gone")
	}
	for _, want := range []string{demo.Pond, "no signal", "wait to be sent", "Volume", "Turnovers a day", "Unverified", "Sheets: "} {
		if !strings.Contains(out, want) {
			t.Errorf("the demo does not say %q:\n%s", want, out)
		}
	}
	p := decode[jsonPlan](t, readAll(t, filepath.Join(dir, "plan.json")))
	truth := readTruth(t, filepath.Join("demo", "truth.json"))
	if len(p.Diffusers) == 0 || math.Abs(p.VolumeUsedM3/truth.VolumeM3-1) > 0.04 {
		t.Errorf("%d diffusers on %.0f m³, truth %.0f", len(p.Diffusers), p.VolumeUsedM3, truth.VolumeM3)
	}
	if svg := readAll(t, filepath.Join(dir, "map.svg")); !strings.Contains(svg, demo.Pond) {
		t.Error("the map does not name the pond")
	}
	for _, name := range []string{"sheets.pdf", "owner.pdf", "map.png", "hoses-1.svg", "hoses-1.png", "waypoints.gpx"} {
		if readAll(t, filepath.Join(dir, name)) == "" {
			t.Errorf("%s is empty", name)
		}
	}
}

// The demo's files measured without a server find the truth from which they were
// made.
func TestMeasure_DemoLogs(t *testing.T) {
	t.Parallel()
	args := []string{"measure", "--json", "--shoreline", write(t, "s.geojson", demo.Shoreline().Data)}
	for _, f := range demo.Logs() {
		args = append(args, "--soundings", write(t, f.Name, f.Data))
	}
	out, _ := mustRun(t, args...)
	r, truth := decode[jsonReport](t, out), readTruth(t, filepath.Join("demo", "truth.json"))
	if off := 100 * (r.VolumeM3.Value/truth.VolumeM3 - 1); math.Abs(off) > 1 || r.VolumeM3.Low > truth.VolumeM3 || r.VolumeM3.High < truth.VolumeM3 {
		t.Errorf("volume %+v, truth %.0f: off by %.2f %%", r.VolumeM3, truth.VolumeM3, off)
	}
}

func readAll(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}
