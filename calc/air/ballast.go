package air

import (
	"math"

	"pondwright/calc/unit"
)

// Tube is the wall of a hose.
type Tube struct {
	Bore unit.Meters
	// Wall thickness; 0 takes that of UsualWall.
	Wall unit.Meters
	// Density of the wall; 0 takes that of polyethylene, 955 kg/m³ (handbooks, from
	// memory).
	Density unit.KilogramsPerCubicMeter
}

const (
	polyethyleneKgM3 = 955.0
	concreteKgM3     = 2322.7                // 145 lb/ft³, common practice
	leastWallM       = 0.060 * 0.0254        // ASTM D2239, from memory
	wallRatio        = 15                    // SIDR 15, ASTM D2239, from memory
	gravityMS2       = 9.80665               // standard gravity, exact by definition
	buoyantKgM3      = float64(1000)         // above any warm fresh water, so on the safe side
	concreteShare    = 1 - 1000/concreteKgM3 // of its weight that concrete keeps under water
)

// UsualWall is the wall of the lightest pressure class of polyethylene hose: a
// fifteenth of the bore, at least 0.060 in (ASTM D2239, from memory).
func UsualWall(bore unit.Meters) unit.Meters { return max(bore/wallRatio, leastWallM) }

// Uplift reports the force with which a length of the hose, full of air, pulls up
// in fresh water; it is negative for hose that sinks. It is Archimedes' law on the
// outside volume less the weight of the wall; the air's own weight is left out. It
// returns a *unit.RangeError for a length below 0 or above 5000 m, a bore outside
// 2 to 200 mm, a wall above the bore, and a density outside 500 to 10,000 kg/m³.
func (t Tube) Uplift(length unit.Meters) (unit.Newtons, error) {
	if t.Wall == 0 {
		t.Wall = UsualWall(t.Bore)
	}
	if t.Density == 0 {
		t.Density = polyethyleneKgM3
	}
	const src = "hose of ponds"
	for _, c := range []struct {
		quantity    string
		got, lo, hi float64
	}{
		{"hose length (m)", float64(length), 0, 5000},
		{"hose bore (m)", float64(t.Bore), 0.002, 0.2},
		{"hose wall (m)", float64(t.Wall), 1e-4, float64(t.Bore)},
		{"density of the hose's wall (kg/m³)", float64(t.Density), 500, 10000},
	} {
		if err := unit.CheckRange(c.quantity, c.got, c.lo, c.hi, src); err != nil {
			return 0, err
		}
	}
	boreM, outerM := float64(t.Bore), float64(t.Bore+2*t.Wall)
	outerM2, wallM2 := math.Pi/4*outerM*outerM, math.Pi/4*(outerM*outerM-boreM*boreM)
	return unit.Newtons(gravityMS2 * float64(length) * (buoyantKgM3*outerM2 - float64(t.Density)*wallM2)), nil
}

// Concrete reports the concrete, weighed dry, that holds an uplift down with a
// margin: 1.5 is usual (common practice, no source). Under water it keeps 57 % of
// its weight. No uplift takes none.
func Concrete(uplift unit.Newtons, margin float64) unit.Kilograms {
	return unit.Kilograms(max(0, float64(uplift)*margin/(gravityMS2*concreteShare)))
}
