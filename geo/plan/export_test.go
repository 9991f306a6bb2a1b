package plan

import (
	"cmp"
	"sync"

	"pondwright/calc/plume"
	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/site"
)

// Patches cuts the input's water for the search of sites.
func (in Input) Patches() []site.Cell { return patches(in.bedOf(), in.Shore.Crosses) }

// Stand plans diffusers at places set by hand.
func (in Input) Stand(at ...plane.Point) (*Plan, error) {
	in.Turnovers, in.WaterTemperature = DefaultTurnovers, unit.StandardTemperature
	p, err := in.begin()
	if err != nil {
		return nil, err
	}
	s, err := in.search(p, func(string, float64) bool { return true })
	if err != nil {
		return nil, err
	}
	var l site.Layout
	for i, q := range at {
		l.Sites = append(l.Sites, site.Site{At: q, Depth: unit.Meters(in.bedOf().Depth(q)), Cell: i})
	}
	f, err := s.feeder.feed(l, in.Equipment.Machines)
	if err != nil {
		return nil, err
	}
	in.build(p, f)
	return p, nil
}

// Bench makes plans for one pond and mast that differ in air, hose and target
// alone: the sites are found once.
type Bench struct {
	mu sync.Mutex
	s  *search
}

// Bench prepares the search for sites.
func (in Input) Bench() (*Bench, error) {
	p, err := in.begin()
	if err != nil {
		return nil, err
	}
	s, err := in.search(p, func(string, float64) bool { return true })
	return &Bench{s: s}, err
}

// Propose does what the function does, with a copy of the input that vary has
// changed.
func (b *Bench) Propose(vary func(*Input)) (Input, *Plan, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	s, f := *b.s, *b.s.feeder
	in := s.in
	vary(&in)
	in.Turnovers, in.WaterTemperature = cmp.Or(in.Turnovers, DefaultTurnovers), unit.StandardTemperature
	p, err := in.begin()
	if err != nil {
		return in, nil, err
	}
	p.Entry = f.entry
	s.in, f.in, f.hoses, s.feeder = in, in, make(map[int]Hose), &f
	f.place = plume.Site{Pressure: p.SitePressure, Temperature: in.WaterTemperature}
	f.breathes.Pressure = p.SitePressure
	if f.drive, err = in.newDrive(); err != nil {
		return in, nil, err
	}
	best, err := s.settle(p)
	in.remark(p, best)
	return in, p, err
}
