package air

import (
	"fmt"
	"math"

	"pondwright/calc/unit"
)

// ValveSetting is how one run's valve stands.
type ValveSetting struct {
	Name   string
	Air    unit.StdCubicMetersPerSecond
	Needed unit.PascalsGauge // at the manifold, valve wide open
	Drop   unit.PascalsGauge // across the valve
	Cv     float64           // at which it drops that; 0 where it stays wide open or shut
	Shut   bool              // carries nothing by request
}

// Balance is a manifold with its valves set.
type Balance struct {
	Outlet   unit.PascalsGauge // at the compressors
	Manifold unit.PascalsGauge
	Air      unit.StdCubicMetersPerSecond
	Power    unit.Watts // electrical, all machines; zero if the curve has none
	// Index is the run that needs the most pressure: its valve is wide open.
	Index int
	// Valves in the order of the runs. Set them in order of depth, deepest
	// first, then read the gauges again.
	Valves []ValveSetting
}

// Require reports the pressures and valve settings that give each run its
// target flow, whatever compressor stands behind; a target of zero shuts the
// run. targets are in the order of the runs. Valves already set in the runs are
// ignored. It returns an *AboveRatingError where the compressor does not reach
// the pressure.
func (n Network) Require(targets []unit.StdCubicMetersPerSecond) (Balance, error) {
	s, err := n.open()
	if err != nil {
		return Balance{}, err
	}
	flows := make([]float64, len(targets))
	for i, q := range targets {
		flows[i] = float64(q)
	}
	flows, total, err := s.checkShares(flows)
	if err != nil {
		return Balance{}, err
	}
	b, err := s.balance(flows, total)
	if err != nil {
		return Balance{}, err
	}
	if rated := n.Compressor.Rated(n.Site); b.Outlet > rated {
		return Balance{}, &AboveRatingError{Rated: rated, Needed: b.Outlet}
	}
	return b, nil
}

// Balance reports the valve settings that share all the compressors deliver
// among the runs: equal shares for equal flow, or in proportion to the water
// each serves. A share of zero shuts the run. It returns ErrNothingOpens, an
// *AboveRatingError, ErrChoked or a *unit.RangeError.
func (n Network) Balance(shares []float64) (Balance, error) {
	s, err := n.open()
	if err != nil {
		return Balance{}, err
	}
	shares, _, err = s.checkShares(shares)
	if err != nil {
		return Balance{}, err
	}
	rated := float64(n.Compressor.Rated(n.Site)) + s.sitePa
	lacking := func(total float64) float64 { // rises with total
		outlet, _, _, err := s.pressures(shares, total)
		if err != nil || outlet > rated {
			return total
		}
		return total - s.deliveredKgS(outlet)/s.kgPerStd
	}
	most := s.deliveredKgS(s.sitePa) / s.kgPerStd
	if lacking(most*1e-9) >= 0 {
		return Balance{}, ErrNothingOpens
	}
	total := root(0, most, lacking)
	b, err := s.balance(shares, total)
	if err != nil {
		return Balance{}, err
	}
	delivered := s.deliveredKgS(math.Min(s.sitePa+float64(b.Outlet), rated)) / s.kgPerStd
	if math.Abs(total-delivered) > 1e-6*delivered {
		return Balance{}, &AboveRatingError{
			Rated: unit.PascalsGauge(rated - s.sitePa), Taken: b.Air,
			Delivered: unit.StdCubicMetersPerSecond(delivered),
		}
	}
	return b, nil
}

// checkShares reports shares that add up to one, and what they added up to.
func (s *system) checkShares(shares []float64) ([]float64, float64, error) {
	if err := unit.CheckRange("shares of the runs", float64(len(shares)), float64(len(s.lines)), float64(len(s.lines)), "one for each run"); err != nil {
		return nil, 0, err
	}
	var sum float64
	for _, v := range shares {
		if err := unit.CheckRange("share of a run", v, 0, 1e6, "not negative"); err != nil {
			return nil, 0, err
		}
		sum += v
	}
	if err := unit.CheckRange("sum of the shares", sum, 1e-12, 1e9, "some run must carry air"); err != nil {
		return nil, 0, err
	}
	out := make([]float64, len(shares))
	for i, v := range shares {
		out[i] = v / sum
	}
	return out, sum, nil
}

// pressures reports outlet and manifold pressure, absolute, for a total flow in
// std m³/s, and the run that sets them.
func (s *system) pressures(shares []float64, total float64) (outlet, manifold float64, index int, err error) {
	index = -1
	for i := range s.lines {
		if shares[i] == 0 {
			continue
		}
		p, err := s.lines[i].neededPa(shares[i] * total * s.kgPerStd)
		if err != nil {
			return 0, 0, 0, fmt.Errorf("run %d %q: %w", i+1, s.Runs[i].Name, err)
		}
		if p > manifold {
			manifold, index = p, i
		}
	}
	if s.feeder == nil {
		return manifold, manifold, index, nil
	}
	outlet, err = s.feeder.upstream(total*s.kgPerStd, manifold)
	if err != nil {
		return 0, 0, 0, fmt.Errorf("feeder: %w", err)
	}
	return outlet, manifold, index, nil
}

func (s *system) balance(shares []float64, total float64) (Balance, error) {
	outlet, manifold, index, err := s.pressures(shares, total)
	if err != nil {
		return Balance{}, err
	}
	b := Balance{
		Outlet: unit.PascalsGauge(outlet - s.sitePa), Manifold: unit.PascalsGauge(manifold - s.sitePa),
		Air: unit.StdCubicMetersPerSecond(total), Index: index,
	}
	if p, ok := s.Compressor.Power(b.Outlet, s.Site); ok {
		b.Power = p * unit.Watts(s.machines)
	}
	for i := range s.lines {
		v := ValveSetting{Name: s.Runs[i].Name, Shut: shares[i] == 0}
		if !v.Shut {
			m := shares[i] * total * s.kgPerStd
			needed, err := s.lines[i].neededPa(m)
			if err != nil {
				return Balance{}, err
			}
			v.Air = unit.StdCubicMetersPerSecond(shares[i] * total)
			v.Needed = unit.PascalsGauge(needed - s.sitePa)
			v.Drop = unit.PascalsGauge(manifold - needed)
			v.Cv = Cv(unit.KilogramsPerSecond(m), unit.Pascals(manifold), unit.Pascals(needed), unit.Kelvin(s.lines[i].temperature))
			if v.Cv > maxCv {
				v.Cv = 0 // a drop too small to set
			}
		}
		b.Valves = append(b.Valves, v)
	}
	return b, nil
}
