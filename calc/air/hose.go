package air

import (
	"errors"
	"math"

	"pondwright/calc/unit"
)

// ErrChoked says that the air would reach the speed of an isothermal choke
// (Mach 1/sqrt γ) inside a hose: no steady flow has these ends.
var ErrChoked = errors.New("air chokes in the hose")

// Hose is a length of pipe of one bore.
type Hose struct {
	Length unit.Meters // above 0, up to 5000 m
	Bore   unit.Meters // the inside diameter itself, 2 to 200 mm; see Bores
	// Roughness of the wall; the zero value means smooth plastic, 1.5 µm.
	Roughness unit.Meters
	// K is the sum of the loss factors of fittings on the bore's velocity head.
	K float64
	// Air temperature; the zero value means 20 °C. Under water the air takes the
	// water's temperature within tens of feet.
	Air unit.Kelvin
}

func (h Hose) check() error {
	const src = "hose of ponds"
	if err := unit.CheckRange("hose length (m)", float64(h.Length), 1e-3, 5000, src); err != nil {
		return err
	}
	if err := unit.CheckRange("hose bore (m)", float64(h.Bore), 0.002, 0.2, src); err != nil {
		return err
	}
	if err := unit.CheckRange("hose roughness (m)", float64(h.Roughness), 0, 0.05*float64(h.Bore), "Churchill 1977: up to 5 % of the bore"); err != nil {
		return err
	}
	if err := unit.CheckRange("loss factor of fittings", h.K, 0, 1e4, src); err != nil {
		return err
	}
	return unit.CheckRange("air temperature in hose (K)", h.airK(), 230, 450, "Sutherland's formula")
}

func (h Hose) airK() float64 {
	if h.Air == 0 {
		return float64(unit.StandardTemperature)
	}
	return float64(h.Air)
}

// pipe is a checked hose, unpacked, with what does not change with flow.
type pipe struct {
	rt          float64 // R T, J/kg
	areaM2      float64
	lOverD, k   float64
	relRough    float64
	reynoldsPer float64 // Reynolds number per kg/s
}

func (h Hose) pipe() pipe {
	boreM := float64(h.Bore)
	rough := float64(h.Roughness)
	if rough == 0 {
		rough = defaultRoughnessM
	}
	tK := h.airK()
	return pipe{
		rt: gasJPerKgK * tK, areaM2: math.Pi / 4 * boreM * boreM,
		lOverD: float64(h.Length) / boreM, k: h.K, relRough: rough / boreM,
		reynoldsPer: 4 / (math.Pi * boreM * Viscosity(unit.Kelvin(tK))),
	}
}

// Friction reports the Darcy friction factor at a Reynolds number and relative
// roughness by Churchill (Chemical Engineering, Nov 1977): one formula,
// continuous from laminar flow through transition to turbulence. At Re ≤ 0 it
// is +Inf.
func Friction(reynolds, relRoughness float64) float64 {
	if !(reynolds > 0) {
		return math.Inf(1)
	}
	if reynolds < 100 { // the other terms are below the last bit
		return 64 / reynolds
	}
	a := 2.457 * -math.Log(math.Pow(7/reynolds, 0.9)+0.27*math.Max(0, relRoughness))
	a16 := pow16(a)
	b16 := pow16(37530 / reynolds)
	l := 8 / reynolds
	l4 := l * l * l * l
	s := a16 + b16
	return 8 * math.Pow(l4*l4*l4+1/(s*math.Sqrt(s)), 1.0/12)
}

func pow16(x float64) float64 {
	x *= x
	x *= x
	x *= x
	return x * x
}

// residual is p2² − p1² + (m/A)² R T [f L/D + K + 2 ln(p1/p2)]: zero for the
// flow m between p1 and p2, increasing in m and p2 and decreasing in p1 as long
// as the air is slower than the choke.
func (p pipe) residual(mKgS, p1, p2 float64) float64 {
	g := mKgS / p.areaM2
	re := mKgS * p.reynoldsPer
	if re < 100 { // f m is a constant here, and f alone has no value at rest
		wall := 64 / p.reynoldsPer / p.areaM2 * p.lOverD
		return p2*p2 - p1*p1 + g*p.rt*(wall+g*(p.k+2*math.Log(p1/p2)))
	}
	return isothermal(g*g*p.rt, Friction(re, p.relRough)*p.lOverD+p.k, p1, p2)
}

func isothermal(g2rt, loss, p1, p2 float64) float64 {
	return p2*p2 - p1*p1 + g2rt*(loss+2*math.Log(p1/p2))
}

// chokePa is the pressure below which m would run faster than the choke.
func (p pipe) chokePa(mKgS float64) float64 { return mKgS / p.areaM2 * math.Sqrt(p.rt) }

// upstream solves for p1.
func (p pipe) upstream(mKgS, p2 float64) (float64, error) {
	if mKgS == 0 {
		return p2, nil
	}
	if p2 <= p.chokePa(mKgS) {
		return 0, ErrChoked
	}
	hi := 2 * p2
	for p.residual(mKgS, hi, p2) > 0 {
		hi *= 2
		if math.IsInf(hi*hi, 1) {
			return 0, ErrChoked
		}
	}
	return root(p2, hi, func(p1 float64) float64 { return p.residual(mKgS, p1, p2) }), nil
}

// downstream solves for p2.
func (p pipe) downstream(mKgS, p1 float64) (float64, error) {
	if mKgS == 0 {
		return p1, nil
	}
	lo := p.chokePa(mKgS)
	if p1 <= lo || p.residual(mKgS, p1, lo) > 0 {
		return 0, ErrChoked
	}
	return root(lo, p1, func(p2 float64) float64 { return p.residual(mKgS, p1, p2) }), nil
}

// flow solves for m between p1 and an end pressure that may rise with the flow.
func (p pipe) flow(p1 float64, end func(mKgS float64) float64) float64 {
	hi := p1 * p.areaM2 / math.Sqrt(p.rt)
	return root(0, hi, func(m float64) float64 { return p.residual(m, p1, end(m)) })
}

// Upstream reports the pressure needed at the head of the hose to bring flow m
// to its end at p2. The general isothermal equation
//
//	p1² − p2² = (m/A)² R T [f L/D + K + 2 ln(p1/p2)]
//
// is solved by a bracketed root; the hose is taken as level (air's own weight is
// some 0.1 psi in 150 ft). It returns ErrChoked or a *unit.RangeError.
func (h Hose) Upstream(m unit.KilogramsPerSecond, p2 unit.Pascals) (unit.Pascals, error) {
	if err := h.checkFlow(m, p2); err != nil {
		return 0, err
	}
	p1, err := h.pipe().upstream(float64(m), float64(p2))
	return unit.Pascals(p1), err
}

// Downstream reports the pressure left at the end of the hose when flow m enters
// at p1. See Upstream.
func (h Hose) Downstream(m unit.KilogramsPerSecond, p1 unit.Pascals) (unit.Pascals, error) {
	if err := h.checkFlow(m, p1); err != nil {
		return 0, err
	}
	p2, err := h.pipe().downstream(float64(m), float64(p1))
	return unit.Pascals(p2), err
}

// Flow reports the air that runs from p1 to p2, zero where p1 is not above p2.
// See Upstream.
func (h Hose) Flow(p1, p2 unit.Pascals) (unit.KilogramsPerSecond, error) {
	if err := h.checkFlow(0, p1); err != nil {
		return 0, err
	}
	if err := h.checkFlow(0, p2); err != nil {
		return 0, err
	}
	if p1 <= p2 {
		return 0, nil
	}
	p := h.pipe()
	m := p.flow(float64(p1), func(float64) float64 { return float64(p2) })
	if float64(p2) <= p.chokePa(m) {
		return 0, ErrChoked
	}
	return unit.KilogramsPerSecond(m), nil
}

func (h Hose) checkFlow(m unit.KilogramsPerSecond, p unit.Pascals) error {
	if err := h.check(); err != nil {
		return err
	}
	if err := unit.CheckRange("air flow (kg/s)", float64(m), 0, 1e3, "flow in hoses and mains"); err != nil {
		return err
	}
	return unit.CheckRange("pressure (Pa)", float64(p), 1e3, 1e7, "ideal gas at moderate pressure")
}
