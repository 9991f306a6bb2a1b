package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A small round pond, 40 m across and 3 m deep, to be solved fast. It holds half the
// cylinder about it (Archimedes).
const (
	smallRadiusM = 20.0
	smallLat     = 45.0
	smallLon     = -93.0
	smallPerLat  = 111132.0 // m a degree, about
	smallPerLon  = 78847.0
	smallM3      = math.Pi * smallRadiusM * smallRadiusM * 3 / 2
)

// smallOutline writes the pond's outline, with properties if given.
func smallOutline(t *testing.T, properties string) string {
	t.Helper()
	var corners []string
	for i := range 49 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i%48) / 48)
		corners = append(corners, fmt.Sprintf("[%.8f,%.8f]", smallLon+smallRadiusM*cos/smallPerLon, smallLat+smallRadiusM*sin/smallPerLat))
	}
	return write(t, "pond.geojson", `{"type":"Feature","properties":{`+properties+`},"geometry":{"type":"Polygon","coordinates":[[`+strings.Join(corners, ",")+`]]}}`)
}

// smallSoundings writes soundings of the pond on lines 3 m apart; row gives the
// columns after the depth's.
func smallSoundings(t *testing.T, name, header string, scale float64, row func(depthM float64) string) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("lat,lon,depth_m" + header + "\n")
	for y := -18.0; y <= 18; y += 3 {
		for x := -18.0; x <= 18; x++ {
			r := math.Hypot(x, y) / smallRadiusM
			if r > 0.95 {
				continue
			}
			depth := 3 * (1 - r*r) * scale
			fmt.Fprintf(&b, "%.8f,%.8f,%.3f%s\n", smallLat+y/smallPerLat, smallLon+x/smallPerLon, depth, row(depth))
		}
	}
	return write(t, name, b.String())
}

func nothing(float64) string { return "" }

func inside(t *testing.T, what string, v *jsonInterval, want float64) {
	t.Helper()
	if v == nil || !(v.Low <= want && want <= v.High) {
		t.Errorf("%s: %+v misses %.1f", what, v, want)
	}
}

// soft_m and firm_m of a file come out as sediment; the water is counted to the soft
// bottom even where depth_m, an echo off the firm one, says more.
func TestMeasure_SoftAndFirm(t *testing.T) {
	t.Parallel()
	soundings := smallSoundings(t, "muck.csv", ",soft_m,firm_m", 1.2, func(d float64) string {
		return fmt.Sprintf(",%.3f,%.3f", d/1.2, d)
	})
	shoreline := smallOutline(t, "")
	out, _ := mustRun(t, "measure", "--shoreline", shoreline, "--soundings", soundings, "--json")
	r := decode[struct{ VolumeM3, SedimentM3 *jsonInterval }](t, out)
	inside(t, "water", r.VolumeM3, smallM3)
	inside(t, "sediment", r.SedimentM3, smallM3*0.2)
	prose, _ := mustRun(t, "measure", "--shoreline", shoreline, "--soundings", soundings)
	if !strings.Contains(prose, "Sediment") {
		t.Errorf("no sediment in\n%s", prose)
	}
}

func TestStages_TableAndVolume(t *testing.T) {
	t.Parallel()
	shoreline, soundings := smallOutline(t, `"water_level_m":100`), smallSoundings(t, "day.csv", "", 1, nothing)
	out, _ := mustRun(t, "stages", "--shoreline", shoreline, "--soundings", soundings, "--volume", fmt.Sprintf("%.1fm3", smallM3/4), "--json")
	s := decode[struct {
		Rows []struct {
			DrawdownM, LevelM float64
			VolumeM3, AreaM2  *jsonInterval
		}
		Stages []struct {
			LevelM    float64
			DrawdownM *jsonInterval
		}
	}](t, out)
	for k, r := range s.Rows[:len(s.Rows)-1] {
		if want := 0.03048 * float64(k); math.Abs(r.DrawdownM-want) > 1e-9 || math.Abs(r.LevelM-100+want) > 1e-9 {
			t.Fatalf("row %d at %g m, level %g; a step is a tenth of a foot", k, r.DrawdownM, r.LevelM)
		}
	}
	// A paraboloid drawn down by s holds V (1 − s/3)².
	if d := s.Stages[0].DrawdownM; math.Abs(d.Value-1.5) > 0.1 {
		t.Errorf("a quarter of the volume at %+v, want 1.5 m", *d)
	}
	prose, _ := mustRun(t, "--units", "si", "stages", "--shoreline", shoreline, "--soundings", soundings, "--step", "0.5m", "--volume", "1000000m3")
	for _, want := range []string{"99.50 m", "80 % between", "nobody surveyed the banks"} {
		if !strings.Contains(prose, want) {
			t.Errorf("no %q in\n%s", want, prose)
		}
	}
	if status, _, _ := run(t, "stages", "--shoreline", shoreline, "--soundings", soundings, "--step", "0.001m"); status != exitUsage {
		t.Errorf("a table of 3,000 rows: status %d", status)
	}
}

func TestPart_LayerAndPolygon(t *testing.T) {
	t.Parallel()
	shoreline, soundings := smallOutline(t, ""), smallSoundings(t, "day.csv", "", 1, nothing)
	east := write(t, "east.geojson", fmt.Sprintf(`{"type":"Polygon","coordinates":[[[%g,%g],[%g,%g],[%g,%g],[%g,%g],[%g,%g]]]}`,
		smallLon, smallLat-0.001, smallLon+0.001, smallLat-0.001, smallLon+0.001, smallLat+0.001, smallLon, smallLat+0.001, smallLon, smallLat-0.001))
	for _, tt := range []struct {
		name string
		args []string
		want float64
	}{
		{"above 1.5 m", []string{"--lower", "1.5m"}, smallM3 * 3 / 4},
		{"below 1.5 m", []string{"--upper", "1.5m"}, smallM3 / 4},
		{"east half", []string{"--inside", east}, smallM3 / 2},
		{"east half below 1.5 m", []string{"--inside", east, "--upper", "1.5m"}, smallM3 / 8},
	} {
		out, _ := mustRun(t, append([]string{"part", "--shoreline", shoreline, "--soundings", soundings, "--json"}, tt.args...)...)
		inside(t, tt.name, decode[struct{ VolumeM3 *jsonInterval }](t, out).VolumeM3, tt.want)
	}
	if status, _, _ := run(t, "part", "--shoreline", shoreline, "--soundings", soundings, "--upper", "2m", "--lower", "1m"); status != exitUsage {
		t.Errorf("a layer upside down: status %d", status)
	}
}

func TestChange_TwoSurveys(t *testing.T) {
	t.Parallel()
	shoreline := smallOutline(t, "")
	before, after := smallSoundings(t, "then.csv", "", 1, nothing), smallSoundings(t, "now.csv", "", 0.9, nothing)
	out, _ := mustRun(t, "change", "--shoreline", shoreline, "--before", before, "--after", after, "--json")
	c := decode[struct {
		ChangeM3 *jsonInterval
		Certain  bool
		Cells    []struct {
			CellToken            string
			AreaM2, ChangeM, SdM float64
		}
	}](t, out)
	inside(t, "change", c.ChangeM3, -smallM3/10)
	if !c.Certain || len(c.Cells) < 20 {
		t.Errorf("certain %v, %d cells", c.Certain, len(c.Cells))
	}
	prose, _ := mustRun(t, "change", "--shoreline", shoreline, "--before", before, "--after", before)
	if !strings.Contains(prose, "No change is shown") {
		t.Errorf("a survey against itself:\n%s", prose)
	}
}

func TestContours_FileAndList(t *testing.T) {
	t.Parallel()
	shoreline, soundings := smallOutline(t, ""), smallSoundings(t, "day.csv", "", 1, nothing)
	file := filepath.Join(t.TempDir(), "lines.geojson")
	out, _ := mustRun(t, "contours", "--shoreline", shoreline, "--soundings", soundings, "--interval", "1.2m", "--out", file, "--json")
	list := decode[struct {
		Contours []struct {
			DepthM float64
			Rings  []struct {
				AroundShoal bool
				Points      []struct{ LatDeg, LonDeg float64 }
			}
		}
	}](t, out)
	if len(list.Contours) != 2 || list.Contours[0].DepthM != 1.2 || len(list.Contours[0].Rings) != 1 {
		t.Fatalf("%d contours", len(list.Contours))
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	geo := decode[struct {
		Features []struct {
			Geometry struct {
				Type        string
				Coordinates [][2]float64
			}
		}
	}](t, string(data))
	if len(geo.Features) != 2 {
		t.Fatalf("%d features", len(geo.Features))
	}
	for k, f := range geo.Features {
		line := f.Geometry.Coordinates
		if f.Geometry.Type != "LineString" || line[0] != line[len(line)-1] || len(line) != len(list.Contours[k].Rings[0].Points)+1 {
			t.Errorf("feature %d: %s of %d places, closed %v", k, f.Geometry.Type, len(line), line[0] == line[len(line)-1])
		}
	}
	if prose, _ := mustRun(t, "contours", "--shoreline", shoreline, "--soundings", soundings); !strings.Contains(prose, "2.00 ft") {
		t.Errorf("no line at 2 ft:\n%s", prose)
	}
}
