package site

import (
	"math"
	"slices"
	"testing"

	"pondwright/geo/plane"
)

// row lays cells of one square meter side by side.
func row(depthsM ...float64) ([]Cell, [][]int) {
	cells := make([]Cell, len(depthsM))
	for i, d := range depthsM {
		cells[i] = Cell{At: plane.Point{X: float64(i)}, AreaM2: 1, DepthM: d}
	}
	return cells, neighborsOf(cells, func(a, b plane.Point) bool { return false })
}

func flat(n int, v float64) []float64 { return slices.Repeat([]float64{v}, n) }

func joined(parts ...[]float64) []float64 { return slices.Concat(parts...) }

func TestFindBasins(t *testing.T) {
	t.Parallel()
	r := DefaultRules()
	tests := []struct {
		name   string
		depths []float64
		want   []float64 // basin of each cell
		sills  []float64 // of each basin
	}{
		{"one bowl", []float64{1, 2, 3, 2, 1}, []float64{0, 0, 0, 0, 0}, []float64{0}},
		{"level bed", []float64{2, 2, 2}, []float64{0, 0, 0}, []float64{0}},
		{"two basins, the sill cell goes with its deeper neighbor", []float64{1, 4, 2, 3, 1}, []float64{0, 0, 0, 1, 1}, []float64{2, 2}},
		{"a sill less than 0.6 m below the shallower", []float64{1, 4, 2.5, 3, 1}, []float64{0, 0, 0, 0, 0}, []float64{0}},
		{"a deep hole with too little water", joined([]float64{7, 2}, flat(15, 6), []float64{3}, flat(15, 5.9)), joined(flat(18, 0), flat(15, 1)), []float64{3, 3}},
		{"three basins in a row", []float64{5, 2, 4, 1, 3}, []float64{0, 0, 1, 1, 2}, []float64{2, 2, 1}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			cells, near := row(tt.depths...)
			basins, of, sills := findBasins(cells, near, r)
			for i := range of {
				if float64(of[i]) != tt.want[i] {
					t.Fatalf("basins %v, want %v", of, tt.want)
				}
			}
			for b, want := range tt.sills {
				if got := float64(basins[b].Sill); got != want {
					t.Errorf("sill of basin %d at %g m, want %g m", b, got, want)
				}
			}
			for b := range basins {
				for c := range basins {
					if sills[b][c] != sills[c][b] || (b == c) != math.IsInf(sills[b][c], 1) {
						t.Errorf("sills %v", sills)
					}
				}
			}
		})
	}
}

// TestFindBasins_SillsChain gives the sill between the outer two as the
// shallower of those on the way.
func TestFindBasins_SillsChain(t *testing.T) {
	t.Parallel()
	cells, near := row(5, 2, 4, 1, 3)
	_, _, sills := findBasins(cells, near, DefaultRules())
	if sills[0][1] != 2 || sills[1][2] != 1 || sills[0][2] != 1 {
		t.Errorf("sills %v, want 2, 1 and 1", sills)
	}
}

// TestFindBasins_Apart joins patches that do not touch at their nearest cells.
func TestFindBasins_Apart(t *testing.T) {
	t.Parallel()
	cells, _ := row(1, 4, 1.5, 3, 1)
	none := make([][]int, len(cells))
	none[0], none[1] = []int{1}, []int{0}
	none[3], none[4] = []int{4}, []int{3}
	basins, of, sills := findBasins(cells, none, DefaultRules())
	if len(basins) != 2 || of[0] != of[1] || of[3] != of[4] || of[0] == of[3] {
		t.Fatalf("basins %v of %v", basins, of)
	}
	if sills[0][1] != 1.5 {
		t.Errorf("sill at %g m, want 1.5", sills[0][1])
	}
}

func TestNeighborsOf_StopAtTheShore(t *testing.T) {
	t.Parallel()
	cells, _ := row(1, 1, 1)
	cells = append(cells, Cell{At: plane.Point{X: 1, Y: 1}, AreaM2: 1}, Cell{At: plane.Point{X: 9, Y: 9}, AreaM2: 0.5})
	near := neighborsOf(cells, func(a, b plane.Point) bool { return min(a.X, b.X) < 0.5 && max(a.X, b.X) > 0.5 })
	want := []int{0, 2, 2, 2, 0}
	for i := range want {
		if len(near[i]) != want[i] {
			t.Errorf("cell %d has neighbors %v, want %d of them", i, near[i], want[i])
		}
	}
}
