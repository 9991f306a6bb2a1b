package intake_test

import (
	"fmt"

	"pondwright/client/intake"
)

func Example() {
	file, err := intake.Parse("june.csv", []byte("lat,lon,depth_ft\n38.3005,-93.3995,9.8\n38.3005,-93.3994\n38.3005,-93.3900,9\n"), intake.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, r := range file.Soundings.Readings {
		fmt.Printf("line %d: %.2f m\n", r.Line, r.ReadingM)
	}
	for _, p := range file.Soundings.Problems {
		fmt.Println(p.Code, p.Line)
	}
	// Output:
	// line 2: 2.99 m
	// line 4: 2.74 m
	// CSV_LINE_CUT 3
}
