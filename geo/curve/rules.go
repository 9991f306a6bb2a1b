package curve

import (
	"math"

	"pondwright/calc/unit"
)

// The rules below find a volume from areas at equally spaced levels. They are
// the trade's hand methods and serve as cross-checks: the end-area rule reads
// high for cones and low for round bottoms, the frustum rule is right for cones
// only. (USDA NRCS Agriculture Handbook 590, Ponds, from memory, for the
// prismoidal rule.)

// EndArea returns the volume of layers of the given thickness between
// successive areas by the average-end-area rule, h (A₁ + A₂)/2 each.
func EndArea(thickness unit.Meters, areas []unit.SquareMeters) unit.CubicMeters {
	var sum float64
	for k := 1; k < len(areas); k++ {
		sum += float64(areas[k-1]+areas[k]) / 2
	}
	return unit.CubicMeters(sum * float64(thickness))
}

// Frustum returns the volume of layers of the given thickness between successive
// areas by the conical-frustum rule, h (A₁ + A₂ + √(A₁A₂))/3 each.
func Frustum(thickness unit.Meters, areas []unit.SquareMeters) unit.CubicMeters {
	var sum float64
	for k := 1; k < len(areas); k++ {
		a, b := float64(areas[k-1]), float64(areas[k])
		sum += (a + b + math.Sqrt(a*b)) / 3
	}
	return unit.CubicMeters(sum * float64(thickness))
}

// Prismoidal returns the volume of one layer of the given thickness from its
// top, middle and bottom areas, h (A + 4M + B)/6: exact where the area is a
// polynomial of up to the third degree in the level.
func Prismoidal(thickness unit.Meters, top, middle, bottom unit.SquareMeters) unit.CubicMeters {
	return unit.CubicMeters(float64(thickness) * float64(top+4*middle+bottom) / 6)
}

// Check is a volume by each of the layer rules.
type Check struct{ EndArea, Frustum, Prismoidal unit.CubicMeters }

// Check returns the full volume by the layer rules from n layers of equal
// thickness, to set beside Volume(0). It is zero for n < 1.
func (c *Curve) Check(n int) Check {
	if n < 1 {
		return Check{}
	}
	h := unit.Meters(c.maxM / float64(n))
	area := func(k float64) unit.SquareMeters { return c.Area(unit.Meters(k * float64(h))) }
	var areas []unit.SquareMeters
	var prismoidal unit.CubicMeters
	for k := range n + 1 {
		areas = append(areas, area(float64(k)))
		if k > 0 {
			prismoidal += Prismoidal(h, areas[k-1], area(float64(k)-0.5), areas[k])
		}
	}
	return Check{EndArea(h, areas), Frustum(h, areas), prismoidal}
}
