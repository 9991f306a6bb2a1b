package intake

import (
	"errors"
	"strings"
	"testing"

	"github.com/golang/geo/s2"
	"github.com/google/go-cmp/cmp"
)

func zoneFeature(kind, geometry string) string {
	return `{"type":"Feature","properties":{"kind":"` + kind + `","name":"n"},"geometry":` + geometry + `}`
}

// Geometries as RFC 7946 writes them, sections 3.1.2 to 3.1.7.
func TestParseZones_Reads(t *testing.T) {
	t.Parallel()
	at := s2.LatLngFromDegrees
	dam := Zone{Kind: "dam", Name: "n", Area: true, Line: 1, Points: []s2.LatLng{at(40, -90), at(40, -90.1), at(40.1, -90.1)}}
	for _, c := range []struct {
		name, text string
		want       []Zone
	}{
		{"area", zoneFeature("dam", `{"type":"Polygon","coordinates":[[[-90,40],[-90.1,40],[-90.1,40.1],[-90,40]]]}`), []Zone{dam}},
		{"line", zoneFeature("Buried_Line", `{"type":"LineString","coordinates":[[-90,40],[-90.1,40]]}`),
			[]Zone{{Kind: "buried-line", Name: "n", Line: 1, Points: dam.Points[:2]}}},
		{"points", zoneFeature("obstacle", `{"type":"MultiPoint","coordinates":[[-90,40],[-90.1,40]]}`),
			[]Zone{{Kind: "obstacle", Name: "n", Line: 1, Points: dam.Points[:1]}, {Kind: "obstacle", Name: "n", Line: 1, Points: dam.Points[1:2]}}},
		{"margin", `{"type":"Feature","properties":{"kind":"intake","margin_m":4.5},"geometry":{"type":"Point","coordinates":[-90,40]}}`,
			[]Zone{{Kind: "intake", Line: 1, MarginM: 4.5, Points: dam.Points[:1]}}},
	} {
		got, problems, err := ParseZones("z.geojson", []byte(`{"type":"FeatureCollection","features":[`+c.text+`]}`))
		if diff := cmp.Diff(c.want, got); err != nil || len(problems) > 0 || diff != "" {
			t.Errorf("%s: %v, %v (-want +got):\n%s", c.name, err, problems, diff)
		}
	}
}

func TestParseZones_Refuses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, text, code string }{
		{"no kind", zoneFeature("", `{"type":"Point","coordinates":[-90,40]}`), CodePropertyInvalid},
		{"unknown kind", zoneFeature("moat", `{"type":"Point","coordinates":[-90,40]}`), CodePropertyInvalid},
		{"margin of words", `{"type":"Feature","properties":{"kind":"dam","margin_m":"far"},"geometry":{"type":"Point","coordinates":[-90,40]}}`, CodePropertyInvalid},
		{"two corners", zoneFeature("dam", `{"type":"Polygon","coordinates":[[[-90,40],[-90.1,40],[-90,40]]]}`), CodeGeoJSONShape},
		{"no geometry", `{"type":"Feature","properties":{"kind":"dam"},"geometry":null}`, CodeGeometryType},
		{"a collection", zoneFeature("dam", `{"type":"GeometryCollection","geometries":[]}`), CodeGeometryType},
		{"feet", zoneFeature("dam", `{"type":"Point","coordinates":[-900,4000]}`), CodeValueInvalid},
		{"not JSON", `{"type":`, CodeGeoJSONSyntax},
		{"an array", `[]`, CodeGeoJSONShape},
	} {
		zones, _, err := ParseZones("z.geojson", []byte(c.text))
		var bad *Error
		if !errors.As(err, &bad) || bad.Code != c.code || bad.Remedy == "" || !strings.HasPrefix(bad.Error(), "z.geojson") {
			t.Errorf("%s: %v, %v, want %s", c.name, zones, err, c.code)
		}
	}
	if _, problems, err := ParseZones("z", []byte(zoneFeature("dam", `{"type":"Polygon","coordinates":[[[0,0],[1,0],[1,1]],[[0.1,0.1],[0.2,0.1],[0.2,0.2]]]}`))); err != nil || len(problems) != 1 {
		t.Errorf("a hole: %v, %v", problems, err)
	}
}

func FuzzParseZones(f *testing.F) {
	f.Add([]byte(zoneFeature("dam", `{"type":"Polygon","coordinates":[[[-90,40],[-90.1,40],[-90.1,40.1],[-90,40]]]}`)))
	f.Add([]byte(zoneFeature("obstacle", `{"type":"MultiPoint","coordinates":[[-90,40],[-90.1,40]]}`)))
	f.Add([]byte(zoneFeature("access", `{"type":"MultiLineString","coordinates":[[[-90,40],[-90.1,40]]]}`)))
	f.Fuzz(func(t *testing.T, data []byte) {
		zones, _, err := ParseZones("f", data)
		if err != nil && len(zones) > 0 {
			t.Error("zones beside an error")
		}
		for _, z := range zones {
			if len(z.Points) == 0 || z.Area && len(z.Points) < 3 {
				t.Errorf("%+v", z)
			}
			for _, p := range z.Points {
				if !p.IsValid() {
					t.Errorf("%v is no position", p)
				}
			}
		}
	})
}
