package sheet

import (
	"fmt"
	"time"

	"pondwright/calc/mast"
	"pondwright/calc/unit"
	"pondwright/geo/draw"
	pb "pondwright/proto/pondwright/v1"
)

// sourceWords say what drives the air.
var sourceWords = map[pb.PowerSource]string{
	pb.PowerSource_POWER_SOURCE_SUN_DIRECT:  "sun, wired straight to the compressors",
	pb.PowerSource_POWER_SOURCE_SUN_BATTERY: "sun, through a battery",
	pb.PowerSource_POWER_SOURCE_WIND:        "wind pumps",
	pb.PowerSource_POWER_SOURCE_GRID:        "the mains, by a cable",
}

// power sets what drives the air, month by month, and the mast.
func (b *book) power() {
	s := b.Plan.GetSupply()
	if s == nil {
		return
	}
	b.open("Power", true)
	b.strong("Driven by " + sourceWords[s.GetSource()] + ".")
	if s.GetWarning() != "" {
		b.point("!", sentence(unit.Words(b.Units, s.GetWarningTemplate(), s.GetWarning())))
	}
	for _, part := range s.GetParts() {
		b.point("!", "Required part: "+part.GetText())
	}
	facts{"Part", b.powerFacts(s)}.set(&b.press)
	b.point("!", "Wiring belongs to a licensed electrician under the local code: no cord or inverter at the water, and nobody in it while wiring.")
	b.months(s)
	b.waysToMeet()
}

// facts is a table of two columns.
type facts struct {
	head string
	rows [][]string
}

func (f facts) set(p *press) {
	table{columns: []column{{head: f.head}, {head: "", wraps: true}}, rows: f.rows}.set(p)
}

// fact adds a row unless there is nothing to say.
func fact(rows *[][]string, name, format string, args ...any) {
	*rows = append(*rows, []string{name, fmt.Sprintf(format, args...)})
}

func (b *book) powerFacts(s *pb.Supply) [][]string {
	var rows [][]string
	if s.GetLoadW() > 0 {
		how := "worked out from the air"
		if s.GetLoadFromCurve() {
			how = "by the machines' own figures"
		}
		fact(&rows, "Load of all compressors", "%s W, %s; %s W drawn from the source", unit.Decimal(s.GetLoadW(), 0), how, unit.Decimal(s.GetDrawnW(), 0))
	}
	if s.GetPanels() > 0 {
		proposed := ""
		if s.GetPanelsProposed() {
			proposed = ", proposed by the plan"
		}
		fact(&rows, "Panels", "%d of %s W, %s W together, %s%s", s.GetPanels(), unit.Decimal(s.GetPanelW(), 0), unit.Decimal(s.GetArrayW(), 0), b.Units.Panel(unit.SquareMeters(s.GetArrayAreaM2())), proposed)
		bearing := fmt.Sprintf("true bearing %.0f°", s.GetAzimuthDeg())
		if s.CompassDeg != nil {
			bearing += fmt.Sprintf(", %.0f° by compass", s.GetCompassDeg())
		} else if s.GetCompassNote() != "" {
			bearing += "; no compass reading: " + s.GetCompassNote()
		}
		fact(&rows, "They face", "%s, tilted %.0f° from level", bearing, s.GetTiltDeg())
	}
	if s.GetThresholdWPerM2() > 0 {
		fact(&rows, "Runs from", "%.0f W/m² of light on the panels", s.GetThresholdWPerM2())
	}
	if s.GetColdV() > 0 {
		fact(&rows, "On the coldest morning", "%.1f V from a row of panels at %s: everything on it must stand that", s.GetColdV(), b.Units.Temperature(unit.Celsius(s.GetColdestC())))
	}
	if s.GetBatteryWh() > 0 {
		proposed := ""
		if s.GetBatteryProposed() {
			proposed = ", proposed by the plan"
		}
		fact(&rows, "Battery", "%s Wh%s", unit.Decimal(s.GetBatteryWh(), 0), proposed)
	}
	b.wireFact(&rows, "Wire to the compressors", s.GetWire())
	b.wireFact(&rows, "Cable from the mains", s.GetCable())
	if r := b.Plan.GetReliefPaGauge(); r > 0 {
		fact(&rows, "Relief valve opens at", "%s", b.Units.Gauge(unit.PascalsGauge(r)))
	}
	return rows
}

func (b *book) wireFact(rows *[][]string, name string, w *pb.WireRun) {
	if w == nil {
		return
	}
	gauge := w.GetGauge()
	if gauge == "" {
		gauge = "no wire of the table loses little enough"
	}
	fact(rows, name, "%s one way, %.1f A, %s, loses %.1f V (%.1f %%)", b.Units.Distance(unit.Meters(w.GetLengthM())), w.GetCurrentA(), gauge, w.GetDropV(), 100*w.GetDropShare())
}

// months sets the year as a table.
func (b *book) months(s *pb.Supply) {
	if len(s.GetMonths()) == 0 {
		return
	}
	b.head("Through the year")
	t := table{columns: []column{
		{head: "Month"}, {head: "Hours of running a day", align: draw.Right}, {head: "Turnovers a day", align: draw.Right},
		{head: "at the least", align: draw.Right}, {head: "at the most", align: draw.Right}, {head: "Counts"},
	}}
	for i, m := range s.GetMonths() {
		number := int(m.GetMonth())
		if number < 1 || number > 12 {
			number = i%12 + 1
		}
		counts := ""
		if m.GetInSeason() {
			counts = "season"
		}
		if uint32(number) == s.GetWorstMonth() {
			counts = "season; the plan is judged by it"
		}
		v := m.GetTurnoversPerDay()
		t.rows = append(t.rows, []string{
			time.Month(number).String(), fmt.Sprintf("%.1f", m.GetRunHoursPerDay()), fmt.Sprintf("%.2f", v.GetValue()), fmt.Sprintf("%.2f", v.GetLow()), fmt.Sprintf("%.2f", v.GetHigh()), counts,
		})
	}
	t.set(&b.press)
	if from := unit.Words(b.Units, s.GetLightFromTemplate(), s.GetLightFrom()); from != "" {
		b.para("Light: " + sentence(from))
	}
	if from := unit.Words(b.Units, s.GetWindFromTemplate(), s.GetWindFrom()); from != "" {
		b.para("Wind: " + sentence(from))
	}
}

// waysToMeet sets what would close the gap, if there is one.
func (b *book) waysToMeet() {
	if b.Plan.GetBindingConstraint() <= pb.Plan_NONE || len(b.Plan.GetAlternatives()) == 0 {
		return
	}
	b.head("What would meet the target")
	t := table{columns: []column{{head: "Change", wraps: true}, {head: "Turnovers a day", align: draw.Right}, {head: "Meets it"}, {head: "Price", align: draw.Right}}}
	for _, a := range b.Plan.GetAlternatives() {
		meets, price := "no", ""
		if a.GetMeetsTarget() {
			meets = "yes"
		}
		if a.Cost != nil {
			price = unit.Decimal(a.GetCost(), 0)
		}
		t.rows = append(t.rows, []string{unit.Words(b.Units, a.GetTextTemplate(), a.GetText()), fmt.Sprintf("%.2f", a.GetTurnoversPerDay().GetValue()), meets, price})
	}
	t.set(&b.press)
}

// mast sets what holds the panels up. The depth of its footing never stands without
// the wind it was made for and the judgement.
func (b *book) mast() {
	v := b.Plan.GetMastVerdict()
	if v == nil {
		return
	}
	b.open("Mast and footing", true)
	words := map[pb.MastJudgement]string{
		pb.MastJudgement_MAST_JUDGEMENT_ENOUGH:     "ENOUGH",
		pb.MastJudgement_MAST_JUDGEMENT_NOT_ENOUGH: "NOT ENOUGH",
	}[v.GetJudgement()]
	if words == "" {
		words = "UNVERIFIED"
	}
	u := b.Units
	wind := u.Both(func(u unit.System) string { return u.Wind(unit.MetersPerSecond(v.GetWindMPerS())) })
	b.strong(fmt.Sprintf("%s, for a wind of %s. %s", words, wind, sentence(unit.Words(u, v.GetTextTemplate(), v.GetText()))))
	depth := u.Both(func(u unit.System) string { return u.Length(unit.Meters(v.GetFootingDepthM())) })
	sought := ""
	if v.GetDepthSought() && v.GetJudgement() != pb.MastJudgement_MAST_JUDGEMENT_NOT_ENOUGH {
		sought = ", the least that holds"
	}
	var rows [][]string
	fact(&rows, "Footing", "%s deep%s, %s wide, for a wind of %s: %s", depth, sought, u.Both(func(u unit.System) string { return u.Length(unit.Meters(v.GetFootingWidthM())) }), wind, words)
	fact(&rows, "Concrete", "%s, about %d bags of %s", u.Both(func(u unit.System) string { return u.Fill(unit.CubicMeters(v.GetConcreteM3())) }), v.GetBags(), u.Both(func(u unit.System) string { return u.Mass(unit.Pounds(80)) }))
	fact(&rows, "Pole", "%s, %s long", v.GetPole(), u.Length(unit.Meters(v.GetPoleLengthM())))
	fact(&rows, "Panels", "%s; checked with %g × the wind load", u.Panel(unit.SquareMeters(v.GetPanelAreaM2())), v.GetWindFactor())
	facts{"Part", rows}.set(&b.press)
	checks := table{columns: []column{{head: "Check", wraps: true}, {head: "Asked", align: draw.Right}, {head: "There is", align: draw.Right}}}
	for _, c := range v.GetChecks() {
		amount := mast.Check{Unit: c.GetUnit()}.Amount
		checks.rows = append(checks.rows, []string{c.GetKind(), amount(c.GetDemand()).In(u), amount(c.GetCapacity()).In(u)})
	}
	checks.set(&b.press)
	if len(v.GetDefaults()) > 0 {
		b.para("Nobody gave: " + joined(", ", v.GetDefaults()...) + ".")
	}
	for _, c := range v.GetCautions() {
		b.point("!", c)
	}
}

// gauges sets what the gauges should read at start-up.
func (b *book) gauges() {
	c := b.Plan.GetCommissioning()
	if c == nil {
		return
	}
	b.head("What the gauges should read")
	t := table{columns: []column{{head: "Water"}, {head: "Gauge, clean diffusers", align: draw.Right}, {head: "fouled", align: draw.Right}, {head: "Amps, clean", align: draw.Right}, {head: "fouled", align: draw.Right}}}
	for _, level := range []struct {
		name  string
		reads *pb.GaugeReadings
	}{{"as on the day of the survey", c.GetSoundingDay()}, {"at its highest", c.GetHighest()}} {
		if level.reads == nil {
			continue
		}
		p, a := level.reads.GetPressurePaGauge(), level.reads.GetCurrentA()
		row := []string{level.name, b.Units.Gauge(unit.PascalsGauge(p.GetLow())), b.Units.Gauge(unit.PascalsGauge(p.GetHigh())), "–", "–"}
		if a != nil {
			row[3], row[4] = fmt.Sprintf("%.1f A", a.GetLow()), fmt.Sprintf("%.1f A", a.GetHigh())
		}
		t.rows = append(t.rows, row)
	}
	t.set(&b.press)
	if v := c.GetVoltageV(); v > 0 {
		b.para(fmt.Sprintf("Amps hold at %g V.", v))
	}
}

// refusals sets what must not be built or switched on as it stands.
func (b *book) refusals() {
	for i, r := range b.Plan.GetRefusals() {
		if i == 0 {
			b.head("Refused as it stands")
		}
		b.point("X", joined(" To mend it: ", sentence(unit.Words(b.Units, r.GetTextTemplate(), r.GetText())), sentence(r.GetRemedy())))
	}
}
