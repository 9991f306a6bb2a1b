package sound_test

import (
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/golang/geo/s1"
	"pgregory.net/rapid"

	"pondwright/calc/sound"
	"pondwright/calc/unit"
)

// near fails unless got is within tol of want.
func near(t *testing.T, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("got %.8g, want %.8g within %g", got, want, tol)
	}
}

// speed unwraps Speed for temperatures known to be in range.
func speed(t testing.TB, c float64) unit.MetersPerSecond {
	t.Helper()
	v, err := sound.Speed(unit.Celsius(c))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestSpeed(t *testing.T) {
	t.Parallel()
	const source = "polynomial of Marczak, JASA 102, 2776, 1997, recomputed"
	for _, tt := range []struct {
		celsius, want float64
	}{{0, 1402.385}, {4, 1421.633}, {5, 1426.170}, {10, 1447.289}, {15, 1465.960}, {20, 1482.380}, {25, 1496.728}, {30, 1509.167}, {74, 1555.140}, {18.4, 1477.359}} {
		t.Run(fmt.Sprintf("at_%g_C", tt.celsius), func(t *testing.T) {
			t.Parallel()
			t.Log(source)
			near(t, float64(speed(t, tt.celsius)), tt.want, 0.002)
		})
	}
}

// TestSpeed_AgreesWithOtherMeasurements compares with the polynomials of two
// other laboratories, over the temperatures a pond has.
func TestSpeed_AgreesWithOtherMeasurements(t *testing.T) {
	t.Parallel()
	for _, other := range []struct {
		source string
		k      [6]float64
		at20   float64
		tol    float64 // published sets agree to 0.05 m/s; the 1959 set stands 0.3 m/s high
	}{
		{"Bilaniuk & Wong, JASA 93, 1609, 1993, with erratum 1996, 148 points", [6]float64{1.40238744e3, 5.03836171, -5.81172916e-2, 3.34638117e-4, -1.48259672e-6, 3.16585020e-9}, 1482.358, 0.05},
		{"Greenspan & Tschiegg, 1959", [6]float64{1402.736, 5.03358, -0.0579506, 3.31636e-4, -1.45262e-6, 3.0449e-9}, 1482.658, 0.4},
	} {
		for c := 0.0; c <= 40; c += 0.5 {
			want := 0.0
			for i, k := range other.k {
				want += k * math.Pow(c, float64(i))
			}
			if c == 20 {
				near(t, want, other.at20, 0.002) // recomputed
			}
			if got := float64(speed(t, c)); math.Abs(got-want) > other.tol {
				t.Errorf("at %g °C: got %.3f, want %.3f within %g (%s)", c, got, want, other.tol, other.source)
			}
		}
	}
}

func TestSpeed_RefusesWhatTheSourceDoesNotCover(t *testing.T) {
	t.Parallel()
	for _, c := range []float64{-0.1, 95.1, math.NaN(), math.Inf(1)} {
		var re *unit.RangeError
		if _, err := sound.Speed(unit.Celsius(c)); !errors.As(err, &re) || re.Max != 95 || re.Source == "" {
			t.Errorf("%g °C: got %v, want a range error up to 95 with its source", c, err)
		}
	}
}

func TestSpeedLayered(t *testing.T) {
	t.Parallel()
	layers := []sound.Layer{{2, unit.Celsius(26)}, {1, unit.Celsius(18)}, {2, unit.Celsius(12)}}
	c, err := sound.SpeedLayered(layers)
	if err != nil {
		t.Fatal(err)
	}
	near(t, float64(c), 1476.709, 0.005) // harmonic mean of Marczak 1997, recomputed
	// The surface temperature alone would read 1.53 % deep (recomputed).
	near(t, 100*(float64(speed(t, 26))/float64(c)-1), 1.53, 0.01)
	// The plain mean by thickness would be 1476.975 m/s (recomputed).
	near(t, (2*float64(speed(t, 26))+float64(speed(t, 18))+2*float64(speed(t, 12)))/5, 1476.975, 0.002)
	// Over the 1500 m/s that sounders are set to (recomputed).
	for celsius, ratio := range map[float64]float64{5: 0.9508, 10: 0.9649, 15: 0.9773, 20: 0.9883, 25: 0.9978, 30: 1.0061} {
		near(t, float64(speed(t, celsius)/sound.UsualSetSpeed), ratio, 5.1e-5)
	}
	if _, err := sound.SpeedLayered(nil); !errors.Is(err, sound.ErrNoLayers) {
		t.Errorf("no layers: got %v", err)
	}
}

func TestSounderDepth(t *testing.T) {
	t.Parallel()
	d, err := sound.Sounder{Draft: 0.30, SetSpeed: 1500}.Depth(2.85, speed(t, 18.4))
	if err != nil {
		t.Fatal(err)
	}
	near(t, float64(d), 3.1070, 0.0005) // EM 1110-2-1003, 2002, ch. 9 (form); Marczak 1997; recomputed
	near(t, d.Feet(), 10.19, 0.01)
	for _, bad := range []struct {
		s sound.Sounder
		r unit.Meters
		c unit.MetersPerSecond
	}{
		{sound.Sounder{}, 1, 1480},
		{sound.Sounder{Draft: -0.1, SetSpeed: 1500}, 1, 1480},
		{sound.Sounder{Draft: 0.3, SetSpeed: 4921}, 1, 1480}, // feet per second by mistake
		{sound.Sounder{Draft: 0.3, SetSpeed: 1500}, -1, 1480},
		{sound.Sounder{Draft: 0.3, SetSpeed: 1500}, unit.Meters(math.NaN()), 1480},
	} {
		var re *unit.RangeError
		if _, err := bad.s.Depth(bad.r, bad.c); !errors.As(err, &re) {
			t.Errorf("%+v: got %v, want a range error", bad, err)
		}
	}
}

func TestHeights(t *testing.T) {
	t.Parallel()
	// Water 0.25 m below full, 3.1 m deep there: bed at −3.35, 3.35 m at full.
	near(t, float64(sound.BedHeight(-0.25, 3.1)), -3.35, 1e-12)
	near(t, float64(sound.BelowFull(0, -0.25, 3.1)), 3.35, 1e-12)
	if m, err := sound.Muck(2.1, 2.6); err != nil {
		t.Error(err)
	} else {
		near(t, float64(m), 0.5, 1e-12)
	}
	if _, err := sound.Muck(2.6, 2.1); err == nil {
		t.Error("firm bed above soft bed was taken")
	}
}

func TestLevel(t *testing.T) {
	t.Parallel()
	t0 := time.Date(2026, 6, 1, 8, 0, 0, 0, time.UTC)
	l, err := sound.NewLevel([]sound.StaffReading{{t0.Add(2 * time.Hour), 1.20}, {t0, 1.24}, {t0, 1.26}, {t0.Add(time.Hour), 1.23}})
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name string
		at   time.Duration
		want float64
		away time.Duration
	}{
		{"mean_of_two_readings_at_once", 0, 1.25, 0},
		{"straight_between", 15 * time.Minute, 1.245, 15 * time.Minute},
		{"nearest_counts", 80 * time.Minute, 1.22, 20 * time.Minute},
		{"nearest_may_come_later", 110 * time.Minute, 1.205, 10 * time.Minute},
		{"held_before", -time.Hour, 1.25, time.Hour},
		{"held_after", 5 * time.Hour, 1.20, 3 * time.Hour},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, away := l.At(t0.Add(tt.at))
			near(t, float64(got), tt.want, 1e-12)
			if away != tt.away {
				t.Errorf("away %v, want %v", away, tt.away)
			}
		})
	}
	low, high := l.Range()
	near(t, float64(low), 1.20, 0)
	near(t, float64(high), 1.25, 1e-12)
	if _, err := sound.NewLevel(nil); !errors.Is(err, sound.ErrNoStaff) {
		t.Errorf("no readings: got %v", err)
	}
	if h, away := (sound.Level{}).At(t0); h != 0 || away != 0 {
		t.Errorf("zero value: got %v %v", h, away)
	}
}

func TestLevel_OrderOfReadingsDoesNotMatter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(t, "n")
		var rs []sound.StaffReading
		for range n {
			rs = append(rs, sound.StaffReading{
				At:     time.Unix(int64(rapid.IntRange(0, 10).Draw(t, "s"))*600, 0),
				Height: unit.Meters(rapid.Float64Range(-2, 2).Draw(t, "h")),
			})
		}
		a, err := sound.NewLevel(rs)
		if err != nil {
			t.Fatal(err)
		}
		b, _ := sound.NewLevel(rapid.Permutation(rs).Draw(t, "order"))
		at := time.Unix(int64(rapid.IntRange(-1000, 9000).Draw(t, "at")), 0)
		ha, wa := a.At(at)
		hb, wb := b.At(at)
		if ha != hb || wa != wb {
			t.Fatalf("%v %v against %v %v", ha, wa, hb, wb)
		}
		if low, high := a.Range(); ha < low-1e-12 || ha > high+1e-12 {
			t.Fatalf("%v outside %v to %v", ha, low, high)
		}
	})
}

// TestFitPlate: the least-squares line through (1,2) (2,4) (3,5) (4,4) (5,5) is
// y = 2.2 + 0.6x, its squared residuals sum to 2.4 (0.8 per degree of freedom)
// and its slope error is √(0.8/10), by hand from the normal equations; the
// deviations from y = x are scaled by 0.01 to make a plausible plate check.
func TestFitPlate(t *testing.T) {
	t.Parallel()
	base := [][2]float64{{1, 2}, {2, 4}, {3, 5}, {4, 4}, {5, 5}}
	var marks []sound.PlateMark
	for _, p := range base {
		marks = append(marks, sound.PlateMark{True: unit.Meters(p[0]), Displayed: unit.Meters(p[0] + 0.01*(p[1]-p[0]))})
	}
	f, err := sound.FitPlate(marks)
	if err != nil {
		t.Fatal(err)
	}
	near(t, f.Scale, 1+0.01*(0.6-1), 1e-12)
	near(t, float64(f.Offset), 0.022, 1e-12)
	near(t, float64(f.Scatter), 0.01*math.Sqrt(0.8), 1e-12)
	near(t, f.ScaleStdErr, 0.01*math.Sqrt(0.08), 1e-12)
	near(t, float64(f.OffsetStdErr), 0.01*math.Sqrt(0.8*(0.2+0.9)), 1e-12)
	near(t, float64(f.Largest), 0.010, 1e-12)
	half, ok := f.Doubt95(3)
	if !ok {
		t.Fatal("three degrees of freedom gave no band")
	}
	// Student's t, 3 degrees of freedom, two-sided 95 %: 3.182 (any statistics table).
	near(t, float64(half), 3.182446*0.01*math.Sqrt(0.8/5)/0.996, 1e-8)
	near(t, float64(f.Depth(f.Offset)), 0, 1e-12)
	if !f.Brackets(1) || f.Brackets(5.01) {
		t.Error("brackets 1 to 5 m wrongly")
	}
}

func TestFitPlate_TwoMarksGiveNoErrors(t *testing.T) {
	t.Parallel()
	f, err := sound.FitPlate([]sound.PlateMark{{1, 0.715}, {3, 2.745}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, f.Scale, 1.015, 1e-12)
	near(t, float64(f.Depth(1.73)), 2, 1e-12)
	if _, ok := f.Doubt95(2); ok || f.DegreesOfFreedom != 0 {
		t.Error("two marks cannot say how far to trust the line")
	}
}

func TestFitPlate_Refuses(t *testing.T) {
	t.Parallel()
	for name, marks := range map[string][]sound.PlateMark{
		"none":           nil,
		"one":            {{1, 1}},
		"one_depth":      {{1, 1}, {1, 1.1}, {1, 0.9}},
		"marks_in_feet":  {{3.28, 1}, {6.56, 2}},
		"not_a_number":   {{1, unit.Meters(math.NaN())}, {2, 2}},
		"reversed_plate": {{1, 3}, {3, 1}},
	} {
		if _, err := sound.FitPlate(marks); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

func TestFitPlate_Recovers(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		scale := rapid.Float64Range(0.95, 1.1).Draw(t, "scale")
		offset := rapid.Float64Range(-1, 1).Draw(t, "offset")
		var marks []sound.PlateMark
		for i := range rapid.IntRange(2, 8).Draw(t, "n") {
			d := 0.8 + float64(i)
			marks = append(marks, sound.PlateMark{True: unit.Meters(d), Displayed: unit.Meters(scale*d + offset)})
		}
		f, err := sound.FitPlate(marks)
		if err != nil {
			t.Fatal(err)
		}
		d := rapid.Float64Range(0, 20).Draw(t, "depth")
		if got := float64(f.Depth(unit.Meters(scale*d + offset))); math.Abs(got-d) > 1e-9 {
			t.Fatalf("got %g, want %g", got, d)
		}
	})
}

func TestLatency(t *testing.T) {
	t.Parallel()
	delay, err := sound.Latency(3, 1.5, 1.5)
	if err != nil || delay != time.Second {
		t.Errorf("got %v, %v, want exactly one second (recomputed)", delay, err)
	}
	near(t, float64(sound.LatencyBias(time.Second, 1.5, 1.0/3)), 0.5, 1e-12) // recomputed
}

// TestFitLatency_FindsThePlantedDelay runs a line over an invented bed both
// ways with positions that lag.
func TestFitLatency_FindsThePlantedDelay(t *testing.T) {
	t.Parallel()
	bed := func(x float64) float64 { return 2 + 1.2*math.Sin(x/11) + 0.4*math.Sin(x/4.3) }
	for _, delay := range []float64{-0.4, 0, 0.35, 1.0, 2.2} {
		const v1, v2 = 1.4, 1.1
		var out, back []sound.Along
		for i := range 130 {
			x := float64(i) * 0.9
			noise := 0.02 * math.Sin(float64(i*i))
			out = append(out, sound.Along{Distance: unit.Meters(x - v1*delay), Depth: unit.Meters(bed(x) + noise)})
			back = append(back, sound.Along{Distance: unit.Meters(x + v2*delay), Depth: unit.Meters(bed(x) - noise)})
		}
		f, err := sound.FitLatency(out, back, v1, v2)
		if err != nil {
			t.Fatal(err)
		}
		near(t, f.Delay.Seconds(), delay, 0.03)
		if f.After > f.Before || f.StdErr <= 0 || f.StdErr > 100*time.Millisecond {
			t.Errorf("delay %g: before %v, after %v, error %v", delay, f.Before, f.After, f.StdErr)
		}
	}
}

func TestFitLatency_Refuses(t *testing.T) {
	t.Parallel()
	line := func(n int, depth func(x float64) float64) (l []sound.Along) {
		for i := range n {
			l = append(l, sound.Along{Distance: unit.Meters(i), Depth: unit.Meters(depth(float64(i)))})
		}
		return l
	}
	flat := line(100, func(float64) float64 { return 2 })
	if _, err := sound.FitLatency(flat, flat, 1.5, 1.5); !errors.Is(err, sound.ErrFlatLine) {
		t.Errorf("flat bed: got %v", err)
	}
	short := line(10, func(x float64) float64 { return 1 + x/10 })
	if _, err := sound.FitLatency(short, short, 1.5, 1.5); !errors.Is(err, sound.ErrShortLine) {
		t.Errorf("short line: got %v", err)
	}
	if _, err := sound.FitLatency(nil, flat, 1.5, 1.5); !errors.Is(err, sound.ErrShortLine) {
		t.Errorf("empty line: got %v", err)
	}
}

func TestFootprint(t *testing.T) {
	t.Parallel()
	d, err := sound.Footprint(3, 20*s1.Degree)
	if err != nil {
		t.Fatal(err)
	}
	near(t, float64(d), 1.06, 0.005) // 2·3·tan 10°, recomputed
	// Half the footprint times a slope of 1 in 3 bounds the shallow bias: 0.18 m.
	near(t, float64(d)/2/3, 0.18, 0.005)
}

// TestSlopeBias_IsTheNearestBedInTheCone compares with a plain search for the
// least range over all rays of the cone.
func TestSlopeBias_IsTheNearestBedInTheCone(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		depth := rapid.Float64Range(0.5, 20).Draw(t, "depth")
		beam := rapid.Float64Range(1, 60).Draw(t, "beam")
		slope := rapid.Float64Range(0, 1.5).Draw(t, "slope")
		got, err := sound.SlopeBias(unit.Meters(depth), s1.Angle(beam)*s1.Degree, slope)
		if err != nil {
			t.Fatal(err)
		}
		least := depth
		for i := range 2001 {
			a := beam / 2 * math.Pi / 180 * float64(i) / 2000
			z := depth / (1 + slope*math.Tan(a))
			least = math.Min(least, math.Hypot(z, z*math.Tan(a)))
		}
		if math.Abs(float64(got)-(depth-least)) > 1e-5*depth {
			t.Fatalf("got %g, want %g", float64(got), depth-least)
		}
		full, _ := sound.Footprint(unit.Meters(depth), s1.Angle(beam)*s1.Degree)
		if float64(got) > float64(full)/2*slope+1e-12 {
			t.Fatalf("bias %g above half the footprint times the slope", float64(got))
		}
	})
}

func TestLeverArm(t *testing.T) {
	t.Parallel()
	l := sound.LeverArm{Forward: 2, Starboard: 0.5}
	for _, tt := range []struct{ heading, east, north float64 }{{0, 0.5, 2}, {90, 2, -0.5}, {180, -0.5, -2}, {270, -2, 0.5}} {
		e, n := l.Shift(s1.Angle(tt.heading) * s1.Degree)
		near(t, float64(e), tt.east, 1e-12)
		near(t, float64(n), tt.north, 1e-12)
	}
}

func TestOrder(t *testing.T) {
	t.Parallel()
	const source = "IHO S-44, edition 6, 2020, table 1; values of √(a² + (b·d)²) recomputed"
	for _, tt := range []struct {
		order sound.Order
		depth unit.Meters
		want  float64
	}{
		{sound.OrderExclusive, 1, 0.1502}, {sound.OrderExclusive, 2, 0.1507}, {sound.OrderExclusive, 3, 0.1517}, {sound.OrderExclusive, 5, 0.1546}, {sound.OrderExclusive, 10, 0.1677}, {sound.OrderExclusive, 40, 0.3354}, {sound.OrderExclusive, 100, 0.7649},
		{sound.OrderSpecial, 1, 0.2501}, {sound.OrderSpecial, 3, 0.2510}, {sound.OrderSpecial, 10, 0.2610}, {sound.OrderSpecial, 40, 0.3905}, {sound.OrderSpecial, 100, 0.7906},
		{sound.Order1a, 1, 0.5002}, {sound.Order1b, 10, 0.5166}, {sound.Order1a, 40, 0.7214}, {sound.Order1a, 100, 1.3928},
		{sound.Order2, 1, 1.0003}, {sound.Order2, 10, 1.0261}, {sound.Order2, 100, 2.5080},
	} {
		got, err := tt.order.MaxVertical(tt.depth)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(float64(got)-tt.want) > 1e-4 {
			t.Errorf("%v at %g m: got %.4f, want %.4f (%s)", tt.order, tt.depth, got, tt.want, source)
		}
	}
	for _, tt := range []struct {
		order sound.Order
		want  float64
	}{{sound.Order2, 21}, {sound.Order1b, 5.5}, {sound.Order1a, 5.5}, {sound.OrderSpecial, 2}, {sound.OrderExclusive, 1}} {
		got, err := tt.order.MaxHorizontal(10)
		if err != nil || float64(got) != tt.want {
			t.Errorf("%v: got %v, %v, want %g (%s)", tt.order, got, err, tt.want, source)
		}
	}
	if _, err := sound.Order(9).MaxVertical(1); err == nil {
		t.Error("unknown order taken")
	}
}

func TestStrictestMet(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		u    unit.Meters
		want sound.Order
		ok   bool
	}{{0.10, sound.OrderExclusive, true}, {0.20, sound.OrderSpecial, true}, {0.40, sound.Order1a, true}, {0.9, sound.Order2, true}, {1.5, 0, false}} {
		got, ok, err := sound.StrictestMet(tt.u, 2)
		if err != nil || got != tt.want || ok != tt.ok {
			t.Errorf("%g m: got %v %v %v, want %v %v", tt.u, got, ok, err, tt.want, tt.ok)
		}
	}
}

func TestCheckCrossings(t *testing.T) {
	t.Parallel()
	var cs []sound.Crossing
	for i := range 12 {
		d := unit.Meters(0.05)
		if i%2 == 1 {
			d = -0.03
		}
		cs = append(cs, sound.Crossing{Main: 2, Check: 2 + d})
	}
	r, err := sound.CheckCrossings(cs, sound.OrderExclusive, sound.CrossingRules{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, float64(r.Bias), 0.01, 1e-12)
	near(t, float64(r.Spread95), 1.96/math.Sqrt2*0.04*math.Sqrt(12.0/11), 1e-12)
	if !r.Pass || r.Within != 1 {
		t.Errorf("got %+v", r)
	}
	for i := range cs {
		cs[i].Check += 0.06
	}
	if r, _ := sound.CheckCrossings(cs, sound.OrderExclusive, sound.CrossingRules{}); r.Pass {
		t.Error("a bias of 0.07 m passed")
	}
	if r, _ := sound.CheckCrossings(cs, sound.OrderExclusive, sound.CrossingRules{MaxBias: 0.08}); !r.Pass {
		t.Error("a bias of 0.07 m failed a rule of 0.08 m")
	}
	if r, _ := sound.CheckCrossings(cs[:3], sound.OrderExclusive, sound.CrossingRules{}); r.Enough || r.Pass {
		t.Error("three crossings passed for enough")
	}
}

func TestSettings_AreNamedAndMarked(t *testing.T) {
	t.Parallel()
	for _, s := range sound.Settings() {
		if s.Name == "" || s.Unit == "" || s.Mark == "" || (s.Mark == unit.Published || s.Mark == unit.FromMemory) != (s.Source != "") {
			t.Errorf("incomplete: %+v", s)
		}
	}
}

// FuzzReduce throws any finite or infinite numbers at every call: nothing may
// panic, and what is accepted must be a number.
func FuzzReduce(f *testing.F) {
	f.Add(2.85, 0.3, 1500.0, 18.4, 20.0, 0.33)
	f.Add(-1.0, 1e308, 0.0, -400.0, 180.0, -1.0)
	f.Add(200.0, 5.0, 1350.0, 95.0, 120.0, 2.0)
	f.Fuzz(func(t *testing.T, r, draft, set, celsius, beam, slope float64) {
		ok := func(v float64, err error) {
			if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Fatalf("accepted input gave %g", v)
			}
		}
		c, err := sound.Speed(unit.Celsius(celsius))
		ok(float64(c), err)
		d, err := sound.Sounder{Draft: unit.Meters(draft), SetSpeed: unit.MetersPerSecond(set)}.Depth(unit.Meters(r), c)
		ok(float64(d), err)
		c, err = sound.SpeedLayered([]sound.Layer{{unit.Meters(r), unit.Celsius(celsius)}, {unit.Meters(draft), unit.Celsius(slope)}})
		ok(float64(c), err)
		b, err := sound.SlopeBias(unit.Meters(r), s1.Angle(beam)*s1.Degree, slope)
		ok(float64(b), err)
		p, err := sound.FitPlate([]sound.PlateMark{{unit.Meters(r), unit.Meters(draft)}, {unit.Meters(set), unit.Meters(celsius)}, {unit.Meters(slope), unit.Meters(slope)}})
		ok(p.Scale, err)
		ok(float64(p.OffsetStdErr), err)
		o, _, err := sound.StrictestMet(unit.Meters(r), unit.Meters(draft))
		ok(float64(o), err)
		cr, err := sound.CheckCrossings([]sound.Crossing{{unit.Meters(r), unit.Meters(draft)}}, sound.Order(int(int8(int64(slope)))), sound.CrossingRules{MaxBias: unit.Meters(set)})
		ok(float64(cr.Spread95), err)
		l, err := sound.FitLatency([]sound.Along{{unit.Meters(r), unit.Meters(draft)}, {unit.Meters(set), 1}}, []sound.Along{{unit.Meters(slope), 2}, {unit.Meters(beam), 1}}, unit.MetersPerSecond(celsius), 1)
		ok(float64(l.Shift), err)
	})
}

func ExampleSounder_Depth() {
	c, err := sound.Speed(unit.Celsius(18.4))
	if err != nil {
		fmt.Println(err)
		return
	}
	d, err := sound.Sounder{Draft: 0.30, SetSpeed: 1500}.Depth(2.85, c)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f m, %.2f ft\n", float64(d), d.Feet())
	// Output: 3.107 m, 10.19 ft
}

func BenchmarkFitLatency(b *testing.B) {
	var out, back []sound.Along
	for i := range 300 {
		x := float64(i)
		out = append(out, sound.Along{Distance: unit.Meters(x - 1), Depth: unit.Meters(3 + math.Sin(x/20))})
		back = append(back, sound.Along{Distance: unit.Meters(x + 1), Depth: unit.Meters(3 + math.Sin(x/20))})
	}
	for b.Loop() {
		if _, err := sound.FitLatency(out, back, 1.5, 1.5); err != nil {
			b.Fatal(err)
		}
	}
}
