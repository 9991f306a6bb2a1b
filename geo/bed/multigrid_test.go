package bed

import (
	"fmt"
	"math"
	"testing"

	"pondwright/geo/plane"
)

// sounded returns data on lines over a disc, an eighth of its radius apart.
func sounded(radiusM float64) (data []datum) {
	for line := range int32(15) {
		y := radiusM * (float64(line)/8 - 7.0/8)
		for x := -radiusM; x < radiusM; x += radiusM / 80 {
			if p := (plane.Point{X: x, Y: y + 0.01*radiusM*math.Sin(9*x/radiusM)}); p.Norm() < 0.97*radiusM {
				data = append(data, datum{line: line, at: p, depthM: 4 * (1 - p.Dot(p)/radiusM/radiusM), spread: 0.6, weight: 1})
			}
		}
	}
	return data
}

func discFit(t testing.TB, name string, across float64) *fit {
	t.Helper()
	const radius = 100.0
	l, err := newLayout(discGrid(t, radius, 2*radius/across), across < 200)
	if err != nil {
		t.Fatal(err)
	}
	f := newFit(l.field(name), sounded(radius), 3)
	f.logRatio = -5
	return f
}

// Both ways of solving the same equations.
func TestMultigrid_AgreesWithTheFactor(t *testing.T) {
	t.Parallel()
	for _, name := range []string{bentModel, weightedModel} {
		f := discFit(t, name, 70)
		if err := f.solve(); err != nil {
			t.Fatal(err)
		}
		m, right := f.equations()
		x, count, err := m.solve(right, nil)
		if err != nil {
			t.Fatal(err)
		}
		var most float64
		for i, v := range x {
			most = max(most, math.Abs(v-f.x[i]))
		}
		if most > 1e-4 {
			t.Errorf("%s: unknowns differ by up to %g, want at most 0.1 mm", name, most)
		}
		if _, again, err := m.solve(right, f.x[:len(x)]); err != nil || again >= count {
			t.Errorf("%s: %d iterations from the solution, %d from nothing, %v", name, again, count, err)
		}
	}
}

func TestMultigrid_IterationsDoNotGrow(t *testing.T) {
	t.Parallel()
	for _, name := range []string{bentModel, weightedModel} {
		var counts []int
		for _, across := range []float64{33, 65, 129, 193} {
			m, right := discFit(t, name, across).equations()
			_, count, err := m.solve(right, nil)
			if err != nil {
				t.Fatal(err)
			}
			counts = append(counts, count)
		}
		t.Logf("%s: %v iterations", name, counts)
		if last := counts[len(counts)-1]; last > 10 || last > counts[1]+2 {
			t.Errorf("%s: %v iterations for 33 to 193 nodes across, want at most 10 and no growth", name, counts)
		}
	}
}

// The field alone, noise and smoothness given: by multigrid and, where it is not
// too long, by the factor, on discs of 160 to 2049 nodes across.
func BenchmarkField(b *testing.B) {
	for _, name := range []string{bentModel, weightedModel} {
		for _, across := range []float64{160, 257, 513, 1025, 2049} {
			f := discFit(b, name, across)
			b.Run(fmt.Sprintf("multigrid/%s/%.0f", name, across), func(b *testing.B) {
				var count int
				for b.Loop() {
					m, right := f.equations()
					var err error
					if _, count, err = m.solve(right, nil); err != nil {
						b.Fatal(err)
					}
				}
				b.ReportMetric(float64(count), "iterations")
				b.ReportMetric(float64(len(f.grid.Nodes)), "nodes")
			})
			if f.structure == nil {
				continue
			}
			b.Run(fmt.Sprintf("factor/%s/%.0f", name, across), func(b *testing.B) {
				for b.Loop() {
					if err := f.solve(); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
