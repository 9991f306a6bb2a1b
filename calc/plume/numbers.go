package plume

import (
	"math"

	"pondwright/calc/unit"
)

// Numbers are the dimensionless numbers and heights of a plume in water whose
// density falls evenly with height.
type Numbers struct {
	// Stratification is C_N = N³ H⁴/(g Q), Q the gas at the diffuser. Below some
	// 500 there is one surface intrusion, above some 1e5 the plume peels all the
	// way (from memory: Asaeda & Imberger, J. Fluid Mech. 249, 1993).
	Stratification float64
	// Source is M_N = g Q/(4π α² us³ H) with α 0.083 and H the water above the
	// diffuser. SourceTotalHead is the same over H and atmospheric head together
	// and with us(1+λ²) for us, λ 0.3, as open lake models print it: state which
	// one a published limit belongs to.
	Source, SourceTotalHead float64
	// Slip is U_N = us/(B N)^¼ (Socolofsky & Adams, J. Hydraul. Eng. 131, 2005);
	// PeelHeight and TrapHeight, above the diffuser, are where water first peels
	// and where the lowest intrusion settles, and Spread the ratio λ of core to
	// plume width, all from the same source.
	Slip       float64
	PeelHeight unit.Meters
	TrapHeight unit.Meters
	Spread     float64
}

// NumbersOf reports the numbers of a plume at a site in water of buoyancy
// frequency n, up to 1 per second; bubbles slip at the given speed, 0.01 to 2
// m/s. Air must be above zero. In water without layers, n = 0, heights are +Inf
// and Slip is +Inf.
func NumbersOf(air unit.StdCubicMetersPerSecond, submergence unit.Meters, site Site, n unit.PerSecond, slip unit.MetersPerSecond) (Numbers, error) {
	c, err := newColumn(air, submergence, site)
	if err != nil {
		return Numbers{}, err
	}
	for _, r := range []struct {
		name        string
		got, lo, hi float64
	}{
		{"air (std m³/s)", float64(air), 1e-9, maxAirM3S},
		{"buoyancy frequency (1/s)", float64(n), 0, 1},
		{"bubble slip (m/s)", float64(slip), 0.01, 2},
	} {
		if err := unit.CheckRange(r.name, r.got, r.lo, r.hi, rangeSource); err != nil {
			return Numbers{}, err
		}
	}
	gasM3S := c.v0M3S * c.haM / (c.haM + c.hM)
	b := unit.GravityMPS2 * gasM3S
	out := heights(b, float64(n), float64(slip))
	source := func(speedMPS, headM float64) float64 {
		const a = plumeNumberAlpha
		return b / (4 * math.Pi * a * a * math.Pow(speedMPS, 3) * headM)
	}
	out.Stratification = math.Pow(float64(n), 3) * math.Pow(c.hM, 4) / b
	out.Source = source(float64(slip), c.hM)
	// With speed us(1+λ²) and the (1+λ²) that stands above it.
	const l = 1 + 0.3*0.3
	out.SourceTotalHead = l * source(float64(slip)*l, c.hM+c.haM)
	return out, nil
}

// heights are the correlations of Socolofsky & Adams for buoyancy flux b.
func heights(b, n, slip float64) Numbers {
	if n == 0 {
		return Numbers{Slip: math.Inf(1), PeelHeight: unit.Meters(math.Inf(1)), TrapHeight: unit.Meters(math.Inf(1))}
	}
	u := slip / math.Pow(b*n, 0.25)
	l := math.Pow(b/(n*n*n), 0.25)
	return Numbers{
		Slip:       u,
		PeelHeight: unit.Meters(5.2 * math.Exp(-(u-1.8)*(u-1.8)/10.24) * l),
		TrapHeight: unit.Meters(2.9 * math.Exp(-(u-1.0)*(u-1.0)/28.09) * l),
		Spread:     math.Max(0, 1-0.19*math.Pow(u, 0.61)),
	}
}

// SlipVelocity reports how fast a bubble of a diameter rises through still
// water, as fitted in Wüest, Brooks & Imboden (1992) and coded in open lake
// models: 1189 r^1.1945 up to r = 0.75 mm, 0.22 to 4.8 mm, 2.995 r^0.489 above,
// r in meters. Diameter from 0.1 to 50 mm, else a *unit.RangeError.
func SlipVelocity(diameter unit.Meters) (unit.MetersPerSecond, error) {
	if err := unit.CheckRange("bubble diameter (m)", float64(diameter), 1e-4, 0.05, "Wüest et al. 1992"); err != nil {
		return 0, err
	}
	r := float64(diameter) / 2
	switch {
	case r <= 0.75e-3:
		return unit.MetersPerSecond(1189 * math.Pow(r, 1.1945)), nil
	case r <= 4.8e-3:
		return 0.22, nil
	}
	return unit.MetersPerSecond(2.995 * math.Pow(r, 0.489)), nil
}

// Curtain is what a line of bubbles does to the surface.
type Curtain struct {
	Surface   unit.MetersPerSecond // speed away from the line
	Thickness unit.Meters          // of the layer that moves
}

// CurtainOf reports the surface current of a bubbling hose of a length, which
// must be much longer than the water is deep,
//
//	V = 1.46 (g q0)^⅓ (1 + H/Ha)^−⅓,  thickness 0.32 Ha ln(1 + H/Ha)
//
// q0 the air per length (from memory: Bulson, Dock & Harbor Authority, 1961).
func CurtainOf(air unit.StdCubicMetersPerSecond, length, submergence unit.Meters, site Site) (Curtain, error) {
	c, err := newColumn(air, submergence, site)
	if err != nil {
		return Curtain{}, err
	}
	if err := unit.CheckRange("hose length (m)", float64(length), float64(submergence), 1e4, "a line is longer than the water is deep"); err != nil {
		return Curtain{}, err
	}
	q0 := c.v0M3S / float64(length)
	rise := 1 + c.hM/c.haM
	return Curtain{
		Surface:   unit.MetersPerSecond(curtainSpeed * math.Cbrt(unit.GravityMPS2*q0/rise)),
		Thickness: unit.Meters(curtainDepth * c.haM * math.Log(rise)),
	}, nil
}
