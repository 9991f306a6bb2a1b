package site

import (
	"fmt"
	"iter"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// Layouts yields the best layout found for 1, 2, 3 … sites, at most as many as
// asked for, and ends early when no more fit at their spacing.
func (f *Field) Layouts(atMost int) iter.Seq[Layout] {
	return func(yield func(Layout) bool) {
		for k := 1; k <= atMost; k++ {
			l, ok := f.Layout(k)
			if !ok || !yield(l) {
				return
			}
		}
	}
}

// Layout returns the best layout found for so many sites, and whether that many
// fit at their spacing. It depends on the field and the number alone.
func (f *Field) Layout(sites int) (Layout, bool) {
	if sites < 1 || sites > len(f.candidates) {
		return Layout{}, false
	}
	s := find(f.cover, sites)
	if s.rows == nil {
		return Layout{}, false
	}
	return f.layout(s.rows, s.bound()), true
}

// layout dresses the chosen rows.
func (f *Field) layout(rows []int, boundM3 float64) Layout {
	s := f.cover.choose(rows)
	l := Layout{Bound: unit.CubicMeters(max(boundM3, s.valueM3)), Cautions: slices.Clone(f.cautions)}
	l.Gap = float64(l.Bound)/s.valueM3 - 1
	for _, i := range rows {
		c := f.candidates[i]
		l.Sites = append(l.Sites, Site{At: f.problem.Cells[c].At, Depth: unit.Meters(f.problem.Cells[c].DepthM), Cell: c, Basin: f.basinOf[c]})
	}
	f.account(&l, s)
	return l
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
			l.Cautions = append(l.Cautions, Caution{BasinWithoutSite, fmt.Sprintf(
				"the basin %.1f m deep behind a sill at %.1f m has no diffuser: its deep water stays unmixed", float64(basin.Depth), float64(basin.Sill))})
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
	var rows []int
	for i, p := range placed {
		if !f.problem.Water.Shore().Contains(p.At) {
			return Layout{}, fmt.Errorf("site %d of %d: %w", i+1, len(placed), ErrSiteAshore)
		}
		c := f.nearestCell(p.At)
		given.add(f.serves(p.At, float64(p.Depth), f.basinOf[c]))
		rows = append(rows, i)
		l.Sites = append(l.Sites, Site{At: p.At, Depth: p.Depth, Cell: c, Basin: f.basinOf[c]})
		f.warn(&l, i)
	}
	f.account(&l, given.choose(rows))
	return l, nil
}

// warn adds the cautions about site i beside those before it.
func (f *Field) warn(l *Layout, i int) {
	s := l.Sites[i]
	if s.Depth < f.rules.ShallowDepth {
		l.Cautions = append(l.Cautions, Caution{ShallowSites, fmt.Sprintf(
			"site %d stands in %.2f m of water, a diffuser needs %.2f m", i+1, float64(s.Depth), float64(f.rules.ShallowDepth))})
	}
	if f.inZone(s.At) {
		l.Cautions = append(l.Cautions, Caution{SiteInZone, fmt.Sprintf("site %d stands in a keep-out zone", i+1)})
	}
	for k, o := range l.Sites[:i] {
		if f.tooNear(s.At, o.At, float64(s.Depth), float64(o.Depth)) {
			l.Cautions = append(l.Cautions, Caution{SitesTooClose, fmt.Sprintf("sites %d and %d stand %.1f m apart, closer than %g submergences",
				k+1, i+1, s.At.Distance(o.At), f.rules.Spacing)})
		}
	}
}
