package bed

import (
	"math"
	"runtime"
	"slices"
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
	longestRun        = 40  // fixes of one run of false echoes
	edgeMADs          = 6.0 // step at either end of a run, over the line's usual one …
	edgeFloorM        = 0.15
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
	c.falseRuns(from, to)
	c.steep(from, to)
}

// inParallel calls do with 0 to n−1 on all processors and waits. Calls must not
// touch each other's data, so that the result does not depend on their order.
func inParallel(n int, do func(k int)) {
	var next atomic.Int64
	var wait sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		wait.Go(func() {
			for k := next.Add(1) - 1; int(k) < n; k = next.Add(1) - 1 {
				do(int(k))
			}
		})
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

// kept returns the fixes of a stretch that no flag takes out.
func (c *cleaner) kept(from, to int) []int {
	kept := make([]int, 0, to-from)
	for k := from; k < to; k++ {
		if !c.fixes[k].flagged {
			kept = append(kept, k)
		}
	}
	return kept
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
	kept := c.kept(from, to)
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
		if way := middle(along[m-third:m]) - middle(along[:third]); way > restStepM {
			slope = (median(depth[m-third:m], rest[:]) - median(depth[:third], rest[:])) / way
		}
		for w := range m {
			depth[w] -= slope * along[w]
		}
		level := median(depth[:m], rest[:])
		off := math.Abs(depth[n-a] - level)
		if off <= spikeFloorM {
			continue // whatever the spread about it
		}
		for w := range m {
			depth[w] = math.Abs(depth[w] - level)
		}
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

// falseRuns flags runs of echoes from weed or fish that are too long for the spike
// rule's window: between two steps, one away from the bed and one back, all fixes
// lie to one side of a straight line from the fixes before to those after.
func (c *cleaner) falseRuns(from, to int) {
	kept := c.kept(from, to)
	n := len(kept)
	if n < 3*windowFixes {
		return
	}
	steps, scratch := make([]float64, n-1), make([]float64, n)
	for k := range steps {
		steps[k] = c.fixes[kept[k+1]].depthM - c.fixes[kept[k]].depthM
	}
	var window [2*windowFixes + 1]float64
	edge := make([]float64, n-1) // steps less the slope about them
	for k := range edge {
		edge[k] = steps[k] - median(steps[max(0, k-windowFixes):min(n-1, k+windowFixes+1)], window[:])
	}
	size := make([]float64, n-1)
	for k, e := range edge {
		size[k] = math.Abs(e)
	}
	slices.Sort(scratch[:copy(scratch, size)])
	limit := edgeMADs*madToSD*scratch[(n-1)/2] + edgeFloorM
	for a := 0; a < n-1; a++ {
		if size[a] <= limit {
			continue
		}
		for b := min(n-2, a+longestRun); b > a; b-- {
			if size[b] <= limit || (edge[a] > 0) == (edge[b] > 0) {
				continue
			}
			if off := c.standsOut(kept, a+1, b+1); math.Abs(off) > limit && (off > 0) == (edge[a] > 0) {
				for _, k := range kept[a+1 : b+1] {
					c.flag(k, Flag{FalseRun, math.Abs(off), limit})
				}
				a = b
				break
			}
		}
	}
}

// standsOut returns by how much, in the median, the kept fixes from a up to b lie
// off the straight line from those before to those after them; zero if not all lie
// to one side, or if those before and after are themselves a step apart.
func (c *cleaner) standsOut(kept []int, a, b int) float64 {
	before, after := kept[max(0, a-windowFixes):a], kept[b:min(len(kept), b+windowFixes)]
	if len(before) < 3 || len(after) < 3 {
		return 0
	}
	center := func(run []int) (along, depth float64) {
		var s, d, scratch [windowFixes]float64
		for k, i := range run {
			s[k], d[k] = c.fixes[i].alongM, c.fixes[i].depthM
		}
		return middle(s[:len(run)]), median(d[:len(run)], scratch[:])
	}
	s0, d0 := center(before)
	s1, d1 := center(after)
	if s1-s0 <= restStepM {
		return 0
	}
	off := make([]float64, 0, b-a)
	for _, k := range kept[a:b] {
		f := &c.fixes[k]
		off = append(off, f.depthM-d0-(d1-d0)*(f.alongM-s0)/(s1-s0))
	}
	slices.Sort(off)
	if off[0] < 0 && off[len(off)-1] > 0 {
		return 0
	}
	mid := off[len(off)/2]
	if math.Abs(d1-d0) > math.Abs(mid) {
		return 0 // no more than a slope has
	}
	return mid
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
	return middle(v)
}

// middle returns the median of sorted values.
func middle(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
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
