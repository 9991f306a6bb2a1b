package sound

import (
	"errors"

	"pondwright/calc/unit"
)

// marczak holds the coefficients of Marczak 1997: sound speed of pure water in
// m/s as a polynomial in °C, 0 to 95 °C at one atmosphere.
var marczak = [...]float64{1.402385e3, 5.038813, -5.799136e-2, 3.287156e-4, -1.398845e-6, 2.787860e-9}

const marczakSource = "Marczak, J. Acoust. Soc. Am. 102, 2776, 1997"

// ErrNoLayers means that a layered water column was given without a layer.
var ErrNoLayers = errors.New("sound: no layers given")

// Speed reports the speed of sound in fresh water at temperature t after
// Marczak 1997. It returns a *unit.RangeError outside 0 to 95 °C.
func Speed(t unit.Kelvin) (unit.MetersPerSecond, error) {
	tC := t.Celsius()
	// A hair of rounding is forgiven at the freezing point.
	if tC > -1e-9 && tC < 0 {
		tC = 0
	}
	if err := unit.CheckRange("water temperature (°C)", tC, 0, 95, marczakSource); err != nil {
		return 0, err
	}
	c := 0.0
	for i := len(marczak) - 1; i >= 0; i-- {
		c = c*tC + marczak[i]
	}
	return unit.MetersPerSecond(c), nil
}

// Layer is a slab of water of one temperature.
type Layer struct {
	Thickness   unit.Meters // above zero
	Temperature unit.Kelvin // 0 to 95 °C
}

// SpeedLayered reports the speed that turns travel time into depth through
// layered water: the harmonic mean H/Σ(h/c), because times add up, not speeds.
// It returns ErrNoLayers without layers and a *unit.RangeError for a layer
// outside its range.
func SpeedLayered(layers []Layer) (unit.MetersPerSecond, error) {
	if len(layers) == 0 {
		return 0, ErrNoLayers
	}
	var depthM, timeS float64
	for _, l := range layers {
		if err := unit.CheckRange("layer thickness (m)", float64(l.Thickness), minLayerM, maxReadingM, "this package"); err != nil {
			return 0, err
		}
		c, err := Speed(l.Temperature)
		if err != nil {
			return 0, err
		}
		depthM += float64(l.Thickness)
		timeS += float64(l.Thickness) / float64(c)
	}
	return unit.MetersPerSecond(depthM / timeS), nil
}
