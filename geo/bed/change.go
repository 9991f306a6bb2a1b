package bed

import (
	"math"
	"slices"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/grid"
	"pondwright/geo/plane"
)

// mostChanges is about how many cells a comparison is told in.
const mostChanges = 2000

// Change is what changed from one survey to another.
type Change struct {
	// Volume is the second's less the first's; below zero the pond lost water space.
	// Its ends lie evenly about it and may lie on either side of none.
	Volume Interval[unit.CubicMeters]
	// Canceled is the standard deviation of the errors that both share and that the
	// difference is free of.
	Canceled unit.CubicMeters
	Cells    []CellChange // in order of id
}

// CellChange is how much deeper one S2 cell became.
type CellChange struct {
	Cell   s2.CellID
	Area   unit.SquareMeters
	Depth  unit.Meters // mean; below zero the cell became shallower
	SD     unit.Meters // standard deviation, of what the surveys do not share
	inside plane.Point
}

// Certain reports whether no change at all lies outside the 95 % interval.
func (c *Change) Certain() bool { return c.Volume.Low > 0 || c.Volume.High < 0 }

// Compare returns what changed from one bed to another of the same pond. The errors
// given in Options, of level, draft, mud and speed of sound, count as the same in
// both and cancel but for what the areas and the volumes differ by; all others
// count as independent, which errs on the wide side: what the outline says of water
// between the lines is the same in both. For a guess, as for any bed, the interval
// is that of its volume.
func Compare(before, after *Bed) Change {
	own := math.Hypot(before.ownSD(), after.ownSD())
	area := float64(after.curve.Area(0) - before.curve.Area(0))
	volume := float64(after.curve.Volume(0) - before.curve.Volume(0))
	common, speed := max(before.commonM, after.commonM), max(before.speedSD, after.speedSD)
	sd := math.Hypot(own, math.Hypot(common*area, speed*volume))
	full := float64(min(before.curve.Area(0), after.curve.Area(0)))
	held := float64(min(before.curve.Volume(0), after.curve.Volume(0)))
	end := func(z float64) unit.CubicMeters { return unit.CubicMeters(volume + z*sd) }
	return Change{
		Volume:   Interval[unit.CubicMeters]{end(0), end(-z95), end(z95), end(-z80), end(z80)},
		Canceled: unit.CubicMeters(math.Hypot(common*full, speed*held)),
		Cells:    cellChanges(before, after),
	}
}

// ownSD returns the standard deviation of the volume without what all soundings
// share.
func (b *Bed) ownSD() float64 {
	if len(b.doubtful) == 0 {
		return float64(b.volume.High-b.volume.Low) / (2 * z95)
	}
	shared := math.Hypot(b.commonM*float64(b.curve.Area(0)), b.speedSD*float64(b.curve.Volume(0)))
	return math.Sqrt(max(0, b.volumeSDM3*b.volumeSDM3-shared*shared))
}

// ownDepthSD is DepthSD without what all soundings share.
func (b *Bed) ownDepthSD(p plane.Point) float64 {
	sd := b.DepthSD(p)
	if len(b.doubtful) == 0 {
		return sd
	}
	speed := b.speedSD * b.Depth(p)
	return math.Sqrt(max(0, sd*sd-b.commonM*b.commonM-speed*speed))
}

// cellChanges gathers the nodes of the second bed by S2 cell.
func cellChanges(before, after *Bed) []CellChange {
	frame, old := after.shore.Frame(), before.shore.Frame()
	origin := s2.CellIDFromLatLng(frame.Origin())
	level := 22
	for level > grid.TileLevel && after.grid.AreaM2/math.Pow(grid.CellWidthM(origin.Parent(level)), 2) > mostChanges {
		level--
	}
	var out []CellChange
	at := make(map[s2.CellID]int)
	for _, c := range after.cells {
		if c.AreaM2 == 0 {
			continue
		}
		where := frame.ToLatLng(c.At)
		id := s2.CellIDFromLatLng(where).Parent(level)
		k, ok := at[id]
		if !ok {
			k = len(out)
			at[id] = k
			out = append(out, CellChange{Cell: id, inside: c.At})
		}
		area := unit.Meters(c.AreaM2)
		out[k].Area += unit.SquareMeters(c.AreaM2)
		out[k].Depth += area * unit.Meters(c.DepthM-before.Depth(old.ToPlane(where)))
	}
	slices.SortFunc(out, func(a, b CellChange) int {
		if a.Cell < b.Cell {
			return -1
		}
		return 1
	})
	inParallel(len(out), func(k int) {
		c := &out[k]
		c.Depth /= unit.Meters(c.Area)
		was := before.ownDepthSD(old.ToPlane(frame.ToLatLng(c.inside)))
		c.SD = unit.Meters(math.Hypot(was, after.ownDepthSD(c.inside)))
	})
	return out
}
