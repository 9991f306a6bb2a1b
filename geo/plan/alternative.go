package plan

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"pondwright/calc/unit"
)

// compare solves anew what might be changed, ranks it, and sets the sources of
// power beside one another. A plan whose run falls short names the first change
// that closes the gap. Other numbers of diffusers are sketched: their sites may be a
// little worse than a plan's own, never better.
func (s *search) compare(p *Plan, best *fed) error {
	if best == nil || s.feeder.drive == nil && s.meets(best) {
		return nil // nothing to relax
	}
	draft := *s
	draft.own = &best.layout
	s = &draft
	for _, try := range []func(*Plan, *fed) (*Alternative, error){
		s.moreDiffusers, s.widerHose, s.moreMachines, s.morePanels, s.addBattery, s.machinesAndPanels, s.byWind, s.byGrid,
	} {
		a, err := try(p, best)
		if err != nil {
			return err
		}
		if a != nil && (a.otherSupply() || a.Turnovers.Value >= p.Turnovers.Value*(1+leastGain)) {
			p.Alternatives = append(p.Alternatives, *a)
		}
	}
	rank(p.Alternatives)
	switch {
	case p.Constraint == RunHours && len(p.Alternatives) > 0 && p.Alternatives[0].Meets:
		p.Shortfall += ": " + p.Alternatives[0].Text
	case p.Constraint == RunHours:
		p.Shortfall += "; no single change of panels, battery, machines or source was found that closes the gap"
	case p.Constraint != None && s.feeder.drive != nil && len(p.Alternatives) > 0 && p.Alternatives[0].Meets:
		p.Shortfall += "; nearest to hand: " + p.Alternatives[0].Text
	}
	return s.sources(p, best)
}

// otherSupply tells a change of what drives the air, which is worth knowing even
// where it brings no more.
func (a Alternative) otherSupply() bool {
	return a.Change == AddBattery || a.Change == ByWind || a.Change == ByGrid
}

// runAdvice names the run that would do.
func (s *search) runAdvice(p *Plan, best *fed) unit.Text {
	needH := best.run.Hours() * p.Factor
	if best.run == 0 {
		needH = s.targetInM3S(1) / float64(best.lift.Value) / 3600
	}
	return unit.Say("%.1f h of running a day in %s where about %.1f h would do", best.run.Hours(), p.Supply.Worst, min(24, needH))
}

// rank orders alternatives: those that meet the target first, of these the ones of
// known cost by cost; the others by their turnovers. Equals keep their order, which
// is that of the usual expense (judgement, no source).
func rank(list []Alternative) {
	slices.SortStableFunc(list, func(a, b Alternative) int {
		switch {
		case a.Meets != b.Meets:
			if a.Meets {
				return -1
			}
			return 1
		case !a.Meets:
			return cmp.Compare(b.Turnovers.Value, a.Turnovers.Value)
		case a.Cost != nil && b.Cost != nil:
			return cmp.Compare(*a.Cost, *b.Cost)
		case a.Cost != nil:
			return -1
		case b.Cost != nil:
			return 1
		}
		return 0
	})
}

// alternative describes what a changed search found, and what it buys beyond the
// plan. Other items are added to those that every change may need.
func (s *search) alternative(change Change, p *Plan, best, f *fed, text unit.Text, more ...Item) (*Alternative, error) {
	f, err := s.economize(f)
	if err != nil {
		return nil, err
	}
	a := &Alternative{
		Change: change, Text: text,
		Turnovers: s.in.turnovers(f.lift, f.run), RunHours: f.run.Hours(), Meets: s.meets(f),
		Diffusers: len(f.diffusers), Machines: f.machines,
	}
	if d := s.feeder.drive; d != nil && (d.power.Source == SunDirect || d.power.Source == SunBattery) {
		a.Array = d.array()
		if d.power.Source == SunBattery {
			a.Battery = d.store
		}
	}
	order := func(f *fed) (sum unit.Meters) {
		for _, d := range f.diffusers {
			sum += d.Hose.Order
		}
		return sum
	}
	list := append([]Item{{Name: ItemDiffuser, Quantity: float64(len(f.diffusers) - len(best.diffusers))}}, more...)
	if change != WiderHose {
		list = append(list, Item{Name: ItemHose, Quantity: float64(order(f) - order(best))})
	} else {
		list = append(list, Item{Name: ItemHose, Quantity: float64(order(f))})
	}
	if a.Array > 0 {
		before := unit.Watts(0)
		if p.Supply != nil {
			before = p.Supply.Array
		}
		list = append(list, Item{Name: ItemPanel, Quantity: float64(a.Array - before)})
	}
	if a.Battery > 0 {
		list = append(list, Item{Name: ItemBattery, Quantity: float64(a.Battery - p.Supply.Battery)})
	}
	if change != ByWind {
		list = append(list, Item{Name: ItemCompressor, Quantity: float64(f.machines - max(best.machines, s.in.Equipment.Machines))})
	}
	a.Items = items(list...)
	if len(s.in.Prices.List) > 0 {
		a.Cost, a.Unpriced = s.in.Prices.cost(a.Items)
	}
	return a, nil
}

// moreDiffusers is the next larger layout on the same air.
func (s *search) moreDiffusers(p *Plan, best *fed) (*Alternative, error) {
	n := len(best.diffusers) + 1
	if n > MaxDiffusers {
		return nil, nil
	}
	f, err := s.fed(n, best.machines)
	if err != nil || f == nil {
		return nil, err
	}
	return s.alternative(MoreDiffusers, p, best, f, unit.Say("%d diffusers in place of %d on the same air", n, n-1))
}

// widerHose is the narrowest wider hose that meets the target, or else the next
// wider one.
func (s *search) widerHose(p *Plan, best *fed) (*Alternative, error) {
	var first *Alternative
	for _, bore := range widerBores(s.feeder.bore * (1 + leastWider)) {
		wide := s.withBore(bore.Inside)
		f, err := wide.best(best.machines)
		if err != nil {
			return nil, err
		}
		if f == nil {
			continue
		}
		a, err := wide.alternative(WiderHose, p, best, f, unit.Say("hose of %s bore (%s) in place of %s",
			bore.Inside.Bore(), soldAs(bore), s.feeder.bore.Bore()))
		if err != nil {
			return nil, err
		}
		if a.Meets {
			return a, nil
		}
		if first == nil {
			first = a
		}
		if a.Turnovers.Value < first.Turnovers.Value*(1+leastGain) {
			break // the hose is not what is short
		}
	}
	return first, nil
}

// leastGain is the share of turnovers below which a change is no change.
const leastGain = 0.01

// leastWider is the share of a bore below which another hose is the same hose.
const leastWider = 0.1

// moreMachines is the fewest machines that meet the target on the supply as it is,
// or else one more.
func (s *search) moreMachines(p *Plan, best *fed) (*Alternative, error) {
	if best.machines >= MaxMachines {
		return nil, nil
	}
	m, f, err := s.reach()
	if err != nil {
		return nil, err
	}
	if f == nil || m <= best.machines {
		m = best.machines + 1
		if f, err = s.best(m); err != nil || f == nil {
			return nil, err
		}
	}
	return s.alternative(MoreMachines, p, best, f, unit.Say("%d machines like this in place of %d, or one that gives %s at %s, feeding %d diffusers",
		m, best.machines, f.air.Text(), f.manifold.Text(), len(f.diffusers)))
}

// sunny tells a drive with panels.
func (d *drive) sunny() bool {
	return d != nil && (d.power.Source == SunDirect || d.power.Source == SunBattery)
}

// morePanels is the fewest panels that meet the target on the same machines, or
// else half as many again.
func (s *search) morePanels(p *Plan, best *fed) (*Alternative, error) {
	d := s.feeder.drive
	if !d.sunny() || d.count == 0 {
		return nil, nil
	}
	most := min(d.mostPanels(), max(d.count+1, d.panelsFor(1000*float64(d.drawn(best.load))/(0.75*leastLight))))
	if d.count >= most {
		return nil, nil
	}
	count, err := s.fewestPanels(d, best.machines, most, sought)
	if err != nil {
		return nil, err
	}
	if count > most || count <= d.count {
		count = min(most, d.count+(d.count+1)/2)
	}
	more := s.withDrive(d.with(count, d.store))
	f, err := more.best(best.machines)
	if err != nil || f == nil {
		return nil, err
	}
	return more.alternative(MorePanels, p, best, f, unit.Say("%d panels of %.0f W, %.0f W in all, in place of %d: %.0f W more",
		count, float64(d.power.Panels.Module.Power), float64(more.feeder.drive.array()), d.count, float64(more.feeder.drive.array()-d.array())))
}

// addBattery puts a battery between panels and machines, or a larger one.
func (s *search) addBattery(p *Plan, best *fed) (*Alternative, error) {
	d := s.feeder.drive
	if !d.sunny() {
		return nil, nil
	}
	with := s.withDrive(d.by(SunBattery).with(0, 0))
	sized, err := with.proposed(best.machines, sought)
	if err != nil {
		return nil, err
	}
	sized = sized.with(max(sized.count, d.count), max(sized.store, d.store))
	if d.power.Source == SunBattery && sized.store <= d.store && sized.count <= d.count {
		return nil, nil
	}
	with.feeder.drive = sized
	f, err := with.best(best.machines)
	if err != nil || f == nil {
		return nil, err
	}
	return with.alternative(AddBattery, p, best, f, unit.Say("a battery of %.1f kWh with %d panels of %.0f W, %.0f W in all: %.1f h a day",
		float64(sized.store)/1000, sized.count, float64(d.power.Panels.Module.Power), float64(sized.array()), f.run.Hours()))
}

// machinesAndPanels is the fewest machines that meet the target in the run there
// is, with the panels that keep them running as long.
func (s *search) machinesAndPanels(p *Plan, best *fed) (*Alternative, error) {
	d := s.feeder.drive
	if !d.sunny() || best.run == 0 || s.meets(best) {
		return nil, nil
	}
	m, f, err := s.withDrive(d.holding(best.hours)).reach()
	if err != nil || f == nil || m <= best.machines {
		return nil, err
	}
	store := d.store * unit.WattHours(m) / unit.WattHours(best.machines)
	most := d.mostPanels()
	count, err := s.fewestPanels(d.with(1, store), m, most, sought)
	if err != nil || count > most {
		return nil, err
	}
	both := s.withDrive(d.with(count, store))
	if f, err = both.best(m); err != nil || f == nil {
		return nil, err
	}
	return both.alternative(MachinesPanels, p, best, f, unit.Say("%d machines like this in place of %d, with %d panels of %.0f W, %.0f W in all, in place of %d",
		m, best.machines, count, float64(d.power.Panels.Module.Power), float64(both.feeder.drive.array()), d.count))
}

// reachOrBest returns the fewest machines that meet the target with their layout or,
// where none do, the best layout of the machines at hand; nil where there is none.
func (s *search) reachOrBest() (machines int, f *fed, err error) {
	if machines, f, err = s.reach(); err != nil || f != nil {
		return machines, f, err
	}
	f, err = s.best(s.in.Equipment.Machines)
	return s.in.Equipment.Machines, f, err
}

// byWind drives the pumps by mills.
func (s *search) byWind(p *Plan, best *fed) (*Alternative, error) {
	d := s.feeder.drive
	if d == nil || d.power.Source == WindMill {
		return nil, nil
	}
	by := s.withDrive(d.by(WindMill))
	m, f, err := by.reachOrBest()
	if err != nil || f == nil {
		return nil, err
	}
	return by.alternative(ByWind, p, best, f, unit.Say("%d wind pumps that give as much air as the machine here: %.1f h a day in the calmest month", m, f.run.Hours()),
		Item{Name: ItemMill, Quantity: float64(m)})
}

// byGrid drives the machines from the mains.
func (s *search) byGrid(p *Plan, best *fed) (*Alternative, error) {
	d := s.feeder.drive
	if d == nil || d.power.Source == Grid {
		return nil, nil
	}
	by := s.withDrive(d.by(Grid))
	m, f, err := by.reachOrBest()
	if err != nil || f == nil {
		return nil, err
	}
	far := d.power.Grid.Length
	text := unit.Say("the mains, round the clock, with %d machines; how far they are was not given", m)
	if far > 0 {
		text = unit.Say("the mains by %s of cable, round the clock, with %d machines", far.Distance(), m)
	}
	a, err := by.alternative(ByGrid, p, best, f, text, Item{Name: ItemCable, Quantity: float64(far)}, Item{Name: ItemTrench, Quantity: float64(far)})
	if err == nil && far == 0 {
		a.Cost, a.Unpriced = nil, append(a.Unpriced, ItemCable, ItemTrench)
	}
	return a, err
}

// Describe says an alternative in a line, in SI units.
func (a Alternative) Describe() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %.2f turnovers a day", a.Text, a.Turnovers.Value)
	if a.Cost != nil {
		fmt.Fprintf(&b, ", costs %.0f", math.Ceil(*a.Cost))
	}
	return b.String()
}
