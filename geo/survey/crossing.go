package survey

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"pondwright/calc/sound"
	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/plane"
)

// Rules of crossings and offsets: judgement, no source.
const (
	leastCrossingSin = 0.35 // of the angle between two lines that cross, 20°
	sameCrossingM    = 5.0  // crossings of two lines nearer than this are one
	longestStepM     = 20.0 // between two soundings that a crossing lies between
	crossingCellM    = 10.0

	offsetCrossings = 4    // fewest that an offset rests on
	offsetSEs       = 4.0  // standard errors from which it is significant …
	leastOffsetM    = 0.05 // … if it is no less than this
	mostOffsetShare = 1.0 / 3
	passCrossings   = 5 // fewest that two passes are compared at
	// passBiasM is the bias allowed on soft bottoms, 0.2 ft (US Army Corps of
	// Engineers, EM 1110-2-1003, 2002, table 3-1).
	passBiasM = 0.06
)

// Codes of the warnings about lines that disagree.
const (
	CodeOffset   = "LINE_OFFSET"
	CodeDisagree = "LINES_DISAGREE"
	CodePasses   = "PASSES_DIFFER"
)

// Crossing is a place where two lines cross, with the depth that each found.
type Crossing struct {
	At             plane.Point
	Earlier, Later int // lines, from 0
	EarlierDepth   unit.Meters
	LaterDepth     unit.Meters
}

func (c *Crossing) difference() float64 { return float64(c.LaterDepth - c.EarlierDepth) }

// OrderVerdict is what the crossings say of one order of S-44.
type OrderVerdict struct {
	Order sound.Order
	Limit unit.Meters // at the mean depth of the crossings
	sound.CrossingReport
}

// LineOffset is by how much a line reads deeper than those it crosses.
type LineOffset struct {
	Line      int // from 0
	Pass      string
	Offset    unit.Meters
	SE        unit.Meters // standard error
	Crossings int
	Applied   bool // it is significant, and was taken off the line's depths
}

// Quality is how well a survey agrees with itself.
type Quality struct {
	Lines     int
	Crossings []Crossing     // before any offset was taken off
	Orders    []OrderVerdict // strictest first; none without crossings
	Offsets   []LineOffset   // of lines with enough crossings
	Plates    []PlateCheck   // by pass
	Rules     []RuleCount    // in the order of application
}

// agree finds where lines cross, what that says, and takes significant offsets off
// the soundings, of which index names the readings.
func (r *Report) agree(in Input, soundings []bed.Sounding, index []int) error {
	tracks := bed.Tracks(in.Shore, soundings)
	r.Quality.Lines = len(tracks)
	r.Quality.Crossings = crossings(tracks, soundings)
	if err := r.Quality.judgeOrders(); err != nil {
		return fmt.Errorf("survey: crossings: %w", err)
	}
	offsets := offsetsOf(r.Quality.Crossings, len(tracks))
	applied := 0
	for k := range offsets {
		offsets[k].Pass = tracks[offsets[k].Line].Pass
		if offsets[k].Applied {
			applied++
		}
	}
	if most := int(mostOffsetShare * float64(crossed(r.Quality.Crossings))); applied > most {
		for k := range offsets {
			offsets[k].Applied = false
		}
		r.Warnings = append(r.Warnings, Warning{
			Code: CodeDisagree, Field: "depth",
			Message: fmt.Sprintf("%d lines read deeper or shallower than those they cross, too many to say which are right; none was moved", applied),
			Remedy:  "check draft, plate readings, water level and position lag of the passes",
		})
	}
	r.Quality.Offsets = offsets
	for _, o := range offsets {
		if !o.Applied {
			continue
		}
		for _, i := range tracks[o.Line].Index {
			if soundings[i].Verdict != bed.Adjusted { // a person's depth stands
				soundings[i].DepthM -= float64(o.Offset)
			}
		}
		r.Warnings = append(r.Warnings, Warning{
			Code: CodeOffset, Source: in.Readings[index[tracks[o.Line].Index[0]]].Source, Field: "depth",
			Message: fmt.Sprintf("line %d reads %+.2f m against the lines it crosses at %d places (standard error %.2f m), which was taken off", o.Line+1, float64(o.Offset), o.Crossings, float64(o.SE)),
			Remedy:  "look for a wrong draft or level on that line",
		})
	}
	r.comparePasses(tracks)
	return nil
}

// crossed counts the lines that cross another.
func crossed(all []Crossing) int {
	var lines []int
	for _, c := range all {
		lines = append(lines, c.Earlier, c.Later)
	}
	slices.Sort(lines)
	return len(slices.Compact(lines))
}

// segment is the way between two soundings of a track, the k-th and the one before.
type segment struct{ line, k int32 }

func (s segment) ends(tracks []bed.Track) (a, b plane.Point) {
	at := tracks[s.line].At
	return at[s.k-1], at[s.k]
}

// crossings finds where tracks cross, by squares of the plane.
func crossings(tracks []bed.Track, soundings []bed.Sounding) []Crossing {
	type square [2]int
	at := func(p plane.Point) square {
		return square{int(math.Floor(p.X / crossingCellM)), int(math.Floor(p.Y / crossingCellM))}
	}
	squares := make(map[square][]segment)
	var order []square
	for line, t := range tracks {
		for k := 1; k < len(t.At); k++ {
			a, b := t.At[k-1], t.At[k]
			if a.Distance(b) > longestStepM {
				continue
			}
			lo, hi := at(plane.Point{X: min(a.X, b.X), Y: min(a.Y, b.Y)}), at(plane.Point{X: max(a.X, b.X), Y: max(a.Y, b.Y)})
			for i := lo[0]; i <= hi[0]; i++ {
				for j := lo[1]; j <= hi[1]; j++ {
					q := square{i, j}
					if squares[q] == nil {
						order = append(order, q)
					}
					squares[q] = append(squares[q], segment{int32(line), int32(k)})
				}
			}
		}
	}
	var out []Crossing
	for _, q := range order {
		list := squares[q]
		for i, s := range list {
			for _, u := range list[i+1:] {
				if s.line == u.line {
					continue
				}
				if c, ok := meet(tracks, s, u); ok && at(c.At) == q { // once, in the square it lies in
					out = append(out, c.ordered(tracks, soundings))
				}
			}
		}
	}
	return merged(out)
}

// meet returns the crossing of two segments, if they cross at an angle.
func meet(tracks []bed.Track, s, u segment) (Crossing, bool) {
	sa, sb := s.ends(tracks)
	ua, ub := u.ends(tracks)
	d, e := sb.Sub(sa), ub.Sub(ua)
	den := d.Cross(e)
	if math.Abs(den) < leastCrossingSin*d.Norm()*e.Norm() || den == 0 {
		return Crossing{}, false
	}
	f, g := ua.Sub(sa).Cross(e)/den, ua.Sub(sa).Cross(d)/den
	if f < 0 || f >= 1 || g < 0 || g >= 1 {
		return Crossing{}, false
	}
	depth := func(w segment, share float64) unit.Meters {
		t := &tracks[w.line]
		return unit.Meters(t.DepthM[w.k-1] + share*(t.DepthM[w.k]-t.DepthM[w.k-1]))
	}
	return Crossing{At: sa.Lerp(sb, f), Earlier: int(s.line), Later: int(u.line), EarlierDepth: depth(s, f), LaterDepth: depth(u, g)}, true
}

// ordered puts the line that was run first first: by time, or where that is not known
// by the lines' own order.
func (c Crossing) ordered(tracks []bed.Track, soundings []bed.Sounding) Crossing {
	begin := func(line int) time.Time { return soundings[tracks[line].Index[0]].Time }
	a, b := begin(c.Earlier), begin(c.Later)
	first := cmp.Compare(c.Earlier, c.Later)
	if !a.IsZero() && !b.IsZero() {
		first = cmp.Or(a.Compare(b), first)
	}
	if first > 0 {
		c.Earlier, c.Later = c.Later, c.Earlier
		c.EarlierDepth, c.LaterDepth = c.LaterDepth, c.EarlierDepth
	}
	return c
}

// merged sorts crossings by lines and place, and makes one of those that the jitter
// of a receiver made of one.
func merged(all []Crossing) []Crossing {
	slices.SortFunc(all, func(a, b Crossing) int {
		return cmp.Or(cmp.Compare(a.Earlier, b.Earlier), cmp.Compare(a.Later, b.Later), cmp.Compare(a.At.X, b.At.X), cmp.Compare(a.At.Y, b.At.Y))
	})
	var out []Crossing
	for from := 0; from < len(all); {
		to := from + 1
		for to < len(all) && all[to].Earlier == all[from].Earlier && all[to].Later == all[from].Later && all[to].At.Distance(all[from].At) < sameCrossingM {
			to++
		}
		c := all[from]
		n := float64(to - from)
		c.At, c.EarlierDepth, c.LaterDepth = plane.Point{}, 0, 0
		for _, x := range all[from:to] {
			c.At = c.At.Add(x.At.Scale(1 / n))
			c.EarlierDepth += x.EarlierDepth / unit.Meters(n)
			c.LaterDepth += x.LaterDepth / unit.Meters(n)
		}
		out = append(out, c)
		from = to
	}
	return out
}

// judgeOrders holds the crossings against every order of S-44.
func (q *Quality) judgeOrders() error {
	var list []sound.Crossing
	var mean unit.Meters
	for _, c := range q.Crossings {
		list = append(list, sound.Crossing{Main: c.EarlierDepth, Check: c.LaterDepth})
		mean += (c.EarlierDepth + c.LaterDepth) / unit.Meters(2*len(q.Crossings))
	}
	if len(list) == 0 {
		return nil
	}
	for o := sound.OrderExclusive; o >= sound.Order2; o-- {
		report, err := sound.CheckCrossings(list, o, sound.CrossingRules{})
		if err != nil {
			return err
		}
		limit, err := o.MaxVertical(mean)
		if err != nil {
			return err
		}
		q.Orders = append(q.Orders, OrderVerdict{o, limit, report})
	}
	return nil
}

// offsetsOf finds by how much lines read off those they cross. Lines are freed one
// after another, the most significant first, while all others hold the level: the
// median of the differences, less the offsets found so far, is what a line's
// crossings say, so that a blunder at one of them does not count.
func offsetsOf(all []Crossing, lines int) []LineOffset {
	offset, free := make([]float64, lines), make([]bool, lines)
	byLine := make([][]int, lines)
	for k, c := range all {
		byLine[c.Earlier], byLine[c.Later] = append(byLine[c.Earlier], k), append(byLine[c.Later], k)
	}
	rest := func(k int) float64 { c := &all[k]; return c.difference() - offset[c.Later] + offset[c.Earlier] }
	// says returns the offset that a line's crossings ask for.
	says := func(line int) float64 {
		var list []float64
		for _, k := range byLine[line] {
			if all[k].Later == line {
				list = append(list, offset[line]+rest(k))
			} else {
				list = append(list, offset[line]-rest(k))
			}
		}
		return middleOf(list)
	}
	var se []float64
	for {
		scatter := scatterOf(len(all), rest)
		se = make([]float64, lines)
		best, most := -1, offsetSEs
		for line, list := range byLine {
			if len(list) < offsetCrossings {
				continue
			}
			// The median's standard error is √(π/2) times the mean's.
			se[line] = math.Sqrt(math.Pi/2) * scatter / math.Sqrt(float64(len(list)))
			off := says(line)
			if z := math.Abs(off) / max(se[line], 1e-3); !free[line] && math.Abs(off) >= leastOffsetM && z > most {
				best, most = line, z
			}
		}
		if best < 0 {
			break
		}
		free[best] = true
		for range 20 { // each freed line anew, given the others
			for line := range lines {
				if free[line] {
					offset[line] = says(line)
				}
			}
		}
	}
	var out []LineOffset
	for line, list := range byLine {
		if len(list) >= offsetCrossings {
			out = append(out, LineOffset{
				Line: line, Offset: unit.Meters(says(line)), SE: unit.Meters(se[line]), Crossings: len(list), Applied: free[line],
			})
		}
	}
	return out
}

// scatterOf returns the standard deviation of n values by their median absolute
// deviation (Huber & Ronchetti, 2009, Robust Statistics, section 5.1).
func scatterOf(n int, value func(k int) float64) float64 {
	size := make([]float64, n)
	for k := range size {
		size[k] = math.Abs(value(k))
	}
	return 1.4826 * middleOf(size)
}

// middleOf returns the median, zero for no values. It sorts them.
func middleOf(values []float64) float64 {
	n := len(values)
	if n == 0 {
		return 0
	}
	slices.Sort(values)
	return (values[(n-1)/2] + values[n/2]) / 2
}

// comparePasses warns of passes that differ where they cross.
func (r *Report) comparePasses(tracks []bed.Track) {
	type pair [2]string
	byPair := make(map[pair][]float64)
	var order []pair
	for _, c := range r.Quality.Crossings {
		p, d := pair{tracks[c.Earlier].Pass, tracks[c.Later].Pass}, c.difference()
		if p[0] > p[1] {
			p[0], p[1], d = p[1], p[0], -d
		}
		if p[0] == p[1] {
			continue
		}
		if byPair[p] == nil {
			order = append(order, p)
		}
		byPair[p] = append(byPair[p], d)
	}
	for _, p := range order {
		list := byPair[p]
		n := len(list)
		mid := middleOf(list)
		se := math.Sqrt(math.Pi/2) * scatterOf(n, func(k int) float64 { return list[k] - mid }) / math.Sqrt(float64(n))
		if n < passCrossings || math.Abs(mid) <= max(passBiasM, offsetSEs*se) {
			continue
		}
		r.Warnings = append(r.Warnings, Warning{
			Code: CodePasses, Field: "depth",
			Message: fmt.Sprintf("pass %q reads %+.2f m against pass %q at the %d places where they cross", passLabel(p[1]), mid, passLabel(p[0]), n),
			Remedy:  "compare draft, plate readings and water level of the two; neither was moved for it",
		})
	}
}

// passLabel is what to call a pass to a person.
func passLabel(pass string) string {
	return cmp.Or(strings.Trim(strings.ReplaceAll(pass, "\x00", " "), " "), "without a name")
}
