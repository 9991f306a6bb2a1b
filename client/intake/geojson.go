package intake

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// Outline is a pond's shoreline as a file gives it: not yet checked for
// crossings, which Shore does.
type Outline struct {
	File    string
	Outer   []s2.LatLng
	Islands [][]s2.LatLng

	Name        string    // property name; empty where there is none
	WaterLevelM *float64  // property water_level_m: the level at which the outline was drawn; nil where not given
	DrawnOn     time.Time // property drawn_on, a date; zero where not given
	Problems    []Problem

	ringLines   []int   // where each ring opens
	cornerLines [][]int // where each corner stands
}

// Shore returns the checked outline. The error is an *Error with the line of the
// corner at fault.
func (o *Outline) Shore() (*shore.Shore, error) {
	s, err := shore.New(o.Outer, o.Islands)
	if err != nil {
		return nil, &Error{o.Problem(err)}
	}
	return s, nil
}

// Problem tells an error of shore.New about this outline with file and line.
func (o *Outline) Problem(err error) Problem {
	p := Problem{Code: CodeRingInvalid, File: o.File, Line: 1, Message: err.Error(), Remedy: "mend the outline where it was drawn"}
	if len(o.ringLines) > 0 {
		p.Line = o.ringLines[0]
	}
	if errors.Is(err, shore.ErrTooWide) {
		p.Code, p.Remedy = CodeOutlineTooWide, "give one pond; positions are longitude, latitude in degrees"
		return p
	}
	var ring *shore.RingError
	if !errors.As(err, &ring) || ring.Ring < 0 || ring.Ring >= len(o.ringLines) {
		return p
	}
	p.Field = "coordinates"
	p.Line = o.ringLines[ring.Ring]
	if corners := o.cornerLines[ring.Ring]; ring.Vertex >= 0 && ring.Vertex < len(corners) {
		p.Line = corners[ring.Vertex]
	}
	if strings.Contains(ring.Reason, "cross") || strings.Contains(ring.Reason, "turns back") {
		p.Code, p.Remedy = CodeRingCrosses, "move or delete the corner there, so that the line runs once round the water"
	}
	return p
}

// outlines reads one GeoJSON file.
type outlines struct {
	problems
	found []polygon
	other []Problem // geometries that are no polygon
}

// polygon is a Polygon geometry and the feature it came from.
type polygon struct {
	geometry, properties node
	path                 string
}

// ParseGeoJSON reads a pond's outline (RFC 7946): a Polygon, or a Feature or
// FeatureCollection that holds exactly one. Positions are longitude, latitude in
// degrees, WGS 84; heights are ignored. Rings may run either way and need not
// repeat their first corner; the first is the shore, the others are islands. Of
// the feature's properties name, water_level_m (meters) and drawn_on (a date)
// are kept.
//
// The error is an *Error that names the line. Geometries beside the polygon are
// Problems; a MultiPolygon is an error that names its parts, because only the
// user knows which of them is the pond.
func ParseGeoJSON(name string, data []byte) (*Outline, error) {
	text, err := plainText(name, data)
	if err != nil {
		return nil, err
	}
	root, err := parseJSON(name, text)
	if err != nil {
		return nil, err
	}
	o := &outlines{problems: problems{file: name}}
	if err := o.collect(root); err != nil {
		return nil, err
	}
	if len(o.found) != 1 {
		return nil, o.countError(root)
	}
	for _, p := range o.other {
		o.add(p.Code, p.Line, p.Field, "nothing to do: only the polygon is used", "%s", p.Message)
	}
	o.checkCRS(root)
	return o.outline(o.found[0])
}

// collect gathers the polygons under the root.
func (o *outlines) collect(root node) error {
	if root.kind != '{' {
		return o.fatal(CodeGeoJSONShape, root.line, "", "give a Polygon, a Feature or a FeatureCollection", "is %s where GeoJSON has an object", root.what())
	}
	switch root.word("type") {
	case "Feature":
		return o.feature(root, "the feature")
	case "FeatureCollection":
		features, ok := root.member("features")
		if !ok || features.kind != '[' {
			return o.fatal(CodeGeoJSONShape, root.line, "features", "export the outline again", "is %s where a FeatureCollection has an array", features.what())
		}
		for i, f := range features.items {
			path := fmt.Sprintf("feature %d", i+1)
			if f.kind != '{' || f.word("type") != "Feature" {
				return o.fatal(CodeGeoJSONShape, f.line, "features", "export the outline again", "%s is no Feature", path)
			}
			if err := o.feature(f, path); err != nil {
				return err
			}
		}
		return nil
	}
	return o.geometry(root, node{}, "the file")
}

func (o *outlines) feature(f node, path string) error {
	properties, _ := f.member("properties")
	if name := properties.word("name"); name != "" {
		path += fmt.Sprintf(" %q", clip(name))
	}
	g, ok := f.member("geometry")
	if !ok || g.kind != '{' {
		line := f.line
		if ok {
			line = g.line
		}
		o.other = append(o.other, Problem{Code: CodeGeometryType, Line: line, Field: "geometry", Message: path + " has no geometry"})
		return nil
	}
	return o.geometry(g, properties, path)
}

func (o *outlines) geometry(g, properties node, path string) error {
	switch kind := g.word("type"); kind {
	case "Polygon":
		o.found = append(o.found, polygon{g, properties, path})
	case "MultiPolygon":
		return o.multiPolygon(g, path)
	case "":
		return o.fatal(CodeGeoJSONShape, g.line, "type", "give a Polygon, a Feature or a FeatureCollection", "%s has no type", path)
	default:
		o.other = append(o.other, Problem{Code: CodeGeometryType, Line: g.line, Field: "type", Message: fmt.Sprintf("%s is a %s", path, clip(kind))})
	}
	return nil
}

// multiPolygon is the error that names the parts.
func (o *outlines) multiPolygon(g node, path string) error {
	coordinates, _ := g.member("coordinates")
	parts := make([]string, 0, len(coordinates.items))
	for i, part := range coordinates.items {
		parts = append(parts, fmt.Sprintf("part %d (line %d): %s", i+1, part.line, describe(part)))
	}
	return o.fatal(CodeMultiPolygon, g.line, "type", "keep the part that is this pond as a Polygon; islands are further rings of it, other ponds are files of their own",
		"%s is a MultiPolygon of %d parts: %s", path, len(parts), enumerate(parts))
}

// countError is the error for a file without a polygon or with several.
func (o *outlines) countError(root node) error {
	if len(o.found) == 0 {
		line, what := root.line, "has no features"
		if len(o.other) > 0 {
			line = o.other[0].Line
			found := make([]string, len(o.other))
			for i, p := range o.other {
				found[i] = p.Message
			}
			what = enumerate(found)
		}
		return o.fatal(CodeGeometryType, line, "type", "draw the shoreline as a Polygon; a closed line does not tell water from land", "holds no Polygon: %s", what)
	}
	parts := make([]string, len(o.found))
	for i, p := range o.found {
		coordinates, _ := p.geometry.member("coordinates")
		parts[i] = fmt.Sprintf("%s (line %d): %s", p.path, p.geometry.line, describe(coordinates))
	}
	return o.fatal(CodePolygonCount, o.found[1].geometry.line, "features", "keep the one that is this pond; islands are further rings of its Polygon",
		"holds %d Polygons: %s", len(parts), enumerate(parts))
}

// describe tells the corners and the rough size of a polygon's coordinates.
func describe(coordinates node) string {
	var areaM2 float64
	corners := 0
	for r, ring := range coordinates.items {
		lls := make([]s2.LatLng, 0, len(ring.items))
		for _, c := range ring.items {
			ll, reason := position(c)
			if reason != "" {
				return "a position that cannot be read in line " + fmt.Sprint(c.line)
			}
			lls = append(lls, ll)
		}
		if n := len(lls); n > 1 && lls[0] == lls[n-1] {
			lls = lls[:n-1]
		}
		corners += len(lls)
		if a := roughArea(lls); r == 0 {
			areaM2 = a
		} else {
			areaM2 -= a
		}
	}
	return fmt.Sprintf("%d corners, about %.0f m² (%.2f acres)", corners, areaM2, unit.SquareMeters(areaM2).Acres())
}

func roughArea(ring []s2.LatLng) float64 {
	if len(ring) == 0 || math.Abs(ring[0].Lat.Degrees()) > 89 {
		return 0
	}
	frame := plane.NewFrame(ring[0])
	pts := make([]plane.Point, len(ring))
	for i, ll := range ring {
		pts[i] = frame.ToPlane(ll)
	}
	return math.Abs(plane.RingArea(pts))
}

// enumerate strings parts together, at most twenty of them.
func enumerate(parts []string) string {
	const limit = 20
	if len(parts) > limit {
		parts = append(slices.Clone(parts[:limit]), fmt.Sprintf("and %d more", len(parts)-limit))
	}
	return strings.Join(parts, "; ")
}

// outline reads the rings and properties of the one polygon.
func (o *outlines) outline(p polygon) (*Outline, error) {
	out := &Outline{File: o.file}
	coordinates, ok := p.geometry.member("coordinates")
	if !ok || coordinates.kind != '[' || len(coordinates.items) == 0 {
		return nil, o.fatal(CodeGeoJSONShape, p.geometry.line, "coordinates", "export the outline again", "holds no ring")
	}
	for r, ring := range coordinates.items {
		if ring.kind != '[' || len(ring.items) == 0 {
			return nil, o.fatal(CodeGeoJSONShape, ring.line, "coordinates", "export the outline again", "ring %d is %s without positions", r+1, ring.what())
		}
		lls, at, err := o.ring(ring, r)
		if err != nil {
			return nil, err
		}
		if r == 0 {
			out.Outer = lls
		} else {
			out.Islands = append(out.Islands, lls)
		}
		out.ringLines, out.cornerLines = append(out.ringLines, ring.line), append(out.cornerLines, at)
	}
	o.properties(p.properties, out)
	out.Problems = o.done()
	return out, nil
}

func (o *outlines) ring(ring node, r int) (lls []s2.LatLng, at []int, err error) {
	for v, c := range ring.items {
		ll, reason := position(c)
		if reason == "" {
			lls, at = append(lls, ll), append(at, c.line)
			continue
		}
		code, remedy := CodeValueInvalid, "give positions as [longitude, latitude] in degrees"
		switch lon, lat, ok := pair(c); {
		case ok && math.Abs(lat) <= 180 && math.Abs(lon) <= 90:
			code, remedy = CodeLatLonSwapped, "write positions as [longitude, latitude]; these look swapped"
		case ok:
			code, remedy = CodeValueRange, "export the outline in WGS 84 degrees, not in a projection"
		}
		return nil, nil, o.fatal(code, c.line, "coordinates", remedy, "corner %d of ring %d %s", v+1, r+1, reason)
	}
	return lls, at, nil
}

// position reads [longitude, latitude, …]. The reason is empty if it is one.
func position(n node) (ll s2.LatLng, reason string) {
	lon, lat, ok := pair(n)
	if !ok {
		return ll, "is not a pair of numbers"
	}
	if math.Abs(lat) > 90 || math.Abs(lon) > 180 {
		return ll, fmt.Sprintf("is no position in degrees: longitude %g, latitude %g", lon, lat)
	}
	return s2.LatLngFromDegrees(lat, lon), ""
}

func pair(n node) (x, y float64, ok bool) {
	if n.kind != '[' || len(n.items) < 2 || n.items[0].kind != 'n' || n.items[1].kind != 'n' {
		return 0, 0, false
	}
	x, okX := parseNumber(n.items[0].text)
	y, okY := parseNumber(n.items[1].text)
	return x, y, okX && okY
}

// properties keeps what the feature says about its outline.
func (o *outlines) properties(properties node, out *Outline) {
	out.Name = strings.TrimSpace(properties.word("name"))
	if level, ok := properties.member("water_level_m"); ok && level.kind != '0' {
		if v, ok := parseNumber(level.text); ok && level.kind == 'n' && math.Abs(v) < 1e4 {
			out.WaterLevelM = &v
		} else {
			o.add(CodePropertyInvalid, level.line, "water_level_m", "give the level as a number of meters", "is no level; it was left out")
		}
	}
	drawn, ok := properties.member("drawn_on")
	if !ok || drawn.kind == '0' {
		return
	}
	for _, layout := range []string{time.DateOnly, time.RFC3339} {
		if at, err := time.Parse(layout, drawn.text); err == nil {
			out.DrawnOn = at.UTC()
			return
		}
	}
	o.add(CodePropertyInvalid, drawn.line, "drawn_on", "give the day as in 2026-06-09", "is no date; it was left out")
}

// checkCRS warns of a coordinate system other than the one GeoJSON has.
func (o *outlines) checkCRS(root node) {
	crs, ok := root.member("crs")
	if !ok || crs.kind != '{' {
		return
	}
	properties, _ := crs.member("properties")
	name := properties.word("name")
	if upper := strings.ToUpper(name); strings.HasSuffix(upper, "CRS84") || strings.HasSuffix(upper, ":4326") {
		return
	}
	o.add(CodeCRSIgnored, crs.line, "crs", "export the outline in WGS 84 longitude and latitude", "names the coordinate system %q, which was ignored: GeoJSON positions are WGS 84", clip(name))
}
