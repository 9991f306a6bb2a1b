package mast

import (
	"math"

	"pondwright/calc/unit"
)

const (
	// capFt: depth beyond which lateral pressure grows no further in the formula
	// of IBC 1807.3.2.1. It limits the pressure, not the depth that results.
	pressureCapM = 12 * 0.3048
	// growthCapM: bearing grows with depth up to 15 times the table's value (IBC
	// 1806.3.3), that is to 15 ft.
	growthCapM = 15 * 0.3048
)

// post is a footing in soil, unpacked for the formulas.
type post struct {
	widthM     float64 // diameter, or diagonal of a square
	armM       float64 // height of the load above the ground that counts
	bearingPaM float64 // lateral bearing per meter of depth
	held       bool    // by a slab at grade
}

// capacityN reports the lateral force that an embedment holds. In soil it is
// IBC 1807.3.2.1 solved for the force: with d = ½A{1 + √(1 + 4.36h/A)} and A =
// 2.34P/(S1·b), A = d²/(d + 1.09h) and P = A·S1·b/2.34, S1 being the bearing at
// a third of the depth. Held at grade by a slab it is IBC 1807.3.2.2, d² =
// 4.25Ph/(S3·b), S3 being the bearing at the full depth.
func (p post) capacityN(depthM float64) float64 {
	if depthM <= 0 {
		return 0
	}
	if p.held {
		return depthM * depthM * p.bearingPaM * min(depthM, growthCapM) * p.widthM / (4.25 * p.armM)
	}
	s1 := p.bearingPaM * min(depthM, pressureCapM) / 3
	a := depthM * depthM / (depthM + 1.09*p.armM)
	return a * s1 * p.widthM / 2.34
}

// depthM reports the least embedment that holds a lateral force. Capacity grows
// with depth, so the bracket closes from both sides; the upper end is returned,
// which holds the force.
func (p post) depthM(forceN float64) float64 {
	if forceN <= 0 {
		return 0
	}
	lo, hi := 0.0, 1.0
	for p.capacityN(hi) < forceN {
		lo, hi = hi, 2*hi
	}
	for {
		mid := lo + (hi-lo)/2
		if mid <= lo || mid >= hi {
			return hi
		}
		if p.capacityN(mid) < forceN {
			lo = mid
		} else {
			hi = mid
		}
	}
}

// LateralCapacity reports the lateral force, acting at a height above grade,
// that a footing of its depth holds in the ground. arm is 0.01 to 30 m. It
// returns ErrNoBearing or a *unit.RangeError as the parts do.
func LateralCapacity(f Footing, g Ground, arm unit.Meters) (unit.Newtons, error) {
	r := Rules{}.filled()
	if err := f.check(); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("height of the load above grade (m)", float64(arm), 0.01, maxHeightM, windSource); err != nil {
		return 0, err
	}
	p, err := newPost(f, g, arm, r)
	if err != nil {
		return 0, err
	}
	return unit.Newtons(p.capacityN(float64(f.Depth - g.Uncount))), nil
}

// newPost sets up the formulas for a load at a height above grade.
func newPost(f Footing, g Ground, arm unit.Meters, r Rules) (post, error) {
	if err := unit.CheckRange("soil not counted (m)", float64(g.Uncount), 0, 3, windSource); err != nil {
		return post{}, err
	}
	s, err := g.lateral(r)
	if err != nil {
		return post{}, err
	}
	return post{
		widthM:     f.bearingWidthM(),
		armM:       float64(arm + g.Uncount),
		bearingPaM: float64(s),
		held:       g.Slab,
	}, nil
}

// bearingWidthM reports the width that bears on the soil.
func (f Footing) bearingWidthM() float64 {
	if f.Square {
		return float64(f.Width) * math.Sqrt2
	}
	return float64(f.Width)
}
