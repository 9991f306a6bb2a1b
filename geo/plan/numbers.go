package plan

import (
	"pondwright/calc/unit"
	"pondwright/geo/site"
)

// Number is what so many diffusers come to, at the best places found for them and
// with the air that the plan has.
type Number struct {
	Diffusers int
	Served    float64                      // share of the water
	Turnovers float64                      // a day, promised, of the high volume; 0: the air does not get through
	Each      unit.StdCubicMetersPerSecond // air to the diffuser that gets least
	AirNeeded unit.StdCubicMetersPerSecond // to meet the target; 0: no amount would
	Hose      unit.Meters                  // to order, each run with a hose of its own
	Gap       float64                      // no other sites serve more by more than this; 1: not worked out
	Meets     bool                         // every target is met
}

// Of the table: at least leastNumbers rows, and so many beyond the plan's number.
const (
	leastNumbers = 10
	moreNumbers  = 4
)

// numbers lists what 1, 2, 3 … diffusers come to, from as many as are pinned to
// some more than the plan has, as far as there is room.
func (s *search) numbers(best *fed) ([]Number, error) {
	var out []Number
	last := min(MaxDiffusers, max(leastNumbers, len(best.diffusers)+moreNumbers))
	for n := max(1, len(s.in.Pins)); n <= last; n++ {
		if !s.progress(StageNumbers, float64(n)/float64(last+1)) {
			return nil, ErrCanceled
		}
		l, gap := &best.layout, best.layout.Gap
		if n != len(best.diffusers) {
			if l, gap = s.sketch(n), 1; l == nil {
				break
			}
		}
		row, err := s.number(l, best.machines)
		if err != nil {
			return nil, err
		}
		row.Gap = gap
		out = append(out, row)
	}
	return out, nil
}

// sketch returns sites for n diffusers without a proof, nil where they do not fit.
func (s *search) sketch(n int) *site.Layout {
	return s.layouts.sketch(n, func() *site.Layout {
		l, room := s.field.Sketch(n)
		if !room {
			return nil
		}
		return s.measured(l)
	})
}

func (s *search) number(l *site.Layout, machines int) (Number, error) {
	row := Number{Diffusers: len(l.Sites), Served: 1 - l.Unserved, AirNeeded: s.needed(l)}
	f, err := s.feeder.feed(*l, machines)
	if nothingFlows(err) {
		return row, nil
	}
	if err != nil {
		return row, err
	}
	row.Turnovers = s.in.turnovers(f.lift, f.run).Value * float64(s.in.Survey.Volume.Value/s.in.Survey.Volume.High)
	row.Each, row.Meets = unit.SCFM(f.each()), s.grade(f) == gradeAll
	for _, d := range f.diffusers {
		row.Hose += d.Hose.Order
	}
	return row, nil
}
