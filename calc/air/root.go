package air

import "math"

// root finds where f, of different sign at a and b, crosses zero by Brent's
// method (Brent, Algorithms for Minimization without Derivatives, 1973), down to
// the last bits of x or the limit of turns, whichever is first. It is
// deterministic, needs no starting guess and never leaves [a, b].
func root(a, b float64, f func(float64) float64) float64 {
	fa, fb := f(a), f(b)
	if fa == 0 {
		return a
	}
	if fb == 0 || (fa > 0) == (fb > 0) {
		return b
	}
	c, fc := a, fa
	d := b - a
	e := d
	for range 200 {
		if (fb > 0) == (fc > 0) {
			c, fc, d = a, fa, b-a
			e = d
		}
		if math.Abs(fc) < math.Abs(fb) {
			a, b, c = b, c, b
			fa, fb, fc = fb, fc, fb
		}
		tol := 4e-16 * math.Abs(b)
		m := (c - b) / 2
		if math.Abs(m) <= tol || fb == 0 {
			return b
		}
		d, e = brentStep(a, b, c, fa, fb, fc, d, e, m, tol)
		a, fa = b, fb
		if math.Abs(d) > tol {
			b += d
		} else {
			b += math.Copysign(tol, m)
		}
		fb = f(b)
	}
	return b
}

// brentStep chooses between interpolation and bisection.
func brentStep(a, b, c, fa, fb, fc, d, e, m, tol float64) (step, last float64) {
	if math.Abs(e) < tol || math.Abs(fa) <= math.Abs(fb) {
		return m, m
	}
	s := fb / fa
	var p, q float64
	if a == c {
		p, q = 2*m*s, 1-s
	} else {
		q, r := fa/fc, fb/fc
		p = s * (2*m*q*(q-r) - (b-a)*(r-1))
		return accept(p, (q-1)*(r-1)*(s-1), d, e, m, tol)
	}
	return accept(p, q, d, e, m, tol)
}

func accept(p, q, d, e, m, tol float64) (step, last float64) {
	if p > 0 {
		q = -q
	} else {
		p = -p
	}
	if 2*p < math.Min(3*m*q-math.Abs(tol*q), math.Abs(e*q)) {
		return p / q, d
	}
	return m, m
}
