package plan

import (
	"errors"
	"fmt"
	"slices"
	"sync"

	"github.com/golang/geo/s2"

	"pondwright/calc/air"
	"pondwright/calc/plume"
	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/route"
	"pondwright/geo/site"
)

// Prepared is an input whose water, ways and sites have been worked out, so that
// moving one diffuser costs next to nothing. Make one with Prepare; it is safe for
// concurrent use, its answers depend on the input and the call alone.
type Prepared struct {
	mu     sync.Mutex
	in     Input
	ground *ground
	ways   *route.Map // round the zones
	start  Plan       // what is known before any site is sought
	s      *search
	refuse error // why no site is sought: a *site.TooShallowError or a *site.NoRoomError
}

// Prepare works out what all plans of an input have in common. See Propose for
// its errors.
func Prepare(in Input, progress Progress) (*Prepared, error) {
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
	p := &Prepared{in: in}
	err := p.prepare(progress)
	if errors.Is(err, ErrCanceled) {
		return nil, ErrCanceled
	}
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	return p, nil
}

// With returns the same pond prepared for other air, hose, target or altitude: vary
// changes a copy of the input. The sites are kept and shared unless vary changes
// something they rest on.
func (p *Prepared) With(vary func(*Input)) (*Prepared, error) {
	in := p.in
	vary(&in)
	if !sameSites(in, p.in) {
		return Prepare(in, nil)
	}
	if err := in.check(); err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	out := &Prepared{in: in, ground: p.ground, ways: p.ways, refuse: p.refuse}
	start, err := in.begin()
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	out.start = *start
	out.start.Zones = p.start.Zones
	f, err := out.feeder()
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	out.start.Entry = f.stations[0].entry
	s := *p.s
	s.in, s.feeder, s.more = in, f, out.another
	out.s = &s
	return out, nil
}

// sameSites reports whether two inputs have the same sites to choose among.
func sameSites(a, b Input) bool {
	return a.Survey != nil && b.Survey != nil && a.Survey.Bed == b.Survey.Bed && a.Shore == b.Shore &&
		a.Equipment.OffBottom == b.Equipment.OffBottom && a.mostPatches == b.mostPatches && a.Mast == b.Mast && slices.Equal(a.MoreMasts, b.MoreMasts) &&
		slices.Equal(a.Pins, b.Pins) && slices.Equal(a.Bans, b.Bans) &&
		slices.EqualFunc(a.Zones, b.Zones, func(y, z Zone) bool {
			return y.Kind == z.Kind && y.Name == z.Name && y.Area == z.Area && y.Margin == z.Margin && slices.Equal(y.Points, z.Points)
		})
}

func (p *Prepared) prepare(progress Progress) error {
	start, err := p.in.begin()
	if err != nil {
		return err
	}
	p.start = *start
	if p.ground, err = p.in.ground(); err != nil {
		return err
	}
	p.start.Zones = p.ground.drawn()
	water, err := route.New(p.in.Shore, clearance)
	if err != nil {
		return err
	}
	if p.ways, err = water.Around(p.ground.barriers...); err != nil {
		return err
	}
	f, err := p.feeder()
	if err != nil {
		return err
	}
	p.start.Entry = f.stations[0].entry
	p.s = &search{
		run: secondsPerDay,
		in:  p.in, feeder: f, layouts: newLayouts(), progress: progress,
		deepest: p.in.bedOf().Curve().MaxDepth() - p.in.Equipment.OffBottom,
		more:    p.another,
	}
	if p.in.bedOf().Diagnostics().Guess {
		return nil
	}
	return p.field(water, progress)
}

// feeder prepares the stations that the input gives.
func (p *Prepared) feeder() (*feeder, error) {
	f := &feeder{
		in: p.in, bore: p.in.Equipment.widest(), shared: p.in.Equipment.Sharing == Shared,
		place:    plume.Site{Pressure: p.start.SitePressure, Temperature: p.in.WaterTemperature},
		breathes: air.Site{Pressure: p.start.SitePressure, WaterDensity: waterDensity},
	}
	var err error
	if f.drive, err = p.in.newDrive(); err != nil {
		return nil, err
	}
	frame := p.in.Shore.Frame()
	for i, ll := range append([]s2.LatLng{p.in.Mast}, p.in.MoreMasts...) {
		st, err := p.station(i, frame.ToPlane(ll))
		if err != nil {
			return nil, err
		}
		f.stations = append(f.stations, st)
	}
	return f, nil
}

func (p *Prepared) station(i int, mast plane.Point) (*station, error) {
	st := &station{mast: mast, hoses: make(map[plane.Point]laid)}
	var err error
	if st.entry, err = p.ways.Entry(mast, route.DefaultTrenchLimit); err != nil && !errors.Is(err, route.ErrBarred) {
		return nil, err
	}
	if err := errors.Join(p.ground.checkMast(i, mast), err); err != nil {
		return nil, err
	}
	st.tree, err = p.ways.From(st.entry)
	return st, err
}

// field prepares the choice of sites.
func (p *Prepared) field(water *route.Map, progress Progress) error {
	cells := p.in.patches()
	p.bar(cells)
	problem := site.Problem{Cells: cells, Water: water, HeightOffBottom: p.in.Equipment.OffBottom}
	frame := p.in.Shore.Frame()
	for i, ll := range p.in.Pins {
		at, err := p.put(frame.ToPlane(ll))
		if err != nil {
			return &PinError{Pin: i, Err: err}
		}
		problem.Pins = append(problem.Pins, at)
	}
	field, err := site.New(problem, func(share float64) bool { return progress(StageSites, share) })
	var shallow *site.TooShallowError
	var full *site.NoRoomError
	switch {
	case errors.Is(err, site.ErrCanceled):
		return ErrCanceled
	case errors.As(err, &shallow), errors.As(err, &full):
		p.refuse = err
		return nil
	}
	p.s.field = field
	return err
}

// bar marks the cells where nobody wants a diffuser, or that no hose reaches.
func (p *Prepared) bar(cells []site.Cell) {
	frame := p.in.Shore.Frame()
	type ban struct {
		at      plane.Point
		radiusM float64
	}
	var bans []ban
	for _, b := range p.in.Bans {
		bans = append(bans, ban{frame.ToPlane(b.At), float64(b.Radius)})
	}
	for i := range cells {
		c := &cells[i]
		for _, b := range bans {
			c.Barred = c.Barred || c.At.Distance(b.at) < b.radiusM
		}
		if c.Barred = c.Barred || p.ground.bars(c.At) != nil || p.in.muckAt(c.At) > deepMuck; c.Barred || len(p.ground.barriers) == 0 {
			continue
		}
		c.Barred = true
		for _, st := range p.s.feeder.stations {
			if _, err := st.tree.Path(c.At); err == nil {
				c.Barred = false
				break
			}
		}
	}
}

// muckAt is how thick the soft sediment is at a place, zero where it was not
// sounded.
func (in Input) muckAt(at plane.Point) unit.Meters {
	if in.Survey.Muck == nil {
		return 0
	}
	return unit.Meters(in.Survey.Muck.Depth(at))
}

// put checks that a diffuser can be set at a place and reached by a hose.
func (p *Prepared) put(at plane.Point) (site.Placed, error) {
	if !p.in.Shore.Contains(at) {
		return site.Placed{}, site.ErrSiteAshore
	}
	var err error
	for _, st := range p.s.feeder.stations {
		if _, err = st.tree.Path(at); err == nil {
			break
		}
	}
	if end, ok := errors.AsType[*route.EndError](err); ok {
		err = end.Err
	}
	return site.Placed{At: at, Depth: unit.Meters(p.in.bedOf().Depth(at))}, err
}

// Propose returns the best layout round the pins that the given air can feed. See
// the function of the same name.
func (p *Prepared) Propose(progress Progress) (*Plan, error) {
	if progress == nil {
		progress = func(string, float64) bool { return true }
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	out := p.start
	if p.s.field == nil {
		p.bare(&out)
		p.remark(&out, nil)
		return &out, nil
	}
	p, why, err := p.choose(func(s *search) (*fed, error) {
		s.own, s.progress = new(site.Layout), progress // all are sketched
		return s.size(sought)
	})
	if errors.Is(err, ErrCanceled) {
		return nil, ErrCanceled
	}
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	out = p.start
	s := *p.s
	s.progress = progress
	best, err := s.settle(&out)
	if errors.Is(err, ErrCanceled) {
		return nil, ErrCanceled
	}
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	p.remark(&out, best)
	out.Assumptions = append(out.Assumptions, why...)
	return &out, nil
}

// Evaluate returns the plan for diffusers that stand where somebody put them, 1 to
// MaxDiffusers, with all that follows: lift, air, hoses, turnovers, cautions. No
// site is sought and nothing is claimed about other layouts: the plan says Placed.
// It returns a *PinError for a place outside the water, in a zone where nothing may
// be laid, or that no hose reaches, and a *unit.RangeError for their number.
func (p *Prepared) Evaluate(placed []s2.LatLng) (*Plan, error) {
	if err := unit.CheckRange("diffusers put by hand", float64(len(placed)), 1, MaxDiffusers, "a plan's most"); err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	out := p.start
	out.Placed = true
	if p.s.field == nil {
		p.bare(&out)
		p.remark(&out, nil)
		return &out, nil
	}
	frame := p.in.Shore.Frame()
	var sites []site.Placed
	for i, ll := range placed {
		at, err := p.put(frame.ToPlane(ll))
		if err != nil {
			return nil, fmt.Errorf("plan: %w", &PinError{Pin: i, Err: err})
		}
		sites = append(sites, at)
	}
	l, err := p.s.field.Evaluate(sites)
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	for i := range l.Sites {
		l.Sites[i].Pinned = true
	}
	p, why, err := p.choose(func(s *search) (*fed, error) { return s.size(given(&l)) })
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	out = p.start
	out.Placed = true
	s := *p.s
	best, err := s.settleOn(&out, &l)
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	p.remark(&out, best)
	out.Assumptions = append(out.Assumptions, why...)
	return &out, nil
}

// Evaluate is Prepare and Evaluate in one, for a single call.
func Evaluate(in Input, placed []s2.LatLng) (*Plan, error) {
	p, err := Prepare(in, nil)
	if err != nil {
		return nil, err
	}
	return p.Evaluate(placed)
}

// bare says why there are no diffusers.
func (p *Prepared) bare(out *Plan) {
	if p.refuse != nil {
		out.Constraint, out.Shortfall = Depth, unit.Text(p.refuse.Error())
		if shallow := new(site.TooShallowError); errors.As(p.refuse, &shallow) {
			out.Shortfall = shallow.Text()
		}
		return
	}
	out.Constraint = InputMissing
	out.Shortfall = "soundings: the depths are a guess from the outline, and no diffuser is placed on a guess"
}
