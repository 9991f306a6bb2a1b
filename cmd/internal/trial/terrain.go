package trial

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"image"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strconv"
)

// terrain is a grid of heights, row by row.
type terrain struct {
	name    string
	nx, ny  int
	heightM []float64
	below   float64 // levels at or above this are not flooded
}

// at returns the height at column i, row j; outside the grid that of its rim.
func (t *terrain) at(i, j int) float64 {
	return t.heightM[min(t.ny-1, max(0, j))*t.nx+min(t.nx-1, max(0, i))]
}

// smooth rounds off the steps of heights stored in whole meters.
func (t *terrain) smooth(times int) {
	for range times {
		out := make([]float64, len(t.heightM))
		for j := range t.ny {
			for i := range t.nx {
				var sum float64
				for dj := -1; dj <= 1; dj++ {
					for di := -1; di <= 1; di++ {
						sum += float64((2-di*di)*(2-dj*dj)) * t.at(i+di, j+dj)
					}
				}
				out[j*t.nx+i] = sum / 16
			}
		}
		t.heightM = out
	}
}

// terrains reads all height grids: one from own, the others from grids.
func terrains(own, grids string) (map[string]*terrain, error) {
	out := map[string]*terrain{}
	for _, t := range []struct {
		name, path string
		read       func(string) (*terrain, error)
		smooth     int
	}{
		{"tennessee", filepath.Join(own, "tennessee.png"), readPNG, 1},
		{"topobathy", filepath.Join(grids, "topobathy.csv"), readRows, 1},
		{"olinda", filepath.Join(grids, "olinda.csv"), readRows, 2},
		{"chesapeake", filepath.Join(grids, "chesapeake"), readTriangles, 0},
	} {
		g, err := t.read(t.path)
		if err != nil {
			return nil, fmt.Errorf("terrain %s: %w", t.name, err)
		}
		g.name = t.name
		g.smooth(t.smooth)
		out[t.name] = g
	}
	return out, nil
}

func readPNG(path string) (*terrain, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	gray, ok := img.(*image.Gray16)
	if !ok {
		return nil, fmt.Errorf("%s holds %T, want 16-bit gray", path, img)
	}
	b := gray.Bounds()
	t := &terrain{nx: b.Dx(), ny: b.Dy(), below: math.Inf(1)}
	for j := range t.ny {
		for i := range t.nx {
			t.heightM = append(t.heightM, float64(gray.Gray16At(b.Min.X+i, b.Min.Y+j).Y))
		}
	}
	return t, nil
}

func readNumbers(path string) ([][]float64, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		return nil, err
	}
	out := make([][]float64, len(rows))
	for j, row := range rows {
		for i, s := range row {
			if s == "" && i == len(row)-1 {
				continue // rows may end in a comma
			}
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				return nil, err
			}
			out[j] = append(out[j], v)
		}
	}
	return out, nil
}

func readRows(path string) (*terrain, error) {
	rows, err := readNumbers(path)
	if err != nil {
		return nil, err
	}
	t := &terrain{nx: len(rows[0]), ny: len(rows), below: math.Inf(1)}
	for _, row := range rows {
		t.heightM = append(t.heightM, row...)
	}
	return t, nil
}

// readTriangles draws a bay's depths, given as triangles, on a grid of about 800
// m. The depths were clipped at 2 m, so only what lies deeper is shore and bed;
// everything else is land.
func readTriangles(path string) (*terrain, error) {
	nodes, err := readNumbers(path + "_nodes.csv")
	if err != nil {
		return nil, err
	}
	triangles, err := readNumbers(path + "_triangles.csv")
	if err != nil {
		return nil, err
	}
	const step = 0.0072 // degrees of latitude
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, n := range nodes {
		for k := range 2 {
			lo[k], hi[k] = min(lo[k], n[k]), max(hi[k], n[k])
		}
	}
	steps := [2]float64{step / math.Cos((lo[1]+hi[1])/2*math.Pi/180), step}
	t := &terrain{nx: int((hi[0]-lo[0])/steps[0]) + 3, ny: int((hi[1]-lo[1])/steps[1]) + 3, below: -2.3}
	t.heightM = make([]float64, t.nx*t.ny)
	for _, v := range triangles {
		var x, y, z [3]float64
		for k := range 3 {
			n := nodes[int(v[k])]
			x[k], y[k], z[k] = (n[0]-lo[0])/steps[0]+1, (n[1]-lo[1])/steps[1]+1, -n[2]
		}
		twice := (x[1]-x[0])*(y[2]-y[0]) - (x[2]-x[0])*(y[1]-y[0])
		for j := int(min(y[0], y[1], y[2])); j <= int(max(y[0], y[1], y[2]))+1; j++ {
			for i := int(min(x[0], x[1], x[2])); i <= int(max(x[0], x[1], x[2]))+1; i++ {
				px, py := float64(i), float64(j)
				a := ((x[1]-px)*(y[2]-py) - (x[2]-px)*(y[1]-py)) / twice
				b := ((x[2]-px)*(y[0]-py) - (x[0]-px)*(y[2]-py)) / twice
				if c := 1 - a - b; a >= 0 && b >= 0 && c >= 0 {
					t.heightM[j*t.nx+i] = a*z[0] + b*z[1] + c*z[2]
				}
			}
		}
	}
	return t, nil
}
