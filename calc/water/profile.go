package water

import (
	"errors"
	"math"
	"sort"

	"pondwright/calc/unit"
)

// Reading is one station of a profile.
type Reading struct {
	Depth       unit.Meters // below the water surface of that day
	Temperature unit.Kelvin
	Oxygen      unit.MilligramsPerLiter
	NoOxygen    bool // oxygen was not measured; Oxygen is then ignored
}

// Profile is temperature, and perhaps oxygen, against depth at the deepest
// point. Between readings it is linear; above the first and below the last it
// holds their values. The zero value is no profile.
type Profile struct {
	depthsM   []float64
	tempsC    []float64
	oxygenMgL []float64 // nil unless every reading has oxygen
}

// Errors of a profile or hypsograph that cannot be used.
var (
	ErrTooFewReadings = errors.New("a profile needs at least two readings")
	ErrDepthsRepeat   = errors.New("two readings have the same depth")
)

// NewProfile sorts readings by depth and checks them: depths from 0 to 100 m
// and different, temperatures from 0 to 40 °C, oxygen from 0 to 30 mg/L. It
// returns a *unit.RangeError, ErrTooFewReadings or ErrDepthsRepeat.
func NewProfile(readings []Reading) (Profile, error) {
	if len(readings) < 2 {
		return Profile{}, ErrTooFewReadings
	}
	rs := append([]Reading(nil), readings...)
	sort.SliceStable(rs, func(i, j int) bool { return rs[i].Depth < rs[j].Depth })
	var p Profile
	oxygen := true
	for i, r := range rs {
		if err := checkReading(r); err != nil {
			return Profile{}, err
		}
		if i > 0 && r.Depth == rs[i-1].Depth {
			return Profile{}, ErrDepthsRepeat
		}
		p.depthsM = append(p.depthsM, float64(r.Depth))
		p.tempsC = append(p.tempsC, r.Temperature.Celsius())
		p.oxygenMgL = append(p.oxygenMgL, float64(r.Oxygen))
		oxygen = oxygen && !r.NoOxygen
	}
	if !oxygen {
		p.oxygenMgL = nil
	}
	return p, nil
}

func checkReading(r Reading) error {
	if err := unit.CheckRange("depth of reading (m)", float64(r.Depth), 0, 100, "ponds and small lakes"); err != nil {
		return err
	}
	if err := checkTemperature(r.Temperature, densitySource); err != nil {
		return err
	}
	if r.NoOxygen {
		return nil
	}
	return unit.CheckRange("oxygen (mg/L)", float64(r.Oxygen), 0, 30, "twice saturation of cold water")
}

// IsZero reports whether p holds no readings.
func (p Profile) IsZero() bool { return len(p.depthsM) == 0 }

// HasOxygen reports whether every reading has oxygen.
func (p Profile) HasOxygen() bool { return p.oxygenMgL != nil }

// Deepest reports the depth of the last reading.
func (p Profile) Deepest() unit.Meters {
	if p.IsZero() {
		return 0
	}
	return unit.Meters(p.depthsM[len(p.depthsM)-1])
}

// Temperature reports the temperature at depth d; the zero Profile reports
// 4 °C, the densest water.
func (p Profile) Temperature(d unit.Meters) unit.Kelvin {
	if p.IsZero() {
		return unit.Celsius(4)
	}
	return unit.Celsius(interpolate(p.depthsM, p.tempsC, float64(d)))
}

// Oxygen reports the oxygen at depth d and whether it was measured.
func (p Profile) Oxygen(d unit.Meters) (c unit.MilligramsPerLiter, ok bool) {
	if !p.HasOxygen() {
		return 0, false
	}
	return unit.MilligramsPerLiter(interpolate(p.depthsM, p.oxygenMgL, float64(d))), true
}

// Knots calls yield with the depth in meters and temperature in °C of each
// reading, from the surface down, for kernels that need the profile as numbers.
func (p Profile) Knots(yield func(depthM, tempC float64)) {
	for i, d := range p.depthsM {
		yield(d, p.tempsC[i])
	}
}

// BuoyancyFrequency reports the stability of the water column between depths
// top and bottom by their end densities,
//
//	N = sqrt((g/ρ) Δρ/Δz)
//
// with ρ the mean of the two. It is zero where the water below is not denser
// or bottom is not below top.
func (p Profile) BuoyancyFrequency(top, bottom unit.Meters) unit.PerSecond {
	rhoTop := DensityKgM3(p.Temperature(top).Celsius())
	rhoBottom := DensityKgM3(p.Temperature(bottom).Celsius())
	return unit.PerSecond(buoyancyFrequency(rhoTop, rhoBottom, float64(bottom-top)))
}

func buoyancyFrequency(rhoTop, rhoBottom, dzM float64) float64 {
	if !(dzM > 0) || !(rhoBottom > rhoTop) {
		return 0
	}
	return math.Sqrt(unit.GravityMPS2 / ((rhoTop + rhoBottom) / 2) * (rhoBottom - rhoTop) / dzM)
}

// interpolate reads the broken line (xs, ys), xs increasing, at x and holds the
// end values outside.
func interpolate(xs, ys []float64, x float64) float64 {
	n := len(xs)
	if !(x > xs[0]) { // also NaN
		return ys[0]
	}
	if x >= xs[n-1] {
		return ys[n-1]
	}
	i := sort.SearchFloat64s(xs, x) // xs[i-1] < x <= xs[i]
	f := (x - xs[i-1]) / (xs[i] - xs[i-1])
	return ys[i-1] + f*(ys[i]-ys[i-1])
}
