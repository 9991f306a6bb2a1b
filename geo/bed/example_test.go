package bed_test

import (
	"fmt"
	"math"

	"github.com/golang/geo/s2"

	"pondwright/geo/bed"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// A round pond 100 m across, sounded along five lines.
func ExampleEstimate() {
	f := plane.NewFrame(s2.LatLngFromDegrees(38, -95))
	var ring []s2.LatLng
	for k := range 60 {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / 60)
		ring = append(ring, f.ToLatLng(plane.Point{X: 50 * cos, Y: 50 * sin}))
	}
	s, err := shore.New(ring, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	var soundings []bed.Sounding
	for line := range 5 {
		for step := range 15 {
			p := plane.Point{X: 6*float64(step) - 42, Y: 16*float64(line) - 32}
			if p.Norm() < 48 {
				soundings = append(soundings, bed.Sounding{
					At:     s.Frame().ToPlane(f.ToLatLng(p)),
					DepthM: 3 * (1 - p.Dot(p)/2500),
					Seq:    int64(len(soundings) + 1),
				})
			}
		}
	}
	b, err := bed.Estimate(s, soundings, bed.Options{SpacingM: 2})
	if err != nil {
		fmt.Println(err)
		return
	}
	truth := math.Pi / 2 * 50 * 50 * 3
	v := b.Volume()
	fmt.Printf("within 2 %% of the truth: %v\n", math.Abs(float64(v.Value)/truth-1) < 0.02)
	fmt.Printf("the interval holds it: %v\n", float64(v.Low) < truth && truth < float64(v.High))
	// Output:
	// within 2 % of the truth: true
	// the interval holds it: true
}
