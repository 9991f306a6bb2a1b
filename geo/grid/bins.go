package grid

import (
	"cmp"
	"math"
	"slices"

	"github.com/golang/geo/s2"

	"pondwright/geo/plane"
)

// TileLevel is the S2 level of the tiles in which soundings are stored and the
// surface is handed out: cells some 140 m wide.
const TileLevel = 16

// Levels at which soundings are binned.
const (
	coarsestBinLevel = 18
	finestBinLevel   = 22
)

// Tile returns the tile that holds ll.
func Tile(ll s2.LatLng) s2.CellID { return s2.CellIDFromLatLng(ll).Parent(TileLevel) }

// Tiles returns the tile above each bin, every tile once, in order of its id.
func Tiles(bins []Bin) []s2.CellID {
	var out []s2.CellID
	for _, b := range bins {
		out = append(out, b.Cell.Parent(TileLevel))
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// BinLevel returns the S2 level of the bins for a grid of the given spacing at
// ll: the finest from 22 to 18 whose cells are no narrower than three quarters of
// the spacing.
func BinLevel(ll s2.LatLng, spacingM float64) int {
	for level := finestBinLevel; level > coarsestBinLevel; level-- {
		if CellWidthM(s2.CellIDFromLatLng(ll).Parent(level)) >= 0.75*spacingM {
			return level
		}
	}
	return coarsestBinLevel
}

// CellWidthM returns the width of a cell in meters: the square root of its area
// in the plane about its center, taken from its own corners, because cells of
// one level differ by up to a factor of two in area over the globe.
func CellWidthM(id s2.CellID) float64 {
	cell := s2.CellFromCellID(id)
	frame := plane.NewFrame(s2.LatLngFromPoint(cell.Center()))
	var ring []plane.Point
	for k := range 4 {
		ring = append(ring, frame.ToPlane(s2.LatLngFromPoint(cell.Vertex(k))))
	}
	return math.Sqrt(math.Abs(plane.RingArea(ring)))
}

// BinKey names a bin: one boat line in one S2 cell.
type BinKey struct {
	Line int32
	Cell s2.CellID
}

// Sum is what a bin holds: a count and integer sums, so that bins merge to the
// same bits in any order. The zero Sum is empty. Depths up to 1,000 km and any
// count below 2³¹ cannot overflow it.
type Sum struct {
	Count           int64
	DepthMM         int64 // sum of the depths in mm
	DepthMM2        int64 // sum of their squares in mm²
	EastMM, NorthMM int64 // sums of the places in the pond's frame, in mm
}

// SumOf returns the bin of one sounding, rounded to the millimeter.
func SumOf(at plane.Point, depthM float64) Sum {
	mm := int64(math.Round(depthM * 1000))
	return Sum{
		Count: 1, DepthMM: mm, DepthMM2: mm * mm,
		EastMM: int64(math.Round(at.X * 1000)), NorthMM: int64(math.Round(at.Y * 1000)),
	}
}

// Merge returns the sum of both bins.
func (s Sum) Merge(o Sum) Sum {
	s.Count += o.Count
	s.DepthMM += o.DepthMM
	s.DepthMM2 += o.DepthMM2
	s.EastMM += o.EastMM
	s.NorthMM += o.NorthMM
	return s
}

// DepthM returns the mean depth in meters; the bin must not be empty.
func (s Sum) DepthM() float64 { return float64(s.DepthMM) / float64(s.Count) / 1000 }

// SpreadM returns the standard deviation of the depths in meters.
func (s Sum) SpreadM() float64 {
	mean := float64(s.DepthMM) / float64(s.Count)
	return math.Sqrt(max(0, float64(s.DepthMM2)/float64(s.Count)-mean*mean)) / 1000
}

// At returns the mean place.
func (s Sum) At() plane.Point {
	n := float64(s.Count) * 1000
	return plane.Point{X: float64(s.EastMM) / n, Y: float64(s.NorthMM) / n}
}

// Bin is a key with its sum.
type Bin struct {
	BinKey
	Sum
}

// Bins gathers soundings by line and cell. The zero Bins is empty and ready.
type Bins struct{ sums map[BinKey]Sum }

// Add merges sum into the bin at key.
func (b *Bins) Add(key BinKey, sum Sum) {
	if b.sums == nil {
		b.sums = make(map[BinKey]Sum)
	}
	b.sums[key] = b.sums[key].Merge(sum)
}

// Merge adds all bins of o.
func (b *Bins) Merge(o *Bins) {
	for key, sum := range o.sums {
		b.Add(key, sum)
	}
}

// Sorted returns the bins by line, then by cell.
func (b *Bins) Sorted() []Bin {
	out := make([]Bin, 0, len(b.sums))
	for key, sum := range b.sums {
		out = append(out, Bin{key, sum})
	}
	slices.SortFunc(out, func(p, q Bin) int {
		return cmp.Or(cmp.Compare(p.Line, q.Line), cmp.Compare(p.Cell, q.Cell))
	})
	return out
}
