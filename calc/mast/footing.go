package mast

import (
	"math"

	"pondwright/calc/unit"
)

// Footing is the hole and what fills it. The zero value is not usable: Width
// must be given.
type Footing struct {
	Width  unit.Meters // diameter, or side of a square; of the pole itself when Bare. 0.02 to 3 m
	Depth  unit.Meters // below grade, 0 to 15 m; Size finds it
	Square bool
	Bare   bool // the pole stands in soil, without concrete
}

func (f Footing) check() error {
	if err := unit.CheckRange("footing width (m)", float64(f.Width), 0.02, 3, windSource); err != nil {
		return err
	}
	return unit.CheckRange("footing depth (m)", float64(f.Depth), 0, maxDepthM, windSource)
}

// maxDepthM is deeper than any mast footing is dug.
const maxDepthM = 15

// areaM2 reports the area of the footing's base.
func (f Footing) areaM2() float64 {
	w := float64(f.Width)
	if f.Square {
		return w * w
	}
	return math.Pi / 4 * w * w
}

// Concrete reports the volume to pour around a pole that stops short of the
// bottom: the hole less the pole. A bare pole takes none.
func (f Footing) Concrete(pole Pipe, short unit.Meters) unit.CubicMeters {
	if f.Bare {
		return 0
	}
	inside := max(0, float64(f.Depth-short))
	od := float64(pole.Outside)
	return unit.CubicMeters(max(0, f.areaM2()*float64(f.Depth)-math.Pi/4*od*od*inside))
}

// FrostSoil is soil that freezes from above.
type FrostSoil struct {
	Conductivity float64                     // frozen, W/(m·K), 0.1 to 5
	DryDensity   unit.KilogramsPerCubicMeter // 500 to 2500
	Water        float64                     // mass of water to dry soil, 0.01 to 1
}

// FrostDepth estimates how deep soil freezes by Stefan's formula, X = √(2k·nF/L),
// with the freezing index of the air in kelvin-days and the surface factor n (US
// Army TM 5-852-6, from memory). It ignores the heat that the soil itself holds,
// so it errs deep. An estimate is no substitute for the local frost depth. It
// returns a *unit.RangeError for values outside their ranges.
func FrostDepth(soil FrostSoil, surfaceFactor, freezingIndexKDay float64) (unit.Meters, error) {
	const source = "range of soils and climates, US Army TM 5-852-6, from memory"
	for _, in := range []struct {
		name        string
		got, lo, hi float64
	}{
		{"frozen conductivity (W/(m·K))", soil.Conductivity, 0.1, 5},
		{"dry density of the soil (kg/m³)", float64(soil.DryDensity), 500, 2500},
		{"water content of the soil", soil.Water, 0.01, 1},
		{"surface factor", surfaceFactor, 0, 2},
		{"freezing index (K·day)", freezingIndexKDay, 0, 6000},
	} {
		if err := unit.CheckRange(in.name, in.got, in.lo, in.hi, source); err != nil {
			return 0, err
		}
	}
	// 144 Btu per pound of water.
	const fusionJPerKg = 144 * 1055.05585262 / 0.45359237
	latentJPerM3 := fusionJPerKg * float64(soil.DryDensity) * soil.Water
	return unit.Meters(math.Sqrt(2 * soil.Conductivity * surfaceFactor * freezingIndexKDay * 86400 / latentJPerM3)), nil
}
