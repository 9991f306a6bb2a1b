package sheet

import (
	"cmp"
	"fmt"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/draw"
	pb "pondwright/proto/pondwright/v1"
)

// air sets what each diffuser gets and gives, and the order of the valves, station
// by station.
func (b *book) air() {
	diffusers := b.Plan.GetDiffusers()
	if len(diffusers) == 0 {
		return
	}
	b.open("Air and valves", true)
	stations := b.Plan.GetStations()
	if len(stations) == 0 { // a plan of old: all from one mast
		b.station("", b.Plan.GetCompressors(), b.Plan.GetCompressorFlowM3PerS(), b.Plan.GetManifoldPressurePaGauge(), indices(len(diffusers)))
	}
	for k, st := range stations {
		name := ""
		if len(stations) > 1 {
			name = fmt.Sprint("Station ", k+1)
		}
		var runs []int
		for _, i := range st.GetDiffusers() {
			if int64(i) < int64(len(diffusers)) {
				runs = append(runs, int(i))
			}
		}
		b.station(name, st.GetCompressors(), st.GetAirM3PerS(), st.GetManifoldPressurePaGauge(), runs)
	}
	b.gauges()
}

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// station sets the air of one manifold.
func (b *book) station(name string, machines uint32, airM3S, manifoldPa float64, runs []int) {
	if len(runs) == 0 {
		return
	}
	if name != "" {
		b.head(name)
	}
	b.para(fmt.Sprintf("Planned with everything running: %s of air from %s, %s in the manifold with fouling allowed for, and a boil over every diffuser. The table gives the width of the rising water by the model; it spreads wider as it reaches the top. A boil clearly weaker than the others, or none, means that its run is short of air.",
		b.Units.Both(func(u unit.System) string { return u.Air(unit.StdCubicMetersPerSecond(airM3S)) }), plural(int(machines), "compressor"),
		b.Units.Both(func(u unit.System) string { return u.Gauge(unit.PascalsGauge(manifoldPa)) })))
	t := table{columns: []column{
		{head: "Run"}, {head: "Depth", align: draw.Right}, {head: "Water above", align: draw.Right}, {head: "Air", align: draw.Right},
		{head: "At its inlet", align: draw.Right}, {head: "Valve drops", align: draw.Right}, {head: "Water lifted", align: draw.Right}, {head: "Water served", align: draw.Right},
		{head: "Rises over", align: draw.Right},
	}}
	for _, i := range runs {
		d := b.Plan.GetDiffusers()[i]
		t.rows = append(t.rows, []string{
			b.label(i), b.Units.Length(unit.Meters(d.GetDepthM())), b.Units.Length(unit.Meters(d.GetSubmergenceM())),
			b.Units.Air(unit.StdCubicMetersPerSecond(d.GetAirflowM3PerS())), b.Units.Gauge(unit.PascalsGauge(d.GetInletPressurePaGauge())),
			b.Units.Gauge(unit.PascalsGauge(d.GetValveDropPa())), b.Units.Water(unit.CubicMetersPerSecond(d.GetLiftM3PerS())),
			b.Units.Volume(unit.CubicMeters(d.GetServedM3())), b.boil(d),
		})
	}
	t.set(&b.press)
	b.valves(runs)
}

// boil is how wide a boil to look for; a dash where none is to be seen.
func (b *book) boil(d *pb.Diffuser) string {
	if d.GetBoilM() == 0 {
		return "–"
	}
	return b.Units.Length(unit.Meters(d.GetBoilM()))
}

// valves lists the runs in the order in which their valves are set: the one that
// stays open, then by how far each is closed.
func (b *book) valves(runs []int) {
	b.head("Setting the valves")
	for i, step := range []string{
		"Bleed the pressure off before opening any joint. Open every valve fully, then start the compressor.",
		"Leave the first run of the list below fully open: it needs all the pressure there is.",
		"Close the others down in the order of the list until every boil looks alike and the gauge reads as expected.",
		"Go through the list again: each valve moves the others. Then mark every valve's place.",
	} {
		b.point(fmt.Sprint(i+1, "."), step)
	}
	drop := func(i int) float64 { return b.Plan.GetDiffusers()[i].GetValveDropPa() }
	order := slices.Clone(runs)
	slices.SortStableFunc(order, func(i, k int) int { return cmp.Compare(drop(i), drop(k)) })
	t := table{columns: []column{{head: "Step", align: draw.Right}, {head: "Run"}, {head: "Valve drops", align: draw.Right}, {head: "Set", tick: true}, {head: "By whom", least: 40}}}
	for step, i := range order {
		words := b.Units.Gauge(unit.PascalsGauge(drop(i)))
		if step == 0 {
			words += ", stays open"
		}
		t.rows = append(t.rows, []string{fmt.Sprint(step + 1), b.label(i), words, "", ""})
	}
	t.set(&b.press)
}
