package plume

import (
	"errors"
	"math"
	"slices"

	"pondwright/calc/unit"
	"pondwright/calc/water"
)

// Diffusers is a number of equal diffusers at one depth.
type Diffusers struct {
	Count       int
	Air         unit.StdCubicMetersPerSecond // each
	Submergence unit.Meters
}

// Basin is a stratified pond with its diffusers.
type Basin struct {
	Curve     water.Hypsograph
	Site      Site // with its Profile
	Diffusers []Diffusers
	Model     Model
}

// Mixing is how a pond loses its layers.
type Mixing struct {
	Time       unit.Seconds // running time until the share was removed, or the limit
	Reached    bool         // the share was removed
	Removed    float64      // share of the stability at the start
	Efficiency float64      // work done on the water over the air's energy, so far
}

// ErrCanceled says that progress asked to stop.
var ErrCanceled = errors.New("canceled")

// ErrNoProfile says that the question has no answer without a profile.
var ErrNoProfile = errors.New("a profile of the water is needed")

// Destratify runs a pond's diffusers against its layers, without wind or sun,
// until a share of its stability is gone or the limit of time is reached. The
// pond is a stack of flat layers: every plume takes water from the layers it
// passes and leaves it where it is neutral, the water between sinks back, and
// layers that come to lie upside down mix. progress, which may be nil, hears the
// share done and stops the run by returning false (ErrCanceled). It returns
// ErrNoProfile or a *unit.RangeError for input out of range; a pond without
// stability is Reached at once.
func (b Basin) Destratify(share float64, limit unit.Seconds, progress func(share float64) bool) (Mixing, error) {
	if err := b.check(share, limit); err != nil {
		return Mixing{}, err
	}
	s := newStack(b.Curve, b.Site.Profile)
	start := s.workJ()
	if !(start > 0) {
		return Mixing{Reached: true}, nil
	}
	var m Mixing
	var spentJ float64
	for {
		left := s.workJ()
		m.Removed = 1 - left/start
		if spentJ > 0 {
			m.Efficiency = (start - left) / spentJ
		}
		if m.Removed >= share {
			m.Reached = true
			return m, nil
		}
		if m.Time >= limit {
			return m, nil
		}
		if progress != nil && !progress(math.Max(0, m.Removed/share)) {
			return m, ErrCanceled
		}
		powerW, err := s.stir(b)
		if err != nil {
			return Mixing{}, err
		}
		if powerW == 0 {
			m.Time = limit
			return m, nil
		}
		dt := math.Min(s.longestStepS(), float64(limit-m.Time))
		s.advance(dt)
		spentJ += powerW * dt
		m.Time += unit.Seconds(dt)
	}
}

func (b Basin) check(share float64, limit unit.Seconds) error {
	if b.Site.Profile.IsZero() || b.Curve.IsZero() {
		return ErrNoProfile
	}
	if err := unit.CheckRange("share of stability", share, 0, 0.99, "the last of it takes for ever"); err != nil {
		return err
	}
	if err := unit.CheckRange("limit of time (s)", float64(limit), 0, 366*86400, "a year"); err != nil {
		return err
	}
	for _, d := range b.Diffusers {
		if err := unit.CheckRange("number of diffusers", float64(d.Count), 0, 1000, "a pond"); err != nil {
			return err
		}
		if err := unit.CheckRange("submergence (m)", float64(d.Submergence), minSubmergenceM, float64(b.Curve.Depth()), "the pond's depth"); err != nil {
			return err
		}
	}
	return nil
}

const stackLayers = 100

// stack is the pond in flat layers, surface first.
type stack struct {
	thickM   float64
	depthsM  []float64 // of the middles
	volumes  []float64
	tempsC   []float64
	centerM  float64
	take     []float64 // m³/s out of each layer into plumes
	put      []float64 // m³/s into each layer
	putHeat  []float64 // °C m³/s
	sinking  []float64 // m³/s from layer i to i+1
	heatFlux []float64
}

func newStack(h water.Hypsograph, p water.Profile) *stack {
	n := stackLayers
	s := &stack{thickM: float64(h.Depth()) / float64(n)}
	for _, v := range []*[]float64{&s.depthsM, &s.volumes, &s.tempsC, &s.take, &s.put, &s.putHeat, &s.sinking, &s.heatFlux} {
		*v = make([]float64, n)
	}
	var volume, moment float64
	for i := range n {
		top := s.thickM * float64(i)
		s.depthsM[i] = top + s.thickM/2
		s.volumes[i] = float64(h.Between(unit.Meters(top), unit.Meters(top+s.thickM)))
		s.tempsC[i] = p.Temperature(unit.Meters(s.depthsM[i])).Celsius()
		volume += s.volumes[i]
		moment += s.volumes[i] * s.depthsM[i]
	}
	s.centerM = moment / volume
	return s
}

// workJ is the work that would mix the stack once.
func (s *stack) workJ() float64 {
	var sum float64
	rho0 := water.DensityKgM3(s.tempsC[0]) // taken off, so that no digits are lost
	for i, v := range s.volumes {
		sum += (s.depthsM[i] - s.centerM) * v * (water.DensityKgM3(s.tempsC[i]) - rho0)
	}
	return unit.GravityMPS2 * sum
}

func (s *stack) layer(depthM float64) int {
	return max(0, min(len(s.tempsC)-1, int(depthM/s.thickM)))
}

// stir runs the plumes through the stack as it is, fills the exchange rates and
// reports the power of the air.
func (s *stack) stir(b Basin) (powerW float64, err error) {
	for _, v := range [][]float64{s.take, s.put, s.putHeat} {
		clear(v)
	}
	k := b.Model.Coefficients.orDefault()
	if err := k.check(); err != nil {
		return 0, err
	}
	for _, d := range b.Diffusers {
		if d.Count == 0 || d.Air == 0 {
			continue
		}
		site := b.Site
		site.Profile = water.Profile{}
		site.Temperature = unit.Celsius(s.tempsC[s.layer(float64(d.Submergence))])
		c, err := newColumn(d.Air, d.Submergence, site)
		if err != nil {
			return 0, err
		}
		c.amb = s.ambient(c.hM)
		t := newIntegral(c, k).run(float64(b.Model.DiscRadius))
		for i := range t.Plumes {
			s.exchange(&t, i, c.hM, float64(d.Count))
		}
		powerW += float64(d.Count) * float64(site.Pressure) * c.v0M3S * math.Log1p(c.hM/c.haM)
	}
	return powerW, nil
}

// ambient is the stack above a diffuser as the plume sees it.
func (s *stack) ambient(hM float64) ambient {
	a := ambient{rho: water.DensityKgM3}
	a.zM = append(a.zM, 0)
	a.scalar = append(a.scalar, s.tempsC[s.layer(hM)])
	for i := s.layer(hM); i >= 0; i-- {
		if z := hM - s.depthsM[i]; z > 0 && z < hM {
			a.zM = append(a.zM, z)
			a.scalar = append(a.scalar, s.tempsC[i])
		}
	}
	a.zM = append(a.zM, hM)
	a.scalar = append(a.scalar, s.tempsC[0])
	return a
}

// exchange books what plume i of a trace takes from each layer and where it
// leaves it.
func (s *stack) exchange(t *Trace, i int, hM, count float64) {
	first, last := t.from[i], len(t.zM)
	if i+1 < len(t.from) {
		last = t.from[i+1]
	}
	var q, heat float64
	zPrev := t.zM[first]
	for j := first; j < last; j++ {
		dq := count * t.qM3S[j]
		if j > first {
			dq -= count * t.qM3S[j-1]
		}
		l := s.layer(hM - (zPrev+t.zM[j])/2)
		zPrev = t.zM[j]
		s.take[l] += dq
		q += dq
		heat += dq * s.tempsC[l]
	}
	if !(q > 0) {
		return
	}
	rho := water.DensityKgM3(heat / q)
	l, deepest := s.layer(hM-zPrev), s.layer(hM)
	for l < deepest && water.DensityKgM3(s.tempsC[l]) < rho {
		l++
	}
	s.put[l] += q
	s.putHeat[l] += heat
}

// longestStepS is a step in which no layer loses more than a quarter of its
// water, at most ten minutes.
func (s *stack) longestStepS() float64 {
	dt := 600.0
	var net float64
	for i := range s.tempsC {
		up := math.Max(0, -net) // what rises out of this layer through its top
		net += s.put[i] - s.take[i]
		out := s.take[i] + up + math.Max(0, net)
		if out > 0 && s.volumes[i] > 0 {
			dt = math.Min(dt, 0.25*s.volumes[i]/out)
		}
	}
	return math.Max(dt, 1e-3)
}

// advance moves the stack on by dt and lets it settle.
func (s *stack) advance(dtS float64) {
	n := len(s.tempsC)
	var net float64
	for i := range n {
		net += s.put[i] - s.take[i]
		s.sinking[i] = net
		donor := i
		if net < 0 && i+1 < n {
			donor = i + 1
		}
		s.heatFlux[i] = net * s.tempsC[donor]
	}
	for i := range n {
		if !(s.volumes[i] > 0) {
			continue
		}
		flux := s.putHeat[i] - s.take[i]*s.tempsC[i]
		if i > 0 {
			flux += s.heatFlux[i-1]
		}
		if i+1 < n {
			flux -= s.heatFlux[i]
		}
		s.tempsC[i] += dtS * flux / s.volumes[i]
	}
	s.settle()
}

// settle mixes neighbors that lie upside down, by pooling.
func (s *stack) settle() {
	type pool struct {
		volume, heat float64
		n            int
	}
	temp := func(p pool) float64 { return p.heat / p.volume }
	var pools []pool
	for i, v := range s.volumes {
		v = math.Max(v, 1e-9)
		pools = append(pools, pool{v, v * s.tempsC[i], 1})
		for k := len(pools) - 1; k > 0 && water.DensityKgM3(temp(pools[k-1])) > water.DensityKgM3(temp(pools[k])); k-- {
			a, b := pools[k-1], pools[k]
			pools = slices.Delete(pools, k, k+1)
			pools[k-1] = pool{a.volume + b.volume, a.heat + b.heat, a.n + b.n}
		}
	}
	i := 0
	for _, p := range pools {
		for range p.n {
			s.tempsC[i] = temp(p)
			i++
		}
	}
}
