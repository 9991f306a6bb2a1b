package sheet

import (
	"bytes"
	"encoding/xml"
	"fmt"

	"pondwright/calc/unit"
	"pondwright/geo/draw"
)

// place is one to find by boat or on foot.
type place struct {
	name, what string
	lat, lon   float64
	depth      string
}

// allPlaces are the mast, the shore entries and the diffusers.
func (b *book) allPlaces() []place {
	var out []place
	stations := b.Plan.GetStations()
	for k, st := range stations {
		number := ""
		if len(stations) > 1 {
			number = fmt.Sprint(" ", k+1)
		}
		mast := place{name: "Mast" + number, what: "mast", lat: st.GetMast().GetLatDeg(), lon: st.GetMast().GetLonDeg()}
		if st.GetProposed() {
			mast.what = "mast, place proposed by the plan"
		}
		entry := st.GetShoreEntry()
		out = append(out, mast, place{name: "Entry" + number, what: "hoses enter the water", lat: entry.GetLatDeg(), lon: entry.GetLonDeg()})
	}
	if m := b.Plan.GetMast(); m != nil && len(stations) == 0 {
		out = append(out, place{name: "Mast", what: "mast", lat: m.GetLat(), lon: m.GetLon()})
	}
	for i, d := range b.Plan.GetDiffusers() {
		out = append(out, place{name: b.label(i), what: "diffuser", lat: d.GetLat(), lon: d.GetLon(), depth: b.Units.Length(unit.Meters(d.GetDepthM()))})
	}
	return out
}

// places sets the table of coordinates.
func (b *book) places() {
	all := b.allPlaces()
	if len(all) == 0 {
		return
	}
	b.open("Places", true)
	b.para("Degrees on WGS 84, north and east positive. The file waypoints.gpx beside these sheets holds the same places for a receiver. Check the depth over a place before letting a diffuser go: if it differs by more than a foot (0.3 m), ask before setting it.")
	t := table{columns: []column{
		{head: "Place"}, {head: "What"}, {head: "Latitude", align: draw.Right}, {head: "Longitude", align: draw.Right},
		{head: "Depth planned", align: draw.Right}, {head: "Depth found", least: 24}, {head: "Set", tick: true},
	}}
	for _, p := range all {
		t.rows = append(t.rows, []string{p.name, p.what, degrees(p.lat), degrees(p.lon), p.depth, "", ""})
	}
	t.set(&b.press)
}

// degrees prints a coordinate to a hundredth of a second of arc or better, 0.1 m.
func degrees(v float64) string { return fmt.Sprintf("%.6f", v) }

// GPX 1.1, the open exchange format of receivers (topografix.com/GPX/1/1).
type gpxFile struct {
	XMLName xml.Name   `xml:"http://www.topografix.com/GPX/1/1 gpx"`
	Version string     `xml:"version,attr"`
	Creator string     `xml:"creator,attr"`
	Name    string     `xml:"metadata>name"`
	Points  []gpxPoint `xml:"wpt"`
}

type gpxPoint struct {
	Lat  string `xml:"lat,attr"`
	Lon  string `xml:"lon,attr"`
	Name string `xml:"name"`
	Desc string `xml:"desc"`
}

// gpx returns the places as waypoints, nil for none.
func (b *book) gpx() []byte {
	file := gpxFile{Version: "1.1", Creator: "pondwright", Name: b.name}
	for _, p := range b.allPlaces() {
		desc := p.what
		if p.depth != "" {
			desc += ", depth " + p.depth
		}
		file.Points = append(file.Points, gpxPoint{Lat: fmt.Sprintf("%.8f", p.lat), Lon: fmt.Sprintf("%.8f", p.lon), Name: p.name, Desc: desc})
	}
	if len(file.Points) == 0 {
		return nil
	}
	var out bytes.Buffer
	out.WriteString(xml.Header)
	encoder := xml.NewEncoder(&out)
	encoder.Indent("", " ")
	if err := encoder.Encode(file); err != nil {
		return nil // a struct of strings always encodes
	}
	out.WriteByte('\n')
	return out.Bytes()
}
