package plan

import (
	"errors"
	"fmt"
	"math"
	"time"

	"pondwright/calc/air"
	"pondwright/calc/sun"
	"pondwright/calc/unit"
	"pondwright/calc/wind"
)

// Defaults of a supply: judgement, no source, unless the comment names one.
const (
	// defaultModuleW is the panel that a proposal is made of.
	defaultModuleW = 100
	// panelWM2 is the rated power of a square meter of panel, safe for wind load:
	// of today's panels most have more.
	panelWM2 = 200
	// airShare is what a small compressor makes of its electrical input: the low end
	// of what is met (common practice, no source).
	airShare = 0.25
	// machineV is the voltage of the machines.
	machineV = 24
	// wireShare is the loss that wire is sized for (NEC 210.19, informational note,
	// from memory).
	wireShare = 0.03
	// belowMonth is by how much the coldest morning lies below the coldest month's
	// mean.
	belowMonth unit.KelvinDelta = 30
	// shortestRun is the run a day below which the sun does not drive a machine.
	shortestRun = 0.5 // h
	// mostArray bounds what is proposed on one mast or beside it.
	mostArray = 20000.0 // W
)

// drive tells how long machines run on what they are driven with. It is made once
// for a power and not changed; with says another amount of panel and battery.
type drive struct {
	power   Power
	climate sun.Climate
	site    sun.Site
	panel   sun.Panel
	count   int // panels
	store   unit.WattHours
	wind    [12]unit.Seconds
	held    *[12]unit.Seconds // run so long whatever the load: to see what the air alone could do
}

// ErrNoSource says that a power names no source that the plan knows.
var ErrNoSource = errors.New("power: say whether sun, battery, wind or the grid drives the machines")

// newDrive fills in what a power leaves out. It returns ErrNoSource,
// sun.ErrNoStation or a *unit.RangeError.
func (in Input) newDrive() (*drive, error) {
	if in.Power == nil {
		return nil, nil
	}
	d := &drive{power: *in.Power, count: in.Power.Panels.Count, store: in.Power.Battery.Capacity}
	if err := d.power.fill(float64(in.Mast.Lat)); err != nil {
		return nil, err
	}
	var err error
	if d.climate, err = sun.ClimateAt(in.Mast, d.power.Climate); err != nil {
		return nil, fmt.Errorf("power: %w", err)
	}
	horizon, err := sun.NewHorizon(d.power.Horizon)
	if err != nil {
		return nil, fmt.Errorf("power: %w", err)
	}
	d.site = d.climate.Site(horizon)
	d.panel = sun.Panel{Tilt: d.power.Panels.Tilt, Azimuth: sun.TowardEquator(in.Mast.Lat)}
	if a := d.power.Panels.Azimuth; a != nil {
		d.panel.Azimuth = *a
	}
	if d.panel.Tilt == 0 {
		if d.panel.Tilt, err = d.site.BestTilt(d.panel.Azimuth, sun.Goal{Season: d.power.Season, Worst: true}); err != nil {
			return nil, fmt.Errorf("power: %w", err)
		}
	}
	mill := d.power.Mill
	if d.wind, err = (wind.Site{Wind: d.climate.Wind, Shelter: mill.Shelter}).RunHours(mill.Mill); err != nil {
		return nil, fmt.Errorf("power: %w", err)
	}
	return d, nil
}

// fill puts defaults where a power says nothing and checks the rest.
func (p *Power) fill(latRad float64) error {
	switch p.Source {
	case SunDirect, SunBattery, WindMill, Grid:
	default:
		return ErrNoSource
	}
	if p.Season == (sun.Season{}) {
		p.Season = growingSeason(latRad)
	}
	if p.Panels.Module.Power == 0 {
		p.Panels.Module.Power = defaultModuleW
	}
	if p.Panels.Area == 0 {
		p.Panels.Area = unit.SquareMeters(float64(p.Panels.Module.Power) / panelWM2)
	}
	if p.Efficiency == 0 {
		p.Efficiency = airShare
	}
	if p.Wiring.Volts == 0 {
		p.Wiring.Volts = machineV
	}
	for _, c := range []struct {
		quantity    string
		got, lo, hi float64
	}{
		{"panel power (W)", float64(p.Panels.Module.Power), 1, 2000},
		{"panels", float64(p.Panels.Count), 0, 1000},
		{"area of one panel (m²)", float64(p.Panels.Area), 0.01, 10},
		{"tilt of the panels (degrees)", p.Panels.Tilt.Degrees(), 0, 90},
		{"battery (Wh)", float64(p.Battery.Capacity), 0, 1e6},
		{"share of power that ends up in air", p.Efficiency, 0.05, 0.9},
		{"voltage at the machines (V)", float64(p.Wiring.Volts), 6, 1000},
		{"length of wire (m)", float64(p.Wiring.Length), 0, 1e4},
	} {
		if err := unit.CheckRange(c.quantity, c.got, c.lo, c.hi, "power for a pond"); err != nil {
			return fmt.Errorf("power: %w", err)
		}
	}
	return nil
}

// growingSeason is the warm half of the year.
func growingSeason(latRad float64) sun.Season {
	if latRad < 0 {
		return sun.Between(time.October, time.April)
	}
	return sun.Between(time.April, time.October)
}

// array is the rated power of all panels.
func (d *drive) array() unit.Watts { return d.power.Panels.Module.Power * unit.Watts(d.count) }

// need is the battery's part of the power as package sun asks for it.
func (d *drive) need(load unit.Watts) sun.StorageNeed {
	b := d.power.Battery
	return sun.StorageNeed{
		Load: load, Season: d.power.Season, Days: b.Days, Battery: b.Kind, Coldest: b.Coldest, Bank: d.power.Wiring.Volts,
	}
}

// drawn is what the source gives for a load behind its wire.
func (d *drive) drawn(load unit.Watts) unit.Watts {
	w := d.power.Wiring
	if w.Length == 0 || load == 0 || d.power.Source == Grid || d.power.Source == WindMill {
		return load
	}
	if w.Gauge == (sun.Gauge{}) {
		return load / (1 - wireShare)
	}
	current := unit.Amperes(float64(load) / float64(w.Volts))
	loss, err := sun.Circuit{Length: w.Length, Current: current, Source: w.Volts}.Loss(w.Gauge)
	if err != nil {
		return load / (1 - wireShare)
	}
	return load + loss.Power
}

// hours reports the run a day, by month, of machines that take a load.
func (d *drive) hours(load unit.Watts) ([12]unit.Seconds, error) {
	if d == nil {
		return wholeDay(), nil
	}
	if d.held != nil {
		return *d.held, nil
	}
	drawn := max(1, d.drawn(load)) // package sun knows no load below a watt
	switch d.power.Source {
	case WindMill:
		return d.wind, nil
	case Grid:
		return wholeDay(), nil
	case SunBattery:
		return d.site.StorageHours(d.panel, d.array(), d.store, d.need(drawn))
	default:
		return d.direct(drawn)
	}
}

// direct is the run on panels alone.
func (d *drive) direct(drawn unit.Watts) ([12]unit.Seconds, error) {
	if d.array() < 1 {
		return [12]unit.Seconds{}, nil
	}
	threshold, err := sun.DriveThreshold(drawn, d.array(), 0)
	if err != nil {
		return [12]unit.Seconds{}, err
	}
	if threshold > 1500 { // the array never carries the load
		return [12]unit.Seconds{}, nil
	}
	return d.site.RunHours(d.panel, threshold)
}

// worst is the month of the season with the shortest run.
func (d *drive) worst(hours [12]unit.Seconds) time.Month {
	worst := time.Month(0)
	for m := time.January; m <= time.December; m++ {
		if (d == nil || d.power.Season.Has(m)) && (worst == 0 || hours[m-1] < hours[worst-1]) {
			worst = m
		}
	}
	return worst
}

// load is the electrical input of machines at an outlet pressure, and whether it is
// the machines' own figure.
func (d *drive) load(c air.Curve, at air.Site, outlet unit.PascalsGauge, machines int) (unit.Watts, bool) {
	if each, ok := c.Power(outlet, at); ok {
		return each * unit.Watts(machines), true
	}
	each, err := c.Air(outlet, at)
	if err != nil {
		return 0, false
	}
	intake := at.Intake
	if intake == 0 {
		intake = unit.StandardTemperature
	}
	free := each.Mass().Actual(at.Pressure, intake)
	return air.AdiabaticPower(at.Pressure, outlet.Absolute(at.Pressure), free) * unit.Watts(float64(machines)/d.power.Efficiency), false
}

// with returns the drive with other panels and battery.
func (d *drive) with(count int, store unit.WattHours) *drive {
	out := *d
	out.count, out.store = count, store
	return &out
}

// holding returns the drive with a run that no load shortens.
func (d *drive) holding(hours [12]unit.Seconds) *drive {
	out := *d
	out.held = &hours
	return &out
}

// wholeDay is a run round the clock in every month.
func wholeDay() (day [12]unit.Seconds) {
	for i := range day {
		day[i] = secondsPerDay
	}
	return day
}

// by returns the drive with another source.
func (d *drive) by(s Source) *drive {
	out := *d
	out.power.Source = s
	return &out
}

// panelsFor is how many panels make a power.
func (d *drive) panelsFor(watts float64) int {
	return int(math.Ceil(watts/float64(d.power.Panels.Module.Power) - 1e-9))
}

// mostPanels bounds what is proposed.
func (d *drive) mostPanels() int { return max(1, d.panelsFor(mostArray)) }

// area is that of all panels.
func (d *drive) area() unit.SquareMeters {
	return d.power.Panels.Area * unit.SquareMeters(d.count)
}
