package plan

import (
	"fmt"

	"pondwright/calc/unit"
	"pondwright/calc/water"
	"pondwright/geo/plane"
)

// secondsPerDay at the assumed run time of a whole day.
const (
	runHours      = 24
	secondsPerDay = runHours * 3600
)

// Propose returns the best layout that the given air can feed: the fewest
// diffusers that meet every target or, where none do, the most turnovers.
// It returns a *unit.RangeError for input out of range, ErrNothingSurveyed, a
// *ZoneError, route.ErrMastInWater, a *route.FarMastError, a *MastZoneError or a
// *route.EndError for a mast that cannot serve, a *PinError for a diffuser that
// cannot stand where it was put, air.ErrTooFewPoints for equipment without a
// compressor, and ErrCanceled.
func Propose(in Input, progress Progress) (*Plan, error) {
	p, err := Prepare(in, progress)
	if err != nil {
		return nil, err
	}
	return p.Propose(progress)
}

func (in Input) check() error {
	if in.Survey == nil || in.Survey.Bed == nil || in.Shore == nil {
		return ErrNothingSurveyed
	}
	if err := unit.CheckRange("turnovers a day", in.Turnovers, 0.01, 10, "this project's own limit"); err != nil {
		return err
	}
	if err := unit.CheckRange("water temperature (°C)", in.WaterTemperature.Celsius(), 0, 40, "fresh water"); err != nil {
		return err
	}
	for i, b := range in.Bans {
		if err := unit.CheckRange(fmt.Sprintf("radius about place %d without a diffuser (m)", i+1), float64(b.Radius), 0.01, 1000, "this project's own limit"); err != nil {
			return err
		}
	}
	if err := unit.CheckRange("diffusers put by hand", float64(len(in.Pins)), 0, MaxDiffusers, "a plan's most"); err != nil {
		return err
	}
	if err := unit.CheckRange("masts", float64(1+len(in.MoreMasts)), 1, MaxStations, "this project's own limit"); err != nil {
		return err
	}
	if err := in.Levels.check(); err != nil {
		return err
	}
	return in.Equipment.check()
}

// begin returns a plan with what is known before any site is sought.
func (in Input) begin() (*Plan, error) {
	pressure, err := water.AirPressure(in.Altitude)
	if err != nil {
		return nil, err
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

// build fills the plan from a layout with air.
func (s *search) build(p *Plan, best *fed) error {
	p.Diffusers, p.Lift, p.Air, p.Manifold = best.diffusers, best.lift, best.air, best.manifold
	p.SiteGap, p.Served = best.layout.Gap, 1-best.layout.Unserved
	p.Machines, p.RunHours = best.machines, best.run.Hours()
	p.Turnovers = s.in.turnovers(best.lift, best.run)
	for _, g := range best.groups {
		st := s.feeder.stations[g.station]
		at := Station{
			Mast: st.mast, Entry: st.entry, Proposed: st.proposed, Diffusers: g.sites, Machines: g.machines,
			Air: g.balance.Air, Outlet: g.balance.Outlet, Manifold: g.balance.Manifold,
			Trench: []plane.Point{st.mast, st.entry}, Trunk: g.trunk,
		}
		for _, i := range g.sites {
			at.HoseTotal += p.Diffusers[i].Hose.Order
		}
		if g.trunk != nil {
			at.HoseTotal += g.trunk.Order
			trunk := *g.trunk
			trunk.Saves = -at.HoseTotal
			for _, i := range g.sites {
				h, _ := s.feeder.hose(st, best.layout.Sites[i]) // it was laid before
				trunk.Saves += h.Order
			}
			at.Trunk = &trunk
		}
		p.Stations = append(p.Stations, at)
		p.HoseTotal += at.HoseTotal
	}
	p.Mast, p.Entry = p.Stations[0].Mast, p.Stations[0].Entry
	for i := range p.Diffusers {
		d := &p.Diffusers[i]
		var err error
		if d.Hose.Ballast, err = s.in.Equipment.ballast(d.Hose); err != nil {
			return err
		}
		if d.Boil, err = s.feeder.boil(d); err != nil {
			return err
		}
	}
	return nil
}
