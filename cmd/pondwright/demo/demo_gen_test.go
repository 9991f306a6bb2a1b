package demo

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/golang/geo/s2"

	"pondwright/client/intake"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// The files beside this one are made by
//
//	go test ./cmd/pondwright/demo -update
//
// which is to be run after any change to the pond, the routes or the noise.
var update = flag.Bool("update", false, "write the demo's files instead of checking them")

func TestFiles_AreWhatTheFormulaMakes(t *testing.T) {
	t.Parallel()
	files := []File{{"shoreline.geojson", outline()}, {"truth.json", truthFile(t)}}
	for i, b := range boats() {
		files = append(files, File{fmt.Sprintf("boat-%d.nmea", i+1), b.log()})
	}
	size := 0
	for _, f := range files {
		size += len(f.Data)
		if *update {
			if err := os.WriteFile(f.Name, []byte(f.Data), 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		got, err := os.ReadFile(f.Name)
		if err != nil {
			t.Fatal(err)
		}
		if string(got) != f.Data {
			t.Errorf("%s differs from what the formula makes in line %d; run with -update and look at what changed", f.Name, differingLine(string(got), f.Data))
		}
	}
	if const700k := 700_000; size > const700k {
		t.Errorf("the files have %d bytes, want at most %d", size, const700k)
	}
}

func differingLine(a, b string) int {
	as, bs := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range as {
		if i >= len(bs) || as[i] != bs[i] {
			return i + 1
		}
	}
	return len(as) + 1
}

// outline returns the shoreline as GeoJSON, one position a line.
func outline() string {
	ring := func(start plane.Point) string {
		pts := traceShore(start, 1)
		var rows []string
		for _, p := range append(pts, pts[0]) {
			lat, lon := toDegrees(p)
			rows = append(rows, fmt.Sprintf("          [%.7f, %.7f]", lon, lat))
		}
		return "        [\n" + strings.Join(rows, ",\n") + "\n        ]"
	}
	return fmt.Sprintf(`{
  "type": "FeatureCollection",
  "features": [
    {
      "type": "Feature",
      "properties": {"name": %q, "owner": %q, "place": %q, "drawn_on": "2026-05-19", "water_level_m": 0.0},
      "geometry": {"type": "Polygon", "coordinates": [
%s,
%s
      ]}
    }
  ]
}
`, Pond, Owner, Place, ring(plane.Point{X: -53, Y: -30}), ring(plane.Point{X: -13, Y: 34}))
}

func truthFile(t *testing.T) string {
	areaM2, volumeM3, maxM, deepest := integrate(0.25) // at 0.125 m area and volume are the same to a unit
	lat, lon := toDegrees(deepest)
	round := func(v, step float64) float64 { return math.Round(v/step) * step }
	data, err := json.MarshalIndent(truth{
		AreaM2: math.Round(areaM2), VolumeM3: math.Round(volumeM3), MaxDepthM: round(maxM, 1.0/1024),
		DeepLat: round(lat, 1.0/(1<<20)), DeepLon: round(lon, 1.0/(1<<20)),
	}, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	return string(data) + "\n"
}

func readTruth(t *testing.T) truth {
	t.Helper()
	data, err := os.ReadFile("truth.json")
	if err != nil {
		t.Fatal(err)
	}
	var want truth
	if err := json.Unmarshal(data, &want); err != nil {
		t.Fatal(err)
	}
	return want
}

func parseShore(t *testing.T) *shore.Shore {
	t.Helper()
	f := Shoreline()
	o, err := intake.ParseGeoJSON(f.Name, []byte(f.Data))
	if err != nil {
		t.Fatal(err)
	}
	if o.Name != Pond || len(o.Islands) != 1 || len(o.Problems) != 0 {
		t.Errorf("outline of %q with %d islands and problems %v, want %q with one and none", o.Name, len(o.Islands), o.Problems, Pond)
	}
	s, err := o.Shore()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestShoreline_EnclosesTheTruth(t *testing.T) {
	t.Parallel()
	s, want := parseShore(t), readTruth(t)
	if got := float64(s.Area()); math.Abs(got/want.AreaM2-1) > 0.0005 {
		t.Errorf("area %.1f m², want %.1f within 0.05 %%", got, want.AreaM2)
	}
	if acres := s.Area().Acres(); acres < 2 || acres > 4 {
		t.Errorf("%.2f acres, want 2 to 4", acres)
	}
	if !s.ContainsLatLng(s2.LatLngFromDegrees(want.DeepLat, want.DeepLon)) {
		t.Error("the deepest place lies ashore")
	}
}

func TestRoutes_StayInTheWater(t *testing.T) {
	t.Parallel()
	for i, b := range boats() {
		for m := 0.0; ; m += 0.25 {
			p, _, ok := along(b.route, m)
			if !ok {
				break
			}
			if d := depthM(p); d < 0.35 {
				t.Errorf("boat %d runs aground at %.0f m, at %v: %.2f m", i+1, m, p, d)
				break
			}
		}
	}
}

// TestLogs_ReadAsASurvey reads the logs as the program does and holds them
// against the formula.
func TestLogs_ReadAsASurvey(t *testing.T) {
	t.Parallel()
	s := parseShore(t)
	bs := boats()
	var all []intake.Reading
	for i, f := range Logs() {
		got, err := intake.ParseNMEA(f.Name, []byte(f.Data))
		if err != nil {
			t.Fatal(err)
		}
		if got.OffsetM == nil || *got.OffsetM != bs[i].offsetM {
			t.Errorf("%s: offset %v, want %v", f.Name, got.OffsetM, bs[i].offsetM)
		}
		for _, code := range []string{intake.CodeNMEAChecksum, intake.CodeNoFix, intake.CodeBottomLost, intake.CodeNoPosition} {
			if !slices.ContainsFunc(got.Problems, func(p intake.Problem) bool { return p.Code == code }) {
				t.Errorf("%s: no %s, but a log that shows the program has every fault", f.Name, code)
			}
		}
		var off []float64
		spikes := 0
		for _, r := range got.Readings {
			e := r.ReadingM*soundMPS/soundSetMPS + bs[i].offsetM - depthM(fromDegrees(r.Lat, r.Lon))
			off = append(off, e)
			if math.Abs(e) > 0.5 {
				spikes++
			}
			if r.WaterTempC == nil || r.Quality == nil || r.Time.IsZero() {
				t.Fatalf("%s:%d lacks temperature, quality or time", f.Name, r.Line)
			}
		}
		slices.Sort(off)
		if median := off[len(off)/2]; len(off) < 450 || math.Abs(median) > 0.03 {
			t.Errorf("%s: %d readings, off by %.3f m in the median, want 450 or more within 0.03 m", f.Name, len(off), median)
		}
		if share := float64(spikes) / float64(len(off)); share < 0.01 || share > 0.06 {
			t.Errorf("%s: %.1f %% spikes, want about 3", f.Name, 100*share)
		}
		all = append(all, got.Readings...)
	}
	for _, r := range all {
		if p := s.Frame().ToPlane(r.LatLng()); !s.Contains(p) {
			if d, _ := s.Nearest(p); d > 5 {
				t.Errorf("%s:%d lies %.1f m outside the shore, want none beyond 5 m", r.File, r.Line, d)
			}
		}
	}
	if first, second := all[0].Time, all[len(all)-1].Time; !second.After(first) || !overlap(all) {
		t.Error("the boats are not out at the same time")
	}
}

// overlap reports whether the second file begins before the first ends.
func overlap(all []intake.Reading) bool {
	i := slices.IndexFunc(all, func(r intake.Reading) bool { return r.File != all[0].File })
	return i > 0 && all[i].Time.Before(all[i-1].Time)
}

func TestMast_StandsBackFromTheNearestBank(t *testing.T) {
	t.Parallel()
	s, want := parseShore(t), readTruth(t)
	frame := s.Frame()
	deepest := frame.ToPlane(s2.LatLngFromDegrees(want.DeepLat, want.DeepLon))
	_, bank := s.Nearest(deepest)
	out := bank.Sub(deepest)
	ideal := bank.Add(out.Scale(15 / out.Norm()))
	mast := frame.ToPlane(s2.LatLngFromDegrees(MastLat, MastLon))
	if d := mast.Distance(ideal); d > 1 {
		ll := frame.ToLatLng(ideal)
		t.Errorf("mast is %.1f m from where it should stand, %.6f, %.6f", d, ll.Lat.Degrees(), ll.Lng.Degrees())
	}
	if d, _ := s.Nearest(mast); d < 14 || d > 16 || s.Contains(mast) {
		t.Errorf("mast is %.1f m from the bank, want 15 ± 1 ashore", d)
	}
}
