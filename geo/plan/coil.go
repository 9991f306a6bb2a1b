package plan

import "pondwright/calc/unit"

// HoseKind is a kind of hose that may be laid.
type HoseKind struct {
	Bore unit.Meters // inside diameter, 2 to 200 mm
	// Wall thickness; 0 takes a fifteenth of the bore, as in the lightest pressure
	// class of inside-diameter controlled polyethylene (ASTM D2239, SIDR 15, from
	// memory).
	Wall unit.Meters
	// Density of the wall; 0 takes that of polyethylene.
	Density unit.KilogramsPerCubicMeter
	// PricePerMeter in the user's own money; 0: not known.
	PricePerMeter float64
}

// Coil is hose on hand.
type Coil struct {
	Bore   unit.Meters
	Length unit.Meters
	Count  int // coils of that length; 0 means 1
}

// Sharing says whether the runs of a station share a trunk through the trench.
type Sharing string

// How runs share hose. The zero value is ByCost.
const (
	ByCost   Sharing = ""         // whichever costs less; a trunk needs a wider hose than the runs
	Separate Sharing = "SEPARATE" // every run has a hose of its own from the mast
	Shared   Sharing = "SHARED"   // a trunk to a valve box at the shore entry
)

// Cut is one piece of hose cut from a coil for a run.
type Cut struct {
	Coil     int // number of the coil, from 1
	CoilLong unit.Meters
	Bore     unit.Meters
	Diffuser int         // index in Plan.Diffusers; -1 for a trunk
	Station  int         // index in Plan.Stations
	Length   unit.Meters // of this piece
	Piece    int         // of its run, from 1: piece 2 is joined to piece 1
	Left     unit.Meters // on the coil after this cut
	Owned    bool        // the coil is on hand; else it is to be bought
}

// Ballast is what keeps a hose on the bed.
type Ballast struct {
	Lift unit.Newtons   // by which the hose, full of air, pulls up
	Mass unit.Kilograms // of concrete, weighed dry, that holds it with its margin
	// Weights of equal mass, and how far apart they sit from the shore entry on.
	Weights int
	Apart   unit.Meters
}
