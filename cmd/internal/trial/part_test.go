//go:build trial

package trial

import (
	"flag"
	"fmt"
	"math"
	"testing"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/plane"
	"pondwright/geo/survey"
)

// every takes only each so many-th pond, where the time is short.
var every = flag.Int("every", 1, "with TestParts, take each so many-th pond only")

// TestParts prints how often the intervals of parts hold: layers, levels and halves
// of every pond, surveyed on 14 lines.
func TestParts(t *testing.T) {
	type tally struct{ n, in95, in80 int }
	count := make(map[string]*tally)
	kinds := []string{"volume below half the depth", "volume above half the depth", "volume of the upper fifth", "area at half the depth", "west half", "west half below a third", "stage of half the volume"}
	for _, k := range kinds {
		count[k] = new(tally)
	}
	applied, tracked := 0, 0
	for n, p := range allPonds(t) {
		if *every > 1 && n%*every != 1 {
			continue
		}
		soundings := p.SoundMore(Survey{Lines: 14, Seed: uint64(n + 1)}, p.RandomWays(4, uint64(n)))
		b, err := bed.Estimate(p.Shore, soundings, bed.Options{})
		if err != nil {
			t.Fatal(err)
		}
		truth := func(upper, lower float64, west bool) (volume, area float64) {
			cell := p.bed.cellM * p.bed.cellM / 4
			for k := range p.bed.depthM {
				for _, off := range []plane.Point{{X: 0.25, Y: 0.25}, {X: 0.75, Y: 0.25}, {X: 0.25, Y: 0.75}, {X: 0.75, Y: 0.75}} {
					at := p.bed.node(k).Add(off.Scale(p.bed.cellM))
					d := p.bed.at(at)
					if d <= upper || west && p.toShore(at).X > 0 {
						continue
					}
					volume += cell * (min(d, lower) - upper)
					area += cell
				}
			}
			return volume, area
		}
		note := func(kind string, low, low80, high80, high, want float64) {
			c := count[kind]
			c.n++
			if low <= want && want <= high {
				c.in95++
			}
			if low80 <= want && want <= high80 {
				c.in80++
			}
		}
		half := p.MaxM / 2
		west := []plane.Point{{X: -1e5, Y: -1e5}, {X: 0, Y: -1e5}, {X: 0, Y: 1e5}, {X: -1e5, Y: 1e5}}
		part := func(kind string, q bed.Part, upper, lower float64, inWest bool) {
			v, _ := b.Part(q)
			want, _ := truth(upper, lower, inWest)
			note(kind, float64(v.Low), float64(v.Low80), float64(v.High80), float64(v.High), want)
		}
		part(kinds[0], bed.Part{Upper: unit.Meters(half)}, half, math.Inf(1), false)
		part(kinds[1], bed.Part{Lower: unit.Meters(half)}, 0, half, false)
		part(kinds[2], bed.Part{Lower: unit.Meters(half / 2.5)}, 0, half/2.5, false)
		a := b.AreaAt(unit.Meters(half))
		_, wantA := truth(half, math.Inf(1), false)
		note(kinds[3], float64(a.Low), float64(a.Low80), float64(a.High80), float64(a.High), wantA)
		part(kinds[4], bed.Part{Ring: west}, 0, math.Inf(1), true)
		part(kinds[5], bed.Part{Ring: west, Upper: unit.Meters(p.MaxM / 3)}, p.MaxM/3, math.Inf(1), true)
		lo, hi := 0.0, p.MaxM
		for range 40 {
			if v, _ := truth((lo+hi)/2, math.Inf(1), false); v > p.VolumeM3/2 {
				lo = (lo + hi) / 2
			} else {
				hi = (lo + hi) / 2
			}
		}
		s, _ := b.StageFor(unit.CubicMeters(p.VolumeM3 / 2))
		note(kinds[6], float64(s.Low), float64(s.Low80), float64(s.High80), float64(s.High), lo)

		in := survey.Input{Shore: p.Shore}
		for _, q := range soundings {
			in.Readings = append(in.Readings, survey.Reading{At: p.Shore.Frame().ToLatLng(q.At), Depth: unit.Meters(q.DepthM), Time: q.Time, Seq: q.Seq, Pass: q.Pass})
		}
		r, err := survey.Measure(in, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range r.Quality.Offsets {
			tracked++
			if o.Applied {
				applied++
				fmt.Printf("%s: line %d moved by %.2f m (%d crossings, se %.3f)\n", p.Name, o.Line, float64(o.Offset), o.Crossings, float64(o.SE))
			}
		}
		fmt.Printf("%s: %d crossings, volume %+.2f %% with and %+.2f %% without offsets\n", p.Name, len(r.Quality.Crossings),
			100*(float64(r.Volume.Value)/p.VolumeM3-1), 100*(float64(b.Volume().Value)/p.VolumeM3-1))
	}
	for _, k := range kinds {
		c := count[k]
		fmt.Printf("%-28s 95 %% holds %d of %d, 80 %% %d\n", k, c.in95, c.n, c.in80)
	}
	fmt.Printf("%d of %d lines moved for an offset that none has\n", applied, tracked)
}
