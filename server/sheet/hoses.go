package sheet

import (
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
	_, water := b.way(b.Shore.Frame(), d)
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

// cutList sets the hoses run by run.
func (b *book) cutList() {
	if len(b.Plan.GetDiffusers()) == 0 {
		return
	}
	b.open("Hoses to cut", true)
	b.para("Cut each run in one piece where a coil allows. Length to cut is what lies on the bed and in the trench, with slack, a riser and a spare to lift the diffuser into the boat. Label both ends before laying.")
	t := table{columns: []column{
		{head: "Run"}, {head: "Length to cut", align: draw.Right}, {head: "of it in the water", align: draw.Right},
		{head: "of it in the trench", align: draw.Right}, {head: "Inside diameter", align: draw.Right}, {head: "Cut", tick: true},
	}}
	for i, d := range b.Plan.GetDiffusers() {
		h := d.GetHose()
		t.rows = append(t.rows, []string{
			b.label(i), b.Units.Distance(unit.Meters(h.GetLengthM())), b.Units.Distance(unit.Meters(h.GetWaterM())),
			b.Units.Distance(unit.Meters(h.GetTrenchM())), b.Units.Bore(unit.Meters(h.GetBoreM())), "",
		})
	}
	t.set(&b.press)
	b.strong(fmt.Sprintf("All runs: %s.", b.Units.Both(func(u unit.System) string { return u.Distance(unit.Meters(b.Plan.GetTotalHoseM())) })))
}

// A spare for every so many pieces; ends and clamps of a run: judgement, no source.
const (
	perSpare     = 10
	endsOfRun    = 2
	clampsAnEnd  = 2
	spareMarking = "one in ten, at least one"
)

// materials counts what goes on the truck.
func (b *book) materials() {
	n := len(b.Plan.GetDiffusers())
	if n == 0 {
		return
	}
	spare := func(n int) int { return (n + perSpare - 1) / perSpare }
	b.head("On the truck")
	t := table{columns: []column{
		{head: "Item", wraps: true}, {head: "Needed", align: draw.Right}, {head: "Spare", align: draw.Right}, {head: "Loaded", tick: true},
	}}
	add := func(item string, count int) {
		t.rows = append(t.rows, []string{item, fmt.Sprint(count), fmt.Sprint(spare(count)), ""})
	}
	for _, bore := range b.bores() {
		t.rows = append(t.rows, []string{"Hose, inside diameter " + b.Units.Bore(bore.bore), b.Units.Distance(bore.length), "", ""})
	}
	add("Diffuser, with what holds it upright on the bed", n)
	add("Valve on the manifold, one to a run", n)
	add("Hose end fitting, two to a run", endsOfRun*n)
	add("Clamp, two to an end", clampsAnEnd*endsOfRun*n)
	if c := int(b.Plan.GetCompressors()); c > 0 {
		t.rows = append(t.rows, []string{"Compressor", fmt.Sprint(c), "", ""})
		t.rows = append(t.rows, []string{"Relief valve, below the weakest rating, one to a compressor", fmt.Sprint(c), "", ""})
	}
	t.rows = append(t.rows, []string{"Pressure gauge on the manifold", "1", "1", ""})
	b.para("Counts of fittings, clamps, gauges and spares (" + spareMarking + ") are judgement; the makers' own instructions come first.")
	t.set(&b.press)
}

type boreLength struct{ bore, length unit.Meters }

// bores adds the runs up by inside diameter, narrow first.
func (b *book) bores() []boreLength {
	var out []boreLength
	for _, d := range b.Plan.GetDiffusers() {
		bore, length := unit.Meters(d.GetHose().GetBoreM()), unit.Meters(d.GetHose().GetLengthM())
		i := slices.IndexFunc(out, func(o boreLength) bool { return o.bore == bore })
		if i < 0 {
			out, i = append(out, boreLength{bore: bore}), len(out)
		}
		out[i].length += length
	}
	slices.SortFunc(out, func(a, b boreLength) int { return int(math.Copysign(1, float64(a.bore-b.bore))) })
	return out
}
