package sheet

import (
	"fmt"

	"pondwright/calc/unit"
	"pondwright/geo/plan"
)

// cover says what the plan is, what it rests on and what can hurt.
func (b *book) cover() { b.onOnePage(bodySize, b.coverPages) }

// onOnePage sets the first pages in the largest type, from so large down to what can
// be read, in which they are one page. If none is, they are set in usual type.
func (b *book) onOnePage(largest float64, set func()) {
	for b.body = largest; b.body > leastBody; b.body *= 0.97 {
		b.pages, b.titles = nil, nil
		if set(); len(b.pages) == 1 {
			b.body = bodySize
			return
		}
	}
	b.pages, b.titles, b.body = nil, nil, bodySize
	set()
}

func (b *book) coverPages() {
	b.open("Aeration plan", true)
	n := len(b.Plan.GetDiffusers())
	if n > 0 {
		b.para(fmt.Sprintf("These sheets say how to build aeration for %s: %s on the bed, fed by %s ashore. They hold the map, the hoses and how to cut them, the valves, the places and a log to fill in.",
			b.name, plural(n, "diffuser"), plural(int(b.Plan.GetCompressors()), "compressor")))
	}
	if r := b.Survey; r != nil {
		b.para(fmt.Sprintf("Water %s. Volume %s, 95 %% sure to lie between %s and %s. Deepest %s. From %s soundings.",
			b.Units.Area(r.Area.Value), b.Units.Volume(r.Volume.Value), b.Units.Volume(r.Volume.Low), b.Units.Volume(r.Volume.High),
			b.Units.Length(r.MaxDepth.Value), unit.Decimal(float64(r.Used), 0)))
	}
	if a := b.Version.GetApproval(); a.GetReason() != "" {
		b.strong("Approved with lines that nobody verified, because: " + a.GetReason())
	}
	if changed := b.Version.GetChangedSince(); len(changed) > 0 {
		b.strong("Changed on record since this plan was made: " + joined(", ", changed...) + ". Plan again before building.")
	}
	for _, line := range Findings(b.Plan, b.Units) {
		b.para(line)
	}
	b.refusals()
	columns := []column{{head: "Input"}, {head: "Taken as", wraps: true}, {head: "How sure", wraps: true}}
	if rows := b.assumptions(true); len(rows) > 0 {
		b.head("Still default: nobody gave these")
		b.para("Nothing is for construction until each of these is measured or answered.")
		table{columns: columns, rows: rows}.set(&b.press)
	}
	b.cautions()
	if rows := b.assumptions(false); len(rows) > 0 {
		b.head("Given or measured")
		table{columns: columns, rows: rows}.set(&b.press)
	}
}

// assumptions are the figures the plan rests on: the defaults, or the others.
func (b *book) assumptions(isDefault bool) [][]string {
	var rows [][]string
	for _, a := range b.Plan.GetAssumptions() {
		if a.GetIsDefault() == isDefault {
			rows = append(rows, []string{a.GetName(), unit.Words(b.Units, a.GetValueTemplate(), a.GetValue()), a.GetSource()})
		}
	}
	return rows
}

func (b *book) cautions() {
	first := true
	for _, c := range b.Plan.GetCautions() {
		if c.GetCode() == plan.CodeDefaults { // stamp and table say it
			continue
		}
		if first {
			b.head("Cautions")
			first = false
		}
		b.point("!", unit.Words(b.Units, c.GetTextTemplate(), c.GetText()))
	}
}
