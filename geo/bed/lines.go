package bed

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/geo/grid"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// A boat line ends at a gap in time or way or at a turn that is held. Common
// practice, no source.
const (
	leastGapTime = 10 * time.Second
	leastGapM    = 10.0
	gapSteps     = 3 // a gap is longer than so many usual steps of its pass
	turnRad      = 60 * math.Pi / 180
	turnFixes    = 5   // fixes before and after a turn
	restStepM    = 0.5 // a boat that moves less between fixes is at rest
	fewTyped     = 64  // unordered soundings up to this number each count as a line
	typedBlocks  = 8   // more are grouped in blocks of this share of √area
)

// fix is a sounding on its way through the estimate.
type fix struct {
	at      plane.Point
	depthM  float64
	alongM  float64    // way from the start of its line
	velMPS  [2]float32 // boat's velocity; zero if unknown
	index   int32      // in the caller's order
	line    int32
	ordered bool // its place along the boat's way is known
	decided bool // a person wants it used
	flagged bool // an excluding flag stands
}

// after returns where the fix belongs if its position trails its depth by lagS
// seconds.
func (f *fix) after(lagS float64) plane.Point { return f.at.Add(f.velocity().Scale(lagS)) }

func (f *fix) velocity() plane.Point {
	return plane.Point{X: float64(f.velMPS[0]), Y: float64(f.velMPS[1])}
}

// canonical returns the indices of the soundings in an order that does not
// depend on how they arrived: by pass, time, number, place and depth.
func canonical(soundings []Sounding) []int32 {
	order := make([]int32, len(soundings))
	for k := range order {
		order[k] = int32(k)
	}
	slices.SortStableFunc(order, func(i, j int32) int {
		a, b := &soundings[i], &soundings[j]
		return cmp.Or(
			strings.Compare(a.Pass, b.Pass), a.Time.Compare(b.Time), cmp.Compare(a.Seq, b.Seq),
			cmp.Compare(a.At.X, b.At.X), cmp.Compare(a.At.Y, b.At.Y),
			cmp.Compare(a.DepthM, b.DepthM), cmp.Compare(a.AdjustedM, b.AdjustedM), cmp.Compare(a.Verdict, b.Verdict))
	})
	return order
}

// finite reports whether a place can be worked with.
func finite(p plane.Point) bool {
	return !math.IsNaN(p.X) && !math.IsNaN(p.Y) && !math.IsInf(p.X, 0) && !math.IsInf(p.Y, 0)
}

// splitLines numbers the boat lines in fixes, which are in canonical order, and
// returns their number. A pass's lines do not depend on other passes.
func splitLines(fixes []fix, soundings []Sounding, s *shore.Shore) int32 {
	var lines int32
	for from := 0; from < len(fixes); {
		to := from + 1
		for to < len(fixes) && soundings[fixes[to].index].Pass == soundings[fixes[from].index].Pass {
			to++
		}
		lines = splitPass(fixes[from:to], soundings, lines)
		from = to
	}
	return groupTyped(fixes, lines, s)
}

// splitPass numbers the lines in one pass, next being the first free number, and
// returns the next free one.
func splitPass(pass []fix, soundings []Sounding, next int32) int32 {
	longest := longestStep(pass, soundings)
	for from := 0; from < len(pass); {
		to := from + 1
		for to < len(pass) && longest.reaches(stepTo(pass, to, soundings)) {
			to++
		}
		if pass[from].ordered {
			next = splitTurns(pass[from:to], soundings, next)
		}
		from = to
	}
	return next
}

// step is what lies between two fixes on a boat's way.
type step struct {
	wayM  float64
	time  time.Duration
	known bool // both have a place in the boat's order, by the same reckoning
}

// stepTo returns the step from the fix before the k-th to that.
func stepTo(pass []fix, k int, soundings []Sounding) step {
	a, b := &pass[k-1], &pass[k]
	s, t := soundings[a.index].Time, soundings[b.index].Time
	return step{a.at.Distance(b.at), t.Sub(s), a.ordered && b.ordered && s.IsZero() == t.IsZero()}
}

// reaches reports whether a step no longer than s was taken.
func (s step) reaches(t step) bool { return t.known && t.wayM <= s.wayM && t.time <= s.time }

// longestStep returns the longest step that does not end a line: a logger that
// takes a depth every 20 m has no gap at each.
func longestStep(pass []fix, soundings []Sounding) step {
	longest := step{leastGapM, leastGapTime, true}
	sizes := make([]float64, 0, len(pass))
	usual := func(size func(s step) float64) float64 {
		sizes = sizes[:0]
		for k := 1; k < len(pass); k++ {
			if s := stepTo(pass, k, soundings); s.known {
				sizes = append(sizes, size(s))
			}
		}
		if len(sizes) == 0 {
			return 0
		}
		slices.Sort(sizes)
		return sizes[len(sizes)/2]
	}
	longest.wayM = max(longest.wayM, gapSteps*usual(func(s step) float64 { return s.wayM }))
	longest.time = max(longest.time, gapSteps*time.Duration(usual(func(s step) float64 { return float64(s.time) })))
	return longest
}

// splitTurns numbers the lines in one unbroken run of fixes, next being the
// first free number, and returns the next free one.
func splitTurns(run []fix, soundings []Sounding, next int32) int32 {
	// Way-points: the fixes at which the boat had moved on.
	way := []int{0}
	for k := range run {
		if run[k].at.Distance(run[way[len(way)-1]].at) >= restStepM {
			way = append(way, k)
		}
	}
	turn := make([]float64, len(way))
	for w := turnFixes; w+turnFixes < len(way); w++ {
		in := run[way[w]].at.Sub(run[way[w-turnFixes]].at)
		out := run[way[w+turnFixes]].at.Sub(run[way[w]].at)
		turn[w] = math.Abs(math.Atan2(in.Cross(out), in.Dot(out)))
	}
	cut := make([]bool, len(run))
	for w, angle := range turn {
		if angle <= turnRad {
			continue
		}
		sharpest := true
		for v := max(0, w-turnFixes); v <= min(len(turn)-1, w+turnFixes); v++ {
			sharpest = sharpest && (turn[v] < angle || (turn[v] == angle && v >= w))
		}
		cut[way[w]] = sharpest
	}
	for k := range run {
		if k > 0 && cut[k] {
			next++
		}
		run[k].line = next
		if k > 0 && !cut[k] {
			run[k].alongM = run[k-1].alongM + run[k].at.Distance(run[k-1].at)
		}
	}
	setVelocities(run, soundings)
	return next + 1
}

// setVelocities takes each fix's velocity from its neighbors two before and
// after on the same line.
func setVelocities(run []fix, soundings []Sounding) {
	const reach = 2
	for k := range run {
		a, b := max(0, k-reach), min(len(run)-1, k+reach)
		for run[a].line != run[k].line {
			a++
		}
		for run[b].line != run[k].line {
			b--
		}
		before, after := soundings[run[a].index].Time, soundings[run[b].index].Time
		if dt := after.Sub(before).Seconds(); dt > 0 && !before.IsZero() {
			v := run[b].at.Sub(run[a].at).Scale(1 / dt)
			run[k].velMPS = [2]float32{float32(v.X), float32(v.Y)}
		}
	}
}

// groupTyped gives soundings of unknown order a line each if they are few, and a
// line per S2 cell about an eighth of the pond wide if they are many.
func groupTyped(fixes []fix, next int32, s *shore.Shore) int32 {
	var typed []int
	for k := range fixes {
		if !fixes[k].ordered {
			typed = append(typed, k)
		}
	}
	if len(typed) <= fewTyped {
		for _, k := range typed {
			fixes[k].line = next
			next++
		}
		return next
	}
	frame := s.Frame()
	widest := math.Sqrt(float64(s.Area())) / typedBlocks
	level := grid.TileLevel
	for level < 30 && grid.CellWidthM(s2.CellIDFromLatLng(frame.Origin()).Parent(level)) > widest {
		level++
	}
	cells := make([]s2.CellID, len(typed))
	for n, k := range typed {
		cells[n] = s2.CellIDFromLatLng(frame.ToLatLng(fixes[k].at)).Parent(level)
	}
	distinct := slices.Compact(slices.Sorted(slices.Values(cells)))
	for n, k := range typed {
		block, _ := slices.BinarySearch(distinct, cells[n])
		fixes[k].line = next + int32(block)
	}
	return next + int32(len(distinct))
}
