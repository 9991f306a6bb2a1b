package plan

import "pondwright/calc/unit"

// Number is what so many diffusers come to, at their best places found.
type Number struct {
	Diffusers int
	Served    float64                      // share of the water
	Turnovers float64                      // a day, promised, of the high volume, with the air given
	Each      unit.StdCubicMetersPerSecond // air to each diffuser
	AirNeeded unit.StdCubicMetersPerSecond // to meet the target; 0: no amount would
	Hose      unit.Meters                  // to order
	Gap       float64                      // no other sites serve more by more than this; 1: not worked out
	Meets     bool                         // every target is met
}
