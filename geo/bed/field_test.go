package bed

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/geo/grid"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

func discGrid(t testing.TB, radiusM, spacingM float64) *grid.Grid {
	t.Helper()
	f := plane.NewFrame(s2.LatLngFromDegrees(40, -90))
	var ring []s2.LatLng
	for k := range 720 {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / 720)
		ring = append(ring, f.ToLatLng(plane.Point{X: radiusM * cos, Y: radiusM * sin}))
	}
	s, err := shore.New(ring, nil)
	if err != nil {
		t.Fatal(err)
	}
	g, err := grid.New(s, grid.Options{SpacingM: spacingM})
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// −∇²p = 1 in a disc with p = 0 on its rim has the solution (R² − r²)/4
// (Timoshenko & Goodier, Theory of Elasticity, torsion of a round bar; from
// memory), so p over its greatest value is 1 − r²/R².
func TestField_TorsionFunctionOfADisc(t *testing.T) {
	t.Parallel()
	const radius = 50
	g := discGrid(t, radius, 1)
	l, err := newLayout(g, true)
	if err != nil {
		t.Fatal(err)
	}
	f := l.bent()
	for i, n := range g.Nodes {
		r := n.At.Norm() / radius
		if got, want := f.shapes[0][i], 1-r*r; math.Abs(got-want) > 0.002 {
			t.Errorf("at %.2f of the radius: %.5f, want %.5f within 0.002", r, got, want)
		}
		if got, want := f.shapes[2][i], 1-r; math.Abs(got-want) > 0.001 {
			t.Errorf("at %.2f of the radius: distance shape %.5f, want %.5f", r, got, want)
		}
	}
	var area float64
	for _, a := range f.share[:len(g.Nodes)] {
		area += a
	}
	if area > g.AreaM2 || area < 0.95*g.AreaM2 {
		t.Errorf("nodes weigh %.1f m² of %.1f", area, g.AreaM2)
	}
}

// multiply returns the product of the matrix with the given values and x.
func (p *pattern) multiply(values, x []float64) []float64 {
	y := make([]float64, len(x))
	for i := range x {
		var sum float64
		last := p.start[i+1] - 1
		for k := p.start[i]; k < last; k++ {
			j := p.cols[k]
			sum += values[k] * x[j]
			y[j] += values[k] * x[i]
		}
		y[i] += sum + values[last]*x[i]
	}
	return y
}

// The sparse factor against a dense solution of the same equations.
func TestFactor_SolvesLikeADenseOne(t *testing.T) {
	t.Parallel()
	g := discGrid(t, 20, 2)
	l, err := newLayout(g, true)
	if err != nil {
		t.Fatal(err)
	}
	f := l.bent()
	n := len(g.Nodes) + trends
	values := make([]float64, len(f.pattern.cols))
	rng := rand.New(rand.NewPCG(1, 2))
	var seen []observation
	for range 30 {
		o, ok := f.observe(g.Nodes[rng.IntN(len(g.Nodes))].At.Add(plane.Point{X: rng.Float64(), Y: rng.Float64()}))
		if ok {
			seen = append(seen, o)
			f.addSquare(values, &o, 1+rng.Float64())
		}
	}
	for k := range values {
		values[k] += 0.1 * f.energy[k]
	}
	for s := range trends {
		values[f.tail[s*(s+3)/2]] += 0.01
	}
	dense := make([]float64, n*n)
	for i := range n {
		for k := f.pattern.start[i]; k < f.pattern.start[i+1]; k++ {
			j := int(f.pattern.cols[k])
			dense[i*n+j], dense[j*n+i] = values[k], values[k]
		}
	}
	want := make([]float64, n)
	for i := range want {
		want[i] = rng.NormFloat64()
	}
	right := make([]float64, n)
	for i := range n {
		for j := range n {
			right[i] += dense[i*n+j] * want[j]
		}
	}
	fac, err := f.structure.factorize(values, nil)
	if err != nil {
		t.Fatal(err)
	}
	got := fac.solve(right)
	for i := range want {
		if math.Abs(got[i]-want[i]) > 1e-8 {
			t.Fatalf("unknown %d is %g, want %g", i, got[i], want[i])
		}
	}
	again := f.pattern.multiply(values, want)
	for i := range right {
		if math.Abs(again[i]-right[i]) > 1e-9*(1+math.Abs(right[i])) {
			t.Fatalf("product %d is %g, want %g", i, again[i], right[i])
		}
	}
	// Log-determinant by dense elimination.
	var logDet float64
	for i := range n {
		for j := range i {
			ri, rj := dense[i*n:i*n+j], dense[j*n:j*n+j]
			dense[i*n+j] = (dense[i*n+j] - dot(ri, rj)) / dense[j*n+j]
		}
		dense[i*n+i] = math.Sqrt(dense[i*n+i] - dot(dense[i*n:i*n+i], dense[i*n:i*n+i]))
		logDet += 2 * math.Log(dense[i*n+i])
	}
	if math.Abs(fac.logDet-logDet) > 1e-8*math.Abs(logDet) {
		t.Errorf("log-determinant %.10g, want %.10g", fac.logDet, logDet)
	}
	var rows []sparseRow
	for k := range seen {
		rows = append(rows, f.row(&seen[k]))
	}
	gram := fac.gram(rows)
	for i := range seen {
		h := make([]float64, n)
		f.addTo(h, &seen[i], 1)
		x := fac.solve(h)
		for j := range seen {
			if want := f.predict(&seen[j], x); math.Abs(gram[i*len(rows)+j]-want) > 1e-8*(1+math.Abs(want)) {
				t.Fatalf("product %d, %d is %g, want %g", i, j, gram[i*len(rows)+j], want)
			}
		}
	}
}

func TestFactor_RefusesAnIndefiniteMatrix(t *testing.T) {
	t.Parallel()
	p := newPattern(2, [][]int32{{1}, nil}, 0)
	s := newStructure(p, []plane.Point{{}, {X: 1}})
	if _, err := s.factorize([]float64{1, 2, 1}, nil); err == nil {
		t.Error("no error")
	}
}

// Leaving a line out by the closed form against really leaving it out.
func TestFit_LeaveOneLineOutIsExact(t *testing.T) {
	t.Parallel()
	g := discGrid(t, 40, 3)
	l, err := newLayout(g, true)
	if err != nil {
		t.Fatal(err)
	}
	f := l.bent()
	rng := rand.New(rand.NewPCG(3, 4))
	var data []datum
	for line := range int32(4) {
		for x := -30.0; x <= 30; x += 5 {
			p := plane.Point{X: x, Y: 12*float64(line) - 18}
			if p.Norm() < 38 {
				data = append(data, datum{line: line, at: p, depthM: 3*(1-p.Dot(p)/1600) + 0.1*rng.NormFloat64(), spread: 0.8, weight: 0.5 + rng.Float64()})
			}
		}
	}
	all := newFit(f, data, 3)
	if err := all.solve(); err != nil {
		t.Fatal(err)
	}
	from := slices.IndexFunc(data, func(d datum) bool { return d.line == 2 })
	to := from
	for to < len(data) && data[to].line == 2 {
		to++
	}
	got := make([]float64, len(data))
	all.missLine(got, from, to)
	rest := append(append([]datum(nil), data[:from]...), data[to:]...)
	without := newFit(f, rest, 3)
	if err := without.solve(); err != nil {
		t.Fatal(err)
	}
	for k := from; k < to; k++ {
		if want := data[k].depthM - without.predict(&all.rows[k], without.x); math.Abs(got[k]-want) > 1e-7 {
			t.Errorf("datum %d misses by %.9f m, want %.9f", k, got[k], want)
		}
	}
}

func TestSplitLines(t *testing.T) {
	t.Parallel()
	start := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
	type leg struct {
		dx, dy float64
		fixes  int
		wait   time.Duration // before it
	}
	tests := []struct {
		name  string
		timed bool
		legs  []leg
		want  int32
	}{
		{"one straight line", true, []leg{{1.5, 0, 30, 0}}, 1},
		{"a pause of 11 s", true, []leg{{1.5, 0, 30, 0}, {1.5, 0, 30, 11 * time.Second}}, 2},
		{"a pause of 9 s", true, []leg{{1.5, 0, 30, 0}, {1.5, 0, 30, 9 * time.Second}}, 1},
		{"a right angle held", true, []leg{{1.5, 0, 30, 0}, {0, 1.5, 30, 0}}, 2},
		{"a right angle without times", false, []leg{{1.5, 0, 30, 0}, {0, 1.5, 30, 0}}, 2},
		{"a bend of 45°", true, []leg{{1.5, 0, 30, 0}, {1.1, 1.1, 30, 0}}, 1},
		{"there, across and back", true, []leg{{1.5, 0, 30, 0}, {0, 1.5, 8, 0}, {-1.5, 0, 30, 0}}, 3},
		{"a jump of 12 m", false, []leg{{1.5, 0, 30, 0}, {12, 0, 1, 0}, {1.5, 0, 30, 0}}, 2},
		{"a sounding every 20 m", true, []leg{{20, 0, 30, 0}}, 1},
		{"a sounding every 20 m and a jump of 70 m", false, []leg{{20, 0, 30, 0}, {70, 0, 1, 0}, {20, 0, 30, 0}}, 2},
		{"a sounding every 20 s", true, slices.Repeat([]leg{{1.5, 0, 1, 19 * time.Second}}, 30), 1},
		{"a sounding every 20 s and a pause of 70 s", true, append(slices.Repeat([]leg{{1.5, 0, 1, 19 * time.Second}}, 30), leg{1.5, 0, 1, 69 * time.Second}), 2},
		{"a rest on the way", true, []leg{{1.5, 0, 30, 0}, {0.01, 0, 40, 0}, {1.5, 0, 30, 0}}, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			var soundings []Sounding
			at, clock := plane.Point{}, start
			for _, l := range tt.legs {
				clock = clock.Add(l.wait)
				for range l.fixes {
					at = at.Add(plane.Point{X: l.dx, Y: l.dy})
					clock = clock.Add(time.Second)
					s := Sounding{At: at, DepthM: 1, Seq: int64(len(soundings) + 1)}
					if tt.timed {
						s.Time = clock
					}
					soundings = append(soundings, s)
				}
			}
			s, err := shore.New([]s2.LatLng{s2.LatLngFromDegrees(0, 0), s2.LatLngFromDegrees(0, 0.01), s2.LatLngFromDegrees(0.01, 0)}, nil)
			if err != nil {
				t.Fatal(err)
			}
			if _, lines := prepare(s, soundings, make([][]Flag, len(soundings))); lines != tt.want {
				t.Errorf("%d lines, want %d", lines, tt.want)
			}
		})
	}
}
