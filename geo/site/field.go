package site

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/route"
)

// Field is a pond ready for layouts: its basins, the places considered and the
// water that each would serve. Make one with New; it is immutable and safe to
// share between goroutines.
type Field struct {
	problem    Problem
	rules      Rules
	volumeM3   float64
	basins     []Basin
	basinOf    []int
	sillsM     [][]float64
	candidates []int // cells, ascending
	eligible   int
	cover      *cover    // of the candidates, by what they add to the pins
	rows       [][]share // of the candidates, by what they serve alone
	pins       []Site
	pinRows    [][]share
	pinnedM3   float64 // served by the pins together
	reach      *route.Reach
	cautions   []Caution
}

// New prepares the choice of sites. It calls progress, which may be nil, with
// the share of the work done and returns ErrCanceled when that returns false. It
// returns a *TooShallowError for a pond in which no diffuser can work, a
// *NoRoomError when no place is left and nothing is pinned, a *unit.RangeError for
// cells that are no water, and ErrSiteAshore, wrapped with the number of the pin,
// for a pin outside the water.
func New(p Problem, progress func(share float64) bool) (*Field, error) {
	if err := check(p); err != nil {
		return nil, err
	}
	f := &Field{problem: p, rules: p.Rules.filled()}
	for _, c := range p.Cells {
		f.volumeM3 += c.volumeM3()
	}
	f.basins, f.basinOf, f.sillsM = findBasins(p.Cells, neighborsOf(p.Cells, p.Water.Shore().Crosses), f.rules)
	open, err := f.open()
	if full := new(NoRoomError); errors.As(err, &full) && len(p.Pins) > 0 {
		err = nil // the pins are all there is
	}
	if err != nil {
		return nil, err
	}
	f.eligible = len(open)
	f.candidates = f.thin(open)
	if f.eligible > len(f.candidates) {
		f.caution(Thinned, unit.Say("%d of %d possible places were considered, closest together in deep water", len(f.candidates), f.eligible))
	}
	return f, f.prepare(progress)
}

func check(p Problem) error {
	if p.Water == nil {
		return fmt.Errorf("site: no water to measure distances through")
	}
	if len(p.Cells) == 0 {
		return &TooShallowError{Needed: p.Rules.filled().ShallowDepth}
	}
	for i, c := range p.Cells {
		for _, q := range []struct {
			name        string
			got, lo, hi float64
		}{
			{"depth of cell %d (m)", c.DepthM, 0, 100},
			{"area of cell %d (m²)", c.AreaM2, 0, 1e6},
			{"bed slope of cell %d (rise over run)", c.Slope, 0, math.MaxFloat64},
			{"distance of cell %d from the bank (m)", c.ShoreM, 0, 1e5},
			{"east of cell %d (m)", c.At.X, -1e5, 1e5},
			{"north of cell %d (m)", c.At.Y, -1e5, 1e5},
		} {
			if !(q.got >= q.lo && q.got <= q.hi) {
				return unit.CheckRange(fmt.Sprintf(q.name, i), q.got, q.lo, q.hi, "limits of this package")
			}
		}
	}
	return unit.CheckRange("height of the diffuser off the bottom (m)", float64(p.HeightOffBottom), 0, 1, "limits of this package")
}

// Basins returns the pond's basins, the deepest first.
func (f *Field) Basins() []Basin { return slices.Clone(f.basins) }

// Candidates returns the cells considered as sites, and how many there were
// before they were thinned.
func (f *Field) Candidates() (cells []int, before int) {
	return slices.Clone(f.candidates), f.eligible
}

// Volume returns the water in all cells.
func (f *Field) Volume() unit.CubicMeters { return unit.CubicMeters(f.volumeM3) }

func (f *Field) caution(code string, text unit.Text) {
	f.cautions = append(f.cautions, Caution{Code: code, Text: text})
}

// open returns the cells where a diffuser may stand. Limits are relaxed, with a
// caution, only as far as it takes to find any: first the depth, basin by basin,
// then for the whole pond the slope, then the setback.
func (f *Field) open() ([]int, error) {
	cells, r := f.problem.Cells, f.rules
	if deepest := f.basins[0].Depth; deepest < r.ShallowDepth {
		return nil, &TooShallowError{Deepest: deepest, Needed: r.ShallowDepth}
	}
	allowed := make([]bool, len(cells))
	for i, c := range cells {
		allowed[i] = !c.Barred && !f.inZone(c.At)
	}
	all := func(Cell) bool { return true }
	level := func(c Cell) bool { return c.Slope < r.MaxSlope }
	setBack := func(c Cell) bool { return c.ShoreM >= max(float64(r.Setback), r.SetbackDepths*c.DepthM) }
	for _, step := range []struct {
		fits func(Cell) bool
		code string
		text unit.Text
	}{
		{func(c Cell) bool { return level(c) && setBack(c) }, "", ""},
		{setBack, SteepSites, unit.Say("no level place is deep enough: sites stand on slopes over %.0f %%, secure each diffuser against sliding", 100*r.MaxSlope)},
		{all, SitesNearShore, "no place is deep enough and far enough from the bank: sites stand near the bank, watch it for washing out"},
	} {
		var open []int
		shallow := false
		for b := range f.basins {
			found, low := f.openIn(b, allowed, step.fits)
			open, shallow = append(open, found...), shallow || low
		}
		if len(open) == 0 {
			continue
		}
		if step.code != "" {
			f.caution(step.code, step.text)
		}
		if shallow {
			f.caution(ShallowSites, unit.Say("a basin has no place as deep as %s and %.0f %% of its depth: sites there stand in water down to %s, where a diffuser moves little",
				r.MinDepth.Text(), 100*r.DepthShare, r.ShallowDepth.Text()))
		}
		slices.Sort(open)
		return open, nil
	}
	deep := 0
	for _, c := range cells {
		if c.DepthM >= float64(r.ShallowDepth) {
			deep++
		}
	}
	return nil, &NoRoomError{DeepCells: deep}
}

// openIn returns the cells of basin b that are allowed, fit and are deep enough,
// and whether the lower depth limit had to be used.
func (f *Field) openIn(b int, allowed []bool, fits func(Cell) bool) (open []int, shallow bool) {
	r := f.rules
	share := r.DepthShare * float64(f.basins[b].Depth)
	for k, leastM := range []float64{max(float64(r.MinDepth), share), max(float64(r.ShallowDepth), share), float64(r.ShallowDepth)} {
		for i, c := range f.problem.Cells {
			if f.basinOf[i] == b && allowed[i] && c.DepthM >= leastM && fits(c) {
				open = append(open, i)
			}
		}
		if len(open) > 0 {
			return open, k > 0
		}
	}
	return nil, false
}

func (f *Field) inZone(p plane.Point) bool {
	return slices.ContainsFunc(f.problem.Zones, func(zone []plane.Point) bool { return plane.RingContains(zone, p) })
}

// thin keeps at most MaxCandidates of the cells: the deepest of each basin, then
// always the one whose distance from those kept, times its depth cubed, is
// greatest; ties by cell. It spreads them evenly (Gonzalez, 1985, "Clustering to
// minimize the maximum intercluster distance") but more closely in deep water:
// what a diffuser serves grows about as the cube of its depth.
func (f *Field) thin(open []int) []int {
	if len(open) <= f.rules.MaxCandidates {
		return open
	}
	cells := f.problem.Cells
	farM := slices.Repeat([]float64{math.Inf(1)}, len(open))
	weight := make([]float64, len(open))
	for k, c := range open {
		weight[k] = math.Pow(cells[c].DepthM, 3)
	}
	var kept []int
	keep := func(at int) {
		kept = append(kept, open[at])
		for k, c := range open {
			farM[k] = min(farM[k], cells[c].At.Distance(cells[open[at]].At))
		}
	}
	for b := range f.basins {
		deepest := -1
		for k, c := range open {
			if f.basinOf[c] == b && (deepest < 0 || cells[c].DepthM > cells[open[deepest]].DepthM) {
				deepest = k
			}
		}
		if deepest >= 0 {
			keep(deepest)
		}
	}
	for len(kept) < f.rules.MaxCandidates {
		at := 0
		for k := range farM {
			if farM[k]*weight[k] > farM[at]*weight[at] {
				at = k
			}
		}
		keep(at)
	}
	slices.Sort(kept)
	return kept
}

// submergenceM returns how deep a diffuser's outlet lies under water depthM deep.
func (f *Field) submergenceM(depthM float64) float64 {
	return max(depthM-float64(f.problem.HeightOffBottom), 0)
}

// prepare works out the water that each candidate would serve.
func (f *Field) prepare(progress func(share float64) bool) error {
	cells := f.problem.Cells
	deepestM := 0.0
	places := make([]plane.Point, len(cells))
	for i, c := range cells {
		places[i] = c.At
		deepestM = max(deepestM, c.DepthM)
	}
	f.reach = f.problem.Water.Reach(places, unit.Meters(f.rules.EndReach*f.submergenceM(deepestM)))
	if err := f.pin(); err != nil {
		return err
	}
	f.candidates = slices.DeleteFunc(f.candidates, f.besidePin)
	full := &cover{cells: len(cells)}
	for k, c := range f.candidates {
		if progress != nil && !progress(float64(k)/float64(len(f.candidates))) {
			return ErrCanceled
		}
		full.add(f.serves(cells[c].At, cells[c].DepthM, f.basinOf[c]))
	}
	f.rows = full.rows
	full.clash = f.clashes()
	f.cover, f.pinnedM3 = full.beside(f.pinRows)
	return nil
}

// pin works out the water that each pin serves.
func (f *Field) pin() error {
	for i, p := range f.problem.Pins {
		s, row, err := f.place(i, len(f.problem.Pins), p)
		if err != nil {
			return err
		}
		s.Pinned = true
		f.pins, f.pinRows = append(f.pins, s), append(f.pinRows, row)
	}
	return nil
}

// place returns a diffuser that somebody put somewhere, one of so many, with the
// water it serves.
func (f *Field) place(i, of int, p Placed) (Site, []share, error) {
	if !f.problem.Water.Shore().Contains(p.At) {
		return Site{}, nil, fmt.Errorf("site %d of %d: %w", i+1, of, ErrSiteAshore)
	}
	c := f.nearestCell(p.At)
	return Site{At: p.At, Depth: p.Depth, Cell: c, Basin: f.basinOf[c]}, f.serves(p.At, float64(p.Depth), f.basinOf[c]), nil
}

// besidePin reports whether a cell is too near a pin to be a site.
func (f *Field) besidePin(c int) bool {
	cell := f.problem.Cells[c]
	return slices.ContainsFunc(f.pins, func(p Site) bool {
		return f.tooNear(cell.At, p.At, cell.DepthM, float64(p.Depth))
	})
}

// serves returns the water that a diffuser at a place would serve, cell by cell.
func (f *Field) serves(at plane.Point, depthM float64, basin int) []share {
	submergedM := f.submergenceM(depthM)
	fullM, endM := f.rules.FullReach*submergedM, f.rules.EndReach*submergedM
	if endM <= fullM {
		return nil
	}
	var row []share
	for j, d := range f.reach.From(at) {
		if d >= endM {
			continue
		}
		c := f.problem.Cells[j]
		layerM := min(c.DepthM, depthM, f.sillsM[basin][f.basinOf[j]])
		if v := c.AreaM2 * layerM * min(1, (endM-d)/(endM-fullM)); v > 0 {
			row = append(row, share{cell: int32(j), valueM3: v})
		}
	}
	return row
}

// clashes tells which candidates stand too near each other for both to be used.
func (f *Field) clashes() [][]bool {
	cells := f.problem.Cells
	clash := make([][]bool, len(f.candidates))
	for a, ca := range f.candidates {
		clash[a] = make([]bool, len(f.candidates))
		for b, cb := range f.candidates[:a] {
			near := f.tooNear(cells[ca].At, cells[cb].At, cells[ca].DepthM, cells[cb].DepthM)
			clash[a][b], clash[b][a] = near, near
		}
	}
	return clash
}

func (f *Field) tooNear(a, b plane.Point, depthA, depthB float64) bool {
	return a.Distance(b) < f.rules.Spacing*f.submergenceM(max(depthA, depthB))
}

// nearestCell returns the cell nearest to p.
func (f *Field) nearestCell(p plane.Point) int {
	cells := f.problem.Cells
	best := 0
	for i := range cells {
		if cmp.Less(cells[i].At.Distance(p), cells[best].At.Distance(p)) {
			best = i
		}
	}
	return best
}
