package water_test

import (
	"fmt"

	"pondwright/calc/unit"
	"pondwright/calc/water"
)

func ExampleLayers_MixTonight() {
	reading := func(depthM, tempC, oxygen float64) water.Reading {
		return water.Reading{Depth: unit.Meters(depthM), Temperature: unit.Celsius(tempC), Oxygen: unit.MilligramsPerLiter(oxygen)}
	}
	p, err := water.NewProfile([]water.Reading{
		reading(0, 27, 7.5), reading(1.5, 27, 7), reading(2.5, 18, 0.5), reading(4.5, 14, 0),
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	h, err := water.NewHypsograph([]water.Level{{0, 10000}, {1.5, 7000}, {3, 4000}, {4.5, 500}})
	if err != nil {
		fmt.Println(err)
		return
	}
	l := water.Split(p, h)
	out := l.MixTonight(water.ImmediateDemand(l.Bottom.Oxygen))
	fmt.Printf("bottom water %.0f m³, after mixing %.1f mg/L at %.1f °C: %v\n",
		float64(l.Bottom.Volume), float64(out.Oxygen), out.Temperature.Celsius(), water.GateFor(out.Oxygen, out.SurfaceCooling))
	// Output: bottom water 5625 m³, after mixing 4.4 mg/L at 23.5 °C: ramp
}
