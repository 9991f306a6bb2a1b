package sound

import (
	"errors"
	"slices"
	"time"

	"pondwright/calc/unit"
)

// ErrNoStaff means that no staff reading was given.
var ErrNoStaff = errors.New("sound: no staff reading given")

// StaffReading is the height of the water as read on the staff at one moment,
// up from the staff's datum.
type StaffReading struct {
	At     time.Time
	Height unit.Meters
}

// Level is the water level over time between staff readings. The zero value has
// no readings and reports zero; use NewLevel.
type Level struct {
	readings []StaffReading // rising in time, one per moment
}

// NewLevel makes a Level from staff readings in any order; readings of the same
// moment are averaged. It returns ErrNoStaff without readings and a
// *unit.RangeError for a height that is not a finite number within ±10 km.
func NewLevel(readings []StaffReading) (Level, error) {
	if len(readings) == 0 {
		return Level{}, ErrNoStaff
	}
	for _, r := range readings {
		if err := unit.CheckRange("staff reading (m)", float64(r.Height), -1e4, 1e4, depthSource); err != nil {
			return Level{}, err
		}
	}
	// Sorted by height too, so that the mean does not depend on the order given.
	sorted := slices.SortedFunc(slices.Values(readings), func(a, b StaffReading) int {
		if c := a.At.Compare(b.At); c != 0 {
			return c
		}
		switch {
		case a.Height < b.Height:
			return -1
		case a.Height > b.Height:
			return 1
		}
		return 0
	})
	var merged []StaffReading
	for i := 0; i < len(sorted); {
		j, sum := i, 0.0
		for ; j < len(sorted) && sorted[j].At.Equal(sorted[i].At); j++ {
			sum += float64(sorted[j].Height)
		}
		merged = append(merged, StaffReading{sorted[i].At, unit.Meters(sum / float64(j-i))})
		i = j
	}
	return Level{merged}, nil
}

// At reports the water level at a moment, straight between the readings around
// it, and how far the nearest reading is away in time. Before the first and
// after the last reading it holds that reading: judge by away whether to trust
// it (see Settings for how often a staff is usually read).
func (l Level) At(at time.Time) (level unit.Meters, away time.Duration) {
	n := len(l.readings)
	if n == 0 {
		return 0, 0
	}
	i, found := slices.BinarySearchFunc(l.readings, at, func(r StaffReading, t time.Time) int { return r.At.Compare(t) })
	switch {
	case found:
		return l.readings[i].Height, 0
	case i == 0:
		return l.readings[0].Height, l.readings[0].At.Sub(at)
	case i == n:
		return l.readings[n-1].Height, at.Sub(l.readings[n-1].At)
	}
	a, b := l.readings[i-1], l.readings[i]
	share := at.Sub(a.At).Seconds() / b.At.Sub(a.At).Seconds()
	return a.Height + (b.Height-a.Height)*unit.Meters(share), min(at.Sub(a.At), b.At.Sub(at))
}

// Range reports the lowest and the highest reading.
func (l Level) Range() (low, high unit.Meters) {
	for i, r := range l.readings {
		if i == 0 || r.Height < low {
			low = r.Height
		}
		if i == 0 || r.Height > high {
			high = r.Height
		}
	}
	return low, high
}
