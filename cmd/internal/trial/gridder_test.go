//go:build trial

package trial

import (
	"bytes"
	"encoding/binary"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/curve"
	"pondwright/geo/grid"
)

var (
	beside = flag.String("beside", "GRIDDER.md", "file for the table beside the gridder; empty for none")
	rounds = flag.Int("rounds", 2, "surveys per pond and number of lines beside the gridder")
)

var besideLines = []int{8, 10, 14, 20, 28}

// fieldDone is the share of progress at which an estimate has its surface, and
// only the doubt is left to find.
const fieldDone = 0.85

// gridded is one survey by both.
type gridded struct {
	pond          int
	lines         int
	ours, theirs  float64 // relative errors of the volume
	field, all    time.Duration
	took          time.Duration // by the gridder, from the call to its end
	nodes, places int
}

// The estimate beside a general-purpose gridder by minimum curvature, the
// program surface of Debian's package gmt: the same soundings, the shoreline at
// depth zero at most √area/120 apart for the gridder, the same nodes, and the
// same mesh for the volume. One survey at a time, so that the times compare.
func TestGridder(t *testing.T) { //nolint:paralleltest // takes times
	program, err := exec.LookPath("gmt")
	if err != nil {
		t.Skip("the gridder is not installed: run .ci/gridder")
	}
	ponds := allPonds(t)
	top := head("Beside a general-purpose gridder", ".ci/gridder", len(ponds))
	var runs []gridded
	for k, p := range ponds {
		for n := range *rounds * len(besideLines) {
			lines := besideLines[n%len(besideLines)]
			soundings := p.Sound(Survey{Lines: lines, Seed: uint64(90 + n)})
			r, err := gridBoth(program, t.TempDir(), p, soundings)
			if err != nil {
				t.Fatalf("%s: %v", p.Name, err)
			}
			r.pond, r.lines = k, lines
			runs = append(runs, r)
		}
		t.Logf("%s: ours %+.2f %%, theirs %+.2f %% in the last", p.Name, 100*runs[len(runs)-1].ours, 100*runs[len(runs)-1].theirs)
	}
	page := top + gridderPage(ponds, runs)
	t.Log("\n" + page)
	if *beside != "" {
		if err := os.WriteFile(*beside, []byte(page), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func gridBoth(program, dir string, p *Pond, soundings []bed.Sounding) (gridded, error) {
	var r gridded
	began := time.Now()
	b, err := bed.Estimate(p.Shore, soundings, bed.Options{Progress: func(share float64) bool {
		if share <= fieldDone {
			r.field = time.Since(began)
		}
		return true
	}})
	if err != nil {
		return r, err
	}
	r.all = time.Since(began)
	r.ours = float64(b.Volume().Value)/p.VolumeM3 - 1
	g := b.Grid()
	r.nodes = len(g.Nodes)

	var points bytes.Buffer
	put := func(x, y, z float64) { // in steps of the grid: without tension the surface knows no length
		for _, v := range [3]float64{(x - g.Origin.X) / g.SpacingM, (y - g.Origin.Y) / g.SpacingM, z} {
			_ = binary.Write(&points, binary.LittleEndian, v) // a buffer takes everything
		}
		r.places++
	}
	for _, s := range soundings {
		if p.Shore.Contains(s.At) {
			put(s.At.X, s.At.Y, s.DepthM)
		}
	}
	stepM := math.Sqrt(p.AreaM2) / 120
	for _, ring := range p.Shore.Rings() {
		for k, a := range ring {
			e := ring[(k+1)%len(ring)]
			n := max(1, int(math.Ceil(a.Distance(e)/stepM)))
			for c := range n {
				q := a.Lerp(e, float64(c)/float64(n))
				put(q.X, q.Y, 0)
			}
		}
	}
	in, out := filepath.Join(dir, "in.bin"), filepath.Join(dir, "out.grd")
	if err := os.WriteFile(in, points.Bytes(), 0o600); err != nil {
		return r, err
	}
	region := fmt.Sprintf("-R0/%d/0/%d", g.NX-1, g.NY-1)
	surface := exec.Command(program, "surface", in, "-bi3d", region, "-I1", "-T0", "-G"+out+"=bf", "-Ve")
	surface.Dir = dir // where it leaves notes of its own
	began = time.Now()
	if text, err := surface.CombinedOutput(); err != nil {
		return r, fmt.Errorf("surface: %w: %s", err, text)
	}
	r.took = time.Since(began)
	dump := exec.Command(program, "grd2xyz", out+"=bf", "-ZBLf")
	dump.Dir = dir
	raw, err := dump.Output()
	if err != nil {
		return r, fmt.Errorf("grd2xyz: %w", err)
	}
	volume, err := volumeOf(g, raw)
	r.theirs = volume/p.VolumeM3 - 1
	return r, err
}

// volumeOf returns the volume of a grid of heights, rows from the south, over the
// mesh of g; what rises above the water counts as dry.
func volumeOf(g *grid.Grid, raw []byte) (float64, error) {
	if len(raw) != 4*g.NX*g.NY {
		return 0, fmt.Errorf("the gridder gave %d bytes, want %d", len(raw), 4*g.NX*g.NY)
	}
	depthM := make([]float64, len(g.Mesh.Points))
	for n, node := range g.Nodes {
		k := int(node.J)*g.NX + int(node.I)
		depthM[n] = max(0, float64(math.Float32frombits(binary.LittleEndian.Uint32(raw[4*k:]))))
	}
	c, err := curve.New(&g.Mesh, depthM)
	if err != nil {
		return 0, err
	}
	return float64(c.Volume(unit.Meters(0))), nil
}

func gridderPage(ponds []*Pond, runs []gridded) string {
	var out strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&out, format+"\n", args...) }
	line("\nBeside the estimate stands a general-purpose gridder by minimum curvature: `surface` of Debian's package gmt, no tension. Both get the same soundings, clean; the gridder gets the shoreline as places of depth zero at most √area/120 apart. Same grid, same mesh under the volume. %d surveys of each pond, as many each at 8, 10, 14, 20 and 28 lines. Most of what both err by on the solids comes from the positions, which are off by 0.8 m for a while: it is the same in both, so that chance decides between them.\n", len(runs)/len(ponds))
	better, lower := 0, 0
	var fieldRatio, allRatio []float64
	for k := range runs {
		r := &runs[k]
		if math.Abs(r.ours) < math.Abs(r.theirs) {
			better++
		}
		fieldRatio = append(fieldRatio, r.field.Seconds()/r.took.Seconds())
		allRatio = append(allRatio, r.all.Seconds()/r.took.Seconds())
	}
	slices.Sort(fieldRatio)
	slices.Sort(allRatio)
	var rows []string
	for k, p := range ponds {
		var ours, theirs, bias, theirBias, took, field, all float64
		won, n := 0, 0.0
		for i := range runs {
			r := &runs[i]
			if r.pond != k {
				continue
			}
			n++
			ours, theirs = ours+100*math.Abs(r.ours), theirs+100*math.Abs(r.theirs)
			bias, theirBias = bias+100*r.ours, theirBias+100*r.theirs
			took, field, all = took+r.took.Seconds(), field+r.field.Seconds(), all+r.all.Seconds()
			if math.Abs(r.ours) < math.Abs(r.theirs) {
				won++
			}
		}
		if ours < theirs {
			lower++
		}
		rows = append(rows, fmt.Sprintf("| %s | %.2f | %.2f | %+.2f | %+.2f | %d of %.0f | %.2f | %.2f | %.2f |", p.Name, ours/n, theirs/n, bias/n, theirBias/n, won, n, field/n, all/n, took/n))
	}
	verdict := func(met bool) string {
		if met {
			return "met"
		}
		return "**missed**"
	}
	share := 100 * float64(better) / float64(len(runs))
	ratio := fieldRatio[len(fieldRatio)/2]
	line("| | got | target | |\n|---|---|---|---|")
	line("| ponds with the lower mean error | %d of %d | all | %s |", lower, len(ponds), verdict(lower == len(ponds)))
	line("| surveys with the lower error, %% | %.0f | ≥ 90 | %s |", share, verdict(share >= 90))
	line("| median time to surface and volume over the gridder's | %.2f | ≤ 1 | %s |", ratio, verdict(ratio <= 1))
	line("| the same with noise, smoothness and interval | %.2f | | |\n", allRatio[len(allRatio)/2])
	line("The time to the surface includes finding noise and smoothness. The gridder's is its whole run, reading and writing its files.\n")
	line("| pond | mean absolute error | the gridder's | bias | the gridder's | lower in | surface, s | with interval, s | gridder, s |\n|---|---|---|---|---|---|---|---|---|")
	line("%s", strings.Join(rows, "\n"))
	return out.String()
}
