package bed_test

import (
	"bytes"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/golang/geo/s2"

	"pondwright/geo/bed"
	"pondwright/geo/grid"
)

// inPasses names a boat run for each thousand soundings.
func inPasses(soundings []bed.Sounding, size int) []bed.Sounding {
	out := slices.Clone(soundings)
	for k := range out {
		out[k].Pass = string(rune('a' + k/size))
	}
	return out
}

func TestLive_FollowsTheEstimate(t *testing.T) {
	t.Parallel()
	p := loadPond(t, "O2_valley20")
	soundings := inPasses(p.soundings, 250)
	l, err := bed.NewLive(p.shore, bed.Options{SpacingM: 6})
	if err != nil {
		t.Fatal(err)
	}
	half := len(soundings) / 2
	if _, err := l.Add(soundings[:half]); err != nil {
		t.Fatal(err)
	}
	before, err := l.Settle()
	if err != nil {
		t.Fatal(err)
	}
	var last bed.Update
	seen := false
	for k := half; k < len(soundings); k += 20 {
		batch := soundings[k:min(k+20, len(soundings))]
		if last, err = l.Add(batch); err != nil {
			t.Fatal(err)
		}
		for _, s := range batch {
			if slices.Contains(last.Tiles, grid.Tile(p.shore.Frame().ToLatLng(s.At))) {
				seen = true
			}
		}
		if !slices.IsSorted(last.Tiles) {
			t.Fatalf("tiles %v are not in order", last.Tiles)
		}
	}
	if !seen {
		t.Error("no batch made its own tile dirty")
	}
	live := make([]float64, len(p.checks))
	for k, c := range p.checks {
		live[k] = l.Depth(c.at)
	}
	cold, err := l.Settle()
	if err != nil {
		t.Fatal(err)
	}
	was, is, now := float64(before.Volume().Value), float64(last.Volume), float64(cold.Volume().Value)
	t.Logf("volume %.0f m³ with half the lines, %.0f live, %.0f settled, %.0f in truth", was, is, now, p.truth.VolumeM3)
	if math.Abs(is-now) > 0.25*math.Abs(was-now) || math.Abs(is/now-1) > 0.01 {
		t.Errorf("live volume %.0f m³, settled %.0f, before %.0f; want it within 1 %% of the settled one and most of the way", is, now, was)
	}
	var squares float64
	for k, c := range p.checks {
		d := live[k] - cold.Depth(c.at)
		squares += d * d
	}
	if rms := math.Sqrt(squares / float64(len(live))); rms > 0.1 {
		t.Errorf("live depths differ from the settled ones by %.3f m, want at most 0.1", rms)
	}
	shuffled := slices.Clone(soundings)
	rng := rand.New(rand.NewPCG(4, 4))
	rng.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	other, err := bed.Estimate(p.shore, shuffled, bed.Options{SpacingM: 6})
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(bits(t, other), bits(t, cold)) {
		t.Error("the settled bed is not that of a cold estimate to the last bit")
	}
}

func TestLive_StartsFromNothing(t *testing.T) {
	t.Parallel()
	b := &basins[0]
	s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	l, err := bed.NewLive(s, bed.Options{SpacingM: 4})
	if err != nil {
		t.Fatal(err)
	}
	if u, err := l.Add(nil); err != nil || !(u.Volume > 0) {
		t.Errorf("without soundings: %+v, %v; want a guess", u, err)
	}
	for _, f := range inPasses(b.survey(rand.New(rand.NewPCG(1, 1)), 6, 0, toFrame), 1000)[:40] {
		if u, err := l.Add([]bed.Sounding{f}); err != nil || !(u.Volume > 0) {
			t.Fatalf("%+v, %v", u, err)
		}
	}
	if _, err := bed.NewLive(s, bed.Options{SpacingM: -1}); err == nil {
		t.Error("no error for a negative spacing")
	}
}

// A batch of twenty soundings on top of the 8,857 of a dense survey.
func BenchmarkLive_Add(b *testing.B) {
	p := loadPond(b, "O4_dense60")
	soundings := inPasses(p.soundings, 1000)
	l, err := bed.NewLive(p.shore, bed.Options{})
	if err != nil {
		b.Fatal(err)
	}
	if _, err := l.Add(soundings[:6000]); err != nil {
		b.Fatal(err)
	}
	at := 6000
	for b.Loop() {
		if _, err := l.Add(soundings[at : at+20]); err != nil {
			b.Fatal(err)
		}
		if at += 20; at+20 > len(soundings) {
			at = 6000 // sent twice: the bins change again
		}
	}
}
