package main

import (
	"pondwright/calc/unit"
	"pondwright/calc/water"
)

const (
	densitySource = "Tanaka et al., Metrologia 38, 2001, recommended by the CIPM"
	oxygenSource  = "Benson & Krause, Limnol. Oceanogr. 29, 1984; Standard Methods 4500-O"
	airSource     = "U.S. Standard Atmosphere 1976; ISO 2533"
	layersSource  = "Read et al., Environ. Model. Softw. 26, 2011; its least gradient from memory"
	idsoSource    = "Idso, Limnol. Oceanogr. 18, 1973 (Schmidt stability)"
)

func waterCalculations() []calculation {
	return []calculation{
		{"density", "Density of fresh water", "density --temp 20C", densityOf},
		{"oxygen", "Oxygen that water holds against air", "oxygen --temp 77F --altitude 2000ft", oxygenOf},
		{"layers", "Layers of a pond, and what holds them apart", "layers --profile profile.csv --curve curve.csv", layersOf},
		{"overturn", "What is left if the pond mixed tonight", "overturn --profile profile.csv --curve curve.csv", overturnOf},
	}
}

func densityOf(f *form) func(*worksheet) error {
	temp := need(f, "temp", ofTemperature, "temperature of the water")
	return func(w *worksheet) error {
		rho, err := water.Density(temp.v())
		if err != nil {
			return err
		}
		w.result("density", "density", of(ofDensity, rho))
		other := unit.KilogramsPerCubicMeter(water.DensityMartinMcCutcheon(temp.v().Celsius()))
		w.step("tanaka", "density", of(ofDensity, rho), "ρ = 999.97495 [1 − (t − 3.983035)² (t + 301.797)/(522528.9 (t + 69.34881))], t in °C")
		w.step("martinMcCutcheon", "by another formula", of(ofDensity, other), "ρ = 1000 [1 − (t + 288.9414)(t − 3.9863)²/(508929.2 (t + 68.12963))]")
		w.cite(unit.Published, densitySource)
		w.cite(unit.Published, "Martin & McCutcheon 1999, beside it, as lake models use it")
		w.hold("fresh water without air, one atmosphere, 0 to 40 °C")
		return nil
	}
}

// siteFlags say how much the air weighs at a place.
type siteFlags struct {
	altitude *quantity[unit.Meters]
	pressure *quantity[unit.Pascals]
}

func askSite(f *form) siteFlags {
	return siteFlags{
		ask(f, "altitude", ofLength, "", "height above sea level; 0 if neither it nor --pressure is given"),
		ask(f, "pressure", ofAbsolute, "", "pressure of the air as a barometer at the pond reads it, not reduced to sea level"),
	}
}

// at reports the pressure of the atmosphere.
func (s siteFlags) at(w *worksheet) (unit.Pascals, error) {
	if s.pressure.has() {
		if s.altitude.has() {
			return 0, usagef("--altitude and --pressure say the same: give one of them")
		}
		return s.pressure.v(), nil
	}
	if !s.altitude.has() {
		w.assume("altitude", "altitude", of(ofLength, 0))
	}
	p, err := water.AirPressure(s.altitude.v())
	if err != nil {
		return 0, err
	}
	w.step("airPressure", "pressure of the air", of(ofAbsolute, p), "p = 101325 Pa (1 − 0.0065 z/288.15)^5.25588")
	w.cite(unit.Published, airSource)
	w.hold("standard atmosphere, −500 to 6,000 m; weather moves the real pressure by some 3 %")
	return p, nil
}

func oxygenOf(f *form) func(*worksheet) error {
	temp := need(f, "temp", ofTemperature, "temperature of the water")
	site := askSite(f)
	return func(w *worksheet) error {
		p, err := site.at(w)
		if err != nil {
			return err
		}
		full, err := water.OxygenSaturation(temp.v(), p)
		if err != nil {
			return err
		}
		sea, err := water.OxygenSaturation(temp.v(), unit.StandardPressure)
		if err != nil {
			return err
		}
		w.result("saturation", "oxygen when full", of(ofLevel, full))
		w.step("oneAtmosphere", "at one atmosphere", of(ofLevel, sea), "ln C = −139.34411 + 1.575701e5/T − 6.642308e7/T² + 1.243800e10/T³ − 8.621949e11/T⁴")
		w.step("site", "at this pressure", of(ofLevel, full), "C P (1 − pw/P)(1 − θP)/[(1 − pw)(1 − θ)], P in atm")
		w.cite(unit.Published, oxygenSource)
		w.cite(unit.FromMemory, "the pressure terms, of Standard Methods 4500-O")
		w.hold("fresh water, 0 to 40 °C, 0.5 to 1.1 atm")
		return nil
	}
}

// pondFiles are a profile and a curve of a pond.
type pondFiles struct {
	f              *form
	profile, curve *string
}

const (
	profileHelp = "CSV file with columns depth, temp and oxygen (mg/L), as in depth_ft,temp_f,oxygen_mg_l"
	curveHelp   = "CSV file with columns depth and area, from the surface down, as in depth_ft,area_acres"
)

func needPond(f *form) pondFiles {
	return pondFiles{f, needText(f, "profile", profileHelp), needText(f, "curve", curveHelp)}
}

func (p pondFiles) read() (prof water.Profile, h water.Hypsograph, err error) {
	if prof, err = readProfile(*p.profile, *p.f.units); err != nil {
		return prof, h, err
	}
	h, err = readCurve(*p.curve, *p.f.units)
	return prof, h, err
}

func readProfile(name string, units unitSystem) (water.Profile, error) {
	file, err := readSheetFile(name, units, "*depth", "*temp", "oxygen")
	if err != nil {
		return water.Profile{}, err
	}
	var readings []water.Reading
	for i := range file.rows {
		var r water.Reading
		if r.Depth, err = mustCell(file, i, "depth", ofLength); err != nil {
			return water.Profile{}, err
		}
		if r.Temperature, err = mustCell(file, i, "temp", ofTemperature); err != nil {
			return water.Profile{}, err
		}
		oxygen, ok, err := cellOf(file, i, "oxygen", ofLevel)
		if err != nil {
			return water.Profile{}, err
		}
		r.Oxygen, r.NoOxygen = oxygen, !ok
		readings = append(readings, r)
	}
	p, err := water.NewProfile(readings)
	return p, file.wrap(err)
}

func readCurve(name string, units unitSystem) (water.Hypsograph, error) {
	file, err := readSheetFile(name, units, "*depth", "*area")
	if err != nil {
		return water.Hypsograph{}, err
	}
	var levels []water.Level
	for i := range file.rows {
		var l water.Level
		if l.Depth, err = mustCell(file, i, "depth", ofLength); err != nil {
			return water.Hypsograph{}, err
		}
		if l.Area, err = mustCell(file, i, "area", ofArea); err != nil {
			return water.Hypsograph{}, err
		}
		levels = append(levels, l)
	}
	h, err := water.NewHypsograph(levels)
	return h, file.wrap(err)
}

// layerTable lists the layers.
func layerTable(w *worksheet, p water.Profile, l water.Layers) {
	t := w.table("layers", "Layers", column{"layer", "layer", nil}, column{"top", "from", ofLength.dimension},
		column{"bottom", "to", ofLength.dimension}, column{"volume", "volume", ofWater.dimension},
		column{"temperature", "temperature", ofTemperature.dimension}, column{"oxygen", "oxygen", ofLevel.dimension})
	for _, row := range []struct {
		name string
		l    water.Layer
	}{{"upper", l.Upper}, {"middle", l.Middle}, {"bottom", l.Bottom}} {
		if row.l.Volume == 0 {
			continue
		}
		oxygen := say("not measured")
		if l.HasOxygen {
			oxygen = of(ofLevel, row.l.Oxygen)
		}
		t.add(say(row.name), of(ofLength, row.l.Top), of(ofLength, row.l.Bottom), of(ofWater, row.l.Volume), of(ofTemperature, row.l.Temperature), oxygen)
	}
	if l.Mixed {
		w.notef("No gradient reaches 0.1 kg/m³ per meter: the pond counts as mixed.")
	}
	if end := p.Deepest(); end < l.Bottom.Bottom || l.Mixed && end < l.Upper.Bottom {
		w.notef("The profile ends at %s; below it its last reading is held.", ofLength.both(float64(end), usUnits))
	}
	w.cite(unit.Published, layersSource)
	w.figures = append(w.figures, "water")
}

func layersOf(f *form) func(*worksheet) error {
	pond := needPond(f)
	return func(w *worksheet) error {
		p, h, err := pond.read()
		if err != nil {
			return err
		}
		l := water.Split(p, h)
		stability, work, n := water.Stability(p, h), water.MixingEnergy(p, h), p.BuoyancyFrequency(0, p.Deepest())
		if !l.Mixed {
			w.result("thermocline", "thermocline", of(ofLength, l.Thermocline))
		}
		w.result("stability", "stability", of(ofStability, stability))
		w.result("mixingWork", "work to mix once, no loss", of(ofWork, work))
		w.result("buoyancyFrequency", "buoyancy frequency", of(ofRate, n))
		w.result("volume", "all the water", of(ofWater, h.Volume()))
		layerTable(w, p, l)
		w.step("thermocline", "thermocline", of(ofLength, l.Thermocline), "where density rises fastest with depth, moved towards the steeper neighbor")
		w.step("stability", "stability", of(ofStability, stability), "S = (g/A0) ∫ (z − zv) ρ(z) A(z) dz, zv = ∫ z A dz/∫ A dz")
		w.step("surface", "water surface", of(ofArea, h.Area(0)), "A0, first row of the curve")
		w.step("mixingWork", "work to mix once", of(ofWork, work), "S A0")
		w.step("buoyancyFrequency", "buoyancy frequency", of(ofRate, n), "N = √((g/ρ) Δρ/Δz), surface to the last reading")
		w.cite(unit.Published, idsoSource)
		w.cite(unit.Published, densitySource)
		w.hold("fresh water, 0 to 40 °C; profile straight between readings")
		return nil
	}
}

func overturnOf(f *form) func(*worksheet) error {
	pond := needPond(f)
	demand := ask(f, "demand", ofLevel, "", "oxygen that the bottom water takes at once, per volume of it; by default 2 mg/L where it holds less than 0.5, else none")
	return func(w *worksheet) error {
		p, h, err := pond.read()
		if err != nil {
			return err
		}
		if !p.HasOxygen() {
			return usagef("%s: oxygen of every reading is needed to tell what mixing leaves", *pond.profile)
		}
		l := water.Split(p, h)
		iod := demand.v()
		if !demand.has() {
			iod = water.ImmediateDemand(l.Bottom.Oxygen)
			w.assume("demand", "demand", of(ofLevel, iod))
		}
		out := l.MixTonight(iod)
		w.result("oxygen", "oxygen after mixing", of(ofLevel, out.Oxygen))
		w.result("temperature", "temperature", of(ofTemperature, out.Temperature))
		w.result("surfaceCooling", "surface cools by", of(ofTempChange, out.SurfaceCooling))
		gate := water.GateFor(out.Oxygen, out.SurfaceCooling)
		w.result("gate", "gate", say(gate.String()))
		w.notef("%s", map[water.Gate]string{
			water.Stop: "Stop: do not start; wait until the season turns.",
			water.Ramp: "Ramp: no start at once; let a little bottom water up each day, and read oxygen each dawn.",
			water.Go:   "Go: oxygen alone would permit a start at once, if nothing below speaks against it.",
		}[gate])
		seen := water.Observation{Dawn: true, HasOxygen: true, CanStopOrWatch: true, Surface: p.Temperature(0), AboveBottom: h.Depth() - p.Deepest()}
		for _, o := range seen.Objections() {
			w.caution("Do not start: " + o.String() + ".")
		}
		layerTable(w, p, l)
		w.step("demand", "immediate demand", of(ofLevel, iod), "2 mg/L of bottom water below 0.5 mg/L, else 0")
		w.step("oxygen", "oxygen after mixing", of(ofLevel, out.Oxygen), "C = (Σ Ci Vi − demand × bottom volume)/V, no help from the surface")
		w.step("temperature", "temperature after mixing", of(ofTemperature, out.Temperature), "T = Σ Ti Vi/V")
		w.cite(unit.Published, "stop below 3 mg/L: Texas A&M AquaPlant; Wurts, Kentucky State Univ. WKY-211")
		w.cite(unit.Published, "go from 5 mg/L: Braig, Ohio State Extension, 2014")
		w.cite(unit.Judgement, "demand of 2 mg/L; at most 3 K of cooling")
		w.hold("a profile of today at the deepest point, oxygen read at dawn")
		w.caution("Mixing a layered pond in summer can kill its fish. A start needs a profile at most three days old to within 0.5 m of the bottom and surface oxygen read at dawn; smell of rotten eggs or fish at the surface: do not start.",
			"Real demand runs from 0 to 5 mg/L: mix equal parts of bottom and top water in a full bottle and read oxygen again after half an hour.")
		return nil
	}
}
