package survey

import (
	"fmt"
	"math"
	"slices"
	"time"

	"pondwright/calc/sound"
	"pondwright/calc/unit"
	"pondwright/geo/bed"
)

// Rules that this package adds to those of the bed.
const (
	PoorFix     bed.Rule = "poor fix"     // too few satellites, or they stand badly
	BankPoint   bed.Rule = "bank point"   // it fixes the water's edge, above the shoreline's level
	PoleDiffers bed.Rule = "pole differs" // a pole and the sounder disagree; a hint only
)

// Limits of the rules. Common practice, no source.
const (
	mostHDOP      = 4.0
	leastSats     = 5
	poleReachM    = 1.5
	poleLimitM    = 0.15
	levelLimitM   = 0.15 // between soundings and shoreline without bank points
	bankReachM    = 0.5  // how far inside the shoreline a point still stands on it
	bankM         = 0.05 // a bank point lies no deeper under the lower water
	fewestBank    = 3
	mostStaffGap  = time.Hour
	plateScatterM = 0.06
	fewPlateMarks = 3 // marks below which nothing judges the line
)

// Codes of warnings about what is screened.
const (
	CodeFix   = "FIX_POOR"
	CodeLevel = "LEVEL_STALE"
	CodePlate = "PLATE_CHECK"
	CodePole  = "POLE_DIFFERS"
)

// LevelError is returned when soundings and shoreline belong to different water
// levels and nobody fixed the bank between them.
type LevelError struct {
	Source     Source      // the first reading so far off
	Difference unit.Meters // of the water during the soundings above the shoreline's
	Bank       int         // points found between the two edges
}

// Error says what is wrong and what to do.
func (e *LevelError) Error() string {
	return fmt.Sprintf("the water stood %.2f m %s the shoreline's level during soundings, and %d points fix the bank between the two edges; "+
		"draw the shoreline again at that day's water, or take %d points or more along the water's edge of that day with a depth of 0",
		math.Abs(float64(e.Difference)), map[bool]string{true: "above", false: "below"}[e.Difference > 0], e.Bank, fewestBank)
}

// checkLevels refuses soundings taken at a water level too far from the shoreline's
// without points on the bank. Depths are those of the day, the soundings' those at
// the shoreline's level; a bank point lies at the lower water's edge or above it.
func (in Input) checkLevels(day []unit.Meters, soundings []bed.Sounding) error {
	var worst *LevelError
	bank := 0
	for i, q := range in.Readings {
		if day[i] == 0 && (q.Reference != BelowSurface || q.Depth != 0) {
			continue // no depth at all
		}
		level, _ := in.Setups[q.Pass].LevelAt(q.Time)
		if in.onBank(i, float64(day[i]), soundings[i]) {
			bank++
		}
		if math.Abs(float64(level)) <= levelLimitM+1e-9 {
			continue
		}
		off := math.Abs(float64(level))
		if worst == nil || off > math.Abs(float64(worst.Difference)) || off == math.Abs(float64(worst.Difference)) && q.Source.compare(worst.Source) < 0 {
			worst = &LevelError{Source: q.Source, Difference: level}
		}
	}
	if worst == nil || bank >= fewestBank {
		return nil
	}
	worst.Bank = bank
	return worst
}

// onBank reports whether a reading lies at the edge of the lower water or on the bank
// between the two. One that comes out above the shoreline's level well inside it is
// no bank: it speaks against the levels.
func (in Input) onBank(i int, dayM float64, s bed.Sounding) bool {
	if s.DepthM > bankM {
		return dayM <= bankM && in.Readings[i].Reference == BelowSurface
	}
	away, _ := in.Shore.Nearest(s.At)
	return away <= bankReachM || !in.Shore.Contains(s.At)
}

// screen flags what the fixes and the levels say before any depth is looked at, and
// returns the soundings that go on with the readings they are.
func (in Input) screen(soundings []bed.Sounding) (flags [][]bed.Flag, kept []bed.Sounding, index []int) {
	flags = make([][]bed.Flag, len(soundings))
	kept, index = make([]bed.Sounding, 0, len(soundings)), make([]int, 0, len(soundings))
	for i, q := range in.Readings {
		level, _ := in.Setups[q.Pass].LevelAt(q.Time)
		switch {
		case level > 0 && q.Verdict != bed.Rejected && soundings[i].DepthM < 0 && in.onBank(i, soundings[i].DepthM+float64(level), soundings[i]):
			flags[i] = append(flags[i], bed.Flag{Rule: BankPoint, Value: -soundings[i].DepthM, Threshold: 0})
			continue
		case q.HDOP > mostHDOP:
			flags[i] = append(flags[i], bed.Flag{Rule: PoorFix, Value: q.HDOP, Threshold: mostHDOP})
		case q.Satellites > 0 && q.Satellites < leastSats:
			flags[i] = append(flags[i], bed.Flag{Rule: PoorFix, Value: float64(q.Satellites), Threshold: leastSats})
		}
		if len(flags[i]) > 0 && q.Verdict == bed.Undecided {
			continue
		}
		kept, index = append(kept, soundings[i]), append(index, i)
	}
	return flags, kept, index
}

// hintPoles compares depths typed from the surface with the sounder's beside them.
func (in Input) hintPoles(flags [][]bed.Flag, soundings []bed.Sounding) {
	type square [2]int
	at := func(i int) square {
		p := soundings[i].At
		return square{int(math.Floor(p.X / poleReachM)), int(math.Floor(p.Y / poleReachM))}
	}
	sounder := make(map[square][]int)
	poles := false
	for i, q := range in.Readings {
		if _, out := LeftOut(flags[i], q.Verdict); out {
			continue
		}
		if q.Reference == BelowTransducer {
			sounder[at(i)] = append(sounder[at(i)], i)
		} else {
			poles = true
		}
	}
	if !poles || len(sounder) == 0 {
		return
	}
	for i, q := range in.Readings {
		if _, out := LeftOut(flags[i], q.Verdict); out || q.Reference != BelowSurface {
			continue
		}
		var beside []float64
		s := at(i)
		for dx := -1; dx <= 1; dx++ {
			for dy := -1; dy <= 1; dy++ {
				for _, k := range sounder[square{s[0] + dx, s[1] + dy}] {
					if soundings[k].At.Distance(soundings[i].At) <= poleReachM {
						beside = append(beside, soundings[k].DepthM)
					}
				}
			}
		}
		if len(beside) == 0 {
			continue
		}
		if off := math.Abs(middleOf(beside) - soundings[i].DepthM); off > poleLimitM {
			flags[i] = append(flags[i], bed.Flag{Rule: PoleDiffers, Value: off, Threshold: poleLimitM})
		}
	}
}

// PlateCheck is the line through a pass's plate readings.
type PlateCheck struct {
	Pass string
	Fit  sound.PlateFit
	Used bool
}

// checkPlates fits the plate readings of each pass and questions them.
func (r *Report) checkPlates(in Input) {
	deepest := make(map[string]unit.Meters)
	for i, q := range in.Readings {
		deepest[q.Pass] = max(deepest[q.Pass], r.Depths[i])
	}
	for _, p := range in.runs() {
		marks := in.Setups[p.name].Plates
		if len(marks) == 0 || !p.sounded {
			continue
		}
		fit, err := sound.FitPlate(marks)
		r.Quality.Plates = append(r.Quality.Plates, PlateCheck{Pass: p.name, Fit: fit, Used: err == nil})
		tell := func(message, remedy string) {
			r.Warnings = append(r.Warnings, Warning{Code: CodePlate, Source: p.first, Field: "plates", Message: fmt.Sprintf("pass %q: %s", passLabel(p.name), message), Remedy: remedy})
		}
		switch {
		case err != nil:
			tell(fmt.Sprintf("the plate readings give no line, and draft and speed of sound are used instead: %v", err), "read the plate at two depths or more, shallow and deep")
		case len(marks) < fewPlateMarks:
			tell("two plate readings give a line and nothing to judge it by", "read the plate at three depths or more")
		case float64(fit.Largest) > plateScatterM:
			tell(fmt.Sprintf("a plate reading lies %.2f m off the line through them", float64(fit.Largest)), "look for a wrong mark, or for wind on the line")
		case deepest[p.name] > 0 && !fit.Brackets(deepest[p.name]):
			tell(fmt.Sprintf("the plate was read from %.1f to %.1f m, and the pass goes down to %.1f m", float64(fit.Shallow), float64(fit.Deep), float64(deepest[p.name])), "hang the plate as deep as the pond")
		}
	}
}

// doubtLevels warns of soundings far in time from any look at the staff, where it
// has moved.
func (in Input) doubtLevels() []Warning {
	type gap struct {
		away  time.Duration
		first Source
	}
	worst := make(map[string]gap)
	for _, q := range in.Readings {
		s := in.Setups[q.Pass].Staff
		if low, high := s.Range(); high <= low || q.Time.IsZero() {
			continue
		}
		if _, away := s.At(q.Time); away > mostStaffGap && away > worst[q.Pass].away {
			worst[q.Pass] = gap{away, q.Source}
		}
	}
	var out []Warning
	for _, p := range in.runs() {
		if g, ok := worst[p.name]; ok {
			out = append(out, Warning{
				Code: CodeLevel, Source: g.first, Field: "water_levels",
				Message: fmt.Sprintf("pass %q was sounded up to %s from any look at the staff, while the water was moving", passLabel(p.name), g.away.Round(time.Minute)),
				Remedy:  "read the staff at start and end, every hour, and at each change of 0.02 m",
			})
		}
	}
	return out
}

// RuleCount is how often a rule found something.
type RuleCount struct {
	Rule                           bed.Rule
	Flagged, LeftOut, KeptByPerson int
}

// rulesInOrder are all rules, in the order in which they are applied.
var rulesInOrder = []bed.Rule{
	BankPoint, PoorFix, bed.NotADepth, bed.Person, bed.OutsideShore, bed.AtEdge, bed.LostBottom, bed.Spike,
	bed.DoubleEcho, bed.FalseRun, bed.Steep, bed.Doubtful, PoleDiffers,
}

// countRules counts what each rule found, and warns of poles that differ.
func (r *Report) countRules(in Input) {
	count := make(map[bed.Rule]*RuleCount)
	for _, rule := range rulesInOrder {
		count[rule] = &RuleCount{Rule: rule}
	}
	var differ []Source
	for i, flags := range r.Flags {
		verdict := in.Readings[i].Verdict
		out, left := LeftOut(flags, verdict)
		for k, f := range flags {
			if slices.ContainsFunc(flags[:k], func(g bed.Flag) bool { return g.Rule == f.Rule }) {
				continue
			}
			c := count[f.Rule]
			c.Flagged++
			switch {
			case left && out.Rule == f.Rule:
				c.LeftOut++
			case !left && f.Excludes() && f.Rule != PoleDiffers:
				c.KeptByPerson++
			}
			if f.Rule == PoleDiffers {
				differ = append(differ, in.Readings[i].Source)
			}
		}
	}
	for _, rule := range rulesInOrder {
		r.Quality.Rules = append(r.Quality.Rules, *count[rule])
	}
	if len(differ) > 0 {
		slices.SortFunc(differ, Source.compare)
		r.Warnings = append(r.Warnings, Warning{
			Code: CodePole, Source: differ[0], Field: "depth",
			Message: fmt.Sprintf("%d pole readings differ by more than %.2f m from the sounder beside them; this is the first", len(differ), poleLimitM),
			Remedy:  "check draft and plate readings; soft muck and weed part them as well",
		})
	}
}
