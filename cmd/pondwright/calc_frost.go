package main

import (
	"pondwright/calc/mast"
	"pondwright/calc/unit"
)

func frostCalculations() []calculation {
	return []calculation{
		{"frost", "How deep the ground freezes, roughly", "frost --index 1000F·d --conductivity 1.73W/mK --density 100lb/ft3 --water 15%", frostOf},
	}
}

func frostOf(f *form) func(*worksheet) error {
	index := need(f, "index", ofFreezing, "freezing index of the air: degree-days below freezing in a hard winter")
	conductivity := need(f, "conductivity", ofConduction, "of the frozen soil")
	density := need(f, "density", ofDensity, "dry density of the soil")
	water := need(f, "water", ofShare, "mass of water to that of dry soil")
	factor := ask(f, "surface", ofNumber, "1", "share of the air's index that reaches the ground; 1 is bare and safe").nonzero()
	return func(w *worksheet) error {
		deep, err := mast.FrostDepth(mast.FrostSoil{Conductivity: conductivity.v(), DryDensity: density.v(), Water: water.v()}, factor.v(), index.v())
		if err != nil {
			return err
		}
		w.result("depth", "freezes down to", of(ofLength, deep))
		w.step("depth", "freezes down to", of(ofLength, deep), "X = √(2 k n F/L), L the heat of fusion of the soil's water")
		w.notef("An estimate that errs deep: the local frost depth of the building authority comes first.")
		w.cite(unit.FromMemory, "Stefan's formula, US Army TM 5-852-6")
		w.hold("frozen soil of 0.1 to 5 W/(m·K), dry density 500 to 2,500 kg/m³, water of 1 to 100 %")
		w.caution("A footing that ends above the frost line heaves: have its depth confirmed by a licensed engineer or the local building authority.")
		return nil
	}
}
