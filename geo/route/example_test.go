package route_test

import (
	"fmt"

	"github.com/golang/geo/s2"

	"pondwright/geo/plane"
	"pondwright/geo/route"
	"pondwright/geo/shore"
)

// A hose from a mast beside one arm of an L-shaped pond to a diffuser in the
// other.
func Example() {
	frame := plane.NewFrame(s2.LatLngFromDegrees(37.5, -85.25))
	var ring []s2.LatLng
	for _, p := range []plane.Point{{X: -40, Y: -40}, {X: 40, Y: -40}, {X: 40}, {}, {Y: 40}, {X: -40, Y: 40}} {
		ring = append(ring, frame.ToLatLng(p))
	}
	outline, err := shore.New(ring, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	ways, err := route.New(outline, route.DefaultClearance)
	if err != nil {
		fmt.Println(err)
		return
	}
	entry, err := ways.Entry(plane.Point{X: 12, Y: 30}, route.DefaultTrenchLimit)
	if err != nil {
		fmt.Println(err)
		return
	}
	way, err := ways.Path(entry, plane.Point{X: 20, Y: -15})
	if err != nil {
		fmt.Println(err)
		return
	}
	depthM := func(p plane.Point) float64 {
		shoreM, _ := outline.Nearest(p)
		return min(3, shoreM/4)
	}
	fmt.Printf("enters at %.0f m east, %.0f m north\n", entry.X, entry.Y)
	fmt.Printf("%.1f m in the plan, %.1f m along the bed\n", float64(way.Length), float64(route.AlongBed(way.Points, depthM)))
	// Output:
	// enters at 0 m east, 30 m north
	// 55.1 m in the plan, 55.3 m along the bed
}
