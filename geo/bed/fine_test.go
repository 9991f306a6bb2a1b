package bed_test

import (
	"math"
	"testing"

	"pondwright/geo/bed"
)

// A grid far finer than usual gives the same answer.
func TestEstimate_OnAVeryFineGrid(t *testing.T) {
	t.Parallel()
	p := loadPond(t, "O1_bowl")
	var volume, depth [2]float64
	for k, spacing := range []float64{2, 0.8} {
		b, err := bed.Estimate(p.shore, p.soundings, bed.Options{SpacingM: spacing})
		if err != nil {
			t.Fatal(err)
		}
		v := b.Volume()
		volume[k], depth[k] = float64(v.Value), b.Depth(p.checks[0].at)
		if !(float64(v.Low) <= p.truth.VolumeM3 && p.truth.VolumeM3 <= float64(v.High)) {
			t.Errorf("%d nodes: [%.0f, %.0f] misses the true %.0f m³", b.Diagnostics().Nodes, v.Low, v.High, p.truth.VolumeM3)
		}
	}
	if math.Abs(volume[1]/volume[0]-1) > 0.001 || math.Abs(depth[1]-depth[0]) > 0.02 {
		t.Errorf("volume %.1f m³ and depth %.3f m on a usual grid, %.1f and %.3f on the fine one", volume[0], depth[0], volume[1], depth[1])
	}
}
