package main

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"pondwright/calc/air"
	"pondwright/calc/unit"
)

const (
	hoseSource  = "general isothermal equation of compressible flow; friction after Churchill, Chemical Engineering, Nov 1977"
	powerSource = "ideal gas, k = 1.4; agrees with Machinery's Handbook, 31st ed., tables 35 and 36, within 1 %"
)

func airCalculations() []calculation {
	return []calculation{
		{"hose", "Pressure that a hose takes", "hose --air 3scfm --length 300ft --bore 0.622in --depth 12ft", hoseOf},
		{"manifold", "Flow of each run on one manifold, and its valves", "manifold --runs runs.csv --compressor compressor.csv --balance equal", manifoldOf},
		{"compress", "Power to compress an air flow", "compress --air 4.4scfm --outlet 6psi", compressOf},
		{"relief", "Where the relief valve stands", "relief --normal 8.6psi --rating compressor=15psi --rating hose=60psi", reliefOf},
		{"discharge", "How hot air leaves a compressor, and where plastic may start", "discharge --outlet 10psi --intake 95F --efficiency 70% --air 3scfm --pipe 0.84in", dischargeOf},
	}
}

// pressureCautions go with every pressure.
func pressureCautions() []string {
	return []string{
		"Compressed air can injure: bleed the line before opening anything, set a relief valve with no other valve before it, and let local code and the maker's instructions come first.",
		"No plastic pipe for compressed air above ground where codes forbid it, and none where the air is hot.",
	}
}

func hoseOf(f *form) func(*worksheet) error {
	flow := need(f, "air", ofStdFlow, "air through the hose, as standard flow")
	length := need(f, "length", ofLength, "length of the hose")
	bore := need(f, "bore", ofBore, "inside diameter itself, not the nominal size: see pondwright calc settings air")
	depth := need(f, "depth", ofLength, "water above the end, at the highest level")
	loss := ask(f, "diffuser", ofGauge, "0psi", "pressure that the diffuser takes at this flow")
	temp := ask(f, "temp", ofTemperature, "68F", "temperature of the air in the hose, soon that of the water")
	k := ask(f, "fittings", ofNumber, "0", "sum of the loss factors of fittings, on the bore's velocity head")
	site := askSite(f)
	return func(w *worksheet) error {
		atm, err := site.at(w)
		if err != nil {
			return err
		}
		if err := unit.CheckRange("water above the end (m)", float64(depth.v()), 0, 60, "ponds and small lakes"); err != nil {
			return err
		}
		const water = 1000
		m, head := flow.v().Mass(), air.Head(depth.v(), water)
		end := (head + loss.v()).Absolute(atm)
		h := air.Hose{Length: length.v(), Bore: bore.v(), Air: temp.v(), K: k.v()}
		start, err := h.Upstream(m, end)
		if err != nil {
			return err
		}
		took := start.Gauge(atm) - end.Gauge(atm)
		area := math.Pi / 4 * float64(bore.v()) * float64(bore.v())
		reynolds := 4 * float64(m) / (math.Pi * float64(bore.v()) * air.Viscosity(temp.v()))
		friction := air.Friction(reynolds, figureOf(air.Defaults(), roughnessFigure)/float64(bore.v()))
		w.result("took", "taken by the hose", of(ofGauge, took))
		w.result("start", "needed at its head", of(ofGauge, start.Gauge(atm)))
		w.result("end", "inside its end", of(ofGauge, end.Gauge(atm)))
		w.result("velocity", "fastest air, at the end", of(ofSpeed, unit.MetersPerSecond(float64(m.Actual(end, temp.v()))/area)))
		w.step("mass", "mass flow", of(ofMassFlow, m), "standard flow × 101,325 Pa/(R × 293.15 K)")
		w.step("head", "head of the water", of(ofGauge, head), "ρ g h, ρ = 1,000 kg/m³ on the safe side")
		w.step("end", "inside the end, absolute", of(ofAbsolute, end), "p2 = pressure of the air + head + diffuser")
		w.step("reynolds", "Reynolds number", of(ofNumber, reynolds), "Re = 4 m/(π D μ)")
		w.step("friction", "friction factor", of(ofNumber, friction), "f = 8 [(8/Re)^12 + (A + B)^−1.5]^(1/12), smooth plastic")
		w.step("start", "at the head, absolute", of(ofAbsolute, start), "p1² − p2² = (m/A)² R T [f L/D + K + 2 ln(p1/p2)]")
		w.cite(unit.Published, hoseSource)
		w.hold("any Reynolds number, below the choke; level hose of 2 to 200 mm bore, up to 5 km; air at one temperature")
		w.figures = append(w.figures, "air")
		w.caution(pressureCautions()...)
		return nil
	}
}

const roughnessFigure = "roughness of smooth plastic hose"

const (
	runsHelp       = "CSV file, a row a run: name, length, bore, depth, and where known opening (diffuser's opening pressure), per_scfm (pressure each scfm adds), heads, fittings, crack, share, as in name,length_ft,bore_in,depth_ft,opening_psi,per_scfm_psi"
	compressorHelp = "CSV file of one machine at sea level, pressure rising: pressure, air, and where known power, as in pressure_psi,air_scfm,power_w"
)

func manifoldOf(f *form) func(*worksheet) error {
	runs, compressor := needText(f, "runs", runsHelp), needText(f, "compressor", compressorHelp)
	balance := askChoice(f, "balance", "open", "valves wide open, set for equal air, or set for the shares of the runs file",
		option[string]{"open", "open"}, option[string]{"equal", "equal"}, option[string]{"shares", "shares"})
	machines := askCount(f, "machines", "machines side by side")
	shaft := ask(f, "shaft", ofPower, "", "power at the shaft, to check the curve against").nonzero()
	feeder := ask(f, "feeder", ofLength, "", "length of the pipe from compressor to manifold").nonzero()
	feederBore := ask(f, "feeder-bore", ofBore, "", "its inside diameter").nonzero()
	intake := ask(f, "intake", ofTemperature, "68F", "temperature of the intake air")
	density := ask(f, "water-density", ofDensity, "1000kg/m3", "density of the water").nonzero()
	site := askSite(f)
	return func(w *worksheet) error {
		atm, err := site.at(w)
		if err != nil {
			return err
		}
		n := air.Network{Machines: *machines, Site: air.Site{Pressure: atm, Intake: intake.v(), WaterDensity: density.v()}}
		if feeder.has() != feederBore.has() {
			return usagef("--feeder and --feeder-bore go together")
		}
		if feeder.has() {
			n.Feeder = &air.Hose{Length: feeder.v(), Bore: feederBore.v()}
		}
		if n.Compressor, err = readCompressor(*compressor, *f.units, shaft.v()); err != nil {
			return err
		}
		shares, err := readRuns(*runs, *f.units, &n, balance.v() == "equal")
		if err != nil {
			return err
		}
		for _, note := range n.Compressor.Notes() {
			w.notef("Compressor: %s.", note)
		}
		w.step("rated", "highest pressure here", of(ofGauge, n.Compressor.Rated(n.Site)), "same ratio of pressures as at sea level")
		if balance.v() == "open" {
			err = w.open(n)
		} else {
			err = w.balanced(n, shares)
		}
		w.cite(unit.Published, hoseSource)
		w.cite(unit.Published, "monotone cubic through the compressor's points: Fritsch & Carlson, SIAM J. Numer. Anal. 17, 1980")
		w.cite(unit.FromMemory, "valves: IEC 60534-2-1, ISA-75.01")
		w.hold("up to 1,000 runs with check valves, level hoses of 2 to 200 mm bore, 0 to 60 m of water; no pressure beyond the compressor's table")
		w.figures = append(w.figures, "air")
		w.caution(pressureCautions()...)
		return err
	}
}

// open works out what runs carry with their valves open.
func (w *worksheet) open(n air.Network) error {
	o, err := n.Solve()
	if err != nil {
		return err
	}
	w.operating(n, o.Air, o.Outlet, o.Manifold, o.Power)
	t := w.table("runs", "Runs, valves open", column{"name", "run", nil}, column{"air", "air", ofStdFlow.dimension},
		column{"opens", "opens at", ofGauge.dimension}, column{"end", "inside its end", ofGauge.dimension}, column{"state", "", nil})
	for _, r := range o.Runs {
		state := "runs"
		if r.Starved {
			state = "carries nothing"
		}
		t.add(say(r.Name), of(ofStdFlow, r.Air), of(ofGauge, r.Opens), of(ofGauge, r.End), say(state))
	}
	if starved := o.Starved(); len(starved) > 0 {
		w.notef("Starved: %s. The other runs let the air out at less pressure than these need: set their valves (--balance equal).", strings.Join(starved, ", "))
	}
	w.step("manifold", "manifold", of(ofGauge, o.Manifold), "the one pressure at which the runs take what the machines deliver")
	return nil
}

// balanced works out valve settings.
func (w *worksheet) balanced(n air.Network, shares []float64) error {
	b, err := n.Balance(shares)
	if err != nil {
		return err
	}
	w.operating(n, b.Air, b.Outlet, b.Manifold, b.Power)
	t := w.table("runs", "Runs, valves set; set the deepest first, then read the gauges again", column{"name", "run", nil}, column{"air", "air", ofStdFlow.dimension},
		column{"needed", "needs", ofGauge.dimension}, column{"drop", "valve drops", ofGauge.dimension}, column{"cv", "Cv", ofNumber.dimension}, column{"kv", "Kv", ofNumber.dimension}, column{"state", "", nil})
	for i, v := range b.Valves {
		state := "throttled"
		switch {
		case v.Shut:
			state = "shut"
		case i == b.Index || v.Cv == 0:
			state = "wide open"
		}
		t.add(say(v.Name), of(ofStdFlow, v.Air), of(ofGauge, v.Needed), of(ofGauge, v.Drop), of(ofNumber, v.Cv), of(ofNumber, air.Kv(v.Cv)), say(state))
	}
	w.step("manifold", "manifold", of(ofGauge, b.Manifold), "the most that any run needs")
	w.step("cv", "valves", say("in the table"), "Q = 1360 Cv p1 Y √(x/(G T1)), x = Δp/p1, Y = 1 − x/(3 × 0.7)")
	return nil
}

func (w *worksheet) operating(n air.Network, total unit.StdCubicMetersPerSecond, outlet, manifold unit.PascalsGauge, power unit.Watts) {
	w.result("air", "air of all runs", of(ofStdFlow, total))
	w.result("manifold", "in the manifold", of(ofGauge, manifold))
	if n.Feeder != nil {
		w.result("outlet", "at the compressors", of(ofGauge, outlet))
	}
	if power > 0 {
		w.result("power", "electrical input", of(ofPower, power))
	}
}

func readCompressor(name string, units unitSystem, shaft unit.Watts) (air.Curve, error) {
	file, err := readSheetFile(name, units, "*pressure", "*air", "power")
	if err != nil {
		return air.Curve{}, err
	}
	var points []air.CurvePoint
	for i := range file.rows {
		var p air.CurvePoint
		if p.Gauge, err = mustCell(file, i, "pressure", ofGauge); err != nil {
			return air.Curve{}, err
		}
		if p.Air, err = mustCell(file, i, "air", ofStdFlow); err != nil {
			return air.Curve{}, err
		}
		if p.Power, _, err = cellOf(file, i, "power", ofPower); err != nil {
			return air.Curve{}, err
		}
		points = append(points, p)
	}
	c, err := air.NewCurve(points, shaft)
	return c, file.wrap(err)
}

// readRuns adds the runs of a file to a network and returns their shares.
func readRuns(name string, units unitSystem, n *air.Network, equal bool) ([]float64, error) {
	file, err := readSheetFile(name, units, "name", "*length", "*bore", "*depth", "opening", "per_scfm", "heads", "fittings", "crack", "share")
	if err != nil {
		return nil, err
	}
	var shares []float64
	for i, row := range file.rows {
		r := air.Run{Name: row["name"]}
		if r.Name == "" {
			r.Name = fmt.Sprint(i + 1)
		}
		var errs [9]error
		var opening, perSCFM unit.PascalsGauge
		var heads float64
		r.Hose.Length, errs[0] = mustCell(file, i, "length", ofLength)
		r.Hose.Bore, errs[1] = mustCell(file, i, "bore", ofBore)
		r.Submergence, errs[2] = mustCell(file, i, "depth", ofLength)
		opening, _, errs[3] = cellOf(file, i, "opening", ofGauge)
		perSCFM, _, errs[4] = cellOf(file, i, "per_scfm", ofGauge)
		heads, _, errs[5] = cellOf(file, i, "heads", ofNumber)
		r.Hose.K, _, errs[6] = cellOf(file, i, "fittings", ofNumber)
		r.Crack, _, errs[7] = cellOf(file, i, "crack", ofGauge)
		share, given, err := cellOf(file, i, "share", ofNumber)
		errs[8] = err
		if err := errors.Join(errs[:]...); err != nil {
			return nil, err
		}
		if equal || !given {
			share = 1
		}
		r.Diffuser, r.Heads = air.LinearDiffuser(opening, perSCFM), int(heads)
		n.Runs, shares = append(n.Runs, r), append(shares, share)
	}
	return shares, nil
}

func compressOf(f *form) func(*worksheet) error {
	flow := need(f, "air", ofStdFlow, "air to compress, as standard flow")
	outlet := need(f, "outlet", ofGauge, "pressure at the outlet")
	intake := ask(f, "intake", ofTemperature, "68F", "temperature of the intake air")
	site := askSite(f)
	return func(w *worksheet) error {
		p1, err := site.at(w)
		if err != nil {
			return err
		}
		for _, c := range []error{
			unit.CheckRange("air (std m³/s)", float64(flow.v()), 0, 10, "compressors of ponds"),
			unit.CheckRange("outlet pressure (Pa)", float64(outlet.v()), 0, 2e6, "single-stage machines"),
			unit.CheckRange("intake temperature (K)", float64(intake.v()), 230, 340, "weather and a hot enclosure"),
		} {
			if c != nil {
				return c
			}
		}
		m, p2 := flow.v().Mass(), outlet.v().Absolute(p1)
		q := m.Actual(p1, intake.v())
		ideal, least := air.AdiabaticPower(p1, p2, q), air.IsothermalPower(p1, p2, q)
		w.result("adiabatic", "without loss", of(ofPower, ideal))
		w.result("isothermal", "no machine does it for less", of(ofPower, least))
		t := w.table("machines", "By kind of machine", column{"kind", "kind", nil}, column{"least", "from", ofPower.dimension}, column{"most", "to", ofPower.dimension},
			column{"at", "", nil}, column{"usual", "", nil})
		for _, k := range air.MachineKinds() {
			at, usual := "at the shaft", "within its usual pressure"
			if k.Electrical {
				at = "electrical"
			}
			if outlet.v() > k.Highest {
				usual = "above its usual pressure"
			}
			t.add(say(k.Name), of(ofPower, ideal/unit.Watts(k.High)), of(ofPower, ideal/unit.Watts(k.Low)), say(at), say(usual))
		}
		w.step("mass", "mass flow", of(ofMassFlow, m), "standard flow × 101,325 Pa/(R × 293.15 K)")
		w.step("intakeFlow", "at the intake", of(ofActualFlow, q), "V1 = m R T1/p1")
		w.step("ratio", "ratio of pressures", of(ofNumber, float64(p2/p1)), "r = p2/p1, absolute")
		w.step("adiabatic", "without loss, not cooled", of(ofPower, ideal), "P = k/(k − 1) p1 V1 [r^((k − 1)/k) − 1]")
		w.step("isothermal", "without loss, kept cool", of(ofPower, least), "P = p1 V1 ln r")
		w.cite(unit.Published, powerSource)
		w.cite(unit.CommonPractice, "shares of the power that end up in the air, by kind")
		w.hold("single-stage machines up to 2 MPa; a maker's curve is always better than a kind")
		w.figures = append(w.figures, "air")
		w.caution(pressureCautions()...)
		return nil
	}
}

func reliefOf(f *form) func(*worksheet) error {
	normal := need(f, "normal", ofGauge, "manifold pressure in normal running")
	ratings := &ratingList{units: f.units}
	f.flags.Var(ratings, "rating", "needed: highest pressure of a part at its temperature, as hose=60psi; once for each part"+ofGauge.hint())
	f.require("rating")
	f.inputs = append(f.inputs, func() []entry {
		var out []entry
		for _, r := range ratings.v() {
			out = append(out, entry{key: camel("rating-" + fold(r.Part)), name: "rating of " + r.Part, value: of(ofGauge, r.Limit)})
		}
		return out
	})
	return func(w *worksheet) error {
		set, err := air.ReliefSetting(normal.v(), ratings.v())
		if err != nil {
			return err
		}
		d := air.Defaults()
		factor, margin := figureOf(d, "relief setting over normal pressure"), unit.PascalsGauge(figureOf(d, "relief setting above normal pressure, at least"))
		w.result("setting", "relief valve at", of(ofGauge, set))
		w.step("least", "least setting", of(ofGauge, max(unit.PascalsGauge(factor)*normal.v(), normal.v()+margin)),
			fmt.Sprintf("the larger of %s × normal and normal + %s", figures(factor), ofGauge.both(float64(margin), usUnits)))
		w.step("setting", "setting", of(ofGauge, set), "rounded up to half a psi, never above the weakest part")
		w.cite(unit.CommonPractice, "")
		w.hold("normal pressures up to 1 MPa; ratings at the temperature at which the part runs")
		w.figures = append(w.figures, "air")
		w.caution("The valve must pass the whole flow of the compressors at this setting.")
		w.caution(pressureCautions()...)
		return nil
	}
}

// ratingList is a flag of parts and their ratings.
type ratingList struct {
	units *unitSystem
	texts []string
}

func (l *ratingList) String() string { return strings.Join(l.texts, ", ") }
func (l *ratingList) Type() string   { return "part=pressure" }

func (l *ratingList) Set(text string) error {
	part, limit, ok := strings.Cut(text, "=")
	if !ok || part == "" {
		return fmt.Errorf("%q is not PART=PRESSURE", text)
	}
	if _, err := ofGauge.parse(limit, usUnits); err != nil {
		return err
	}
	for _, known := range l.v() {
		if fold(known.Part) == fold(part) {
			return fmt.Errorf("%q is rated already", known.Part)
		}
	}
	l.texts = append(l.texts, text)
	return nil
}

func (l *ratingList) v() []air.Rating {
	var out []air.Rating
	for _, text := range l.texts {
		part, limit, _ := strings.Cut(text, "=")
		if p, err := ofGauge.parse(limit, *l.units); err == nil { // Set has checked it
			out = append(out, air.Rating{Part: part, Limit: unit.PascalsGauge(p)})
		}
	}
	return out
}

func dischargeOf(f *form) func(*worksheet) error {
	outlet := need(f, "outlet", ofGauge, "pressure at the outlet")
	intake := ask(f, "intake", ofTemperature, "95F", "temperature of the intake air, as in an enclosure in the sun")
	efficiency := ask(f, "efficiency", ofShare, "70%", "adiabatic efficiency of the machine")
	flow := ask(f, "air", ofStdFlow, "", "air, as standard flow: with --pipe it gives the metal pipe before plastic")
	pipe := ask(f, "pipe", ofBore, "", "outside diameter of the metal pipe").nonzero()
	ambient := ask(f, "ambient", ofTemperature, "95F", "temperature around the pipe")
	limit := ask(f, "limit", ofTemperature, "120F", "what the plastic may carry")
	plastic := askChoice(f, "plastic", "unmarked", "kind of polyethylene hose", option[air.Plastic]{"unmarked", air.UnknownPE}, option[air.Plastic]{"PE4710", air.PE4710})
	site := askSite(f)
	return func(w *worksheet) error {
		p1, err := site.at(w)
		if err != nil {
			return err
		}
		if flow.has() != pipe.has() {
			return usagef("--air and --pipe go together")
		}
		p2 := outlet.v().Absolute(p1)
		hot, err := air.DischargeTemperature(intake.v(), p1, p2, efficiency.v())
		if err != nil {
			return err
		}
		w.result("discharge", "air leaves at", of(ofTemperature, hot))
		if flow.has() {
			length, err := air.MetalLength(flow.v().Mass(), hot, ambient.v(), limit.v(), air.Pipe{OutsideDiameter: pipe.v()})
			if err != nil {
				return err
			}
			w.result("metal", "metal pipe before plastic", of(ofLength, length))
			w.step("metal", "metal pipe", of(ofLength, length), "excess over the surroundings falls with exp(−U π D L/(m cp)); never less than 10 ft")
		}
		factor := air.PlasticFactor(plastic.v(), limit.v())
		w.result("plasticShare", "rating left to the plastic", of(ofShare, factor))
		w.step("ratio", "ratio of pressures", of(ofNumber, float64(p2/p1)), "r = p2/p1, absolute")
		w.step("discharge", "air leaves at", of(ofTemperature, hot), "T2 = T1 [1 + (r^((k − 1)/k) − 1)/η], k = 1.4, no heat lost through the casing")
		w.step("plasticShare", "rating left", of(ofShare, factor), "of the rating at 23 °C (73 °F), at the limit's temperature; none above 60 °C (140 °F)")
		w.cite(unit.Published, "ideal gas")
		w.cite(unit.CommonPractice, "heat lost by bare pipe in still air, 10 ft at least")
		w.cite(unit.Published, "PE4710: Plastics Pipe Institute, Handbook of PE Pipe, 2nd ed., errata of June 2020, ch. 3, table A.2")
		w.cite(unit.FromMemory, "unmarked polyethylene: the same handbook, older figures")
		w.hold("intake 230 to 340 K, outlet up to 2 MPa, efficiency 0.1 to 1")
		w.figures = append(w.figures, "air")
		w.caution(pressureCautions()...)
		w.caution("Rigid PVC is no choice for compressed air at any temperature: it shatters (OSHA hazard bulletin, 1990).", "The pipe is hot enough to burn: guard it.")
		return nil
	}
}
