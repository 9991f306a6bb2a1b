package sheet

import (
	"cmp"
	"fmt"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/draw"
	pb "pondwright/proto/pondwright/v1"
)

// airTable sets what each diffuser gets and gives, and the order of the valves.
func (b *book) airTable() {
	diffusers := b.Plan.GetDiffusers()
	if len(diffusers) == 0 {
		return
	}
	b.open("Air and valves", true)
	b.para(fmt.Sprintf("Expected with everything running: %s of air from %s, %s on the manifold's gauge, and a boil on the water over every diffuser.",
		b.Units.Both(func(u unit.System) string {
			return u.Air(unit.StdCubicMetersPerSecond(b.Plan.GetCompressorFlowM3PerS()))
		}),
		plural(int(b.Plan.GetCompressors()), "compressor"),
		b.Units.Both(func(u unit.System) string {
			return u.Gauge(unit.PascalsGauge(b.Plan.GetManifoldPressurePaGauge()))
		})))
	t := table{columns: []column{
		{head: "Run"}, {head: "Depth", align: draw.Right}, {head: "Water above", align: draw.Right}, {head: "Air", align: draw.Right},
		{head: "At its inlet", align: draw.Right}, {head: "Valve drops", align: draw.Right}, {head: "Water lifted", align: draw.Right}, {head: "Water served", align: draw.Right},
	}}
	for i, d := range diffusers {
		t.rows = append(t.rows, []string{
			b.label(i), b.Units.Length(unit.Meters(d.GetDepthM())), b.Units.Length(unit.Meters(d.GetSubmergenceM())),
			b.Units.Air(unit.StdCubicMetersPerSecond(d.GetAirflowM3PerS())), b.Units.Gauge(unit.PascalsGauge(d.GetInletPressurePaGauge())),
			b.Units.Gauge(unit.PascalsGauge(d.GetValveDropPa())), b.Units.Water(unit.CubicMetersPerSecond(d.GetLiftM3PerS())),
			b.Units.Volume(unit.CubicMeters(d.GetServedM3())),
		})
	}
	t.set(&b.press)
	b.valves(diffusers)
}

// valves lists the runs in the order in which their valves are set: the one that
// stays open, then by how far each is closed.
func (b *book) valves(diffusers []*pb.Diffuser) {
	b.head("Setting the valves")
	for i, step := range []string{
		"Bleed the pressure off before opening any joint. Open every valve fully, then start the compressor.",
		"Leave the first run of the list below fully open: it needs all the pressure there is.",
		"Close the others down in the order of the list until every boil looks alike and the gauge reads as expected.",
		"Go through the list again: each valve moves the others. Then mark every valve's place.",
	} {
		b.point(fmt.Sprint(i+1, "."), step)
	}
	order := make([]int, len(diffusers))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, k int) int {
		return cmp.Compare(diffusers[i].GetValveDropPa(), diffusers[k].GetValveDropPa())
	})
	t := table{columns: []column{{head: "Step", align: draw.Right}, {head: "Run"}, {head: "Valve drops", align: draw.Right}, {head: "Set", tick: true}, {head: "By whom", least: 40}}}
	for step, i := range order {
		drop := b.Units.Gauge(unit.PascalsGauge(diffusers[i].GetValveDropPa()))
		if step == 0 {
			drop += ", stays open"
		}
		t.rows = append(t.rows, []string{fmt.Sprint(step + 1), b.label(i), drop, "", ""})
	}
	t.set(&b.press)
}
