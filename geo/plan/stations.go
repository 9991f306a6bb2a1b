package plan

import (
	"errors"
	"math"
	"slices"
	"strings"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/site"
)

// settle finds the best layout from one station or, where one cannot serve, from
// more, and completes the plan with it. The layout is nil where nothing can be fed.
func (s *search) settle(out *Plan) (*fed, error) {
	best, by, err := s.grow(out, func(try *search, p *Plan) (*fed, error) {
		return try.fill(p, sought, (*search).bind)
	})
	if err != nil {
		return nil, err
	}
	if best != nil {
		if out.Numbers, err = by.numbers(best); err != nil {
			return nil, err
		}
	}
	if err := by.compare(out, best); err != nil {
		return nil, err
	}
	return best, by.judge(out, best)
}

// settleOn completes the plan with a layout that is given.
func (s *search) settleOn(out *Plan, l *site.Layout) (*fed, error) {
	best, by, err := s.grow(out, func(try *search, p *Plan) (*fed, error) {
		return try.fill(p, given(l), func(on *search, p *Plan, best *fed) error { return on.bindGiven(p, best, l) })
	})
	if err != nil {
		return nil, err
	}
	if best != nil {
		out.SiteGap = 1
	}
	return best, by.judge(out, best)
}

// close cuts the hose and lists the boat work. Hose on hand that is too short
// binds where nothing else does.
func (s *search) close(p *Plan, err error) error {
	if err != nil {
		return err
	}
	short := p.cut(s.in.Equipment.Coils)
	p.work()
	if len(short) == 0 || p.Constraint != None {
		return nil
	}
	var missing []string
	var sumM float64
	for _, r := range short {
		sumM += r.longM
		missing = append(missing, string(unit.Say("%s of %s for %s", unit.Meters(r.longM).Distance(), r.bore.Bore(), r.title())))
	}
	p.Constraint = HoseLoss
	p.Shortfall = unit.Say("%s more hose than the coils on hand: %s", unit.Meters(sumM).Distance(), strings.Join(missing, ", "))
	return nil
}

// grow plans from the first station alone, then from one more as long as the hose
// is what falls short, and keeps the best plan with the search that made it.
func (s *search) grow(out *Plan, plan func(try *search, p *Plan) (*fed, error)) (*fed, *search, error) {
	met := func(p *Plan) bool { return p.Constraint == None || p.Constraint == Coverage }
	stations := slices.Clip(s.feeder.stations)
	most := min(MaxStations, max(s.in.Equipment.Machines, len(stations)))
	start := *out
	var best *fed
	var by *search
	var unreached error
	for n := 1; n <= most; n++ {
		if n > len(stations) {
			if len(s.in.MoreMasts) > 0 {
				break // somebody has said where else one may stand
			}
			st := s.more(stations)
			if st == nil {
				break
			}
			stations = append(stations, st)
		}
		try, p := s.from(stations[:n]), start
		f, err := plan(try, &p)
		if errors.As(err, new(*hoseError)) {
			unreached = err
			continue // another station may reach it
		}
		if err != nil {
			return nil, nil, err
		}
		if by == nil || met(&p) && !met(out) || met(&p) == met(out) && f != best && s.better(best, f) == f {
			*out, best, by = p, f, try
		}
		if p.Constraint != HoseLoss {
			break
		}
	}
	if by == nil {
		return nil, nil, unreached
	}
	return best, by, nil
}

// from returns the same search with other stations. The two share the layouts
// found.
func (s *search) from(stations []*station) *search {
	try, feeder := *s, *s.feeder
	feeder.stations = stations
	try.feeder = &feeder
	return &try
}

// another returns a place for a further station: back from the bank nearest to the
// water that lies farthest from those there are, nil where no such place can be
// used.
func (p *Prepared) another(have []*station) *station {
	var far plane.Point
	farM := 0.0
	for _, c := range p.in.bedOf().Cells() {
		if unit.Meters(c.DepthM) < site.DefaultRules().MinDepth {
			continue
		}
		nearM := math.Inf(1)
		for _, st := range have {
			if way, err := st.tree.Path(c.At); err == nil {
				nearM = min(nearM, float64(way.Length)+st.mast.Distance(st.entry))
			}
		}
		if nearM > farM {
			far, farM = c.At, nearM
		}
	}
	if farM == 0 {
		return nil
	}
	distM, bank := p.in.Shore.Nearest(far)
	if distM == 0 {
		return nil
	}
	st, err := p.station(len(have), far.Lerp(bank, 1+float64(setBack)/distM))
	if err != nil {
		return nil // a place that cannot be used is no place
	}
	st.proposed = true
	return st
}
