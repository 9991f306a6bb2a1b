package plan

import (
	"errors"
	"fmt"
	"slices"

	"pondwright/calc/air"
	"pondwright/calc/unit"
)

// gaugeBand is by how much a gauge, a curve and a level may be off together:
// judgement, no source.
const gaugeBand = 0.10

// commission works out what the gauges should read at start-up with the valves set
// as the plan says: at the level of the sounding day and at the highest, the
// diffusers new at the low end and fouled at the high one.
func (s *search) commission(p *Plan, best *fed) error {
	if best == nil {
		return nil
	}
	c := &Commissioning{}
	if d := s.feeder.drive; d != nil {
		switch d.power.Source {
		case WindMill: // no amps
		case Grid:
			c.Volts = d.power.Grid.Volts
			if c.Volts == 0 {
				c.Volts = 120
			}
		default:
			c.Volts = d.power.Wiring.Volts
		}
	}
	var err error
	if c.SoundingDay, err = s.gauges(best, best.groups, 0, c.Volts); err != nil {
		return err
	}
	if c.Highest, err = s.gauges(best, best.groups, s.in.Levels.rise(), c.Volts); err != nil {
		return err
	}
	if n := len(best.groups); n > 1 {
		c.Stations = make([]Gauges, n)
		for k := range n {
			if c.Stations[k], err = s.gauges(best, best.groups[k:k+1], 0, c.Volts); err != nil {
				return err
			}
		}
	}
	p.Commissioning = c
	return nil
}

// gauges reads the gauges of some stations together, the water so far over the
// shoreline's level.
func (s *search) gauges(best *fed, groups []group, rise unit.Meters, volts unit.Volts) (Gauges, error) {
	var out Gauges
	read := func(fouling float64) (manifold unit.PascalsGauge, amps unit.Amperes, err error) {
		for _, g := range groups {
			op, err := s.gaugesOf(best, g, rise, fouling)
			if err != nil {
				return 0, 0, fmt.Errorf("commissioning: %w", err)
			}
			manifold = max(manifold, op.Manifold)
			amps += s.amps(op.Outlet, g.machines, volts)
		}
		return manifold, amps, nil
	}
	var err error
	var fouled unit.PascalsGauge
	var most unit.Amperes
	if out.Pressure.Value, out.Amps.Value, err = read(1); err != nil {
		return out, err
	}
	if fouled, most, err = read(s.in.Equipment.Fouling); err != nil {
		return out, err
	}
	out.Pressure.Low, out.Pressure.High = out.Pressure.Value*(1-gaugeBand), max(fouled, out.Pressure.Value)*(1+gaugeBand)
	out.Amps.Low, out.Amps.High = min(most, out.Amps.Value)*(1-gaugeBand), max(most, out.Amps.Value)*(1+gaugeBand)
	return out, nil
}

// gaugesOf is the operating point of one station with its valves set, the relief
// valve blowing where the air has nowhere to go.
func (s *search) gaugesOf(best *fed, g group, rise unit.Meters, fouling float64) (air.Operating, error) {
	n := g.network
	n.Runs = slices.Clone(n.Runs)
	for k, i := range g.sites {
		n.Runs[k].Submergence = best.diffusers[i].Submergence + rise
		n.Runs[k].Diffuser = s.in.Equipment.Diffuser.Fouled(fouling)
		n.Runs[k].ValveCv = best.diffusers[i].Valve.Cv
	}
	op, err := n.Solve()
	if above := new(air.AboveRatingError); errors.As(err, &above) {
		return air.Operating{Manifold: above.Rated, Outlet: above.Rated}, nil
	}
	return op, err
}

// amps is what machines draw at an outlet pressure; 0 where that is not known.
func (s *search) amps(outlet unit.PascalsGauge, machines int, volts unit.Volts) unit.Amperes {
	d := s.feeder.drive
	if d == nil || volts == 0 {
		return 0
	}
	load, _ := d.load(s.in.Equipment.Compressor, s.feeder.breathes, outlet, machines)
	amps := float64(load) / float64(volts)
	if d.power.Source == Grid {
		amps /= gridFactor(d.power.Grid.PowerFactor)
	}
	return unit.Amperes(amps)
}

// gridFactor is the power factor of a motor where none was given (common practice,
// no source).
func gridFactor(given float64) float64 {
	if given == 0 {
		return 0.7
	}
	return given
}
