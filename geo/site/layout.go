package site

import (
	"iter"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// Layouts yields the best layout found for 1, 2, 3 … sites, from as many as are
// pinned to at most as many as asked for, and ends early when no more fit at their
// spacing.
func (f *Field) Layouts(atMost int) iter.Seq[Layout] {
	return func(yield func(Layout) bool) {
		for k := max(1, len(f.pins)); k <= atMost; k++ {
			l, ok := f.Layout(k)
			if !ok || !yield(l) {
				return
			}
		}
	}
}

// Layout returns the best layout found for so many sites, pins among them, and
// whether that many fit at their spacing. It depends on the field and the number
// alone. Where sites are pinned, Bound is on the layouts that hold the pins.
func (f *Field) Layout(sites int) (Layout, bool) {
	s, ok := f.find(sites, true)
	if !ok {
		return Layout{}, false
	}
	bound := s.valueM3
	if s.k > 0 {
		bound = s.bound()
	}
	return f.layout(s.rows, f.pinnedM3+bound), true
}

// Sketch is a Layout without a proof, found in a fraction of the time: its Bound
// and Gap are zero.
func (f *Field) Sketch(sites int) (Layout, bool) {
	s, ok := f.find(sites, false)
	if !ok {
		return Layout{}, false
	}
	l := f.layout(s.rows, 0)
	l.Bound, l.Gap = 0, 0
	return l, true
}

// find looks for the best rows beside the pins.
func (f *Field) find(sites int, priced bool) (*search, bool) {
	k := sites - len(f.pins)
	if sites < 1 || k < 0 || k > len(f.candidates) {
		return nil, false
	}
	if k == 0 {
		return &search{c: f.cover}, true
	}
	s := find(f.cover, k, priced)
	return s, s.rows != nil
}

// layout dresses the chosen rows.
func (f *Field) layout(rows []int, boundM3 float64) Layout {
	chosen := &cover{cells: f.cover.cells, rows: slices.Clone(f.pinRows)}
	l := Layout{Sites: slices.Clone(f.pins), Cautions: slices.Clone(f.cautions)}
	for _, i := range rows {
		c := f.candidates[i]
		chosen.add(f.rows[i])
		l.Sites = append(l.Sites, Site{At: f.problem.Cells[c].At, Depth: unit.Meters(f.problem.Cells[c].DepthM), Cell: c, Basin: f.basinOf[c]})
	}
	s := chosen.all()
	l.Bound = unit.CubicMeters(max(boundM3, s.valueM3))
	l.Gap = float64(l.Bound)/s.valueM3 - 1
	f.account(&l, s)
	for i := range f.pins {
		f.warn(&l, i)
	}
	return l
}

// all chooses every row.
func (c *cover) all() *choice {
	rows := make([]int, len(c.rows))
	for i := range rows {
		rows[i] = i
	}
	return c.choose(rows)
}

// account fills in what the layout's sites serve.
func (f *Field) account(l *Layout, s *choice) {
	for j, k := range s.owner {
		if k >= 0 {
			l.Sites[k].Serves += unit.CubicMeters(s.best[j])
		}
	}
	l.Served = unit.CubicMeters(s.valueM3)
	l.Unserved = max(0, 1-s.valueM3/f.volumeM3)
	for b, basin := range f.basins {
		if !slices.ContainsFunc(l.Sites, func(s Site) bool { return s.Basin == b }) {
			l.Cautions = append(l.Cautions, Caution{BasinWithoutSite, unit.Say(
				"the basin %s deep behind a sill at %s has no diffuser: its deep water stays unmixed", basin.Depth.Text(), basin.Sill.Text())})
		}
	}
}

// Placed is a diffuser that a person put somewhere.
type Placed struct {
	At    plane.Point
	Depth unit.Meters // of the water there
}

// Evaluate returns what diffusers at the given places serve, with cautions for
// those too shallow, too close to one another or in a zone. Bound and Gap are
// zero: the places are not chosen, so nothing is claimed about them. It returns
// ErrSiteAshore, wrapped with the number of the site, for one outside the water.
func (f *Field) Evaluate(placed []Placed) (Layout, error) {
	var l Layout
	given := &cover{cells: len(f.problem.Cells)}
	for i, p := range placed {
		s, row, err := f.place(i, len(placed), p)
		if err != nil {
			return Layout{}, err
		}
		given.add(row)
		l.Sites = append(l.Sites, s)
		f.warn(&l, i)
	}
	f.account(&l, given.all())
	return l, nil
}

// warn adds the cautions about site i beside those before it.
func (f *Field) warn(l *Layout, i int) {
	s := l.Sites[i]
	if s.Depth < f.rules.ShallowDepth {
		l.Cautions = append(l.Cautions, Caution{ShallowSites, unit.Say(
			"site %d stands in %s of water, a diffuser needs %s", i+1, s.Depth.Text(), f.rules.ShallowDepth.Text())})
	}
	if f.inZone(s.At) {
		l.Cautions = append(l.Cautions, Caution{SiteInZone, unit.Say("site %d stands in a keep-out zone", i+1)})
	}
	for k, o := range l.Sites[:i] {
		if f.tooNear(s.At, o.At, float64(s.Depth), float64(o.Depth)) {
			l.Cautions = append(l.Cautions, Caution{SitesTooClose, unit.Say("sites %d and %d stand %s apart, closer than %g submergences",
				k+1, i+1, unit.Meters(s.At.Distance(o.At)).Text(), f.rules.Spacing)})
		}
	}
}
