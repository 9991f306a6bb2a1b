package bed_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/geo/bed"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// soundAlong runs straight lines over a basin without errors, one fix each meter.
func soundAlong(b *basin, toFrame func(plane.Point) plane.Point, lines ...[2]plane.Point) (out []bed.Sounding) {
	clock := time.Date(2026, 6, 2, 12, 0, 0, 0, time.UTC)
	for _, l := range lines {
		way := l[0].Distance(l[1])
		for s := 0.0; s <= way; s++ {
			clock = clock.Add(time.Second)
			p := l[0].Lerp(l[1], s/way)
			if d := b.depthAt(p); d > 0.2 {
				out = append(out, bed.Sounding{At: toFrame(p), DepthM: d, Time: clock})
			}
		}
		clock = clock.Add(time.Minute)
	}
	return out
}

// With one half of a pond sounded the advice leads to the other.
func TestNextLines_GoWhereNothingWasSounded(t *testing.T) {
	t.Parallel()
	b := &basins[0]
	s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	var lines [][2]plane.Point
	for x := -70.0; x <= -10; x += 12 {
		lines = append(lines, [2]plane.Point{{X: x, Y: -80}, {X: x, Y: 80}})
	}
	est, err := bed.Estimate(s, soundAlong(b, toFrame, lines...), bed.Options{SpacingM: 3})
	if err != nil {
		t.Fatal(err)
	}
	advice, err := est.NextLines(10)
	if err != nil || len(advice) != bed.MaxAdvice {
		t.Fatalf("%d lines, %v; want %d", len(advice), err, bed.MaxAdvice)
	}
	origin := toFrame(plane.Point{})
	if mid := advice[0].From.Lerp(advice[0].To, 0.5).Sub(origin); mid.X < 5 {
		t.Errorf("first line from %v to %v, want it in the east half", advice[0].From, advice[0].To)
	}
	sd := float64(est.VolumeSD())
	for k, a := range advice {
		if !s.Contains(a.From) || !s.Contains(a.To) || s.Crosses(a.From, a.To) {
			t.Errorf("line %d from %v to %v leaves the water", k, a.From, a.To)
		}
		if !(a.VolumeSDM3 > 0) || a.VolumeSDM3 > sd {
			t.Errorf("line %d leaves %.1f m³ of doubt, before it %.1f", k, a.VolumeSDM3, sd)
		}
		if least := a.From.Distance(a.To) / 1.5 / 60; a.Minutes < least {
			t.Errorf("line %d takes %.1f min, want at least %.1f", k, a.Minutes, least)
		}
		sd = a.VolumeSDM3
	}
	none, err := bed.Estimate(s, nil, bed.Options{SpacingM: 3})
	if err != nil {
		t.Fatal(err)
	}
	if advice, err := none.NextLines(2); advice != nil || err != nil {
		t.Errorf("a guess advises %v, %v", advice, err)
	}
}

// Four advised lines against four random ones of the same kind, from six lines on
// each of the basins with arms.
func TestNextLines_BeatRandomOnes(t *testing.T) {
	t.Parallel()
	var advised, random float64
	for _, i := range []int{2, 3, 5} {
		b := &basins[i]
		s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
		origin := toFrame(plane.Point{})
		turn := toFrame(plane.Point{X: 1}).Sub(origin)
		home := func(p plane.Point) plane.Point {
			d := p.Sub(origin)
			return plane.Point{X: d.Dot(turn), Y: turn.Cross(d)}
		}
		opt := bed.Options{SpacingM: math.Sqrt(float64(s.Area())) / 28}
		for seed := range uint64(2) {
			rng := rand.New(rand.NewPCG(uint64(i), seed))
			soundings := b.survey(rng, 5, 0, toFrame)
			at := func(more [][2]plane.Point) float64 {
				est, err := bed.Estimate(s, append(append([]bed.Sounding(nil), soundings...), soundAlong(b, toFrame, more...)...), opt)
				if err != nil {
					t.Fatal(err)
				}
				return math.Abs(float64(est.Volume().Value)/b.volumeM3() - 1)
			}
			est, err := bed.Estimate(s, soundings, opt)
			if err != nil {
				t.Fatal(err)
			}
			lines, err := est.NextLines(4)
			if err != nil {
				t.Fatal(err)
			}
			var more [][2]plane.Point
			for _, l := range lines {
				more = append(more, [2]plane.Point{home(l.From), home(l.To)})
			}
			advised += at(more)
			random += at(randomLines(rng, s, home, 4))
		}
	}
	t.Logf("mean |error| with four advised lines %.2f %%, with four random ones %.2f %%", 100*advised/6, 100*random/6)
	if advised > 0.8*random {
		t.Errorf("advised lines leave %.2f of the error of random ones, want at most 0.8", advised/random)
	}
}

func randomLines(rng *rand.Rand, s *shore.Shore, home func(plane.Point) plane.Point, n int) (out [][2]plane.Point) {
	lo, hi := s.Bounds()
	in := func() plane.Point {
		for {
			p := plane.Point{X: lo.X + rng.Float64()*(hi.X-lo.X), Y: lo.Y + rng.Float64()*(hi.Y-lo.Y)}
			if s.Contains(p) {
				return p
			}
		}
	}
	for len(out) < n {
		a, b := in(), in()
		if a.Distance(b) > 0.3*lo.Distance(hi) && !s.Crosses(a, b) {
			out = append(out, [2]plane.Point{home(a), home(b)})
		}
	}
	return out
}

func BenchmarkNextLines(b *testing.B) {
	p := loadPond(b, "O3_arms30")
	est, err := bed.Estimate(p.shore, p.soundings, bed.Options{})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := est.NextLines(4); err != nil {
			b.Fatal(err)
		}
	}
}
