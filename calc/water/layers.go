package water

import (
	"math"

	"pondwright/calc/unit"
)

// Layer is a slice of the pond and what it holds on average, by volume.
type Layer struct {
	Top, Bottom unit.Meters
	Volume      unit.CubicMeters
	Temperature unit.Kelvin
	Oxygen      unit.MilligramsPerLiter // zero if the profile has none
}

// Layers is a pond split by its profile.
type Layers struct {
	// Mixed says that no gradient reaches 0.1 kg/m³ per meter: Upper is the whole
	// pond, Middle and Bottom are empty.
	Mixed bool
	// Thermocline is the depth of the steepest gradient of density.
	Thermocline unit.Meters
	// Upper is warm and stirred by wind, Middle holds the gradient, Bottom is cut
	// off from air. Middle's Bottom is the base of the thermocline.
	Upper, Middle, Bottom Layer
	// Deepest is the depth of the last reading: below it the profile is held.
	Deepest unit.Meters
	// HasOxygen says that oxygen was measured.
	HasOxygen bool
}

// Split finds the layers of a pond. The thermocline is where density rises
// fastest between readings, moved towards the steeper neighbor by weighting with
// the changes of gradient (Read et al., Environ. Modeling & Software 26, 2011,
// applied to the middles of the intervals); less than 0.1 kg/m³ per meter counts
// as mixed (same source, from memory). Around it the middle layer takes in every
// interval with at least a fifth of the steepest gradient and 0.1 kg/m³ per
// meter. Where that reaches the deepest reading or the bottom, what lies below
// the thermocline counts as bottom water: the safe side for oxygen.
func Split(p Profile, h Hypsograph) Layers {
	out := Layers{Deepest: p.Deepest(), HasOxygen: p.HasOxygen()}
	if h.IsZero() {
		out.Mixed = true
		return out
	}
	depthM := float64(h.Depth())
	rho := make([]float64, len(p.depthsM))
	for i, tC := range p.tempsC {
		rho[i] = DensityKgM3(tC)
	}
	s := steepest(p.depthsM, rho)
	if s.gradient < minGradient || s.topM >= depthM {
		out.Mixed = true
		out.Upper = p.layer(h, 0, depthM)
		return out
	}
	bottomM := math.Min(s.bottomM, depthM)
	if s.bottomM >= p.depthsM[len(p.depthsM)-1] || s.bottomM >= depthM {
		bottomM = math.Min(s.depthM, depthM)
	}
	out.Thermocline = unit.Meters(s.depthM)
	out.Upper = p.layer(h, 0, s.topM)
	out.Middle = p.layer(h, s.topM, bottomM)
	out.Bottom = p.layer(h, bottomM, depthM)
	return out
}

func (p Profile) layer(h Hypsograph, topM, bottomM float64) Layer {
	l := Layer{
		Top: unit.Meters(topM), Bottom: unit.Meters(bottomM),
		Volume:      h.Between(unit.Meters(topM), unit.Meters(bottomM)),
		Temperature: p.Temperature(unit.Meters(topM)),
	}
	if p.IsZero() {
		return l
	}
	l.Temperature = unit.Celsius(h.mean(topM, bottomM, p.depthsM, p.tempsC))
	if p.HasOxygen() {
		l.Oxygen = unit.MilligramsPerLiter(h.mean(topM, bottomM, p.depthsM, p.oxygenMgL))
	}
	return l
}

// step is the pycnocline of a density profile.
type step struct {
	gradient      float64 // kg/m⁴, the steepest
	depthM        float64
	topM, bottomM float64
}

func steepest(depthsM, rho []float64) step {
	n := len(depthsM) - 1
	if n < 1 {
		return step{}
	}
	grad := make([]float64, n)
	k := 0
	for i := range grad {
		grad[i] = (rho[i+1] - rho[i]) / (depthsM[i+1] - depthsM[i])
		if grad[i] > grad[k] {
			k = i
		}
	}
	s := step{gradient: grad[k], topM: depthsM[k], bottomM: depthsM[k+1]}
	s.depthM = refine(depthsM, grad, k)
	floor := math.Max(minGradient, middleShare*grad[k])
	for i := k - 1; i >= 0 && grad[i] >= floor; i-- {
		s.topM = depthsM[i]
	}
	for i := k + 1; i < n && grad[i] >= floor; i++ {
		s.bottomM = depthsM[i+1]
	}
	return s
}

// refine moves the middle of the steepest interval towards the neighbor whose
// gradient is nearer to the steepest, within the interval.
func refine(depthsM, grad []float64, k int) float64 {
	mid := func(i int) float64 { return (depthsM[i] + depthsM[i+1]) / 2 }
	if k == 0 || k == len(grad)-1 {
		return mid(k)
	}
	up := (mid(k) - mid(k-1)) / (grad[k] - grad[k-1])
	down := (mid(k+1) - mid(k)) / (grad[k] - grad[k+1])
	if math.IsInf(up, 0) || math.IsInf(down, 0) {
		return mid(k)
	}
	return depthsM[k] + (depthsM[k+1]-depthsM[k])*down/(up+down)
}
