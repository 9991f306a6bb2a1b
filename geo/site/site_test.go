package site

import (
	"errors"
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

func named(t testing.TB, name string) pond {
	t.Helper()
	for _, p := range ponds() {
		if p.name == name {
			return p
		}
	}
	t.Fatalf("no pond %q", name)
	return pond{}
}

func mustField(t testing.TB, p Problem) *Field {
	t.Helper()
	f, err := New(p, nil)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// level is a pond of one depth all over.
func level(radiusM, depthM, cellM float64) pond {
	return pond{"level disk", [][]plane.Point{star(plane.Point{}, 240, func(float64) float64 { return radiusM })},
		func(plane.Point, float64) float64 { return depthM }, cellM}
}

// TestNew_ServesByTheRule compares one diffuser in level water with the
// integral: all within a = 4 H, falling evenly to none at 2 a, makes
// 7/3 π a² of water surface.
func TestNew_ServesByTheRule(t *testing.T) {
	t.Parallel()
	f := mustField(t, level(40, 3, 0.8).problem(t))
	l, err := f.Evaluate([]Placed{{At: plane.Point{}, Depth: 3}})
	if err != nil {
		t.Fatal(err)
	}
	a := 4 * (3 - 0.3)
	want := 7.0 / 3 * math.Pi * a * a * 3
	if got := float64(l.Served); math.Abs(got-want) > 0.005*want {
		t.Errorf("serves %.1f m³, want %.1f within 0.5 %% (integral)", got, want)
	}
	if l.Sites[0].Serves != l.Served {
		t.Errorf("the only site serves %g of %g m³", float64(l.Sites[0].Serves), float64(l.Served))
	}
}

// TestLayouts_KeepTheRules checks every layout by the rules, plainly.
func TestLayouts_KeepTheRules(t *testing.T) {
	t.Parallel()
	for _, p := range ponds()[:5] {
		t.Run(p.name, func(t *testing.T) {
			t.Parallel()
			p.cellM *= 1.7
			prob := p.problem(t)
			keepOut := []plane.Point{{X: -15, Y: -200}, {X: 5, Y: -200}, {X: 5, Y: 200}, {X: -15, Y: 200}}
			prob.Zones = [][]plane.Point{keepOut}
			f := mustField(t, prob)
			lastM3 := unit.CubicMeters(0)
			n := 0
			for l := range f.Layouts(8) {
				n++
				if len(l.Sites) != n {
					t.Fatalf("%d sites, want %d", len(l.Sites), n)
				}
				if l.Served < lastM3*(1-1e-9) {
					t.Errorf("%d sites serve less than %d", n, n-1)
				}
				lastM3 = l.Served
				if l.Bound < l.Served || l.Gap < 0 || l.Gap > 0.01 {
					t.Errorf("%d sites: served %.0f, bound %.0f, gap %.4f, want at most 0.01", n, float64(l.Served), float64(l.Bound), l.Gap)
				}
				var sumM3 unit.CubicMeters
				for i, s := range l.Sites {
					c := prob.Cells[s.Cell]
					sumM3 += s.Serves
					leastM := max(1.8, 0.6*float64(f.Basins()[s.Basin].Depth))
					if c.DepthM < leastM || c.ShoreM < max(6, 2*c.DepthM) || c.Slope >= 0.2 || plane.RingContains(keepOut, c.At) {
						t.Errorf("site %+v on %+v breaks a rule", s, c)
					}
					for _, o := range l.Sites[:i] {
						if d := s.At.Distance(o.At); d < 2*(float64(max(s.Depth, o.Depth))-0.3) {
							t.Errorf("sites %.2f m apart at depths of %.2f and %.2f m", d, float64(s.Depth), float64(o.Depth))
						}
					}
				}
				if math.Abs(float64(sumM3-l.Served)) > 1e-6*float64(l.Served) {
					t.Errorf("the sites serve %.1f m³, the layout %.1f", float64(sumM3), float64(l.Served))
				}
			}
			if n != 8 {
				t.Errorf("%d layouts, want 8", n)
			}
		})
	}
}

// TestLayouts_GapToTwenty goes on to 20 sites where that is hardest: in a round
// pond every layout has many twins, which keeps the plain bound away.
func TestLayouts_GapToTwenty(t *testing.T) {
	t.Parallel()
	p := named(t, "disk of 2 acres")
	p.cellM = 3
	f := mustField(t, p.problem(t))
	n := 0
	for l := range f.Layouts(20) {
		n++
		limit := 0.01
		if n > 8 {
			limit = 0.02
		}
		if l.Gap > limit {
			t.Errorf("%d sites: gap %.4f, want at most %.2f", n, l.Gap, limit)
		}
	}
	if n < 12 {
		t.Errorf("only %d sites fit", n)
	}
}

func TestLayouts_AreRepeatable(t *testing.T) {
	t.Parallel()
	p := named(t, "L of 12 acres")
	p.cellM = 7
	prob := p.problem(t)
	var first []Layout
	for l := range mustField(t, prob).Layouts(6) {
		first = append(first, l)
	}
	f := mustField(t, prob)
	for k, want := range first {
		got, ok := f.Layout(k + 1)
		if diff := cmp.Diff(want, got); !ok || diff != "" {
			t.Errorf("layout of %d sites differs (-first +again):\n%s", k+1, diff)
		}
		placed := make([]Placed, len(want.Sites))
		for i, s := range want.Sites {
			placed[i] = Placed{s.At, s.Depth}
		}
		l, err := f.Evaluate(placed)
		if err != nil || math.Abs(float64(l.Served-want.Served)) > 1e-9*float64(want.Served) {
			t.Errorf("evaluated %.3f m³, chosen for %.3f, error %v", float64(l.Served), float64(want.Served), err)
		}
	}
	if _, ok := f.Layout(0); ok {
		t.Error("a layout without sites")
	}
	if _, ok := f.Layout(1e6); ok {
		t.Error("a layout of a million sites")
	}
}

// TestLayouts_FillBasinsBehindSills puts one of two sites in each basin, and
// warns when there is only one.
func TestLayouts_FillBasinsBehindSills(t *testing.T) {
	t.Parallel()
	p := named(t, "two basins of 6 acres")
	p.cellM = 4
	f := mustField(t, p.problem(t))
	if b := f.Basins(); len(b) != 2 || b[0].Sill < 1 || b[0].Sill > 2.2 || b[0].Depth < 4 || b[1].Depth < 4 {
		t.Fatalf("basins %+v", b)
	}
	one, _ := f.Layout(1)
	two, _ := f.Layout(2)
	has := func(l Layout) bool {
		return slices.ContainsFunc(l.Cautions, func(c Caution) bool { return c.Code == BasinWithoutSite })
	}
	if !has(one) || has(two) || two.Sites[0].Basin == two.Sites[1].Basin {
		t.Errorf("one %+v\ntwo %+v", one, two)
	}
	// Across the sill only the water above it is served.
	at := func(x float64) Placed { return Placed{plane.Point{X: x}, 4} }
	near, err := f.Evaluate([]Placed{at(-10)})
	if err != nil {
		t.Fatal(err)
	}
	wholly := 0
	for j, c := range f.problem.Cells {
		served := f.cellServed(near.Sites[0], j)
		sillM := float64(f.basins[0].Sill)
		if f.basinOf[j] == near.Sites[0].Basin || served == 0 || c.DepthM <= sillM {
			continue
		}
		if above := c.AreaM2 * sillM; served > above*(1+1e-9) {
			t.Errorf("%.2f m³ served across the sill in a cell with %.2f m³ above it", served, above)
		} else if served > above*0.99 {
			wholly++
		}
	}
	if wholly == 0 {
		t.Error("no water is wholly served across the sill")
	}
}

// cellServed returns what a site serves in cell j.
func (f *Field) cellServed(s Site, j int) float64 {
	for _, v := range f.serves(s.At, float64(s.Depth), s.Basin) {
		if int(v.cell) == j {
			return v.valueM3
		}
	}
	return 0
}

func TestNew_RelaxesAndRefuses(t *testing.T) {
	t.Parallel()
	codes := func(cs []Caution) (list []string) {
		for _, c := range cs {
			list = append(list, c.Code)
		}
		return list
	}
	tests := []struct {
		name   string
		pond   pond
		change func(*Problem)
		want   []string // cautions
		err    any      // pointer to the type of error, or a sentinel
	}{
		{"deep and level", level(40, 3, 4), nil, nil, nil},
		{"1.5 m deep", level(40, 1.5, 4), nil, []string{ShallowSites}, nil},
		{"1.1 m deep", level(40, 1.1, 4), nil, nil, new(*TooShallowError)},
		{"on a slope", level(40, 3, 4), func(p *Problem) {
			for i := range p.Cells {
				p.Cells[i].Slope = 0.3
			}
		}, []string{SteepSites}, nil},
		{"narrow", level(5, 3, 1), nil, []string{SitesNearShore}, nil},
		{"many cells", level(40, 3, 1), nil, []string{Thinned}, nil},
		{"all in a zone", level(40, 3, 4), func(p *Problem) {
			p.Zones = [][]plane.Point{ring(-99, -99, 99, -99, 99, 99, -99, 99)}
		}, nil, new(*NoRoomError)},
		{"all barred", level(40, 3, 4), func(p *Problem) {
			for i := range p.Cells {
				p.Cells[i].Barred = true
			}
		}, nil, new(*NoRoomError)},
		{"no cells", level(40, 3, 4), func(p *Problem) { p.Cells = nil }, nil, new(*TooShallowError)},
		{"a depth that is no number", level(40, 3, 4), func(p *Problem) { p.Cells[7].DepthM = math.NaN() }, nil, new(*unit.RangeError)},
		{"a diffuser on stilts", level(40, 3, 4), func(p *Problem) { p.HeightOffBottom = 1.5 }, nil, new(*unit.RangeError)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			prob := tt.pond.problem(t)
			if tt.change != nil {
				tt.change(&prob)
			}
			f, err := New(prob, nil)
			if tt.err != nil {
				if err == nil || !errors.As(err, tt.err) {
					t.Fatalf("error %v, want %T", err, tt.err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			l, ok := f.Layout(1)
			if got := codes(l.Cautions); !ok || !slices.Equal(got, tt.want) {
				t.Errorf("cautions %v, want %v", got, tt.want)
			}
		})
	}
}

func TestNew_CanBeCanceled(t *testing.T) {
	t.Parallel()
	calls := 0
	_, err := New(level(40, 3, 4).problem(t), func(share float64) bool { calls++; return share < 0.5 })
	if !errors.Is(err, ErrCanceled) || calls < 2 {
		t.Errorf("error %v after %d calls", err, calls)
	}
}

// TestLayouts_EndWhenFull asks for more sites than fit.
func TestLayouts_EndWhenFull(t *testing.T) {
	t.Parallel()
	f := mustField(t, level(20, 5, 2).problem(t))
	n := 0
	for range f.Layouts(60) {
		n++
	}
	if n < 1 || n > 7 {
		t.Errorf("%d sites at least 9.4 m apart fit where the setback leaves a disk of 10 m radius", n)
	}
}

func TestEvaluate_Warns(t *testing.T) {
	t.Parallel()
	prob := level(40, 3, 4).problem(t)
	prob.Zones = [][]plane.Point{ring(10, 10, 20, 10, 20, 20, 10, 20)}
	f := mustField(t, prob)
	l, err := f.Evaluate([]Placed{{plane.Point{}, 3}, {plane.Point{X: 4}, 3}, {plane.Point{X: 15, Y: 15}, 3}, {plane.Point{X: -20}, 0.8}})
	if err != nil {
		t.Fatal(err)
	}
	for _, code := range []string{SitesTooClose, SiteInZone, ShallowSites} {
		if !slices.ContainsFunc(l.Cautions, func(c Caution) bool { return c.Code == code }) {
			t.Errorf("no caution %s in %v", code, l.Cautions)
		}
	}
	if _, err := f.Evaluate([]Placed{{plane.Point{X: 90}, 3}}); !errors.Is(err, ErrSiteAshore) {
		t.Errorf("ashore: error %v", err)
	}
}

// TestNew_ThinningCostsLittle doubles the candidates.
func TestNew_ThinningCostsLittle(t *testing.T) {
	t.Parallel()
	prob := named(t, "arms of 30 acres").problem(t)
	few := mustField(t, prob)
	kept, before := few.Candidates()
	if len(kept) != DefaultRules().MaxCandidates || before <= len(kept) {
		t.Fatalf("%d of %d candidates", len(kept), before)
	}
	prob.Rules.MaxCandidates = 2 * len(kept)
	many := mustField(t, prob)
	for _, k := range []int{1, 4, 8} {
		a, _ := few.Layout(k)
		b, _ := many.Layout(k)
		if float64(b.Served) > 1.005*float64(a.Served) {
			t.Errorf("%d sites: twice the candidates serve %.2f %% more", k, 100*(float64(b.Served)/float64(a.Served)-1))
		}
	}
}

func BenchmarkLayouts(b *testing.B) {
	for _, p := range ponds() {
		b.Run(p.name, func(b *testing.B) {
			prob := p.problem(b)
			b.ReportAllocs()
			for b.Loop() {
				f := mustField(b, prob)
				for l := range f.Layouts(8) {
					b.ReportMetric(100*l.Gap, "%gap")
				}
			}
		})
	}
}

func BenchmarkLayout_Hardest(b *testing.B) {
	f := mustField(b, named(b, "disk of 2 acres").problem(b))
	for b.Loop() {
		l, _ := f.Layout(5)
		b.ReportMetric(100*l.Gap, "%gap")
	}
}
