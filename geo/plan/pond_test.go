package plan_test

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/plan"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
	"pondwright/geo/survey"
)

// testPond is a measured pond with a mast 15 m back from the bank nearest to its
// deepest place.
type testPond struct {
	shore  *shore.Shore
	report *survey.Report
	mast   s2.LatLng
	bench  func() (*plan.Prepared, error)
}

// vary plans for the pond with one default machine and whatever vary changes of
// air, hose and target.
func (p *testPond) vary(t testing.TB, vary func(*plan.Input)) (plan.Input, *plan.Plan) {
	t.Helper()
	b, err := p.bench()
	if err != nil {
		t.Fatal(err)
	}
	var in plan.Input
	with, err := b.With(func(of *plan.Input) { vary(of); in = *of })
	if err != nil {
		t.Fatal(err)
	}
	out, err := with.Propose(nil)
	if err != nil {
		t.Fatal(err)
	}
	return in, out
}

// input is a plan's input for the pond on so many machines of the default kind.
func (p *testPond) input(machines int) plan.Input {
	e := plan.DefaultEquipment()
	e.Machines = machines
	return plan.Input{Survey: p.report, Shore: p.shore, Mast: p.mast, Equipment: e}.Coarse()
}

func (p *testPond) measure(readings []survey.Reading) error {
	var err error
	if p.report, err = survey.Measure(survey.Input{Shore: p.shore, Readings: readings}, nil); err != nil {
		return err
	}
	deepest := 0
	depthsM := p.report.Bed.DepthsM()
	for v, d := range depthsM {
		if d > depthsM[deepest] {
			deepest = v
		}
	}
	from := p.report.Bed.Mesh().Points[deepest]
	distM, bank := p.shore.Nearest(from)
	p.mast = p.shore.Frame().ToLatLng(from.Lerp(bank, 1+15/distM))
	p.bench = sync.OnceValues(func() (*plan.Prepared, error) { return plan.Prepare(p.input(1), nil) })
	return nil
}

// ring returns the corners of an outline about 38° N, 93° W.
func ring(n int, at func(turn float64) plane.Point) []s2.LatLng {
	frame := plane.NewFrame(s2.LatLngFromDegrees(38, -93))
	var out []s2.LatLng
	for k := range n {
		out = append(out, frame.ToLatLng(at(2*math.Pi*float64(k)/float64(n))))
	}
	return out
}

// ellipse is an outline with the given half axes.
func ellipse(aM, bM float64) []s2.LatLng {
	return ring(120, func(turn float64) plane.Point {
		sin, cos := math.Sincos(turn)
		return plane.Point{X: aM * cos, Y: bM * sin}
	})
}

// sounded measures a pond of known bed from soundings without error: lines east
// and west, spacingM apart, a fix each 2 m and second.
func sounded(outer []s2.LatLng, islands [][]s2.LatLng, spacingM float64, depthM func(plane.Point) float64) (*testPond, error) {
	s, err := shore.New(outer, islands)
	if err != nil {
		return nil, err
	}
	var lo, hi plane.Point
	for _, q := range s.Rings()[0] {
		lo = plane.Point{X: min(lo.X, q.X), Y: min(lo.Y, q.Y)}
		hi = plane.Point{X: max(hi.X, q.X), Y: max(hi.Y, q.Y)}
	}
	var readings []survey.Reading
	clock := time.Date(2026, 6, 9, 14, 0, 0, 0, time.UTC)
	for y := lo.Y + spacingM/2; y < hi.Y; y += spacingM {
		for x := lo.X; x < hi.X; x += 2 {
			clock = clock.Add(time.Second)
			if q := (plane.Point{X: x, Y: y}); s.Contains(q) && depthM(q) > 0.05 {
				readings = append(readings, survey.Reading{At: s.Frame().ToLatLng(q), Depth: unit.Meters(depthM(q)), Time: clock, Seq: int64(len(readings) + 1)})
			}
		}
		clock = clock.Add(time.Minute)
	}
	p := &testPond{shore: s}
	return p, p.measure(readings)
}

// once measures a pond when it is first asked for.
func once(measure func() (*testPond, error)) func(testing.TB) *testPond {
	get := sync.OnceValues(measure)
	return func(t testing.TB) *testPond {
		t.Helper()
		p, err := get()
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
}

// The ponds of package bed, see testdata/README.md there.
var surveyed = map[string]func(testing.TB) *testPond{
	"O1_bowl":     once(func() (*testPond, error) { return load("O1_bowl") }),
	"O2_valley20": once(func() (*testPond, error) { return load("O2_valley20") }),
	"O3_arms30":   once(func() (*testPond, error) { return load("O3_arms30") }),
	"O4_dense60":  once(func() (*testPond, error) { return load("O4_dense60") }),
}

func load(name string) (*testPond, error) {
	dir := filepath.Join("..", "bed", "testdata", name)
	data, err := os.ReadFile(filepath.Join(dir, "shoreline.geojson"))
	if err != nil {
		return nil, err
	}
	var doc struct {
		Features []struct {
			Geometry struct {
				Coordinates [][][2]float64 `json:"coordinates"`
			} `json:"geometry"`
		} `json:"features"`
	}
	if err := json.Unmarshal(data, &doc); err != nil {
		return nil, err
	}
	var rings [][]s2.LatLng
	for _, corners := range doc.Features[0].Geometry.Coordinates {
		var r []s2.LatLng
		for _, c := range corners {
			r = append(r, s2.LatLngFromDegrees(c[1], c[0]))
		}
		rings = append(rings, r)
	}
	p := new(testPond)
	if p.shore, err = shore.New(rings[0], rings[1:]); err != nil {
		return nil, err
	}
	f, err := os.Open(filepath.Join(dir, "soundings.csv"))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, err
	}
	var readings []survey.Reading
	for i, row := range rows[1:] {
		at, err := time.Parse(time.RFC3339, row[0])
		if err != nil {
			return nil, err
		}
		var v [3]float64
		for k := range v {
			if v[k], err = strconv.ParseFloat(row[k+1], 64); err != nil {
				return nil, err
			}
		}
		readings = append(readings, survey.Reading{At: s2.LatLngFromDegrees(v[0], v[1]), Depth: unit.Meters(v[2]), Time: at, Seq: int64(i + 1)})
	}
	return p, p.measure(readings)
}
