// Package site chooses where a pond's diffusers stand.
//
// The water is cut into cells. A diffuser serves the water above its own depth
// in the cells that lie near it through the water: all of it within 4 times its
// submergence, none beyond 8 times, and never below the sill that parts the
// cell's basin from its own. Water that two diffusers serve counts once. The
// layout with the most water served is sought by greedy choice and swaps; how
// much better any other layout could be is bounded by Lagrangian relaxation
// (Cornuéjols, Fisher and Nemhauser, 1977, "Location of bank accounts to optimize
// float"), so every layout carries a proven gap.
//
//	f, err := site.New(problem, nil)
//	for layout := range f.Layouts(20) {
//		if enough(layout) { break }
//	}
//
// The package knows neither air nor hoses: how much water a diffuser lifts is
// calc/plume's, what carries the air to it geo/route's and calc/air's.
package site

import (
	"errors"
	"fmt"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/route"
)

// Cell is a patch of water.
type Cell struct {
	At     plane.Point
	AreaM2 float64 // water surface
	DepthM float64 // mean depth, from the surface down
	Slope  float64 // of the bed, rise over run
	ShoreM float64 // distance to the nearest bank
	Barred bool    // no diffuser may stand here, for deep muck for instance
}

// Problem is a pond to place diffusers in.
type Problem struct {
	// Cells tile the water; a few thousand are plenty. They lie on a square grid,
	// cut at the shore.
	Cells []Cell
	// Water knows the distances through the water. It must be set.
	Water *route.Map
	// HeightOffBottom is how far a diffuser's outlet stands above the bed.
	HeightOffBottom unit.Meters
	// Zones are rings in the plane in which no diffuser may stand.
	Zones [][]plane.Point
	// Pins are diffusers that every layout holds, wherever they stand in the water.
	// The sites sought keep their spacing from them; pins need not among
	// themselves.
	Pins []Placed
	// Rules are the limits; the zero value takes the defaults.
	Rules Rules
}

// Rules are the limits within which sites are chosen. A field that is zero
// takes the default of DefaultRules.
type Rules struct {
	MinDepth      unit.Meters // shallowest water for a site
	ShallowDepth  unit.Meters // the same, with a caution, where a basin has nothing deeper
	DepthShare    float64     // of its basin's depth that a site must have
	Setback       unit.Meters // from the bank, at least
	SetbackDepths float64     // from the bank, at least, in depths of the site
	MaxSlope      float64     // of the bed, rise over run
	FullReach     float64     // in submergences: water nearer than this is wholly served
	EndReach      float64     // in submergences: water farther than this is not served
	Spacing       float64     // in submergences: two sites are no nearer than this
	SillDepth     unit.Meters // a basin is deeper than its sill by more than this
	BasinShare    float64     // of the pond's volume that a basin holds more than
	MaxCandidates int         // places considered; more are thinned to this many
}

// DefaultRules returns the limits used where none are given. Depth, setback and
// slope limits: common practice, no source. Reach, spacing, basins: judgement,
// no source.
func DefaultRules() Rules {
	return Rules{
		MinDepth:      1.8,
		ShallowDepth:  1.2,
		DepthShare:    0.6,
		Setback:       6,
		SetbackDepths: 2,
		MaxSlope:      0.2,
		FullReach:     4,
		EndReach:      8,
		Spacing:       2,
		SillDepth:     0.6,
		BasinShare:    0.05,
		MaxCandidates: 500,
	}
}

// filled returns r with zero fields replaced by the defaults.
func (r Rules) filled() Rules {
	d := DefaultRules()
	return Rules{
		MinDepth:      or(r.MinDepth, d.MinDepth),
		ShallowDepth:  or(r.ShallowDepth, d.ShallowDepth),
		DepthShare:    or(r.DepthShare, d.DepthShare),
		Setback:       or(r.Setback, d.Setback),
		SetbackDepths: or(r.SetbackDepths, d.SetbackDepths),
		MaxSlope:      or(r.MaxSlope, d.MaxSlope),
		FullReach:     or(r.FullReach, d.FullReach),
		EndReach:      or(r.EndReach, d.EndReach),
		Spacing:       or(r.Spacing, d.Spacing),
		SillDepth:     or(r.SillDepth, d.SillDepth),
		BasinShare:    or(r.BasinShare, d.BasinShare),
		MaxCandidates: or(r.MaxCandidates, d.MaxCandidates),
	}
}

func or[T comparable](given, fallback T) T {
	var zero T
	if given == zero {
		return fallback
	}
	return given
}

// Site is one place for a diffuser.
type Site struct {
	At     plane.Point
	Depth  unit.Meters // of the water
	Cell   int         // index of its cell in the problem
	Basin  int         // index of its basin in Field.Basins
	Serves unit.CubicMeters
	Pinned bool // one of the problem's pins
}

// Layout is a choice of sites and what it achieves.
type Layout struct {
	Sites    []Site           // the pins in their order, then the others by cell
	Served   unit.CubicMeters // water served, overlaps once
	Unserved float64          // share of the pond's water not served
	Bound    unit.CubicMeters // no layout of as many of the candidates serves more
	Gap      float64          // by which share of Served another layout could be better, at most
	Cautions []Caution
}

// Caution is something a person must know about a layout.
type Caution struct {
	Code string // one of the constants below
	Text unit.Text
}

// Codes of cautions.
const (
	ShallowSites     = "SHALLOW_SITES"      // sites shallower than MinDepth or their share of the basin's depth
	SteepSites       = "STEEP_SITES"        // the slope limit left no site and was waived
	SitesNearShore   = "SITES_NEAR_SHORE"   // the setback left no site and was waived
	BasinWithoutSite = "BASIN_WITHOUT_SITE" // a basin behind a sill has no diffuser
	Thinned          = "CANDIDATES_THINNED" // only some of the places were considered
	SitesTooClose    = "SITES_TOO_CLOSE"    // two given sites are nearer than the spacing
	SiteInZone       = "SITE_IN_ZONE"       // a given site stands where none may stand
)

// ErrCanceled is returned when the progress callback asks to stop.
var ErrCanceled = errors.New("site: canceled")

// ErrSiteAshore is returned for a given site that does not stand in the water.
var ErrSiteAshore = errors.New("site: a diffuser does not stand in the water")

// TooShallowError reports a pond in which no diffuser can work.
type TooShallowError struct {
	Deepest, Needed unit.Meters
}

// Error names both depths.
func (e *TooShallowError) Error() string { return e.Text().String() }

// Text names both depths.
func (e *TooShallowError) Text() unit.Text {
	return unit.Say("the deepest water is %s, a diffuser needs %s", e.Deepest.Text(), e.Needed.Text())
}

// NoRoomError reports a pond with enough depth, all of it in zones or barred.
type NoRoomError struct {
	DeepCells int // cells that are deep enough
}

// Error says that the depth is there and what takes it.
func (e *NoRoomError) Error() string {
	return fmt.Sprintf("all %d cells that are deep enough lie in keep-out zones or are barred", e.DeepCells)
}
