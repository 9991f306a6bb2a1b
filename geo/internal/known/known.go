// Package known reads the ponds of known truth that lie beside geo/bed, for the
// tests of the rooms of geo. See geo/bed/testdata/README.md for what they are.
package known

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io/fs"
	"path"
	"strconv"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// Pond is a pond of known truth.
type Pond struct {
	Name      string
	Shore     *shore.Shore
	Soundings []Sounding
	Truth     Truth
	Checks    []Check // the bed as it is, at places between the soundings
	Levels    []Level // area and volume as they are, by drawdown
}

// Sounding is one depth as it was logged.
type Sounding struct {
	At     s2.LatLng
	DepthM float64
	Time   time.Time
	Seq    int64 // from 0
}

// Truth is what the pond is.
type Truth struct {
	VolumeM3     float64 `json:"volume_m3"`
	MaxDepthM    float64 `json:"max_depth_m"`
	MeanDepthM   float64 `json:"mean_depth_m"`
	RingAreaM2   float64 `json:"ring_area_m2"`
	PositionLagS float64 `json:"position_lag_s"`
}

// Check is a place in the plane of the pond with its depth.
type Check struct {
	At     plane.Point
	DepthM float64
}

// Level is a drawdown with the area and the volume left.
type Level struct{ DrawdownM, AreaM2, VolumeM3 float64 }

// Names lists the ponds, the smallest first.
func Names() []string { return []string{"O1_bowl", "O2_valley20", "O3_arms30", "O4_dense60"} }

// Dir is where the ponds lie, seen from the folder of a package right under geo,
// where tests run.
const Dir = "../bed/testdata"

// Load reads a pond by its name from the files in Dir.
func Load(files fs.FS, name string) (*Pond, error) {
	p := &Pond{Name: name}
	var err error
	if p.Shore, err = Outline(files, name); err != nil {
		return nil, err
	}
	if err := readJSON(files, path.Join(name, "truth.json"), &p.Truth); err != nil {
		return nil, err
	}
	return p, p.readTables(files)
}

// Outline reads the shore of a pond alone.
func Outline(files fs.FS, name string) (*shore.Shore, error) {
	file := path.Join(name, "shoreline.geojson")
	var doc struct {
		Features []struct {
			Geometry struct {
				Coordinates [][][2]float64 `json:"coordinates"`
			} `json:"geometry"`
		} `json:"features"`
	}
	if err := readJSON(files, file, &doc); err != nil {
		return nil, err
	}
	if len(doc.Features) != 1 || len(doc.Features[0].Geometry.Coordinates) == 0 {
		return nil, fmt.Errorf("%s: not one polygon", file)
	}
	var rings [][]s2.LatLng
	for _, corners := range doc.Features[0].Geometry.Coordinates {
		var ring []s2.LatLng
		for _, c := range corners {
			ring = append(ring, s2.LatLngFromDegrees(c[1], c[0]))
		}
		rings = append(rings, ring)
	}
	return shore.New(rings[0], rings[1:])
}

func (p *Pond) readTables(files fs.FS) error {
	frame := p.Shore.Frame()
	if err := eachRow(files, path.Join(p.Name, "soundings.csv"), 1, func(n int64, text string, v []float64) error {
		at, err := time.Parse(time.RFC3339, text)
		p.Soundings = append(p.Soundings, Sounding{At: s2.LatLngFromDegrees(v[0], v[1]), DepthM: v[2], Time: at, Seq: n})
		return err
	}); err != nil {
		return err
	}
	if err := eachRow(files, path.Join(p.Name, "truth_checkpoints.csv"), 0, func(_ int64, _ string, v []float64) error {
		p.Checks = append(p.Checks, Check{frame.ToPlane(s2.LatLngFromDegrees(v[0], v[1])), v[2]})
		return nil
	}); err != nil {
		return err
	}
	return eachRow(files, path.Join(p.Name, "truth_hypsograph.csv"), 0, func(_ int64, _ string, v []float64) error {
		p.Levels = append(p.Levels, Level{v[0], v[1], v[2]})
		return nil
	})
}

// eachRow calls f for every row after the header with its first text, where texts
// is 1, and the three numbers behind it.
func eachRow(files fs.FS, name string, texts int, f func(n int64, text string, v []float64) error) error {
	data, err := fs.ReadFile(files, name)
	if err != nil {
		return err
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	for n, row := range rows[1:] {
		v := make([]float64, 3)
		for k := range v {
			if v[k], err = strconv.ParseFloat(row[texts+k], 64); err != nil {
				return fmt.Errorf("%s:%d: %w", name, n+2, err)
			}
		}
		if err := f(int64(n), row[0], v); err != nil {
			return fmt.Errorf("%s:%d: %w", name, n+2, err)
		}
	}
	return nil
}

func readJSON(files fs.FS, name string, to any) error {
	data, err := fs.ReadFile(files, name)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(data, to); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}
