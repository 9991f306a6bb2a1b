package bed_test

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/geo/bed"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// pond is a test pond with its known truth, see testdata/README.md.
type pond struct {
	name      string
	shore     *shore.Shore
	soundings []bed.Sounding
	truth     truth
	checks    []check
	levels    []level
}

type truth struct {
	VolumeM3     float64 `json:"volume_m3"`
	MaxDepthM    float64 `json:"max_depth_m"`
	MeanDepthM   float64 `json:"mean_depth_m"`
	RingAreaM2   float64 `json:"ring_area_m2"`
	PositionLagS float64 `json:"position_lag_s"`
}

type check struct {
	at     plane.Point
	depthM float64
}

type level struct{ drawdownM, areaM2, volumeM3 float64 }

func loadPond(t testing.TB, name string) *pond {
	t.Helper()
	dir := filepath.Join("testdata", name)
	p := &pond{name: name}
	var doc struct {
		Features []struct {
			Geometry struct {
				Coordinates [][][2]float64 `json:"coordinates"`
			} `json:"geometry"`
		} `json:"features"`
	}
	readJSON(t, filepath.Join(dir, "shoreline.geojson"), &doc)
	var rings [][]s2.LatLng
	for _, ring := range doc.Features[0].Geometry.Coordinates {
		var lls []s2.LatLng
		for _, c := range ring {
			lls = append(lls, s2.LatLngFromDegrees(c[1], c[0]))
		}
		rings = append(rings, lls)
	}
	var err error
	if p.shore, err = shore.New(rings[0], rings[1:]); err != nil {
		t.Fatal(err)
	}
	readJSON(t, filepath.Join(dir, "truth.json"), &p.truth)
	frame := p.shore.Frame()
	for n, row := range readCSV(t, filepath.Join(dir, "soundings.csv")) {
		at, err := time.Parse(time.RFC3339, row[0])
		if err != nil {
			t.Fatal(err)
		}
		p.soundings = append(p.soundings, bed.Sounding{
			At:     frame.ToPlane(s2.LatLngFromDegrees(number(t, row[1]), number(t, row[2]))),
			DepthM: number(t, row[3]), Time: at, Seq: int64(n),
		})
	}
	for _, row := range readCSV(t, filepath.Join(dir, "truth_checkpoints.csv")) {
		p.checks = append(p.checks, check{frame.ToPlane(s2.LatLngFromDegrees(number(t, row[0]), number(t, row[1]))), number(t, row[2])})
	}
	for _, row := range readCSV(t, filepath.Join(dir, "truth_hypsograph.csv")) {
		p.levels = append(p.levels, level{number(t, row[0]), number(t, row[1]), number(t, row[2])})
	}
	return p
}

func readJSON(t testing.TB, path string, to any) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, to); err != nil {
		t.Fatal(err)
	}
}

func readCSV(t testing.TB, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func number(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
