package survey_test

import (
	"errors"
	"math"
	"math/rand"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/golang/geo/s2"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
	"pondwright/geo/survey"
)

// bowlM is the radius of the round test pond, deepestM its depth in the middle.
const (
	bowlM    = 20.0
	deepestM = 3.0
)

// round returns an outline of 180 corners about 38° N, 93° W.
func round(t testing.TB, radiusM float64) *shore.Shore {
	t.Helper()
	frame := plane.NewFrame(s2.LatLngFromDegrees(38, -93))
	var ring []s2.LatLng
	for k := range 180 {
		a := 2 * math.Pi * float64(k) / 180
		ring = append(ring, frame.ToLatLng(plane.Point{X: radiusM * math.Cos(a), Y: radiusM * math.Sin(a)}))
	}
	s, err := shore.New(ring, nil)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// bowlDepth is the depth of the paraboloid in the round pond.
func bowlDepth(p plane.Point) float64 {
	return deepestM * (1 - p.Dot(p)/(bowlM*bowlM))
}

var day = time.Date(2026, 6, 9, 14, 0, 0, 0, time.UTC)

// lines returns soundings of the bowl along parallel lines, one each meter and 2 s,
// in file "bowl.csv" from line 2 on; spacingM is in a bowl twice as wide. The boat
// rests half a minute between lines. A small bowl is solved in a quarter of the time.
func lines(s *shore.Shore, spacingM float64) []survey.Reading {
	var out []survey.Reading
	clock := day
	for y := -0.9 * bowlM; y <= 0.9*bowlM; y += spacingM / 2 {
		half := math.Sqrt(bowlM*bowlM-y*y) - 0.5
		for x := -half; x <= half; x++ {
			p := plane.Point{X: x, Y: y}
			out = append(out, survey.Reading{
				At: s.Frame().ToLatLng(p), Depth: unit.Meters(bowlDepth(p)), Time: clock, Seq: int64(len(out) + 1),
				Source: survey.Source{File: "bowl.csv", Line: len(out) + 2},
			})
			clock = clock.Add(2 * time.Second)
		}
		clock = clock.Add(30 * time.Second)
	}
	return out
}

func measure(t testing.TB, in survey.Input) *survey.Report {
	t.Helper()
	r, err := survey.Measure(in, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// warned returns the only warning with a code, and fails if there is another
// number of them.
func warned(t *testing.T, r *survey.Report, code string) survey.Warning {
	t.Helper()
	var found []survey.Warning
	for _, w := range r.Warnings {
		if w.Code == code {
			found = append(found, w)
		}
	}
	if len(found) != 1 {
		t.Fatalf("%d warnings %s in %+v, want one", len(found), code, r.Warnings)
	}
	return found[0]
}

func isSilent(r *survey.Report, code string) bool {
	return !slices.ContainsFunc(r.Warnings, func(w survey.Warning) bool { return w.Code == code })
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.6g, want %.6g ± %g", what, got, want, tol)
	}
}

func TestSetup_Depth(t *testing.T) {
	t.Parallel()
	const (
		em      = "depth equation of EM 1110-2-1003, US Army Corps of Engineers, 2002; speed of Marczak, J. Acoust. Soc. Am. 102, 2776, 1997; recomputed"
		marczak = "Marczak 1997, first coefficient"
		defined = "by definition"
	)
	sounder := survey.Setup{Draft: 0.30, DraftKnown: true, SpeedSet: 1500, WaterTemperature: unit.Celsius(18.4)}
	for _, c := range []struct {
		name    string
		setup   survey.Setup
		reading unit.Meters
		from    survey.Reference
		want    float64
		source  string
	}{
		{"worked case", sounder, 2.85, survey.BelowTransducer, 3.1070, em},
		{"typed depth is no business of the sounder", sounder, 2.85, survey.BelowSurface, 2.85, defined},
		{"no speed set leaves the reading", survey.Setup{Draft: 0.30, WaterTemperature: unit.Celsius(18.4)}, 2.85, survey.BelowTransducer, 3.15, defined},
		{"no temperature leaves the reading", survey.Setup{Draft: 0.30, SpeedSet: 1450}, 2.85, survey.BelowTransducer, 3.15, defined},
		{"zero set-up", survey.Setup{}, 2.85, survey.BelowTransducer, 2.85, defined},
		{"freezing water", survey.Setup{SpeedSet: 1402.385, WaterTemperature: unit.Celsius(0)}, 3, survey.BelowTransducer, 3, marczak},
		{"colder than freezing counts as freezing", survey.Setup{SpeedSet: 1402.385, WaterTemperature: unit.Celsius(-1.5)}, 3, survey.BelowTransducer, 3, marczak},
		{"level does not touch the depth of the day", survey.Setup{Draft: 0.30, Level: 0.5}, 1, survey.BelowTransducer, 1.3, defined},
	} {
		got, err := c.setup.Depth(c.reading, c.from)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		near(t, c.name+" ("+c.source+")", float64(got), c.want, 5e-5)
	}
}

func TestSetup_Depth_OutOfRange(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		setup   survey.Setup
		reading float64
		from    survey.Reference
	}{
		{"sounder lost the bottom", survey.Setup{Draft: 0.3}, 0, survey.BelowTransducer},
		{"negative echo", survey.Setup{Draft: 0.3}, -0.1, survey.BelowTransducer},
		{"echo is no number", survey.Setup{}, math.NaN(), survey.BelowTransducer},
		{"typed depth is no number", survey.Setup{}, math.NaN(), survey.BelowSurface},
		{"negative typed depth", survey.Setup{}, -0.1, survey.BelowSurface},
		{"draft of a ship", survey.Setup{Draft: 12}, 2, survey.BelowTransducer},
		{"draft above the water", survey.Setup{Draft: -0.1}, 2, survey.BelowTransducer},
		{"speed of sound in air", survey.Setup{SpeedSet: 343, WaterTemperature: unit.Celsius(20)}, 2, survey.BelowTransducer},
		{"boiling", survey.Setup{SpeedSet: 1500, WaterTemperature: unit.Celsius(120)}, 2, survey.BelowTransducer},
	} {
		var out *unit.RangeError
		if d, err := c.setup.Depth(unit.Meters(c.reading), c.from); !errors.As(err, &out) {
			t.Errorf("%s: depth %v, error %v, want a range error", c.name, d, err)
		}
	}
}

// Every reading that a pass can hold comes out as one and the same function of
// draft, speed and level, whatever else is in the survey.
func TestMeasure_ReducesEveryReadingByItsOwnPass(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	at := func(x float64) s2.LatLng { return s.Frame().ToLatLng(plane.Point{X: x}) }
	in := survey.Input{
		Shore: s,
		Readings: []survey.Reading{
			{At: at(1), Depth: 2.85, Reference: survey.BelowTransducer, Pass: "warm"},
			{At: at(2), Depth: 2.85, Reference: survey.BelowTransducer, Pass: "high water"},
			{At: at(3), Depth: 2.85, Pass: "warm"}, // typed in the same boat
			{At: at(4), Depth: 9, Pass: "high water", Verdict: bed.Adjusted, Corrected: 2.5},
			{At: at(5), Depth: 2.85, Reference: survey.BelowTransducer, Pass: "nobody said"},
			{At: at(6), Depth: 0, Reference: survey.BelowTransducer, Pass: "warm"}, // lost bottom
		},
		Setups: map[string]survey.Setup{
			"warm":       {Draft: 0.30, DraftKnown: true, SpeedSet: 1500, WaterTemperature: unit.Celsius(18.4)},
			"high water": {Draft: 0.30, DraftKnown: true, Level: 0.1},
		},
	}
	r := measure(t, in)
	for i, want := range []float64{3.1070, 3.15, 2.85, 2.5, 2.85, 0} {
		near(t, "depth of its day", float64(r.Depths[i]), want, 5e-5)
	}
	if r.Used != 5 || r.Rejected != 1 {
		t.Errorf("%d used and %d left out, want 5 and 1: a lost bottom is no depth, whatever the draft", r.Used, r.Rejected)
	}
}

// The water stood 0.15 m above the shoreline's level while the boat was out: the
// bed must come out as if it had not.
func TestMeasure_LevelOfTheDayIsTakenOff(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	plain := measure(t, survey.Input{Shore: s, Readings: lines(s, 8)})
	high := lines(s, 8)
	for i := range high {
		high[i].Depth += 0.15
		high[i].Pass = "spring"
		if i%50 == 7 { // a person's depth is below the surface of the same day
			high[i].Verdict, high[i].Corrected, high[i].Depth = bed.Adjusted, high[i].Depth, 7
		}
	}
	got := measure(t, survey.Input{Shore: s, Readings: high, Setups: map[string]survey.Setup{"spring": {Level: 0.15}}})
	near(t, "volume (m³)", float64(got.Volume.Value), float64(plain.Volume.Value), 1e-3*float64(plain.Volume.Value))
	// A paraboloid holds half the cylinder about it (Archimedes).
	want := math.Pi * bowlM * bowlM * deepestM / 2
	near(t, "volume of the paraboloid (m³)", float64(plain.Volume.Value), want, 0.02*want)
}

func TestMeasure_ReportIsConsistent(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	r := measure(t, survey.Input{Shore: s, Readings: lines(s, 6)})
	if len(r.Warnings) != 0 {
		t.Errorf("a clean survey gave warnings %+v", r.Warnings)
	}
	near(t, "mean depth × area (m³)", float64(r.MeanDepth.Value)*float64(r.Area.Value), float64(r.Volume.Value), 1e-6*float64(r.Volume.Value))
	near(t, "shoreline (m)", float64(r.Shoreline), 2*math.Pi*bowlM, 0.001*2*math.Pi*bowlM)
	first, last := r.Curve[0], r.Curve[len(r.Curve)-1]
	near(t, "volume of the first row (m³)", float64(first.Volume), float64(r.Volume.Value), 1e-6*float64(r.Volume.Value))
	if first.Drawdown != 0 || last.Volume != 0 {
		t.Errorf("curve runs from %+v to %+v, want drawdown 0 to volume 0", first, last)
	}
	for i := 1; i < len(r.Curve); i++ {
		a, b := r.Curve[i-1], r.Curve[i]
		if step := b.Drawdown - a.Drawdown; step <= 0 || step > 0.1+1e-9 || b.Volume > a.Volume || b.Area > a.Area {
			t.Errorf("curve goes from %+v to %+v", a, b)
		}
	}
}

func TestMeasure_OrderOfReadingsDoesNotMatter(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	in := survey.Input{Shore: s, Readings: lines(s, 8), Setups: map[string]survey.Setup{"b": {Draft: 9}}}
	in.Readings[20].Depth = 14 // a spike, and deeper than any pond
	in.Readings[60].Depth = 0  // no depth
	in.Readings[61].Depth = 0  // another
	in.Readings[80].Verdict = bed.Rejected
	for i := 100; i < 130; i++ {
		in.Readings[i].Pass, in.Readings[i].Reference = "a", survey.BelowTransducer
	}
	for i := 130; i < 140; i++ {
		in.Readings[i].Pass, in.Readings[i].Reference = "b", survey.BelowTransducer
	}
	in.Readings = append(in.Readings, survey.Reading{At: s.Frame().ToLatLng(plane.Point{X: 500}), Depth: 1, Source: survey.Source{File: "a.csv", Line: 7}})
	want := measure(t, in)
	for _, seed := range []int64{1, 2} {
		mixed := in
		mixed.Readings = slices.Clone(in.Readings)
		rand.New(rand.NewSource(seed)).Shuffle(len(mixed.Readings), func(i, j int) {
			mixed.Readings[i], mixed.Readings[j] = mixed.Readings[j], mixed.Readings[i]
		})
		got := measure(t, mixed)
		if got.Volume != want.Volume || got.Area != want.Area || got.MaxDepth != want.MaxDepth || got.Used != want.Used || got.Rejected != want.Rejected {
			t.Errorf("shuffled: volume %+v, used %d; in order: %+v, %d", got.Volume, got.Used, want.Volume, want.Used)
		}
		if diff := cmp.Diff(want.Curve, got.Curve); diff != "" {
			t.Errorf("curve (-in order +shuffled):\n%s", diff)
		}
		if diff := cmp.Diff(want.Warnings, got.Warnings); diff != "" {
			t.Errorf("warnings (-in order +shuffled):\n%s", diff)
		}
		for i, q := range mixed.Readings {
			if k := slices.IndexFunc(in.Readings, func(o survey.Reading) bool { return o.Source == q.Source }); got.Depths[i] != want.Depths[k] {
				t.Fatalf("depth of %+v is %v shuffled, %v in order", q.Source, got.Depths[i], want.Depths[k])
			}
		}
	}
}

func TestMeasure_CallerKeepsItsWarnings(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	backing := make([]survey.Warning, 1, 8)
	backing[0] = survey.Warning{Code: "CSV_CUT", Message: "given"}
	r := measure(t, survey.Input{Shore: s, Warnings: backing})
	if r.Warnings[0].Code != "CSV_CUT" || warned(t, r, survey.CodeNone).Remedy == "" {
		t.Errorf("warnings %+v do not start with the caller's", r.Warnings)
	}
	if got := backing[:2][1]; got != (survey.Warning{}) {
		t.Errorf("the caller's slice was written to: %+v", got)
	}
}

// Swapped coordinates are an error that names the place and what to do.
func TestMeasure_Swapped(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	in := survey.Input{Shore: s, Readings: lines(s, 12)}
	for i := range in.Readings[1:] { // the first fix is right
		at := &in.Readings[1+i].At
		at.Lat, at.Lng = at.Lng, at.Lat
	}
	slices.Reverse(in.Readings)
	_, err := survey.Measure(in, nil)
	var bad *survey.SwappedError
	if !errors.As(err, &bad) {
		t.Fatalf("error %v, want a *SwappedError", err)
	}
	if w := bad.Warning; w.Code != survey.CodeSwapped || w.Source != (survey.Source{File: "bowl.csv", Line: 3}) || w.Field != "lat" || w.Remedy == "" {
		t.Errorf("warning %+v, want code, bowl.csv line 3, field and remedy", w)
	}
	if !strings.Contains(err.Error(), bad.Warning.Remedy) {
		t.Errorf("error %q leaves the remedy out", err)
	}
}

// Soundings far off are not taken for swapped where exchanging does not bring
// them home, nor where they are close, nor where they are a few of many.
func TestMeasure_NotSwapped(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	// A pond on the diagonal: exchanged coordinates lie near it.
	var ring []s2.LatLng
	for k := range 60 {
		a := 2 * math.Pi * float64(k) / 60
		ring = append(ring, s2.LatLngFromDegrees(38+4e-4*math.Sin(a), 38.05+4e-4*math.Cos(a)))
	}
	diagonal, err := shore.New(ring, nil)
	if err != nil {
		t.Fatal(err)
	}
	elsewhere, few := lines(s, 12), lines(s, 12)
	for i := range elsewhere {
		elsewhere[i].At.Lng++
	}
	for i := range few[:len(few)/4] {
		few[i].At = s2.LatLng{Lat: few[i].At.Lng, Lng: few[i].At.Lat}
	}
	for _, c := range []struct {
		name string
		in   survey.Input
		used bool
	}{
		{"another pond", survey.Input{Shore: s, Readings: elsewhere}, false},
		{"exchanged but within 10 km", survey.Input{Shore: diagonal, Readings: []survey.Reading{
			{At: s2.LatLngFromDegrees(38.05, 38), Depth: 1, Source: survey.Source{File: "d.csv", Line: 2}}}}, false},
		{"a quarter of the file", survey.Input{Shore: s, Readings: few}, true},
	} {
		r, err := survey.Measure(c.in, nil)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		w := warned(t, r, survey.CodeOutside)
		if w.Source.File == "" || w.Source.Line == 0 || w.Field != "lat" || w.Remedy == "" {
			t.Errorf("%s: warning %+v lacks file, line, field or remedy", c.name, w)
		}
		if (r.Used > 0) != c.used || isSilent(r, survey.CodeNone) != c.used {
			t.Errorf("%s: %d used, warnings %+v", c.name, r.Used, r.Warnings)
		}
	}
}

func TestMeasure_FeetLabeledMeters(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		radiusM float64
		deepest unit.Meters
		warns   bool
	}{
		// 50 z √π/√A of a circle is 50 z/r: 10 % of it is z = r/5.
		{"12 m in a wide pond", 300, 12, false},
		{"just over 12 m in a wide pond", 300, 12.01, true},
		{"just under a tenth of the width", 40, 7.98, false},
		{"just over a tenth of the width", 40, 8.02, true},
	} {
		s := round(t, c.radiusM)
		in := survey.Input{Shore: s, Readings: []survey.Reading{
			{At: s.Frame().ToLatLng(plane.Point{X: 5}), Depth: 1, Source: survey.Source{File: "f.csv", Line: 2}},
			{At: s.Frame().ToLatLng(plane.Point{Y: 5}), Depth: c.deepest, Source: survey.Source{File: "f.csv", Line: 3}},
			{At: s.Frame().ToLatLng(plane.Point{X: 5000}), Depth: 40, Source: survey.Source{File: "f.csv", Line: 4}}, // left out
		}}
		r := measure(t, in)
		if isSilent(r, survey.CodeFeet) == c.warns {
			t.Errorf("%s: warnings %+v, want feet suspected: %v", c.name, r.Warnings, c.warns)
		}
		if c.warns {
			if w := warned(t, r, survey.CodeFeet); w.Source != (survey.Source{File: "f.csv", Line: 3}) || w.Field == "" || w.Remedy == "" {
				t.Errorf("%s: warning %+v, want f.csv line 3", c.name, w)
			}
		}
	}
}

// What a person says is the deepest sounding counts, not what the sounder said.
func TestMeasure_FeetJudgesAdjustedDepths(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	at := s.Frame().ToLatLng(plane.Point{X: 5})
	for _, c := range []struct {
		name      string
		raw, said unit.Meters
		warns     bool
	}{
		{"adjusted to a pond's depth", 30, 2, false},
		{"adjusted beyond it", 2, 30, true},
	} {
		r := measure(t, survey.Input{Shore: s, Readings: []survey.Reading{{At: at, Depth: c.raw, Verdict: bed.Adjusted, Corrected: c.said}}})
		if isSilent(r, survey.CodeFeet) == c.warns {
			t.Errorf("%s: warnings %+v, want feet suspected: %v", c.name, r.Warnings, c.warns)
		}
	}
}

func TestRelativeDepth(t *testing.T) {
	t.Parallel()
	const source = "Hutchinson, A Treatise on Limnology I, 1957, from memory; recomputed"
	for _, c := range []struct {
		name    string
		deepest unit.Meters
		area    unit.SquareMeters
		want    float64
		source  string
	}{
		{"4 m in a hectare", 4, 10000, 3.5449, source},
		{"a tenth of a circle's width", 2, math.Pi * 100, 10, "by definition"},
		{"no area", 4, 0, 0, "by definition"},
		{"area is no number", 4, unit.SquareMeters(math.NaN()), 0, "by definition"},
	} {
		near(t, c.name+" ("+c.source+")", survey.RelativeDepth(c.deepest, c.area), c.want, 5e-5)
	}
	rapid.Check(t, func(t *rapid.T) {
		z := rapid.Float64Range(0, 100).Draw(t, "deepest")
		a := rapid.Float64Range(1, 1e7).Draw(t, "area")
		k := rapid.Float64Range(0.1, 10).Draw(t, "scale")
		one := survey.RelativeDepth(unit.Meters(z), unit.SquareMeters(a))
		scaled := survey.RelativeDepth(unit.Meters(k*z), unit.SquareMeters(k*k*a))
		if math.Abs(one-scaled) > 1e-9*one+1e-12 {
			t.Fatalf("a pond %g times as large has relative depth %g, not %g", k, scaled, one)
		}
	})
}

func TestMeasure_OutsideShore(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	in := survey.Input{Shore: s, Readings: lines(s, 8)}
	n := len(in.Readings)
	for k, x := range []float64{bowlM + 5.5, bowlM + 60, bowlM + 4.5} {
		in.Readings = append(in.Readings, survey.Reading{
			At: s.Frame().ToLatLng(plane.Point{X: x}), Depth: 1, Pass: "trailer",
			Verdict: bed.Accepted, Source: survey.Source{File: "trailer.csv", Line: 9 - k},
		})
	}
	r := measure(t, in)
	w := warned(t, r, survey.CodeOutside)
	if w.Source != (survey.Source{File: "trailer.csv", Line: 8}) || !strings.HasPrefix(w.Message, "2 soundings") || w.Remedy == "" {
		t.Errorf("warning %+v, want 2 soundings from trailer.csv line 8 on", w)
	}
	if edge := warned(t, r, survey.CodeFlagged); edge.Source != (survey.Source{File: "trailer.csv", Line: 7}) || !strings.HasPrefix(edge.Message, "1 soundings") {
		t.Errorf("warning %+v, want the one at the edge", edge)
	}
	if r.Used != n || r.Rejected != 3 {
		t.Errorf("%d used, %d left out, want %d and 3: no verdict makes land into water", r.Used, r.Rejected, n)
	}
}

func TestMeasure_NoSoundings(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	r := measure(t, survey.Input{Shore: s})
	if w := warned(t, r, survey.CodeNone); w.Message == "" || w.Remedy == "" {
		t.Errorf("warning %+v says nothing", w)
	}
	if !isSilent(r, survey.CodeSparse) {
		t.Error("a pond without soundings is called sparse as well")
	}
	v := r.Volume
	if !(v.Low > 0 && v.Low < v.Value && v.Value < v.High) || v.High < 2*v.Low {
		t.Errorf("guessed volume %+v, want a wide interval", v)
	}
	if r.Used != 0 || len(r.Depths) != 0 {
		t.Errorf("%d used, depths %v", r.Used, r.Depths)
	}
}

func TestMeasure_SparseSurvey(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	all := lines(s, 16)
	if r := measure(t, survey.Input{Shore: s, Readings: all}); !isSilent(r, survey.CodeSparse) {
		t.Errorf("five lines: %+v", r.Warnings)
	}
	one := slices.DeleteFunc(slices.Clone(all), func(q survey.Reading) bool { return q.Time.Sub(all[0].Time) > 2*time.Minute })
	r := measure(t, survey.Input{Shore: s, Readings: one})
	if w := warned(t, r, survey.CodeSparse); w.Remedy == "" {
		t.Errorf("warning %+v has no remedy", w)
	}
}

func TestMeasure_DraftUnknown(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	reading := func(pass string, line int, from survey.Reference) survey.Reading {
		return survey.Reading{At: s.Frame().ToLatLng(plane.Point{X: float64(line)}), Depth: 2, Pass: pass, Reference: from, Source: survey.Source{File: "log.nmea", Line: line}}
	}
	known := survey.Setup{DraftKnown: true} // a draft of zero is a draft
	for _, c := range []struct {
		name     string
		readings []survey.Reading
		setups   map[string]survey.Setup
		line     int // of the warning; 0 for none
	}{
		{"typed", []survey.Reading{reading("p", 3, survey.BelowSurface)}, nil, 0},
		{"sounded", []survey.Reading{reading("p", 3, survey.BelowTransducer)}, nil, 3},
		{"typed first, then sounded", []survey.Reading{reading("p", 3, survey.BelowSurface), reading("p", 4, survey.BelowTransducer)}, nil, 3},
		{"known", []survey.Reading{reading("p", 3, survey.BelowTransducer)}, map[string]survey.Setup{"p": known}, 0},
		{"one of two known", []survey.Reading{reading("p", 3, survey.BelowTransducer), reading("q", 5, survey.BelowTransducer)}, map[string]survey.Setup{"p": known}, 5},
		{"neither known", []survey.Reading{reading("p", 5, survey.BelowTransducer), reading("q", 3, survey.BelowTransducer)}, nil, 3},
	} {
		r := measure(t, survey.Input{Shore: s, Readings: c.readings, Setups: c.setups})
		if c.line == 0 {
			if !isSilent(r, survey.CodeDraft) {
				t.Errorf("%s: %+v", c.name, r.Warnings)
			}
			continue
		}
		if w := warned(t, r, survey.CodeDraft); w.Source != (survey.Source{File: "log.nmea", Line: c.line}) || w.Field != "draft" || w.Remedy == "" {
			t.Errorf("%s: warning %+v, want log.nmea line %d", c.name, w, c.line)
		}
	}
}

// A set-up that cannot be takes out its own pass, and the good rest survives.
func TestMeasure_SetupInvalid(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	for name, setup := range map[string]survey.Setup{
		"draft":       {Draft: 9},
		"speed":       {SpeedSet: 340, WaterTemperature: unit.Celsius(20)},
		"level":       {Level: 4000},
		"no number":   {Level: unit.Meters(math.NaN())},
		"temperature": {SpeedSet: 1500, WaterTemperature: unit.Celsius(200)},
	} {
		in := survey.Input{Shore: s, Readings: lines(s, 12), Setups: map[string]survey.Setup{"bad": setup}}
		n := len(in.Readings)
		for k := range 5 {
			in.Readings = append(in.Readings, survey.Reading{
				At: s.Frame().ToLatLng(plane.Point{X: float64(k)}), Depth: 2, Reference: survey.BelowTransducer, Pass: "bad",
				Source: survey.Source{File: "bad.nmea", Line: 10 + k},
			})
		}
		r := measure(t, in)
		if w := warned(t, r, survey.CodeSetup); w.Source != (survey.Source{File: "bad.nmea", Line: 10}) || w.Remedy == "" {
			t.Errorf("%s: warning %+v, want bad.nmea line 10", name, w)
		}
		if r.Used != n {
			t.Errorf("%s: %d used, want the %d of the good pass", name, r.Used, n)
		}
	}
}

// A person's word outranks every automatic rule, in the bed, in the counts and in
// the warnings.
func TestMeasure_VerdictsOutrankFlags(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	base := survey.Input{Shore: s, Readings: lines(s, 8)}
	const at = 70
	n, good := len(base.Readings), base.Readings[at].Depth
	spike := good + 2.5
	for _, c := range []struct {
		name      string
		depth     unit.Meters
		verdict   bed.Verdict
		corrected unit.Meters
		used      int
		warning   string // of CodeFlagged, part of its message; empty for none
	}{
		{"a spike alone", spike, bed.Undecided, 0, n - 1, "stand out"},
		{"a spike accepted", spike, bed.Accepted, 0, n, ""},
		{"a good depth rejected", good, bed.Rejected, 0, n - 1, "rejected"},
		{"a spike adjusted to the truth", spike, bed.Adjusted, good, n, ""},
		{"a good depth adjusted to a spike", good, bed.Adjusted, spike, n, ""},
		{"nothing accepted is still nothing", 0, bed.Accepted, 0, n - 1, "no depth"},
		{"nothing adjusted is a depth", 0, bed.Adjusted, good, n, ""},
	} {
		in := base
		in.Readings = slices.Clone(base.Readings)
		q := &in.Readings[at]
		q.Depth, q.Verdict, q.Corrected = c.depth, c.verdict, c.corrected
		r := measure(t, in)
		if r.Used != c.used || r.Used+r.Rejected != n {
			t.Errorf("%s: %d used, %d left out of %d, want %d used", c.name, r.Used, r.Rejected, n, c.used)
		}
		if c.warning == "" {
			if !isSilent(r, survey.CodeFlagged) {
				t.Errorf("%s: warnings %+v", c.name, r.Warnings)
			}
			continue
		}
		w := warned(t, r, survey.CodeFlagged)
		if !strings.Contains(w.Message, c.warning) || w.Source != (survey.Source{File: "bowl.csv", Line: at + 2}) || w.Remedy == "" {
			t.Errorf("%s: warning %+v, want %q at line %d with a remedy", c.name, w, c.warning, at+2)
		}
	}
}

// The counts, the warnings and LeftOut tell the same story, whatever the verdicts.
func TestMeasure_CountsAgreeWithFlags(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	in := survey.Input{Shore: s, Readings: lines(s, 8)}
	r := rand.New(rand.NewSource(7))
	for i := range in.Readings {
		q := &in.Readings[i]
		switch r.Intn(8) {
		case 0:
			q.Depth *= 2
		case 1:
			q.Depth = 0
		case 2:
			q.At = s.Frame().ToLatLng(plane.Point{X: bowlM + 20*r.Float64()})
		}
		q.Verdict = bed.Verdict(r.Intn(4))
		q.Corrected = unit.Meters(3 * r.Float64())
	}
	got := measure(t, in)
	out := 0
	for i, flags := range got.Bed.Flags() {
		if _, left := survey.LeftOut(flags, in.Readings[i].Verdict); left {
			out++
		}
	}
	if got.Rejected != out || got.Used != len(in.Readings)-out {
		t.Errorf("%d used and %d left out, by the flags %d and %d", got.Used, got.Rejected, len(in.Readings)-out, out)
	}
}

// Two boats that cross the pond at the same time stay two lines; told as one they
// would zigzag between their places. So do two runs on one course.
func TestMeasure_PassesNeverShareALine(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	fix := func(k int, y float64, pass string) survey.Reading {
		p := plane.Point{X: -35 + 2*float64(k), Y: y}
		return survey.Reading{At: s.Frame().ToLatLng(p), Depth: unit.Meters(bowlDepth(p)), Time: day.Add(time.Duration(k) * time.Second), Pass: pass}
	}
	boats, runs, one := survey.Input{Shore: s}, survey.Input{Shore: s}, survey.Input{Shore: s}
	for k := range 36 {
		boats.Readings = append(boats.Readings, fix(k, -3, "port"), fix(k, 3, "starboard"))
		runs.Readings = append(runs.Readings, fix(k, 0, []string{"out", "on"}[k/18]))
		one.Readings = append(one.Readings, fix(k, 0, "out"))
	}
	for _, c := range []struct {
		name string
		in   survey.Input
		want int
	}{{"two boats", boats, 2}, {"two runs on one course", runs, 2}, {"one run", one, 1}} {
		if got := measure(t, c.in).Bed.Diagnostics().Lines; got != c.want {
			t.Errorf("%s: %d lines, want %d", c.name, got, c.want)
		}
	}
}

func TestMeasure_ProgressAndCancel(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	in := survey.Input{Shore: s, Readings: lines(s, 12)}
	last, calls := -1.0, 0
	if _, err := survey.Measure(in, func(share float64) bool {
		if share < last || share < 0 || share > 1 {
			t.Errorf("progress went from %v to %v", last, share)
		}
		last, calls = share, calls+1
		return true
	}); err != nil {
		t.Fatal(err)
	}
	if calls < 3 {
		t.Fatalf("%d calls of progress", calls)
	}
	for _, stop := range []int{1, calls / 2, calls} {
		n := 0
		r, err := survey.Measure(in, func(float64) bool { n++; return n < stop })
		if !errors.Is(err, bed.ErrCanceled) || r != nil {
			t.Errorf("stopped at call %d of %d: report %v, error %v", stop, calls, r, err)
		}
		if n > stop {
			t.Errorf("stopped at call %d, called %d times", stop, n)
		}
	}
}

func TestMeasure_Refuses(t *testing.T) {
	t.Parallel()
	if _, err := survey.Measure(survey.Input{}, nil); !errors.Is(err, survey.ErrNoShore) {
		t.Errorf("no shore: %v", err)
	}
	var out *unit.RangeError
	if _, err := survey.Measure(survey.Input{Shore: round(t, bowlM), Bias: survey.Bias{Draft: -1}}, nil); !errors.As(err, &out) {
		t.Errorf("negative bias: %v", err)
	}
}

// A bias widens the interval and moves nothing.
func TestMeasure_BiasWidens(t *testing.T) {
	t.Parallel()
	s := round(t, bowlM)
	in := survey.Input{Shore: s, Readings: lines(s, 8)}
	plain := measure(t, in)
	in.Bias = survey.Bias{Level: 0.1, Draft: 0.1, Muck: 0.1, Sound: 0.02}
	doubt := measure(t, in)
	if doubt.Volume.Value != plain.Volume.Value {
		t.Errorf("volume moved from %v to %v", plain.Volume.Value, doubt.Volume.Value)
	}
	if doubt.Volume.High-doubt.Volume.Low <= plain.Volume.High-plain.Volume.Low {
		t.Errorf("interval %+v is no wider than %+v", doubt.Volume, plain.Volume)
	}
}
