package plan

import (
	"cmp"
	"errors"
	"math"
	"slices"
	"sync"

	"pondwright/calc/air"
	"pondwright/calc/plume"
	"pondwright/calc/unit"
	"pondwright/geo/site"
)

// search holds what finding the best layout needs.
type search struct {
	in       Input
	field    *site.Field
	feeder   *feeder
	layouts  *layouts
	own      *site.Layout // of the plan, where all others are sketched; nil: none is
	deepest  unit.Meters  // submergence nowhere exceeded
	run      unit.Seconds // a day, that a layout not yet fed is judged by
	progress Progress
	more     func(have []*station) *station // finds a place for another station, nil for none
}

// layouts are the best layouts of one field, found once. It is safe for concurrent
// use.
type layouts struct {
	mu    sync.Mutex
	found map[int]*site.Layout // by number of diffusers, nil where they do not fit
	drawn map[int]*site.Layout // the same, sketched
}

func newLayouts() *layouts {
	return &layouts{found: make(map[int]*site.Layout), drawn: make(map[int]*site.Layout)}
}

// sketch returns a layout of n diffusers without a proof, nil where they do not
// fit.
func (ls *layouts) sketch(n int, find func() *site.Layout) *site.Layout {
	ls.mu.Lock()
	defer ls.mu.Unlock()
	if _, ok := ls.drawn[n]; !ok {
		ls.drawn[n] = find()
	}
	return ls.drawn[n]
}

// get returns the layout of n diffusers, made by find when it is asked for first.
// Find is told how many are known.
func (ls *layouts) get(n int, find func(known int) (*site.Layout, error)) (*site.Layout, error) {
	ls.mu.Lock()
	defer ls.mu.Unlock()
	if l, ok := ls.found[n]; ok {
		return l, nil
	}
	l, err := find(len(ls.found))
	if err == nil {
		ls.found[n] = l
	}
	return l, err
}

// layout returns the best sites for n diffusers, nil when there is no room for so
// many or more than so many are pinned.
func (s *search) layout(n int) (*site.Layout, error) {
	switch {
	case s.own == nil:
	case n == len(s.own.Sites):
		return s.own, nil
	default:
		return s.sketch(n), nil
	}
	return s.layouts.get(n, func(known int) (*site.Layout, error) {
		// How many numbers will be tried is not known beforehand.
		const usual = 10
		if done := float64(known); !s.progress(StageLayouts, done/(done+usual)) {
			return nil, ErrCanceled
		}
		l, room := s.field.Layout(n)
		if !room {
			return nil, nil
		}
		return s.measured(l), nil
	})
}

// measured gives the sites of a layout their depths: a patch's mean depth served
// the choice, the diffuser stands at one place.
func (s *search) measured(l site.Layout) *site.Layout {
	for i := range l.Sites {
		l.Sites[i].Depth = unit.Meters(s.in.bedOf().Depth(l.Sites[i].At))
	}
	return &l
}

// fed returns the best sites for n diffusers with the air of so many machines, nil
// where there is no room or nothing can be opened.
func (s *search) fed(n, machines int) (*fed, error) {
	l, err := s.layout(n)
	if err != nil || l == nil {
		return nil, err
	}
	f, err := s.feeder.feed(*l, machines)
	if nothingFlows(err) {
		return nil, nil
	}
	return f, err
}

// nothingFlows reports whether an error says that the air does not get through.
func nothingFlows(err error) bool {
	return errors.Is(err, air.ErrNothingOpens) || errors.As(err, new(*air.AboveRatingError)) || errors.Is(err, air.ErrChoked)
}

// targetM3S is the lift that turns the high volume over as often as asked in the
// run that a layout not yet fed is judged by.
func (s *search) targetM3S() float64 { return s.targetInM3S(s.run) }

// targetInM3S is the lift that turns the high volume over as often as asked in so
// much running a day; infinite in none.
func (s *search) targetInM3S(run unit.Seconds) float64 {
	return float64(s.in.Survey.Volume.High) * s.in.Turnovers / float64(run)
}

// meets reports whether a layout lifts what is asked. More air than a diffuser
// uses well is no failure: the plan says so.
func (s *search) meets(f *fed) bool {
	return f.each() >= leastAir && float64(f.lift.Value) >= s.targetInM3S(f.run)
}

// The grades of a layout, weighty last.
const (
	gradeFed      = 1 << iota // every diffuser gets the least air it can use
	gradeWithin               // and no more than it uses well
	gradeComplete             // every basin has a diffuser; counts only with the next
	gradeMeets                // the target is met
	gradeAll      = gradeFed | gradeWithin | gradeComplete | gradeMeets
)

func (s *search) grade(f *fed) int {
	g := 0
	if f.each() >= leastAir {
		g |= gradeFed
	}
	if f.within() {
		g |= gradeWithin
	}
	if s.meets(f) {
		g |= gradeMeets
		if complete(f.layout) {
			g |= gradeComplete
		}
	}
	return g
}

// better returns the layout with the higher grade, then the greater lift, then a.
// Where air is short the lift is not to be relied on: there more air for each
// diffuser is better. Either may be nil.
func (s *search) better(a, b *fed) *fed {
	if a == nil || b == nil {
		return cmp.Or(a, b)
	}
	merit := func(f *fed) float64 {
		if f.each() < leastAir {
			return f.each()
		}
		return float64(f.lift.Value) * float64(f.run)
	}
	if cmp.Or(cmp.Compare(s.grade(b), s.grade(a)), cmp.Compare(merit(b), merit(a)), cmp.Compare(b.lift.Value, a.lift.Value)) > 0 {
		return b
	}
	return a
}

// ceilingM3S bounds from above what n diffusers on so many machines can lift: all
// at the deepest place, fed with what the machines give against the shallowest
// one. It is zero where that is too little air for so many.
func (s *search) ceilingM3S(n, machines int) float64 {
	least := air.Head(site.DefaultRules().ShallowDepth-s.in.Equipment.OffBottom, waterDensity)
	most, err := s.in.Equipment.Compressor.Air(least, s.feeder.breathes)
	each := most.SCFM() * float64(machines) / float64(n)
	if err != nil || each < leastAir {
		return 0
	}
	lift, err := plume.LiftAt(unit.SCFM(min(each, creditedAir)), s.deepest, s.feeder.place)
	if err != nil {
		return 0
	}
	return float64(n) * float64(lift.Promised)
}

// best returns the fewest diffusers that meet every target on so many machines,
// or the layout that lifts the most, or nil when nothing can be fed.
func (s *search) best(machines int) (*fed, error) {
	best, err := s.meeting(machines)
	if err != nil || best != nil && s.grade(best) == gradeAll {
		return best, err
	}
	return s.most(machines, best)
}

// meeting returns the fewest diffusers that meet every target, or the best layout
// met on the way, nil for none. With the same air more diffusers lift more, until
// each gets too little of it, so the fewest are found by halving.
func (s *search) meeting(machines int) (best *fed, err error) {
	lo, hi := 1, 0
	// No run is longer than a day, so what falls short in one falls short.
	for n := MaxDiffusers; n > 0; n-- {
		if s.ceilingM3S(n, machines) >= s.targetInM3S(secondsPerDay) {
			lo, hi = n, max(hi, n)
		}
	}
	for lo <= hi {
		n := (lo + hi) / 2
		f, err := s.fed(n, machines)
		if err != nil {
			return nil, err
		}
		switch {
		case f == nil || f.each() < leastAir:
			best, hi = s.better(best, f), n-1
		case s.grade(f) == gradeAll:
			best, hi = f, n-1
		default:
			best, lo = s.better(best, f), n+1
		}
	}
	return best, nil
}

// numbers are the numbers of diffusers tried one by one: all small ones, then
// every eighth part.
func numbers() []int {
	var out []int
	for n := 1; n < MaxDiffusers; n += max(1, n/8) {
		out = append(out, n)
	}
	return append(out, MaxDiffusers)
}

// most returns the layout that lifts the most, given the best one so far. It goes
// down from the most diffusers that the air could be enough for, until fewer lift
// less.
func (s *search) most(machines int, best *fed) (*fed, error) {
	var last *fed
	tried := numbers()
	limit := float64(MaxDiffusers)
	for _, n := range slices.Backward(tried) {
		if n > 1 && (float64(n) > limit || s.ceilingM3S(n, machines) == 0) {
			continue
		}
		f, err := s.fed(n, machines)
		if err != nil {
			return nil, err
		}
		if f == nil {
			if l, err := s.layout(n); err != nil {
				return nil, err
			} else if l != nil {
				limit = 1 // nothing opens, and fewer stand deeper still: one try is left
			}
			continue
		}
		best = s.better(best, f)
		if f.each() > mostAir || last != nil && last.within() && s.better(last, f) == last {
			break
		}
		if f.each() < leastAir {
			limit = 1.05 * f.air.SCFM() / leastAir // fewer hardly get more altogether
		}
		last = f
	}
	return s.climb(machines, best)
}

// climb goes up from the best layout so far to the numbers passed over above it.
func (s *search) climb(machines int, best *fed) (*fed, error) {
	for best != nil && len(best.diffusers) < MaxDiffusers {
		more, err := s.fed(len(best.diffusers)+1, machines)
		if err != nil {
			return nil, err
		}
		if s.better(best, more) == best {
			break
		}
		best = more
	}
	return best, nil
}

// needed returns the air with which a layout would lift the target, shared
// equally, at least what each diffuser can use. It is zero where no air would do.
func (s *search) needed(l *site.Layout) unit.StdCubicMetersPerSecond {
	lo, hi := leastAir, creditedAir
	short := func(each float64) float64 { return s.targetM3S() - s.liftM3S(l, each) }
	shortLo, shortHi := short(lo), short(hi)
	if shortHi > 0 {
		return 0
	}
	if shortLo <= 0 {
		hi = lo
	}
	// Lift grows ever more slowly with air, so a chord meets the target beyond it:
	// the high end comes down chord by chord, and halving keeps the low end moving.
	for k := 0; hi-lo > 1e-5; k++ {
		mid := (lo + hi) / 2
		if k%2 == 0 {
			mid = min(max(lo+(hi-lo)*shortLo/(shortLo-shortHi), lo+5e-6), hi-5e-6)
		}
		if v := short(mid); v <= 0 {
			hi, shortHi = mid, v
		} else {
			lo, shortLo = mid, v
		}
	}
	return unit.SCFM(hi * float64(len(l.Sites)))
}

// liftM3S is what a layout is promised to lift with so much air to each diffuser.
func (s *search) liftM3S(l *site.Layout, eachSCFM float64) float64 {
	var sum float64
	for _, at := range l.Sites {
		lift, err := plume.LiftAt(unit.SCFM(eachSCFM), s.in.Levels.least(at.Depth-s.in.Equipment.OffBottom), s.feeder.place)
		if err != nil {
			return 0
		}
		sum += float64(lift.Promised)
	}
	return sum
}

// machinesFor returns how many machines deliver so much air to a layout in equal
// shares, 0 when no number of them reaches the pressure.
func (s *search) machinesFor(l *site.Layout, need unit.StdCubicMetersPerSecond) (machines int, err error) {
	groups, err := s.feeder.assign(*l, MaxMachines)
	if err != nil {
		return 0, err
	}
	allot(groups, len(groups))
	if err := s.feeder.connect(*l, groups); err != nil {
		return 0, err
	}
	for _, g := range groups {
		part := need * unit.StdCubicMetersPerSecond(len(g.sites)) / unit.StdCubicMetersPerSecond(len(l.Sites))
		b, err := g.network.Require(equal(part, len(g.sites)))
		if err != nil {
			return 0, nil //nolint:nilerr // air that the hose cannot carry, or a pressure above the rating
		}
		each, err := s.in.Equipment.Compressor.Air(b.Outlet, s.feeder.breathes)
		if err != nil || each <= 0 {
			return 0, nil //nolint:nilerr // a pressure above the rating
		}
		machines += int(math.Ceil(float64(part/each) - 1e-9))
	}
	return machines, nil
}
