package plan

import (
	"errors"
	"fmt"

	"pondwright/calc/air"
	"pondwright/calc/plume"
	"pondwright/calc/unit"
	"pondwright/calc/water"
	"pondwright/geo/plane"
	"pondwright/geo/route"
	"pondwright/geo/site"
)

// secondsPerDay at the assumed run time of a whole day.
const (
	runHours      = 24
	secondsPerDay = runHours * 3600
)

// Propose returns the best layout that the given air can feed: the fewest
// diffusers that meet every target or, where none do, the most turnovers.
// It returns a *unit.RangeError for input out of range, ErrNothingSurveyed,
// route.ErrMastInWater, a *route.FarMastError or a *route.EndError for a mast
// that cannot serve, air.ErrTooFewPoints for equipment without a compressor, and
// ErrCanceled.
func Propose(in Input, progress Progress) (*Plan, error) {
	if progress == nil {
		progress = func(string, float64) bool { return true }
	}
	if in.Turnovers == 0 {
		in.Turnovers = DefaultTurnovers
	}
	if in.WaterTemperature == 0 {
		in.WaterTemperature = unit.StandardTemperature
	}
	if err := in.check(); err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	p, err := in.begin()
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	best, err := in.fill(p, progress)
	if errors.Is(err, ErrCanceled) {
		return nil, ErrCanceled
	}
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	in.remark(p, best)
	return p, nil
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

// fill finds the best layout and completes the plan with it. The layout is nil
// where there is none: the plan then says why.
func (in Input) fill(p *Plan, progress Progress) (*fed, error) {
	if in.bedOf().Diagnostics().Guess {
		p.Constraint = InputMissing
		p.Shortfall = "soundings: the depths are a guess from the outline, and no diffuser is placed on a guess"
		return nil, nil
	}
	s, err := in.search(p, progress)
	var shallow *site.TooShallowError
	var full *site.NoRoomError
	switch {
	case errors.As(err, &shallow):
		p.Constraint, p.Shortfall = Depth, shallow.Error()
		return nil, nil
	case errors.As(err, &full):
		p.Constraint, p.Shortfall = Depth, full.Error()
		return nil, nil
	case err != nil:
		return nil, err
	}
	return s.settle(p)
}

// search prepares the search for sites, hoses and air.
func (in Input) search(p *Plan, progress Progress) (*search, error) {
	ways, err := route.New(in.Shore, clearance)
	if err != nil {
		return nil, err
	}
	if p.Entry, err = ways.Entry(p.Mast, route.DefaultTrenchLimit); err != nil {
		return nil, err
	}
	tree, err := ways.From(p.Entry)
	if err != nil {
		return nil, err
	}
	field, err := site.New(site.Problem{
		Cells:           patches(in.bedOf(), in.Shore.Crosses),
		Water:           ways,
		HeightOffBottom: in.Equipment.OffBottom,
	}, func(share float64) bool { return progress(StageSites, share) })
	if errors.Is(err, site.ErrCanceled) {
		return nil, ErrCanceled
	}
	if err != nil {
		return nil, err
	}
	d, err := in.newDrive()
	if err != nil {
		return nil, err
	}
	return &search{
		in:      in,
		run:     secondsPerDay,
		field:   field,
		layouts: make(map[int]*site.Layout),
		feeder: &feeder{
			in: in, tree: tree, entry: p.Entry, mast: p.Mast,
			place:    plume.Site{Pressure: p.SitePressure, Temperature: in.WaterTemperature},
			breathes: air.Site{Pressure: p.SitePressure, WaterDensity: waterDensity},
			hoses:    make(map[int]Hose),
			drive:    d,
		},
		deepest:  in.bedOf().Curve().MaxDepth() - in.Equipment.OffBottom,
		progress: progress,
	}, nil
}

// build fills the plan from a layout with air.
func (in Input) build(p *Plan, best *fed) {
	p.Diffusers, p.Lift, p.Air, p.Manifold = best.diffusers, best.lift, best.air, best.manifold
	p.SiteGap, p.Served = best.layout.Gap, 1-best.layout.Unserved
	p.Machines, p.RunHours = best.machines, best.run.Hours()
	p.Turnovers = in.turnovers(best.lift, best.run)
	station := Station{
		Mast: p.Mast, Entry: p.Entry, Machines: p.Machines, Air: p.Air, Manifold: p.Manifold, Outlet: p.Manifold,
		Trench: []plane.Point{p.Mast, p.Entry},
	}
	for i, d := range p.Diffusers {
		station.Diffusers = append(station.Diffusers, i)
		station.HoseTotal += d.Hose.Order
	}
	p.Stations, p.HoseTotal = []Station{station}, station.HoseTotal
}
