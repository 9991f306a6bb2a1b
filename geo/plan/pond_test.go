package plan_test

import (
	"math"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/geo/bed"
	"pondwright/geo/internal/known"
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

// measure infers the bed on a coarse grid, which is quick and good enough to plan
// for.
func (p *testPond) measure(soundings []bed.Sounding) error {
	b, err := bed.Estimate(p.shore, soundings, bed.Options{SpacingM: math.Sqrt(float64(p.shore.Area()) / 2500)})
	if err != nil {
		return err
	}
	p.report = &survey.Report{Bed: b, Area: b.Area(), Volume: b.Volume(), MeanDepth: b.MeanDepth(), MaxDepth: b.MaxDepth()}
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
	var soundings []bed.Sounding
	clock := time.Date(2026, 6, 9, 14, 0, 0, 0, time.UTC)
	for y := lo.Y + spacingM/2; y < hi.Y; y += spacingM {
		for x := lo.X; x < hi.X; x += 2 {
			clock = clock.Add(time.Second)
			if q := (plane.Point{X: x, Y: y}); s.Contains(q) && depthM(q) > 0.05 {
				soundings = append(soundings, bed.Sounding{At: q, DepthM: depthM(q), Time: clock, Seq: int64(len(soundings) + 1)})
			}
		}
		clock = clock.Add(time.Minute)
	}
	p := &testPond{shore: s}
	return p, p.measure(soundings)
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
	of, err := known.Load(os.DirFS(known.Dir), name)
	if err != nil {
		return nil, err
	}
	p := &testPond{shore: of.Shore}
	var soundings []bed.Sounding
	for _, s := range of.Soundings {
		soundings = append(soundings, bed.Sounding{At: p.shore.Frame().ToPlane(s.At), DepthM: s.DepthM, Time: s.Time, Seq: s.Seq})
	}
	return p, p.measure(soundings)
}
