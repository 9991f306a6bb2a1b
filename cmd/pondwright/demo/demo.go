// Package demo carries the pond that the program shows itself with: an outline
// and the logs of the two boats that sounded it one morning.
//
// Pond, owner and place are invented. The logs are what instruments would have
// sent, with their noise, spikes, lost fixes and broken lines; a test makes them
// from a formula, so that what a survey finds can be held against the truth.
package demo

import _ "embed"

// Who the demo is about.
const (
	Pond  = "Thrushwater"
	Owner = "Thistledrum Farm"
	Place = "Larkrow Hollow"
)

// Where the mast would stand: 15 m back from the bank nearest the deepest water,
// in degrees, WGS 84. The pond was dug, not dammed, so any bank will do.
const (
	MastLat = 37.040776
	MastLon = -92.586717
)

// File is one input of the demo.
type File struct {
	Name string
	Data string
}

var (
	//go:embed shoreline.geojson
	shoreline string
	//go:embed boat-1.nmea
	boat1 string
	//go:embed boat-2.nmea
	boat2 string
)

// Shoreline returns the outline, GeoJSON with an island.
func Shoreline() File { return File{"shoreline.geojson", shoreline} }

// Logs returns the NMEA 0183 logs of the two boats. They overlap in time.
func Logs() []File { return []File{{"boat-1.nmea", boat1}, {"boat-2.nmea", boat2}} }
