package sheet

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/draw"
	pb "pondwright/proto/pondwright/v1"
)

// hoseProfiles draws the way of each hose along the bed.
func (b *book) hoseProfiles() {
	if b.Survey == nil || b.Survey.Bed == nil || b.Shore == nil {
		return
	}
	var profiles []draw.Profile
	for i, d := range b.Plan.GetDiffusers() {
		if p, ok := b.profile(i, d); ok {
			profiles = append(profiles, p)
		}
	}
	if len(profiles) == 0 {
		return
	}
	var deepest unit.Meters
	for _, p := range profiles {
		deepest = max(deepest, slices.Max(p.Depth))
	}
	b.open("Hoses along the bed", true)
	b.para("Each hose from the shore entry (left) to its diffuser (circle): distance along the bed to the right, depth down, at the level of the shoreline. Depths are stretched, all by the same scale.")
	first := len(b.pages) - 1
	w, h := (b.width()-6)/2, 41.0
	if len(profiles) <= 3 {
		w, h = b.width(), 58
	}
	perRow := int((b.width() + 6) / (w + 6))
	for i, p := range profiles {
		if i%perRow == 0 {
			b.room(h)
		}
		p.Deepest = deepest
		b.picture(p.Picture(w, h), float64(i%perRow)*(w+6))
		if i%perRow == perRow-1 {
			b.gap(h + 3)
		}
	}
	for i := first; i < len(b.pages); i++ {
		b.drawings = append(b.drawings, drawing{fmt.Sprint("hoses-", i-first+1), i})
	}
}

// profile samples the bed along a hose.
func (b *book) profile(i int, d *pb.Diffuser) (draw.Profile, bool) {
	water := b.way(b.Shore.Frame(), d)
	if len(water) < 2 {
		return draw.Profile{}, false
	}
	p := draw.Profile{
		Title: fmt.Sprintf("%s: %s in the water, to %s of depth", b.label(i),
			b.Units.Distance(unit.Meters(d.GetHose().GetWaterM())), b.Units.Length(unit.Meters(d.GetDepthM()))),
		OffBottom: unit.Meters(d.GetDepthM() - d.GetSubmergenceM()), Feet: b.Units == unit.US,
	}
	along := 0.0
	for k := 1; k < len(water); k++ {
		from, to := water[k-1], water[k]
		const stepM = 2.0
		n := max(1, int(math.Ceil(from.Distance(to)/stepM)))
		n = min(n, 500)
		for s := range n + 1 {
			if s == 0 && k > 1 {
				continue
			}
			at := from.Lerp(to, float64(s)/float64(n))
			depth := b.Survey.Bed.Depth(at)
			if len(p.Depth) > 0 {
				along += math.Hypot(from.Distance(to)/float64(n), depth-float64(p.Depth[len(p.Depth)-1]))
			}
			p.Along, p.Depth = append(p.Along, unit.Meters(along)), append(p.Depth, unit.Meters(depth))
		}
	}
	return p, along > 0
}

// runs sets what each run is made of.
func (b *book) runs() {
	if len(b.Plan.GetDiffusers()) == 0 {
		return
	}
	b.open("Hoses to cut", true)
	b.para("The length to cut is what lies in the trench and on the bed, with slack, a riser to the manifold and a spare to lift the diffuser into the boat. Label both ends before laying.")
	t := table{columns: []column{
		{head: "Run"}, {head: "Length to cut", align: draw.Right}, {head: "Trench", align: draw.Right}, {head: "Riser", align: draw.Right},
		{head: "On the bed", align: draw.Right}, {head: "Slack", align: draw.Right}, {head: "Spare", align: draw.Right},
		{head: "Inside diameter", align: draw.Right}, {head: "Cut", tick: true},
	}}
	u := b.Units
	for i, d := range b.Plan.GetDiffusers() {
		h := d.GetHose()
		t.rows = append(t.rows, []string{
			b.label(i), u.Distance(unit.Meters(h.GetLengthM())), u.Distance(unit.Meters(h.GetTrenchM())), u.Distance(unit.Meters(h.GetRiserM())),
			u.Distance(unit.Meters(h.GetWaterM())), u.Distance(unit.Meters(h.GetSlackM())), u.Distance(unit.Meters(h.GetSpareM())),
			u.Bore(unit.Meters(h.GetBoreM())), "",
		})
	}
	for k, st := range b.Plan.GetStations() {
		if trunk := st.GetTrunk(); trunk != nil {
			length := u.Distance(unit.Meters(trunk.GetLengthM()))
			t.rows = append(t.rows, []string{b.trunkName(k), length, length, "", "", "", "", u.Bore(unit.Meters(trunk.GetBoreM())), ""})
		}
	}
	t.set(&b.press)
	b.strong(fmt.Sprintf("All hose to order: %s.", u.Both(func(u unit.System) string { return u.Distance(unit.Meters(b.Plan.GetTotalHoseM())) })))
}

// trunkName is what the trunk of station k is called.
func (b *book) trunkName(k int) string {
	if len(b.Plan.GetStations()) > 1 {
		return fmt.Sprint("Trunk ", k+1)
	}
	return "Trunk"
}

// coils sets from which coil each piece is cut.
func (b *book) coils() {
	if len(b.Plan.GetCuts()) == 0 {
		return
	}
	b.head("From which coil")
	b.para("Cut in this order. A run of two pieces is joined in the boat, out past the edge of the water: no joint is buried or lies where the water comes and goes.")
	t := table{columns: []column{
		{head: "Coil", align: draw.Right}, {head: "Inside diameter", align: draw.Right}, {head: "Its length", align: draw.Right}, {head: "It is"},
		{head: "Piece for"}, {head: "Cut off", align: draw.Right}, {head: "Left on it", align: draw.Right}, {head: "Cut", tick: true},
	}}
	u := b.Units
	for _, c := range b.Plan.GetCuts() {
		run := b.trunkName(int(c.GetStation()))
		if c.Diffuser != nil {
			run = b.labelOf(c.GetDiffuser())
		}
		if c.GetPiece() > 1 {
			run += fmt.Sprintf(", piece %d", c.GetPiece())
		}
		from := "to buy"
		if c.GetOwned() {
			from = "on hand"
		}
		t.rows = append(t.rows, []string{
			fmt.Sprint(c.GetCoil()), u.Bore(unit.Meters(c.GetBoreM())), u.Distance(unit.Meters(c.GetCoilLengthM())), from,
			run, u.Distance(unit.Meters(c.GetLengthM())), u.Distance(unit.Meters(c.GetLeftM())), "",
		})
	}
	t.set(&b.press)
}

// ballast sets the weights that keep each run on the bed.
func (b *book) ballast() {
	t := table{columns: []column{
		{head: "Run"}, {head: "Weights", align: draw.Right}, {head: "Each, dry", align: draw.Right}, {head: "Together", align: draw.Right},
		{head: "Apart, from the entry on", align: draw.Right}, {head: "Ready", tick: true},
	}}
	u := b.Units
	for i, d := range b.Plan.GetDiffusers() {
		w := d.GetHose().GetBallast()
		if w.GetWeights() == 0 {
			continue
		}
		each := unit.Kilograms(w.GetConcreteKg() / float64(w.GetWeights()))
		t.rows = append(t.rows, []string{
			b.label(i), fmt.Sprint(w.GetWeights()), u.Mass(each), u.Mass(unit.Kilograms(w.GetConcreteKg())), u.Length(unit.Meters(w.GetApartM())), "",
		})
	}
	if len(t.rows) == 0 {
		return
	}
	b.head("Weights on the hoses")
	b.para("A hose full of air floats. Masses are of concrete, weighed dry.")
	t.set(&b.press)
}

// boatWork sets the work on the water in its order.
func (b *book) boatWork() {
	tasks := b.Plan.GetBoatWork()
	if len(tasks) == 0 {
		return
	}
	b.open("Work from the boat", true)
	b.para("Two people, life jackets on, calm weather, and somebody ashore who knows. In this order:")
	t := table{columns: []column{
		{head: "Step", align: draw.Right}, {head: "Run"}, {head: "Hose in the water", align: draw.Right}, {head: "What to do", wraps: true}, {head: "Done", tick: true},
	}}
	for i, task := range tasks {
		t.rows = append(t.rows, []string{
			fmt.Sprint(i + 1), b.labelOf(task.GetDiffuser()), b.Units.Distance(unit.Meters(task.GetHoseM())), unit.Words(b.Units, task.GetTextTemplate(), task.GetText()), "",
		})
	}
	t.set(&b.press)
}

// A spare for every so many pieces; ends and clamps of a run: judgement, no source.
const (
	perSpare    = 10
	endsOfRun   = 2
	clampsAnEnd = 2
)

// truck counts what goes on it.
func (b *book) truck() {
	n := len(b.Plan.GetDiffusers())
	if n == 0 {
		return
	}
	b.open("On the truck", true)
	b.para("Counts of fittings, clamps, gauges and spares (one in ten, at least one) are judgement; the makers' own instructions come first.")
	t := table{columns: []column{
		{head: "Item", wraps: true}, {head: "Needed", align: draw.Right}, {head: "Spare", align: draw.Right}, {head: "Loaded", tick: true},
	}}
	add := func(item string, count int, spare bool) {
		if count <= 0 {
			return
		}
		row := []string{item, unit.Decimal(float64(count), 0), "", ""}
		if spare {
			row[2] = fmt.Sprint((count + perSpare - 1) / perSpare)
		}
		t.rows = append(t.rows, row)
	}
	for _, bore := range b.bores() {
		t.rows = append(t.rows, []string{"Hose, inside diameter " + b.Units.Bore(bore.bore), b.Units.Distance(bore.length), "", ""})
	}
	for _, c := range b.Plan.GetCoilsToBuy() {
		item := fmt.Sprintf("To buy of it: coil of %s, inside diameter %s", b.Units.Distance(unit.Meters(c.GetLengthM())), b.Units.Bore(unit.Meters(c.GetBoreM())))
		add(item, max(1, int(c.GetCount())), false)
	}
	add("Diffuser, with what holds it upright on the bed", n, true)
	add("Valve on the manifold, one to a run", n, true)
	add("Hose end fitting, two to a run", endsOfRun*n, true)
	add("Clamp, two to an end", clampsAnEnd*endsOfRun*n, true)
	add("Joint in a run", b.joints(), true)
	weights, mass := b.weights()
	add(fmt.Sprintf("Weight for the hoses, %s in all", b.Units.Mass(mass)), weights, false)
	machines := int(b.Plan.GetCompressors())
	add("Compressor", machines, false)
	add("Relief valve, set below the weakest rating, one to a compressor", machines, false)
	add("Pressure gauge, one to a manifold", max(1, len(b.Plan.GetStations())), true)
	t.set(&b.press)
}

// joints counts the pieces beyond the first of each run.
func (b *book) joints() int {
	n := 0
	for _, c := range b.Plan.GetCuts() {
		if c.GetPiece() > 1 {
			n++
		}
	}
	return n
}

func (b *book) weights() (count int, mass unit.Kilograms) {
	for _, d := range b.Plan.GetDiffusers() {
		w := d.GetHose().GetBallast()
		count, mass = count+int(w.GetWeights()), mass+unit.Kilograms(w.GetConcreteKg())
	}
	return count, mass
}

type boreLength struct{ bore, length unit.Meters }

// bores adds runs and trunks up by inside diameter, narrow first.
func (b *book) bores() []boreLength {
	var out []boreLength
	add := func(boreM, lengthM float64) {
		i := slices.IndexFunc(out, func(o boreLength) bool { return o.bore == unit.Meters(boreM) })
		if i < 0 {
			out, i = append(out, boreLength{bore: unit.Meters(boreM)}), len(out)
		}
		out[i].length += unit.Meters(lengthM)
	}
	for _, d := range b.Plan.GetDiffusers() {
		add(d.GetHose().GetBoreM(), d.GetHose().GetLengthM())
	}
	for _, st := range b.Plan.GetStations() {
		if t := st.GetTrunk(); t != nil {
			add(t.GetBoreM(), t.GetLengthM())
		}
	}
	slices.SortFunc(out, func(a, b boreLength) int { return cmp.Compare(a.bore, b.bore) })
	return out
}
