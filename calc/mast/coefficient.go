package mast

import (
	"github.com/golang/geo/s1"

	"pondwright/calc/unit"
)

// half is a pair of net pressure coefficients on the windward and the leeward
// half of the panel.
type half struct{ windward, leeward float64 }

func (h half) mean() float64 { return (h.windward + h.leeward) / 2 }

// monoslope holds net pressure coefficients of a monoslope free roof, clear
// flow below, 0.25 ≤ h/L ≤ 1 (ASCE 7-22, figure 27.3-4, also Bangladesh National
// Building Code figure 6.2.18(a); both seen in copies that agree). Face
// is wind onto the panels' front, back is wind from behind. One copy prints −0.3
// for the leeward half of back A at 15° and −0.6 for that of back B at 30°; the
// other readings are used, the first being a misprint.
var monoslope = []struct {
	tiltDeg      float64
	faceA, faceB half
	backA, backB half
}{
	{7.5, half{0.9, 1.5}, half{1.6, 0.3}, half{-0.6, -1.0}, half{-1.4, 0.0}},
	{15, half{1.3, 1.6}, half{1.8, 0.6}, half{-0.9, -1.3}, half{-1.9, 0.0}},
	{22.5, half{1.7, 1.8}, half{2.2, 0.7}, half{-1.5, -1.6}, half{-2.4, -0.3}},
	{30, half{2.1, 2.1}, half{2.6, 1.0}, half{-1.8, -1.8}, half{-2.5, -0.5}},
	{37.5, half{2.1, 2.2}, half{2.7, 1.1}, half{-1.8, -1.8}, half{-2.4, -0.6}},
	{45, half{2.2, 2.5}, half{2.6, 1.4}, half{-1.6, -1.8}, half{-2.3, -0.7}},
}

const monoslopeSource = "ASCE 7-22, figure 27.3-4, monoslope free roof"

// Coefficients are net pressure coefficients at one tilt, all as positive
// numbers.
type Coefficients struct {
	Push   float64 // mean over the panel, wind onto the face
	Uplift float64 // mean over the panel, wind from behind
	Twist  float64 // greatest difference of the two halves, for the clamps
	Beyond bool    // the tilt is steeper than the figure covers: the values at 45° are held
}

// checkTilt returns a *unit.RangeError that names the true limits; a tilt at one
// of them may have lost a hair on its way through radians.
func checkTilt(deg float64) error {
	const slack = 1e-9
	if deg >= monoslope[0].tiltDeg-slack && deg <= 90+slack {
		return nil
	}
	return unit.CheckRange("tilt from horizontal (°)", deg, monoslope[0].tiltDeg, 90, monoslopeSource)
}

// NetCoefficients reports the net pressure coefficients at a tilt from
// horizontal, linear between the rows of the figure. Push and Uplift are the
// greater mean of its two load cases, Twist belongs to the uneven one. Beyond
// 45°, where the figure ends, push stays at 2.35: more than the 1.8 of an
// upright sign (Bangladesh National Building Code, figure 6.2.20). It returns a
// *unit.RangeError outside 7.5 to 90°.
func NetCoefficients(tilt s1.Angle) (Coefficients, error) {
	deg := tilt.Degrees()
	if err := checkTilt(deg); err != nil {
		return Coefficients{}, err
	}
	last := len(monoslope) - 1
	c := Coefficients{Beyond: deg > monoslope[last].tiltDeg+1e-9}
	deg = min(max(deg, monoslope[0].tiltDeg), monoslope[last].tiltDeg)
	i := 1
	for i < last && deg > monoslope[i].tiltDeg {
		i++
	}
	lo, hi := monoslope[i-1], monoslope[i]
	share := (deg - lo.tiltDeg) / (hi.tiltDeg - lo.tiltDeg)
	mix := func(a, b half) half {
		return half{a.windward + share*(b.windward-a.windward), a.leeward + share*(b.leeward-a.leeward)}
	}
	faceA, faceB := mix(lo.faceA, hi.faceA), mix(lo.faceB, hi.faceB)
	backA, backB := mix(lo.backA, hi.backA), mix(lo.backB, hi.backB)
	c.Push = max(faceA.mean(), faceB.mean())
	c.Uplift = max(-backA.mean(), -backB.mean())
	c.Twist = max(faceB.windward-faceB.leeward, backB.leeward-backB.windward)
	return c, nil
}
