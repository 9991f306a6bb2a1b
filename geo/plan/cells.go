package plan

import (
	"cmp"
	"math"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/plane"
	"pondwright/geo/site"
)

// mostCells is how many patches of water sites are chosen among: a few thousand
// tell as much as the bed's own tens of thousands.
const mostCells = 4000

// patches merges the bed's cells into square patches of water, none of which
// reaches across land.
func (in Input) patches() []site.Cell {
	b, crosses := in.bedOf(), in.Shore.Crosses
	cells := slices.DeleteFunc(slices.Clone(b.Cells()), func(c bed.Cell) bool { return !(c.AreaM2 > 0) })
	merge := math.Ceil(math.Sqrt(float64(len(cells)) / float64(cmp.Or(in.mostPatches, mostCells))))
	widthM := max(merge, 1) * b.Diagnostics().SpacingM
	type key struct{ j, i int }
	at := func(p plane.Point) key {
		return key{int(math.Floor(p.Y / widthM)), int(math.Floor(p.X / widthM))}
	}
	slices.SortStableFunc(cells, func(p, q bed.Cell) int {
		a, b := at(p.At), at(q.At)
		return cmp.Or(cmp.Compare(a.j, b.j), cmp.Compare(a.i, b.i))
	})
	var out []site.Cell
	for len(cells) > 0 {
		n := 1
		for n < len(cells) && at(cells[n].At) == at(cells[0].At) {
			n++
		}
		out = appendPatches(out, cells[:n], crosses)
		cells = cells[n:]
	}
	return out
}

// appendPatches merges the cells of one square: those that the middle one sees
// past the shore become a patch, the rest are treated likewise.
func appendPatches(out []site.Cell, cells []bed.Cell, crosses func(a, b plane.Point) bool) []site.Cell {
	for len(cells) > 0 {
		var middle plane.Point
		for _, c := range cells {
			middle = middle.Add(c.At.Scale(1 / float64(len(cells))))
		}
		heart := slices.MinFunc(cells, func(p, q bed.Cell) int {
			return cmp.Compare(p.At.Distance(middle), q.At.Distance(middle))
		})
		// A diffuser would stand at the heart, whatever the mean depth about it.
		patch := site.Cell{At: heart.At, ShoreM: heart.ShoreM, Barred: unit.Meters(heart.DepthM) < site.DefaultRules().ShallowDepth}
		var volumeM3 float64
		var rest []bed.Cell
		for _, c := range cells {
			if c != heart && crosses(heart.At, c.At) {
				rest = append(rest, c)
				continue
			}
			patch.AreaM2 += c.AreaM2
			volumeM3 += c.VolumeM3
			patch.Slope = max(patch.Slope, c.Slope)
		}
		patch.DepthM = volumeM3 / patch.AreaM2
		out, cells = append(out, patch), rest
	}
	return out
}
