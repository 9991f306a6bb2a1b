package water

import (
	"errors"

	"pondwright/calc/unit"
)

// Level is one row of a pond's curve: the area of water at a depth.
type Level struct {
	Depth unit.Meters
	Area  unit.SquareMeters
}

// Hypsograph is a pond's area against depth below the water surface, linear
// between rows; volume is its exact integral, so rows of a quarter of a meter or
// closer follow a real bed well. Make one with NewHypsograph.
type Hypsograph struct {
	depthsM []float64
	areasM2 []float64
	belowM3 []float64 // volume below each row
}

// Errors of a curve that cannot be used.
var (
	ErrTooFewLevels = errors.New("a curve needs at least two rows, the first at depth zero")
	ErrNoWater      = errors.New("the curve holds no water")
)

// NewHypsograph checks the rows of a curve: depth from zero and rising to at
// most 100 m, area not rising, at most 1000 km². It returns ErrTooFewLevels,
// ErrNoWater or a *unit.RangeError.
func NewHypsograph(levels []Level) (Hypsograph, error) {
	if len(levels) < 2 || levels[0].Depth != 0 {
		return Hypsograph{}, ErrTooFewLevels
	}
	const src = "area falls with depth"
	var h Hypsograph
	lastD, lastA := -1.0, 1e9
	for i, l := range levels {
		lowest := 0.0
		if i > 0 {
			lowest = lastD + 1e-6
		}
		if err := unit.CheckRange("depth of curve row (m)", float64(l.Depth), lowest, 100, src); err != nil {
			return Hypsograph{}, err
		}
		if err := unit.CheckRange("area of curve row (m²)", float64(l.Area), 0, lastA, src); err != nil {
			return Hypsograph{}, err
		}
		lastD, lastA = float64(l.Depth), float64(l.Area)
		h.depthsM = append(h.depthsM, lastD)
		h.areasM2 = append(h.areasM2, lastA)
	}
	h.belowM3 = make([]float64, len(levels))
	for i := len(levels) - 2; i >= 0; i-- {
		h.belowM3[i] = h.belowM3[i+1] + (h.depthsM[i+1]-h.depthsM[i])*(h.areasM2[i]+h.areasM2[i+1])/2
	}
	if !(h.belowM3[0] > 0) {
		return Hypsograph{}, ErrNoWater
	}
	return h, nil
}

// IsZero reports whether h was not made by NewHypsograph.
func (h Hypsograph) IsZero() bool { return len(h.depthsM) == 0 }

// Depth reports the depth of the last row.
func (h Hypsograph) Depth() unit.Meters {
	if h.IsZero() {
		return 0
	}
	return unit.Meters(h.depthsM[len(h.depthsM)-1])
}

// Area reports the area of water at a depth, zero below the last row.
func (h Hypsograph) Area(d unit.Meters) unit.SquareMeters {
	if h.IsZero() || d > h.Depth() {
		return 0
	}
	return unit.SquareMeters(interpolate(h.depthsM, h.areasM2, float64(d)))
}

// Volume reports all the water.
func (h Hypsograph) Volume() unit.CubicMeters { return h.Below(0) }

// Below reports the volume of water below a depth.
func (h Hypsograph) Below(d unit.Meters) unit.CubicMeters {
	if h.IsZero() {
		return 0
	}
	x := float64(d)
	for i := 1; i < len(h.depthsM); i++ {
		if x < h.depthsM[i] {
			x = max(x, h.depthsM[i-1])
			a := interpolate(h.depthsM, h.areasM2, x)
			return unit.CubicMeters(h.belowM3[i] + (h.depthsM[i]-x)*(a+h.areasM2[i])/2)
		}
	}
	return 0
}

// Between reports the volume of water between two depths.
func (h Hypsograph) Between(top, bottom unit.Meters) unit.CubicMeters {
	return max(0, h.Below(top)-h.Below(bottom))
}

// cuts merges the rows of h strictly between two depths with others, sorted, and
// with the ends: the places between which area and the others are straight.
func (h Hypsograph) cuts(topM, bottomM float64, othersM []float64) []float64 {
	out := []float64{topM}
	i, j := 0, 0
	for i < len(h.depthsM) || j < len(othersM) {
		var next float64
		if j >= len(othersM) || i < len(h.depthsM) && h.depthsM[i] <= othersM[j] {
			next = h.depthsM[i]
			i++
		} else {
			next = othersM[j]
			j++
		}
		if next > out[len(out)-1] && next < bottomM {
			out = append(out, next)
		}
	}
	return append(out, bottomM)
}

// mean is the volume-weighted mean of a broken line over a layer of the pond;
// Simpson's rule is exact for its product with area. It is the line's value at
// the top where the layer holds no water.
func (h Hypsograph) mean(topM, bottomM float64, xs, ys []float64) float64 {
	var sum, volume float64
	cuts := h.cuts(topM, bottomM, xs)
	for i := 1; i < len(cuts); i++ {
		d0, d1 := cuts[i-1], cuts[i]
		a0, a1 := float64(h.Area(unit.Meters(d0))), float64(h.Area(unit.Meters(d1)))
		y0, y1 := interpolate(xs, ys, d0), interpolate(xs, ys, d1)
		sum += (d1 - d0) / 6 * (a0*y0 + (a0+a1)*(y0+y1) + a1*y1)
		volume += (d1 - d0) / 2 * (a0 + a1)
	}
	if !(volume > 0) {
		return interpolate(xs, ys, topM)
	}
	return sum / volume
}
