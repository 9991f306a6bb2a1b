package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"pondwright/calc/air"
	"pondwright/calc/unit"
)

func airPartCalculations() []calculation {
	return []calculation{
		{"flow", "An air flow at every state it may be quoted at", "flow --air 10cfm --quoted machinery --altitude 5000ft --temp 95F", flowOf},
		{"bores", "Inside diameters of hoses by the standard they are made to", "bores --size 1/2", boresOf},
		{"fittings", "Loss of fittings and couplings in a hose", "fittings --bore 0.622in --elbows 2 --balls 1 --entrances 1 --inserts 2 --insert 0.5in --air 3scfm", fittingsOf},
		{"diffuser", "Pressure that a diffuser takes, clean and fouled", "diffuser --air 1.2scfm --opening 0.25psi --per-scfm 0.12psi --fouling 1.5", diffuserOf},
		{"compressor", "What a compressor delivers at a pressure and altitude", "compressor --compressor compressor.csv --outlet 8psi --altitude 5000ft --shaft 0.25hp", compressorOf},
	}
}

// quotedStates are the states at which air flows are quoted.
func quotedStates() []struct {
	name, says string
	state      air.Reference
} {
	return []struct {
		name, says string
		state      air.Reference
	}{
		{"machinery", "14.696 psia, 68 °F (standard here)", air.StandardMachinery()},
		{"gas-trade", "14.696 psia, 60 °F", air.StandardGasTrade()},
		{"handbook", "14.5 psia, 68 °F, dry", air.StandardHandbook()},
		{"iso1217", "1 bar, 20 °C, dry", air.StandardISO1217()},
		{"normal", "101.325 kPa, 0 °C", air.Normal()},
	}
}

func flowOf(f *form) func(*worksheet) error {
	options := []option[int]{}
	for i, s := range quotedStates() {
		options = append(options, option[int]{s.name, i + 1})
	}
	flow := need(f, "air", ofQuotedFlow, "the figure itself, as a volume flow")
	quoted := askChoice(f, "quoted", "machinery", "the state it is quoted at; place is free air at the place and temperature given", append(options, option[int]{"place", 0})...)
	temp := ask(f, "temp", ofTemperature, "68F", "temperature of the air at the place")
	site := askSite(f)
	return func(w *worksheet) error {
		p, err := site.at(w)
		if err != nil {
			return err
		}
		for _, c := range []error{
			unit.CheckRange("air flow (m³/s)", float64(flow.v()), 0, 100, "compressors and blowers"),
			unit.CheckRange("temperature of the air (K)", float64(temp.v()), 200, 500, "air as an ideal gas"),
			unit.CheckRange("pressure of the air (Pa)", float64(p), 1e3, 2e6, "air as an ideal gas"),
		} {
			if c != nil {
				return c
			}
		}
		place := air.Reference{Pressure: p, Temperature: temp.v()}
		from := place
		if i := quoted.v(); i > 0 {
			from = quotedStates()[i-1].state
		}
		mass := from.Mass(flow.v())
		w.result("mass", "mass flow", of(ofMassFlow, mass))
		w.result("standard", "standard flow of this program", of(ofStdFlow, mass.Standard()))
		w.result("atPlace", "at the place", of(ofActualFlow, mass.Actual(p, temp.v())))
		t := w.table("states", "The same air at other states", column{"state", "quoted", nil}, column{"says", "at", nil},
			column{"density", "density", ofDensity.dimension}, column{"flow", "flow", ofQuotedFlow.dimension})
		for _, s := range quotedStates() {
			rho := s.state.Density()
			t.add(say(s.name), say(s.says), of(ofDensity, rho), of(ofQuotedFlow, unit.CubicMetersPerSecond(float64(mass)/float64(rho))))
		}
		t.add(say("place"), say(ofAbsolute.print(float64(p), usUnits)+", "+ofTemperature.print(float64(temp.v()), usUnits)), of(ofDensity, place.Density()), of(ofQuotedFlow, mass.Actual(p, temp.v())))
		w.step("density", "density where it is quoted", of(ofDensity, from.Density()), "ρ = p/(R T), R = 287.055 J/(kg K)")
		w.step("mass", "mass flow", of(ofMassFlow, mass), "flow × ρ: the one figure that altitude and temperature leave alone")
		w.step("thin", "density at the place over standard", of(ofShare, float64(place.Density()/air.StandardMachinery().Density())), "what a machine of constant volume still delivers as mass")
		w.notef("Standard means several states: ask the maker which. A machine that sucks in a fixed volume keeps its free air at altitude, and loses mass.")
		w.cite(unit.Published, "ideal gas law")
		w.cite(unit.FromMemory, "states of current compressed-air handbooks, ISO 1217 and DIN 1343")
		w.hold("dry air, 200 to 500 K, 1 kPa to 2 MPa")
		return nil
	}
}

func boresOf(f *form) func(*worksheet) error {
	size := askText(f, "size", "nominal size in inches, as 1/2, 3/4 or 1-1/4; by default all")
	return func(w *worksheet) error {
		var list []air.Bore
		for _, b := range air.Bores() {
			if *size == "" || b.Nominal == strings.TrimSuffix(strings.TrimSpace(*size), "in") {
				list = append(list, b)
			}
		}
		if len(list) == 0 {
			var known []string
			for _, b := range air.Bores() {
				if !slices.Contains(known, b.Nominal) {
					known = append(known, b.Nominal)
				}
			}
			return usagef("--size: %q is none of %s", *size, strings.Join(known, ", "))
		}
		least, most := list[0].Inside, list[0].Inside
		t := w.table("bores", "Inside diameters", column{"size", "size, in", nil}, column{"standard", "made as", nil}, column{"inside", "inside", ofBore.dimension}, column{"mark", "known", nil})
		for _, b := range list {
			least, most = min(least, b.Inside), max(most, b.Inside)
			t.add(say(b.Nominal), say(b.Standard), of(ofBore, b.Inside), say(string(b.Mark)))
			w.cite(b.Mark, b.Source)
		}
		ratio := math.Pow(float64(most/least), 5)
		w.result("narrowest", "narrowest", of(ofBore, least))
		w.result("widest", "widest", of(ofBore, most))
		w.result("lossRatio", "times the pressure in the narrowest", of(ofNumber, ratio))
		w.step("lossRatio", "times the pressure", of(ofNumber, ratio), "(widest/narrowest)^5, at equal friction")
		w.notef("A nominal size is not a bore: measure the inside, or read the standard printed on the hose.")
		w.hold("hose as made; a kink or a barb is narrower still")
		w.figures = append(w.figures, "air")
		return nil
	}
}

func fittingsOf(f *form) func(*worksheet) error {
	bore := need(f, "bore", ofBore, "inside diameter of the hose")
	type kind struct {
		flag, name string
		is         air.Fitting
		n          *int
	}
	kinds := []kind{
		{"elbows", "90° elbows", air.Elbow90, nil}, {"runs", "tees, straight through", air.TeeRun, nil}, {"branches", "tees, into the branch", air.TeeBranch, nil},
		{"gates", "gate valves, open", air.GateValve, nil}, {"balls", "ball valves, full bore, open", air.BallValve, nil}, {"globes", "globe valves, open", air.GlobeValve, nil},
		{"entrances", "sharp-edged entrances", air.Entrance, nil}, {"exits", "exits", air.Exit, nil},
	}
	for i := range kinds {
		kinds[i].n = askWhole(f, kinds[i].flag, 0, "how many "+kinds[i].name)
	}
	inserts := askWhole(f, "inserts", 0, "how many barbed insert couplings")
	insert := ask(f, "insert", ofBore, "", "inside diameter of such a coupling").nonzero()
	flow := ask(f, "air", ofStdFlow, "", "air through the hose, as standard flow, to tell the length of hose that loses as much").nonzero()
	temp := ask(f, "temp", ofTemperature, "68F", "temperature of the air")
	return func(w *worksheet) error {
		if (*inserts > 0) != insert.has() {
			return usagef("--inserts and --insert go together")
		}
		if err := unit.CheckRange("bore (m)", float64(bore.v()), 0.002, 0.2, "hose of ponds"); err != nil {
			return err
		}
		t := w.table("fittings", "By kind", column{"fitting", "fitting", nil}, column{"count", "how many", ofNumber.dimension}, column{"each", "K each", ofNumber.dimension}, column{"loss", "K", ofNumber.dimension})
		sum := 0.0
		add := func(name string, n int, each float64) error {
			if err := unit.CheckRange(name, float64(n), 0, 1000, "one hose"); err != nil || n == 0 {
				return err
			}
			sum += float64(n) * each
			t.add(say(name), count(n), of(ofNumber, each), of(ofNumber, float64(n)*each))
			return nil
		}
		for _, k := range kinds {
			if err := add(k.name, *k.n, air.Fittings(k.is, 1, bore.v())); err != nil {
				return err
			}
		}
		if insert.has() {
			each, err := air.Barb(insert.v(), bore.v())
			if err != nil {
				return err
			}
			if err := add("barbed couplings", *inserts, each); err != nil {
				return err
			}
		}
		w.result("loss", "K of all, for pondwright calc hose --fittings", of(ofNumber, sum))
		w.step("loss", "K of all", of(ofNumber, sum), "Σ n fT: elbow 30, tee 20 through and 60 into the branch, gate 8, ball 3, globe 340; entrance 0.5, exit 1; coupling [0.5 (1 − β²) + (1 − β²)²]/β⁴")
		w.cite(unit.FromMemory, "valve-and-fitting flow handbook; sudden contraction and expansion")
		w.hold("on the velocity head of the hose's bore, 2 to 200 mm; a coupling not below a fifth of it")
		w.figures = append(w.figures, "air")
		if !flow.has() {
			return nil
		}
		if err := unit.CheckRange("temperature of the air (K)", float64(temp.v()), 200, 500, "Sutherland's formula"); err != nil {
			return err
		}
		reynolds := 4 * float64(flow.v().Mass()) / (math.Pi * float64(bore.v()) * air.Viscosity(temp.v()))
		if err := unit.CheckRange("Reynolds number", reynolds, 1e-3, 1e8, "air in hoses"); err != nil {
			return err
		}
		friction := air.Friction(reynolds, figureOf(air.Defaults(), roughnessFigure)/float64(bore.v()))
		length := air.EquivalentLength(sum, friction, bore.v())
		w.result("length", "hose that loses as much", of(ofLength, length))
		w.step("friction", "friction factor", of(ofNumber, friction), "f = 8 [(8/Re)^12 + (A + B)^−1.5]^(1/12), smooth plastic")
		w.step("length", "hose that loses as much", of(ofLength, length), "K D/f")
		w.cite(unit.Published, "friction after Churchill, Chemical Engineering, Nov 1977")
		return nil
	}
}

func diffuserOf(f *form) func(*worksheet) error {
	flow := need(f, "air", ofStdFlow, "air of one diffuser, as standard flow")
	opening := ask(f, "opening", ofGauge, "", "pressure at which it opens")
	slope := ask(f, "per-scfm", ofGauge, "", "pressure that each scfm adds")
	curve := askText(f, "curve", "CSV file of the maker's curve, air rising: air and pressure, as in air_scfm,pressure_psi; instead of --opening and --per-scfm")
	fouling := ask(f, "fouling", ofNumber, "1.5", "times the clean loss to design for").nonzero()
	return func(w *worksheet) error {
		if (*curve != "") == opening.has() || opening.has() != slope.has() {
			return usagef("give --opening and --per-scfm, or --curve")
		}
		for _, c := range []error{
			unit.CheckRange("air (std m³/s)", float64(flow.v()), 0, 1, "diffusers of ponds"),
			unit.CheckRange("opening pressure (Pa)", float64(opening.v()), 0, 1e6, "diffusers of ponds"),
			unit.CheckRange("pressure for each scfm (Pa)", float64(slope.v()), 0, 1e6, "diffusers of ponds"),
			unit.CheckRange("times the clean loss", fouling.v(), 1, 10, "a diffuser still worth cleaning"),
		} {
			if c != nil {
				return c
			}
		}
		clean := air.LinearDiffuser(opening.v(), slope.v())
		formula := "opening + slope × air"
		if *curve != "" {
			var err error
			if clean, err = readDiffuser(*curve, *f.units); err != nil {
				return err
			}
			formula = "straight between the points of the curve, beyond the last with its slope"
		}
		w.result("clean", "clean", of(ofGauge, clean.Loss(flow.v())))
		w.result("fouled", "fouled, to design on", of(ofGauge, clean.Fouled(fouling.v()).Loss(flow.v())))
		w.step("opens", "opens at", of(ofGauge, clean.Loss(0)), "its loss without flow")
		w.step("clean", "clean", of(ofGauge, clean.Loss(flow.v())), formula)
		w.step("fouled", "fouled", of(ofGauge, clean.Fouled(fouling.v()).Loss(flow.v())), "every loss × fouling")
		w.cite(unit.CommonPractice, "design on 1.5 to 2 times the clean loss")
		w.figures = append(w.figures, "air")
		w.cite(unit.FromMemory, "EPA/625/1-89/023, Fine Pore Aeration Systems: 6 to 24 in of water for clean membranes")
		w.hold("up to 1 std m³/s; the maker's curve comes before any usual figure")
		return nil
	}
}

func readDiffuser(name string, units unitSystem) (air.Diffuser, error) {
	file, err := readSheetFile(name, units, "*air", "*pressure")
	if err != nil {
		return nil, err
	}
	var d air.Diffuser
	for i := range file.rows {
		q, err := mustCell(file, i, "air", ofStdFlow)
		if err != nil {
			return nil, err
		}
		p, err := mustCell(file, i, "pressure", ofGauge)
		if err != nil {
			return nil, err
		}
		if n := len(d); n > 0 && (q <= d[n-1].Air || p < d[n-1].Loss) || q < 0 || p < 0 {
			return nil, fmt.Errorf("%s: row %d: air has to rise, and pressure may not fall", name, i+1)
		}
		d = append(d, air.LossPoint{Air: q, Loss: p})
	}
	return d, nil
}

func compressorOf(f *form) func(*worksheet) error {
	file := needText(f, "compressor", compressorHelp)
	outlet := need(f, "outlet", ofGauge, "pressure at the outlet")
	shaft := ask(f, "shaft", ofPower, "", "power at the shaft, to check the curve against").nonzero()
	intake := ask(f, "intake", ofTemperature, "68F", "temperature of the intake air")
	site := askSite(f)
	return func(w *worksheet) error {
		atm, err := site.at(w)
		if err != nil {
			return err
		}
		c, err := readCompressor(*file, *f.units, shaft.v())
		if err != nil {
			return err
		}
		at := air.Site{Pressure: atm, Intake: intake.v()}
		delivered, err := c.Air(outlet.v(), at)
		if err != nil {
			return err
		}
		mass, p2 := delivered.Mass(), outlet.v().Absolute(atm)
		ideal := air.AdiabaticPower(atm, p2, mass.Actual(atm, intake.v()))
		w.result("air", "delivers", of(ofStdFlow, delivered))
		w.result("rated", "highest pressure here", of(ofGauge, c.Rated(at)))
		if power, ok := c.Power(outlet.v(), at); ok {
			w.result("power", "electrical input", of(ofPower, power))
		}
		w.result("adiabatic", "power to compress it without loss", of(ofPower, ideal))
		for _, note := range c.Notes() {
			w.notef("Compressor: %s.", note)
		}
		w.step("rated", "highest pressure here", of(ofGauge, c.Rated(at)), "same ratio of pressures as at sea level")
		w.step("air", "delivers", of(ofStdFlow, delivered), "monotone cubic through the table, as volume at the intake for the ratio of pressures")
		w.step("adiabatic", "power to compress it", of(ofPower, ideal), "P = k/(k − 1) p1 V1 [r^((k − 1)/k) − 1]")
		if shaft.has() {
			bound := air.MaxFlow(shaft.v(), atm, p2, 1)
			w.step("bound", "most that the shaft could do", of(ofActualFlow, bound), "P/(p1 ln r), isothermal: a table above this is refused")
		}
		w.cite(unit.Published, "monotone cubic: Fritsch & Carlson, SIAM J. Numer. Anal. 17, 1980")
		w.cite(unit.Published, powerSource)
		w.hold("no pressure beyond the table; below its first the first flow holds; intake 230 to 340 K")
		w.figures = append(w.figures, "air")
		w.caution(pressureCautions()...)
		return nil
	}
}
