package plan

import "pondwright/calc/unit"

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
