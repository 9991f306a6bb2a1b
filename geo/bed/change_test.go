package bed_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/golang/geo/s2"

	"pondwright/geo/bed"
)

// A cone that filled up by a tenth of its depth everywhere lost a tenth of its
// volume. The interval holds that in most of a handful of pairs of surveys, and an
// error that both surveys share does not move it.
func TestCompare_FindsWhatFilledUp(t *testing.T) {
	t.Parallel()
	const filled, pairs, shared = 0.10, 4, 0.15
	b := &basins[1]
	s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	estimate := func(seed uint64, scale, off float64) *bed.Bed {
		soundings := b.survey(rand.New(rand.NewPCG(seed, 7)), 12, 0.01, toFrame)
		for k := range soundings {
			soundings[k].DepthM = soundings[k].DepthM*scale + off
		}
		est, err := bed.Estimate(s, soundings, bed.Options{SpacingM: 4, DraftSDM: shared})
		if err != nil {
			t.Fatal(err)
		}
		return est
	}
	want := -filled * b.volumeM3()
	held := 0
	var first bed.Change
	for k := range pairs {
		c := bed.Compare(estimate(uint64(2*k), 1, 0), estimate(uint64(2*k+1), 1-filled, 0))
		if k == 0 {
			first = c
		}
		if float64(c.Volume.Low) <= want && want <= float64(c.Volume.High) {
			held++
		}
		if math.Abs(float64(c.Volume.Value)/want-1) > 0.5 {
			t.Errorf("pair %d: change %.0f m³, want about %.0f", k, c.Volume.Value, want)
		}
	}
	if held < pairs-1 {
		t.Errorf("%d of %d intervals hold the change", held, pairs)
	}
	if !first.Certain() {
		t.Errorf("a tenth of the volume is not seen in %+v", first.Volume)
	}
	if got, want := float64(first.Canceled), shared*float64(s.Area()); got < 0.8*want || got > 1.2*want {
		t.Errorf("%.0f m³ canceled, want about %.0f", got, want)
	}
	// Both surveys read 0.15 m too deep: the same change.
	off := bed.Compare(estimate(0, 1, shared), estimate(1, 1-filled, shared))
	if d := math.Abs(float64(off.Volume.Value - first.Volume.Value)); d > 0.02*b.volumeM3() {
		t.Errorf("a shared error moves the change by %.0f m³ of %.0f", d, b.volumeM3())
	}
	var area, moved, square float64
	for k, cell := range first.Cells {
		area += float64(cell.Area)
		moved += float64(cell.Area) * float64(cell.Depth)
		square += math.Pow(float64(cell.Depth)/float64(cell.SD), 2)
		if k > 0 && cell.Cell <= first.Cells[k-1].Cell {
			t.Fatal("cells are not in order of id")
		}
		if cell.SD <= 0 || float64(cell.SD) > shared*2 {
			t.Errorf("cell %s: standard deviation %.3f m", cell.Cell.ToToken(), cell.SD)
		}
	}
	if math.Abs(area/float64(s.Area())-1) > 0.01 {
		t.Errorf("the cells hold %.0f m² of %.0f", area, float64(s.Area()))
	}
	if math.Abs(moved/float64(first.Volume.Value)-1) > 0.1 {
		t.Errorf("the cells lost %.0f m³, the pond %.0f", moved, first.Volume.Value)
	}
}

// A survey against itself changed by nothing, with the doubt of two.
func TestCompare_WithItself(t *testing.T) {
	t.Parallel()
	b := &basins[1]
	s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	est, err := bed.Estimate(s, b.survey(rand.New(rand.NewPCG(5, 7)), 10, 0, toFrame), bed.Options{SpacingM: 4})
	if err != nil {
		t.Fatal(err)
	}
	c := bed.Compare(est, est)
	if c.Volume.Value != 0 || c.Certain() || c.Canceled != 0 {
		t.Errorf("%+v, canceled %g", c.Volume, c.Canceled)
	}
	v := est.Volume()
	if got, want := float64(c.Volume.High), math.Sqrt2*float64(v.High-v.Low)/2; math.Abs(got/want-1) > 0.05 {
		t.Errorf("half width %.1f m³, want √2 times the volume's %.1f", got, want)
	}
}
