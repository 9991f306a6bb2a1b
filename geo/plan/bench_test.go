package plan_test

import (
	"fmt"
	"testing"

	"github.com/golang/geo/s2"

	"pondwright/geo/plan"
	"pondwright/geo/plane"
)

var ofBed = []string{"O1_bowl", "O2_valley20", "O3_arms30", "O4_dense60"}

// BenchmarkEvaluate moves one diffuser of the best layout there and back.
func BenchmarkEvaluate(b *testing.B) {
	for _, name := range ofBed {
		for _, n := range []int{4, 20} {
			b.Run(fmt.Sprintf("%s/diffusers=%d", name, n), func(b *testing.B) {
				pond := surveyed[name](b)
				prepared, err := plan.Prepare(pond.input(max(2, n/2)), nil)
				if err != nil {
					b.Fatal(err)
				}
				at := pond.places(b, prepared, n)
				frame := pond.shore.Frame()
				first := frame.ToPlane(at[0])
				if _, err := prepared.Evaluate(at); err != nil {
					b.Fatal(err)
				}
				for k := 0; b.Loop(); k++ {
					at[0] = frame.ToLatLng(first.Add(plane.Point{X: 0.01 * float64(k%100)}))
					if _, err := prepared.Evaluate(at); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}

// places are the best sites of n diffusers.
func (p *testPond) places(t testing.TB, prepared *plan.Prepared, n int) []s2.LatLng {
	t.Helper()
	var at []s2.LatLng
	for _, q := range prepared.Sites(n) {
		at = append(at, p.shore.Frame().ToLatLng(q))
	}
	if len(at) != n {
		t.Fatalf("room for %d of %d diffusers", len(at), n)
	}
	return at
}
