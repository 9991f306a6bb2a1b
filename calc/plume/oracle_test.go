package plume

import (
	"math"
	"testing"

	"pondwright/calc/unit"
	"pondwright/calc/water"
)

// slowRise is a second, plain implementation of the integral: in axis velocity,
// width and temperature instead of fluxes, by the midpoint rule on a grid even
// in the logarithm of height, from a hair above the source. It ends at endM, or
// where the velocity is used up; these variables run away there, so flows are
// compared a little below.
//
//	(π b² u)' = 2π α b u
//	(π b² u²/2)' = g Qg/(u/(1+λ²)+us) + 2π b² g (ρa − ρp)/ρ0
//	T' = (Ta − T) 2α/b
func slowRise(c column, endM, alpha, lambda, slip float64, around func(zM float64) float64) (zM, q, u, b float64) {
	const steps = 60000
	hM := c.hM
	z := hM * 1e-9
	l := 1 + lambda*lambda
	b = 1.2 * alpha * z
	u = 2 * math.Cbrt(9.8*c.v0M3S/(alpha*alpha*z)) // rough on purpose: the source is soon forgotten
	temp := around(0)
	rate := func(z, u, b, temp float64) (du, db, dt float64) {
		force := unit.GravityMPS2 * c.v0M3S * c.haM / (c.haM + hM - z) / (u/l + slip)
		lighter := water.DensityKgM3(around(z)) - water.DensityKgM3(temp)
		force += 2 * math.Pi * b * b * unit.GravityMPS2 * lighter / c.rho0
		// Both products written out and solved for u' and b'.
		du = 2*force/(math.Pi*b*b*u) - 2*alpha*u/b
		db = (2*math.Pi*alpha*b*u - math.Pi*b*b*du) / (2 * math.Pi * b * u)
		return du, db, (around(z) - temp) * 2 * alpha / b
	}
	growth := math.Pow(endM/z, 1/float64(steps))
	for range steps {
		dz := z * (growth - 1)
		du, db, dt := rate(z, u, b, temp)
		if u+du*dz <= 0.02*math.Cbrt(9.8*c.v0M3S) {
			break
		}
		du, db, dt = rate(z+dz/2, u+du*dz/2, b+db*dz/2, temp+dt*dz/2)
		z, u, b, temp = z+dz, u+du*dz, b+db*dz, temp+dt*dz
	}
	return z, math.Pi * b * b * u, u, b
}

func TestRise_AgreesWithASlowSecondImplementation(t *testing.T) {
	t.Parallel()
	for _, scfm := range []float64{0.2, 1, 4} {
		for _, hM := range []float64{1.5, 4.3, 8} {
			c, err := newColumn(unit.SCFM(scfm), unit.Meters(hM), seaLevel)
			if err != nil {
				t.Fatal(err)
			}
			trace := newIntegral(c, Coefficients{}.orDefault()).run(0)
			_, q, u, b := slowRise(c, hM, 0.055, 0.8, 0.25, func(float64) float64 { return 20 })
			top := trace.Plumes[0]
			near(t, "flow", float64(top.Flow), q, 1e-4*q)
			near(t, "velocity", float64(top.Velocity), u, 1e-4*u)
			near(t, "width", float64(top.Width), b, 1e-4*b)
		}
	}
}

func TestRise_AgreesWithASlowSecondImplementationInLayers(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ scfm, hM, topC, bottomC float64 }{{0.2, 4.3, 25, 15}, {1, 4.3, 25, 15}, {1, 8, 28, 10}, {4, 8, 28, 10}} {
		site := Site{Pressure: unit.StandardPressure, Profile: profile(t, 0, c.topC, c.hM, c.bottomC)}
		col, err := newColumn(unit.SCFM(c.scfm), unit.Meters(c.hM), site)
		if err != nil {
			t.Fatal(err)
		}
		trace := rise(t, unit.SCFM(c.scfm), c.hM, site, Model{})
		around := func(zM float64) float64 { return c.bottomC + (c.topC-c.bottomC)*zM/c.hM }
		top, _, _, _ := slowRise(col, c.hM, 0.055, 0.8, 0.25, around)
		near(t, "top", float64(trace.Plumes[0].Top), top, 0.03)
		for _, share := range []float64{0.3, 0.6, 0.9} {
			z, q, _, _ := slowRise(col, share*top, 0.055, 0.8, 0.25, around)
			near(t, "flow", float64(trace.FlowAt(unit.Meters(z))), q, 1e-3*q)
		}
	}
}
