package bed_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/grid"
)

func tilesOf(t testing.TB, b *bed.Bed, level int) []bed.Tile {
	t.Helper()
	var out []bed.Tile
	for _, cell := range b.Tiles() {
		tile, err := b.Tile(cell, level)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, tile)
	}
	return out
}

// Tiles hold the bed: depth and doubt at each cell's center, and with the cells' areas
// the pond's area and volume.
func TestBed_TilesHoldTheBed(t *testing.T) {
	t.Parallel()
	b := &basins[1]
	s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	est, err := bed.Estimate(s, b.survey(rand.New(rand.NewPCG(21, 1)), 10, 0.01, toFrame), bed.Options{SpacingM: 3})
	if err != nil {
		t.Fatal(err)
	}
	for _, level := range []int{19, 22} {
		var area, volume float64
		for _, tile := range tilesOf(t, est, level) {
			if n := 1 << (2 * (level - grid.TileLevel)); len(tile.DepthCM) != n || len(tile.SDCM) != n {
				t.Fatalf("level %d: %d depths, want %d", level, len(tile.DepthCM), n)
			}
			id := tile.Cell.ChildBeginAtLevel(level)
			for k, d := range tile.DepthCM {
				p := s.Frame().ToPlane(id.LatLng())
				if in := s.Contains(p); in != (d != bed.Ashore) {
					t.Fatalf("cell %s: depth %d, in the water %v", id.ToToken(), d, in)
				}
				if d != bed.Ashore {
					if math.Abs(float64(d)-100*est.Depth(p)) > 0.5001 {
						t.Fatalf("cell %s: %d cm, the bed is %.2f m deep", id.ToToken(), d, est.Depth(p))
					}
					if level < 20 && math.Abs(float64(tile.SDCM[k])-100*est.DepthSD(p)) > 0.5001 {
						t.Fatalf("cell %s: ± %d cm, the bed says %.3f m", id.ToToken(), tile.SDCM[k], est.DepthSD(p))
					}
					if tile.SDCM[k] == 0 {
						t.Fatalf("cell %s has no doubt", id.ToToken())
					}
					w := grid.CellWidthM(id)
					area, volume = area+w*w, volume+w*w*float64(d)/100
				} else if tile.SDCM[k] != 0 {
					t.Fatalf("cell %s ashore has doubt", id.ToToken())
				}
				id = id.Next()
			}
		}
		tol := map[int]float64{19: 0.08, 22: 0.01}[level]
		if math.Abs(area/float64(s.Area())-1) > tol || math.Abs(volume/float64(est.Volume().Value)-1) > tol {
			t.Errorf("level %d: the tiles hold %.0f m² and %.0f m³, the bed %.0f and %.0f", level, area, volume, float64(s.Area()), est.Volume().Value)
		}
	}
	if est.Bytes() < 1e5 || est.Bytes() > 1e8 {
		t.Errorf("the bed is said to hold %d bytes", est.Bytes())
	}
}

// However the soundings arrive, and on however many processors, a cold estimate
// gives the same tiles to the bit.
func TestBed_TilesDoNotDependOnTheOrder(t *testing.T) { //nolint:paralleltest // it sets the number of processors
	b := &basins[1]
	s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	soundings := b.survey(rand.New(rand.NewPCG(22, 1)), 8, 0.02, toFrame)
	var want []uint64
	for n := range 3 {
		mixed := slices.Clone(soundings)
		rand.New(rand.NewPCG(uint64(n), 3)).Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
		old := runtime.GOMAXPROCS(n + 1)
		est, err := bed.Estimate(s, mixed, bed.Options{SpacingM: 3})
		var got []uint64
		if err == nil {
			for _, tile := range tilesOf(t, est, 20) {
				got = append(got, tile.Sum())
			}
		}
		runtime.GOMAXPROCS(old)
		if err != nil {
			t.Fatal(err)
		}
		if n == 0 {
			want = got
		}
		if !slices.Equal(got, want) {
			t.Errorf("order %d: checksums %x, want %x", n, got, want)
		}
	}
}

func TestBed_TileRefuses(t *testing.T) {
	t.Parallel()
	b := &basins[1]
	s, _ := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	est, err := bed.Estimate(s, nil, bed.Options{SpacingM: 5})
	if err != nil {
		t.Fatal(err)
	}
	cell := est.Tiles()[0]
	for _, tt := range []struct {
		cell  s2.CellID
		level int
	}{{cell, 16}, {cell, 23}, {cell.Parent(15), 20}, {0, 20}} {
		var bad *unit.RangeError
		if _, err := est.Tile(tt.cell, tt.level); !errors.As(err, &bad) {
			t.Errorf("cell %v at level %d: %v, want a range error", tt.cell, tt.level, err)
		}
	}
}
