package air

import (
	"errors"
	"fmt"

	"pondwright/calc/unit"
)

// maxCv is the largest flow coefficient of a balancing valve.
const maxCv = 1e4

// Run is one hose from the manifold to its diffuser.
type Run struct {
	Name string
	Hose Hose
	// Submergence of the diffuser below the highest level the water reaches, 0
	// to 60 m.
	Submergence unit.Meters
	Diffuser    Diffuser
	// Heads is how many such diffusers share the flow at the end; 0 means 1.
	Heads int
	// Crack is the opening pressure of the check valve at the manifold.
	Crack unit.PascalsGauge
	// ValveCv is the flow coefficient at which the run's valve is set; 0 means
	// wide open.
	ValveCv float64
}

func (r Run) heads() float64 { return float64(max(r.Heads, 1)) }

func (r Run) check() error {
	if err := r.Hose.check(); err != nil {
		return err
	}
	if err := unit.CheckRange("submergence (m)", float64(r.Submergence), 0, 60, "ponds and small lakes"); err != nil {
		return err
	}
	if err := unit.CheckRange("diffusers on a run", float64(r.Heads), 0, 1000, "a run of a pond"); err != nil {
		return err
	}
	if err := unit.CheckRange("check valve (Pa)", float64(r.Crack), 0, 1e6, "check valves for air"); err != nil {
		return err
	}
	if err := unit.CheckRange("valve Cv", r.ValveCv, 0, maxCv, "balancing valves"); err != nil {
		return err
	}
	return r.Diffuser.check()
}

// Network is compressors, an optional feeder, a manifold and its runs.
type Network struct {
	Compressor Curve
	Machines   int // in parallel; 0 means 1
	Site       Site
	// Feeder from compressor to manifold; nil where they stand together.
	Feeder *Hose
	Runs   []Run // up to 1000
}

// ErrNothingOpens says that the compressor cannot open any diffuser: all lie
// deeper than its highest pressure reaches.
var ErrNothingOpens = errors.New("the compressor cannot open any diffuser")

// ErrNoRuns says that a network has no run to carry air.
var ErrNoRuns = errors.New("the manifold has no runs")

// AboveRatingError says that the air has nowhere to go below the highest
// pressure of the compressor's curve: the relief valve would lift.
type AboveRatingError struct {
	Rated     unit.PascalsGauge            // highest pressure of the curve at the site
	Needed    unit.PascalsGauge            // pressure asked for, if one was
	Delivered unit.StdCubicMetersPerSecond // by the compressors at Rated
	Taken     unit.StdCubicMetersPerSecond // by the runs at Rated
}

// Error names the rating and what passes it.
func (e *AboveRatingError) Error() string {
	if e.Needed > 0 {
		return fmt.Sprintf("%.2f psi is above the compressor's rating of %.2f psi", e.Needed.PSIG(), e.Rated.PSIG())
	}
	return fmt.Sprintf("at the compressor's rating of %.2f psi the runs take %.2f scfm of %.2f: the relief valve lifts; open more runs or use less compressor",
		e.Rated.PSIG(), e.Taken.SCFM(), e.Delivered.SCFM())
}

// RunFlow is what one run carries at the operating point.
type RunFlow struct {
	Name    string
	Air     unit.StdCubicMetersPerSecond
	Starved bool              // carries nothing: the manifold does not open it
	End     unit.PascalsGauge // pressure at the diffuser, inside
	Opens   unit.PascalsGauge // manifold pressure at which the first bubble leaves
}

// Operating is the point at which compressors and runs agree.
type Operating struct {
	Outlet   unit.PascalsGauge // at the compressors
	Manifold unit.PascalsGauge
	Air      unit.StdCubicMetersPerSecond // of all runs together
	Power    unit.Watts                   // electrical, all machines; zero if the curve has none
	Runs     []RunFlow                    // in the order of the network
}

// Starved reports the names of the runs that carry nothing.
func (o Operating) Starved() []string {
	var out []string
	for _, r := range o.Runs {
		if r.Starved {
			out = append(out, r.Name)
		}
	}
	return out
}

// line is a checked run, unpacked.
type line struct {
	pipe            pipe
	headPa          float64 // outside the diffuser, absolute
	diffuser        Diffuser
	heads, crackPa  float64
	cv, temperature float64
	stdPerKg        float64
}

func newLine(r Run, site Site) line {
	return line{
		pipe:     r.Hose.pipe(),
		headPa:   float64(site.Pressure) + float64(Head(r.Submergence, unit.KilogramsPerCubicMeter(site.waterKgM3()))),
		diffuser: r.Diffuser, heads: r.heads(), crackPa: float64(r.Crack),
		cv: r.ValveCv, temperature: r.Hose.airK(),
		stdPerKg: float64(unit.KilogramsPerSecond(1).Standard()),
	}
}

// endPa is the absolute pressure inside the end of the hose at a flow.
func (l *line) endPa(mKgS float64) float64 {
	return l.headPa + l.diffuser.lossPa(mKgS*l.stdPerKg/l.heads)
}

// opensPa is the manifold pressure above which the run carries air.
func (l *line) opensPa() float64 { return l.headPa + l.diffuser.openingPa() + l.crackPa }

// flowKgS is the flow at a manifold pressure: zero until it opens, then rising
// with it without a jump.
func (l *line) flowKgS(manifoldPa float64) float64 {
	if manifoldPa <= l.opensPa() {
		return 0
	}
	p1 := manifoldPa - l.crackPa
	if l.cv == 0 {
		return l.pipe.flow(p1, l.endPa)
	}
	hi := p1 * l.pipe.areaM2
	return root(0, hi, func(m float64) float64 {
		end := l.endPa(m)
		head := afterValve(l.cv, m, manifoldPa, l.temperature) - l.crackPa
		if head <= end {
			return end - head + m // no flow that large: any positive number that rises
		}
		return l.pipe.residual(m, head, end)
	})
}

// neededPa is the manifold pressure, valve wide open, for a flow.
func (l *line) neededPa(mKgS float64) (float64, error) {
	p1, err := l.pipe.upstream(mKgS, l.endPa(mKgS))
	return p1 + l.crackPa, err
}

// system is a checked network, unpacked.
type system struct {
	Network
	lines    []line
	feeder   *pipe
	machines float64
	sitePa   float64
	kgPerStd float64
}

func (n Network) open() (*system, error) {
	if err := n.Site.check(); err != nil {
		return nil, err
	}
	if n.Compressor.IsZero() {
		return nil, ErrTooFewPoints
	}
	if err := unit.CheckRange("machines", float64(n.Machines), 0, 1000, "a pond's station"); err != nil {
		return nil, err
	}
	if len(n.Runs) == 0 {
		return nil, ErrNoRuns
	}
	if err := unit.CheckRange("runs", float64(len(n.Runs)), 1, 1000, "a pond's station"); err != nil {
		return nil, err
	}
	s := &system{Network: n, machines: float64(max(n.Machines, 1)), sitePa: float64(n.Site.Pressure),
		kgPerStd: float64(unit.StdCubicMetersPerSecond(1).Mass())}
	if n.Feeder != nil {
		if err := n.Feeder.check(); err != nil {
			return nil, fmt.Errorf("feeder: %w", err)
		}
		p := n.Feeder.pipe()
		s.feeder = &p
	}
	for i, r := range n.Runs {
		if err := r.check(); err != nil {
			return nil, fmt.Errorf("run %d %q: %w", i+1, r.Name, err)
		}
		s.lines = append(s.lines, newLine(r, n.Site))
	}
	return s, nil
}

// deliveredKgS is the mass flow of all machines at an absolute outlet pressure.
func (s *system) deliveredKgS(outletPa float64) float64 {
	return s.machines * s.kgPerStd * s.Compressor.airM3S(outletPa-s.sitePa, s.Site)
}

// manifoldPa is what the feeder leaves of an outlet pressure at the flow the
// machines deliver there; zero where the feeder cannot carry it.
func (s *system) manifoldPa(outletPa float64) float64 {
	if s.feeder == nil {
		return outletPa
	}
	p, err := s.feeder.downstream(s.deliveredKgS(outletPa), outletPa)
	if err != nil {
		return 0
	}
	return p
}

func (s *system) takenKgS(manifoldPa float64) float64 {
	var sum float64
	for i := range s.lines {
		sum += s.lines[i].flowKgS(manifoldPa)
	}
	return sum
}

// Solve finds the operating point. The one unknown is the pressure at the
// compressors: what the runs take does not fall with it and what the machines
// deliver does not rise, so there is one root, found by bracketing without a
// starting guess. Check valves are assumed: a run whose opening pressure the
// manifold does not pass carries nothing and is Starved.
//
// It returns ErrNothingOpens, an *AboveRatingError, ErrChoked (named by run), a
// *unit.RangeError for input out of range, or ErrNoRuns.
func (n Network) Solve() (Operating, error) {
	s, err := n.open()
	if err != nil {
		return Operating{}, err
	}
	top := s.sitePa + float64(n.Compressor.Rated(n.Site))
	surplus := func(outletPa float64) float64 {
		return s.takenKgS(s.manifoldPa(outletPa)) - s.deliveredKgS(outletPa)
	}
	if err := s.checkTop(top); err != nil {
		return Operating{}, err
	}
	outletPa := root(s.sitePa, top, surplus)
	return s.operating(outletPa)
}

// checkTop refuses a network whose runs cannot take the air below the rating.
func (s *system) checkTop(topPa float64) error {
	taken, delivered := s.takenKgS(s.manifoldPa(topPa)), s.deliveredKgS(topPa)
	if taken == 0 {
		return ErrNothingOpens
	}
	if taken < delivered {
		return &AboveRatingError{
			Rated:     unit.PascalsGauge(topPa - s.sitePa),
			Delivered: unit.KilogramsPerSecond(delivered).Standard(),
			Taken:     unit.KilogramsPerSecond(taken).Standard(),
		}
	}
	return nil
}

func (s *system) operating(outletPa float64) (Operating, error) {
	manifoldPa := s.manifoldPa(outletPa)
	o := Operating{
		Outlet:   unit.PascalsGauge(outletPa - s.sitePa),
		Manifold: unit.PascalsGauge(manifoldPa - s.sitePa),
	}
	if p, ok := s.Compressor.Power(o.Outlet, s.Site); ok {
		o.Power = p * unit.Watts(s.machines)
	}
	var total float64
	for i := range s.lines {
		l := &s.lines[i]
		m := l.flowKgS(manifoldPa)
		end := l.endPa(m)
		if m > 0 && end <= l.pipe.chokePa(m) {
			return Operating{}, fmt.Errorf("run %d %q: %w", i+1, s.Runs[i].Name, ErrChoked)
		}
		total += m
		o.Runs = append(o.Runs, RunFlow{
			Name: s.Runs[i].Name, Air: unit.KilogramsPerSecond(m).Standard(), Starved: m == 0,
			End: unit.PascalsGauge(end - s.sitePa), Opens: unit.PascalsGauge(l.opensPa() - s.sitePa),
		})
	}
	o.Air = unit.KilogramsPerSecond(total).Standard()
	return o, nil
}
