package trial

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/geo/bed"
	"pondwright/geo/shore"
)

// Surveyed is a pond that comes with its soundings.
type Surveyed struct {
	Pond
	Soundings []bed.Sounding
	// Plain is what another program's triangulation of the same soundings gave.
	Plain Fit
}

// LoadSurveyed reads a pond from its folder: shoreline.geojson, soundings.csv,
// truth.json and truth_checkpoints.csv.
func LoadSurveyed(dir string) (*Surveyed, error) {
	var outline struct {
		Features []struct {
			Geometry struct {
				Coordinates [][][2]float64 `json:"coordinates"`
			} `json:"geometry"`
		} `json:"features"`
	}
	var truth struct {
		VolumeM3  float64 `json:"volume_m3"`
		AreaM2    float64 `json:"area_m2"`
		MaxM      float64 `json:"max_depth_m"`
		Reference struct {
			Percent float64 `json:"plain_tin_vol_err_pct"`
			RMSEM   float64 `json:"plain_tin_rmse_m"`
		} `json:"reference"`
	}
	if err := readJSON(filepath.Join(dir, "shoreline.geojson"), &outline); err != nil {
		return nil, err
	}
	if err := readJSON(filepath.Join(dir, "truth.json"), &truth); err != nil {
		return nil, err
	}
	if len(outline.Features) == 0 || len(outline.Features[0].Geometry.Coordinates) == 0 {
		return nil, fmt.Errorf("%s: no outline", dir)
	}
	var rings [][]s2.LatLng
	for _, ring := range outline.Features[0].Geometry.Coordinates {
		var lls []s2.LatLng
		for _, c := range ring {
			lls = append(lls, s2.LatLngFromDegrees(c[1], c[0]))
		}
		rings = append(rings, lls)
	}
	s, err := shore.New(rings[0], rings[1:])
	if err != nil {
		return nil, err
	}
	p := &Surveyed{Plain: Fit{Error: truth.Reference.Percent / 100, DepthRMSEM: truth.Reference.RMSEM}}
	p.Pond = Pond{
		Name: filepath.Base(dir), Shore: s, Islands: len(rings) - 1,
		AreaM2: truth.AreaM2, VolumeM3: truth.VolumeM3, MaxM: truth.MaxM,
	}
	frame := s.Frame()
	err = readRecords(filepath.Join(dir, "soundings.csv"), 1, func(at time.Time, v []float64) {
		p.Soundings = append(p.Soundings, bed.Sounding{
			At: frame.ToPlane(s2.LatLngFromDegrees(v[0], v[1])), DepthM: v[2], Time: at, Seq: int64(len(p.Soundings) + 1),
		})
	})
	if err != nil {
		return nil, err
	}
	return p, readRecords(filepath.Join(dir, "truth_checkpoints.csv"), 0, func(_ time.Time, v []float64) {
		p.Checks = append(p.Checks, Check{frame.ToPlane(s2.LatLngFromDegrees(v[0], v[1])), v[2]})
	})
}

func readJSON(path string, to any) error {
	data, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(data, to); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}

// readRecords calls f with each row after the header: the time in its first
// column, if times is 1, and the numbers in the others.
func readRecords(path string, times int, f func(time.Time, []float64)) error {
	data, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	for n, row := range rows[min(1, len(rows)):] {
		var at time.Time
		if times == 1 {
			if at, err = time.Parse(time.RFC3339, row[0]); err != nil {
				return fmt.Errorf("%s, row %d: %w", path, n+2, err)
			}
		}
		var v []float64
		for _, s := range row[times:] {
			x, err := strconv.ParseFloat(s, 64)
			if err != nil {
				return fmt.Errorf("%s, row %d: %w", path, n+2, err)
			}
			v = append(v, x)
		}
		if len(v) < 3 {
			return fmt.Errorf("%s, row %d: %d numbers, want 3", path, n+2, len(v))
		}
		f(at, v)
	}
	return nil
}
