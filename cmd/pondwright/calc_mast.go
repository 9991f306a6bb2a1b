package main

import (
	"strings"

	"pondwright/calc/mast"
	"pondwright/calc/unit"
)

func mastCalculations() []calculation {
	return []calculation{
		{"mast", "Whether a mast of solar panels stands up to its wind", "mast --wind 115mph --map 7-16 --exposure C --topographic 1 --area 18.3ft2 --tilt 45deg --center 8ft --exposed 7ft --mass 130lb --pole 4 --yield 35ksi --width 18in --depth 3ft --soil clay --dry --frost 1ft", mastOf},
	}
}

func mastOf(f *form) func(*worksheet) error {
	speed := ask(f, "wind", ofSpeed, "", "basic wind speed of the code's map, three-second gust").nonzero()
	edition := askChoice(f, "map", "", "edition of ASCE 7 whose map that speed is from", option[mast.Edition]{"7-05", mast.ASCE705},
		option[mast.Edition]{"7-10", mast.ASCE710}, option[mast.Edition]{"7-16", mast.ASCE716}, option[mast.Edition]{"7-22", mast.ASCE722})
	exposure := askChoice(f, "exposure", "", "ground upwind: B town or woods, C open country, D open water",
		option[mast.Exposure]{"B", mast.ExposureB}, option[mast.Exposure]{"C", mast.ExposureC}, option[mast.Exposure]{"D", mast.ExposureD})
	topographic := ask(f, "topographic", ofNumber, "", "factor Kzt of hills and ridges, 1 on flat ground").nonzero()
	elevation := ask(f, "elevation", ofLength, "0ft", "of the ground above sea level; 0 is safe")
	area := need(f, "area", ofPlate, "of all panels")
	tilt := need(f, "tilt", ofAngle, "of the panels, from level")
	center := need(f, "center", ofLength, "height of the panels' middle above grade")
	chord := ask(f, "chord", ofLength, "", "length of the panels up the slope, for the load on the clamps").nonzero()
	mass := ask(f, "mass", ofMass, "", "panels, frame and what else hangs at the top").nonzero()
	pole := needText(f, "pole", "nominal size of schedule 40 steel pipe: "+strings.Join(poleNames(), ", "))
	exposed := ask(f, "exposed", ofLength, "", "length of pole in the wind; by default up to the panels' middle").nonzero()
	yield := ask(f, "yield", ofYield, "", "yield stress of its steel").nonzero()
	width := need(f, "width", ofBore, "diameter of the footing, or side of a square one")
	depth := ask(f, "depth", ofLength, "", "of the footing below grade; by default the least that holds").nonzero()
	square := askYes(f, "square", "the footing is square")
	bare := askYes(f, "bare", "the pole stands in soil without concrete")
	soil := askChoice(f, "soil", "", "class of soil", option[mast.Soil]{"bedrock", mast.Bedrock}, option[mast.Soil]{"rock", mast.SedimentaryRock},
		option[mast.Soil]{"gravel", mast.Gravel}, option[mast.Soil]{"sand", mast.Sand}, option[mast.Soil]{"clay", mast.Clay}, option[mast.Soil]{"organic", mast.Organic})
	bearing := ask(f, "bearing", ofBearing, "", "lateral bearing by a soils report, instead of the class's").nonzero()
	vertical := ask(f, "vertical", ofWindPressure, "", "vertical bearing by a soils report").nonzero()
	tested := askYes(f, "tested", "the class comes from test pits")
	dry := askYes(f, "dry", "never soaked by the pond or by groundwater")
	isolated := askYes(f, "isolated", "half an inch of movement at grade does no harm, and the building authority agrees")
	slab := askYes(f, "slab", "a rigid concrete slab at grade holds the pole")
	uncount := ask(f, "uncount", ofLength, "0ft", "soft or frost-loosened soil at the top that is not counted")
	frost := ask(f, "frost", ofLength, "", "local frost depth")
	return func(w *worksheet) error {
		section, err := poleOf(*pole)
		if err != nil {
			return err
		}
		d := mast.Design{
			Wind:    mast.Wind{Speed: speed.v(), Map: edition.v(), Exposure: exposure.v(), Topographic: topographic.v(), Elevation: elevation.v()},
			Array:   mast.Array{Area: area.v(), Chord: chord.v(), Tilt: tilt.v(), Center: center.v(), Mass: mass.v()},
			Pole:    mast.Pole{Section: section, Exposed: exposed.v(), Yield: yield.v()},
			Footing: mast.Footing{Width: width.v(), Depth: depth.v(), Square: *square, Bare: *bare},
			Ground: mast.Ground{Soil: soil.v(), Bearing: bearing.v(), Vertical: vertical.v(), Tested: *tested, Dry: *dry,
				Isolated: *isolated, Slab: *slab, Uncount: uncount.v()},
		}
		if frost.has() {
			deep := frost.v()
			d.Ground.Frost = &deep
		}
		judge := mast.Judge
		if !depth.has() {
			judge = mast.Size
		}
		r, err := judge(d)
		if err != nil {
			return err
		}
		w.mast(r)
		return nil
	}
}

func poleNames() []string {
	var names []string
	for _, p := range mast.Schedule40() {
		names = append(names, nominal(p))
	}
	return names
}

// nominal is a pipe's size as people type it: 3.5.
func nominal(p mast.Pipe) string {
	return strings.ReplaceAll(strings.Fields(p.Name)[0], "½", ".5")
}

func poleOf(name string) (mast.Pipe, error) {
	for _, p := range mast.Schedule40() {
		if nominal(p) == strings.TrimSpace(strings.TrimSuffix(name, "in")) {
			return p, nil
		}
	}
	return mast.Pipe{}, usagef("--pole: %q is none of %s", name, strings.Join(poleNames(), ", "))
}

// verdictOf says a verdict in a word and by what it fails or is in doubt.
func verdictOf(v mast.Verdict) (word string, reason unit.Text) {
	names := func(list []mast.Assumption) unit.Text {
		var out []string
		for _, a := range list {
			out = append(out, a.Input)
		}
		return unit.Text(strings.Join(out, ", "))
	}
	switch v := v.(type) {
	case mast.Enough:
		return "enough", ""
	case mast.NotEnough:
		var by []string
		for _, c := range v.By {
			by = append(by, string(unit.Say("%s by %s", c.Kind, c.Amount(c.Short()))))
		}
		if len(v.Defaults) > 0 {
			by = append(by, "and these were not given: "+string(names(v.Defaults)))
		}
		return "not enough", unit.Text(strings.Join(by, "; "))
	case mast.Unverified:
		return "unverified", "not given: " + names(v.Because)
	}
	return v.String(), ""
}

// checkValue turns a check's figure, in the unit it names, to a value.
func checkValue(symbol string, v float64) value {
	switch symbol {
	case "N":
		return of(ofForce, unit.Newtons(v))
	case "N·m":
		return of(ofMoment, unit.NewtonMeters(v))
	case "m":
		return of(ofLength, unit.Meters(v))
	case "Hz":
		return of(ofFrequency, unit.Hertz(v))
	}
	return say(figures(v) + " " + symbol)
}

// mast puts a judged mast on the sheet: depth, wind and verdict always together.
func (w *worksheet) mast(r mast.Report) {
	d := r.Design
	word, reason := verdictOf(r.Verdict)
	w.result("verdict", "verdict", say(word))
	if reason != "" {
		w.result("reason", "because", say(reason))
	}
	w.result("wind", "in a wind of", of(ofSpeed, d.Wind.Speed))
	w.result("map", "of the map of", say(d.Wind.Map.String()))
	w.result("depth", "footing judged", of(ofLength, d.Footing.Depth))
	w.result("requiredDepth", "depth that holds", of(ofLength, r.RequiredDepth))
	w.result("concrete", "concrete", of(ofSolid, r.Concrete))
	w.result("bags", "bags of 80 lb (36 kg)", count(r.Bags))
	w.result("poleLength", "length of pole", of(ofLength, r.PoleLength))
	t := w.table("checks", "What is asked, and what there is", column{"check", "check", nil}, column{"demand", "asked", nil}, column{"capacity", "there is", nil}, column{"state", "", nil})
	for _, c := range r.Checks {
		state := "holds"
		if !c.Pass() {
			state = "short"
		}
		t.add(say(string(c.Kind)), checkValue(c.Unit, c.Demand), checkValue(c.Unit, c.Capacity), say(state))
	}
	for _, a := range r.Assumed {
		w.assume(camel(strings.ReplaceAll(a.Input, " ", "-")), a.Input, say(a.Used))
	}
	l := r.Loads
	w.step("kz", "exposure factor", of(ofNumber, r.Kz), "Kz at the panels' middle, by exposure")
	w.step("ke", "ground elevation factor", of(ofNumber, r.Ke), "exp(−0.0000362 × feet), with the 2022 edition only")
	w.step("pressure", "velocity pressure", of(ofWindPressure, r.Pressure), "q = 0.613 Kz Kzt Kd Ke V² (Pa, m/s), Kd = 0.85")
	w.step("factor", "share of the wind load", of(ofNumber, r.Factor), "0.6 for strength-level maps, 1 for 7-05 and where the map is not known")
	w.step("push", "net coefficient, push", of(ofNumber, r.Net.Push), "monoslope free roof at this tilt, greater mean of its two cases")
	w.step("uplift", "net coefficient, uplift", of(ofNumber, r.Net.Uplift), "the same, wind from behind")
	w.step("arrayPush", "force on the panels", of(ofForce, l.ArrayPush), "factor q G CN A sin β, G = 0.85")
	w.step("poleDrag", "force on the pole", of(ofForce, l.PoleDrag), "factor q G × 1.2 D L")
	w.step("moment", "moment at grade", of(ofMoment, l.Moment), "Σ force × height")
	w.step("arm", "height of their middle", of(ofLength, l.Arm), "moment/force")
	w.step("upliftForce", "uplift", of(ofForce, l.Uplift), "factor q G CN A cos β")
	w.step("twist", "twist on clamps", of(ofMoment, l.Twist), "factor q G A c (CNw − CNl)/8")
	w.step("requiredDepth", "depth that holds", of(ofLength, r.RequiredDepth), "d = A/2 [1 + √(1 + 4.36 h/A)], A = 2.34 P/(S b), S at d/3 and at most at 4 ft")
	w.step("poleShare", "moment over the pole's", of(ofShare, r.PoleShare), "Fy Z/1.67, wall at 0.93 of the nominal")
	w.step("frequency", "natural frequency", of(ofFrequency, r.Frequency), "a rigid structure has at least 1 Hz")
	w.cite(unit.Published, "wind: ASCE 7, 2005 to 2022; net coefficients of its figure 27.3-4 as carried by the Bangladesh National Building Code, figure 6.2.18(a)")
	w.cite(unit.Published, "footing: International Building Code 1807.3.2.1 and table 1806.2, as adopted in 780 CMR, 2024")
	w.cite(unit.FromMemory, "pole: AISC 360, chapter F8; pipe sizes of ASME B36.10M")
	w.hold("tilt of 7.5 to 90°, figures held beyond 45°; middle of the panels up to 15 m, footing up to 15 m")
	w.figures = append(w.figures, "mast")
	w.caution(r.Cautions...)
}
