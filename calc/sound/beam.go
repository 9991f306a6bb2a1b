package sound

import (
	"math"

	"github.com/golang/geo/s1"

	"pondwright/calc/unit"
)

const beamSource = "geometry of a cone"

// Footprint reports the diameter of bed that a beam of full angle beam covers at
// a depth below the transducer: 2·d·tan(beam/2). It returns a *unit.RangeError
// for a depth outside 0 to 200 m or a beam outside 0 to 120°.
func Footprint(depth unit.Meters, beam s1.Angle) (unit.Meters, error) {
	if err := checkBeam(depth, beam); err != nil {
		return 0, err
	}
	return depth * unit.Meters(2*math.Tan(float64(beam)/2)), nil
}

// SlopeBias reports by how much the first echo reads shallow over an even slope
// (rise over run, 0 to 2): the nearest bed within the cone lies up the slope,
// at range d/(cos a + slope·sin a), a being half the beam or the angle of the
// slope, whichever is less. It returns a *unit.RangeError as Footprint does.
func SlopeBias(depth unit.Meters, beam s1.Angle, slope float64) (unit.Meters, error) {
	if err := checkBeam(depth, beam); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("bed slope (rise over run)", slope, 0, 2, beamSource); err != nil {
		return 0, err
	}
	sin, cos := math.Sincos(min(float64(beam)/2, math.Atan(slope)))
	return depth * unit.Meters(1-1/(cos+slope*sin)), nil
}

func checkBeam(depth unit.Meters, beam s1.Angle) error {
	if err := unit.CheckRange("depth below the transducer (m)", float64(depth), 0, maxReadingM, depthSource); err != nil {
		return err
	}
	return unit.CheckRange("beam angle (°)", beam.Degrees(), 0, 120, beamSource)
}

// LeverArm is where the transducer sits in the boat, measured from the antenna.
type LeverArm struct {
	Forward   unit.Meters // toward the bow
	Starboard unit.Meters // to the right, facing the bow
}

// Shift reports how far east and north of the antenna the transducer is with
// the bow on a true heading, clockwise from north. Any heading is taken.
func (l LeverArm) Shift(heading s1.Angle) (east, north unit.Meters) {
	s, c := math.Sincos(float64(heading))
	f, r := float64(l.Forward), float64(l.Starboard)
	return unit.Meters(f*s + r*c), unit.Meters(f*c - r*s)
}
