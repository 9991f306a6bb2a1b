package plan

import (
	"fmt"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
	"pondwright/calc/wind"
)

// sources sets the sources of power beside one another, month by month, for the
// best layout: each sized for the run that meets the target, or for a whole day
// where no run does.
func (s *search) sources(p *Plan, best *fed) error {
	d := s.feeder.drive
	if d == nil || best.load < 1 {
		return nil
	}
	wanted := unit.Seconds(min(secondsPerDay, s.targetInM3S(1)/float64(best.lift.Value)))
	list, err := wind.Compare(wind.Case{
		Load: max(1, d.drawn(best.load)), Hours: max(unit.Hours(0.1), wanted), Season: d.power.Season,
		Sun: d.site, Panel: d.panel, Storage: d.need(best.load),
		Wind: wind.Site{Wind: d.climate.Wind, Shelter: d.power.Mill.Shelter}, Mill: d.power.Mill.Mill, Grid: d.power.Grid,
	})
	if err != nil {
		return fmt.Errorf("sources of power: %w", err)
	}
	for _, from := range list {
		m := SourceMonths{
			Source: sourceOf(from.Kind), Hours: from.Hours, Worst: from.Worst, Reason: from.Reason,
			Array: from.Array, Battery: from.Battery, Notes: from.Notes,
		}
		for i, h := range from.Hours {
			m.Turnovers[i] = float64(best.lift.Value) * float64(h) / float64(s.in.Survey.Volume.High)
		}
		m.Meets = from.Reason == "" && m.Turnovers[from.Worst-1] >= s.in.Turnovers*(1-1e-9)
		if !m.Meets && m.Reason == "" {
			m.Reason = fmt.Sprintf("%.2f turnovers a day in %s, %.2f are wanted", m.Turnovers[from.Worst-1], from.Worst, s.in.Turnovers)
		}
		s.price(&m, from, best)
		p.Sources = append(p.Sources, m)
	}
	return nil
}

// price counts what a source takes and what that costs.
func (s *search) price(m *SourceMonths, from wind.Source, best *fed) {
	far := float64(s.feeder.drive.power.Grid.Length)
	switch m.Source {
	case WindMill:
		m.Items = items(Item{Name: ItemMill, Quantity: float64(best.machines)})
	case Grid:
		m.Items = items(Item{Name: ItemCable, Quantity: far}, Item{Name: ItemTrench, Quantity: far})
		if from.Cable.Gauge != (sun.Gauge{}) && far > 0 {
			cable := from.Cable
			m.Cable = &cable
		}
	default:
		m.Items = items(Item{Name: ItemPanel, Quantity: float64(m.Array)}, Item{Name: ItemBattery, Quantity: float64(m.Battery)})
	}
	if len(s.in.Prices.List) > 0 {
		m.Cost, m.Unpriced = s.in.Prices.cost(m.Items)
	}
	if m.Source == Grid && far == 0 {
		m.Cost, m.Unpriced = nil, []string{ItemCable, ItemTrench}
		m.Notes = append(m.Notes, "How far the mains are was not given.")
	}
}

func sourceOf(k wind.Kind) Source {
	switch k {
	case wind.SunBattery:
		return SunBattery
	case wind.WindMill:
		return WindMill
	case wind.Mains:
		return Grid
	default:
		return SunDirect
	}
}
