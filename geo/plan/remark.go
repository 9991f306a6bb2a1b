package plan

import (
	"strings"

	"pondwright/calc/unit"
)

// CodeDefaults is the code of the caution that lists what nobody gave.
const CodeDefaults = "DEFAULTS_USED"

// remark adds what the plan rests on and what can hurt. Best is nil for a plan
// without diffusers.
func (p *Prepared) remark(out *Plan, best *fed) {
	in := p.in
	in.assume(out)
	add := func(code, format string, args ...any) {
		out.Cautions = append(out.Cautions, Caution{Code: code, Text: unit.Say(format, args...)})
	}
	var defaults []string
	for _, a := range out.Assumptions {
		if a.Default {
			defaults = append(defaults, a.Name)
		}
	}
	if len(defaults) > 0 {
		add(CodeDefaults, "Not for construction: defaults were used for %s.", strings.Join(defaults, ", "))
	}
	if !out.RunHoursVerified {
		add("RUN_HOURS_UNVERIFIED", "Run time is taken as 24 hours a day and is unverified: sun, battery and machine decide it.")
	}
	in.remarkSupply(out, add)
	if out.Constraint == AirSupply {
		add("AIR_SUPPLY_SHORT", "The air falls short of the target by a factor of %.2f; the layout shown is the best that it can feed.", out.Factor)
	}
	if best != nil {
		in.remarkLayout(best, add)
	}
	p.ground.remark(out, in.NoDam, add)
	for i, d := range out.Diffusers {
		if m := in.muckAt(d.At); m > deepMuck {
			add("DEEP_MUCK", "Diffuser %d stands over %s of soft muck: it sinks in and stirs it up. Raise it on a stand or move it.", i+1, m.Text())
		}
	}
	remarkStations(out, add)
	if runs := out.buried(); len(runs) > 0 {
		add("JOINT_ASHORE", "No coil reaches from the manifold to under water for %s: put each joint on the way into a box that can be opened, never into the ground or at the water's edge.", strings.Join(runs, ", "))
	}
	for _, c := range standing {
		if c.Code == "ZONES_UNKNOWN" && len(in.Zones) > 0 {
			continue
		}
		add(c.Code, "%s", c.Text)
	}
}

// remarkLayout adds what follows from this layout.
func (in Input) remarkLayout(best *fed, add func(code, format string, args ...any)) {
	for _, c := range best.layout.Cautions {
		add(c.Code, "%s", sentence(c.Text))
	}
	if u := best.layout.Unserved; u > 0.005 {
		add("BEYOND_REACH", "%.0f %% of the water lies below the diffusers or farther from them than their own circulation reaches: it relies on the spreading of the mixed layer and on wind.", 100*u)
	}
	if starved := best.starved(); len(starved) > 0 {
		add("RUNS_STARVE", "With every valve wide open run %s gets no air: open the deepest run fully and throttle the others as the valve table says.", strings.Join(starved, ", "))
	}
	if best.relief {
		add("RELIEF_LIFTS", "The machines give more air than the hoses take at their rated pressure: the relief valve will lift. Use fewer machines or larger hose.")
	}
	if !best.within() {
		add("AIR_PER_DIFFUSER", "Each diffuser gets %s, outside the %s to %s that lift well.", spanOf(best.each(), best.greatest()), unit.SCFM(leastAir).Text(), unit.SCFM(mostAir).Text())
	}
	seen := make(map[unit.Text]bool)
	for _, n := range best.notes {
		if text := n.Text(); !seen[text] {
			seen[text] = true
			add("LIFT_EXTRAPOLATED", "%s", sentence(text))
		}
	}
}

// spanOf tells a range of figures, or the one that they all are.
func spanOf(loSCFM, hiSCFM float64) unit.Text {
	lo := unit.SCFM(loSCFM).Text()
	if hiSCFM-loSCFM < 0.005 {
		return lo
	}
	return unit.Say("%s to %s", lo, unit.SCFM(hiSCFM).Text())
}

func sentence(t unit.Text) unit.Text {
	if t == "" {
		return t
	}
	return unit.Text(strings.ToUpper(string(t[:1])) + strings.TrimSuffix(string(t[1:]), ".") + ".")
}

// standing are the cautions of every plan.
var standing = []Caution{
	{"START_UP", "Do not switch a new system on before temperature and oxygen have been measured from top to bottom at the deepest place: mixing dead bottom water into the pond can kill all fish in one night. A smell of rotten eggs means no start."},
	{"ZONES_UNKNOWN", "Dam, spillway, intakes, property lines and buried lines were not drawn: put no trench, footing or sleeve on a dam or its spillway, and have buried lines located before digging."},
	{"PRESSURE", "Hose and fittings hold compressed air and the first length from the compressor is hot: metal before plastic, a relief valve below the weakest rating with no valve before it, and bleed before opening."},
	{"ELECTRIC", "Wiring belongs to a licensed electrician under the local code. No cord or inverter at the water; nobody in the water while wiring."},
	{"BOAT", "Setting diffusers is work for two from a boat, in life jackets, in calm weather."},
	{"ICE", "Air keeps ice thin and open in places that move: in winter the system is off and drained unless permit, signs and inspection are settled."},
	{"AUTHORITY", "Local codes, permits and product labels come before this plan."},
}

// assume lists the figures the plan rests on.
func (in Input) assume(p *Plan) {
	add := func(name string, isDefault bool, source, format string, args ...any) {
		p.Assumptions = append(p.Assumptions, Assumption{Name: name, Value: unit.Say(format, args...), Default: isDefault, Source: source})
	}
	e := in.Equipment
	const generic, given = "generic figure", "as given"
	source := func(isDefault bool) string {
		if isDefault {
			return generic
		}
		return given
	}
	in.assumeGround(add)
	add("water volume", false, "high end of the survey's 95 % interval", "%s", p.VolumeUsed.Text())
	add("altitude", !in.AltitudeKnown, source(!in.AltitudeKnown), "%s, air at %s absolute", in.Altitude.Distance(), unit.PascalsGauge(p.SitePressure).Text())
	in.Levels.assume(add)
	add("water temperature", true, "unstratified", "%s", in.WaterTemperature.Text())
	if p.Supply == nil {
		add("run time", true, "unverified", "%g h a day", p.RunHours)
	} else {
		in.assumeSupply(p, add)
	}
	add("compressor", e.CompressorDefault, source(e.CompressorDefault), "%d × a machine of %s at no pressure", e.Machines, e.freeAir().Text())
	add("diffuser", e.DiffuserDefault, source(e.DiffuserDefault), "disc of %s, opens at %s, %s at %s, both × %g for fouling, %s off the bottom",
		(2 * e.DiscRadius).Bore(), e.Diffuser.Loss(0).Text(), e.Diffuser.Loss(unit.SCFM(1)).Text(), unit.SCFM(1).Text(), e.Fouling, e.OffBottom.Text())
	var bores []string
	for _, k := range e.kinds() {
		bores = append(bores, string(k.Bore.Bore()))
	}
	add("hose", e.HoseDefault, source(e.HoseDefault), "bore %s, smooth, no fittings", strings.Join(bores, ", "))
	add("hose allowances", true, "judgement, no source", "%.0f %% slack on the bed, %s riser, depth + %s spare to lift", 100*slack, unit.Meters(riser).Text(), unit.Meters(spare).Text())
}
