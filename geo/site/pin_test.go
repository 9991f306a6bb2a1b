package site

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pondwright/calc/unit"

	"pondwright/geo/internal/known"
	"pondwright/geo/plane"
)

// The bound holds for every layout round the pins: it is never below the best
// one, found by trying all.
func TestBeside_BoundsEveryChoice(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(r *rapid.T) {
		c := drawCover(r)
		if len(c.rows) < 3 {
			return
		}
		pin := rapid.IntRange(0, len(c.rows)-1).Draw(r, "pin")
		taken := c.rows[pin]
		others := &cover{cells: c.cells}
		for i, row := range c.rows {
			if i != pin {
				others.add(row)
			}
		}
		k := rapid.IntRange(1, min(3, len(others.rows))).Draw(r, "sites")
		rest, takenM3 := others.beside([][]share{taken})
		s := find(rest, k, true)
		if s.rows == nil {
			return
		}
		// The best with the pin: all choices of k others, valued plainly.
		best := 0.0
		var try func(from int, rows []int)
		try = func(from int, rows []int) {
			if len(rows) == k {
				all := &cover{cells: c.cells, rows: [][]share{taken}}
				for _, i := range rows {
					all.add(others.rows[i])
				}
				best = max(best, all.all().valueM3)
				return
			}
			for i := from; i < len(others.rows); i++ {
				try(i+1, append(slices.Clip(rows), i))
			}
		}
		try(0, nil)
		if bound := takenM3 + s.bound(); bound < best*(1-1e-9) {
			r.Fatalf("bound %g, the best is %g", bound, best)
		}
		if got := takenM3 + s.valueM3; got > best*(1+1e-9) {
			r.Fatalf("found %g, the best is %g", got, best)
		}
	})
}

func TestLayouts_HoldThePins(t *testing.T) {
	t.Parallel()
	p := named(t, "island ring of 8 acres")
	p.cellM = 6
	prob := p.problem(t)
	prob.Pins = []Placed{{At: plane.Point{X: 60, Y: 10}, Depth: 3.6}, {At: plane.Point{X: 62, Y: 12}, Depth: 3.6}}
	f := mustField(t, prob)
	if _, ok := f.Layout(1); ok {
		t.Error("one site in spite of two pins")
	}
	n := 1
	for l := range f.Layouts(6) {
		n++
		if len(l.Sites) != n || !l.Sites[0].Pinned || !l.Sites[1].Pinned || l.Sites[0].At != prob.Pins[0].At {
			t.Fatalf("%d sites: %+v", n, l.Sites)
		}
		if l.Gap < 0 || l.Gap > 0.01 || l.Bound < l.Served {
			t.Errorf("%d sites: gap %g, served %v, bound %v", n, l.Gap, l.Served, l.Bound)
		}
		placed := make([]Placed, n)
		for i, s := range l.Sites {
			placed[i] = Placed{At: s.At, Depth: s.Depth}
			if i < 2 {
				continue
			}
			for _, pin := range prob.Pins {
				if s.Pinned || s.At.Distance(pin.At) < 2*(3.6-0.3) {
					t.Errorf("site %+v beside the pin %v", s, pin.At)
				}
			}
		}
		again, err := f.Evaluate(placed)
		if err != nil || math.Abs(float64(again.Served-l.Served)) > 1e-6*float64(l.Served) {
			t.Errorf("%d sites serve %v, evaluated %v, %v", n, l.Served, again.Served, err)
		}
		sketch, ok := f.Sketch(n)
		if !ok || sketch.Served > l.Bound || sketch.Gap != 0 || sketch.Bound != 0 {
			t.Errorf("sketch of %d: %v served, bound %v", n, sketch.Served, l.Bound)
		}
	}
	if n != 6 {
		t.Errorf("layouts up to %d", n)
	}
	prob.Pins = []Placed{{At: plane.Point{X: 500}, Depth: 3}}
	if _, err := New(prob, nil); !errors.Is(err, ErrSiteAshore) {
		t.Errorf("a pin ashore: %v", err)
	}
}

// BenchmarkLayout_Table is the table of gaps and times: the known ponds and those
// of our own making, with a zone across each and one pin.
func BenchmarkLayout_Table(b *testing.B) {
	probs := make(map[string]Problem)
	var names []string
	for _, name := range known.Names() {
		names, probs[name] = append(names, name), readPond(b, name)
	}
	for _, p := range ponds()[:6] {
		names, probs[p.name] = append(names, p.name), p.problem(b)
	}
	for _, name := range names {
		prob := probs[name]
		prob.Zones = [][]plane.Point{{{X: -15, Y: -900}, {X: 5, Y: -900}, {X: 5, Y: 900}, {X: -15, Y: 900}}}
		deepest := prob.Cells[byDepth(prob.Cells)[0]]
		prob.Pins = []Placed{{At: deepest.At, Depth: unit.Meters(deepest.DepthM)}}
		f := mustField(b, prob)
		for _, k := range []int{3, 5, 8, 12, 20} {
			b.Run(fmt.Sprintf("%s/sites=%d", name, k), func(b *testing.B) {
				for b.Loop() {
					l, ok := f.Layout(k)
					if !ok {
						b.Skip("no room")
					}
					b.ReportMetric(100*l.Gap, "%gap")
				}
			})
		}
	}
}
