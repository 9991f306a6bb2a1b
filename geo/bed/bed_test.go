package bed_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/golang/geo/s2"
	"pgregory.net/rapid"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// The truth of each pond is described in testdata/README.md. A triangulation of
// the same soundings with spikes removed is 0.8, 4.4, 17.5 and 0.3 % low.
var ponds = []struct {
	name          string
	volume, rmseM float64 // greatest relative error of the volume, RMS error of the depth
}{
	{"O1_bowl", 0.004, 0.048},
	{"O2_valley20", 0.008, 0.115},
	{"O3_arms30", 0.015, 0.21},
	{"O4_dense60", 0.0025, 0.033},
}

func TestEstimate_TestPonds(t *testing.T) {
	t.Parallel()
	for _, tt := range ponds {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			p := loadPond(t, tt.name)
			coarse := bed.Options{SpacingM: math.Sqrt(float64(p.shore.Area())) / 72} // quick, and within the same limits
			b, err := bed.Estimate(p.shore, p.soundings, coarse)
			if err != nil {
				t.Fatal(err)
			}
			v, truth := b.Volume(), p.truth.VolumeM3
			t.Logf("volume %+.3f %% [%+.2f, %+.2f], lag %.2f ± %.2f s, noise %.3f m, %d lines", 100*(float64(v.Value)/truth-1),
				100*(float64(v.Low)/truth-1), 100*(float64(v.High)/truth-1), b.Diagnostics().LagS, b.Diagnostics().LagSDS, b.Diagnostics().NoiseM, b.Diagnostics().Lines)
			if rel := float64(v.Value)/truth - 1; math.Abs(rel) > tt.volume {
				t.Errorf("volume is off by %+.3f %%, want within %.2f %%", 100*rel, 100*tt.volume)
			}
			if !(float64(v.Low) <= truth && truth <= float64(v.High)) {
				t.Errorf("95 %% interval %.0f to %.0f m³ misses the true %.0f", v.Low, v.High, truth)
			}
			if half := float64(v.High-v.Low) / 2 / truth; half > 0.03 {
				t.Errorf("95 %% interval is ±%.1f %% wide, want at most 3", 100*half)
			}
			if rel := float64(b.Area().Value)/p.truth.RingAreaM2 - 1; math.Abs(rel) > 0.0005 {
				t.Errorf("area is off by %+.4f %%, want within 0.05 %%", 100*rel)
			}
			if m := b.MaxDepth(); !(float64(m.Low) <= p.truth.MaxDepthM && p.truth.MaxDepthM <= float64(m.High)) {
				t.Errorf("greatest depth %.3f m in [%.3f, %.3f], truth %.3f", m.Value, m.Low, m.High, p.truth.MaxDepthM)
			}
			var squares, within float64
			for _, c := range p.checks {
				d := b.Depth(c.at) - c.depthM
				squares += d * d
				if math.Abs(d) < 1.96*b.DepthSD(c.at) {
					within++
				}
			}
			if share := within / float64(len(p.checks)); share < 0.8 {
				t.Errorf("%.0f %% of check depths lie within 1.96 standard deviations, want at least 80", 100*share)
			}
			if rmse := math.Sqrt(squares / float64(len(p.checks))); rmse > tt.rmseM {
				t.Errorf("depth RMSE %.3f m, want at most %.3f", rmse, tt.rmseM)
			}
			for _, l := range p.levels {
				got := float64(b.Curve().Volume(unit.Meters(l.drawdownM)))
				if rel := (got - l.volumeM3) / truth; math.Abs(rel) > tt.volume+0.005 {
					t.Errorf("volume at %.2f m down is off by %.2f %% of the whole", l.drawdownM, 100*rel)
				}
			}
			if s := b.Diagnostics().Scale; math.Abs(s-1) > 0.002 {
				t.Errorf("scale is %.5f, want within 0.2 %% of 1", s)
			}
			wantLag := p.truth.PositionLagS != 0
			if d := b.Diagnostics(); d.LagApplied != wantLag || (wantLag && math.Abs(d.LagS-p.truth.PositionLagS) > 0.3) {
				t.Errorf("position lag %.2f ± %.2f s, applied %v; truth %.1f s", d.LagS, d.LagSDS, d.LagApplied, p.truth.PositionLagS)
			}
			var area, volume float64
			for _, c := range b.Cells() {
				area, volume = area+c.AreaM2, volume+c.VolumeM3
			}
			if math.Abs(area/float64(b.Area().Value)-1) > 1e-9 || math.Abs(volume/float64(v.Value)-1) > 1e-9 {
				t.Errorf("cells make up %.3f m² and %.3f m³, want %.3f and %.3f", area, volume, b.Area().Value, v.Value)
			}
		})
	}
}

// small is a quick pond: the paraboloid at a coarse spacing.
func small(t testing.TB, seed uint64) (*shore.Shore, []bed.Sounding, bed.Options) {
	t.Helper()
	b := &basins[0]
	s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	return s, b.survey(rand.New(rand.NewPCG(seed, 0)), 10, 0.03, toFrame), bed.Options{SpacingM: 4}
}

// bits returns everything an estimate says, byte by byte.
func bits(t testing.TB, b *bed.Bed) []byte {
	t.Helper()
	var out bytes.Buffer
	for _, v := range []any{b.DepthsM(), b.Volume(), b.Area(), b.MeanDepth(), b.MaxDepth()} {
		if err := binary.Write(&out, binary.LittleEndian, v); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range b.Cells() {
		if err := binary.Write(&out, binary.LittleEndian, []float64{c.AreaM2, c.VolumeM3, c.DepthM, c.Slope}); err != nil {
			t.Fatal(err)
		}
	}
	return out.Bytes()
}

func TestEstimate_ByteEqualWhateverTheOrder(t *testing.T) {
	t.Parallel()
	f := plane.NewFrame(s2.LatLngFromDegrees(38, -95))
	place := func(pts []plane.Point) (out []s2.LatLng) {
		for _, p := range pts {
			out = append(out, f.ToLatLng(p))
		}
		return out
	}
	outer := place(basins[1].ring(1, 100))
	islands := [][]s2.LatLng{place([]plane.Point{{X: 10, Y: 10}, {X: 20, Y: 10}, {X: 15, Y: 20}}), place([]plane.Point{{X: -30, Y: 0}, {X: -20, Y: 3}, {X: -28, Y: 9}})}
	first, err := shore.New(outer, islands)
	if err != nil {
		t.Fatal(err)
	}
	soundings := basins[1].survey(rand.New(rand.NewPCG(7, 7)), 5, 0.03, func(p plane.Point) plane.Point { return first.Frame().ToPlane(f.ToLatLng(p)) })
	soundings = append(soundings, soundings[10], soundings[11]) // sent twice
	want, err := bed.Estimate(first, soundings, bed.Options{SpacingM: 9})
	if err != nil {
		t.Fatal(err)
	}
	wantBits := bits(t, want)
	rapid.Check(t, func(r *rapid.T) {
		turn := func(name string, ring []s2.LatLng) []s2.LatLng {
			k := rapid.IntRange(0, len(ring)-1).Draw(r, name+" start")
			out := append(slices.Clone(ring[k:]), ring[:k]...)
			if rapid.Bool().Draw(r, name+" reversed") {
				slices.Reverse(out)
			}
			return out
		}
		others := [][]s2.LatLng{turn("first island", islands[0]), turn("second island", islands[1])}
		if rapid.Bool().Draw(r, "islands swapped") {
			slices.Reverse(others)
		}
		s, err := shore.New(turn("outer ring", outer), others)
		if err != nil {
			r.Fatal(err)
		}
		shuffled := slices.Clone(soundings)
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(r, "seed"), 0))
		rng.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		got, err := bed.Estimate(s, shuffled, bed.Options{SpacingM: 9})
		if err != nil {
			r.Fatal(err)
		}
		if !bytes.Equal(bits(t, got), wantBits) {
			r.Fatalf("volume %v, want %v to the last bit", got.Volume(), want.Volume())
		}
	})
}

//nolint:paralleltest // it changes the number of processors
func TestEstimate_ByteEqualOnAnyNumberOfProcessors(t *testing.T) {
	s, soundings, opt := small(t, 3)
	opt.SpacingM = 2.5
	before := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(before)
	one, err := bed.Estimate(s, soundings, opt)
	if err != nil {
		t.Fatal(err)
	}
	runtime.GOMAXPROCS(5)
	five, err := bed.Estimate(s, soundings, opt)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(bits(t, one), bits(t, five)) {
		t.Errorf("volume %v on one processor, %v on five", one.Volume(), five.Volume())
	}
}

func TestEstimate_SameOnAMirroredOrMovedPond(t *testing.T) {
	t.Parallel()
	b := &basins[3]
	volume := func(at s2.LatLng, flip float64) float64 {
		mirrored := basin{rimM: func(a float64) float64 { return b.rimM(flip * a) }}
		s, toFrame := mirrored.shoreAt(t, at)
		_, home := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
		soundings := b.survey(rand.New(rand.NewPCG(5, 5)), 12, 0, home)
		// Back to the basin's own plane, mirrored, and to the new place.
		origin := home(plane.Point{})
		for k := range soundings {
			p := soundings[k].At.Sub(origin)
			soundings[k].At = toFrame(plane.Point{X: p.X, Y: flip * p.Y})
		}
		est, err := bed.Estimate(s, soundings, bed.Options{SpacingM: 4})
		if err != nil {
			t.Fatal(err)
		}
		return float64(est.Volume().Value)
	}
	want := volume(s2.LatLngFromDegrees(38, -95), 1)
	for _, tt := range []struct {
		name string
		at   s2.LatLng
		flip float64
	}{
		{"mirrored", s2.LatLngFromDegrees(38, -95), -1},
		{"near the equator", s2.LatLngFromDegrees(2, 30), 1},
		{"far south across the date line", s2.LatLngFromDegrees(-44, 179.9999), 1},
	} {
		if got := volume(tt.at, tt.flip); math.Abs(got/want-1) > 0.002 {
			t.Errorf("%s: volume %.1f m³, want %.1f within 0.2 %%", tt.name, got, want)
		}
	}
}

func TestEstimate_PoorDataGiveWideAnswers(t *testing.T) {
	t.Parallel()
	b := &basins[0]
	s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	truth := b.volumeM3()
	at := func(x, y float64) bed.Sounding {
		p := plane.Point{X: x, Y: y}
		return bed.Sounding{At: toFrame(p), DepthM: b.depthAt(p)}
	}
	var line, pile []bed.Sounding
	clock := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
	for k := range 40 {
		f := at(-60+3*float64(k), 5)
		f.Time = clock.Add(time.Duration(2*k) * time.Second)
		line = append(line, f)
		f = at(10, 10)
		f.Time = clock.Add(time.Duration(k) * time.Second)
		pile = append(pile, f)
	}
	tests := []struct {
		name      string
		soundings []bed.Sounding
		leastHalf float64 // least half-width of the 95 % interval, of the value
		holds     bool    // the interval must hold the truth
	}{
		{"none at all", nil, 0.8, true},
		{"one", []bed.Sounding{at(0, 0)}, 0.3, true},
		{"one near the shore", []bed.Sounding{at(75, 0)}, 0.3, true},
		{"three", []bed.Sounding{at(0, 0), at(40, 0), at(0, 40)}, 0.02, true},
		{"the same one three times", []bed.Sounding{at(0, 0), at(0, 0), at(0, 0)}, 0.3, true},
		{"all at one point", pile, 0.3, true},
		{"all on one line", line, 0.02, true},
		{"none usable", []bed.Sounding{{At: toFrame(plane.Point{X: 500}), DepthM: 2}, {At: toFrame(plane.Point{}), DepthM: math.NaN()}, {At: plane.Point{X: math.Inf(1)}, DepthM: 1}, {DepthM: -3}, {DepthM: 1e6}}, 0.8, true},
		{"contradictory at one place", []bed.Sounding{{At: toFrame(plane.Point{}), DepthM: 1, Seq: 1}, {At: toFrame(plane.Point{}), DepthM: 9, Seq: 2}}, 0.3, true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			est, err := bed.Estimate(s, tt.soundings, bed.Options{SpacingM: 4})
			if err != nil {
				t.Fatal(err)
			}
			v := est.Volume()
			for name, x := range map[string]float64{
				"volume": float64(v.Value), "low": float64(v.Low), "high": float64(v.High), "mean": float64(est.MeanDepth().Value),
				"deepest": float64(est.MaxDepth().High), "noise": est.Diagnostics().NoiseM, "far": est.Diagnostics().FarShare,
			} {
				if math.IsNaN(x) || math.IsInf(x, 0) || x < 0 {
					t.Errorf("%s is %g", name, x)
				}
			}
			for _, d := range est.DepthsM() {
				if !(d >= 0) || d > 20 {
					t.Fatalf("a depth is %g", d)
				}
			}
			t.Logf("volume %.0f m³ in [%.0f, %.0f], truth %.0f", v.Value, v.Low, v.High, truth)
			if half := float64(v.High-v.Low) / 2 / float64(v.Value); half < tt.leastHalf {
				t.Errorf("95 %% interval is ±%.0f %%, want at least ±%.0f %%", 100*half, 100*tt.leastHalf)
			}
			if tt.holds && !(float64(v.Low) <= truth && truth <= float64(v.High)) {
				t.Errorf("95 %% interval [%.0f, %.0f] misses the true %.0f m³", v.Low, v.High, truth)
			}
			if est.Diagnostics().Guess != (est.Diagnostics().Used == 0) {
				t.Errorf("guess is %v with %d soundings used", est.Diagnostics().Guess, est.Diagnostics().Used)
			}
		})
	}
}

// A ditch two or three meters wide with a basin at its end: narrower than a cell
// of the coarse grid.
func TestEstimate_NarrowWater(t *testing.T) {
	t.Parallel()
	f := plane.NewFrame(s2.LatLngFromDegrees(38, -95))
	var ring []s2.LatLng
	for _, p := range []plane.Point{{X: 0, Y: 0}, {X: 400, Y: 0}, {X: 400, Y: 2.5}, {X: 20, Y: 2.5}, {X: 20, Y: 20}, {X: 0, Y: 20}} {
		ring = append(ring, f.ToLatLng(p))
	}
	s, err := shore.New(ring, nil)
	if err != nil {
		t.Fatal(err)
	}
	var soundings []bed.Sounding
	for k := range 90 {
		soundings = append(soundings, bed.Sounding{At: s.Frame().ToPlane(f.ToLatLng(plane.Point{X: 25 + 4*float64(k), Y: 1.25})), DepthM: 1, Seq: int64(k + 1)})
	}
	b, err := bed.Estimate(s, soundings, bed.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if d := b.Depth(soundings[40].At); math.Abs(d-1) > 0.3 {
		t.Errorf("depth in the ditch is %.2f m, want about 1", d)
	}
	if v := b.Volume(); math.IsNaN(float64(v.Value)) || v.Value < 400 || v.Value > 4000 { // 900 m² of ditch and an unsounded basin
		t.Errorf("volume %.0f m³ in [%.0f, %.0f]", v.Value, v.Low, v.High)
	}
}

func TestEstimate_KnownErrorsWidenTheInterval(t *testing.T) {
	t.Parallel()
	s, soundings, opt := small(t, 1)
	sd := func(opt bed.Options) float64 {
		b, err := bed.Estimate(s, soundings, opt)
		if err != nil {
			t.Fatal(err)
		}
		v := b.Volume()
		return float64(v.Value) * math.Log(float64(v.High/v.Low)) / 2 / 1.959964
	}
	plain := sd(opt)
	area := float64(s.Area())
	leveled, spedUp := opt, opt
	leveled.LevelSDM, leveled.DraftSDM = 0.04, 0.03
	spedUp.SoundSpeedSD = 0.02
	b, err := bed.Estimate(s, soundings, opt)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := sd(leveled), math.Hypot(plain, 0.05*area); math.Abs(got/want-1) > 0.005 {
		t.Errorf("with level and draft errors: %.0f m³, want %.0f", got, want)
	}
	if got, want := sd(spedUp), math.Hypot(plain, 0.02*float64(b.Volume().Value)); math.Abs(got/want-1) > 0.005 {
		t.Errorf("with a sound speed error: %.0f m³, want %.0f", got, want)
	}
}

func TestEstimate_RefusesSettingsOutOfRange(t *testing.T) {
	t.Parallel()
	s, soundings, _ := small(t, 1)
	for _, opt := range []bed.Options{{SpacingM: -1}, {LevelSDM: math.NaN()}, {SoundSpeedSD: -0.1}} {
		var out *unit.RangeError
		if _, err := bed.Estimate(s, soundings, opt); !errors.As(err, &out) {
			t.Errorf("%+v: error %v, want a range error", opt, err)
		}
	}
}

func TestEstimate_ReportsProgressAndStops(t *testing.T) {
	t.Parallel()
	s, soundings, opt := small(t, 2)
	last := -1.0
	opt.Progress = func(share float64) bool {
		if share < last || share > 1 {
			t.Errorf("progress %g after %g", share, last)
		}
		last = share
		return true
	}
	if _, err := bed.Estimate(s, soundings, opt); err != nil || last != 1 {
		t.Errorf("ended at %g with %v", last, err)
	}
	opt.Progress = func(share float64) bool { return share < 0.5 }
	if _, err := bed.Estimate(s, soundings, opt); !errors.Is(err, bed.ErrCanceled) {
		t.Errorf("error %v, want ErrCanceled", err)
	}
}

func TestEstimate_FlagsAndVerdicts(t *testing.T) {
	t.Parallel()
	b := &basins[0]
	s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	clock := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
	rng := rand.New(rand.NewPCG(1, 1))
	var line []bed.Sounding
	for k := range 90 {
		p := plane.Point{X: -67.5 + 1.5*float64(k), Y: 20}
		line = append(line, bed.Sounding{At: toFrame(p), DepthM: b.depthAt(p) + 0.03*rng.NormFloat64(), Time: clock.Add(time.Duration(k) * time.Second)})
	}
	line[20].DepthM += 1.5
	line[40].DepthM *= 2
	for k := 60; k < 67; k++ {
		line[k].DepthM = 1.234
	}
	line[70].DepthM = 0
	line[75].At = toFrame(plane.Point{X: 0, Y: 90})
	line[76].At = toFrame(plane.Point{X: 0, Y: 82})
	line[50].Verdict = bed.Rejected
	line[30].DepthM, line[30].Verdict, line[30].AdjustedM = 9, bed.Adjusted, line[29].DepthM
	line[25].DepthM++
	line[25].Verdict = bed.Accepted
	est, err := bed.Estimate(s, line, bed.Options{SpacingM: 4})
	if err != nil {
		t.Fatal(err)
	}
	for k, want := range map[int]bed.Rule{
		20: bed.Spike, 25: bed.Spike, 40: bed.DoubleEcho, 50: bed.Person, 60: bed.LostBottom, 66: bed.LostBottom,
		70: bed.NotADepth, 75: bed.OutsideShore, 76: bed.AtEdge,
	} {
		if !slices.ContainsFunc(est.Flags()[k], func(f bed.Flag) bool { return f.Rule == want }) {
			t.Errorf("sounding %d has flags %+v, want %q", k, est.Flags()[k], want)
		}
	}
	for _, k := range []int{10, 30, 55, 80} {
		if slices.ContainsFunc(est.Flags()[k], bed.Flag.Excludes) {
			t.Errorf("sounding %d has flags %+v, want none that exclude it", k, est.Flags()[k])
		}
	}
	// Accepted though it looks like a spike: it pulls the bed to itself.
	line[25].Verdict = bed.Undecided
	without, err := bed.Estimate(s, line, bed.Options{SpacingM: 4})
	if err != nil {
		t.Fatal(err)
	}
	if with, not := est.Depth(line[25].At), without.Depth(line[25].At); with < not+0.01 {
		t.Errorf("depth there is %.3f m accepted, %.3f m undecided; want it pulled down", with, not)
	}
	if est.Diagnostics().Used != without.Diagnostics().Used+1 {
		t.Errorf("%d soundings used with one accepted, %d without", est.Diagnostics().Used, without.Diagnostics().Used)
	}
}

func TestEstimate_KeepsSmoothnessThatIsKnown(t *testing.T) {
	t.Parallel()
	s, soundings, opt := small(t, 2)
	first, err := bed.Estimate(s, soundings, opt)
	if err != nil {
		t.Fatal(err)
	}
	opt.Models = first.Diagnostics().Models
	again, err := bed.Estimate(s, soundings, opt)
	if err != nil {
		t.Fatal(err)
	}
	for k, m := range again.Diagnostics().Models {
		if want := opt.Models[k]; m.Name != want.Name || math.Abs(m.Smoothness/want.Smoothness-1) > 1e-9 || math.Abs(m.NoiseM/want.NoiseM-1) > 0.05 {
			t.Errorf("%+v, want the smoothness and about the noise of %+v", m, want)
		}
	}
	if got, want := again.Volume().Value, first.Volume().Value; math.Abs(float64(got/want)-1) > 0.001 {
		t.Errorf("volume %.1f m³, want %.1f within 0.1 %%", got, want)
	}
}
