package plan

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"pondwright/calc/air"
	"pondwright/calc/plume"
	"pondwright/calc/unit"
	"pondwright/calc/water"
	"pondwright/geo/route"
	"pondwright/geo/site"
)

// secondsPerDay at the assumed run time of a whole day.
const (
	runHours      = 24
	secondsPerDay = runHours * 3600
)

// Propose returns the best layout that the given air can feed: the fewest
// diffusers that meet every target or, where none do, the most turnovers.
// It returns a *unit.RangeError for input out of range, route.ErrMastInWater or a
// *route.FarMastError for a mast that cannot serve, and ErrCanceled.
func Propose(in Input, progress Progress) (*Plan, error) {
	if progress == nil {
		progress = func(string, float64) bool { return true }
	}
	if in.Turnovers == 0 {
		in.Turnovers = DefaultTurnovers
	}
	if in.WaterTemperature == 0 {
		in.WaterTemperature = unit.StandardTemperature
	}
	if err := in.check(); err != nil {
		return nil, err
	}
	p, err := in.begin()
	if err != nil {
		return nil, err
	}
	if in.bedOf().Diagnostics().Guess {
		p.Constraint = InputMissing
		p.Shortfall = "soundings: the depths are a guess from the outline, and no diffuser is placed on a guess"
		in.remark(p, nil)
		return p, nil
	}
	s, err := in.search(p, progress)
	var shallow *site.TooShallowError
	var full *site.NoRoomError
	switch {
	case errors.As(err, &shallow), errors.As(err, &full):
		p.Constraint = Depth
		p.Shortfall = err.Error()
		in.remark(p, nil)
		return p, nil
	case err != nil:
		return nil, err
	}
	best, err := s.best(in.Equipment.Machines)
	if err != nil {
		return nil, err
	}
	if err := s.conclude(p, best); err != nil {
		return nil, err
	}
	in.remark(p, best)
	return p, nil
}

func (in Input) check() error {
	if err := unit.CheckRange("turnovers a day", in.Turnovers, 0.01, 10, "this project's own limit"); err != nil {
		return fmt.Errorf("plan: %w", err)
	}
	if err := unit.CheckRange("water temperature (°C)", in.WaterTemperature.Celsius(), 0, 40, "fresh water"); err != nil {
		return fmt.Errorf("plan: %w", err)
	}
	if err := in.Equipment.check(); err != nil {
		return fmt.Errorf("plan: %w", err)
	}
	return nil
}

// begin returns a plan with what is known before any site is sought.
func (in Input) begin() (*Plan, error) {
	pressure, err := water.AirPressure(in.Altitude)
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	return &Plan{
		RunHours:     runHours,
		Target:       in.Turnovers,
		Machines:     in.Equipment.Machines,
		SitePressure: pressure,
		VolumeUsed:   in.Survey.Volume.High,
		Mast:         in.Shore.Frame().ToPlane(in.Mast),
	}, nil
}

// search holds what finding the best layout needs.
type search struct {
	in       Input
	feeder   *feeder
	field    *site.Field
	layouts  map[int]*site.Layout // by number of diffusers, nil where there is no room
	deepest  unit.Meters          // submergence nowhere exceeded
	progress Progress
}

func (in Input) search(p *Plan, progress Progress) (*search, error) {
	ways, err := route.New(in.Shore, clearance)
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	if p.Entry, err = ways.Entry(p.Mast, route.DefaultTrenchLimit); err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	tree, err := ways.From(p.Entry)
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	field, err := site.New(site.Problem{
		Cells:           patches(in.bedOf(), in.Shore.Crosses),
		Water:           ways,
		HeightOffBottom: in.Equipment.OffBottom,
	}, func(share float64) bool { return progress("Looking for sites", share) })
	if errors.Is(err, site.ErrCanceled) {
		return nil, ErrCanceled
	}
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	return &search{
		in: in, field: field, layouts: make(map[int]*site.Layout),
		feeder: &feeder{
			in: in, tree: tree, entry: p.Entry, mast: p.Mast,
			place:    plume.Site{Pressure: p.SitePressure, Temperature: in.WaterTemperature},
			breathes: air.Site{Pressure: p.SitePressure, WaterDensity: 1000},
			hoses:    make(map[int]Hose),
		},
		deepest:  in.bedOf().Curve().MaxDepth() - in.Equipment.OffBottom,
		progress: progress,
	}, nil
}

// layout returns the best sites for n diffusers, nil when there is no room for so
// many.
func (s *search) layout(n int) (*site.Layout, error) {
	if l, ok := s.layouts[n]; ok {
		return l, nil
	}
	if !s.progress("Choosing sites", float64(len(s.layouts))/MaxDiffusers) {
		return nil, ErrCanceled
	}
	l, ok := s.field.Layout(n)
	if !ok {
		s.layouts[n] = nil
		return nil, nil
	}
	for i := range l.Sites {
		// A patch's mean depth served the choice; the diffuser stands at one place.
		l.Sites[i].Depth = unit.Meters(s.in.bedOf().Depth(l.Sites[i].At))
	}
	s.layouts[n] = &l
	return &l, nil
}

// targetM3S is the lift that turns the high volume over as often as asked.
func (s *search) targetM3S() float64 {
	return float64(s.in.Survey.Volume.High) * s.in.Turnovers / secondsPerDay
}

// ceilingM3S bounds from above what n diffusers on so many machines can lift: all
// at the deepest place, fed with what the machines give at no pressure.
func (s *search) ceilingM3S(n, machines int) float64 {
	free, err := s.in.Equipment.Compressor.Air(0, s.feeder.breathes)
	each := free.SCFM() * float64(machines) / float64(n)
	if err != nil || each < leastAir {
		return 0
	}
	return float64(n) * s.deepestM3S(min(each, mostAir))
}

// mostM3S bounds from above what n diffusers can lift with all the air they can
// use.
func (s *search) mostM3S(n int) float64 { return float64(n) * s.deepestM3S(mostAir) }

// deepestM3S is what one diffuser lifts at the deepest place.
func (s *search) deepestM3S(scfm float64) float64 {
	lift, err := plume.LiftAt(unit.SCFM(scfm), s.deepest, s.feeder.place)
	if err != nil {
		return 0
	}
	return float64(lift.Promised)
}

// best returns the fewest diffusers that meet every target on so many machines,
// or the layout that turns over the most, or nil when nothing can be fed.
func (s *search) best(machines int) (*fed, error) {
	var best *fed
	target := s.targetM3S()
	for n := 1; n <= MaxDiffusers; n++ {
		if s.ceilingM3S(n, machines) < target {
			continue
		}
		f, err := s.fed(n, machines)
		if err != nil {
			return nil, err
		}
		if f == nil {
			continue
		}
		if s.meets(f) && f.complete() {
			return f, nil
		}
		if best == nil || better(f, best) {
			best = f
		}
	}
	return s.most(machines, best)
}

// most returns the layout that turns over the most, given the best one so far.
// Numbers that promise most come first; those that cannot beat what was found are
// passed over.
func (s *search) most(machines int, best *fed) (*fed, error) {
	numbers := make([]int, MaxDiffusers)
	for i := range numbers {
		numbers[i] = i + 1
	}
	ceilings := make([]float64, MaxDiffusers+1)
	for _, n := range numbers {
		ceilings[n] = s.ceilingM3S(n, machines)
	}
	slices.SortStableFunc(numbers, func(a, b int) int { return cmp.Compare(ceilings[b], ceilings[a]) })
	for _, n := range numbers {
		if best != nil && (ceilings[n] == 0 || best.within() && ceilings[n] <= float64(best.lift.Value)) {
			break
		}
		f, err := s.fed(n, machines)
		if err != nil {
			return nil, err
		}
		if f != nil && (best == nil || better(f, best)) {
			best = f
		}
	}
	return best, nil
}

// fed returns the best sites for n diffusers fed by so many machines, nil where
// there is no room or the air opens nothing.
func (s *search) fed(n, machines int) (*fed, error) {
	l, err := s.layout(n)
	if err != nil || l == nil {
		return nil, err
	}
	f, err := s.feeder.feed(*l, machines)
	if errors.Is(err, air.ErrNothingOpens) || errors.As(err, new(*air.AboveRatingError)) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	return f, nil
}

// meets reports whether a layout lifts what is asked with air its diffusers can
// use.
func (s *search) meets(f *fed) bool {
	return f.within() && float64(f.lift.Value) >= s.targetM3S()
}

// better prefers layouts whose diffusers get air they can use, then lift.
func better(a, b *fed) bool {
	if a.within() != b.within() {
		return a.within()
	}
	return a.lift.Value > b.lift.Value
}

// conclude fills the plan from the best layout and names what binds.
func (s *search) conclude(p *Plan, best *fed) error {
	if best == nil {
		p.Constraint = Pressure
		need := air.Head(s.deepest, s.feeder.breathes.WaterDensity)
		p.Shortfall = fmt.Sprintf("the compressor cannot open any diffuser: choose one that delivers air at more than %.1f psi", need.PSIG())
		return nil
	}
	p.Diffusers, p.Lift, p.Air, p.Manifold = best.diffusers, best.lift, best.air, best.manifold
	p.SiteGap, p.Served = best.layout.Gap, 1-best.layout.Unserved
	v := s.in.Survey.Volume
	perDay := func(q unit.CubicMetersPerSecond, v unit.CubicMeters) float64 {
		return float64(q) * secondsPerDay / math.Max(float64(v), 1e-9)
	}
	p.Turnovers = Range[float64]{
		Value: perDay(best.lift.Value, v.Value),
		Low:   perDay(best.lift.Low, v.High),
		High:  perDay(best.lift.High, v.Low),
	}
	for _, d := range p.Diffusers {
		p.HoseTotal += d.Hose.Order
	}
	return s.bind(p, best)
}

// bind names the constraint that keeps the plan from its target, and the cheapest
// way to close the gap.
func (s *search) bind(p *Plan, best *fed) error {
	if s.meets(best) {
		p.Constraint = None
		p.AirNeeded = s.feeder.needed(best.layout, s.targetM3S())
		p.Factor = float64(p.AirNeeded) / float64(best.air)
		if !best.complete() {
			p.Constraint = Coverage
			p.Shortfall = "air for more diffusers: a basin behind a sill has none, and its water stays where it is"
		}
		return nil
	}
	machines, more, err := s.enough()
	if err != nil {
		return err
	}
	if more == nil {
		p.Constraint = Depth
		p.Shortfall = fmt.Sprintf("deeper water: with any amount of air, no number of diffusers up to %d lifts the target", MaxDiffusers)
		return nil
	}
	p.AirNeeded = s.feeder.needed(more.layout, s.targetM3S())
	p.Factor = float64(p.AirNeeded) / float64(best.air)
	if machines <= s.in.Equipment.Machines {
		// The machines could deliver the air: what the hose takes of its pressure is
		// what is missing.
		p.Constraint = HoseLoss
		p.Shortfall = fmt.Sprintf("hose of a larger bore than %.1f mm: the pressure lost in it is what is missing", 1000*float64(s.in.Equipment.Bore))
		return nil
	}
	p.Constraint = AirSupply
	p.Shortfall = fmt.Sprintf("%.1f scfm at %.1f psi where there are %.1f scfm: %d machines like this in place of %d, feeding %d diffusers",
		p.AirNeeded.SCFM(), more.manifold.PSIG(), best.air.SCFM(), machines, s.in.Equipment.Machines, len(more.diffusers))
	return nil
}

// enough finds the fewest machines that meet the target, then the fewest diffusers
// on them. It returns a nil layout when no amount of air would do. More diffusers
// lift more with the same air, so the fewest machines are found where there are
// most diffusers, and the fewest diffusers by halving.
func (s *search) enough() (machines int, more *fed, err error) {
	hi := 0
	for n := MaxDiffusers; n > 0 && more == nil; n-- {
		if machines, more, err = s.machinesFor(n); err != nil {
			return 0, nil, err
		}
		hi = n
	}
	for lo := 1; lo < hi; {
		mid := (lo + hi) / 2
		m, f, err := s.machinesFor(mid)
		if err != nil {
			return 0, nil, err
		}
		if f == nil || m > machines {
			lo = mid + 1
			continue
		}
		machines, more, hi = m, f, mid
	}
	return machines, more, nil
}

// machinesFor finds the machines on which n diffusers meet the target, nil when
// none do.
func (s *search) machinesFor(n int) (int, *fed, error) {
	if s.mostM3S(n) < s.targetM3S() {
		return 0, nil, nil
	}
	l, err := s.layout(n)
	if err != nil || l == nil {
		return 0, nil, err
	}
	need := s.feeder.needed(*l, s.targetM3S())
	if need == 0 {
		return 0, nil, nil
	}
	pressure, err := s.feeder.pressureFor(*l, need)
	if err != nil {
		return 0, nil, nil //nolint:nilerr // air that the hose cannot carry is no way to meet the target
	}
	each, err := s.in.Equipment.Compressor.Air(pressure, s.feeder.breathes)
	if err != nil || each <= 0 {
		return 0, nil, nil //nolint:nilerr // a pressure above the rating is none either
	}
	machines := int(math.Ceil(float64(need/each) - 1e-9))
	if machines > MaxMachines {
		return 0, nil, nil
	}
	f, err := s.fed(n, machines)
	if err != nil || f == nil || !s.meets(f) {
		return 0, nil, err // the last machine may give more than the diffusers can use
	}
	return machines, f, nil
}
