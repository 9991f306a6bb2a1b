package route

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

func mustMap(t testing.TB, s *shore.Shore) *Map {
	t.Helper()
	m, err := New(s, DefaultClearance)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// checkLegal looks at a way without any of the package's own look-ups: every
// leg but those that tie the ends keeps the clearance, sampled every 0.25 m, and
// no leg crosses a side of the shore.
func checkLegal(t interface {
	Helper()
	Errorf(string, ...any)
}, s *shore.Shore, r Route, clearanceM float64) {
	t.Helper()
	var lengthM float64
	for i := 1; i < len(r.Points); i++ {
		a, b := r.Points[i-1], r.Points[i]
		lengthM += a.Distance(b)
		da, _ := plainNearest(s, a)
		db, _ := plainNearest(s, b)
		tied := i == 1 && da < 1.1*clearanceM || i == len(r.Points)-1 && db < 1.1*clearanceM
		if tied {
			// The tie may touch the shore at its outer end only.
			if i == 1 {
				a = a.Lerp(b, 1e-3)
			} else {
				b = b.Lerp(a, 1e-3)
			}
		}
		for _, ring := range s.Rings() {
			for k, c := range ring {
				d := ring[(k+1)%len(ring)]
				if plane.Orient(a, b, c)*plane.Orient(a, b, d) <= 0 && plane.Orient(c, d, a)*plane.Orient(c, d, b) <= 0 {
					t.Errorf("leg %d from %v to %v crosses the shore at %v", i, a, b, c)
				}
			}
		}
		if tied {
			continue
		}
		n := int(math.Ceil(a.Distance(b) / 0.25))
		for k := 0; k <= n; k++ {
			p := a.Lerp(b, float64(k)/float64(max(n, 1)))
			if d, _ := plainNearest(s, p); d < clearanceM-1e-6 {
				t.Errorf("leg %d is %.6f m from the shore at %v, want %.3f", i, d, p, clearanceM)
				break
			}
		}
	}
	if math.Abs(lengthM-float64(r.Length)) > 1e-9*(1+lengthM) {
		t.Errorf("length %.9f m, its legs sum to %.9f m", float64(r.Length), lengthM)
	}
}

func TestPath_ClosedForms(t *testing.T) {
	t.Parallel()
	c := float64(DefaultClearance)
	square := ring(-50, -50, 50, -50, 50, 50, -50, 50)
	ell := ring(-50, -50, 50, -50, 50, 0, 0, 0, 0, 50, -50, 50)
	// The way from (x, y) round the corner at the origin touches the clearance
	// circle: two tangents and the arc between them.
	roundCorner := func(ax, ay, bx, by float64) float64 {
		tangent := func(x, y float64) (lengthM, rad float64) {
			d := math.Hypot(x, y)
			return math.Sqrt(d*d - c*c), math.Acos(c / d)
		}
		la, ra := tangent(ax, ay)
		lb, rb := tangent(bx, by)
		between := 2*math.Pi - math.Acos((ax*bx+ay*by)/math.Hypot(ax, ay)/math.Hypot(bx, by))
		return la + lb + c*(between-ra-rb)
	}
	// Round a disk of radius r from one side to the other, off its axis by
	// nothing: tangents and half the circle less the tangents' angles.
	roundDisk := func(r, d float64) float64 {
		return 2*math.Sqrt(d*d-r*r) + r*(math.Pi-2*math.Acos(r/d))
	}
	tests := []struct {
		name         string
		rings        [][]plane.Point
		ax, ay       float64
		bx, by       float64
		want, overM  float64 // the way may be longer than want by overM
		underM       float64 // and shorter by underM
		source       string
		wantStraight bool
	}{
		{"straight across a square", [][]plane.Point{square}, -40, -30, 40, 30, 100, 1e-9, 1e-9, "Pythagoras", true},
		{"round the corner of an L", [][]plane.Point{ell}, -3, 40, 40, -9, roundCorner(-3, 40, 40, -9), 0.0045, 1e-9, "two tangents and an arc, plane geometry", false},
		{"round the corner of an L close by", [][]plane.Point{ell}, -0.1, 2, 2, -0.1, roundCorner(-0.1, 2, 2, -0.1), 0.0045, 1e-9, "two tangents and an arc, plane geometry", false},
		{
			"round a disk of 3,600 corners", [][]plane.Point{square, circle(plane.Point{}, 3600, 20)},
			-40, 0, 40, 0, roundDisk(20+c, 40), 1e-3, 1e-3, "two tangents and an arc, plane geometry", false,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s, at := outline(t, tt.rings...)
			r, err := mustMap(t, s).Path(at(tt.ax, tt.ay), at(tt.bx, tt.by))
			if err != nil {
				t.Fatal(err)
			}
			// The shore's frame is another one than the drawing's: lengths agree to
			// a few parts in a million.
			tol := 3e-6 * tt.want
			if got := float64(r.Length); got > tt.want+tt.overM+tol || got < tt.want-tt.underM-tol {
				t.Errorf("length %.6f m, want %.6f (+%g, -%g) (%s)", got, tt.want, tt.overM, tt.underM, tt.source)
			}
			if straight := len(r.Points) == 2; straight != tt.wantStraight {
				t.Errorf("points %v", r.Points)
			}
			checkLegal(t, s, r, c)
		})
	}
}

// plainShortest is the shortest way with no clearance at all: every corner sees
// every other or not, looked at side by side. It returns the length and by how
// much the way turns in all.
func plainShortest(s *shore.Shore, from, to plane.Point) (lengthM, turn float64) {
	nodes := []plane.Point{from, to}
	for _, ring := range s.Rings() {
		nodes = append(nodes, ring...)
	}
	dist, before, done := make([]float64, len(nodes)), make([]int, len(nodes)), make([]bool, len(nodes))
	for i := range dist {
		dist[i] = math.Inf(1)
	}
	dist[0] = 0
	for {
		at := -1
		for i, d := range dist {
			if !done[i] && (at < 0 || d < dist[at]) {
				at = i
			}
		}
		if at < 0 || at == 1 || math.IsInf(dist[at], 1) {
			break
		}
		done[at] = true
		for i, p := range nodes {
			if d := dist[at] + p.Distance(nodes[at]); d < dist[i] && plainSees(s, nodes[at], p) {
				dist[i], before[i] = d, at
			}
		}
	}
	if math.IsInf(dist[1], 1) {
		return dist[1], 0
	}
	way := []plane.Point{to}
	for i := 1; i != 0; i = before[i] {
		way = append(way, nodes[before[i]])
	}
	for i := 1; i+1 < len(way); i++ {
		a, b := way[i].Sub(way[i-1]), way[i+1].Sub(way[i])
		turn += math.Abs(math.Atan2(a.Cross(b), a.Dot(b)))
	}
	return dist[1], turn
}

// plainSees reports whether ab stays in the water; it may touch the shore.
func plainSees(s *shore.Shore, a, b plane.Point) bool {
	cuts := []float64{0, 1}
	d := b.Sub(a)
	for _, ring := range s.Rings() {
		for i, c := range ring {
			e := ring[(i+1)%len(ring)].Sub(c)
			den := d.Cross(e)
			if den == 0 {
				continue
			}
			u, v := c.Sub(a).Cross(e)/den, c.Sub(a).Cross(d)/den
			if u > 0 && u < 1 && v >= -1e-12 && v <= 1+1e-12 {
				cuts = append(cuts, u)
			}
		}
	}
	slices.Sort(cuts)
	for i := 1; i < len(cuts); i++ {
		if (cuts[i]-cuts[i-1])*d.Norm() < 1e-7 {
			continue
		}
		m := a.Lerp(b, (cuts[i-1]+cuts[i])/2)
		if near, _ := plainNearest(s, m); near > 1e-9 && !plainContains(s, m) {
			return false
		}
	}
	return true
}

func plainContains(s *shore.Shore, p plane.Point) bool {
	in := false
	for _, ring := range s.Rings() {
		in = in != plane.RingContains(ring, p)
	}
	return in
}

func TestPath_AgreesWithPlainVisibilityGraph(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, d := drawPond(t)
		m, err := New(s, DefaultClearance)
		if err != nil {
			t.Fatal(err)
		}
		c := m.clearanceM
		from, to := drawWater(s, d, 0.1), drawWater(s, d, 0.1)
		r, err := m.Path(from, to)
		if errors.Is(err, ErrUnreachable) {
			t.Skip("a neck narrower than two clearances")
		}
		if err != nil {
			t.Fatal(err)
		}
		checkLegal(t, s, r, c)
		plainM, turn := plainShortest(s, from, to)
		if float64(r.Length) < plainM-1e-6 {
			t.Errorf("way of %.9f m is shorter than the shortest, %.9f m", float64(r.Length), plainM)
		}
		// Moved off the shore the shortest way grows by the clearance times its
		// turns, more only where a neck closes.
		if float64(r.Length) > plainM+1.2*c*(turn+0.5) && !narrow(s, c) {
			t.Errorf("way of %.4f m, want at most %.4f m", float64(r.Length), plainM+1.2*c*(turn+0.5))
		}
	})
}

// narrow reports whether the pond has a neck that the clearance may close: two
// corners or a corner and a side of land not next to each other and near.
func narrow(s *shore.Shore, clearanceM float64) bool {
	for r, ring := range s.Rings() {
		for i, p := range ring {
			for q, other := range s.Rings() {
				for k, a := range other {
					if r == q && (k == i || (k+1)%len(other) == i) {
						continue
					}
					if d, _ := plane.SegmentDistance(p, a, other[(k+1)%len(other)]); d < 2.5*clearanceM {
						return true
					}
				}
			}
		}
	}
	return false
}

// TestLinks_NoneIsMissed compares the pruned graph with the one of all bends
// that see each other.
func TestLinks_NoneIsMissed(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, d := drawPond(t)
		m, err := New(s, DefaultClearance)
		if err != nil {
			t.Fatal(err)
		}
		from, to := drawWater(s, d, 0.1), drawWater(s, d, 0.1)
		nodes := []plane.Point{from, to}
		for _, b := range m.bends {
			nodes = append(nodes, b.at)
		}
		dist, done := make([]float64, len(nodes)), make([]bool, len(nodes))
		for i := range dist {
			dist[i] = math.Inf(1)
		}
		dist[0] = 0
		for range nodes {
			at := -1
			for i := range dist {
				if !done[i] && (at < 0 || dist[i] < dist[at]) {
					at = i
				}
			}
			done[at] = true
			for i, p := range nodes {
				if l := dist[at] + p.Distance(nodes[at]); l < dist[i] && s.Clear(nodes[at], p, m.clearanceM) {
					dist[i] = l
				}
			}
		}
		got := m.Distances(from, []plane.Point{to})[0]
		if math.Abs(got-dist[1]) > 1e-6 {
			t.Errorf("way of %.9f m, want %.9f m by the full graph", got, dist[1])
		}
	})
}

func TestReach_AgreesWithPaths(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, d := drawPond(t)
		m, err := New(s, DefaultClearance)
		if err != nil {
			t.Fatal(err)
		}
		from := drawWater(s, d, 0)
		if rapid.Bool().Draw(t, "from the shore") {
			from = s.Rings()[0][0]
		}
		targets := make([]plane.Point, 5)
		for i := range targets {
			targets[i] = drawWater(s, d, 0)
		}
		targets[0] = s.Rings()[0][1].Lerp(s.Rings()[0][2], 0.4)
		within := rapid.Float64Range(1, 200).Draw(t, "within")
		got := m.Reach(targets, unit.Meters(within)).From(from)
		for i, to := range targets {
			want := math.Inf(1)
			if r, err := m.Path(from, to); err == nil && float64(r.Length) <= within {
				want = float64(r.Length)
			}
			if math.Abs(got[i]-want) > 1e-6 && got[i] != want {
				t.Errorf("reach %.9f m, path %.9f m", got[i], want)
			}
		}
	})
}

func TestPath_IsTheSameBothWays(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, d := drawPond(t)
		m, err := New(s, DefaultClearance)
		if err != nil {
			t.Fatal(err)
		}
		a, b := drawWater(s, d, 0), drawWater(s, d, 0)
		there, err1 := m.Path(a, b)
		back, err2 := m.Path(b, a)
		if (err1 == nil) != (err2 == nil) {
			t.Fatalf("there %v, back %v", err1, err2)
		}
		if math.Abs(float64(there.Length-back.Length)) > 1e-9*(1+float64(there.Length)) {
			t.Errorf("there %.9f m, back %.9f m", float64(there.Length), float64(back.Length))
		}
	})
}

// TestTree_WaysDoNotCross lays hoses from one entry all over a pond with arms
// and islands.
func TestTree_WaysDoNotCross(t *testing.T) {
	t.Parallel()
	s, _ := outline(t, arms(600, 1)...)
	m := mustMap(t, s)
	tree, err := m.From(s.Rings()[0][0])
	if err != nil {
		t.Fatal(err)
	}
	var ways []Route
	lo, hi := s.Bounds()
	for x := lo.X + 3; x < hi.X; x += 41 {
		for y := lo.Y + 3; y < hi.Y; y += 37 {
			p := plane.Point{X: x, Y: y}
			if !s.Contains(p) {
				continue
			}
			r, err := tree.Path(p)
			if err != nil {
				t.Fatal(err)
			}
			checkLegal(t, s, r, m.clearanceM)
			ways = append(ways, r)
		}
	}
	if len(ways) < 50 {
		t.Fatalf("only %d ways", len(ways))
	}
	for i, r := range ways {
		for _, q := range ways[:i] {
			for k := 1; k < len(r.Points); k++ {
				for l := 1; l < len(q.Points); l++ {
					a, b, c, d := r.Points[k-1], r.Points[k], q.Points[l-1], q.Points[l]
					if plane.Orient(a, b, c)*plane.Orient(a, b, d) < 0 && plane.Orient(c, d, a)*plane.Orient(c, d, b) < 0 {
						t.Errorf("ways to %v and %v cross", r.Points[len(r.Points)-1], q.Points[len(q.Points)-1])
					}
				}
			}
		}
	}
}

// TestPath_StartsOnTheShore enters at corners and sides, also in pockets.
func TestPath_StartsOnTheShore(t *testing.T) {
	t.Parallel()
	for _, roughM := range []float64{0, 2, 12} {
		s, _ := outline(t, arms(250, roughM)...)
		m := mustMap(t, s)
		for _, ring := range s.Rings() {
			for i := 0; i < len(ring); i += 5 {
				a, b := ring[i], ring[(i+1)%len(ring)]
				for _, p := range []plane.Point{a, a.Lerp(b, 0.37)} {
					r, err := m.Path(p, s.Rings()[0][0])
					if err != nil {
						t.Fatalf("from %v: %v", p, err)
					}
					checkLegal(t, s, r, m.clearanceM)
					if len(r.Points) > 1 && r.Points[0].Distance(r.Points[1]) > 3*m.clearanceM && roughM < 3 {
						t.Errorf("the entry leg at %v is %.3f m long", p, r.Points[0].Distance(r.Points[1]))
					}
				}
			}
		}
	}
}

// TestPath_StartsBesideACape starts all round a corner of land, just beyond the
// clearance, and goes round it either way.
func TestPath_StartsBesideACape(t *testing.T) {
	t.Parallel()
	c := float64(DefaultClearance)
	capes := map[string][]plane.Point{
		"needle": ring(-100, -100, 100, -100, 100, 100, 2, 100, 0, 0, -2, 100, -100, 100),
		"sharp":  ring(-100, -100, 100, -100, 100, 100, 60, 100, 0, 0, -60, 100, -100, 100),
		"blunt":  ring(-100, -100, 100, -100, 100, 50, 0, 0, -100, 50),
		"faint":  ring(-100, -100, 100, -100, 100, 5, 0, 0, -100, 5),
	}
	for name, outer := range capes {
		s, at := outline(t, outer)
		m := mustMap(t, s)
		for _, off := range []float64{1e-6, 0.02, 0.08, 0.3} {
			for deg := 180; deg <= 360; deg += 3 {
				v := heading(float64(deg) * math.Pi / 180).Scale(c * (1 + off))
				from := at(v.X, v.Y)
				if !s.Contains(from) {
					continue
				}
				for _, x := range []float64{-90, 90} {
					to := at(x, -5)
					r, err := m.Path(from, to)
					if err != nil {
						t.Fatalf("from %v: %v", from, err)
					}
					checkLegal(t, s, r, c)
					if float64(r.Length) > from.Distance(to)+3*c {
						t.Errorf("%s cape: %.4f m from %v to %v", name, float64(r.Length), from, to)
					}
				}
			}
		}
	}
}

func TestPath_Errors(t *testing.T) {
	t.Parallel()
	// Two basins joined by a ditch 80 mm wide.
	neck := ring(-20, -10, -3, -10, -3, -0.04, 3, -0.04, 3, -10, 20, -10, 20, 10, 3, 10, 3, 0.04, -3, 0.04, -3, 10, -20, 10)
	s, at := outline(t, neck)
	m := mustMap(t, s)
	nan := plane.Point{X: math.NaN(), Y: 1}
	tests := []struct {
		name     string
		from, to plane.Point
		end      string
		want     error
	}{
		{"start ashore", at(-30, 0), at(10, 0), "start", ErrAshore},
		{"end ashore", at(-10, 0), at(0, 5), "end", ErrAshore},
		{"start not a place", nan, at(10, 0), "start", ErrAshore},
		{"end not a place", at(10, 0), nan, "end", ErrAshore},
		{"through a ditch too narrow", at(-10, 0), at(10, 0), "end", ErrUnreachable},
		{"from inside the ditch", at(0, 0), at(10, 0), "start", ErrNoWater},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			_, err := m.Path(tt.from, tt.to)
			var end *EndError
			if !errors.Is(err, tt.want) || !errors.As(err, &end) || end.End != tt.end {
				t.Errorf("error %v, want %v at the %s", err, tt.want, tt.end)
			}
			if d := m.Distances(tt.from, []plane.Point{tt.to}); !math.IsInf(d[0], 1) {
				t.Errorf("distance %v, want +Inf", d[0])
			}
		})
	}
	// Clear water lies 0.15 m away, beyond a wall of 0.1 m.
	walled, inDitch := outline(t, ring(-20, 0.1, 3, 0.1, 3, 0, -3, 0, -3, -0.08, 3.08, -0.08, 3.08, 0.1, 20, 0.1, 20, 20, -20, 20))
	if _, err := mustMap(t, walled).From(inDitch(-1, -0.04)); !errors.Is(err, ErrNoWater) {
		t.Errorf("from a ditch behind a wall: error %v", err)
	}
	// A thinner hose may pass.
	thin, err := New(s, 0.02)
	if err != nil {
		t.Fatal(err)
	}
	if r, err := thin.Path(at(-10, 0), at(10, 0)); err != nil || math.Abs(float64(r.Length)-20) > 1e-3 {
		t.Errorf("way %v, error %v", r, err)
	}
	var rangeErr *unit.RangeError
	if _, err := New(s, 0); !errors.As(err, &rangeErr) {
		t.Errorf("clearance of zero: error %v", err)
	}
}

func TestEntry(t *testing.T) {
	t.Parallel()
	square := ring(-50, -50, 50, -50, 50, 50, -50, 50)
	island := ring(-5, -5, 5, -5, 5, 5, -5, 5)
	s, at := outline(t, square, island)
	m := mustMap(t, s)
	tests := []struct {
		name       string
		mast, want plane.Point
	}{
		{"beside a bank", at(70, 10), at(50, 10)},
		{"beyond a corner", at(53, 54), at(50, 50)},
		{"on an island", at(1, 4), at(1, 5)},
		{"at the water's edge", at(50, 3), at(50, 3)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, err := m.Entry(tt.mast, DefaultTrenchLimit)
			if err != nil || got.Distance(tt.want) > 1e-6 {
				t.Fatalf("entry %v, error %v, want %v", got, err, tt.want)
			}
			r, err := m.Path(got, at(20, -30))
			if err != nil {
				t.Fatal(err)
			}
			checkLegal(t, s, r, m.clearanceM)
		})
	}
	if _, err := m.Entry(at(20, 20), DefaultTrenchLimit); !errors.Is(err, ErrMastInWater) {
		t.Errorf("mast in the water: error %v", err)
	}
	var far *FarMastError
	if _, err := m.Entry(at(300, 0), DefaultTrenchLimit); !errors.As(err, &far) || math.Abs(float64(far.Distance)-250) > 0.01 {
		t.Errorf("mast 250 m off: error %v", err)
	}
	if _, err := m.Entry(at(300, 0), 260); err != nil {
		t.Errorf("mast 250 m off with a limit of 260 m: %v", err)
	}
	if _, err := m.Entry(plane.Point{X: math.NaN()}, DefaultTrenchLimit); !errors.As(err, &far) {
		t.Errorf("mast nowhere: error %v", err)
	}
}

// TestEntry_PassesANook has a ditch 60 mm wide reach toward the mast.
func TestEntry_PassesANook(t *testing.T) {
	t.Parallel()
	s, at := outline(t, ring(-20, -10, 20, -10, 20, -0.03, 24, -0.03, 24, 0.03, 20, 0.03, 20, 10, -20, 10))
	m := mustMap(t, s)
	got, err := m.Entry(at(25, 0), DefaultTrenchLimit)
	if err != nil {
		t.Fatal(err)
	}
	r, err := m.Path(got, at(0, 0))
	if err != nil {
		t.Fatal(err)
	}
	checkLegal(t, s, r, m.clearanceM)
	if s.Crosses(at(25, 0), at(25, 0).Lerp(got, 1-1e-6)) {
		t.Error("the trench crosses water")
	}
}

func TestAlongBed(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		points []plane.Point
		depthM func(plane.Point) float64
		want   float64
		tol    float64
		source string
	}{
		{"no way", nil, func(plane.Point) float64 { return 1 }, 0, 0, "definition"},
		{"a point", ring(1, 2), func(plane.Point) float64 { return 1 }, 0, 0, "definition"},
		{"level bed", ring(0, 0, 3, 4, 3, 10), func(plane.Point) float64 { return 2 }, 11, 1e-12, "Pythagoras"},
		{"plane slope of 3 in 4", ring(0, 0, 8, 0), func(p plane.Point) float64 { return 0.75 * p.X }, 10, 1e-12, "Pythagoras"},
		{
			"half circle of 10 m", ring(-10, 0, 10, 0), func(p plane.Point) float64 { return math.Sqrt(max(0, 100-p.X*p.X)) },
			math.Pi * 10, 0.06, "circumference; chords of 0.5 m in the plan",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := float64(AlongBed(tt.points, tt.depthM)); math.Abs(got-tt.want) > tt.tol {
				t.Errorf("length %.6f m, want %.6f within %g (%s)", got, tt.want, tt.tol, tt.source)
			}
		})
	}
}
