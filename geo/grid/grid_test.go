package grid_test

import (
	"errors"
	"math"
	"testing"

	"github.com/golang/geo/s2"
	"pgregory.net/rapid"

	"pondwright/geo/grid"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// ringOf places corners, in meters about 40 N 90 W, on the earth.
func ringOf(corners ...plane.Point) []s2.LatLng {
	f := plane.NewFrame(s2.LatLngFromDegrees(40, -90))
	var out []s2.LatLng
	for _, c := range corners {
		out = append(out, f.ToLatLng(c))
	}
	return out
}

func disc(center plane.Point, radiusM float64, n int) []plane.Point {
	var out []plane.Point
	for k := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
		out = append(out, center.Add(plane.Point{X: radiusM * cos, Y: radiusM * sin}))
	}
	return out
}

func newShore(t testing.TB, outer []plane.Point, islands ...[]plane.Point) *shore.Shore {
	t.Helper()
	var holes [][]s2.LatLng
	for _, i := range islands {
		holes = append(holes, ringOf(i...))
	}
	s, err := shore.New(ringOf(outer...), holes)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestMesh_FillsTheOutlineExactly(t *testing.T) {
	t.Parallel()
	comb := []plane.Point{{X: 0, Y: 0}, {X: 200, Y: 0}, {X: 200, Y: 60}}
	for x := 190.0; x > 20; x -= 20 { // arms narrower than a cell
		comb = append(comb, plane.Point{X: x, Y: 60}, plane.Point{X: x - 1, Y: 200}, plane.Point{X: x - 2, Y: 200}, plane.Point{X: x - 3, Y: 60})
	}
	comb = append(comb, plane.Point{X: 0, Y: 60})
	tests := []struct {
		name    string
		outer   []plane.Point
		islands [][]plane.Point
	}{
		{name: "triangle", outer: []plane.Point{{X: 0, Y: 0}, {X: 80, Y: 5}, {X: 20, Y: 90}}},
		{name: "long_straight_dam", outer: []plane.Point{{X: 0, Y: 0}, {X: 400, Y: 0}, {X: 390, Y: 80}, {X: 10, Y: 80}}},
		{name: "disc_with_islands", outer: disc(plane.Point{}, 100, 333), islands: [][]plane.Point{
			disc(plane.Point{X: 30}, 20, 40), disc(plane.Point{X: -40, Y: 10}, 0.2, 7), disc(plane.Point{X: 0, Y: 99.5}, 0.3, 5)}},
		{name: "comb_of_arms_thinner_than_a_cell", outer: comb},
		{name: "sliver_island_across_the_grid", outer: disc(plane.Point{}, 100, 60), islands: [][]plane.Point{
			{{X: -60, Y: -50.0}, {X: 60, Y: 50}, {X: 60, Y: 50.05}}}},
		{name: "spit_thinner_than_a_cell", outer: []plane.Point{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 49.9}, {X: 10, Y: 50}, {X: 100, Y: 50.1}, {X: 100, Y: 100}, {X: 0, Y: 100}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := newShore(t, tt.outer, tt.islands...)
			g, err := grid.New(s, grid.Options{SpacingM: 3})
			if err != nil {
				t.Fatal(err)
			}
			if rel := float64(g.Mesh.Area()/s.Area()) - 1; math.Abs(rel) > 1e-9 {
				t.Errorf("mesh area differs from the outline's by %.3g of it, want at most 1e-9", rel)
			}
			for k := range g.Mesh.Triangles {
				if a := g.Mesh.TriangleArea(k); a < -1e-4 {
					t.Errorf("triangle %d has area %g m²", k, a)
				}
			}
			for n, node := range g.Nodes {
				if tri, w, ok := g.Mesh.Locate(node.At); !ok {
					t.Errorf("node %d lies in no triangle", n)
				} else {
					for k, v := range g.Mesh.Triangles[tri] {
						if int(v) == n && w[k] < 1-1e-9 {
							t.Errorf("node %d has weight %g at its own place", n, w[k])
						}
					}
				}
				for d, m := range node.Next {
					if m < 0 {
						continue
					}
					if node.ArmM[d] != g.SpacingM || s.Crosses(node.At, g.Nodes[m].At) {
						t.Errorf("node %d is linked to %d across the shore", n, m)
					}
				}
			}
		})
	}
}

func TestNode_ShoreDistanceAndArmsAreExact(t *testing.T) {
	t.Parallel()
	s := newShore(t, disc(plane.Point{}, 100, 90), disc(plane.Point{X: 20, Y: 30}, 25, 30))
	g, err := grid.New(s, grid.Options{SpacingM: 4})
	if err != nil {
		t.Fatal(err)
	}
	for n, node := range g.Nodes {
		if want, _ := s.Nearest(node.At); math.Abs(node.ShoreM-want) > 1e-9 {
			t.Errorf("node %d: distance %g, want %g", n, node.ShoreM, want)
		}
		for d, dir := range [4]plane.Point{grid.East: {X: 1}, grid.West: {X: -1}, grid.North: {Y: 1}, grid.South: {Y: -1}} {
			arm := node.ArmM[d]
			if arm < g.SpacingM && (s.Crosses(node.At, node.At.Add(dir.Scale(arm-1e-6))) || !s.Crosses(node.At, node.At.Add(dir.Scale(arm+1e-6)))) {
				t.Errorf("node %d: arm %d of %g m does not end at the shore", n, d, arm)
			}
		}
	}
}

func TestNew_RefusesUnusableSpacing(t *testing.T) {
	t.Parallel()
	s := newShore(t, disc(plane.Point{}, 100, 90))
	for _, spacing := range []float64{-1, 1e-3, 1e6, math.NaN()} {
		if _, err := grid.New(s, grid.Options{SpacingM: spacing}); err == nil {
			t.Errorf("spacing %g: no error", spacing)
		}
	}
}

// Random outlines with spikes, bays and islands: the mesh fills them, and every
// node and every place in the water lies in it.
func TestMesh_FillsRandomOutlines(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.IntRange(3, 60).Draw(r, "corners")
		var outer []plane.Point
		for k := range n {
			reach := rapid.SampledFrom([]float64{5, 20, 50, 51, 80}).Draw(r, "reach") + rapid.Float64Range(0, 3).Draw(r, "rest")
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
			outer = append(outer, plane.Point{X: reach * cos, Y: reach * sin})
		}
		var islands [][]s2.LatLng
		for range rapid.IntRange(0, 3).Draw(r, "islands") {
			at := plane.Point{X: rapid.Float64Range(-30, 30).Draw(r, "x"), Y: rapid.Float64Range(-30, 30).Draw(r, "y")}
			islands = append(islands, ringOf(disc(at, rapid.SampledFrom([]float64{0.01, 0.5, 4}).Draw(r, "radius"), rapid.IntRange(3, 9).Draw(r, "sides"))...))
		}
		s, err := shore.New(ringOf(outer...), islands)
		if err != nil {
			r.Skip("not an outline")
		}
		g, err := grid.New(s, grid.Options{SpacingM: rapid.SampledFrom([]float64{0, 1.3, 4, 7}).Draw(r, "spacing")})
		if err != nil {
			if _, thin := errors.AsType[*grid.SizeError](err); thin {
				r.Skip("too thin for the spacing")
			}
			r.Fatal(err)
		}
		if rel := float64(g.Mesh.Area()/s.Area()) - 1; math.Abs(rel) > 1e-9 {
			r.Fatalf("mesh area differs from the outline's by %.3g of it", rel)
		}
		for _, node := range g.Nodes {
			if _, _, ok := g.Mesh.Locate(node.At); !ok {
				r.Fatalf("node at %v lies in no triangle", node.At)
			}
		}
		for range 20 {
			p := plane.Point{X: rapid.Float64Range(-60, 60).Draw(r, "px"), Y: rapid.Float64Range(-60, 60).Draw(r, "py")}
			if d, _ := s.Nearest(p); d < 1e-4 {
				continue
			}
			if _, _, ok := g.Mesh.Locate(p); ok != s.Contains(p) {
				r.Fatalf("%v: in the mesh %v, in the water %v", p, ok, s.Contains(p))
			}
		}
	})
}
