package site_test

import (
	"fmt"

	"github.com/golang/geo/s2"

	"pondwright/geo/plane"
	"pondwright/geo/route"
	"pondwright/geo/shore"
	"pondwright/geo/site"
)

// A level pond of 1 ha, 3 m deep, cut into cells of 4 m.
func Example() {
	frame := plane.NewFrame(s2.LatLngFromDegrees(37.5, -85.25))
	var ring []s2.LatLng
	for _, p := range []plane.Point{{X: -50, Y: -50}, {X: 50, Y: -50}, {X: 50, Y: 50}, {X: -50, Y: 50}} {
		ring = append(ring, frame.ToLatLng(p))
	}
	outline, err := shore.New(ring, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	water, err := route.New(outline, route.DefaultClearance)
	if err != nil {
		fmt.Println(err)
		return
	}
	problem := site.Problem{Water: water, HeightOffBottom: 0.3}
	for x := -48.0; x < 50; x += 4 {
		for y := -48.0; y < 50; y += 4 {
			at := plane.Point{X: x, Y: y}
			shoreM, _ := outline.Nearest(at)
			problem.Cells = append(problem.Cells, site.Cell{At: at, AreaM2: 16, DepthM: 3, ShoreM: shoreM})
		}
	}
	field, err := site.New(problem, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	for layout := range field.Layouts(20) {
		if layout.Unserved < 0.5 {
			fmt.Printf("%d diffusers leave %.0f %% of the water unserved; at most %.0f %% better is possible\n",
				len(layout.Sites), 100*layout.Unserved, 100*layout.Gap)
			break
		}
	}
	// Output:
	// 6 diffusers leave 50 % of the water unserved; at most 0 % better is possible
}
