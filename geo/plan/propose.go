package plan

import (
	"errors"
	"fmt"
	"iter"
	"math"

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
	defer s.stop()
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
	next     func() (site.Layout, bool)
	stop     func()
	layouts  []site.Layout // for 1, 2, … diffusers, as far as they were needed
	deepest  unit.Meters   // submergence nowhere exceeded
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
	next, stop := iter.Pull(field.Layouts(MaxDiffusers))
	return &search{
		in: in, next: next, stop: stop,
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

// layout returns the best sites for n diffusers, and whether there is room for so
// many.
func (s *search) layout(n int) (site.Layout, bool, error) {
	for len(s.layouts) < n {
		if !s.progress("Choosing sites", float64(len(s.layouts))/MaxDiffusers) {
			return site.Layout{}, false, ErrCanceled
		}
		l, ok := s.next()
		if !ok {
			return site.Layout{}, false, nil
		}
		for i := range l.Sites {
			// A patch's mean depth served the choice; the diffuser stands at one place.
			l.Sites[i].Depth = unit.Meters(s.in.bedOf().Depth(l.Sites[i].At))
		}
		s.layouts = append(s.layouts, l)
	}
	return s.layouts[n-1], true, nil
}

// targetM3S is the lift that turns the high volume over as often as asked.
func (s *search) targetM3S() float64 {
	return float64(s.in.Survey.Volume.High) * s.in.Turnovers / secondsPerDay
}

// ceilingM3S bounds from above what n diffusers on so many machines can lift: all
// at the deepest place, fed with what the machines give at no pressure.
func (s *search) ceilingM3S(n, machines int) float64 {
	free, err := s.in.Equipment.Compressor.Air(0, s.feeder.breathes)
	most := free.SCFM() * float64(machines) / float64(n)
	if err != nil || most < leastAir {
		return 0
	}
	lift, err := plume.LiftAt(unit.SCFM(min(most, mostAir)), s.deepest, s.feeder.place)
	if err != nil {
		return 0
	}
	return float64(n) * float64(lift.Promised)
}

// best returns the fewest diffusers that meet every target on so many machines,
// or the layout that turns over the most, or nil when nothing can be fed.
func (s *search) best(machines int) (*fed, error) {
	var best *fed
	for n := 1; n <= MaxDiffusers; n++ {
		ceiling := s.ceilingM3S(n, machines)
		if best != nil && (ceiling == 0 || best.within() && ceiling <= float64(best.lift.Value)) {
			continue
		}
		l, room, err := s.layout(n)
		if err != nil {
			return nil, err
		}
		if !room {
			break
		}
		f, err := s.feeder.feed(l, machines)
		if errors.Is(err, air.ErrNothingOpens) || errors.As(err, new(*air.AboveRatingError)) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("plan: %w", err)
		}
		if s.meets(f) && f.complete() {
			return f, nil
		}
		if best == nil || better(f, best) {
			best = f
		}
	}
	return best, nil
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
		p.Shortfall = fmt.Sprintf("deeper water: with any amount of air, the %d diffusers for which there is room cannot lift the target", len(s.layouts))
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
// on them. It returns a nil layout when no amount of air would do.
func (s *search) enough() (machines int, more *fed, err error) {
	perMachine, err := s.in.Equipment.Compressor.Air(0, s.feeder.breathes)
	if err != nil {
		return 0, nil, fmt.Errorf("plan: %w", err)
	}
	for n := 1; n <= MaxDiffusers; n++ {
		if more != nil && float64(n)*leastAir > float64(machines-1)*perMachine.SCFM() {
			break // so many diffusers need as many machines
		}
		l, room, err := s.layout(n)
		if err != nil {
			return 0, nil, err
		}
		if !room {
			break
		}
		m, f, err := s.machinesFor(l)
		if err != nil {
			return 0, nil, err
		}
		if f != nil && (more == nil || m < machines) {
			machines, more = m, f
		}
	}
	return machines, more, nil
}

// machinesFor finds the machines on which the layout meets the target, nil when
// none do.
func (s *search) machinesFor(l site.Layout) (int, *fed, error) {
	need := s.feeder.needed(l, s.targetM3S())
	if need == 0 {
		return 0, nil, nil
	}
	pressure, err := s.feeder.pressureFor(l, need)
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
	f, err := s.feeder.feed(l, machines)
	if err != nil {
		return 0, nil, fmt.Errorf("plan: %w", err)
	}
	if !s.meets(f) {
		return 0, nil, nil // the last machine gives more than the diffusers can use
	}
	return machines, f, nil
}
