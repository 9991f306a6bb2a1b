package plan

import (
	"fmt"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// ZoneKind is what a zone is; it decides what may not be there.
type ZoneKind string

// The kinds of zones. No diffuser stands in any of them but PropertyZone, outside
// of which nothing is put at all.
const (
	DamZone        ZoneKind = "DAM"         // a dam with its toe: nothing may be put or dug there
	SpillwayZone   ZoneKind = "SPILLWAY"    // nothing may be put or dug there
	KeepOutZone    ZoneKind = "KEEP_OUT"    // nothing may be put or dug there
	IntakeZone     ZoneKind = "INTAKE"      // of a pump or a drain: hoses stay clear too
	ObstacleZone   ZoneKind = "OBSTACLE"    // a stump, a wreck, a dock: hoses go round it
	AccessZone     ZoneKind = "ACCESS"      // a ramp or a track: no mast; what crosses it is sleeved
	BuriedLineZone ZoneKind = "BURIED_LINE" // no mast; a trench that crosses it is named
	MuckZone       ZoneKind = "MUCK"        // deep soft muck: hoses may cross it
	PropertyZone   ZoneKind = "PROPERTY"    // the land and water that may be used; at most one
)

// Zone is a place with a rule of its own: an area, a line or a point.
type Zone struct {
	Kind   ZoneKind
	Name   string // for people; may be empty
	Points []s2.LatLng
	Area   bool // Points are the corners of an area; else of a line, or one point
	// Margin is kept off the zone's edge. Zero takes the kind's own, see
	// DefaultMargin.
	Margin unit.Meters
}

// ZoneError tells which zone cannot be used and why.
type ZoneError struct {
	Zone   int // index as given
	Kind   ZoneKind
	Name   string
	Reason string
}

// Error names the zone and the reason.
func (e *ZoneError) Error() string {
	name := string(e.Kind)
	if e.Name != "" {
		name = fmt.Sprintf("%s %q", e.Kind, e.Name)
	}
	return fmt.Sprintf("zone %d (%s): %s", e.Zone+1, name, e.Reason)
}

// Drawn is a zone in the pond's plane, for drawings.
type Drawn struct {
	Kind   ZoneKind
	Name   string
	Points []plane.Point
	Area   bool
}

// Ban is a round place where nobody wants a diffuser.
type Ban struct {
	At     s2.LatLng
	Radius unit.Meters // above 0, to 1000 m
}
