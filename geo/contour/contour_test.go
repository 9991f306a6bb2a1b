package contour_test

import (
	"math"
	"slices"
	"testing"

	"github.com/golang/geo/s2"
	"pgregory.net/rapid"

	"pondwright/calc/unit"
	"pondwright/geo/contour"
	"pondwright/geo/curve"
	"pondwright/geo/grid"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

func disc(center plane.Point, radiusM float64, n int) (out []s2.LatLng) {
	f := plane.NewFrame(s2.LatLngFromDegrees(40, -90))
	for k := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
		out = append(out, f.ToLatLng(center.Add(plane.Point{X: radiusM * cos, Y: radiusM * sin})))
	}
	return out
}

func newGrid(t testing.TB, outer []s2.LatLng, islands ...[]s2.LatLng) *grid.Grid {
	t.Helper()
	s, err := shore.New(outer, islands)
	if err != nil {
		t.Fatal(err)
	}
	g, err := grid.New(s, grid.Options{SpacingM: 4})
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func TestRings_OfACone(t *testing.T) {
	t.Parallel()
	g := newGrid(t, disc(plane.Point{}, 60, 240))
	depths := make([]float64, len(g.Mesh.Points))
	for k, n := range g.Nodes {
		depths[k] = n.ShoreM / 20
	}
	rings := contour.Rings(&g.Mesh, depths, 1)
	if len(rings) != 1 {
		t.Fatalf("%d rings, want one", len(rings))
	}
	for _, p := range rings[0] {
		if r := p.Norm(); math.Abs(r-40) > 0.13 { // the chord of a 5.7 m diagonal at 40 m is 0.10 m off
			t.Errorf("a point of the 1 m line lies %.3f m from the middle, want 40", r)
		}
	}
	for _, level := range []float64{0, -1, 4, math.NaN()} {
		if r := contour.Rings(&g.Mesh, depths, level); r != nil {
			t.Errorf("%d rings at level %g", len(r), level)
		}
	}
}

// Whatever the depths, the rings are closed, deeper water lies to their left,
// and together they hold the area that the curve gives at that level.
func TestRings_HoldTheCurvesArea(t *testing.T) {
	t.Parallel()
	g := newGrid(t, disc(plane.Point{}, 30, 40), disc(plane.Point{X: 8, Y: 3}, 6, 9))
	rapid.Check(t, func(r *rapid.T) {
		depths := make([]float64, len(g.Mesh.Points))
		for k := range g.Nodes {
			depths[k] = float64(rapid.IntRange(0, 6).Draw(r, "depth")) / 2
		}
		level := rapid.SampledFrom([]float64{0.25, 0.5, 1, 1.3, 2, 2.999}).Draw(r, "level")
		c, err := curve.New(&g.Mesh, depths)
		if err != nil {
			r.Fatal(err)
		}
		var area float64
		for _, ring := range contour.Rings(&g.Mesh, depths, level) {
			area += plane.RingArea(ring)
		}
		// A flat triangle exactly at the level is a film of water to the curve and
		// dry to the contour.
		want := float64(c.Area(unit.Meters(level)))
		for k, v := range g.Mesh.Triangles {
			if level < float64(c.MaxDepth()) && depths[v[0]] == level && depths[v[1]] == level && depths[v[2]] == level {
				want -= g.Mesh.TriangleArea(k)
			}
		}
		if math.Abs(area-want) > 1e-9*g.AreaM2 {
			r.Fatalf("rings at %g m hold %.9f m², want %.9f", level, area, want)
		}
	})
}

func TestLevels(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		maxM, scale float64
		n           int
		want        []float64
	}{
		{2, 1, 8, []float64{0.25, 0.5, 0.75, 1, 1.25, 1.5, 1.75}},
		{4.2, 1, 8, []float64{0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4}},
		{4.2, 1, 4, []float64{1, 2, 3, 4}},
		{0.2, 1, 8, []float64{}},
		{0, 1, 8, nil},
	} {
		if got := contour.Levels(tt.maxM, tt.scale, tt.n); !slices.Equal(got, tt.want) {
			t.Errorf("Levels(%g, %g, %d) = %v, want %v", tt.maxM, tt.scale, tt.n, got, tt.want)
		}
	}
}
