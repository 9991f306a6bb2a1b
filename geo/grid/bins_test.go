package grid_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/golang/geo/s2"
	"pgregory.net/rapid"

	"pondwright/geo/grid"
	"pondwright/geo/plane"
)

func TestBins_MergeInAnyOrder(t *testing.T) {
	t.Parallel()
	type reading struct {
		key grid.BinKey
		sum grid.Sum
	}
	rapid.Check(t, func(r *rapid.T) {
		var all []reading
		for range rapid.IntRange(0, 60).Draw(r, "readings") {
			x, y := rapid.Float64Range(0, 20).Draw(r, "x"), rapid.Float64Range(0, 20).Draw(r, "y")
			ll := s2.LatLngFromDegrees(40+y*1e-5, -90+x*1e-5)
			key := grid.BinKey{Line: int32(rapid.IntRange(0, 2).Draw(r, "line")), Cell: s2.CellIDFromLatLng(ll).Parent(22)}
			all = append(all, reading{key, grid.SumOf(plane.Point{X: x, Y: y}, rapid.Float64Range(0.1, 9).Draw(r, "depth"))})
		}
		var one grid.Bins
		for _, a := range all {
			one.Add(a.key, a.sum)
		}
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(r, "seed"), 1))
		rng.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
		parts := make([]grid.Bins, 3)
		for k, a := range all {
			parts[k%3].Add(a.key, a.sum)
		}
		var many grid.Bins
		for k := range parts {
			many.Merge(&parts[k])
		}
		if !slices.Equal(one.Sorted(), many.Sorted()) {
			r.Fatal("bins depend on the order of arrival")
		}
		var count int64
		for _, b := range one.Sorted() {
			count += b.Count
			if tile := b.Cell.Parent(grid.TileLevel); !slices.Contains(grid.Tiles(one.Sorted()), tile) {
				r.Fatalf("tile %v is missing", tile)
			}
		}
		if int(count) != len(all) {
			r.Fatalf("%d readings in bins, want %d", count, len(all))
		}
	})
}

func TestSum_MeansAndSpread(t *testing.T) {
	t.Parallel()
	s := grid.SumOf(plane.Point{X: 1, Y: 4}, 2).Merge(grid.SumOf(plane.Point{X: 3, Y: -2}, 3))
	if s.DepthM() != 2.5 || s.SpreadM() != 0.5 || s.At() != (plane.Point{X: 2, Y: 1}) || s.Count != 2 {
		t.Errorf("depth %g ± %g at %v of %d, want 2.5 ± 0.5 at {2 1} of 2", s.DepthM(), s.SpreadM(), s.At(), s.Count)
	}
}

// The mean width of a cell is √(4πR²/(6·4^level)); single cells differ by up to
// about a third either way (S2's area ratio is near 2.1 for this projection).
func TestCellWidthM(t *testing.T) {
	t.Parallel()
	var least, most float64 = math.Inf(1), 0
	for lat := -80.0; lat <= 80; lat += 7 {
		for lng := -175.0; lng < 180; lng += 11 {
			w := grid.CellWidthM(s2.CellIDFromLatLng(s2.LatLngFromDegrees(lat, lng)).Parent(21))
			least, most = min(least, w), max(most, w)
		}
	}
	mean := math.Sqrt(4 * math.Pi * 6371010 * 6371010 / (6 * math.Pow(4, 21)))
	if least < 0.75*mean || most > 1.3*mean || most/least > 1.5 {
		t.Errorf("widths from %.2f to %.2f m about a mean of %.2f", least, most, mean)
	}
	if got := grid.BinLevel(s2.LatLngFromDegrees(40, -90), 1); got != 22 {
		t.Errorf("level %d for a spacing of 1 m, want 22", got)
	}
	if got := grid.BinLevel(s2.LatLngFromDegrees(40, -90), 6); got != 20 {
		t.Errorf("level %d for a spacing of 6 m, want 20", got)
	}
}

func BenchmarkNew(b *testing.B) {
	s := newShore(b, disc(plane.Point{}, 250, 800), disc(plane.Point{X: 60}, 30, 60))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := grid.New(s, grid.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
