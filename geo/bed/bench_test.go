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

const acreM2 = 4046.8564224

// dense returns a five-armed pond of the given area and about count soundings of
// it on parallel lines, one every tenth of a second.
func dense(t testing.TB, areaM2 float64, lines, count int) (*shore.Shore, []bed.Sounding) {
	t.Helper()
	b := basins[5]
	unit := b.rimM
	scale := math.Sqrt(areaM2 / math.Abs(plane.RingArea(b.ring(1, 360))))
	b.rimM = func(theta float64) float64 { return scale * unit(theta) }
	s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	origin := toFrame(plane.Point{})
	turn := toFrame(plane.Point{X: 1}).Sub(origin)
	rng := rand.New(rand.NewPCG(1, 2))
	reach := 1.3 * 140 * scale
	step := areaM2 / (2 * reach / float64(lines)) / float64(count)
	clock := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	out := make([]bed.Sounding, 0, count+count/10)
	for line := range lines {
		y := reach * (2*(float64(line)+0.5)/float64(lines) - 1)
		for x := -reach; x < reach; x += step {
			clock = clock.Add(100 * time.Millisecond)
			p := plane.Point{X: x, Y: y}
			d := b.depthAt(p)
			if d < 0.3 {
				continue
			}
			d += (0.03 + 0.01*d) * rng.NormFloat64()
			if rng.Float64() < 0.03 {
				d *= 0.3 + 2*rng.Float64()
			}
			at := origin.Add(turn.Scale(x)).Add(plane.Point{X: -turn.Y, Y: turn.X}.Scale(y))
			out = append(out, bed.Sounding{At: at, DepthM: d, Time: clock, Seq: int64(len(out) + 1)})
		}
		clock = clock.Add(time.Minute)
	}
	return s, out
}

func BenchmarkEstimate(b *testing.B) {
	for _, name := range []string{"O1_bowl", "O4_dense60"} {
		b.Run(name, func(b *testing.B) {
			p := loadPond(b, name)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := bed.Estimate(p.shore, p.soundings, bed.Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	for _, tt := range []struct {
		name         string
		acres        float64
		lines, count int
	}{
		{"40acres_100k", 40, 40, 100_000},
		{"500acres_1M", 500, 60, 1_000_000},
	} {
		s, soundings := dense(b, tt.acres*acreM2, tt.lines, tt.count)
		b.Run(tt.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := bed.Estimate(s, soundings, bed.Options{}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(soundings)), "soundings")
		})
		first, err := bed.Estimate(s, soundings, bed.Options{})
		if err != nil {
			b.Fatal(err)
		}
		b.Run(tt.name+"_smoothness_known", func(b *testing.B) {
			var surface time.Duration // until there is a surface, the doubt still to be found
			for b.Loop() {
				began := time.Now()
				opt := bed.Options{Models: first.Diagnostics().Models, Progress: func(share float64) bool {
					if share <= 0.85 {
						surface = time.Since(began)
					}
					return true
				}}
				if _, err := bed.Estimate(s, soundings, opt); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(surface.Seconds(), "s/surface")
		})
	}
}
