package bed

import (
	"math"
	"runtime"
	"sync"
	"sync/atomic"

	"pondwright/geo/shore"
)

// Thresholds of the rules. Common practice, no source, but for the spike rule's,
// which were tuned on simulated surveys.
const (
	outsideToleranceM = 5    // beyond it a sounding outside the shore is an error
	repeatCount       = 5    // equal readings in a row that mean a lost bottom …
	repeatWayM        = 5    // … if the boat moved so far …
	repeatStepM       = 0.02 // … and the instrument shows steps this fine
	windowFixes       = 9    // fixes before and after that judge one
	spikeMADs         = 3.5
	spikeFloorM       = 0.02
	echoRatio         = 2.0
	echoTolerance     = 0.2
	steepSlope        = 1.0
	steepStepM        = 0.3
	madToSD           = 1.4826 // of a normal distribution
)

// prepare brings the soundings into canonical order, splits them into lines and
// flags what the rules find. It returns the fixes that have a place, and the
// number of lines.
func prepare(s *shore.Shore, soundings []Sounding, flags [][]Flag) ([]fix, int32) {
	fixes := make([]fix, 0, len(soundings))
	for _, k := range canonical(soundings) {
		snd := &soundings[k]
		depth := snd.depthM()
		if !finite(snd.At) || math.IsNaN(depth) || depth <= 0 || depth > MaxDepthM {
			flags[k] = append(flags[k], Flag{NotADepth, depth, MaxDepthM})
			continue // not even a person can make it a depth
		}
		fixes = append(fixes, fix{
			index: k, at: snd.At, depthM: depth, decided: snd.decided(),
			ordered: !snd.Time.IsZero() || snd.Seq != 0,
		})
	}
	lines := splitLines(fixes, soundings, s)
	c := cleaner{flags: flags, fixes: fixes}
	for k := range fixes {
		f := &fixes[k]
		if soundings[f.index].Verdict == Rejected {
			c.flag(k, Flag{Person, f.depthM, 0})
			continue
		}
		if s.Contains(f.at) {
			continue
		}
		if d, _ := s.Nearest(f.at); d > outsideToleranceM {
			c.flag(k, Flag{OutsideShore, d, outsideToleranceM})
		} else {
			c.flag(k, Flag{AtEdge, d, 0})
		}
		f.flagged = true // no verdict moves it into the water
	}
	var runs [][2]int
	for from := 0; from < len(fixes); {
		to := from + 1
		for to < len(fixes) && fixes[to].line == fixes[from].line && fixes[to].ordered {
			to++
		}
		if fixes[from].ordered {
			runs = append(runs, [2]int{from, to})
		}
		from = to
	}
	inParallel(len(runs), func(r int) { c.along(runs[r][0], runs[r][1]) })
	return fixes, lines
}

// along applies the rules that judge a fix by its line.
func (c *cleaner) along(from, to int) {
	c.lostBottom(from, to)
	c.spikes(from, to)
	c.spikes(from, to) // what the first round unmasked
	c.steep(from, to)
}

// inParallel calls do with 0 to n−1 on all processors and waits. Calls must not
// touch each other's data, so that the result does not depend on their order.
func inParallel(n int, do func(k int)) {
	var next atomic.Int64
	var wait sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		wait.Add(1)
		go func() {
			defer wait.Done()
			for k := next.Add(1) - 1; int(k) < n; k = next.Add(1) - 1 {
				do(int(k))
			}
		}()
	}
	wait.Wait()
}

type cleaner struct {
	flags [][]Flag
	fixes []fix
}

// flag notes a finding on fix k.
func (c *cleaner) flag(k int, f Flag) {
	fix := &c.fixes[k]
	c.flags[fix.index] = append(c.flags[fix.index], f)
	fix.flagged = fix.flagged || (f.Excludes() && !fix.decided)
}

// lostBottom flags runs of one reading while the boat moved on.
func (c *cleaner) lostBottom(from, to int) {
	step := math.Inf(1)
	for k := from + 1; k < to; k++ {
		if d := math.Abs(c.fixes[k].depthM - c.fixes[k-1].depthM); d > 1e-6 {
			step = min(step, d)
		}
	}
	if step > repeatStepM {
		return // on a coarse scale a flat bottom repeats by itself
	}
	for a := from; a < to; {
		b := a + 1
		for b < to && c.fixes[b].depthM == c.fixes[a].depthM {
			b++
		}
		if b-a >= repeatCount && c.fixes[b-1].alongM-c.fixes[a].alongM >= repeatWayM {
			for k := a; k < b; k++ {
				c.flag(k, Flag{LostBottom, float64(b - a), repeatCount})
			}
		}
		a = b
	}
}

// spikes flags what stands out from a line through the median neighbors before
// and after (Tukey, 1977, Exploratory Data Analysis, resistant line).
func (c *cleaner) spikes(from, to int) {
	var kept []int
	for k := from; k < to; k++ {
		if !c.fixes[k].flagged {
			kept = append(kept, k)
		}
	}
	var along, depth, rest [2*windowFixes + 1]float64
	type finding struct {
		k int
		f Flag
	}
	var found []finding
	for n, k := range kept {
		a, b := max(0, n-windowFixes), min(len(kept), n+windowFixes+1)
		m := b - a
		if m < 5 {
			continue // too few to judge by
		}
		for w := range m {
			f := &c.fixes[kept[a+w]]
			along[w], depth[w] = f.alongM, f.depthM
		}
		third := max(1, m/3)
		var slope float64
		if way := median(along[m-third:m], rest[:]) - median(along[:third], rest[:]); way > restStepM {
			slope = (median(depth[m-third:m], rest[:]) - median(depth[:third], rest[:])) / way
		}
		for w := range m {
			depth[w] -= slope * along[w]
		}
		level := median(depth[:m], rest[:])
		for w := range m {
			depth[w] = math.Abs(depth[w] - level)
		}
		off := depth[n-a]
		limit := spikeMADs*madToSD*median(depth[:m], rest[:]) + spikeFloorM
		if off <= limit {
			continue
		}
		f := &c.fixes[k]
		expected := level + slope*f.alongM
		if ratio := f.depthM / expected; expected > 0 && math.Abs(ratio-echoRatio) < echoTolerance {
			found = append(found, finding{k, Flag{DoubleEcho, ratio, echoRatio - echoTolerance}})
		} else {
			found = append(found, finding{k, Flag{Spike, off, limit}})
		}
	}
	for _, f := range found {
		c.flag(f.k, f.f)
	}
}

// median returns the middle of values, sorting a copy in scratch.
func median(values, scratch []float64) float64 {
	v := scratch[:copy(scratch, values)]
	for i := 1; i < len(v); i++ { // few values: insertion is fastest
		x, j := v[i], i
		for ; j > 0 && v[j-1] > x; j-- {
			v[j] = v[j-1]
		}
		v[j] = x
	}
	if n := len(v); n%2 == 0 {
		return (v[n/2-1] + v[n/2]) / 2
	}
	return v[len(v)/2]
}

// steep hints at steps along the line too steep for a pond's bed.
func (c *cleaner) steep(from, to int) {
	last := -1
	for k := from; k < to; k++ {
		f := &c.fixes[k]
		if f.flagged {
			continue
		}
		if last >= 0 {
			way, step := f.alongM-c.fixes[last].alongM, math.Abs(f.depthM-c.fixes[last].depthM)
			if step > steepStepM && step > steepSlope*way {
				c.flag(k, Flag{Steep, step / max(way, 0.01), steepSlope})
			}
		}
		last = k
	}
}
