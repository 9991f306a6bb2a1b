package intake

import (
	"fmt"
	"slices"
	"strings"

	"github.com/golang/geo/s2"
)

// Zone is a place with a rule of its own, as a file gives it: an area, a line or a
// point.
type Zone struct {
	Kind    string // one of ZoneKinds
	Name    string // property name; empty where there is none
	Points  []s2.LatLng
	Area    bool
	MarginM float64 // property margin_m; 0 where not given
	Line    int     // where it stands in the file
}

// ZoneKinds are the values that the property kind may have.
func ZoneKinds() []string {
	return []string{"dam", "spillway", "keep-out", "intake", "obstacle", "access", "buried-line", "muck", "property"}
}

// zones reads one file of zones.
type zones struct {
	problems
	found []Zone
}

// ParseZones reads zones from GeoJSON (RFC 7946): Features of which each has a
// property kind, one of ZoneKinds, and a Polygon, a LineString or a Point, or the
// Multi kind of these. The first ring of a polygon counts; a hole in it is a
// problem, since a zone has none. The error is an *Error that names the line: a
// zone that cannot be read is never left out.
func ParseZones(name string, data []byte) ([]Zone, []Problem, error) {
	text, err := plainText(name, data)
	if err != nil {
		return nil, nil, err
	}
	root, err := parseJSON(name, text)
	if err != nil {
		return nil, nil, err
	}
	z := &zones{problems: problems{file: name}}
	if root.kind != '{' {
		return nil, nil, z.shape(root, "is %s where GeoJSON has an object", root.what())
	}
	features := []node{root}
	if root.word("type") == "FeatureCollection" {
		list, ok := root.member("features")
		if !ok || list.kind != '[' {
			return nil, nil, z.shape(root, "is %s where a FeatureCollection has an array", list.what())
		}
		features = list.items
	}
	for i, f := range features {
		if err := z.feature(f, i); err != nil {
			return nil, nil, err
		}
	}
	return z.found, z.done(), nil
}

func (z *zones) shape(n node, format string, args ...any) error {
	return z.fatal(CodeGeoJSONShape, n.line, "", "give Features with a property kind", format, args...)
}

func (z *zones) feature(f node, i int) error {
	if f.kind != '{' || f.word("type") != "Feature" {
		return z.shape(f, "feature %d is no Feature", i+1)
	}
	properties, _ := f.member("properties")
	kind := strings.ReplaceAll(strings.ToLower(strings.TrimSpace(properties.word("kind"))), "_", "-")
	if !slices.Contains(ZoneKinds(), kind) {
		return z.fatal(CodePropertyInvalid, f.line, "kind", "give one of "+strings.Join(ZoneKinds(), ", "), "feature %d has the kind %q", i+1, clip(kind))
	}
	zone := Zone{Kind: kind, Name: strings.TrimSpace(properties.word("name")), Line: f.line}
	if margin, ok := properties.member("margin_m"); ok && margin.kind != '0' {
		m, isNumber := parseNumber(margin.text)
		if !isNumber || margin.kind != 'n' || !(m >= 0 && m <= 1000) {
			return z.fatal(CodePropertyInvalid, margin.line, "margin_m", "give a number of meters from 0 to 1000", "feature %d has a margin that is none", i+1)
		}
		zone.MarginM = m
	}
	g, ok := f.member("geometry")
	if !ok || g.kind != '{' {
		return z.fatal(CodeGeometryType, f.line, "geometry", "draw the zone", "feature %d has no geometry", i+1)
	}
	return z.geometry(g, zone)
}

func (z *zones) geometry(g node, zone Zone) error {
	coordinates, _ := g.member("coordinates")
	kind := g.word("type")
	if single, ok := strings.CutPrefix(kind, "Multi"); ok {
		for _, part := range coordinates.items {
			if err := z.part(single, part, zone); err != nil {
				return err
			}
		}
		return nil
	}
	return z.part(kind, coordinates, zone)
}

// part reads the coordinates of one simple geometry.
func (z *zones) part(kind string, c node, zone Zone) error {
	var corners []node
	switch kind {
	case "Point":
		corners = []node{c}
	case "LineString":
		corners = c.items
	case "Polygon":
		if len(c.items) == 0 {
			return z.shape(c, "a zone's Polygon holds no ring")
		}
		if len(c.items) > 1 {
			z.add(CodeGeometryType, c.items[1].line, "coordinates", "draw the zone without a hole", "the zone of kind %s has a hole, which was filled", zone.Kind)
		}
		corners, zone.Area = c.items[0].items, true
	default:
		return z.fatal(CodeGeometryType, c.line, "type", "draw the zone as a Polygon, a LineString or a Point", "the zone of kind %s is a %s", zone.Kind, clip(kind))
	}
	for v, corner := range corners {
		ll, reason := position(corner)
		if reason != "" {
			return z.fatal(CodeValueInvalid, corner.line, "coordinates", "give positions as [longitude, latitude] in degrees", "%s", fmt.Sprintf("corner %d of the zone of kind %s %s", v+1, zone.Kind, reason))
		}
		zone.Points = append(zone.Points, ll)
	}
	if n := len(zone.Points); zone.Area && n > 1 && zone.Points[0] == zone.Points[n-1] {
		zone.Points = zone.Points[:n-1]
	}
	if len(zone.Points) == 0 || zone.Area && len(zone.Points) < 3 {
		return z.shape(c, "the zone of kind %s has too few corners", zone.Kind)
	}
	z.found = append(z.found, zone)
	return nil
}
