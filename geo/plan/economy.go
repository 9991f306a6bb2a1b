package plan

import (
	"cmp"
	"slices"

	"pondwright/calc/air"
	"pondwright/calc/unit"
)

// trunkLoss is the share of its air that a station may lose to a trunk that saves
// hose: judgement, no source.
const trunkLoss = 0.01

// economize gives each run the narrowest hose that serves and each station a trunk
// where that costs less. The air stays what it was, to trunkLoss.
func (s *search) economize(best *fed) (*fed, error) {
	kinds := slices.Clone(s.in.Equipment.kinds())
	slices.SortStableFunc(kinds, func(a, b HoseKind) int { return cmp.Compare(a.Bore, b.Bore) })
	if len(kinds) < 2 || s.feeder.bore > s.in.Equipment.widest() {
		return best, nil
	}
	thrifty := *best
	thrifty.diffusers, thrifty.groups = slices.Clone(best.diffusers), slices.Clone(best.groups)
	for k := range thrifty.groups {
		if err := s.feeder.narrow(&thrifty.groups[k], kinds); err != nil {
			return nil, err
		}
		if s.in.Equipment.Sharing != Separate {
			s.feeder.share(&thrifty, k, kinds)
		}
	}
	if err := s.feeder.settle(&thrifty); err != nil {
		return nil, err
	}
	if s.grade(&thrifty) < s.grade(best) { // the hundredth that a trunk takes was needed
		for k := range thrifty.groups {
			thrifty.groups[k] = best.groups[k]
			if err := s.feeder.narrow(&thrifty.groups[k], kinds); err != nil {
				return nil, err
			}
		}
		if err := s.feeder.settle(&thrifty); err != nil {
			return nil, err
		}
	}
	return &thrifty, nil
}

// narrow gives each run of a group the narrowest bore whose loss the run can
// afford: what it needs stays at or below what the manifold has anyway.
func (f *feeder) narrow(g *group, kinds []HoseKind) error {
	g.network.Runs = slices.Clone(g.network.Runs)
	for n := range g.network.Runs {
		q := g.balance.Valves[n].Air
		for _, kind := range kinds {
			run := g.network.Runs[n]
			if run.Hose.Bore = kind.Bore; kind.Bore >= g.network.Runs[n].Hose.Bore {
				break
			}
			alone := g.network
			alone.Feeder, alone.Runs = nil, []air.Run{run}
			b, err := alone.Require([]unit.StdCubicMetersPerSecond{q})
			if err == nil && b.Manifold <= g.balance.Manifold {
				g.network.Runs[n] = run
				break
			}
		}
	}
	b, err := g.network.Require(valveAir(g.balance))
	if err == nil {
		g.balance = b
	}
	return err
}

// valveAir is the air of each run.
func valveAir(b air.Balance) []unit.StdCubicMetersPerSecond {
	var out []unit.StdCubicMetersPerSecond
	for _, v := range b.Valves {
		out = append(out, v.Air)
	}
	return out
}

// share gives group k a trunk where its hose then costs less and carries the air.
func (f *feeder) share(out *fed, k int, kinds []HoseKind) {
	g := out.groups[k]
	if len(g.sites) < 2 {
		return
	}
	st := f.stations[g.station]
	price := pricing(kinds)
	cost := func(g *group) float64 {
		var sum float64
		for _, r := range g.network.Runs {
			sum += float64(r.Hose.Length) * price(r.Hose.Bore)
		}
		if g.trunk != nil {
			sum += float64(g.trunk.Order) * price(g.trunk.Bore)
		}
		return sum
	}
	for k2, kind := range kinds {
		try := g
		try.network.Runs = slices.Clone(g.network.Runs)
		for n, i := range g.sites {
			h, _ := f.hose(st, out.layout.Sites[i]) // it was laid before
			r := &try.network.Runs[n]
			r.Hose.Length = h.fromBox().Order
			if k2 > 0 { // a trunk is wider than its runs
				r.Hose.Bore = min(r.Hose.Bore, kinds[k2-1].Bore)
			}
		}
		if k2 == 0 && g.trunk == nil {
			continue
		}
		try.trunk = f.trunkOf(st, kind.Bore)
		try.network.Feeder = &air.Hose{Length: try.trunk.Order, Bore: kind.Bore}
		if cost(&try) >= cost(&out.groups[k]) {
			continue
		}
		b, _, err := balance(try.network)
		if err != nil || float64(b.Air) < (1-trunkLoss)*float64(g.balance.Air) {
			continue
		}
		try.balance = b
		out.groups[k] = try
	}
}

// pricing tells what a meter of a bore costs: one, where not every kind has a
// price.
func pricing(kinds []HoseKind) func(bore unit.Meters) float64 {
	if slices.ContainsFunc(kinds, func(k HoseKind) bool { return !(k.PricePerMeter > 0) }) {
		return func(unit.Meters) float64 { return 1 }
	}
	return func(bore unit.Meters) float64 {
		i := slices.IndexFunc(kinds, func(k HoseKind) bool { return k.Bore == bore })
		if i < 0 {
			return 1
		}
		return kinds[i].PricePerMeter
	}
}

// settle writes the groups' operating points into the diffusers again.
func (f *feeder) settle(out *fed) error {
	out.air, out.manifold, out.load, out.notes = 0, 0, 0, nil
	out.lift = Range[unit.CubicMetersPerSecond]{}
	for k := range out.groups {
		f.write(out, k)
	}
	if err := f.timeRun(out); err != nil {
		return err
	}
	return f.lift(out)
}
