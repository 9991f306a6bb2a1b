package bed_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/plane"
)

func width[Q ~float64](i bed.Interval[Q]) float64 { return math.Log(float64(i.High / i.Low)) }

func volumeOf(b *bed.Bed, p bed.Part) bed.Interval[unit.CubicMeters] {
	v, _ := b.Part(p)
	return v
}

// A cone of 70 m radius and 3 m depth: at drawdown s its area is A(1−s/3)², its
// volume V(1−s/3)³, and the half on either side of its middle holds half.
func TestBed_PartsOfACone(t *testing.T) {
	t.Parallel()
	b := &basins[1]
	s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	est, err := bed.Estimate(s, b.survey(rand.New(rand.NewPCG(11, 1)), 14, 0.02, toFrame), bed.Options{SpacingM: 3})
	if err != nil {
		t.Fatal(err)
	}
	rect := func(x0, x1 float64) []plane.Point {
		return []plane.Point{toFrame(plane.Point{X: x0, Y: -500}), toFrame(plane.Point{X: x1, Y: -500}), toFrame(plane.Point{X: x1, Y: 500}), toFrame(plane.Point{X: x0, Y: 500})}
	}
	truth := b.volumeM3()
	whole := est.Volume()
	for _, tt := range []struct {
		name  string
		got   bed.Interval[unit.CubicMeters]
		want  float64
		exact float64 // what the estimate's own surface says; zero if not known
	}{
		{"whole by a ring", volumeOf(est, bed.Part{Ring: rect(-500, 500)}), truth, float64(whole.Value)},
		{"west half", volumeOf(est, bed.Part{Ring: rect(-500, 0)}), truth / 2, 0},
		{"east half", volumeOf(est, bed.Part{Ring: rect(0, 500)}), truth / 2, 0},
		{"whole by a layer", volumeOf(est, bed.Part{Lower: 100}), truth, float64(whole.Value)},
		{"upper meter", volumeOf(est, bed.Part{Lower: 1}), truth * (1 - math.Pow(2.0/3, 3)), float64(est.Curve().Between(0, 1))},
		{"below a meter", volumeOf(est, bed.Part{Upper: 1}), truth * math.Pow(2.0/3, 3), float64(est.Curve().Volume(1))},
	} {
		v := tt.got
		if !(v.Low < v.Low80 && v.Low80 < v.Value && v.Value < v.High80 && v.High80 < v.High) {
			t.Errorf("%s: %+v is not in order", tt.name, v)
		}
		if !(float64(v.Low) <= tt.want && tt.want <= float64(v.High)) {
			t.Errorf("%s: %.0f m³ in [%.0f, %.0f] misses the true %.0f", tt.name, v.Value, v.Low, v.High, tt.want)
		}
		if tt.exact != 0 && math.Abs(float64(v.Value)/tt.exact-1) > 1e-9 {
			t.Errorf("%s: %.3f m³, want %.3f", tt.name, v.Value, tt.exact)
		}
		if w := width(v) / width(whole); w < 0.5 || w > 4 {
			t.Errorf("%s: the interval is %.2f times as wide as that of the whole", tt.name, w)
		}
	}
	ringed, shored := est.Part(bed.Part{Ring: rect(-500, 500)})
	for _, w := range []float64{width(ringed) / width(whole), width(shored) / width(est.Area())} {
		if math.Abs(w-1) > 1e-9 {
			t.Errorf("the whole by a ring has an interval %.9f times as wide as the whole pond's", w)
		}
	}
	halves := volumeOf(est, bed.Part{Ring: rect(-500, 0)}).Value + volumeOf(est, bed.Part{Ring: rect(0, 500)}).Value
	if math.Abs(float64(halves/whole.Value)-1) > 1e-3 {
		t.Errorf("halves add up to %.1f m³ of %.1f", halves, whole.Value)
	}
	for _, s := range []float64{0, 0.5, 1, 2} {
		a, want := est.AreaAt(unit.Meters(s)), math.Pi*70*70*math.Pow(1-s/3, 2)
		if !(float64(a.Low) <= want && want <= float64(a.High)) || math.Abs(float64(a.Value)/want-1) > 0.1 {
			t.Errorf("area %.2f m down is %.0f m² in [%.0f, %.0f], want %.0f", s, a.Value, a.Low, a.High, want)
		}
	}
	if v := volumeOf(est, bed.Part{Ring: rect(300, 500)}); v.Value != 0 || v.High != 0 {
		t.Errorf("ashore: %+v, want nothing", v)
	}
	if v := volumeOf(est, bed.Part{}); math.Abs(float64(v.Value/whole.Value)-1) > 1e-9 {
		t.Errorf("no ring and no layer: %+v, want the whole of %+v", v, whole)
	}
	if v := volumeOf(est, bed.Part{Upper: 2, Lower: 1}); v.Value != 0 || v.High != 0 {
		t.Errorf("a layer upside down: %+v, want nothing", v)
	}
}

// A layer of the western half, and its area, against the cone's closed forms.
func TestBed_LayerInARing(t *testing.T) {
	t.Parallel()
	b := &basins[1]
	s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	est, err := bed.Estimate(s, b.survey(rand.New(rand.NewPCG(12, 1)), 14, 0.02, toFrame), bed.Options{SpacingM: 3})
	if err != nil {
		t.Fatal(err)
	}
	west := []plane.Point{toFrame(plane.Point{X: -500, Y: -500}), toFrame(plane.Point{Y: -500}), toFrame(plane.Point{Y: 500}), toFrame(plane.Point{X: -500, Y: 500})}
	v, a := est.Part(bed.Part{Ring: west, Upper: 1, Lower: 2})
	wantV := b.volumeM3() / 2 * (math.Pow(2.0/3, 3) - math.Pow(1.0/3, 3))
	wantA := float64(s.Area()) / 2 * math.Pow(2.0/3, 2)
	if !(float64(v.Low) < wantV && wantV < float64(v.High)) || width(v) > 0.3 {
		t.Errorf("volume %+v, want %.0f m³ in it and a useful width", v, wantV)
	}
	if !(float64(a.Low) < wantA && wantA < float64(a.High)) || width(a) > 0.3 {
		t.Errorf("area %+v, want %.0f m² in it and a useful width", a, wantA)
	}
}

// Stages fall evenly, end dry, and give each volume back.
func TestBed_Stages(t *testing.T) {
	t.Parallel()
	b := &basins[1]
	s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	est, err := bed.Estimate(s, b.survey(rand.New(rand.NewPCG(13, 1)), 14, 0.02, toFrame), bed.Options{SpacingM: 3})
	if err != nil {
		t.Fatal(err)
	}
	rows := est.Stages(0.3048)
	if want := int(math.Ceil(float64(est.Curve().MaxDepth())/0.3048)) + 1; len(rows) != want {
		t.Fatalf("%d rows, want %d", len(rows), want)
	}
	truth := b.volumeM3()
	for k, r := range rows[:len(rows)-1] {
		if got, want := float64(r.Drawdown), 0.3048*float64(k); math.Abs(got-want) > 1e-12 {
			t.Errorf("row %d at %.4f m, want %.4f", k, got, want)
		}
		if k > 0 && (r.Volume.Value >= rows[k-1].Volume.Value || r.Area.Value >= rows[k-1].Area.Value) {
			t.Errorf("row %d does not fall: %+v after %+v", k, r, rows[k-1])
		}
		left := truth * math.Pow(max(0, 1-float64(r.Drawdown)/3), 3)
		if left > truth/50 && !(float64(r.Volume.Low) < left && left < float64(r.Volume.High)) {
			t.Errorf("at %.2f m: %+v misses the true %.0f m³", r.Drawdown, r.Volume, left)
		}
		if back, above := est.StageFor(r.Volume.Value); above != (k == 0) && math.Abs(float64(back.Value-r.Drawdown)) > 1e-6 {
			t.Errorf("the stage of %.1f m³ is %+v, want %.4f", r.Volume.Value, back, r.Drawdown)
		} else if k > 0 && !(back.Low < back.Low80 && back.Low80 < back.Value && back.Value < back.High80 && back.High80 < back.High) {
			t.Errorf("the ends of %+v do not nest", back)
		}
	}
	if last := rows[len(rows)-1]; last.Volume.Value != 0 || last.Area.Value != 0 {
		t.Errorf("the last row holds water: %+v", last)
	}
	if _, above := est.StageFor(est.Volume().Value * 1.01); !above {
		t.Error("more than the pond holds is a stage above the survey")
	}
	for _, step := range []unit.Meters{0, -1, 1e-4, unit.Meters(math.NaN())} {
		if rows := est.Stages(step); rows != nil {
			t.Errorf("step %g: %d rows, want none", float64(step), len(rows))
		}
	}
}
