package sheet

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"pondwright/calc/unit"
	"pondwright/geo/draw"
	"pondwright/geo/plan"
	pb "pondwright/proto/pondwright/v1"
)

// ownerPages sets the owner's page: what the work does and does not do, in plain
// words.
func (b *book) ownerPages() []*draw.Picture {
	b.onOnePage(draw.Points(12), b.owner)
	f := b.frame()
	f.footer = strings.TrimSuffix(f.footer, " See page 1.")
	return b.finish(f)
}

func (b *book) owner() {
	b.open("For the owner", true)
	p := b.Plan
	n := len(p.GetDiffusers())
	if n == 0 {
		b.para("No diffusers are proposed for this pond yet. " + unit.Words(b.Units, p.GetShortfallTemplate(), p.GetShortfall()))
		return
	}
	b.head("What it does")
	b.para(fmt.Sprintf("%s on the bottom of the pond let small bubbles rise from air pumped ashore. The bubbles carry deep water up to the surface, where it takes up oxygen and gives off gas, and the pond's water goes round. %s",
		plural(n, "diffuser"), b.promise()))
	b.head("What it does not do")
	for _, line := range []string{
		"It does not take weeds, algae or muck away, and works on them slowly if at all.",
		"It does not promise that no fish will die: a week of heat and cloud, a bloom that collapses or a failed compressor can still kill fish.",
		"It does not mix the water below the diffusers or far up side arms as well as the open water.",
	} {
		b.point("–", line)
	}
	gauge := p.GetCommissioning().GetSoundingDay().GetPressurePaGauge()
	b.head("What it needs each month")
	for _, line := range []string{
		fmt.Sprintf("Look at the gauge: %s with clean diffusers, %s when it is time to clean them. Look for a boil over %s. Write both in the log.",
			b.Units.Gauge(unit.PascalsGauge(gauge.GetLow())), b.Units.Gauge(unit.PascalsGauge(gauge.GetHigh())), each(n)),
		"Listen to the compressor, clean or change its air filter as its maker says, and keep leaves and mowers off it.",
		"Keep anchors, nets and hooks off the hoses.",
		"If it stood still for more than five days in the warm season, leave it off and call: switching on again can be dangerous for the fish.",
	} {
		b.point("–", line)
	}
	b.head("Risks, in plain words")
	for _, line := range []string{
		"The first days are the most dangerous for fish. Water near the bottom can be without oxygen; mixed up all at once it can kill every fish in a night. So it is started in steps, after measuring, and never when the bottom water smells of rotten eggs.",
		"In winter moving water keeps ice thin or open. People and animals can fall through. It is switched off and drained before ice unless permit, signs and inspection are settled.",
		"The hose at the compressor gets hot and holds pressure. The electrics are for a licensed electrician. Nobody swims while anyone works on them.",
	} {
		b.point("!", line)
	}
	b.prices()
	b.notYet()
}

// promise says how often the water goes round, and whether that is what was asked.
func (b *book) promise() string {
	t := b.Plan.GetTurnoversPerDay().GetValue()
	if !(t > 0) || math.IsInf(t, 0) {
		return ""
	}
	goes, provided := "goes", ""
	if len(Defaults(b.Plan)) > 0 {
		goes, provided = "would go", ", if the figures not settled yet turn out as taken"
	}
	out := fmt.Sprintf("Running %g hours a day, all of the water %s round about once in %s%s.", math.Round(10*b.Plan.GetRunHoursPerDay())/10, goes, days(1/t), provided)
	if worst := b.Plan.GetSupply().GetWorstMonth(); worst >= 1 && worst <= 12 {
		out += fmt.Sprintf(" Those are the hours of %s, the weakest month that counts; in the others it runs longer.", time.Month(worst))
	}
	if b.Plan.GetBindingConstraint() > pb.Plan_NONE {
		out += fmt.Sprintf(" That is less often than the aim of %s.", everySoOften(b.Plan.GetTargetTurnoversPerDay()))
	}
	return out
}

func everySoOften(perDay float64) string {
	if !(perDay > 0) {
		return "none"
	}
	return "once in " + days(1/perDay)
}

func days(d float64) string {
	if d < 1.95 {
		return unit.Decimal(24*d, 0) + " hours"
	}
	return unit.Decimal(d, 1) + " days"
}

func each(diffusers int) string {
	if diffusers == 1 {
		return "the diffuser"
	}
	return fmt.Sprintf("every one of the %d diffusers", diffusers)
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprint(n, " ", what, "s")
}

// prices multiplies the contractor's own list by what the plan counts.
func (b *book) prices() {
	if len(b.Prices.List) == 0 {
		return
	}
	t := table{columns: []column{{head: "Item"}, {head: "Number", align: draw.Right}, {head: "Each", align: draw.Right}, {head: "Price", align: draw.Right}}}
	total := 0.0
	var missing []string
	for _, need := range b.needs() {
		i := slices.IndexFunc(b.Prices.List, func(q plan.Price) bool { return q.Item == need.Name })
		if i < 0 {
			missing = append(missing, need.Name)
			continue
		}
		each := b.Prices.List[i]
		sum := each.Each * need.Quantity
		total += sum
		quantity, per, unitName := need.Quantity, each.Each, each.Unit
		if unitName == "m" && b.Units == unit.US {
			foot := float64(unit.Feet(1))
			quantity, per, unitName = quantity/foot, per*foot, "ft"
		}
		t.rows = append(t.rows, []string{need.Name, unit.Decimal(quantity, 0) + " " + unitName, unit.Decimal(per, 2), unit.Decimal(sum, 2)})
	}
	if len(t.rows) == 0 {
		return
	}
	b.head("What it costs")
	t.rows = append(t.rows, []string{"Sum of the above", "", "", unit.Decimal(total, 2)})
	t.set(&b.press)
	words := "By the contractor's own list"
	if b.Prices.Dated != "" {
		words += " of " + b.Prices.Dated
	}
	words += ". Work, taxes and delivery are not in it unless the list says so."
	if len(missing) > 0 {
		words += " Not on the list, and not in the sum: " + joined(", ", missing...) + "."
	}
	b.para(words)
}

// needs counts what a price list may name.
func (b *book) needs() []plan.Item {
	trenches := make(map[uint32]float64) // by station; all hoses of one share it
	for _, d := range b.Plan.GetDiffusers() {
		trenches[d.GetStation()] = max(trenches[d.GetStation()], d.GetHose().GetTrenchM())
	}
	trench := 0.0
	for _, k := range slices.Sorted(maps.Keys(trenches)) {
		trench += trenches[k]
	}
	s := b.Plan.GetSupply()
	machine := plan.ItemCompressor
	if s.GetSource() == pb.PowerSource_POWER_SOURCE_WIND {
		machine = plan.ItemMill
	}
	return slices.DeleteFunc([]plan.Item{
		{Name: plan.ItemDiffuser, Quantity: float64(len(b.Plan.GetDiffusers()))},
		{Name: plan.ItemHose, Quantity: b.Plan.GetTotalHoseM()},
		{Name: machine, Quantity: float64(b.Plan.GetCompressors())},
		{Name: plan.ItemPanel, Quantity: s.GetArrayW()},
		{Name: plan.ItemBattery, Quantity: s.GetBatteryWh()},
		{Name: plan.ItemCable, Quantity: s.GetCable().GetLengthM()},
		{Name: plan.ItemTrench, Quantity: trench + s.GetCable().GetTrenchM()},
	}, func(i plan.Item) bool { return !(i.Quantity > 0) })
}

// notYet says what must be settled before anybody builds.
func (b *book) notYet() {
	defaults := Defaults(b.Plan)
	if len(defaults) == 0 {
		return
	}
	names := make([]string, len(defaults))
	for i, a := range defaults {
		names[i] = a.GetName()
	}
	b.head("Not settled yet")
	b.para("These were not measured or answered, and usual figures stand in for them: " + joined(", ", names...) + ". Nothing should be built or bought until they are.")
}
