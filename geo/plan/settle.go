package plan

import (
	"math"
	"slices"
	"sort"

	"pondwright/calc/unit"
	"pondwright/geo/site"
)

// What feeds back on what. The air's network gives a layout its pressure, lift and
// load; the load, on what drives the machines, the run of a day; lift and run the
// turnovers; and the turnovers asked for the number of diffusers and so the
// network. Two facts let this settle without a guess:
//
//   - For a given layout, machines and supply there is no circle: the load follows
//     from the network alone, the run from the load. So each layout that the search
//     tries carries its own run, and the search compares what settles, not what an
//     earlier round assumed.
//   - Where machines or panels are sought, more of them need is asked of a shorter
//     run, and a longer run never asks for more: the map from an assumed run to the
//     run that comes of it does not fall. Started from a whole day, the longest run
//     there is, it goes down to its greatest fixed point and cannot pass it, so the
//     first machines that agree with themselves are the fewest that do.

// turnovers is how often a lift turns the pond over in so much running a day.
func (in Input) turnovers(lift Range[unit.CubicMetersPerSecond], run unit.Seconds) Range[float64] {
	perDay := func(q unit.CubicMetersPerSecond, v unit.CubicMeters) float64 {
		return float64(q) * float64(run) / float64(v)
	}
	v := in.Survey.Volume
	return Range[float64]{
		Value: perDay(lift.Value, v.Value),
		Low:   perDay(lift.Low, v.High),
		High:  perDay(lift.High, v.Low),
	}
}

// timeRun tells a layout with air how long it runs: a whole day where nobody said
// what drives it.
func (f *feeder) timeRun(out *fed) error {
	if f.drive != nil {
		for _, g := range out.groups {
			w, own := f.drive.load(f.in.Equipment.Compressor, f.breathes, g.balance.Outlet, g.machines)
			out.load, out.ownLoad = out.load+w, own
		}
	}
	var err error
	if out.hours, err = f.drive.hours(out.load); err != nil {
		return err
	}
	out.run = out.hours[f.drive.worst(out.hours)-1]
	return nil
}

// withDrive returns the same search on another drive. The two share the layouts
// found.
func (s *search) withDrive(d *drive) *search {
	other, feeder := *s, *s.feeder
	feeder.drive = d
	other.feeder = &feeder
	return &other
}

// way is how layouts are found for so many machines: sought, or given.
type way struct {
	best func(s *search, machines int) (*fed, error) // the fewest diffusers that meet the target, or the most lift
	most func(s *search, machines int) (*fed, error) // the most lift
}

// sought finds layouts by search.
var sought = way{(*search).best, func(s *search, machines int) (*fed, error) { return s.most(machines, nil) }}

// given finds nothing but a layout that is there.
func given(l *site.Layout) way {
	feed := func(s *search, machines int) (*fed, error) {
		f, err := s.feeder.feed(*l, machines)
		if nothingFlows(err) {
			return nil, nil
		}
		return f, err
	}
	return way{feed, feed}
}

// fill sizes what nobody owns, completes the plan with the best layout and says
// what binds. The layout is nil where there is none.
func (s *search) fill(p *Plan, by way, bind func(*search, *Plan, *fed) error) (*fed, error) {
	best, err := s.size(by)
	if err != nil {
		return nil, err
	}
	if best != nil {
		if best, err = s.economize(best); err != nil {
			return nil, err
		}
		if err := s.build(p, best); err != nil {
			return nil, err
		}
	}
	if err := s.supply(p, best); err != nil {
		return nil, err
	}
	return best, s.close(p, s.bindRun(p, best, by, bind))
}

// judge adds what must be refused and what the gauges should read.
func (s *search) judge(p *Plan, best *fed) error {
	if err := s.structure(p); err != nil {
		return err
	}
	if err := s.refusals(p, best); err != nil {
		return err
	}
	return s.commission(p, best)
}

// size sizes the panels and the battery that nobody owns, and returns the best
// layout on the supply, which is then the search's own.
func (s *search) size(by way) (*fed, error) {
	machines, d := s.in.Equipment.Machines, s.feeder.drive
	if !d.sunny() {
		return by.best(s, machines)
	}
	if d.count > 0 && (d.power.Source != SunBattery || d.store > 0) {
		return s.fewer(machines, by)
	}
	sized, err := s.proposed(machines, by)
	if err != nil {
		return nil, err
	}
	s.feeder.drive = sized
	return by.best(s, machines)
}

// fewer returns the best layout on the machines or, where the sun carries so many
// too short a time, on fewer of them.
func (s *search) fewer(machines int, by way) (*fed, error) {
	best, err := by.best(s, machines)
	if err != nil || best != nil && s.meets(best) {
		return best, err
	}
	for _, m := range slices.Backward(numbers()) {
		if m >= machines {
			continue
		}
		f, err := by.best(s, m)
		if err != nil {
			return nil, err
		}
		// A run a little longer for every machine fewer: once that stops paying it
		// stays so.
		if best != nil && best.run > 0 && s.better(best, f) == best {
			break
		}
		best = s.better(best, f)
	}
	return best, nil
}

// proposed returns the drive with the fewest panels, and the battery, that meet the
// target; where none do, with a fair number.
func (s *search) proposed(machines int, by way) (*drive, error) {
	d := s.feeder.drive
	// The layout that lifts the most needs the shortest run.
	whole, err := by.most(s.withDrive(d.holding(wholeDay())), machines)
	if err != nil || whole == nil {
		return d.with(max(1, d.count), d.store), err
	}
	drawnW := float64(d.drawn(whole.load))
	if d.power.Source == SunBattery {
		return s.proposedStore(whole, machines, drawnW, by)
	}
	if d.count > 0 {
		return d, nil
	}
	most := min(d.mostPanels(), d.panelsFor(1000*drawnW/(0.75*leastLight)))
	count, err := s.fewestPanels(d, machines, most, by)
	if err != nil {
		return nil, err
	}
	if count > most { // no number does: a fair one
		count = min(most, d.panelsFor(1000*drawnW/(0.75*fairLight)))
	}
	return d.with(max(1, count), d.store), nil
}

// Light on a panel, W/m²: the least for which panels without a battery are
// proposed, more of them buy minutes at dawn; and a fair one where no number of
// panels meets the target. Judgement, no source.
const (
	leastLight = 100.0
	fairLight  = 250.0
)

// fewestPanels returns the smallest number of panels with which so many machines
// meet the target, most+1 where none up to most does. More panels never run a
// layout shorter, so it is found by halving.
func (s *search) fewestPanels(d *drive, machines, most int, by way) (int, error) {
	var failed error
	meets := func(count int) bool {
		f, err := by.best(s.withDrive(d.with(count, d.store)), machines)
		if err != nil {
			failed = err
		}
		return err == nil && f != nil && s.meets(f)
	}
	if !meets(most) {
		return most + 1, failed
	}
	count := 1 + sort.Search(most-1, func(i int) bool { return meets(i + 1) })
	return count, failed
}

// proposedStore returns the drive with the panels and the battery for the shortest
// run that meets the target, or for a whole day where none does.
func (s *search) proposedStore(whole *fed, machines int, drawnW float64, by way) (*drive, error) {
	d := s.feeder.drive
	hours := 24.0
	if s.meets(whole) {
		hours = max(1, math.Ceil(24*float64(s.targetInM3S(secondsPerDay))/float64(whole.lift.Value)))
	}
	need := d.need(unit.Watts(max(1, drawnW)))
	need.Hours = unit.Hours(min(24, hours))
	size, err := d.site.SizeStorage(d.panel, need)
	if err != nil {
		return nil, err
	}
	count, store := d.count, d.store
	if store == 0 {
		// A battery comes in steps of a tenth of a kilowatt-hour.
		store = unit.WattHours(math.Ceil(float64(size.Battery)/100) * 100)
	}
	if count > 0 {
		return d.with(count, store), nil
	}
	most := d.mostPanels()
	count = min(most, d.panelsFor(float64(size.Array)))
	if !s.meets(whole) {
		return d.with(count, store), nil
	}
	// Dull days cost what the mean does not show: a few more panels bring it back.
	for step := max(1, count/20); count < most; count = min(most, count+step) {
		f, err := by.best(s.withDrive(d.with(count, store)), machines)
		if err != nil {
			return nil, err
		}
		if f != nil && s.meets(f) {
			break
		}
		if count >= 2*d.panelsFor(float64(size.Array)) {
			break // the battery is what is short, and a person chose it
		}
	}
	return d.with(count, store), nil
}

// bindRun says what binds: the run of the day where a whole day would meet the
// target, else what the air lacks in the run there is.
func (s *search) bindRun(p *Plan, best *fed, by way, bind func(*search, *Plan, *fed) error) error {
	d := s.feeder.drive
	on := *s
	if best != nil && best.run > 0 {
		on.run = best.run
	}
	if d == nil || best == nil || s.meets(best) || best.run >= secondsPerDay {
		return bind(&on, p, best)
	}
	whole, err := by.best(s.withDrive(d.holding(wholeDay())), s.in.Equipment.Machines)
	if err != nil {
		return err
	}
	if whole != nil && s.meets(whole) {
		p.Constraint = RunHours
		if best.run > 0 {
			p.Factor = s.targetInM3S(best.run) / float64(best.lift.Value)
		}
		p.Shortfall = s.runAdvice(p, best)
		return nil
	}
	held := on.withDrive(d.holding(best.hours))
	if best.run == 0 { // no air lifts anything in no time: what would do in a day is named
		held = on.withDrive(d.holding(wholeDay()))
	}
	return bind(held, p, best)
}

// reach returns the fewest machines, up to the most of a plan, that meet the target
// on the search's drive, and what they feed; 0 where none do. It starts from the
// longest run and goes down with what comes of it: see the note above.
func (s *search) reach() (machines int, f *fed, err error) {
	on := *s
	on.run = secondsPerDay
	l, err := on.layout(1)
	if err != nil || l == nil {
		return 0, nil, err
	}
	if l, err = on.frugal(l); err != nil {
		return 0, nil, err
	}
	daily := 0.0 // lifted a day
	m, err := on.machinesFor(l, on.needed(l))
	if err != nil {
		return 0, nil, err
	}
	for m = max(1, m); m <= MaxMachines && on.needed(l) > 0; {
		f, err := on.best(m)
		if err != nil {
			return 0, nil, err
		}
		if f == nil || f.run == 0 {
			return 0, nil, nil
		}
		if on.meets(f) {
			return m, f, nil
		}
		// On one amount of sun, machines that bring less than fewer did are past the
		// best of it.
		lifted := float64(f.lift.Value) * float64(f.run)
		if lifted < daily {
			return 0, nil, nil
		}
		daily = lifted
		on.run = min(on.run, f.run)
		if l, err = on.frugal(l); err != nil {
			return 0, nil, err
		}
		next, err := on.machinesFor(l, on.needed(l))
		if err != nil {
			return 0, nil, err
		}
		m = max(m+1, next)
	}
	return 0, nil, nil
}
