package mast

import (
	"math"

	"pondwright/calc/unit"
)

// Edition is the edition of ASCE 7 whose map a wind speed was read from. It
// decides whether the speed is at service or at strength level. The zero value
// means not given.
type Edition int

// The editions whose maps are in use.
const (
	EditionUnknown Edition = iota
	ASCE705                // service-level speeds: full wind load is used
	ASCE710                // strength-level speeds: 0.6 of the wind load is used
	ASCE716
	ASCE722
)

// String names the edition as it is cited.
func (e Edition) String() string {
	switch e {
	case ASCE705:
		return "ASCE 7-05"
	case ASCE710:
		return "ASCE 7-10"
	case ASCE716:
		return "ASCE 7-16"
	case ASCE722:
		return "ASCE 7-22"
	case EditionUnknown:
	}
	return "unknown edition"
}

// Factor reports the share of the wind load that allowable-stress design
// combines: 0.6 for strength-level maps (D + 0.6W and 0.6D + 0.6W, New York City
// building code 1605.3.1), 1 for ASCE 7-05 and, on the safe side, for an unknown
// edition. No increase of allowable stress by one third goes with it: that
// belongs to the alternative combinations of IBC 1605.3.2 alone.
func (e Edition) Factor() float64 {
	switch e {
	case ASCE710, ASCE716, ASCE722:
		return 0.6
	case EditionUnknown, ASCE705:
	}
	return 1
}

// Exposure is the roughness of the ground upwind. The zero value means not
// given.
type Exposure int

// Exposures of ASCE 7: towns and woods, open country, flat and open water.
const (
	ExposureUnknown Exposure = iota
	ExposureB
	ExposureC
	ExposureD
)

// String names the exposure by its letter.
func (e Exposure) String() string {
	switch e {
	case ExposureB:
		return "B"
	case ExposureC:
		return "C"
	case ExposureD:
		return "D"
	case ExposureUnknown:
	}
	return "unknown"
}

// Wind is the wind that a mast is designed for. The zero value has nothing
// given, and every default then shows in the Report.
type Wind struct {
	Speed       unit.MetersPerSecond // basic wind speed of the map, three-second gust at 10 m
	Map         Edition              // the map it was read from
	Exposure    Exposure
	Topographic float64     // factor Kzt of hills and ridges, 1 on flat ground, 1 to 3
	Elevation   unit.Meters // of the ground above sea level, −500 to 5000 m; 0 is safe
}

// Limits of the wind input, and the heights within which the exposure
// coefficient is used here.
const (
	maxSpeedMPS  = 110
	maxHeightM   = 30
	minKzHeightM = 15 * 0.3048
	minKzBM      = 30 * 0.3048
	windSource   = "limits of this package; ASCE 7"
)

// power holds a power law of exposure: coefficient, exponent divisor, gradient
// height in feet.
type power struct{ k, alpha, zgFt float64 }

// exposures holds the constants of ASCE 7-05 to 7-16 and of 7-22 (table 26.11-1,
// both as transcribed in public code).
func exposures(e Edition, x Exposure) power {
	if e == ASCE722 {
		return [...]power{ExposureB: {2.41, 7.5, 3280}, ExposureC: {2.41, 9.8, 2460}, ExposureD: {2.41, 11.5, 1935}}[x]
	}
	return [...]power{ExposureB: {2.01, 7.0, 1200}, ExposureC: {2.01, 9.5, 900}, ExposureD: {2.01, 11.5, 700}}[x]
}

// kz reports the velocity pressure exposure coefficient at a height.
func (p power) kz(zM float64) float64 {
	return p.k * math.Pow(zM/0.3048/p.zgFt, 2/p.alpha)
}

// Coefficients reports the exposure coefficient Kz at a height above ground and
// the ground elevation factor Ke. Kz is held below 15 ft, and below 30 ft in
// exposure B, where a low sheltered mast can stand in a gap. Ke = exp(−0.0000362
// × elevation in feet) is taken with the 2022 edition only; 1 is safe for the
// others. It returns a *unit.RangeError outside 0 to 30 m of height.
func (w Wind) Coefficients(height unit.Meters) (kz, ke float64, err error) {
	if err := w.check(); err != nil {
		return 0, 0, err
	}
	if err := unit.CheckRange("height above ground (m)", float64(height), 0, maxHeightM, windSource); err != nil {
		return 0, 0, err
	}
	if err := unit.CheckRange("exposure (B to D)", float64(w.Exposure), float64(ExposureB), float64(ExposureD), windSource); err != nil {
		return 0, 0, err
	}
	lowest := minKzHeightM
	if w.Exposure == ExposureB {
		lowest = minKzBM
	}
	ke = 1
	if w.Map == ASCE722 {
		ke = math.Exp(-0.0000362 * w.Elevation.Feet())
	}
	return exposures(w.Map, w.Exposure).kz(max(float64(height), lowest)), ke, nil
}

// VelocityPressure reports the wind's pressure at a height, before gust and
// shape: 0.613 Kz Kzt Kd Ke V² in Pa and m/s (ASCE 7, 26.10; the same as 0.00256
// V² in psf and mph). Kd, 0.85, is always in it, though the 2022 edition writes
// it in the next step. Errors are those of Coefficients.
func (w Wind) VelocityPressure(height unit.Meters) (unit.PascalsGauge, error) {
	return w.pressure(height, Rules{}.filled())
}

func (w Wind) pressure(height unit.Meters, r Rules) (unit.PascalsGauge, error) {
	kz, ke, err := w.Coefficients(height)
	if err != nil {
		return 0, err
	}
	v := float64(w.Speed)
	return unit.PascalsGauge(0.613 * kz * w.Topographic * r.Directionality * ke * v * v), nil
}

func (w Wind) check() error {
	for _, in := range []struct {
		name        string
		got, lo, hi float64
	}{
		{"wind speed (m/s)", float64(w.Speed), 0, maxSpeedMPS},
		{"edition of the wind map", float64(w.Map), float64(EditionUnknown), float64(ASCE722)},
		{"topographic factor", w.Topographic, 1, 3},
		{"ground elevation (m)", float64(w.Elevation), -500, 5000},
	} {
		if err := unit.CheckRange(in.name, in.got, in.lo, in.hi, windSource); err != nil {
			return err
		}
	}
	return nil
}
