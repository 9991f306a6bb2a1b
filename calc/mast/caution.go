package mast

// always holds the cautions of every report.
var always = []string{
	"Sizing aid only. Have mast, footing and wind load confirmed by a licensed engineer and the local building authority where they ask for it.",
	"Before digging have buried lines marked by the utility-locate service; keep pole and crane clear of overhead lines.",
	"No footing on a dam, at its toe or in its spillway.",
	"Wiring, over-current protection, grounding, disconnects and battery enclosure are the work of a licensed electrician under the adopted code. No energized cord or inverter at the water.",
	"Crews working from boats wear life jackets.",
	"The pressure coefficients are those of a low open roof; a plate on a pole is outside the figure's proportions. Check twisting of off-center panels and fatigue at welds apart.",
	"The mast is taken as fixed a little below grade; soft soil makes it sway more slowly than the frequency shown.",
}

// cautions lists what a reader of the report must know, the general first.
func cautions(given Design, r Report) []string {
	out := append([]string(nil), always...)
	g := given.Ground
	if r.Net.Beyond {
		out = append(out, "The tilt is steeper than 45°, where the figure of pressure coefficients ends: its last values are used.")
	}
	if g.Isolated {
		out = append(out, "Soil bearing is doubled, as for poles that half an inch of movement at grade does not harm: the building authority has to agree.")
	}
	if g.Slab {
		out = append(out, "The depth holds only with a rigid concrete slab around the pole at grade, drawn and built.")
	}
	if !g.Dry && !g.Tested && !g.measured() {
		out = append(out, "Shore soil may be soaked: its bearing is cut for want of a test. Dig a test pit and watch the water in it.")
	}
	if !g.Dry && r.Design.Ground.Soil == Clay && g.Uncount == 0 {
		out = append(out, "In wet clay the top foot of soil is commonly not counted for support: here it is.")
	}
	if given.Footing.Bare {
		out = append(out, "A bare pole in soil rusts at grade and has little weight against uplift.")
	}
	return out
}
