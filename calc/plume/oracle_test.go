package plume

import (
	"math"
	"testing"

	"pondwright/calc/unit"
)

// slowRise is a second, plain implementation of the unstratified integral: in
// axis velocity and width instead of fluxes, by the midpoint rule on a grid
// even in the logarithm of height, from a hair above the source.
//
//	d(π b² u)/dz = 2π α b u          →  b' , u' solved from the two products
//	d(π b² u²/2)/dz = g Qg/(u/(1+λ²)+us)
func slowRise(v0, haM, hM, alpha, lambda, slip float64) (q, u, b float64) {
	const steps = 40000
	z := hM * 1e-9
	l := 1 + lambda*lambda
	b = 1.2 * alpha * z
	u = 2 * math.Cbrt(9.8*v0/(alpha*alpha*z)) // rough on purpose: the source is soon forgotten
	rate := func(z, u, b float64) (du, db float64) {
		force := unit.GravityMPS2 * v0 * haM / (haM + hM - z) / (u/l + slip)
		// π b² u u' + π b b' u² = force, and π b² u' + 2π b b' u = 2π α b u
		du = 2*force/(math.Pi*b*b*u) - 2*alpha*u/b
		db = (2*math.Pi*alpha*b*u - math.Pi*b*b*du) / (2 * math.Pi * b * u)
		return du, db
	}
	growth := math.Pow(hM/z, 1/float64(steps))
	for range steps {
		dz := z * (growth - 1)
		du, db := rate(z, u, b)
		du, db = rate(z+dz/2, u+du*dz/2, b+db*dz/2)
		z, u, b = z+dz, u+du*dz, b+db*dz
	}
	return math.Pi * b * b * u, u, b
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
			q, u, b := slowRise(c.v0M3S, c.haM, hM, 0.055, 0.8, 0.25)
			top := trace.Plumes[0]
			near(t, "flow", float64(top.Flow), q, 1e-4*q)
			near(t, "velocity", float64(top.Velocity), u, 1e-4*u)
			near(t, "width", float64(top.Width), b, 1e-4*b)
		}
	}
}
