package plume

import (
	"math"

	"pondwright/calc/unit"
)

// Model is how the integral is run. The zero value is a point start with the
// default coefficients, which is what LiftAt promises on.
type Model struct {
	Coefficients Coefficients
	// DiscRadius of the diffuser, up to 2 m; zero starts from a point. No
	// measured flux over a disc was found, and a disc of 0.115 m adds some 40 %
	// to the flow at 4.3 m and 1 scfm: use it as an upper estimate.
	DiscRadius unit.Meters
}

// Plume is one unbroken piece of a rising column.
type Plume struct {
	Bottom, Top unit.Meters               // heights above the diffuser
	Flow        unit.CubicMetersPerSecond // of water at Top
	Velocity    unit.MetersPerSecond      // of water on the axis at Top; zero where it peels
	Width       unit.Meters               // where velocity has fallen to 1/e of the axis, at Top; zero where it peels
	Peels       bool                      // lets go of its water at Top, below the surface
	Neutral     unit.Meters               // height at which the water it lets go comes to rest
	Temperature unit.Kelvin               // of that water; zero Kelvin without a profile
}

// Trace is a column of bubbles from the diffuser to the surface: one Plume, or
// several where stratification makes it peel. Its first plume alone moves
// bottom water; later ones start again from water they find on the way.
type Trace struct {
	Plumes []Plume
	// Potential is the rate at which the first plume raises the potential
	// energy of stratified water.
	Potential unit.Watts

	// Samples of every plume: height, flow and its slope. from[i] is where plume
	// i begins.
	zM, qM3S, dqM2S []float64
	from            []int
}

// first is how many samples belong to the first plume.
func (t Trace) first() int {
	if len(t.from) > 1 {
		return t.from[1]
	}
	return len(t.zM)
}

// Peels reports whether the first plume ends below the surface.
func (t Trace) Peels() bool { return len(t.Plumes) > 0 && t.Plumes[0].Peels }

// FlowAt reports the flow of the first plume at a height above the diffuser,
// and the flow at its top for heights beyond.
func (t Trace) FlowAt(height unit.Meters) unit.CubicMetersPerSecond {
	x, n := float64(height), t.first()
	if n == 0 || !(x > 0) {
		return 0
	}
	if x >= t.zM[n-1] {
		return unit.CubicMetersPerSecond(t.qM3S[n-1])
	}
	lo, hi := 0, n-1
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; t.zM[mid] <= x {
			lo = mid
		} else {
			hi = mid
		}
	}
	if x < t.zM[0] {
		return unit.CubicMetersPerSecond(t.qM3S[0] * x / t.zM[0])
	}
	d := t.zM[hi] - t.zM[lo]
	s := (x - t.zM[lo]) / d
	return unit.CubicMetersPerSecond( // cubic through both values and slopes
		(1+2*s)*(1-s)*(1-s)*t.qM3S[lo] + s*(1-s)*(1-s)*d*t.dqM2S[lo] +
			s*s*(3-2*s)*t.qM3S[hi] - s*s*(1-s)*d*t.dqM2S[hi])
}

// Rise integrates the plume of a diffuser from the bottom to the surface:
//
//	dQ/dz = 2 α sqrt(2π M)
//	dM/dz = γ { g Qg/(u/(1+λ²) + us) + 2π b² g (ρa − ρp)/ρ0 }
//	dF/dz = Ta dQ/dz
//
// with Q the flow of water, M its kinematic momentum flux, F its heat, u = 2M/Q
// and b = Q/sqrt(2πM) the axis velocity and width of the Gaussian profile, and
// Qg the gas, which expands isothermally on its way. The 2 in the last term of
// momentum is there because ρp is the mean over the flow and half the deficit
// of the axis. Density follows from the mixed temperature. Where M is used up
// the plume peels: its water goes to its neutral level, the gas goes on and
// starts a new plume.
//
// Source: Cederwall & Ditmars 1970; McDougall, J. Fluid Mech. 85, 1978; start
// from a disc after Wüest et al. 1992. Zero air gives an empty Trace. Input out
// of range is a *unit.RangeError. A peeling single core puts the peel low
// against Socolofsky & Adams (2005): read it as a warning.
func Rise(air unit.StdCubicMetersPerSecond, submergence unit.Meters, site Site, m Model) (Trace, error) {
	c, err := newColumn(air, submergence, site)
	if err != nil {
		return Trace{}, err
	}
	k := m.Coefficients.orDefault()
	if err := k.check(); err != nil {
		return Trace{}, err
	}
	if err := unit.CheckRange("disc radius (m)", float64(m.DiscRadius), 0, 2, rangeSource); err != nil {
		return Trace{}, err
	}
	return newIntegral(c, k).run(float64(m.DiscRadius)), nil
}

// integral is one run of the model.
type integral struct {
	column
	alpha, lambda, slipMPS, froude, gamma float64
	noExpansion                           bool    // for the closed forms that know none
	maxStepM                              float64 // longest step
	place                                 int     // where the walk stands in amb
}

func newIntegral(c column, k Coefficients) *integral {
	in := &integral{
		column: c, alpha: k.Entrainment, lambda: k.CoreRatio,
		slipMPS: float64(k.Slip), froude: k.Froude, gamma: k.Amplification,
		maxStepM: c.hM / 50,
	}
	if !c.amb.still() {
		in.maxStepM = math.Min(in.maxStepM, 0.02)
	}
	return in
}

// state of the plume at one height.
type state struct{ q, m, f float64 }

func (in *integral) gasM3S(zM float64) float64 {
	if in.noExpansion {
		return in.v0M3S
	}
	return in.v0M3S * in.haM / (in.haM + in.hM - zM)
}

// slope is the right side of the equations. floor keeps a momentum that a step
// has used up above zero, so that the step ends in a peel and not in a NaN.
func (in *integral) slope(zM float64, s state, floor float64) state {
	m := math.Max(s.m, floor)
	u := 2 * m / s.q
	dq := 2 * in.alpha * math.Sqrt(2*math.Pi*m)
	dm := unit.GravityMPS2 * in.gasM3S(zM) / (u/(1+in.lambda*in.lambda) + in.slipMPS)
	if in.amb.still() {
		return state{q: dq, m: in.gamma * dm}
	}
	ta := in.amb.at(zM, &in.place)
	b2 := s.q * s.q / (2 * math.Pi * m)
	dm += 2 * math.Pi * b2 * unit.GravityMPS2 * (in.amb.rho(ta) - in.amb.rho(s.f/s.q)) / in.rho0
	return state{q: dq, m: in.gamma * dm, f: ta * dq}
}

// step is one Runge-Kutta step of fourth order.
func (in *integral) step(zM, dzM float64, s state, floor float64) state {
	k1 := in.slope(zM, s, floor)
	k2 := in.slope(zM+dzM/2, state{s.q + dzM/2*k1.q, s.m + dzM/2*k1.m, s.f + dzM/2*k1.f}, floor)
	k3 := in.slope(zM+dzM/2, state{s.q + dzM/2*k2.q, s.m + dzM/2*k2.m, s.f + dzM/2*k2.f}, floor)
	k4 := in.slope(zM+dzM, state{s.q + dzM*k3.q, s.m + dzM*k3.m, s.f + dzM*k3.f}, floor)
	return state{
		q: s.q + dzM/6*(k1.q+2*k2.q+2*k3.q+k4.q),
		m: s.m + dzM/6*(k1.m+2*k2.m+2*k3.m+k4.m),
		f: s.f + dzM/6*(k1.f+2*k2.f+2*k3.f+k4.f),
	}
}

// fromPoint starts a plume a hair above zM with the closed form of a plume
// without slip, which every plume is close enough to its source.
func (in *integral) fromPoint(zM float64) (float64, state) {
	const share = 1e-5
	dM := share * in.hM
	l := 1 + in.lambda*in.lambda
	buoyancy := in.gamma * unit.GravityMPS2 * in.gasM3S(zM)
	u := math.Cbrt(25 * l * buoyancy / (24 * math.Pi * in.alpha * in.alpha * dM))
	b := 1.2 * in.alpha * dM
	q := math.Pi * b * b * u
	return zM + dM, in.withHeat(zM, state{q: q, m: q * u / 2})
}

// fromDisc starts a plume at zM as wide as the disc, with a given Froude number
// of the bubbly core. The iteration contracts by better than one half a turn.
func (in *integral) fromDisc(zM, radiusM float64) (float64, state) {
	l := 1 + in.lambda*in.lambda
	core := math.Pi * in.lambda * in.lambda * radiusM * radiusM
	w := in.slipMPS + 0.1
	for range 60 {
		gasShare := in.gasM3S(zM) / (core * (w/l + in.slipMPS))
		w = in.froude * math.Sqrt(2*in.lambda*radiusM*unit.GravityMPS2*gasShare)
	}
	q := math.Pi * radiusM * radiusM * w
	return zM, in.withHeat(zM, state{q: q, m: q * w / 2})
}

func (in *integral) withHeat(zM float64, s state) state {
	if !in.amb.still() {
		s.f = s.q * in.amb.at(zM, &in.place)
	}
	return s
}

// run raises plume after plume until the bubbles reach the surface.
func (in *integral) run(discRadiusM float64) Trace {
	var t Trace
	if in.v0M3S == 0 {
		return t
	}
	const room = 320 // samples of a pond's plume, so that appending is rare
	buf := make([]float64, 3*room)
	t.zM, t.qM3S, t.dqM2S = buf[:0:room], buf[room:room:2*room], buf[2*room:2*room:3*room]
	bottomM := 0.0
	zM, s := in.fromPoint(0)
	if discRadiusM > 0 {
		zM, s = in.fromDisc(0, discRadiusM)
	}
	for {
		var p Plume
		var widthM float64
		t.from = append(t.from, len(t.zM))
		zM, p, widthM = in.raise(bottomM, zM, s, &t)
		t.Plumes = append(t.Plumes, p)
		if !p.Peels {
			break
		}
		bottomM = zM
		zM, s = in.fromDisc(zM, math.Max(minRestartM, math.Min(restartRadiusM, widthM)))
	}
	t.Potential = in.potential(&t)
	return t
}

// raise integrates one plume from zM until it peels or surfaces and reports
// where, what came of it, and its last width.
func (in *integral) raise(bottomM, zM float64, s state, t *Trace) (float64, Plume, float64) {
	peakM := 0.0
	for {
		peakM = math.Max(peakM, s.m)
		floor := 1e-9 * peakM
		widthM := s.q / math.Sqrt(2*math.Pi*s.m)
		t.add(zM, s.q, 2*in.alpha*math.Sqrt(2*math.Pi*s.m))
		if zM >= in.hM {
			return in.hM, in.plume(bottomM, zM, s, widthM, false), widthM
		}
		// Near a source everything scales with the distance from it.
		dzM := math.Min(in.maxStepM, 0.1*widthM/(1.2*in.alpha))
		if zM+1.000001*dzM >= in.hM {
			dzM = in.hM - zM
		}
		next := in.step(zM, dzM, s, floor)
		if next.m <= floor {
			// Momentum falls to zero like a square root, its square like a line.
			// Half a step at least, so that a column of many peels ends.
			f := math.Max(0.5, s.m*s.m/(s.m*s.m+next.m*next.m))
			s = state{q: s.q + f*(next.q-s.q), f: s.f + f*(next.f-s.f)}
			zM += f * dzM
			t.add(zM, s.q, 0)
			return zM, in.plume(bottomM, zM, s, 0, true), widthM
		}
		zM += dzM
		if dzM == in.hM-(zM-dzM) {
			zM = in.hM
		}
		s = next
	}
}

func (t *Trace) add(zM, q, dq float64) {
	t.zM = append(t.zM, zM)
	t.qM3S = append(t.qM3S, q)
	t.dqM2S = append(t.dqM2S, dq)
}

func (in *integral) plume(bottomM, zM float64, s state, widthM float64, peels bool) Plume {
	p := Plume{
		Bottom: unit.Meters(bottomM), Top: unit.Meters(zM), Flow: unit.CubicMetersPerSecond(s.q),
		Velocity: unit.MetersPerSecond(2 * s.m / s.q), Width: unit.Meters(widthM),
		Peels: peels, Neutral: unit.Meters(zM),
	}
	if !in.amb.still() {
		p.Neutral = unit.Meters(in.amb.neutral(in.amb.rho(s.f/s.q), zM))
		p.Temperature = unit.Celsius(s.f / s.q)
	}
	return p
}

// potential is the rate at which the first plume and the return flow it forces
// raise the potential energy of the water around,
//
//	g { ∫ z Q dρ over the plume − Qp ∫ z dρ from the neutral level to its top },
//
// which conserves mass by construction.
func (in *integral) potential(t *Trace) unit.Watts {
	if in.amb.still() {
		return 0
	}
	first := t.Plumes[0]
	neutralM, flow := float64(first.Neutral), float64(first.Flow)
	var sum float64
	place := 0
	zPrev, qPrev := 0.0, 0.0
	rhoPrev := in.amb.rho(in.amb.at(0, &place))
	for i, z := range t.zM[:t.first()] {
		rho := in.amb.rho(in.amb.at(z, &place))
		q := (qPrev + t.qM3S[i]) / 2
		if (zPrev+z)/2 > neutralM {
			q -= flow
		}
		sum += (zPrev + z) / 2 * q * (rho - rhoPrev)
		zPrev, qPrev, rhoPrev = z, t.qM3S[i], rho
	}
	return unit.Watts(unit.GravityMPS2 * sum)
}
