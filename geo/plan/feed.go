package plan

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"pondwright/calc/air"
	"pondwright/calc/plume"
	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/route"
	"pondwright/geo/site"
)

// feeder feeds layouts with air: it lays the hoses from one mast and reports what
// each diffuser then lifts.
type feeder struct {
	in       Input
	tree     *route.Tree
	entry    plane.Point
	mast     plane.Point
	place    plume.Site
	breathes air.Site
	hoses    map[int]Hose // by cell of the site, laid once
	drive    *drive       // nil: nobody said what drives the air
}

// fed is a layout with air.
type fed struct {
	layout    site.Layout
	diffusers []Diffuser
	air       unit.StdCubicMetersPerSecond
	manifold  unit.PascalsGauge
	lift      Range[unit.CubicMetersPerSecond]
	load      unit.Watts // electrical, of all machines
	ownLoad   bool       // by the machines' own curve
	hours     [12]unit.Seconds
	run       unit.Seconds // a day, in the worst month of the season
	machines  int
	outlet    unit.PascalsGauge
	network   air.Network
	relief    bool // the machines give more than the runs take at rated pressure
	notes     []plume.Note
}

// hose lays the hose to a site.
func (f *feeder) hose(s site.Site) (Hose, error) {
	if h, ok := f.hoses[s.Cell]; ok {
		return h, nil
	}
	way, err := f.tree.Path(s.At)
	if err != nil {
		return Hose{}, fmt.Errorf("hose to the diffuser in cell %d: %w", s.Cell, err)
	}
	h := Hose{
		Trench: unit.Meters(f.mast.Distance(f.entry)),
		Water:  route.AlongBed(way.Points, f.in.bedOf().Depth),
		Bore:   f.in.Equipment.Bore,
		Route:  append([]plane.Point{f.mast}, way.Points...),
		Spare:  s.Depth + spare,
		Riser:  riser,
	}
	least := float64(h.Trench+h.Riser+h.Spare) + (1+slack)*float64(h.Water)
	h.Order = unit.Meters(math.Ceil(least))
	h.Slack = h.Order - h.Trench - h.Water - h.Riser - h.Spare
	f.hoses[s.Cell] = h
	return h, nil
}

// run is the hose and diffuser of a site as the manifold sees them: the whole
// ordered length carries the air, the diffuser has fouled.
func (f *feeder) run(i int, s site.Site, h Hose) air.Run {
	e := f.in.Equipment
	return air.Run{
		Name:        fmt.Sprint(i + 1),
		Hose:        air.Hose{Length: h.Order, Bore: h.Bore},
		Submergence: s.Depth - e.OffBottom,
		Diffuser:    e.Diffuser.Fouled(e.Fouling),
	}
}

// network is the manifold of a layout on so many machines.
func (f *feeder) network(l site.Layout, machines int) (air.Network, error) {
	n := air.Network{Compressor: f.in.Equipment.Compressor, Machines: machines, Site: f.breathes}
	for i, s := range l.Sites {
		h, err := f.hose(s)
		if err != nil {
			return air.Network{}, err
		}
		n.Runs = append(n.Runs, f.run(i, s, h))
	}
	return n, nil
}

// pressureFor returns what the compressors must deliver for a layout to get so much
// air in equal shares.
func (f *feeder) pressureFor(l site.Layout, q unit.StdCubicMetersPerSecond) (unit.PascalsGauge, error) {
	n, err := f.network(l, 1)
	if err != nil {
		return 0, err
	}
	balance, err := n.Require(equal(q, len(n.Runs)))
	return balance.Outlet, err
}

// equal shares q out among n runs.
func equal(q unit.StdCubicMetersPerSecond, n int) []unit.StdCubicMetersPerSecond {
	out := make([]unit.StdCubicMetersPerSecond, n)
	for i := range out {
		out[i] = q / unit.StdCubicMetersPerSecond(n)
	}
	return out
}

// feed gives the layout the air of so many machines, shared equally by valves.
// It returns air.ErrNothingOpens when no diffuser can be opened.
func (f *feeder) feed(l site.Layout, machines int) (*fed, error) {
	network, err := f.network(l, machines)
	if err != nil {
		return nil, err
	}
	out := &fed{layout: l, network: network, machines: machines}
	for _, s := range l.Sites {
		out.diffusers = append(out.diffusers, Diffuser{
			At: s.At, Depth: s.Depth, Submergence: s.Depth - f.in.Equipment.OffBottom, Serves: s.Serves, Hose: f.hoses[s.Cell],
		})
	}
	balance, err := f.balance(network, out)
	if err != nil {
		return nil, err
	}
	out.air, out.manifold, out.outlet = balance.Air, balance.Manifold, balance.Outlet
	if err := f.timeRun(out); err != nil {
		return nil, err
	}
	for i := range out.diffusers {
		d := &out.diffusers[i]
		d.Valve, d.Air = balance.Valves[i], balance.Valves[i].Air
		d.Inlet = air.Head(d.Submergence, waterDensity) + network.Runs[i].Diffuser.Loss(d.Air)
		lift, err := plume.LiftAt(min(d.Air, unit.SCFM(creditedAir)), d.Submergence, f.place)
		if err != nil {
			return nil, fmt.Errorf("lift of diffuser %d: %w", i+1, err)
		}
		d.Lift = Range[unit.CubicMetersPerSecond]{Value: lift.Promised, Low: lift.Low, High: lift.Upper}
		out.lift.Value += lift.Promised
		out.lift.Low += lift.Low
		out.lift.High += lift.Upper
		out.notes = append(out.notes, lift.Notes...)
	}
	return out, nil
}

// balance finds the operating point with equal shares. Machines that give more
// than the runs can take blow off through the relief valve; the runs then get
// what the rated pressure drives through them.
func (f *feeder) balance(n air.Network, out *fed) (air.Balance, error) {
	shares := make([]float64, len(n.Runs))
	for i := range shares {
		shares[i] = 1
	}
	balance, err := n.Balance(shares)
	var above *air.AboveRatingError
	if !errors.As(err, &above) || above.Taken <= 0 {
		return balance, err
	}
	out.relief = true
	return n.Require(equal(above.Taken*(1-1e-9), len(shares)))
}

// each is the air of one diffuser in scfm.
func (f *fed) each() float64 {
	if len(f.diffusers) == 0 {
		return 0
	}
	return f.air.SCFM() / float64(len(f.diffusers))
}

// within reports whether every diffuser gets an amount of air it can use.
func (f *fed) within() bool { return f.each() >= leastAir && f.each() <= mostAir }

// complete reports whether every basin behind a sill has a diffuser of its own.
func complete(l site.Layout) bool {
	return !slices.ContainsFunc(l.Cautions, func(c site.Caution) bool { return c.Code == site.BasinWithoutSite })
}

// starved names the runs that get no air with every valve wide open.
func (f *fed) starved() []string {
	wide, err := f.network.Solve()
	if err != nil {
		return nil // the balanced point stands; wide open there is none
	}
	return wide.Starved()
}
