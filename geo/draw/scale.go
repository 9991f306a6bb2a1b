package draw

import "math"

// The depth scale runs from dry sand to plum in even steps of lightness, so that
// it stays readable printed in grey and to eyes that confuse red and green:
// lightness alone tells deep from shallow.
var (
	shallow = oklab{l: 0.93, a: 0.005, b: 0.045}
	deep    = oklab{l: 0.30, a: 0.085, b: -0.045}
)

// oklab is a color in a space where equal steps look equal (Ottosson, "A
// perceptual color space for image processing", 2020).
type oklab struct{ l, a, b float64 }

// depthColor returns the color at share t of the scale, 0 shallow to 1 deep.
func depthColor(t float64) oklab {
	t = min(1, max(0, t))
	return oklab{
		l: shallow.l + t*(deep.l-shallow.l),
		a: shallow.a + t*(deep.a-shallow.a),
		b: shallow.b + t*(deep.b-shallow.b),
	}
}

// color returns the color in sRGB.
func (c oklab) color() Color {
	l := cube(c.l + 0.3963377774*c.a + 0.2158037573*c.b)
	m := cube(c.l - 0.1055613458*c.a - 0.0638541728*c.b)
	s := cube(c.l - 0.0894841775*c.a - 1.2914855480*c.b)
	return 0xff000000 |
		srgb(4.0767416621*l-3.3077115913*m+0.2309699292*s)<<16 |
		srgb(-1.2684380046*l+2.6097574011*m-0.3413193965*s)<<8 |
		srgb(-0.0041960863*l-0.7034186147*m+1.7076147010*s)
}

func cube(v float64) float64 { return v * v * v }

// srgb encodes a linear component (IEC 61966-2-1).
func srgb(v float64) Color {
	if v <= 0.0031308 {
		v *= 12.92
	} else {
		v = 1.055*math.Pow(v, 1/2.4) - 0.055
	}
	return Color(math.Round(255 * min(1, max(0, v))))
}

// Depth returns the color of water at share t of the greatest depth, 0 at the shore
// to 1, and the ink that reads on it.
func Depth(t float64) (water, ink Color) {
	c := depthColor(t)
	if c.l > 0.62 {
		return c.color(), Ink
	}
	return c.color(), 0xfffbf7ee
}
