package plan

import (
	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// Station is a mast with its compressors, manifold, trench and shore entry. It
// feeds some of the diffusers.
type Station struct {
	Mast, Entry plane.Point
	Proposed    bool // nobody gave the place: it is the nearest bank, 15 m back
	Diffusers   []int
	Machines    int
	Air         unit.StdCubicMetersPerSecond
	Outlet      unit.PascalsGauge // at the compressors
	Manifold    unit.PascalsGauge
	Trench      []plane.Point // from the mast to the shore entry
	Trunk       *Trunk        // nil: every run has a hose of its own from the mast
	HoseTotal   unit.Meters   // to order, the trunk with it
}

// Trunk is one wide hose from the compressors to a valve box at the shore entry,
// from which the runs of a station part.
type Trunk struct {
	Bore  unit.Meters
	Order unit.Meters // length to order
	Saves unit.Meters // of hose, against a run of its own for each diffuser
}
