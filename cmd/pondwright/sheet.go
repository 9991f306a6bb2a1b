package main

import (
	"fmt"
	"math"

	"pondwright/calc/unit"
	"pondwright/geo/contour"
	"pondwright/geo/draw"
	"pondwright/geo/plan"
)

// sheetTitle is what a drawing says of the pond.
type sheetTitle struct {
	Pond    string
	Details []string
}

// sheet is the plan's drawing.
func (m *Main) sheet(p *plan.Plan, in plan.Input, title sheetTitle) draw.Layout {
	u := m.units
	b := in.Survey.Bed
	l := draw.Layout{
		Title:    title.Pond,
		Details:  append(title.Details, "DRAFT, not approved"),
		Stamp:    stamp(p),
		Rings:    in.Shore.Rings(),
		MaxDepth: in.Survey.MaxDepth.Value,
		Mast:     &p.Mast,
		Feet:     u == usUnits,
	}
	scale := 1.0
	if l.Feet {
		scale = float64(unit.Feet(1))
	}
	for _, levelM := range contour.Levels(float64(l.MaxDepth), scale, 12) {
		l.Contours = append(l.Contours, draw.Contour{
			Depth: unit.Meters(levelM), Rings: contour.Rings(b.Mesh(), b.DepthsM(), levelM),
		})
	}
	l.Columns = []string{"", "depth", "air", "lift", "hose", "serves"}
	for i, d := range p.Diffusers {
		l.Diffusers = append(l.Diffusers, draw.Diffuser{
			Number: i + 1, At: d.At, Route: d.Hose.Route,
			Row: []string{u.length(d.Depth), u.air(d.Air), u.water(d.Lift.Value), u.distance(d.Hose.Order), u.volume(d.Serves)},
		})
	}
	l.Facts = m.sheetFacts(p, in)
	return l
}

// stamp is printed across a drawing that must not be built from.
func stamp(p *plan.Plan) string {
	for _, a := range p.Assumptions {
		if a.Default {
			return "NOT FOR CONSTRUCTION: DEFAULTS USED"
		}
	}
	return ""
}

// sheetFacts are the lines beside the map: what was found, what binds, what was
// assumed and what can hurt.
func (m *Main) sheetFacts(p *plan.Plan, in plan.Input) []string {
	u := m.units
	v := in.Survey.Volume
	facts := []string{
		fmt.Sprintf("Water %s, volume %s (95 %% between %s and %s).", u.area(in.Survey.Area.Value), u.volume(v.Value), u.volume(v.Low), u.volume(v.High)),
	}
	if len(p.Diffusers) > 0 {
		facts = append(facts,
			fmt.Sprintf("Turnovers a day %.2f (%.2f to %.2f) in %g h of running, unverified. Target %g, met on the high end of the volume.", p.Turnovers.Value, p.Turnovers.Low, p.Turnovers.High, p.RunHours, p.Target),
			fmt.Sprintf("%d compressor(s): %s at %s in the manifold.", p.Machines, u.air(p.Air), u.gauge(p.Manifold)),
			fmt.Sprintf("Water served %.0f %%. No better layout found; at most %.1f %% better is possible.", 100*p.Served, math.Ceil(1000*p.SiteGap)/10),
		)
	}
	if p.Constraint != plan.None {
		facts = append(facts, fmt.Sprintf("What binds: %s. Needed: %s.", p.Constraint, p.Shortfall))
	}
	for _, a := range p.Assumptions {
		if a.Default {
			facts = append(facts, "Default: "+a.Name+", "+a.Value+".")
		}
	}
	for _, c := range p.Cautions {
		facts = append(facts, "Caution: "+c.Text)
	}
	return facts
}
