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

// A cone of 70 m radius and 3 m depth: at drawdown s its area is A(1−s/3)², its
// volume V(1−s/3)³, and the half on either side of its middle holds half.
func TestBed_PartsOfACone(t *testing.T) {
	t.Parallel()
	b := &basins[1]
	s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
	est, err := bed.Estimate(s, b.survey(rand.New(rand.NewPCG(11, 1)), 14, 0.02, toFrame), bed.Options{SpacingM: 2})
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
		{"whole by a ring", est.VolumeWithin(rect(-500, 500)), truth, float64(whole.Value)},
		{"west half", est.VolumeWithin(rect(-500, 0)), truth / 2, 0},
		{"east half", est.VolumeWithin(rect(0, 500)), truth / 2, 0},
		{"whole by a layer", est.VolumeBetween(0, 100), truth, float64(whole.Value)},
		{"upper meter", est.VolumeBetween(1, 0), truth * (1 - math.Pow(2.0/3, 3)), float64(est.Curve().Between(0, 1))},
		{"below a meter", est.VolumeBetween(1, 100), truth * math.Pow(2.0/3, 3), float64(est.Curve().Volume(1))},
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
	if w := width(est.VolumeWithin(rect(-500, 500))) / width(whole); math.Abs(w-1) > 0.1 {
		t.Errorf("the whole by a ring has an interval %.3f times as wide as Volume's, want 1 within 0.1", w)
	}
	halves := est.VolumeWithin(rect(-500, 0)).Value + est.VolumeWithin(rect(0, 500)).Value
	if math.Abs(float64(halves/whole.Value)-1) > 1e-3 {
		t.Errorf("halves add up to %.1f m³ of %.1f", halves, whole.Value)
	}
	for _, s := range []float64{0, 0.5, 1, 2} {
		a, want := est.AreaAt(unit.Meters(s)), math.Pi*70*70*math.Pow(1-s/3, 2)
		if !(float64(a.Low) <= want && want <= float64(a.High)) || math.Abs(float64(a.Value)/want-1) > 0.1 {
			t.Errorf("area %.2f m down is %.0f m² in [%.0f, %.0f], want %.0f", s, a.Value, a.Low, a.High, want)
		}
	}
	if v := est.VolumeWithin(rect(300, 500)); v.Value != 0 || v.High != 0 {
		t.Errorf("ashore: %+v, want nothing", v)
	}
	if v := est.VolumeWithin(nil); v.Value != 0 {
		t.Errorf("no ring: %+v, want nothing", v)
	}
}
