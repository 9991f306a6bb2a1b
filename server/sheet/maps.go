package sheet

import (
	"fmt"
	"math"

	"github.com/golang/geo/s2"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
	"pondwright/geo/contour"
	"pondwright/geo/draw"
	"pondwright/geo/plane"
	pb "pondwright/proto/pondwright/v1"
)

// maps sets the map and its enlarged parts, each on a page of its own.
func (b *book) maps() {
	if b.Shore == nil {
		return
	}
	m := b.mapOf()
	upright := m.Upright()
	w, h := b.format.W, b.format.H
	if !upright {
		w, h = h, w
	}
	sheets := m.Sheets(w-2*margin, h-2*margin-headH-footH-1)
	for i, sheet := range sheets {
		b.open(sheet.Title, upright)
		b.picture(sheet, 0)
		name := "map"
		if i > 0 {
			name = fmt.Sprint("map-", i+1)
		}
		b.drawings = append(b.drawings, drawing{name, len(b.pages) - 1})
	}
}

// mapOf returns the plan as the map shows it.
func (b *book) mapOf() draw.Map {
	frame := b.Shore.Frame()
	m := draw.Map{Rings: b.Shore.Rings(), Frame: &frame, Feet: b.Units == unit.US}
	if r := b.Survey; r != nil && r.Bed != nil {
		m.MaxDepth = r.MaxDepth.Value
		scale := 1.0
		if m.Feet {
			scale = float64(unit.Feet(1))
		}
		for _, levelM := range contour.Levels(float64(m.MaxDepth), scale, 12) {
			m.Contours = append(m.Contours, draw.Contour{
				Depth: unit.Meters(levelM), Rings: contour.Rings(r.Bed.Mesh(), r.Bed.DepthsM(), levelM),
			})
		}
	}
	if field, err := sun.WMM2025().Field(b.date(), frame.Origin(), 0); err == nil { // else nobody knows where a compass points
		declination := field.Declination()
		m.Declination = &declination
	}
	m.Stations, m.Zones = b.stations(frame), b.zones(frame)
	for i, d := range b.Plan.GetDiffusers() {
		m.Diffusers = append(m.Diffusers, draw.Diffuser{Number: i + 1, At: onPlane(frame, d.GetLat(), d.GetLon()), Route: b.way(frame, d)})
	}
	return m
}

// stations are the masts and the places where hoses enter the water.
func (b *book) stations(frame plane.Frame) []draw.Station {
	var out []draw.Station
	for k, st := range b.Plan.GetStations() {
		mast := onPlane(frame, st.GetMast().GetLatDeg(), st.GetMast().GetLonDeg())
		entry := onPlane(frame, st.GetShoreEntry().GetLatDeg(), st.GetShoreEntry().GetLonDeg())
		s := draw.Station{Mast: &mast, Entry: &entry}
		if len(b.Plan.GetStations()) > 1 {
			s.Name = fmt.Sprint(k + 1)
		}
		for _, q := range st.GetTrench() {
			s.Trench = append(s.Trench, onPlane(frame, q.GetLatDeg(), q.GetLonDeg()))
		}
		out = append(out, s)
	}
	if mast := b.Plan.GetMast(); len(out) == 0 && mast != nil {
		at := onPlane(frame, mast.GetLat(), mast.GetLon())
		out = append(out, draw.Station{Mast: &at})
	}
	return out
}

// zones are the places with a rule of their own.
func (b *book) zones(frame plane.Frame) []draw.Zone {
	var out []draw.Zone
	for _, z := range b.Plan.GetGround().GetZones() {
		d := draw.Zone{
			Name: joined(": ", zoneWords[z.GetKind()], z.GetName()), Area: z.GetArea(),
			Bounds: z.GetKind() == pb.ZoneKind_ZONE_KIND_PROPERTY,
		}
		for _, q := range z.GetPoints() {
			d.Points = append(d.Points, onPlane(frame, q.GetLatDeg(), q.GetLonDeg()))
		}
		out = append(out, d)
	}
	return out
}

// zoneWords are what zones are called on the map.
var zoneWords = map[pb.ZoneKind]string{
	pb.ZoneKind_ZONE_KIND_DAM:         "Dam",
	pb.ZoneKind_ZONE_KIND_SPILLWAY:    "Spillway",
	pb.ZoneKind_ZONE_KIND_KEEP_OUT:    "Keep out",
	pb.ZoneKind_ZONE_KIND_INTAKE:      "Intake",
	pb.ZoneKind_ZONE_KIND_OBSTACLE:    "Obstacle",
	pb.ZoneKind_ZONE_KIND_ACCESS:      "Access",
	pb.ZoneKind_ZONE_KIND_BURIED_LINE: "Buried line",
	pb.ZoneKind_ZONE_KIND_MUCK:        "Muck",
	pb.ZoneKind_ZONE_KIND_PROPERTY:    "Property",
}

// way returns a hose's way through the water, from the shore entry to the diffuser.
func (b *book) way(frame plane.Frame, d *pb.Diffuser) []plane.Point {
	entry := d.GetHose().GetShoreEntry()
	var out []plane.Point
	for _, q := range d.GetHose().GetRoute() {
		if entry != nil && q.GetLat() == entry.GetLat() && q.GetLon() == entry.GetLon() {
			out = nil // what came before lies in the trench
		}
		out = append(out, onPlane(frame, q.GetLat(), q.GetLon()))
	}
	return out
}

// onPlane returns a place on the map; what is no position comes out as no number,
// which a drawing leaves out.
func onPlane(frame plane.Frame, lat, lon float64) plane.Point {
	if !(math.Abs(lat) <= 90 && math.Abs(lon) <= 180) {
		return plane.Point{X: math.NaN(), Y: math.NaN()}
	}
	return frame.ToPlane(s2.LatLngFromDegrees(lat, lon))
}
