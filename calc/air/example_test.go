package air_test

import (
	"fmt"

	"pondwright/calc/air"
	"pondwright/calc/unit"
)

func ExampleNetwork_Solve() {
	curve, err := air.NewCurve([]air.CurvePoint{
		{Gauge: unit.PSIG(0), Air: unit.SCFM(5)},
		{Gauge: unit.PSIG(10), Air: unit.SCFM(4)},
		{Gauge: unit.PSIG(25), Air: unit.SCFM(1.8)},
	}, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	disc := air.LinearDiffuser(unit.PSIG(0.25), unit.PSIG(0.12)).Fouled(2)
	hose := func(ft float64) air.Hose { return air.Hose{Length: unit.Feet(ft), Bore: unit.Inches(0.622)} }
	op, err := air.Network{
		Compressor: curve,
		Site:       air.Site{Pressure: unit.StandardPressure},
		Runs: []air.Run{
			{Name: "east", Hose: hose(250), Submergence: unit.Feet(11), Diffuser: disc},
			{Name: "west", Hose: hose(400), Submergence: unit.Feet(12), Diffuser: disc},
			{Name: "deep", Hose: hose(600), Submergence: unit.Feet(18), Diffuser: disc},
		},
	}.Solve()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("manifold %.2f psi\n", op.Manifold.PSIG())
	for _, r := range op.Runs {
		fmt.Printf("%s %.2f scfm\n", r.Name, r.Air.SCFM())
	}
	fmt.Println("starved:", op.Starved())
	// Output:
	// manifold 6.39 psi
	// east 2.77 scfm
	// west 1.63 scfm
	// deep 0.00 scfm
	// starved: [deep]
}
