package survey

import (
	"math"
	"time"

	"pondwright/calc/sound"
	"pondwright/calc/unit"
)

// Setup is how a pass was made. The zero value is a reading typed from the
// surface on the day the shoreline was drawn.
type Setup struct {
	// Draft is the transducer's depth below the water line, 0 to 5 m.
	Draft unit.Meters
	// DraftKnown tells a draft of zero from one never given.
	DraftKnown bool
	// SpeedSet is the speed of sound the sounder assumes, 1350 to 1650 m/s; 0
	// leaves readings as they are.
	SpeedSet unit.MetersPerSecond
	// WaterTemperature sets the true speed of sound, up to 95 °C; 0 leaves
	// readings as they are. Colder than freezing counts as freezing: a sensor
	// errs, the water is liquid.
	WaterTemperature unit.Kelvin
	// Plates are readings of a plate hung at known depths. Two depths or more replace
	// draft and speed of sound.
	Plates []sound.PlateMark
	// Level is the water level during the pass above that of the shoreline, -100
	// to 100 m. With Staff it is that of the staff's zero: the level at a moment is
	// the staff's then, straight between its readings, and Level.
	Level unit.Meters
	Staff sound.Level
}

// LevelAt returns the water level at a moment above that of the shoreline, and how
// far in time the nearest reading of the staff is.
func (s Setup) LevelAt(at time.Time) (level unit.Meters, away time.Duration) {
	staff, away := s.Staff.At(at) // zero without a staff
	return s.Level + staff, away
}

// Limits that calc/sound does not set; this project's own.
const (
	maxLevelM   = 100
	maxReadingM = 200
	// leastEchoM is what a sounder cannot tell from nothing: it prints zero when
	// it has lost the bottom. A millimeter is the step in which readings are kept.
	leastEchoM = 0.001
)

// Depth returns the depth below the water surface of the day that a reading
// stands for: the reading itself where it counts from the surface, else by the line
// through the plate readings where there are any, else the depth equation of
// calc/sound, draft + reading × c/c_set. It returns a
// *unit.RangeError for a reading or a set-up that cannot be; a sounder that reads
// nothing has lost the bottom.
func (s Setup) Depth(reading unit.Meters, from Reference) (unit.Meters, error) {
	if from == BelowSurface {
		return reading, unit.CheckRange("depth below the surface (m)", float64(reading), 0, maxReadingM, "this project's own limit")
	}
	if err := unit.CheckRange("sounder reading (m)", float64(reading), leastEchoM, maxReadingM, "a lost bottom reads zero"); err != nil {
		return 0, err
	}
	if fit, err := sound.FitPlate(s.Plates); err == nil {
		depth := fit.Depth(reading)
		return depth, unit.CheckRange("depth by the plate readings (m)", float64(depth), 0, maxReadingM, "this project's own limit")
	}
	// Equal speeds leave a reading as it is.
	sounder, speed := sound.Sounder{Draft: s.Draft, SetSpeed: sound.UsualSetSpeed}, sound.UsualSetSpeed
	if s.SpeedSet != 0 && s.WaterTemperature != 0 {
		var err error
		if speed, err = sound.Speed(max(s.WaterTemperature, unit.Celsius(0))); err != nil {
			return 0, err
		}
		sounder.SetSpeed = s.SpeedSet
	}
	return sounder.Depth(reading, speed)
}

// check returns a *unit.RangeError for a set-up that no reading can be reduced
// with.
func (s Setup) check() error {
	if _, err := s.Depth(1, BelowTransducer); err != nil {
		return err
	}
	level := s.Level
	if low, high := s.Staff.Range(); math.Abs(float64(s.Level+high)) > math.Abs(float64(s.Level+low)) {
		level += high
	} else {
		level += low
	}
	return unit.CheckRange("water level above the shoreline's (m)", float64(level), -maxLevelM, maxLevelM, "this project's own limit")
}
