package bed

import (
	"hash/fnv"
	"math"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/grid"
)

// Levels of the cells in a tile: their limits, the usual one, and the finest for
// which the standard deviation is found.
const (
	LeastTileLevel = grid.TileLevel + 1
	MostTileLevel  = 22
	UsualTileLevel = 20
	finestSDLevel  = 20
)

// Ashore is the depth of a tile's cell without water.
const Ashore = -1

// Tile is the bed in one S2 cell, as a grid of smaller cells in order of id. Depths
// are whole centimeters, so that a tile changes only where the bed does.
type Tile struct {
	Cell    s2.CellID
	Level   int     // of the smaller cells
	DepthCM []int32 // at their centers; Ashore for no water
	SDCM    []int32 // standard deviation, at least 1; 0 ashore
}

// Tiles returns the cells of grid.TileLevel that may hold water, in order of id.
func (b *Bed) Tiles() []s2.CellID { return b.shore.Covering(grid.TileLevel) }

// Tile returns the bed in a cell of grid.TileLevel. Standard deviations are found for
// cells of level 20 at the finest and hold for those inside. It returns a
// *unit.RangeError for a level outside LeastTileLevel to MostTileLevel, or a cell
// that is no tile.
func (b *Bed) Tile(cell s2.CellID, level int) (Tile, error) {
	if err := unit.CheckRange("level of a tile's cells", float64(level), LeastTileLevel, MostTileLevel, "this project's own limit"); err != nil {
		return Tile{}, err
	}
	if !cell.IsValid() || cell.Level() != grid.TileLevel {
		return Tile{}, &unit.RangeError{Quantity: "level of a tile", Got: float64(cell.Level()), Min: grid.TileLevel, Max: grid.TileLevel}
	}
	frame := b.shore.Frame()
	t := Tile{Cell: cell, Level: level}
	coarse := min(level, finestSDLevel)
	type doubt struct{ from, to, wet int } // cells of one coarser cell, and the first in the water
	var doubts []doubt
	end := cell.ChildEndAtLevel(level)
	for id := cell.ChildBeginAtLevel(level); id != end; id = id.Next() {
		k := len(t.DepthCM)
		if id.Parent(coarse).ChildBeginAtLevel(level) == id {
			doubts = append(doubts, doubt{from: k, wet: -1})
		}
		depth := int32(Ashore)
		if p := frame.ToPlane(id.LatLng()); b.shore.Contains(p) {
			depth = int32(math.Round(100 * b.Depth(p)))
			if d := &doubts[len(doubts)-1]; d.wet < 0 {
				d.wet = k
			}
		}
		t.DepthCM = append(t.DepthCM, depth)
		doubts[len(doubts)-1].to = k + 1
	}
	t.SDCM = make([]int32, len(t.DepthCM))
	begin := cell.ChildBeginAtLevel(level)
	inParallel(len(doubts), func(n int) {
		d := doubts[n]
		if d.wet < 0 {
			return
		}
		// No water is without doubt: less than half a centimeter counts as one.
		sd := max(1, int32(math.Round(100*b.DepthSD(frame.ToPlane(begin.Advance(int64(d.wet)).LatLng())))))
		for k := d.from; k < d.to; k++ {
			if t.DepthCM[k] != Ashore {
				t.SDCM[k] = sd
			}
		}
	})
	return t, nil
}

// Wet reports whether any of the tile is water.
func (t *Tile) Wet() bool {
	for _, d := range t.DepthCM {
		if d != Ashore {
			return true
		}
	}
	return false
}

// Sum returns a checksum of what the tile says, FNV-1a of 64 bits.
func (t *Tile) Sum() uint64 {
	h := fnv.New64a()
	word := func(v uint64) {
		var raw [8]byte
		for k := range raw {
			raw[k] = byte(v >> (8 * k))
		}
		_, _ = h.Write(raw[:]) // never fails
	}
	word(uint64(t.Cell))
	word(uint64(t.Level))
	for k, d := range t.DepthCM {
		word(uint64(uint32(d))<<32 | uint64(uint32(t.SDCM[k])))
	}
	return h.Sum64()
}
