package plan

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/golang/geo/s1"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
)

// CodeRestartLockout is the part that direct drive never goes without.
const CodeRestartLockout = "RESTART_LOCKOUT"

// supply reports what drives the air of the best layout, nil for none.
func (s *search) supply(p *Plan, best *fed) error {
	d := s.feeder.drive
	if d == nil {
		return nil
	}
	u := &Supply{
		Source: d.power.Source,
		Light:  d.climate.IrradiationFrom.Text(), Wind: d.climate.WindFrom.Text(),
		Warning:       d.warning(),
		Season:        d.power.Season,
		SeasonDefault: s.in.Power.Season == (sun.Season{}),
		Module:        d.power.Panels.Module.Power,
	}
	p.Supply = u
	if best != nil {
		u.Load, u.FromCurve, u.Drawn = best.load, best.ownLoad, d.drawn(best.load)
		u.Worst = d.worst(best.hours)
		p.RunHoursVerified = true
		for i, h := range best.hours {
			u.Months[i] = SupplyMonth{InSeason: d.power.Season[i], Hours: h, Turnovers: s.in.turnovers(best.lift, h)}
		}
	}
	if d.power.Source == SunDirect {
		u.Parts = append(u.Parts, Part{CodeRestartLockout, "A lock-out or timer that a person must reset: direct drive starts again by itself after dull days, and a start into a pond that has layered meanwhile can kill fish."})
	}
	if d.power.Source == Grid {
		return s.cable(u)
	}
	if !d.sunny() {
		return nil
	}
	if err := s.panels(u); err != nil {
		return err
	}
	return s.wire(u)
}

// warning is what must be said about a far station, or empty.
func (d *drive) warning() unit.Text {
	if d.power.Source == WindMill {
		return d.climate.WindFrom.Warning()
	}
	if d.power.Source == Grid {
		return ""
	}
	return d.climate.IrradiationFrom.Warning()
}

// panels reports the panels, how they stand and what they give on a cold morning.
func (s *search) panels(u *Supply) error {
	d := s.feeder.drive
	u.Panels, u.Array, u.Area = d.count, d.array(), d.area()
	u.PanelsWanted = s.in.Power.Panels.Count == 0
	u.Tilt, u.Azimuth = d.panel.Tilt, d.panel.Azimuth
	if d.power.Source == SunBattery {
		u.Battery, u.BatteryWanted = d.store, s.in.Power.Battery.Capacity == 0
	} else if u.Drawn >= 1 && u.Array >= 1 {
		var err error
		if u.Threshold, err = sun.DriveThreshold(u.Drawn, u.Array, 0); err != nil {
			return fmt.Errorf("power: %w", err)
		}
	}
	s.compass(u)
	module := d.power.Panels.Module
	if module.Open == 0 {
		return nil
	}
	u.Coldest = d.coldest()
	var err error
	if u.ColdVoltage, err = module.ColdVoltage(u.Coldest); err != nil {
		return fmt.Errorf("power: %w", err)
	}
	return nil
}

// coldest is the coldest daylight that the panels see.
func (d *drive) coldest() unit.Kelvin {
	if c := d.power.Panels.Coldest; c != 0 {
		return c
	}
	least := unit.Kelvin(math.Inf(1))
	for _, t := range d.climate.Temperature {
		least = min(least, t)
	}
	return least - unit.Kelvin(belowMonth)
}

// compass reports what a compass shows along the panels' bearing on the day it is
// read, or why it cannot be told.
func (s *search) compass(u *Supply) {
	day := s.in.Power.Day
	if day.IsZero() {
		u.CompassNote = "no day was given for the compass reading"
		return
	}
	model := sun.WMM2025()
	// A survey from before the model's years is read by its first: a degree drifts
	// in a decade.
	if from, _ := model.Valid(); float64(day.Year()) < from {
		day = time.Date(int(from), time.January, 1, 0, 0, 0, 0, time.UTC)
	}
	field, err := model.Field(day, s.in.Mast, s.in.Altitude)
	if err != nil {
		u.CompassNote = err.Error()
		return
	}
	declination := field.Declination()
	u.Declination = &declination
	bearing, err := field.Compass(s1.Angle(math.Mod(u.Azimuth.Radians(), 2*math.Pi)))
	if err != nil {
		u.CompassNote = err.Error()
		return
	}
	u.Compass = &bearing
}

// wire reports the wire to the machines: the one given, or the lightest that loses
// little enough.
func (s *search) wire(u *Supply) error {
	w := s.feeder.drive.power.Wiring
	if w.Length == 0 || u.Load == 0 {
		return nil
	}
	c := sun.Circuit{Length: w.Length, Current: unit.Amperes(float64(u.Load) / float64(w.Volts)), Source: w.Volts}
	out := &Wire{Length: w.Length, Current: c.Current, Gauge: w.Gauge}
	var err error
	if w.Gauge != (sun.Gauge{}) {
		out.Loss, err = c.Loss(w.Gauge)
	} else {
		out.Sized = true
		out.Gauge, out.Loss, err = c.Size(wireShare)
	}
	if errors.Is(err, sun.ErrNoGauge) {
		u.Wire = &Wire{Length: w.Length, Current: c.Current, Sized: true}
		return nil
	}
	if err != nil {
		return fmt.Errorf("wire: %w", err)
	}
	u.Wire = out
	return nil
}

// cable reports what the mains take, where their distance is known.
func (s *search) cable(u *Supply) error {
	g := s.feeder.drive.power.Grid
	if g.Length == 0 || u.Load < 1 {
		return nil
	}
	cable, err := g.Size(u.Load)
	if errors.Is(err, sun.ErrNoGauge) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("cable: %w", err)
	}
	u.Cable = &cable
	return nil
}

// String names the source in prose.
func (s Source) String() string {
	switch s {
	case SunDirect:
		return "sun, direct"
	case SunBattery:
		return "sun, battery"
	case WindMill:
		return "wind"
	case Grid:
		return "mains"
	default:
		return "nothing named"
	}
}

// months lists a season in words.
func months(s sun.Season) string {
	var runs []string
	for m := time.January; m <= time.December; m++ {
		if !s.Has(m) || s.Has((m+10)%12+1) { // not the first of a run of months
			continue
		}
		last := m
		for s.Has(last%12 + 1) {
			last = last%12 + 1
		}
		runs = append(runs, fmt.Sprintf("%s to %s", m, last))
	}
	if len(runs) == 0 {
		return "all year"
	}
	return strings.Join(runs, ", ")
}

// assumeSupply lists what the run rests on.
func (in Input) assumeSupply(p *Plan, add func(name string, isDefault bool, source, format string, args ...any)) {
	u, given := p.Supply, *in.Power
	source := func(isDefault bool, otherwise string) string {
		if isDefault {
			return otherwise
		}
		return "as given"
	}
	add("power source", false, "as given", "%s", u.Source)
	add("season", u.SeasonDefault, source(u.SeasonDefault, "growing season: judgement, no source"), "%s; judged by %s", months(u.Season), u.Worst)
	if u.Load > 0 && u.Source != WindMill {
		how, isDefault := "the machine's own table", false
		if !u.FromCurve {
			how, isDefault = "common practice, no source", given.Efficiency == 0
			if !isDefault {
				how = "by the efficiency given"
			}
		}
		add("electrical load", isDefault, how, "%.0f W at the operating point", float64(u.Load))
	}
	if u.Source == Grid {
		return
	}
	if u.Source == WindMill {
		add("wind", false, "monthly means, spread by the Rayleigh distribution", "%s", u.Wind)
		add("mill", given.Mill == Mill{}, source(given.Mill == Mill{}, "common practice, no source"), "the compressor's curve stands for that of a mill's pump")
		return
	}
	add("sunlight", false, "monthly means, spread by the distribution of clearness", "%s", u.Light)
	add("horizon", !given.HorizonKnown && len(given.Horizon) == 0, source(!given.HorizonKnown && len(given.Horizon) == 0, "nobody looked at the skyline"), "%d sights", len(given.Horizon))
	noModule := given.Panels.Module.Power == 0
	add("panels", noModule || u.PanelsWanted, source(noModule || u.PanelsWanted, "proposed"), "%d × %.0f W", u.Panels, float64(u.Module))
	add("panel tilt", given.Panels.Tilt == 0, source(given.Panels.Tilt == 0, "best of the season's worst month"), "%.0f°", u.Tilt.Degrees())
	add("panel bearing", given.Panels.Azimuth == nil, source(given.Panels.Azimuth == nil, "toward the equator"), "%.0f° true", u.Azimuth.Degrees())
	if u.Source == SunBattery {
		kind := in.Power.Battery.Kind
		if kind == (sun.Battery{}) {
			kind = sun.LeadAcid()
		}
		add("battery", u.BatteryWanted || in.Power.Battery.Kind == (sun.Battery{}), source(u.BatteryWanted, "proposed"), "%.0f Wh, %s", float64(u.Battery), kind.Name)
	}
	if u.Wire == nil {
		add("wire", true, "its length was not given: the usual losses of a system stand for it", "not known")
	} else {
		add("wire", u.Wire.Sized, source(u.Wire.Sized, "sized for a loss of 3 %"), "%s of %s", u.Wire.Length.Distance(), u.Wire.Gauge.Name)
	}
	if u.ColdVoltage > 0 {
		add("coldest daylight", given.Panels.Coldest == 0, source(given.Panels.Coldest == 0, "well below the coldest month's mean: judgement, no source"), "%s", u.Coldest.Text())
	}
}

// remarkSupply adds what the supply asks to be said.
func (in Input) remarkSupply(p *Plan, add func(code, format string, args ...any)) {
	u := p.Supply
	if u == nil {
		return
	}
	if u.Warning != "" {
		add("STATION_FAR", "%s", sentence(u.Warning))
	}
	for _, part := range u.Parts {
		add(part.Code, "Required: %s", part.Text)
	}
	switch u.Source {
	case SunDirect:
		add("RUN_HOURS_CLOUDS", "A passing cloud stops the machines: count the hours as the most they can run. The night, when oxygen sags, is not covered.")
	case SunBattery:
		add("BATTERY", "Twelve monthly means hold no worst week. Fuse the battery at its terminal and house it dry, vented and locked.")
	case Grid:
	case WindMill:
		add("CALM", "Calm spells last for days in summer, when a pond needs air most; the mean hides them.")
	}
	if u.Wire != nil && u.Wire.Gauge == (sun.Gauge{}) {
		add("WIRE_TOO_LONG", "No wire of the table loses little enough over %s at this voltage: raise the voltage or shorten the run.", u.Wire.Length.Distance())
	}
	if p.Machines < in.Equipment.Machines {
		add("FEWER_MACHINES", "The sun carries %d of the %d machines best: the others stay off.", p.Machines, in.Equipment.Machines)
	}
}
