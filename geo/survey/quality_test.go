package survey_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pondwright/calc/sound"
	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
	"pondwright/geo/survey"
)

// hatched returns soundings of the bowl on lines east and lines north, every 4 m, a
// pass each way. Off is added to the depth, by line counted from 0.
func hatched(s *shore.Shore, off func(line, k int) float64) []survey.Reading {
	var out []survey.Reading
	clock, line := day, 0
	for _, north := range []bool{false, true} {
		for y := -16.0; y <= 16; y += 4 {
			half := math.Sqrt(bowlM*bowlM-y*y) - 0.5
			k := 0
			for x := -half; x <= half; x++ {
				p, pass := plane.Point{X: x, Y: y}, "east"
				if north {
					p, pass = plane.Point{X: y, Y: x}, "north"
				}
				out = append(out, survey.Reading{
					At: s.Frame().ToLatLng(p), Depth: unit.Meters(bowlDepth(p) + off(line, k)), Time: clock, Seq: int64(len(out) + 1), Pass: pass,
					Source: survey.Source{File: pass, Line: len(out) + 1},
				})
				clock = clock.Add(2 * time.Second)
				k++
			}
			clock = clock.Add(30 * time.Second)
			line++
		}
	}
	return out
}

// jitter is a fixed noise of about 2 cm.
func jitter(line, k int) float64 {
	return 0.028 * math.Sin(float64(line*977+k*k*13+k*7919))
}

func TestMeasure_CrossingTable(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	r := measure(t, survey.Input{Shore: s, Readings: hatched(s, jitter)})
	q := r.Quality
	if q.Lines != 18 {
		t.Errorf("%d lines, want 18", q.Lines)
	}
	// Lines at multiples of 4 m cross inside the circle where x² + y² < r².
	want := 0
	for x := -16.0; x <= 16; x += 4 {
		for y := -16.0; y <= 16; y += 4 {
			if math.Hypot(x, y) < bowlM-0.6 {
				want++
			}
		}
	}
	if n := len(q.Crossings); n < want-4 || n > want {
		t.Errorf("%d crossings, want about %d", n, want)
	}
	for _, c := range q.Crossings {
		if d := c.At; math.Abs(math.Remainder(d.X, 4)) > 0.01 || math.Abs(math.Remainder(d.Y, 4)) > 0.01 {
			t.Errorf("a crossing at %v", d)
		}
		if c.Earlier >= 9 || c.Later < 9 { // the second pass was run later
			t.Errorf("line %d before %d", c.Earlier, c.Later)
		}
		if math.Abs(float64(c.LaterDepth-c.EarlierDepth)) > 0.12 {
			t.Errorf("depths %v and %v at one place", c.EarlierDepth, c.LaterDepth)
		}
	}
	if len(q.Orders) != 5 || q.Orders[0].Order != sound.OrderExclusive || !q.Orders[0].Pass {
		t.Fatalf("orders %+v", q.Orders)
	}
	first := q.Orders[0]
	// S-44, edition 6, 2020, table 1: √(0.15² + (0.0075 d)²) at the mean depth.
	if float64(first.Limit) < 0.15 || float64(first.Limit) > 0.152 || first.Within < 1 {
		t.Errorf("exclusive order: limit %v, within %v", first.Limit, first.Within)
	}
	if math.Abs(float64(first.Bias)) > 0.01 || first.Spread95 <= 0 || float64(first.Spread95) > 0.08 {
		t.Errorf("bias %v, spread %v", first.Bias, first.Spread95)
	}
	for _, o := range q.Offsets {
		if o.Applied {
			t.Errorf("noise passes for an offset: %+v", o)
		}
	}
}

// One line read 0.4 m too deep: it is found and put right, and no other is touched.
func TestMeasure_LineOffset(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	const bad, off = 3, 0.4
	in := survey.Input{Shore: s, Readings: hatched(s, func(line, k int) float64 {
		if line == bad {
			return off + jitter(line, k)
		}
		return jitter(line, k)
	})}
	r := measure(t, in)
	for _, o := range r.Quality.Offsets {
		if o.Applied != (o.Line == bad) {
			t.Errorf("line %d: %+v", o.Line, o)
		}
		if o.Line == bad {
			near(t, "offset (m)", float64(o.Offset), off, 3*float64(o.SE)+0.01)
		}
	}
	if isSilent(r, survey.CodeOffset) {
		t.Error("an offset was applied without a word")
	}
	clean := measure(t, survey.Input{Shore: s, Readings: hatched(s, jitter)})
	near(t, "volume (m³)", float64(r.Volume.Value), float64(clean.Volume.Value), 0.005*float64(clean.Volume.Value))
	mixed := in
	mixed.Readings = slices.Clone(in.Readings)
	slices.Reverse(mixed.Readings)
	if got := measure(t, mixed); got.Volume != r.Volume {
		t.Error("the offset depends on the order of the readings")
	}
}

// Two passes of a draft's difference: told, and neither moved.
func TestMeasure_PassesDiffer(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	r := measure(t, survey.Input{Shore: s, Readings: hatched(s, func(line, k int) float64 {
		if line >= 9 {
			return 0.3 + jitter(line, k)
		}
		return jitter(line, k)
	})})
	for _, o := range r.Quality.Offsets {
		if o.Applied {
			t.Errorf("line %d was moved, though half of all lines are off: %+v", o.Line, o)
		}
	}
	at := slices.IndexFunc(r.Warnings, func(w survey.Warning) bool { return w.Code == survey.CodePasses })
	if at < 0 || !strings.Contains(r.Warnings[at].Message, "+0.30 m") || !strings.Contains(r.Warnings[at].Message, `"north"`) {
		t.Errorf("warnings %v", r.Warnings)
	}
	if r.Quality.Orders[0].Pass {
		t.Error("a bias of 0.3 m passes")
	}
}

func TestMeasure_PlateReplacesDraftAndSpeed(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	// What the sounder shows: 1.02 times the true depth less 0.25 m.
	shown := func(d unit.Meters) unit.Meters { return 1.02*d - 0.25 }
	readings := lines(s, 8)
	for k := range readings {
		readings[k].Depth, readings[k].Reference = max(shown(readings[k].Depth), 0.01), survey.BelowTransducer
	}
	plates := func(depths ...unit.Meters) survey.Setup {
		out := survey.Setup{}
		for _, d := range depths {
			out.Plates = append(out.Plates, sound.PlateMark{True: d, Displayed: shown(d)})
		}
		return out
	}
	plain := measure(t, survey.Input{Shore: s, Readings: lines(s, 8)})
	r := measure(t, survey.Input{Shore: s, Readings: readings, Setups: map[string]survey.Setup{"": plates(0.5, 1.5, 3)}})
	near(t, "volume (m³)", float64(r.Volume.Value), float64(plain.Volume.Value), 0.02*float64(plain.Volume.Value))
	if len(r.Quality.Plates) != 1 || !r.Quality.Plates[0].Used || !isSilent(r, survey.CodePlate) || !isSilent(r, survey.CodeDraft) {
		t.Errorf("plates %+v, warnings %v", r.Quality.Plates, r.Warnings)
	}
	near(t, "scale", r.Quality.Plates[0].Fit.Scale, 1.02, 1e-9)
	for name, setup := range map[string]survey.Setup{"one depth": plates(1, 1), "two marks": plates(1, 3), "not deep enough": plates(0.5, 1, 1.5)} {
		if r := measure(t, survey.Input{Shore: s, Readings: readings, Setups: map[string]survey.Setup{"": setup}}); isSilent(r, survey.CodePlate) {
			t.Errorf("%s: nobody is told", name)
		}
	}
}

// The water fell by 0.12 m while the boat was out: between the readings of the staff
// the level is straight, and the bed comes out as if it had stood.
func TestMeasure_DriftingLevel(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	readings := lines(s, 8)
	end := readings[len(readings)-1].Time
	staff, err := sound.NewLevel([]sound.StaffReading{{At: day, Height: 10.12}, {At: end, Height: 10}})
	if err != nil {
		t.Fatal(err)
	}
	for k := range readings {
		share := float64(readings[k].Time.Sub(day)) / float64(end.Sub(day))
		readings[k].Depth += unit.Meters(0.12 * (1 - share))
	}
	plain := measure(t, survey.Input{Shore: s, Readings: lines(s, 8)})
	setup := survey.Setup{Staff: staff, Level: -10}
	r := measure(t, survey.Input{Shore: s, Readings: readings, Setups: map[string]survey.Setup{"": setup}})
	near(t, "volume (m³)", float64(r.Volume.Value), float64(plain.Volume.Value), 1e-6*float64(plain.Volume.Value))
	if !isSilent(r, survey.CodeLevel) {
		t.Errorf("warnings %v", r.Warnings)
	}
	for k := range readings {
		readings[k].Time = readings[k].Time.Add(3 * time.Hour)
	}
	if r := measure(t, survey.Input{Shore: s, Readings: readings, Setups: map[string]survey.Setup{"": setup}}); isSilent(r, survey.CodeLevel) {
		t.Error("three hours from the staff, and nobody is told")
	}
}

func TestMeasure_PoorFixes(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	in := survey.Input{Shore: s, Readings: lines(s, 8)}
	in.Readings[5].HDOP, in.Readings[5].Satellites = 4.5, 9
	in.Readings[6].Satellites = 4
	in.Readings[7].HDOP, in.Readings[7].Satellites = 4, 5 // at the limits
	in.Readings[8].HDOP, in.Readings[8].Verdict = 9, bed.Accepted
	r := measure(t, in)
	if r.Rejected != 2 || r.Used != len(in.Readings)-2 || isSilent(r, survey.CodeFix) {
		t.Errorf("%d used, %d left out, warnings %v", r.Used, r.Rejected, r.Warnings)
	}
	for i, want := range map[int]float64{5: 4, 6: 5, 8: 4} {
		if f := r.Flags[i]; len(f) == 0 || f[0].Rule != survey.PoorFix || f[0].Threshold != want {
			t.Errorf("reading %d: flags %v", i, f)
		}
	}
	if f := r.Flags[7]; len(f) != 0 {
		t.Errorf("flags %v on a fix at the limits", f)
	}
	for _, c := range r.Quality.Rules {
		if c.Rule == survey.PoorFix && c != (survey.RuleCount{Rule: survey.PoorFix, Flagged: 3, LeftOut: 2, KeptByPerson: 1}) {
			t.Errorf("counted %+v", c)
		}
	}
}

func TestMeasure_LevelsApart(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	edge := func(radius float64, depth unit.Meters) []survey.Reading {
		var out []survey.Reading
		for k := range 12 {
			sin, cos := math.Sincos(float64(k) / 12 * 2 * math.Pi)
			out = append(out, survey.Reading{
				At: s.Frame().ToLatLng(plane.Point{X: radius * cos, Y: radius * sin}), Depth: depth, Pass: "walked", Source: survey.Source{File: "bank", Line: k + 1},
			})
		}
		return out
	}
	at := func(level unit.Meters, more ...survey.Reading) survey.Input {
		in := survey.Input{Shore: s, Setups: map[string]survey.Setup{"": {Level: level}, "walked": {Level: level}}}
		for _, q := range lines(s, 8) {
			if q.Depth += level; q.Depth > 0.1 {
				in.Readings = append(in.Readings, q)
			}
		}
		in.Readings = append(in.Readings, more...)
		return in
	}
	want := measure(t, survey.Input{Shore: s, Readings: lines(s, 8)}).Volume.Value
	for _, tt := range []struct {
		name   string
		in     survey.Input
		refuse unit.Meters
	}{
		{"a little lower", at(-0.15), 0},
		{"lower", at(-0.4), -0.4},
		{"higher", at(0.3), 0.3},
		// Where the bowl is 0.4 m deep at the shoreline's level the water ended that day.
		{"lower, with the edge walked", at(-0.4, edge(bowlM*math.Sqrt(1-0.4/deepestM), 0)...), 0},
		{"higher, with points between the edges", at(0.3, edge(bowlM+0.5, 0.15)...), 0},
		{"higher, with too few points", at(0.3, edge(bowlM+0.5, 0.15)[:2]...), 0.3},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r, err := survey.Measure(tt.in, nil)
			var apart *survey.LevelError
			if tt.refuse != 0 {
				if !errors.As(err, &apart) || apart.Difference != tt.refuse || !strings.Contains(err.Error(), "draw the shoreline again") {
					t.Errorf("error %v, want a level error of %.2f m", err, float64(tt.refuse))
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			near(t, "volume (m³)", float64(r.Volume.Value), float64(want), 0.03*float64(want))
			if !isSilent(r, survey.CodeFlagged) {
				t.Errorf("points on the bank are no faults: %v", r.Warnings)
			}
		})
	}
}

func TestMeasure_PoleBesideSounder(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	in := survey.Input{Shore: s, Readings: lines(s, 8), Setups: map[string]survey.Setup{"": {DraftKnown: true}}}
	for k := range in.Readings {
		in.Readings[k].Reference = survey.BelowTransducer
	}
	for k, off := range []unit.Meters{0.05, 0.3} {
		q := in.Readings[40*(k+1)]
		q.Pass, q.Reference, q.Depth, q.Source = "pole", survey.BelowSurface, q.Depth+off, survey.Source{File: "pole", Line: k + 1}
		in.Readings = append(in.Readings, q)
	}
	r := measure(t, in)
	n := len(in.Readings)
	differs := func(i int) bool {
		return slices.ContainsFunc(r.Flags[i], func(f bed.Flag) bool { return f.Rule == survey.PoleDiffers })
	}
	if differs(n-2) || !differs(n-1) || isSilent(r, survey.CodePole) {
		t.Errorf("flags %v and %v, warnings %v", r.Flags[n-2], r.Flags[n-1], r.Warnings)
	}
	if r.Used != n {
		t.Errorf("%d of %d used: a hint leaves nothing out", r.Used, n)
	}
}
