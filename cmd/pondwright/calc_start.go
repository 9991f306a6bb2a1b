package main

import (
	"strings"
	"time"

	"pondwright/calc/plume"
	"pondwright/calc/unit"
	"pondwright/calc/water"
)

func startCalculations() []calculation {
	return []calculation{
		{"startup", "First start in summer, day by day, or why not", "startup --profile profile.csv --curve curve.csv --diffusers 4 --air 1scfm --depth 14ft --age 1d --dawn --stops", startupOf},
		{"transfer", "Oxygen that bubbles alone give to water", "transfer --air 6.5scfm --depth 14ft --oxygen 4mg/L --temp 77F", transferOf},
		{"hold", "Power that keeps a pond mixed against the sun", "hold --area 5acres --depth 8ft --temp 77F --air 6.5scfm --above 14ft", holdOf},
	}
}

// startRefused says why no first start may be planned.
type startRefused struct{ reasons []string }

func (e *startRefused) Error() string { return "no start: " + strings.Join(e.reasons, "; ") }

const startRemedy = "start in spring or autumn, when the water is of one temperature, or with the diffusers hung shallow and lowered in steps"

func startupOf(f *form) func(*worksheet) error {
	pond := needPond(f)
	lift := ask(f, "lift", ofFlow, "", "bottom water that all diffusers lift, high end, instead of --air and --depth").nonzero()
	air := ask(f, "air", ofStdFlow, "", "air of one diffuser, as standard flow").nonzero()
	depth := ask(f, "depth", ofLength, "", "water above a diffuser").nonzero()
	diffusers := askCount(f, "diffusers", "how many such diffusers")
	disc := ask(f, "disc", ofBore, "9in", "diameter of a diffuser").nonzero()
	demand := ask(f, "demand", ofLevel, "", "oxygen that the bottom water takes at once, per volume of it; by default 2 mg/L where it holds less than 0.5, else none")
	age := need(f, "age", ofSpan, "age of the profile")
	dawn := askYes(f, "dawn", "surface oxygen was read at dawn")
	smell := askYes(f, "smell", "bottom water smells of rotten eggs")
	stops := askYes(f, "stops", "a timer stops the air each day, or a person is assigned to it")
	site := askSite(f)
	return func(w *worksheet) error {
		if lift.has() == (air.has() && depth.has()) {
			return usagef("give the bottom water lifted as --lift, or --air and --depth")
		}
		p, h, err := pond.read()
		if err != nil {
			return err
		}
		seen := water.Observation{
			Age: time.Duration(float64(age.v()) * float64(time.Second)), Dawn: *dawn, RottenEggs: *smell, HasOxygen: p.HasOxygen(), CanStopOrWatch: *stops,
			Surface: p.Temperature(0), AboveBottom: h.Depth() - p.Deepest(),
		}
		if why := seen.Objections(); len(why) > 0 {
			refused := &startRefused{}
			for _, o := range why {
				refused.reasons = append(refused.reasons, o.String())
			}
			return refused
		}
		l := water.Split(p, h)
		iod := demand.v()
		if !demand.has() {
			iod = water.ImmediateDemand(l.Bottom.Oxygen)
			w.assume("demand", "demand", of(ofLevel, iod))
		}
		w.citeStart()
		mixed := l.MixTonight(iod)
		gate := water.GateFor(mixed.Oxygen, mixed.SurfaceCooling)
		if gate == water.Stop {
			return &startRefused{[]string{"mixed at once the pond would hold " + ofLevel.print(float64(mixed.Oxygen), siUnits) + " of oxygen, below 3 mg/L: wait until the season turns"}}
		}
		w.result("gate", "gate", say(gate.String()))
		w.result("mixedOxygen", "oxygen if all mixed at once", of(ofLevel, mixed.Oxygen))
		w.step("mixedOxygen", "oxygen if all mixed at once", of(ofLevel, mixed.Oxygen), "C = (Σ Ci Vi − demand × bottom volume)/V; go from 5 mg/L and at most 3 K of cooling, stop below 3 mg/L")
		if gate == water.Go {
			w.notef("Oxygen permits a start at once: no ramp is needed. Read oxygen at the next dawn all the same.")
			return nil
		}
		q := lift.v()
		if !lift.has() {
			if q, err = bottomLift(w, p, l, site, *diffusers, air.v(), depth.v(), disc.v()/2); err != nil {
				return err
			}
		}
		return w.ramp(water.Start{
			Upper: l.Upper.Volume, Bottom: l.Bottom.Volume, UpperOxygen: l.Upper.Oxygen, BottomOxygen: l.Bottom.Oxygen, Demand: iod, Lift: q,
		})
	}
}

func (w *worksheet) citeStart() {
	w.cite(unit.Judgement, "volume of bottom water a day may lift: half a mg/L of oxygen where the bottom holds less than 1 mg/L, else one, never below 5")
	w.cite(unit.Published, "stop below 3 mg/L: Texas A&M AquaPlant; Wurts, Kentucky State Univ. WKY-211; go from 5 mg/L: Braig, Ohio State Extension, 2014")
	w.hold("a profile at the deepest point, at most three days old, to within 0.5 m of the bottom; surface oxygen at dawn, surface below 28 °C")
	w.figures = append(w.figures, "water", "plume")
	w.caution("A start can kill fish. Each dawn put the oxygen read in place of the one expected and plan again: stop below 4 mg/L; switch off below 3 mg/L, on a smell of rotten eggs, or with fish at the surface.",
		"Start on a sunny day from mid-morning to afternoon; never at dawn, after cloudy days or when algae are dying off.",
		"After five to seven days without air in summer treat it as a new start.")
}

// bottomLift is the high end of the bottom water that diffusers lift: the safe
// one here, unlike for turnover.
func bottomLift(w *worksheet, p water.Profile, l water.Layers, site siteFlags, n int, air unit.StdCubicMetersPerSecond, depth, radius unit.Meters) (unit.CubicMetersPerSecond, error) {
	pressure, err := site.at(w)
	if err != nil {
		return 0, err
	}
	if err := unit.CheckRange("diffusers", float64(n), 1, 1000, "one pond"); err != nil {
		return 0, err
	}
	base := l.Middle.Bottom
	if err := unit.CheckRange("water above the diffuser (m)", float64(depth), float64(base), float64(p.Deepest())+0.5, "from the base of the thermocline to the profile's end"); err != nil {
		return 0, err
	}
	at := plume.Site{Pressure: pressure, Profile: p}
	closed, err := plume.ClosedForm(air, depth, depth-base, at)
	if err != nil {
		return 0, err
	}
	trace, err := plume.Rise(air, depth, at, plume.Model{DiscRadius: radius})
	if err != nil {
		return 0, err
	}
	disc := trace.FlowAt(depth - base)
	w.step("closedForm", "one diffuser, closed form", of(ofFlow, closed), "at the base of the thermocline; see pondwright calc lift")
	w.step("disc", "one diffuser, from a disc", of(ofFlow, disc), "integral from the diffuser's width; see pondwright calc plume")
	q := unit.CubicMetersPerSecond(n) * max(closed, disc)
	w.step("lift", "bottom water lifted", of(ofFlow, q), "diffusers × the larger of the two: the high end is the safe one here")
	w.cite(unit.FromMemory, kobusSource)
	w.cite(unit.Published, integralSource)
	return q, nil
}

// ramp lays out the days.
func (w *worksheet) ramp(s water.Start) error {
	days, err := s.Plan(60)
	if err != nil {
		return err
	}
	w.result("days", "days", count(len(days)))
	if len(days) == 0 {
		w.notef("No bottom water is left to bring up: start.")
		return nil
	}
	last := days[len(days)-1]
	w.result("firstRun", "first day's running time", of(ofTime, days[0].Run))
	w.result("lastOxygen", "upper water at the end", of(ofLevel, last.Expected))
	w.result("left", "bottom water still down then", of(ofWater, last.Left))
	t := w.table("plan", "Day by day, as if nothing recovered overnight", column{"day", "day", ofNumber.dimension}, column{"run", "run", ofTime.dimension},
		column{"lifted", "bottom water lifted", ofWater.dimension}, column{"expected", "oxygen above afterwards", ofLevel.dimension}, column{"left", "still down", ofWater.dimension})
	for i, d := range days {
		t.add(count(i+1), of(ofTime, d.Run), of(ofWater, d.Lifted), of(ofLevel, d.Expected), of(ofWater, d.Left))
	}
	w.step("upper", "upper water", of(ofWater, s.Upper), "above the thermocline; the water between counts for nothing")
	w.step("bottom", "bottom water", of(ofWater, s.Bottom), "below the base of the thermocline")
	w.step("lifted", "lifted on the first day", of(ofWater, days[0].Lifted), "dV = Ve (Ce − C')/(C' − Ch + demand), C' the lowest that the day may leave")
	w.step("firstRun", "first day's running time", of(ofTime, days[0].Run), "dV/bottom water lifted")
	w.step("expected", "oxygen above afterwards", of(ofLevel, days[0].Expected), "(Ce Ve + (Ch − demand) dV)/(Ve + dV)")
	if last.Left > s.Bottom/20 {
		w.notef("The plan ends with bottom water still down: the upper water is at 5 mg/L. Wait until it has recovered, and plan again.")
	}
	w.notef("A few minutes on the first day and twice as long each day after is common practice without a source; it takes its largest bite last, and is not planned here.")
	return nil
}

func transferOf(f *form) func(*worksheet) error {
	air := need(f, "air", ofStdFlow, "air of all diffusers, as standard flow")
	depth := need(f, "depth", ofLength, "water above them")
	size := askChoice(f, "bubbles", "fine", "from membranes and porous stone, or from open hose and drilled pipe",
		option[water.Bubbles]{"fine", water.FineBubbles}, option[water.Bubbles]{"coarse", water.CoarseBubbles})
	oxygen := ask(f, "oxygen", ofLevel, "0mg/L", "oxygen that the water holds")
	temp := ask(f, "temp", ofTemperature, "68F", "temperature of the water")
	site := askSite(f)
	return func(w *worksheet) error {
		p, err := site.at(w)
		if err != nil {
			return err
		}
		standard, err := water.StandardTransfer(air.v(), depth.v(), size.v())
		if err != nil {
			return err
		}
		field, err := water.FieldTransfer(standard, oxygen.v(), temp.v(), p)
		if err != nil {
			return err
		}
		full, err := water.OxygenSaturation(temp.v(), p)
		if err != nil {
			return err
		}
		w.result("field", "oxygen given to this water", of(ofMassFlow, field))
		w.result("standard", "to clean water without oxygen, 20 °C", of(ofMassFlow, standard))
		perFoot := figureOf(water.Defaults(), "transfer from fine bubbles per foot")
		if size.v() == water.CoarseBubbles {
			perFoot = figureOf(water.Defaults(), "transfer from coarse bubbles per foot")
		}
		w.step("dissolved", "share that dissolves", of(ofShare, min(1, perFoot*depth.v().Feet())), ofShare.print(perFoot, siUnits)+" for each foot of water, at most all")
		w.step("standard", "standard transfer", of(ofMassFlow, standard), "air × 0.2786 kg/m³ × share that dissolves")
		w.step("saturation", "oxygen when full", of(ofLevel, full), "C*t; see pondwright calc oxygen")
		w.step("field", "in this water", of(ofMassFlow, field), "standard × αF 1.024^(t − 20) (β C*t − C)/C*20, αF = 0.9, β = 0.98")
		if field < 0 {
			w.notef("The water holds more than air can give: bubbles then strip oxygen.")
		}
		w.notef("A few strong plumes reach 0.6 to 0.8 of this (judgement). Bubbles are an extra: what feeds a pond is its surface, and mixing shares that out.")
		w.cite(unit.FromMemory, "EPA/625/1-89/023, Fine Pore Aeration Systems (share that dissolves, field correction)")
		w.cite(unit.Published, oxygenSource)
		w.hold("fresh water of 0 to 40 °C, up to 100 m, up to 1 std m³/s of air")
		w.figures = append(w.figures, "water")
		return nil
	}
}

func holdOf(f *form) func(*worksheet) error {
	area := need(f, "area", ofArea, "water surface")
	depth := need(f, "depth", ofLength, "depth of water through which the heat is mixed; the mean depth for a whole pond")
	heat := ask(f, "heat", ofLight, "150W/m²", "heat that the surface takes up, mean of the hours that count")
	temp := ask(f, "temp", ofTemperature, "77F", "temperature of the water")
	air := ask(f, "air", ofStdFlow, "", "air of all diffusers, to weigh against it").nonzero()
	above := ask(f, "above", ofLength, "", "water above the diffusers, with --air").nonzero()
	site := askSite(f)
	return func(w *worksheet) error {
		if air.has() != above.has() {
			return usagef("--air and --above go together")
		}
		if err := unit.CheckRange("water surface (m²)", float64(area.v()), 1, 1e8, "ponds and small lakes"); err != nil {
			return err
		}
		perM2, err := water.HoldingPower(heat.v(), depth.v(), temp.v())
		if err != nil {
			return err
		}
		needed := unit.Watts(float64(perM2) * float64(area.v()))
		share := figureOf(plume.Defaults(), efficiencyFigure)
		w.result("mixing", "power that goes into mixing", of(ofPower, needed))
		w.result("air", "power of air for it", of(ofPower, needed/unit.Watts(share)))
		w.step("perArea", "for each square meter", of(ofLight, perM2), "P = g aT q h/(2 cp), aT the thermal expansion of the water")
		w.step("mixing", "for the whole surface", of(ofPower, needed), "P × water surface")
		w.step("air", "power of air", of(ofPower, needed/unit.Watts(share)), "divided by "+figures(share)+", the share of the air's energy that mixes")
		w.cite(unit.Published, "energy of a heated mixed layer, closed form")
		w.cite(unit.Judgement, "share of the air's energy that mixes")
		w.hold("fresh water of 0 to 40 °C, up to 100 m; no wind, which helps")
		w.figures = append(w.figures, "water", "plume")
		if !air.has() {
			return nil
		}
		pressure, err := site.at(w)
		if err != nil {
			return err
		}
		given, err := plume.AirPower(air.v(), above.v(), plume.Site{Pressure: pressure, Temperature: temp.v()})
		if err != nil {
			return err
		}
		w.result("given", "power that this air gives", of(ofPower, given))
		w.result("holds", "holds the pond mixed", say(map[bool]string{true: "yes", false: "no"}[float64(given)*share >= float64(needed)]))
		w.step("given", "power that this air gives", of(ofPower, given), "p V0 ln(1 + H/Ha)")
		return nil
	}
}
