package plan

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"math/bits"
	"slices"

	"pondwright/calc/air"
	"pondwright/calc/plume"
	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/route"
	"pondwright/geo/site"
)

// feeder feeds layouts with air: it lays the hoses from the stations and reports
// what each diffuser then lifts.
type feeder struct {
	in       Input
	stations []*station
	place    plume.Site
	breathes air.Site
	drive    *drive      // nil: nobody said what drives the air
	bore     unit.Meters // of the widest hose that may be laid
	shared   bool        // every station of two runs or more has a trunk
}

// station is a place from which hoses go out.
type station struct {
	mast, entry plane.Point
	proposed    bool
	tree        *route.Tree
	hoses       map[plane.Point]laid // by diffuser, laid once
}

// laid is a hose, or why there is none.
type laid struct {
	hose Hose
	err  error
}

// fed is a layout with air.
type fed struct {
	layout    site.Layout
	diffusers []Diffuser
	groups    []group
	air       unit.StdCubicMetersPerSecond
	manifold  unit.PascalsGauge // the highest
	lift      Range[unit.CubicMetersPerSecond]
	load      unit.Watts // electrical, of all machines
	ownLoad   bool       // by the machines' own curve
	hours     [12]unit.Seconds
	run       unit.Seconds // a day, in the worst month of the season
	machines  int
	relief    bool // some machines give more than their runs take at rated pressure
	notes     []plume.Note
}

// group is what one station feeds.
type group struct {
	station  int
	sites    []int // of the layout
	machines int
	network  air.Network
	balance  air.Balance
	trunk    *Trunk
}

// hose lays the hose from a station to a site.
func (f *feeder) hose(st *station, s site.Site) (Hose, error) {
	if h, ok := st.hoses[s.At]; ok {
		return h.hose, h.err
	}
	h, err := f.lay(st, s)
	st.hoses[s.At] = laid{h, err}
	return h, err
}

func (f *feeder) lay(st *station, s site.Site) (Hose, error) {
	way, err := st.tree.Path(s.At)
	if err != nil {
		return Hose{}, err
	}
	h := Hose{
		Trench: unit.Meters(st.mast.Distance(st.entry)),
		Water:  route.AlongBed(way.Points, f.in.bedOf().Depth),
		Bore:   f.bore,
		Route:  append([]plane.Point{st.mast}, way.Points...),
		Spare:  s.Depth + spare,
		Riser:  riser,
	}
	h.order()
	return h, nil
}

// order sets the length to order, in whole meters, and the slack that it leaves.
func (h *Hose) order() {
	h.Slack = slack * h.Water
	h.Order = unit.Meters(math.Ceil(float64(h.Trench + h.Riser + h.Spare + h.Water + h.Slack)))
	h.Slack = h.Order - h.Trench - h.Riser - h.Spare - h.Water
}

// fromBox returns the hose as it is where a trunk takes the trench and the riser.
func (h Hose) fromBox() Hose {
	h.Trench, h.Riser = 0, 0
	h.order()
	return h
}

// assign shares the sites out among at most so many stations, the first and those
// that save the most hose: each goes to the one from which it takes the least. Sites that no station reaches are an error.
func (f *feeder) assign(l site.Layout, most int) ([]group, error) {
	lengthM := make([][]float64, len(f.stations))
	for k, st := range f.stations {
		for i, s := range l.Sites {
			h, err := f.hose(st, s)
			if err != nil {
				h.Order = unit.Meters(math.Inf(1))
				if len(f.stations) == 1 {
					return nil, &hoseError{site: i, pinned: s.Pinned, err: err}
				}
			}
			lengthM[k] = append(lengthM[k], float64(h.Order))
		}
	}
	var open, of []int
	totalM := math.Inf(1)
	for mask := 1; mask < 1<<len(f.stations); mask += 2 { // the first stands
		if bits.OnesCount(uint(mask)) > most {
			continue
		}
		var some []int
		for k := range f.stations {
			if mask>>k&1 == 1 {
				some = append(some, k)
			}
		}
		if m, to := nearest(lengthM, some); open == nil || m < totalM {
			open, of, totalM = some, to, m
		}
	}
	if math.IsInf(totalM, 1) {
		i := slices.IndexFunc(l.Sites, func(s site.Site) bool { _, err := f.hose(f.stations[open[0]], s); return err != nil })
		_, err := f.hose(f.stations[open[0]], l.Sites[max(i, 0)])
		return nil, &hoseError{site: max(i, 0), pinned: l.Sites[max(i, 0)].Pinned, err: err}
	}
	var groups []group
	for _, k := range open {
		g := group{station: k}
		for i, at := range of {
			if at == k {
				g.sites = append(g.sites, i)
			}
		}
		if len(g.sites) > 0 {
			groups = append(groups, g)
		}
	}
	return groups, nil
}

// nearest gives each site the station of some from which it takes the least hose.
func nearest(lengthM [][]float64, some []int) (totalM float64, of []int) {
	for i := range lengthM[0] {
		best := some[0]
		for _, k := range some[1:] {
			if lengthM[k][i] < lengthM[best][i] {
				best = k
			}
		}
		totalM, of = totalM+lengthM[best][i], append(of, best)
	}
	return totalM, of
}

// hoseError tells that a site cannot be reached.
type hoseError struct {
	site   int
	pinned bool
	err    error
}

func (e *hoseError) Error() string { return fmt.Sprintf("hose to diffuser %d: %v", e.site+1, e.err) }
func (e *hoseError) Unwrap() error { return e.err }

// allot gives every station a machine and then one at a time to the station that
// has the fewest for its diffusers.
func allot(groups []group, machines int) {
	for i := range groups {
		groups[i].machines = 1
	}
	for range machines - len(groups) {
		least := slices.MinFunc(indices(groups), func(a, b int) int {
			share := func(i int) float64 { return float64(groups[i].machines) / float64(len(groups[i].sites)) }
			return cmp.Or(cmp.Compare(share(a), share(b)), cmp.Compare(a, b))
		})
		groups[least].machines++
	}
}

func indices[E any](list []E) []int {
	out := make([]int, len(list))
	for i := range out {
		out[i] = i
	}
	return out
}

// run is the hose and diffuser of a site as the manifold sees them: the whole
// ordered length carries the air, the diffuser has fouled.
func (f *feeder) run(i int, s site.Site, h Hose) air.Run {
	e := f.in.Equipment
	return air.Run{
		Name:        fmt.Sprint(i + 1),
		Hose:        air.Hose{Length: h.Order, Bore: h.Bore},
		Submergence: s.Depth - e.OffBottom + f.in.Levels.rise(),
		Diffuser:    e.Diffuser.Fouled(e.Fouling),
	}
}

// connect makes the networks of the groups, each on its machines.
func (f *feeder) connect(l site.Layout, groups []group) error {
	for k := range groups {
		g := &groups[k]
		st := f.stations[g.station]
		g.network = air.Network{Compressor: f.in.Equipment.Compressor, Machines: g.machines, Site: f.breathes}
		if f.shared && len(g.sites) > 1 {
			g.trunk = f.trunkOf(st, f.bore)
			g.network.Feeder = &air.Hose{Length: g.trunk.Order, Bore: g.trunk.Bore}
		}
		for _, i := range g.sites {
			h, err := f.hose(st, l.Sites[i])
			if err != nil {
				return &hoseError{site: i, pinned: l.Sites[i].Pinned, err: err}
			}
			if g.trunk != nil {
				h = h.fromBox()
			}
			g.network.Runs = append(g.network.Runs, f.run(i, l.Sites[i], h))
		}
	}
	return nil
}

// trunkOf is the trunk of a station, of a bore.
func (f *feeder) trunkOf(st *station, bore unit.Meters) *Trunk {
	return &Trunk{Bore: bore, Order: unit.Meters(math.Ceil(st.mast.Distance(st.entry) + 2*float64(riser)))}
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
	out := &fed{layout: l, machines: machines}
	var err error
	if out.groups, err = f.assign(l, machines); err != nil {
		return nil, err
	}
	allot(out.groups, machines)
	if err := f.connect(l, out.groups); err != nil {
		return nil, err
	}
	for _, s := range l.Sites {
		out.diffusers = append(out.diffusers, Diffuser{
			At: s.At, Depth: s.Depth, Submergence: s.Depth - f.in.Equipment.OffBottom, Serves: s.Serves, Pinned: s.Pinned,
		})
	}
	for k := range out.groups {
		if err := f.open(out, k); err != nil {
			return nil, err
		}
	}
	if err := f.timeRun(out); err != nil {
		return nil, err
	}
	return out, f.lift(out)
}

// open finds the operating point of group k and gives its diffusers their air.
func (f *feeder) open(out *fed, k int) error {
	g := &out.groups[k]
	var err error
	var relief bool
	if g.balance, relief, err = balance(g.network); err != nil {
		return err
	}
	out.relief = out.relief || relief
	f.write(out, k)
	return nil
}

// write gives the diffusers of group k their hose and their air.
func (f *feeder) write(out *fed, k int) {
	g := &out.groups[k]
	out.air += g.balance.Air
	out.manifold = max(out.manifold, g.balance.Manifold)
	for n, i := range g.sites {
		d := &out.diffusers[i]
		d.Station = k
		d.Hose, _ = f.hose(f.stations[g.station], out.layout.Sites[i]) // it was laid before
		if g.trunk != nil {
			d.Hose = d.Hose.fromBox()
		}
		d.Hose.Bore = g.network.Runs[n].Hose.Bore
		d.Valve, d.Air = g.balance.Valves[n], g.balance.Valves[n].Air
		d.Inlet = air.Head(g.network.Runs[n].Submergence, waterDensity) + g.network.Runs[n].Diffuser.Loss(d.Air)
	}
}

// lift adds the water that the diffusers bring up.
func (f *feeder) lift(out *fed) error {
	for i := range out.diffusers {
		d := &out.diffusers[i]
		lift, err := plume.LiftAt(min(d.Air, unit.SCFM(creditedAir)), f.in.Levels.least(d.Submergence), f.place)
		if err != nil {
			return fmt.Errorf("lift of diffuser %d: %w", i+1, err)
		}
		d.Lift = Range[unit.CubicMetersPerSecond]{Value: lift.Promised, Low: lift.Low, High: lift.Upper}
		out.lift.Value += lift.Promised
		out.lift.Low += lift.Low
		out.lift.High += lift.Upper
		out.notes = append(out.notes, lift.Notes...)
	}
	return nil
}

// boil returns how wide the water wells up over a diffuser, by the plume integral.
func (f *feeder) boil(d *Diffuser) (unit.Meters, error) {
	rise, err := plume.Rise(d.Air, f.in.Levels.least(d.Submergence), f.place, plume.Model{})
	if err != nil || len(rise.Plumes) == 0 {
		return 0, err
	}
	return 2 * rise.Plumes[len(rise.Plumes)-1].Width, nil
}

// balance finds the operating point with equal shares. Machines that give more
// than the runs can take blow off through the relief valve; the runs then get
// what the rated pressure drives through them.
func balance(n air.Network) (b air.Balance, relief bool, err error) {
	shares := slices.Repeat([]float64{1}, len(n.Runs))
	b, err = n.Balance(shares)
	var above *air.AboveRatingError
	if !errors.As(err, &above) || above.Taken <= 0 {
		return b, false, err
	}
	b, err = n.Require(equal(above.Taken*(1-1e-9), len(shares)))
	return b, true, err
}

// each is the air of the diffuser that gets least, in scfm.
func (f *fed) each() float64 {
	least := math.Inf(1)
	for _, d := range f.diffusers {
		least = min(least, d.Air.SCFM())
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return least
}

// greatest is the air of the diffuser that gets most, in scfm.
func (f *fed) greatest() float64 {
	most := 0.0
	for _, d := range f.diffusers {
		most = max(most, d.Air.SCFM())
	}
	return most
}

// within reports whether every diffuser gets an amount of air it can use.
func (f *fed) within() bool { return f.each() >= leastAir && f.greatest() <= mostAir }

// complete reports whether every basin behind a sill has a diffuser of its own.
func complete(l site.Layout) bool {
	return !slices.ContainsFunc(l.Cautions, func(c site.Caution) bool { return c.Code == site.BasinWithoutSite })
}

// starved names the runs that get no air with every valve wide open.
func (f *fed) starved() []string {
	var out []string
	for _, g := range f.groups {
		if wide, err := g.network.Solve(); err == nil { // else the balanced point stands; wide open there is none
			out = append(out, wide.Starved()...)
		}
	}
	return out
}
