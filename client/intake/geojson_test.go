package intake

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/golang/geo/s2"
	"github.com/google/go-cmp/cmp"

	"pondwright/geo/shore"
)

// square is a ring of about 100 m about 38.3 N, 93.4 W, its corners on lines of
// their own.
const square = `[
[-93.4000, 38.3000],
[-93.3990, 38.3000],
[-93.3990, 38.3010],
[-93.4000, 38.3010]
]`

const island = `[[-93.3996, 38.3004], [-93.3996, 38.3006], [-93.3994, 38.3006], [-93.3994, 38.3004], [-93.3996, 38.3004]]`

func polygonOf(rings ...string) string {
	return `{"type": "Polygon", "coordinates": [` + strings.Join(rings, ",\n") + `]}`
}

func featureOf(geometry, properties string) string {
	return `{"type": "Feature", "properties": ` + properties + `, "geometry": ` + geometry + `}`
}

func collectionOf(features ...string) string {
	return `{"type": "FeatureCollection", "features": [` + "\n" + strings.Join(features, ",\n") + `]}`
}

func TestParseGeoJSON_Reads(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, doc string
		islands   int
		codes     []string
	}{
		{"polygon", polygonOf(square), 0, nil},
		{"byte order mark", "\ufeff" + polygonOf(square), 0, nil},
		{"island", polygonOf(square, island), 1, nil},
		{"feature", featureOf(polygonOf(square), "null"), 0, nil},
		{"collection", collectionOf(featureOf(polygonOf(square), "{}")), 0, nil},
		{"closed", polygonOf(strings.Replace(square, "\n]", ",\n[-93.4000, 38.3000]]", 1)), 0, nil},
		{"clockwise", polygonOf("[[-93.4000, 38.3000], [-93.4000, 38.3010], [-93.3990, 38.3010], [-93.3990, 38.3000]]"), 0, nil},
		{"with heights", polygonOf(strings.ReplaceAll(square, "0]", "0, 251.5]")), 0, nil},
		{
			"beside other things", collectionOf(featureOf(`{"type": "Point", "coordinates": [-93.4, 38.3]}`, `{"name": "boat ramp"}`),
				featureOf("null", "{}"), featureOf(polygonOf(square), "{}")), 0, []string{CodeGeometryType, CodeGeometryType},
		},
		{"named system that is ours", `{"type": "FeatureCollection", "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}, "features": [` + featureOf(polygonOf(square), "{}") + `]}`, 0, nil},
		{"named system that is not", `{"type": "FeatureCollection", "crs": {"type": "name", "properties": {"name": "EPSG:3857"}}, "features": [` + featureOf(polygonOf(square), "{}") + `]}`, 0, []string{CodeCRSIgnored}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			o, err := ParseGeoJSON("p.geojson", []byte(tc.doc))
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(tc.codes, codes(o.Problems)); diff != "" {
				t.Errorf("problems differ (-want +got):\n%s", diff)
			}
			if len(o.Islands) != tc.islands {
				t.Errorf("%d islands, want %d", len(o.Islands), tc.islands)
			}
			if want := s2.LatLngFromDegrees(38.3, -93.4); o.Outer[0] != want {
				t.Errorf("first corner %v, want %v", o.Outer[0], want)
			}
			s, err := o.Shore()
			if err != nil {
				t.Fatal(err)
			}
			// 0.001° × 0.001° at 38.3005° N: M and N of WGS 84 as in Rapp, 1991;
			// recomputed: 111,002.17 m and 87,472.85 m a degree.
			want := 111.00217 * 87.47285
			if tc.islands > 0 {
				want *= 0.96
			}
			if got := float64(s.Area()); math.Abs(got/want-1) > 1e-6 {
				t.Errorf("area %.2f m², want %.2f", got, want)
			}
		})
	}
}

func TestParseGeoJSON_Properties(t *testing.T) {
	t.Parallel()
	o, err := ParseGeoJSON("p.geojson", []byte(featureOf(polygonOf(square), `{"name": " Mill pond ", "water_level_m": -0.12, "drawn_on": "2026-06-09"}`)))
	if err != nil {
		t.Fatal(err)
	}
	if o.Name != "Mill pond" || o.WaterLevelM == nil || *o.WaterLevelM != -0.12 || !o.DrawnOn.Equal(time.Date(2026, 6, 9, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("properties = %q, %v, %v", o.Name, o.WaterLevelM, o.DrawnOn)
	}
	o, err = ParseGeoJSON("p.geojson", []byte(featureOf(polygonOf(square), "{\"name\": 7,\n\"water_level_m\": \"low\",\n\"drawn_on\": \"June\"}")))
	if err != nil {
		t.Fatal(err)
	}
	if o.Name != "" || o.WaterLevelM != nil || !o.DrawnOn.IsZero() {
		t.Errorf("properties = %q, %v, %v, want none", o.Name, o.WaterLevelM, o.DrawnOn)
	}
	if p := o.Problems; len(p) != 2 || p[0].Code != CodePropertyInvalid || p[0].Line != 2 || p[0].Field != "water_level_m" || p[1].Line != 3 || p[1].Field != "drawn_on" {
		t.Errorf("problems = %v, want lines 2 and 3", p)
	}
}

func TestParseGeoJSON_Refuses(t *testing.T) {
	t.Parallel()
	multi := `{"type": "MultiPolygon", "coordinates": [` + "\n[" + square + "],\n[" + strings.ReplaceAll(island, "\n", "") + "]]}"
	for _, tc := range []struct {
		name, doc   string
		code, field string
		line        int
		says        string
	}{
		{"empty", "\n", CodeFileEmpty, "", 0, ""},
		{"no JSON", "{\n\"type\": Polygon}", CodeGeoJSONSyntax, "", 2, ""},
		{"cut", "{\"type\": \"Polygon\",\n\"coordinates\": [[[-93.4,\n", CodeGeoJSONSyntax, "", 2, "cut short"},
		{"two documents", polygonOf(square) + "\n{}", CodeGeoJSONSyntax, "", 7, ""},
		{"array", "[]", CodeGeoJSONShape, "", 1, "an array"},
		{"no type", "{}", CodeGeoJSONShape, "type", 1, ""},
		{"no features", `{"type": "FeatureCollection"}`, CodeGeoJSONShape, "features", 1, "missing"},
		{"empty collection", `{"type": "FeatureCollection", "features": []}`, CodeGeometryType, "type", 1, "no features"},
		{"features that are none", collectionOf(polygonOf(square)), CodeGeoJSONShape, "features", 2, ""},
		{"line", "{\"type\": \"LineString\", \"coordinates\": " + square + "}", CodeGeometryType, "type", 1, "LineString"},
		{"geometry collection", featureOf(`{"type": "GeometryCollection", "geometries": []}`, "{}"), CodeGeometryType, "type", 1, "GeometryCollection"},
		{"no geometry", featureOf("null", "{}"), CodeGeometryType, "type", 1, "no geometry"},
		{"no coordinates", `{"type": "Polygon"}`, CodeGeoJSONShape, "coordinates", 1, ""},
		{"no ring", polygonOf(), CodeGeoJSONShape, "coordinates", 1, ""},
		{"ring without corners", polygonOf(square, "[]"), CodeGeoJSONShape, "coordinates", 7, "ring 2"},
		{"corner of words", polygonOf(strings.Replace(square, "38.3010", `"north"`, 1)), CodeValueInvalid, "coordinates", 4, "corner 3 of ring 1"},
		{"corner with one number", polygonOf(strings.Replace(square, ", 38.3010]", "]", 1)), CodeValueInvalid, "coordinates", 4, ""},
		{"corner too large for a number", polygonOf(strings.Replace(square, "38.3010", "1e999", 1)), CodeValueInvalid, "coordinates", 4, ""},
		{"projected", polygonOf(strings.Replace(square, "[-93.3990, 38.3010]", "[466000.1, 4239000.2]", 1)), CodeValueRange, "coordinates", 4, "WGS 84"},
		{"swapped", polygonOf("[[38.3, -93.4],\n[38.3, -93.3], [38.4, -93.3]]"), CodeLatLonSwapped, "coordinates", 1, "[longitude, latitude]"},
		{"several", collectionOf(featureOf(polygonOf(square), `{"name": "upper"}`), featureOf(polygonOf(island), `{"name": "lower"}`)), CodePolygonCount, "features", 8, `feature 1 "upper" (line 2): 4 corners, about 9710 m² (2.40 acres)`},
		{"several parts", featureOf(multi, "{}"), CodeMultiPolygon, "type", 1, "MultiPolygon of 2 parts: part 1 (line 2): 4 corners, about 9710 m² (2.40 acres); part 2 (line 8)"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			_, err := ParseGeoJSON("p.geojson", []byte(tc.doc))
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("ParseGeoJSON = %v, want an *Error", err)
			}
			if e.Code != tc.code || e.Field != tc.field || e.Line != tc.line || e.File != "p.geojson" || e.Remedy == "" || !strings.Contains(e.Error(), tc.says) {
				t.Errorf("error = %+v, want %s in line %d, field %q, saying %q, with a remedy", e.Problem, tc.code, tc.line, tc.field, tc.says)
			}
		})
	}
}

// TestOutline_ShoreErrorsHaveALine runs outlines through the checks of package
// shore and expects the line of the corner at fault.
func TestOutline_ShoreErrorsHaveALine(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, doc string
		code      string
		lines     []int // the corner may be that of either side
	}{
		{"bow-tie", polygonOf("[\n[-93.4000, 38.3000],\n[-93.3990, 38.3010],\n[-93.3990, 38.3000],\n[-93.4000, 38.3010]\n]"), CodeRingCrosses, []int{2, 3, 4, 5}},
		{"spike", polygonOf("[\n[-93.4000, 38.3000],\n[-93.3990, 38.3000],\n[-93.3980, 38.3000],\n[-93.3990, 38.3000],\n[-93.3990, 38.3010]\n]"), CodeRingCrosses, []int{2, 3, 4, 5}},
		{"two corners", polygonOf("[[-93.4000, 38.3000],\n[-93.3990, 38.3000]]"), CodeRingInvalid, []int{1}},
		{"island outside", polygonOf(square, "[[-93.3, 38.3],\n[-93.3, 38.31], [-93.29, 38.31]]"), CodeRingInvalid, []int{7}},
		{"island across the shore", polygonOf(square, "[[-93.3995, 38.3005],\n[-93.3985, 38.3005],\n[-93.3985, 38.3006]]"), CodeRingCrosses, []int{3, 4, 7, 8, 9}},
		{"a state", polygonOf("[\n[-93, 38],\n[-92, 38],\n[-92, 39]]"), CodeOutlineTooWide, []int{1}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			o, err := ParseGeoJSON("p.geojson", []byte(tc.doc))
			if err != nil {
				t.Fatal(err)
			}
			_, err = o.Shore()
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("Shore = %v, want an *Error", err)
			}
			found := false
			for _, l := range tc.lines {
				found = found || e.Line == l
			}
			if e.Code != tc.code || !found || e.File != "p.geojson" || e.Remedy == "" {
				t.Errorf("error = %+v, want %s in one of lines %v, with a remedy", e.Problem, tc.code, tc.lines)
			}
		})
	}
}

func TestOutline_ProblemOfAForeignError(t *testing.T) {
	t.Parallel()
	var o Outline
	if p := o.Problem(&shore.RingError{Ring: 3, Vertex: 9, Reason: "is odd"}); p.Code != CodeRingInvalid || p.Line != 1 {
		t.Errorf("Problem = %+v, want RING_INVALID in line 1", p)
	}
}
