package sheet

import (
	"fmt"

	"pondwright/calc/unit"
)

// logs sets the pages to fill in by hand after the system runs.
func (b *book) logs() {
	if len(b.Plan.GetDiffusers()) == 0 {
		return
	}
	b.open("Readings", true)
	p := b.Plan.GetCommissioning().GetSoundingDay().GetPressurePaGauge()
	b.para(fmt.Sprintf("Expected on the gauge, at the water level of the survey: %s with clean diffusers, %s with fouled ones. A gauge that rises over weeks means fouled diffusers or a pinched hose; one that falls means a leak. After a stop of more than five days in the warm season treat it as a new start: measure temperature and oxygen first.",
		b.Units.Gauge(unit.PascalsGauge(p.GetLow())), b.Units.Gauge(unit.PascalsGauge(p.GetHigh()))))
	blank := func(rows, columns int) [][]string {
		out := make([][]string, rows)
		for i := range out {
			out[i] = make([]string, columns)
		}
		return out
	}
	table{
		columns: []column{
			{head: "Date", least: 24}, {head: "Time", least: 16}, {head: "Gauge", least: 18}, {head: "Amps", least: 16}, {head: "Volts", least: 16},
			{head: "Water level", least: 20}, {head: "Boils seen", least: 18}, {head: "Remarks, by whom", least: 45},
		},
		rows: blank(20, 8), ruled: 9,
	}.set(&b.press)
	b.open("Boils", true)
	b.para("Write the date at the head of a column and tick each boil that is seen, or write weak.")
	columns := []column{{head: "Run", least: 16}, {head: "Depth", least: 18}}
	for range 7 {
		columns = append(columns, column{head: "Date", least: 20})
	}
	t := table{columns: columns, rows: [][]string{make([]string, len(columns))}, ruled: 8}
	for i, d := range b.Plan.GetDiffusers() {
		row := make([]string, len(columns))
		row[0], row[1] = b.label(i), b.Units.Length(unit.Meters(d.GetDepthM()))
		t.rows = append(t.rows, row)
	}
	t.set(&b.press)
}
