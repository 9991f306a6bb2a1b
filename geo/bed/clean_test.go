package bed

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// Runs of weed (a layer above the bed) and fish (anything between a third and two
// thirds of the depth), longer than the spike rule's window sees through, on lines
// over a bed with a channel, a dam face and noise.
func TestPrepare_FindsRunsOfFalseEchoes(t *testing.T) {
	t.Parallel()
	frame := plane.NewFrame(s2.LatLngFromDegrees(38, -95))
	var ring []s2.LatLng
	for _, p := range []plane.Point{{X: -20, Y: -500}, {X: 420, Y: -500}, {X: 420, Y: 500}, {X: -20, Y: 500}} {
		ring = append(ring, frame.ToLatLng(p))
	}
	s, err := shore.New(ring, nil)
	if err != nil {
		t.Fatal(err)
	}
	origin := s.Frame().ToPlane(frame.ToLatLng(plane.Point{}))
	depth := func(x float64) float64 { // banks of 1:3, a channel 2 m deep and 12 m wide
		d := min(x/3+0.5, 4, (400-x)/3+0.5)
		return d + 2*math.Exp(-(x-220)*(x-220)/72)
	}
	clock := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
	var bad, found, good, lost int
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(seed, 9))
		var soundings []Sounding
		wrong := make(map[int]bool)
		from, length := 30+rng.IntN(160), 10+rng.IntN(21)
		fish, height := seed%2 == 1, 0.7+rng.Float64()
		clean := seed%4 == 0
		for k := range 260 {
			x := 1.5 * float64(k)
			d := depth(x)
			if !clean && k >= from && k < from+length {
				if fish {
					d *= 1.0/3 + rng.Float64()/3
				} else {
					d = max(0.2, d-height)
				}
				wrong[k] = true
			}
			d += (0.03 + 0.01*d) * rng.NormFloat64()
			soundings = append(soundings, Sounding{At: origin.Add(plane.Point{X: x, Y: float64(seed)}), DepthM: d, Time: clock.Add(time.Duration(k) * time.Second)})
		}
		flags := make([][]Flag, len(soundings))
		prepare(s, soundings, flags)
		for k, list := range flags {
			excluded := false
			for _, f := range list {
				excluded = excluded || f.Excludes()
			}
			switch {
			case wrong[k] && excluded:
				found++
			case !wrong[k] && excluded:
				lost++
			}
			if wrong[k] {
				bad++
			} else {
				good++
			}
		}
	}
	t.Logf("found %d of %d false echoes, lost %d of %d good fixes", found, bad, lost, good)
	if share := float64(found) / float64(bad); share < 0.9 {
		t.Errorf("found %.1f %% of the false echoes, want at least 90", 100*share)
	}
	if share := float64(lost) / float64(good); share > 0.01 {
		t.Errorf("lost %.2f %% of the good fixes, want at most 1", 100*share)
	}
}
