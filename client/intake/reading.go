package intake

import (
	"math"
	"time"

	"github.com/golang/geo/s2"
)

// Reference says from where a reading counts.
type Reference int

// The references. The zero Reference is unknown and never leaves a parser.
const (
	ReferenceUnknown Reference = iota
	BelowSurface               // from the water surface of the moment
	BelowTransducer            // from the transducer, draft not added
)

// String returns the reference's name.
func (r Reference) String() string {
	switch r {
	case BelowSurface:
		return "BELOW_SURFACE"
	case BelowTransducer:
		return "BELOW_TRANSDUCER"
	case ReferenceUnknown:
	}
	return "UNKNOWN"
}

// Reading is one depth where and as it was read. Pointers are nil where the file
// does not say; what they point to is shared between readings and must not be
// changed.
type Reading struct {
	Time      time.Time // UTC; zero where the file gives none: then the order in the file counts
	Lat, Lon  float64   // degrees, WGS 84
	ReadingM  float64   // meters, positive down, in [0, MaxDepthM]
	Reference Reference
	Pass      string // name of the boat run; empty where the file is one run

	Quality    *int     // fix quality as in GGA: 1 single, 2 differential, 4 and 5 carrier phase, …; never 0
	HDOP       *float64 // horizontal dilution of precision
	Satellites *int     // satellites used
	HeadingDeg *float64 // true heading, or the course where there is no compass, in [0, 360)
	WaterTempC *float64 // at the transducer

	SoftM  *float64 // depth to the top of the muck, meters
	FirmM  *float64 // depth to refusal of a pole, meters; at least SoftM
	Bottom string   // what the bottom is, in the crew's words

	File  string
	Line  int      // 1 is the first line
	Extra []string // raw values of Soundings.ExtraColumns
}

// LatLng returns the reading's position.
func (r Reading) LatLng() s2.LatLng { return s2.LatLngFromDegrees(r.Lat, r.Lon) }

// Soundings are what one file gave.
type Soundings struct {
	Format   Format
	Readings []Reading // in the order of the file
	Problems []Problem
	// OffsetM is the height of the water line above the transducer in meters, as
	// the sounder reports it, to be added to readings BelowTransducer. Nil where
	// it reports none, zero (the factory setting of a sounder that was never
	// told) or a distance to the keel. Where it changed under way, the value
	// that held for most readings.
	OffsetM *float64
	// ExtraColumns names the columns of a CSV file that were kept but not read.
	ExtraColumns []string
	// Dropped counts depths in the file that gave no reading.
	Dropped int
}

// validPosition reports whether lat, lon are degrees of a place. A receiver
// without a fix likes to say 0, 0, which is no pond.
func validPosition(lat, lon float64) bool {
	return math.Abs(lat) <= 90 && math.Abs(lon) <= 180 && (lat != 0 || lon != 0)
}
