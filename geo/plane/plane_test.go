package plane_test

import (
	"math"
	"testing"

	"github.com/golang/geo/s1"
	"github.com/golang/geo/s2"
	"pgregory.net/rapid"

	"pondwright/geo/plane"
)

// TestRadii checks the ellipsoid's radii of curvature.
func TestRadii(t *testing.T) {
	t.Parallel()
	const formulas = "M and N of WGS 84 (NGA.STND.0036) by Rapp, 1991, section 3, recomputed"
	tests := []struct {
		latDeg                   float64
		meridianM, primeVertical float64
		source                   string
	}{
		{0, 6335439.327, 6378137.000, formulas},
		{30, 6351377.104, 6383480.918, formulas},
		{40, 6361815.826, 6386976.166, formulas},
		{45, 6367381.816, 6388838.290, formulas},
		{60, 6383453.857, 6394209.174, formulas},
		{-60, 6383453.857, 6394209.174, formulas},
		{90, 6399593.626, 6399593.626, formulas},
	}
	for _, tt := range tests {
		m, n := plane.Radii(s1.Angle(tt.latDeg) * s1.Degree)
		if math.Abs(m-tt.meridianM) > 1e-3 || math.Abs(n-tt.primeVertical) > 1e-3 {
			t.Errorf("at %g°: radii %.4f and %.4f m, want %.3f and %.3f within 1 mm (%s)", tt.latDeg, m, n, tt.meridianM, tt.primeVertical, tt.source)
		}
	}
	// The Gauss radius at the equator is the polar semi-axis.
	m, n := plane.Radii(0)
	if got, want := math.Sqrt(m*n), 6356752.314; math.Abs(got-want) > 1e-3 {
		t.Errorf("Gauss radius %.4f m, want %.3f (b of WGS 84, NGA.STND.0036)", got, want)
	}
}

// TestFrame_ShortLines checks distances over a pond's width.
func TestFrame_ShortLines(t *testing.T) {
	t.Parallel()
	const geodesic = "geodesic on WGS 84 by GeodSolve of GeographicLib 2.1.2 (Karney, 2013, \"Algorithms for geodesics\"), recomputed"
	tests := []struct {
		name                   string
		lat1, lon1, lat2, lon2 float64
		want                   float64 // m
		source                 string
	}{
		{"north", 36.6, -84.2, 36.601, -84.2, 110.970171, geodesic},
		{"east", 36.6, -84.2, 36.6, -84.199, 89.475761, geodesic},
		{"across", 36.6, -84.2, 36.6012345, -84.1987654, 175.982123, geodesic},
		{"along the equator", 0, 37, 0, 37.001, 111.319491, geodesic},
		{"north from the equator", 0, 37, 0.001, 37, 110.574276, geodesic},
		{"at 60 degrees", 60.2, 25, 60.2008, 25.0025, 164.833090, geodesic},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			a, b := s2.LatLngFromDegrees(tt.lat1, tt.lon1), s2.LatLngFromDegrees(tt.lat2, tt.lon2)
			f := plane.NewFrame(s2.LatLngFromDegrees((tt.lat1+tt.lat2)/2, (tt.lon1+tt.lon2)/2))
			if got := f.ToPlane(a).Distance(f.ToPlane(b)); math.Abs(got-tt.want) > 1e-4 {
				t.Errorf("%.6f m, want %.6f within 0.1 mm (%s)", got, tt.want, tt.source)
			}
		})
	}
}

// TestFrame_FarFromItsOrigin measures short arcs of parallels and meridians,
// whose length the radii of curvature give, at the rim of a pond of 3 km.
func TestFrame_FarFromItsOrigin(t *testing.T) {
	t.Parallel()
	for _, latDeg := range []float64{-55, 0, 26, 38, 48, 60} {
		f := plane.NewFrame(s2.LatLngFromDegrees(latDeg, 10))
		for _, rim := range []plane.Point{{Y: 1500}, {Y: -1500}, {X: 1500}, {X: -1100, Y: 1000}} {
			const arc = 1e-5 // radians, about 60 m
			ll := f.ToLatLng(rim)
			m, n := plane.Radii(ll.Lat)
			east, north := ll, ll
			east.Lng += arc
			north.Lat += arc
			for _, line := range []struct {
				to   s2.LatLng
				want float64
			}{{east, n * math.Cos(ll.Lat.Radians()) * arc}, {north, m * arc}} {
				if got := f.ToPlane(line.to).Distance(f.ToPlane(ll)); math.Abs(got/line.want-1) > 1e-7 {
					t.Errorf("at %g°, %v: arc of %.6f m, want %.6f", latDeg, rim, got, line.want)
				}
			}
		}
	}
}

// TestFrame_ScaleFarOff finds the growth of lengths that the projection has,
// (east/R)²/2 with R² = M N (Snyder, 1987, equation 8-11, its first terms).
func TestFrame_ScaleFarOff(t *testing.T) {
	t.Parallel()
	for _, latDeg := range []float64{-40, 10, 38, 55} {
		f := plane.NewFrame(s2.LatLngFromDegrees(latDeg, 10))
		const eastM, arc = 8000, 1e-5
		ll := f.ToLatLng(plane.Point{X: eastM})
		m, n := plane.Radii(ll.Lat)
		want := 1 + eastM*eastM/(2*m*n)
		east := s2.LatLng{Lat: ll.Lat, Lng: ll.Lng + arc}
		got := f.ToPlane(east).Distance(f.ToPlane(ll)) / (n * math.Cos(ll.Lat.Radians()) * arc)
		if math.Abs(got-want) > 2e-8 {
			t.Errorf("at %g°: lengths grow by %.3g, want %.3g", latDeg, got-1, want-1)
		}
	}
}

func TestFrame_RoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := plane.NewFrame(s2.LatLngFromDegrees(rapid.Float64Range(-85, 85).Draw(t, "lat"), rapid.Float64Range(-180, 180).Draw(t, "lon")))
		p := plane.Point{X: rapid.Float64Range(-3000, 3000).Draw(t, "x"), Y: rapid.Float64Range(-3000, 3000).Draw(t, "y")}
		ll := f.ToLatLng(p)
		if math.Abs(ll.Lng.Radians()) > math.Pi {
			t.Fatalf("longitude %v", ll.Lng.Degrees())
		}
		if q := f.ToPlane(ll); p.Distance(q) > 1e-7 {
			t.Errorf("%v came back as %v", p, q)
		}
	})
}

func TestFrame_Antimeridian(t *testing.T) {
	t.Parallel()
	f := plane.NewFrame(s2.LatLngFromDegrees(-17.8, 180))
	west, east := f.ToPlane(s2.LatLngFromDegrees(-17.8, 179.999)), f.ToPlane(s2.LatLngFromDegrees(-17.8, -179.999))
	if west.X >= 0 || east.X <= 0 || math.Abs(west.X+east.X) > 1e-6 || east.X > 110 {
		t.Errorf("either side of 180°: %v and %v", west, east)
	}
}

func TestRing_ClosedForms(t *testing.T) {
	t.Parallel()
	square := []plane.Point{{X: 1e4, Y: 1e4}, {X: 1e4 + 2, Y: 1e4}, {X: 1e4 + 2, Y: 1e4 + 3}, {X: 1e4, Y: 1e4 + 3}}
	clockwise := []plane.Point{square[3], square[2], square[1], square[0]}
	tests := []struct {
		name          string
		ring          []plane.Point
		areaM2, perim float64
	}{
		{"rectangle far off", square, 6, 10},
		{"clockwise", clockwise, -6, 10},
		{"triangle 3-4-5", []plane.Point{{}, {X: 4}, {X: 4, Y: 3}}, 6, 12},
		{"two points", []plane.Point{{}, {X: 4}}, 0, 8},
		{"nothing", nil, 0, 0},
	}
	for _, tt := range tests {
		if a, l := plane.RingArea(tt.ring), plane.RingLength(tt.ring); math.Abs(a-tt.areaM2) > 1e-9 || math.Abs(l-tt.perim) > 1e-9 {
			t.Errorf("%s: area %g, length %g, want %g and %g (plane geometry)", tt.name, a, l, tt.areaM2, tt.perim)
		}
	}
}

func TestRingContains(t *testing.T) {
	t.Parallel()
	ell := []plane.Point{{}, {X: 4}, {X: 4, Y: 1}, {X: 1, Y: 1}, {X: 1, Y: 4}, {Y: 4}}
	for _, tt := range []struct {
		p    plane.Point
		want bool
	}{
		{plane.Point{X: 0.5, Y: 0.5}, true},
		{plane.Point{X: 3, Y: 0.5}, true},
		{plane.Point{X: 0.5, Y: 3}, true},
		{plane.Point{X: 2, Y: 2}, false},
		{plane.Point{X: -1, Y: 1}, false}, // level with a corner and a side
		{plane.Point{X: -1, Y: 0}, false},
		{plane.Point{X: 5, Y: 4}, false},
		{plane.Point{X: math.NaN(), Y: 1}, false},
	} {
		if got := plane.RingContains(ell, tt.p); got != tt.want {
			t.Errorf("contains %v: %v, want %v", tt.p, got, tt.want)
		}
	}
}

// TestOrient compares with whole numbers, which are exact.
func TestOrient(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(-1<<24, 1<<24)
		ax, ay, bx, by := n.Draw(t, "ax"), n.Draw(t, "ay"), n.Draw(t, "bx"), n.Draw(t, "by")
		cx, cy := n.Draw(t, "cx"), n.Draw(t, "cy")
		if rapid.Bool().Draw(t, "on the line") {
			k := rapid.Int64Range(-3, 3).Draw(t, "k")
			cx, cy = ax+k*(bx-ax), ay+k*(by-ay)
		}
		det := (bx-ax)*(cy-ay) - (by-ay)*(cx-ax)
		want := 0
		switch {
		case det > 0:
			want = 1
		case det < 0:
			want = -1
		}
		pt := func(x, y int64) plane.Point { return plane.Point{X: float64(x), Y: float64(y)} }
		if got := plane.Orient(pt(ax, ay), pt(bx, by), pt(cx, cy)); got != want {
			t.Errorf("orientation %d, want %d (determinant %d)", got, want, det)
		}
	})
}

func TestSegmentDistance(t *testing.T) {
	t.Parallel()
	a, b := plane.Point{X: 1, Y: 1}, plane.Point{X: 5, Y: 1}
	for _, tt := range []struct {
		p, at plane.Point
		want  float64
	}{
		{plane.Point{X: 3, Y: 4}, plane.Point{X: 3, Y: 1}, 3},
		{plane.Point{X: -2, Y: 5}, a, 5},
		{plane.Point{X: 8, Y: -3}, b, 5},
		{plane.Point{X: 2, Y: 1}, plane.Point{X: 2, Y: 1}, 0},
	} {
		if d, q := plane.SegmentDistance(tt.p, a, b); math.Abs(d-tt.want) > 1e-12 || q.Distance(tt.at) > 1e-12 {
			t.Errorf("from %v: %g at %v, want %g at %v", tt.p, d, q, tt.want, tt.at)
		}
	}
	if d, q := plane.SegmentDistance(plane.Point{X: 3, Y: 4}, plane.Point{}, plane.Point{}); d != 5 || q != (plane.Point{}) {
		t.Errorf("to a point: %g at %v", d, q)
	}
}

func BenchmarkFrame_ToPlane(b *testing.B) {
	f := plane.NewFrame(s2.LatLngFromDegrees(37.5, -85.25))
	ll := s2.LatLngFromDegrees(37.501, -85.251)
	for b.Loop() {
		f.ToPlane(ll)
	}
}
