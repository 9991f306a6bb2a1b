package contour_test

import (
	"math"
	"testing"

	"pondwright/calc/unit"
	"pondwright/geo/contour"
	"pondwright/geo/curve"
	"pondwright/geo/grid"
	"pondwright/geo/plane"
)

// bowlWithIsland returns a round pond with an island off its middle, and depths that
// fall from a shoal and a hole.
func bowlWithIsland(t testing.TB) (*grid.Grid, []float64) {
	g := newGrid(t, disc(plane.Point{}, 60, 90), disc(plane.Point{X: 25}, 8, 24))
	depths := make([]float64, len(g.Mesh.Points))
	for k, n := range g.Nodes {
		shoal := 1.2 * math.Exp(-n.At.Sub(plane.Point{X: -20, Y: 10}).Dot(n.At.Sub(plane.Point{X: -20, Y: 10}))/60)
		depths[k] = max(0.01, 3*(1-math.Exp(-n.ShoreM/10))-shoal)
	}
	return g, depths
}

func TestSmooth_KeepsDepthsShoreAndVolume(t *testing.T) {
	t.Parallel()
	g, depths := bowlWithIsland(t)
	m, fine := contour.Smooth(&g.Mesh, depths)
	if len(m.Triangles) != 9*len(g.Mesh.Triangles) || len(fine) != len(m.Points) {
		t.Fatalf("%d triangles of %d, %d depths at %d points", len(m.Triangles), len(g.Mesh.Triangles), len(fine), len(m.Points))
	}
	for k := range depths {
		if fine[k] != depths[k] || m.Points[k] != g.Mesh.Points[k] {
			t.Fatalf("point %d moved", k)
		}
	}
	if got, want := float64(m.Area()), float64(g.Mesh.Area()); math.Abs(got/want-1) > 1e-9 {
		t.Errorf("area %.6f m², want %.6f", got, want)
	}
	sides := make(map[[2]int32]int)
	for n, v := range m.Triangles {
		if m.TriangleArea(n) <= 0 {
			t.Fatalf("triangle %d is turned over", n)
		}
		for k := range 3 {
			a, b := v[k], v[(k+1)%3]
			sides[[2]int32{min(a, b), max(a, b)}]++
		}
	}
	for s, n := range sides {
		if n == 1 && (fine[s[0]] != 0 || fine[s[1]] != 0) {
			t.Errorf("the shore is %g and %g m deep", fine[s[0]], fine[s[1]])
		}
	}
	was, err := curve.New(&g.Mesh, depths)
	if err != nil {
		t.Fatal(err)
	}
	is, err := curve.New(m, fine)
	if err != nil {
		t.Fatal(err)
	}
	if ratio := float64(is.Volume(0) / was.Volume(0)); math.Abs(ratio-1) > 0.01 {
		t.Errorf("volume times %.4f", ratio)
	}
}

// On a paraboloid the contours are circles: smooth ones lie nearer to them than those
// of the flat triangles, and turn less at their corners.
func TestSmooth_ContoursAreRound(t *testing.T) {
	t.Parallel()
	g := newGrid(t, disc(plane.Point{}, 60, 120))
	depths := make([]float64, len(g.Mesh.Points))
	for k, n := range g.Nodes {
		depths[k] = max(0, 3*(1-n.At.Dot(n.At)/3600))
	}
	off := func(rings [][]plane.Point, radius float64) (worstOff, worstTurn float64) {
		if len(rings) != 1 {
			t.Fatalf("%d rings", len(rings))
		}
		ring := rings[0]
		for k, p := range ring {
			worstOff = max(worstOff, math.Abs(p.Norm()-radius))
			in := p.Sub(ring[(k+len(ring)-1)%len(ring)])
			out := ring[(k+1)%len(ring)].Sub(p)
			if in.Norm() > 0.3 && out.Norm() > 0.3 {
				worstTurn = max(worstTurn, math.Abs(math.Atan2(in.Cross(out), in.Dot(out))))
			}
		}
		return worstOff, worstTurn
	}
	m, fine := contour.Smooth(&g.Mesh, depths)
	for _, level := range []float64{1, 2} {
		radius := 60 * math.Sqrt(1-level/3)
		flatOff, flatTurn := off(contour.Rings(&g.Mesh, depths, level), radius)
		smoothOff, smoothTurn := off(contour.Rings(m, fine, level), radius)
		if smoothOff > flatOff/2 || smoothTurn > flatTurn {
			t.Errorf("at %g m: %.4f m off and turns of %.1f°, flat %.4f m and %.1f°", level, smoothOff, smoothTurn*180/math.Pi, flatOff, flatTurn*180/math.Pi)
		}
	}
}

// Lines of every depth are closed, lie inside one another and never cross; an island
// has lines about it that run the other way round.
func TestSmooth_LinesNest(t *testing.T) {
	t.Parallel()
	g, depths := bowlWithIsland(t)
	m, fine := contour.Smooth(&g.Mesh, depths)
	var before [][]plane.Point
	around := 0
	for _, level := range []float64{0.25, 0.5, 1, 1.5, 2, 2.5} {
		rings := contour.Rings(m, fine, level)
		if len(rings) == 0 {
			t.Fatalf("no line at %g m", level)
		}
		var area float64
		for _, ring := range rings {
			area += plane.RingArea(ring)
			if plane.RingArea(ring) < 0 {
				around++
			}
			for k, p := range ring {
				q := ring[(k+1)%len(ring)]
				if crossesAny(p, q, before) {
					t.Fatalf("lines cross at %g m, near %v", level, p)
				}
			}
		}
		c, err := curve.New(m, fine)
		if err != nil {
			t.Fatal(err)
		}
		if want, _ := c.At(0); level == 0.25 && area > float64(want) {
			t.Errorf("the outermost line holds %.1f m², the pond %.1f", area, float64(want))
		}
		if want := float64(levelArea(c, level)); math.Abs(area/want-1) > 1e-6 {
			t.Errorf("the lines at %g m hold %.3f m², the surface %.3f", level, area, want)
		}
		before = append(before, rings...)
	}
	if around == 0 {
		t.Error("no line about the island")
	}
}

func levelArea(c *curve.Curve, level float64) float64 {
	a, _ := c.At(unit.Meters(level))
	return float64(a)
}

func crossesAny(p, q plane.Point, rings [][]plane.Point) bool {
	for _, ring := range rings {
		for k, a := range ring {
			b := ring[(k+1)%len(ring)]
			if max(a.X, b.X) < min(p.X, q.X) || min(a.X, b.X) > max(p.X, q.X) || max(a.Y, b.Y) < min(p.Y, q.Y) || min(a.Y, b.Y) > max(p.Y, q.Y) {
				continue
			}
			if plane.Orient(a, b, p)*plane.Orient(a, b, q) < 0 && plane.Orient(p, q, a)*plane.Orient(p, q, b) < 0 {
				return true
			}
		}
	}
	return false
}
