package site

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/golang/geo/s2"

	"pondwright/geo/plane"
	"pondwright/geo/route"
	"pondwright/geo/shore"
)

// readPond cuts one of the test ponds beside geo/bed into about 3,000 cells. The
// depth is guessed between its checkpoints and the shore: good enough to choose
// among layouts, not to measure.
func readPond(t testing.TB, name string) Problem {
	t.Helper()
	dir := filepath.Join("..", "bed", "testdata", name)
	text, err := os.ReadFile(filepath.Join(dir, "shoreline.geojson"))
	if err != nil {
		t.Fatal(err)
	}
	type geometry struct{ Coordinates [][][]float64 }
	var file struct {
		geometry
		Geometry *geometry
		Features []struct{ Geometry geometry }
	}
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	switch {
	case file.Geometry != nil:
		file.geometry = *file.Geometry
	case len(file.Features) == 1:
		file.geometry = file.Features[0].Geometry
	}
	var rings [][]s2.LatLng
	for _, ring := range file.Coordinates {
		var ll []s2.LatLng
		for _, p := range ring {
			ll = append(ll, s2.LatLngFromDegrees(p[1], p[0]))
		}
		rings = append(rings, ll)
	}
	outline, err := shore.New(rings[0], rings[1:])
	if err != nil {
		t.Fatal(err)
	}
	water, err := route.New(outline, route.DefaultClearance)
	if err != nil {
		t.Fatal(err)
	}
	depthM := between(outline, readDepths(t, filepath.Join(dir, "truth_checkpoints.csv"), outline.Frame()))
	h := math.Sqrt(float64(outline.Area()) / 3000)
	prob := Problem{Water: water, HeightOffBottom: 0.3}
	lo, hi := outline.Bounds()
	for y := lo.Y; y < hi.Y; y += h {
		for x := lo.X; x < hi.X; x += h {
			p := plane.Point{X: x, Y: y}
			if !outline.Contains(p) {
				continue
			}
			shoreM, _ := outline.Nearest(p)
			dx := depthM(p.Add(plane.Point{X: h / 2})) - depthM(p.Sub(plane.Point{X: h / 2}))
			dy := depthM(p.Add(plane.Point{Y: h / 2})) - depthM(p.Sub(plane.Point{Y: h / 2}))
			prob.Cells = append(prob.Cells, Cell{At: p, AreaM2: h * h, DepthM: depthM(p), Slope: math.Hypot(dx, dy) / h, ShoreM: shoreM})
		}
	}
	return prob
}

type sounding struct {
	at     plane.Point
	depthM float64
}

func readDepths(t testing.TB, path string, f plane.Frame) []sounding {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var list []sounding
	for _, row := range rows[1:] {
		var v [3]float64
		for k := range v {
			if v[k], err = strconv.ParseFloat(row[k], 64); err != nil {
				t.Fatal(err)
			}
		}
		list = append(list, sounding{f.ToPlane(s2.LatLngFromDegrees(v[0], v[1])), v[2]})
	}
	return list
}

// between weighs depths by the inverse fourth power of the distance, with depth
// zero at the shore.
func between(s *shore.Shore, list []sounding) func(plane.Point) float64 {
	weight := func(r2 float64) float64 { return 1 / ((r2 + 1) * (r2 + 1)) }
	return func(p plane.Point) float64 {
		if !s.Contains(p) {
			return 0
		}
		shoreM, _ := s.Nearest(p)
		sum, sumM := weight(shoreM*shoreM), 0.0
		for _, q := range list {
			d := q.at.Sub(p)
			w := weight(d.Dot(d))
			sum, sumM = sum+w, sumM+w*q.depthM
		}
		return sumM / sum
	}
}

func TestTestPonds_Gaps(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"O1_bowl", "O2_valley20", "O3_arms30", "O4_dense60"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := mustField(t, readPond(t, name))
			n := 0
			for l := range f.Layouts(8) {
				n++
				if l.Gap > 0.01 {
					t.Errorf("%d sites: gap %.4f, want at most 0.01", n, l.Gap)
				}
				t.Logf("%d sites: %.1f %% served, gap %.4f", n, 100*(1-l.Unserved), l.Gap)
			}
			if n != 8 {
				t.Errorf("%d layouts, want 8", n)
			}
		})
	}
}
