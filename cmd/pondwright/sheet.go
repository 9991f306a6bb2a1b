package main

import (
	"fmt"
	"strings"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/contour"
	"pondwright/geo/draw"
	"pondwright/geo/plan"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
)

// sheetPond is what a drawing needs beside the plan.
type sheetPond struct {
	Name    string
	Details []string // lines under the name
	Shore   *shore.Shore
	Report  *survey.Report
}

// sheet is the plan's drawing.
func (m *Main) sheet(p *pb.Plan, pond sheetPond) draw.Layout {
	u := m.units
	frame := pond.Shore.Frame()
	l := draw.Layout{
		Title:    pond.Name,
		Details:  append(pond.Details, "DRAFT, not approved"),
		Rings:    pond.Shore.Rings(),
		MaxDepth: pond.Report.MaxDepth.Value,
		Feet:     u == usUnits,
		Columns:  []string{"No.", "depth", "air", "lift", "hose", "serves"},
		Facts:    m.sheetFacts(p, pond.Report),
	}
	if defaults(p) != "" {
		l.Stamp = "NOT FOR CONSTRUCTION: DEFAULTS USED"
	}
	scale := 1.0
	if l.Feet {
		scale = float64(unit.Feet(1))
	}
	b := pond.Report.Bed
	for _, levelM := range contour.Levels(float64(l.MaxDepth), scale, 12) {
		l.Contours = append(l.Contours, draw.Contour{
			Depth: unit.Meters(levelM), Rings: contour.Rings(b.Mesh(), b.DepthsM(), levelM),
		})
	}
	if mast := p.GetMast(); mast != nil {
		at := onPlane(frame, mast.GetLat(), mast.GetLon())
		l.Mast = &at
	}
	for i, d := range p.GetDiffusers() {
		mark := draw.Diffuser{
			Number: i + 1,
			At:     onPlane(frame, d.GetLat(), d.GetLon()),
			Row: []string{
				u.length(unit.Meters(d.GetDepthM())), u.air(airflow(d)), u.water(unit.CubicMetersPerSecond(d.GetLiftM3PerS())),
				u.distance(unit.Meters(d.GetHose().GetLengthM())), u.volume(unit.CubicMeters(d.GetServedM3())),
			},
		}
		for _, q := range d.GetHose().GetRoute() {
			mark.Route = append(mark.Route, onPlane(frame, q.GetLat(), q.GetLon()))
		}
		l.Diffusers = append(l.Diffusers, mark)
	}
	return l
}

func onPlane(frame plane.Frame, lat, lon float64) plane.Point {
	return frame.ToPlane(s2.LatLngFromDegrees(lat, lon))
}

// defaults lists the figures that nobody gave.
func defaults(p *pb.Plan) string {
	var names []string
	for _, a := range p.GetAssumptions() {
		if a.GetIsDefault() {
			names = append(names, a.GetName()+" ("+a.GetValue()+")")
		}
	}
	return strings.Join(names, "; ")
}

// sheetFacts are the lines beside the map: what was found, what binds, what was
// assumed and what can hurt.
func (m *Main) sheetFacts(p *pb.Plan, r *survey.Report) []string {
	u, v := m.units, r.Volume
	facts := []string{
		fmt.Sprintf("Water %s, volume %s (95 %% between %s and %s).",
			u.area(r.Area.Value), u.volume(v.Value), u.volume(v.Low), u.volume(v.High)),
	}
	facts = append(facts, m.planFindings(p)...)
	if d := defaults(p); d != "" {
		facts = append(facts, "Defaults that nobody confirmed: "+d+".")
	}
	for _, c := range p.GetCautions() {
		if c.GetCode() != plan.CodeDefaults { // the stamp and the line above say it
			facts = append(facts, "Caution: "+c.GetText())
		}
	}
	return facts
}
