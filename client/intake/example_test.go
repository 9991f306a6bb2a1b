package intake_test

import (
	"fmt"

	"pondwright/client/intake"
)

func Example() {
	outline, err := intake.Parse("mill-pond.geojson", []byte(`{"type": "Polygon", "coordinates": [[
		[-93.4000, 38.3000], [-93.3990, 38.3000], [-93.3990, 38.3010], [-93.4000, 38.3010]]]}`), intake.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	shore, err := outline.Outline.Shore()
	if err != nil {
		fmt.Println(err)
		return
	}
	file, err := intake.Parse("june.csv", []byte("lat,lon,depth_ft\n38.3005,-93.3995,9.8\n38.3005,-93.3994\n38.3005,-93.3900,9\n"), intake.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	kept, problems, err := intake.Check(shore, file.Soundings.Readings)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d sounding of %.2f m\n", len(kept), kept[0].ReadingM)
	for _, p := range append(file.Soundings.Problems, problems...) {
		fmt.Println(p.Code, p.Line)
	}
	// Output:
	// 1 sounding of 2.99 m
	// CSV_LINE_CUT 3
	// OUTSIDE_SHORE 4
}
