package plume_test

import (
	"fmt"

	"pondwright/calc/plume"
	"pondwright/calc/unit"
)

func ExampleLiftAt() {
	lift, err := plume.LiftAt(unit.SCFM(1), unit.Feet(14), plume.Site{
		Pressure:    unit.StandardPressure,
		Temperature: unit.Celsius(20),
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("promised %.0f gpm, low %.0f, upper %.0f\n",
		lift.Promised.GallonsPerMinute(), lift.Low.GallonsPerMinute(), lift.Upper.GallonsPerMinute())
	// Output: promised 1769 gpm, low 1326, upper 2211
}
