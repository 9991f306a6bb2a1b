//go:build trial

package trial

import (
	"flag"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"pondwright/geo/bed"
)

var adviceFile = flag.String("advice", "ADVICE.md", "file for the table of advised lines; empty for none")

// advised is one pond sounded sparsely, then along four more lines.
type advised struct {
	before, four, random float64 // absolute errors of the volume, percent
	minutes, drawn       float64 // on the boat, along the four
	err                  error
}

// Six lines, then four more as advised or as many drawn at random, with the same
// soundings before them.
func TestAdvice(t *testing.T) { //nolint:paralleltest // fills the machine by itself
	ponds := allPonds(t)
	top := head("What advised lines are worth", "go test -tags trial ./cmd/internal/trial -run TestAdvice -v -timeout 3h", len(ponds))
	n := min(2, *perDensity)
	runs := make([]advised, len(ponds)*n)
	each(len(runs), func(k int) { runs[k] = adviseOne(ponds[k/n], uint64(60+k%n)) })
	var page strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&page, format+"\n", args...) }
	line("%s", top)
	line("Each pond is sounded %d times along six lines and a tie line, then along four lines more: those that the estimate advises, or four drawn at random through the water. Mean absolute error of the volume, percent.\n", n)
	line("| pond | six lines | four advised more | four random more | minutes, advised | random |\n|---|---|---|---|---|---|")
	var all, terrain [3]float64
	for k, p := range ponds {
		var sum [5]float64
		for _, r := range runs[k*n : k*n+n] {
			if r.err != nil {
				t.Fatalf("%s: %v", p.Name, r.err)
			}
			for i, v := range [5]float64{r.before, r.four, r.random, r.minutes, r.drawn} {
				sum[i] += v / float64(n)
			}
		}
		for i := range all {
			all[i] += sum[i] / float64(len(ponds))
			if p.Terrain {
				terrain[i] += sum[i] / float64(len(cuts))
			}
		}
		line("| %s | %.2f | %.2f | %.2f | %.0f | %.0f |", p.Name, sum[0], sum[1], sum[2], sum[3], sum[4])
	}
	line("| **mean** | %.2f | %.2f | %.2f | | |", all[0], all[1], all[2])
	line("| **mean, terrain** | %.2f | %.2f | %.2f | | |", terrain[0], terrain[1], terrain[2])
	verdict := "met"
	if all[1]/all[2] > 0.55 {
		verdict = "**missed**"
	}
	line("\nFour advised lines leave %.2f of the error that four random ones leave (terrain alone %.2f); the target is at most 0.55: %s.", all[1]/all[2], terrain[1]/terrain[2], verdict)
	t.Log("\n" + page.String())
	if *adviceFile != "" {
		if err := os.WriteFile(*adviceFile, []byte(page.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func adviseOne(p *Pond, seed uint64) (r advised) {
	s := Survey{Lines: 6, Seed: seed}
	estimate := func(soundings []bed.Sounding) (*bed.Bed, float64) {
		b, err := bed.Estimate(p.Shore, soundings, bed.Options{})
		if err != nil {
			r.err = err
			return nil, 0
		}
		return b, 100 * math.Abs(float64(b.Volume().Value)/p.VolumeM3-1)
	}
	var first *bed.Bed
	if first, r.before = estimate(p.Sound(s)); first == nil {
		return r
	}
	lines, err := first.NextLines(4)
	if err != nil {
		r.err = err
		return r
	}
	var ways []Way
	for _, l := range lines {
		ways = append(ways, Way{l.From, l.To})
		r.minutes += l.Minutes
	}
	_, r.four = estimate(p.SoundMore(s, ways))
	drawn := p.RandomWays(4, seed)
	for _, w := range drawn {
		r.drawn += w.From.Distance(w.To) / speedMPS / 60
	}
	_, r.random = estimate(p.SoundMore(s, drawn))
	return r
}
