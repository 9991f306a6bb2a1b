package site

import (
	"math"
	"os"
	"testing"

	"pondwright/geo/internal/known"
	"pondwright/geo/plane"
	"pondwright/geo/route"
	"pondwright/geo/shore"
)

// readPond cuts one of the test ponds beside geo/bed into about 3,000 cells. The
// depth is guessed between its checkpoints and the shore: good enough to choose
// among layouts, not to measure.
func readPond(t testing.TB, name string) Problem {
	t.Helper()
	of, err := known.Load(os.DirFS(known.Dir), name)
	if err != nil {
		t.Fatal(err)
	}
	outline := of.Shore
	water, err := route.New(outline, route.DefaultClearance)
	if err != nil {
		t.Fatal(err)
	}
	depthM := between(outline, of.Checks)
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

// between weighs depths by the inverse fourth power of the distance, with depth
// zero at the shore.
func between(s *shore.Shore, list []known.Check) func(plane.Point) float64 {
	weight := func(r2 float64) float64 { return 1 / ((r2 + 1) * (r2 + 1)) }
	return func(p plane.Point) float64 {
		if !s.Contains(p) {
			return 0
		}
		shoreM, _ := s.Nearest(p)
		sum, sumM := weight(shoreM*shoreM), 0.0
		for _, q := range list {
			d := q.At.Sub(p)
			w := weight(d.Dot(d))
			sum, sumM = sum+w, sumM+w*q.DepthM
		}
		return sumM / sum
	}
}

func TestTestPonds_Gaps(t *testing.T) {
	t.Parallel()
	for _, name := range known.Names() {
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
