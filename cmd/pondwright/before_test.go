package main

import (
	"encoding/json"
	"encoding/xml"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

type jsonGuess struct {
	Anchor                        string
	DepthM                        *float64
	AreaM2, VolumeM3, MeanDepthM  *jsonInterval
	System, SystemLow, SystemHigh *struct{ VolumeM3, AirflowM3PerS, LiftM3PerS, Diffusers float64 }
	Source                        string
	Assumptions                   []string
	NotForOrdering                bool
}

// The bowl's truth lies inside the guess, and no way of asking hides what it is.
func TestGuess_BowlAndItsMark(t *testing.T) {
	t.Parallel()
	shoreline, _ := knownFiles("O1_bowl")
	truth := readTruth(t, filepath.Join(filepath.Dir(shoreline), "truth.json"))
	for _, args := range [][]string{nil, {"--deepest", "4m"}, {"--middle", "13ft"}} {
		args = append([]string{"guess", "--shoreline", shoreline}, args...)
		prose, _ := mustRun(t, args...)
		if strings.Count(prose, notForOrdering) < 2 {
			t.Errorf("%v does not say %q", args, notForOrdering)
		}
		out, errs := mustRun(t, append(args, "--json")...)
		g := decode[jsonGuess](t, out)
		if !g.NotForOrdering || !strings.Contains(errs, notForOrdering) {
			t.Errorf("%v --json does not say that it is not for ordering", args)
		}
		if v := g.VolumeM3; !(v.Low < truth.VolumeM3 && truth.VolumeM3 < v.High) {
			t.Errorf("%v: %+v misses the true %.0f m³", args, *v, truth.VolumeM3)
		}
		if a, b, c := g.SystemLow, g.System, g.SystemHigh; !(a.Diffusers < b.Diffusers && b.Diffusers < c.Diffusers) {
			t.Errorf("%v: diffusers %g, %g, %g", args, a.Diffusers, b.Diffusers, c.Diffusers)
		}
		// A turnover in a day: the lift moves the volume in 86,400 s.
		if s := g.System; s.LiftM3PerS*86400 < s.VolumeM3 {
			t.Errorf("%v: %g m³/s do not turn %g m³ over", args, s.LiftM3PerS, s.VolumeM3)
		}
	}
	if status, _, errs := run(t, "guess", "--shoreline", shoreline, "--deepest", "4m", "--middle", "4m"); status != exitUsage {
		t.Errorf("two depths: status %d, %s", status, errs)
	}
}

func TestTransects_FilesAndList(t *testing.T) {
	t.Parallel()
	shoreline, _ := knownFiles("O3_arms30")
	dir := t.TempDir()
	out, _ := mustRun(t, "transects", "--shoreline", shoreline, "--out", dir, "--spacing", "40m", "--json")
	plan := decode[struct {
		Transects []struct {
			Name, Purpose string
			Points        []struct{ LatDeg, LonDeg float64 }
		}
		Chosen  struct{ SpacingM, BoatTimeS, ErrorShare, Lines float64 }
		Choices []struct{ SpacingM float64 }
	}](t, out)
	if plan.Chosen.Lines != float64(len(plan.Transects)) || plan.Chosen.BoatTimeS <= 0 || plan.Chosen.ErrorShare <= 0 || len(plan.Choices) != 5 {
		t.Errorf("chosen %+v, %d lines, %d choices", plan.Chosen, len(plan.Transects), len(plan.Choices))
	}

	var geo struct {
		Features []struct {
			Properties struct{ Name, Purpose string }
			Geometry   struct {
				Type        string
				Coordinates [][]float64
			}
		}
	}
	data, err := os.ReadFile(filepath.Join(dir, "transects.geojson"))
	if err == nil {
		err = json.Unmarshal(data, &geo)
	}
	if err != nil {
		t.Fatal(err)
	}
	var gpx struct {
		XMLName xml.Name
		Routes  []struct {
			Name   string `xml:"name"`
			Points []struct {
				Lat float64 `xml:"lat,attr"`
				Lon float64 `xml:"lon,attr"`
			} `xml:"rtept"`
		} `xml:"rte"`
	}
	if data, err = os.ReadFile(filepath.Join(dir, "transects.gpx")); err == nil {
		err = xml.Unmarshal(data, &gpx)
	}
	if err != nil {
		t.Fatal(err)
	}
	if gpx.XMLName.Space != "http://www.topografix.com/GPX/1/1" || len(gpx.Routes) != len(plan.Transects) || len(geo.Features) != len(plan.Transects) {
		t.Fatalf("GPX %v with %d routes, GeoJSON with %d lines, want %d", gpx.XMLName, len(gpx.Routes), len(geo.Features), len(plan.Transects))
	}
	for k, l := range plan.Transects {
		f, r := geo.Features[k], gpx.Routes[k]
		if f.Geometry.Type != "LineString" || f.Properties.Name != l.Name || r.Name != l.Name || len(r.Points) != len(l.Points) || len(f.Geometry.Coordinates) != len(l.Points) {
			t.Fatalf("line %d: %+v, %+v", k, f.Properties, r.Name)
		}
		for i, p := range l.Points {
			if c := f.Geometry.Coordinates[i]; math.Abs(c[0]-p.LonDeg) > 1e-8 || math.Abs(c[1]-p.LatDeg) > 1e-8 || math.Abs(r.Points[i].Lat-p.LatDeg) > 1e-8 {
				t.Fatalf("line %s, place %d: %v, %v, want %v", l.Name, i, c, r.Points[i], p)
			}
		}
	}
	prose, _ := mustRun(t, "transects", "--shoreline", shoreline)
	for _, want := range []string{"arm 1", "across 1", "boat time", "26 ponds"} {
		if !strings.Contains(prose, want) {
			t.Errorf("no %q in\n%s", want, prose)
		}
	}
}

// Planned lines go on record once a store is named, and stay what they were.
func TestTransects_OnRecord(t *testing.T) {
	t.Parallel()
	shoreline, _ := knownFiles("O1_bowl")
	dir := filepath.Join(t.TempDir(), "boat")
	mustRun(t, "transects", "--shoreline", shoreline, "--spacing", "30m", "--store", dir, "--pond", "Test bowl", "--by", "planner")
	out, _ := mustRun(t, "status", "--store", dir)
	if !strings.Contains(out, "Test bowl") {
		t.Errorf("status says\n%s", out)
	}
	if status, _, _ := run(t, "transects", "--shoreline", shoreline, "--store", dir); status != exitUsage {
		t.Errorf("a store without a pond: status %d", status)
	}
}
