package plan

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"pondwright/calc/air"
	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/site"
)

// bind names the constraint that keeps the plan from its target, and the cheapest
// way to close the gap. Best is nil where nothing can be fed.
func (s *search) bind(p *Plan, best *fed) error {
	if best == nil {
		p.Constraint = Pressure
		p.Shortfall = "the compressor cannot open any diffuser: " + s.pressureAdvice()
		return nil
	}
	if s.meets(best) {
		p.need(s.needed(&best.layout), best)
		p.Constraint = None
		if complete(best.layout) {
			return nil
		}
		return s.bindCoverage(p, best)
	}
	l, err := s.frugal(&best.layout)
	if err != nil {
		return err
	}
	if s.needed(l) == 0 {
		p.Constraint = Depth
		p.Shortfall = "deeper water or a lower target: with any amount of air, the diffusers for which there is room cannot lift the target"
		return nil
	}
	p.need(s.needed(l), best)
	for _, try := range []func(*Plan, *fed, *site.Layout) (bool, error){s.bindHose, s.bindAir, s.bindBoth} {
		if ok, err := try(p, best, l); ok || err != nil {
			return err
		}
	}
	p.Constraint = Pressure
	p.Shortfall = "the pressure for so much air is above the compressor's rating: " + s.pressureAdvice()
	return nil
}

// bindGiven is bind for a layout that is given: no other is sought.
func (s *search) bindGiven(p *Plan, best *fed, l *site.Layout) error {
	if best == nil || s.meets(best) && complete(best.layout) {
		return s.bind(p, best)
	}
	if s.meets(best) {
		p.need(s.needed(l), best)
		p.Constraint = Coverage
		p.Shortfall = "a diffuser in every basin: a basin behind a sill has none, and its deep water stays where it is"
		return nil
	}
	need := s.needed(l)
	if need == 0 {
		p.Constraint = Depth
		p.Shortfall = "deeper places, more diffusers or a lower target: with any amount of air, these diffusers cannot lift the target"
		return nil
	}
	p.need(need, best)
	machines, err := s.machinesFor(l, need)
	if err != nil {
		return err
	}
	p.Constraint = AirSupply
	switch {
	case machines == 0:
		p.Constraint = HoseLoss
		p.Shortfall = unit.Say("wider hose or a stronger machine: %s do not get through hose of %s at the compressor's rating", need.Text(), s.feeder.bore.Bore())
	case machines <= s.in.Equipment.Machines:
		p.Shortfall = unit.Say("fewer diffusers: each of them gets %s and needs %s to lift well", unit.SCFM(best.each()).Text(), unit.SCFM(leastAir).Text())
	default:
		p.Shortfall = unit.Say("%s where there are %s: %d machines like this in place of %d", need.Text(), best.air.Text(), machines, s.in.Equipment.Machines)
	}
	return nil
}

// need notes the air that would meet the target.
func (p *Plan) need(q unit.StdCubicMetersPerSecond, best *fed) {
	p.AirNeeded = q
	p.Factor = float64(q / best.air)
}

// pressureAdvice names a pressure that opens the deepest diffuser and drives air
// through it.
func (s *search) pressureAdvice() unit.Text {
	e := s.in.Equipment
	need := air.Head(s.deepest+s.in.Levels.rise(), waterDensity) + e.Diffuser.Fouled(e.Fouling).Loss(unit.SCFM(mostAir))
	return unit.Say("choose one that delivers air at more than %s", need.Text())
}

// frugal returns the layout that lifts the target with the least air, or the
// largest one for which there is room. More diffusers need less, until each gets
// the least it can use.
func (s *search) frugal(from *site.Layout) (*site.Layout, error) {
	few, many := from, (*site.Layout)(nil) // too few for so little air, and enough
	lo, hi := len(from.Sites), MaxDiffusers+1
	for lo+1 < hi {
		var next int
		if many == nil && hi <= MaxDiffusers {
			next = (lo + hi) / 2 // room ends between them
		} else { // later diffusers stand shallower and lift less than the first
			next = int(math.Ceil(float64(lo) * s.targetM3S() / max(s.liftM3S(few, leastAir), 1e-9)))
		}
		next = min(max(next, lo+1), hi-1)
		l, err := s.layout(next)
		if err != nil {
			return nil, err
		}
		switch {
		case l == nil:
			hi = next
		case s.liftM3S(l, leastAir) < s.targetM3S():
			few, lo = l, next
		default:
			many, hi = l, next
		}
	}
	if many == nil || s.needed(few) > 0 && s.needed(few) <= s.needed(many) {
		return few, nil
	}
	return many, nil
}

// bindHose blames the hose if one of a larger bore is all that is missing.
func (s *search) bindHose(p *Plan, best *fed, _ *site.Layout) (bool, error) {
	return s.blameHose(p, best, func(wide *search) (int, *fed, error) {
		f, err := wide.meeting(s.in.Equipment.Machines)
		if f != nil && !s.meets(f) {
			f = nil
		}
		return s.in.Equipment.Machines, f, err
	})
}

// bindBoth blames the hose if larger hose and more machines are missing.
func (s *search) bindBoth(p *Plan, best *fed, l *site.Layout) (bool, error) {
	return s.blameHose(p, best, func(wide *search) (int, *fed, error) { return wide.enough(l) })
}

// blameHose looks for the narrowest bore with which try finds a layout that meets
// the target, and the machines it takes.
func (s *search) blameHose(p *Plan, best *fed, try func(wide *search) (int, *fed, error)) (bool, error) {
	bores := widerBores(s.feeder.bore)
	found := false
	for _, bore := range slices.Backward(bores) { // if the widest does not do, none does
		machines, f, err := try(s.withBore(bore.Inside))
		if err != nil {
			return false, err
		}
		if f == nil {
			break
		}
		found = true
		p.Constraint = HoseLoss
		p.need(s.needed(&f.layout), best)
		p.Shortfall = unit.Say("hose of %s bore (%s) where it is %s: the pressure lost in it is what is missing",
			bore.Inside.Bore(), soldAs(bore), s.feeder.bore.Bore())
		if machines != s.in.Equipment.Machines {
			p.Shortfall += "; with it " + s.machinesAdvice(p, best, machines, f)
		}
	}
	return found, nil
}

// bindAir blames the machines if more of them are all that is missing.
func (s *search) bindAir(p *Plan, best *fed, l *site.Layout) (bool, error) {
	machines, more, err := s.enough(l)
	if err != nil || machines == 0 {
		return false, err
	}
	p.Constraint = AirSupply
	if more == nil {
		p.Shortfall = unit.Say("%s where there are %s: about %d machines like this, more than the %d of a plan; choose larger ones",
			p.AirNeeded.Text(), best.air.Text(), machines, MaxMachines)
		return true, nil
	}
	p.need(s.needed(&more.layout), best)
	p.Shortfall = s.machinesAdvice(p, best, machines, more)
	return true, nil
}

// bindCoverage says what it takes to put a diffuser into every basin.
func (s *search) bindCoverage(p *Plan, best *fed) error {
	p.Constraint = Coverage
	const why = "a basin behind a sill has no diffuser, and its deep water stays where it is"
	for _, n := range numbers() {
		l, err := s.layout(n)
		if err != nil {
			return err
		}
		if l == nil {
			break
		}
		if !complete(*l) {
			continue
		}
		machines, more, err := s.enough(l)
		if err != nil {
			return err
		}
		if more == nil || !complete(more.layout) {
			break
		}
		p.need(s.needed(l), best)
		p.Shortfall = s.machinesAdvice(p, best, machines, more) + "; " + why
		return nil
	}
	p.Shortfall = "a place deep enough for a diffuser in every basin: " + why
	return nil
}

// enough returns the fewest machines that meet the target, judged by layout l,
// and the layout they feed: nil when they are more than a plan may have. The
// number is 0 when no number of machines reaches the pressure.
func (s *search) enough(l *site.Layout) (machines int, more *fed, err error) {
	const tries = 3 // a rounding of the pressure or a basin may ask for one more
	first, err := s.machinesFor(l, s.needed(l))
	if err != nil || first == 0 {
		return 0, nil, err
	}
	for m := max(first, s.in.Equipment.Machines); m < first+tries && m <= MaxMachines; m++ {
		f, err := s.best(m)
		if err != nil {
			return 0, nil, err
		}
		if f == nil || !s.meets(f) {
			continue
		}
		if complete(f.layout) {
			return m, f, nil
		}
		if more == nil {
			machines, more = m, f
		}
	}
	if more == nil && first > MaxMachines {
		machines = first
	}
	return machines, more, nil
}

func (s *search) machinesAdvice(p *Plan, best *fed, machines int, more *fed) unit.Text {
	return unit.Say("%s at %s where there are %s: %d machines like this in place of %d, feeding %d diffusers",
		p.AirNeeded.Text(), more.manifold.Text(), best.air.Text(), machines, s.in.Equipment.Machines, len(more.diffusers))
}

// widerBores lists the standard bores wider than the given one, narrowest first,
// one of each width.
func widerBores(than unit.Meters) []air.Bore {
	bores := slices.DeleteFunc(air.Bores(), func(b air.Bore) bool { return b.Inside <= than })
	slices.SortStableFunc(bores, func(a, b air.Bore) int { return cmp.Compare(a.Inside, b.Inside) })
	return slices.CompactFunc(bores, func(a, b air.Bore) bool { return a.Inside == b.Inside })
}

// soldAs is what a bore is asked for by: the nominal size is a name, not a measure.
func soldAs(b air.Bore) string { return fmt.Sprintf("nominal %s, %s", b.Nominal, b.Standard) }

// withBore returns the same search with all hoses of another bore. The two share
// the layouts found.
func (s *search) withBore(bore unit.Meters) *search {
	wide, feeder := *s, *s.feeder
	feeder.bore = bore
	feeder.stations = nil
	for _, st := range s.feeder.stations {
		again := *st
		again.hoses = make(map[plane.Point]laid, len(st.hoses))
		for at, h := range st.hoses {
			h.hose.Bore = bore
			again.hoses[at] = h
		}
		feeder.stations = append(feeder.stations, &again)
	}
	wide.feeder = &feeder
	return &wide
}
