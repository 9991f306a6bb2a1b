package draw

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/golang/geo/s1"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// Map is the plan view that a crew works from: depths, numbered diffusers, hoses,
// masts, shore entries, zones and the grid of coordinates. What is not given is
// left out.
type Map struct {
	Rings    [][]plane.Point // shoreline: the outer ring, then the islands
	Contours []Contour       // shallow to deep
	MaxDepth unit.Meters

	Stations  []Station
	Diffusers []Diffuser
	Zones     []Zone

	Frame       *plane.Frame // of all points; draws the grid of coordinates
	Declination *s1.Angle    // of a compass, east of true north
	Feet        bool         // depths and distances in feet instead of meters
}

// Contour is the line along which the water is Depth deep: closed rings, with
// water deeper than Depth inside an odd number of them.
type Contour struct {
	Depth unit.Meters
	Rings [][]plane.Point
}

// Station is a mast with the place where its hoses enter the water.
type Station struct {
	Name        string // of the mast; empty for the only one
	Mast, Entry *plane.Point
	Trench      []plane.Point // from the mast to the entry
}

// Diffuser is one numbered diffuser with the hose that feeds it.
type Diffuser struct {
	Number int
	At     plane.Point
	Route  []plane.Point // from the mast, or the entry, to the diffuser
}

// Zone is a place with a rule of its own: an area, a line or a point.
type Zone struct {
	Name   string
	Points []plane.Point
	Area   bool
	// Bounds says that the area is what may be used, rather than what may not.
	Bounds bool
}

// Sizes on the map, mm.
const (
	legendW   = 46.0 // of the legend beside the map
	legendH   = 44.0 // of the legend below it
	edge      = 5.0  // for the numbers of the grid, outside the frame
	discMost  = 3.3
	discLeast = 2.3
	numeral   = 2.6 // 7.4 points
	name      = 3.0
)

// Sheets draws the map w by h millimeters and, where diffusers stand too close to
// be told apart, parts of it enlarged: the whole pond first.
func (m Map) Sheets(w, h float64) []*Picture {
	whole := m.bounds()
	v := m.fit(whole, w, h)
	windows := m.windows(v)
	out := []*Picture{m.sheet(v, "Map", windows)}
	for _, part := range windows {
		out = append(out, m.sheet(m.fit(part.box, w, h), "Map, part "+part.name, nil))
	}
	return out
}

// Upright reports whether the pond fits a page better that stands than one that
// lies.
func (m Map) Upright() bool {
	b := m.bounds()
	return b.y1-b.y0 > 1.05*(b.x1-b.x0)
}

// box is a rectangle, in the plane (y up) or on the page (y down).
type box struct{ x0, y0, x1, y1 float64 }

func (b box) meets(c box) bool { return b.x0 < c.x1 && c.x0 < b.x1 && b.y0 < c.y1 && c.y0 < b.y1 }

func (b box) within(c box) bool { return b.x0 >= c.x0 && b.x1 <= c.x1 && b.y0 >= c.y0 && b.y1 <= c.y1 }

func (b box) holds(x, y float64) bool { return x >= b.x0 && x <= b.x1 && y >= b.y0 && y <= b.y1 }

func (b box) grown(by float64) box { return box{b.x0 - by, b.y0 - by, b.x1 + by, b.y1 + by} }

func around(x, y, w, h float64) box { return box{x - w/2, y - h/2, x + w/2, y + h/2} }

// enclose returns the box about points, false for none.
func enclose(points ...[]plane.Point) (box, bool) {
	b := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, line := range points {
		for _, p := range line {
			if !math.IsNaN(p.X+p.Y) && !math.IsInf(p.X+p.Y, 0) {
				b = box{min(b.x0, p.X), min(b.y0, p.Y), max(b.x1, p.X), max(b.y1, p.Y)}
			}
		}
	}
	return b, b.x0 <= b.x1
}

// bounds returns what the map of the whole pond shows, in the plane: the shore and
// the stations, with the zones as far as they lie near.
func (m Map) bounds() box {
	points := append([][]plane.Point{}, m.Rings...)
	for _, s := range m.Stations {
		for _, p := range []*plane.Point{s.Mast, s.Entry} {
			if p != nil {
				points = append(points, []plane.Point{*p})
			}
		}
	}
	for _, d := range m.Diffusers {
		points = append(points, []plane.Point{d.At})
	}
	b, ok := enclose(points...)
	if !ok {
		return box{0, 0, 100, 100}
	}
	size := max(b.x1-b.x0, b.y1-b.y0, 1)
	near := b.grown(0.15 * size)
	for _, z := range m.Zones {
		if zone, ok := enclose(z.Points); ok {
			b = box{min(b.x0, max(zone.x0, near.x0)), min(b.y0, max(zone.y0, near.y0)), max(b.x1, min(zone.x1, near.x1)), max(b.y1, min(zone.y1, near.y1))}
		}
	}
	return b.grown(0.04 * size)
}

// view maps the pond's plane to a part of the page.
type view struct {
	scale float64 // mm on the page per meter
	lo    plane.Point
	hi    plane.Point
	frame box // on the page
	w, h  float64
	below bool // the legend stands below the map
}

func (v view) at(p plane.Point) Point {
	return Point{v.frame.x0 + (p.X-v.lo.X)*v.scale, v.frame.y1 - (p.Y-v.lo.Y)*v.scale}
}

func (v view) line(points []plane.Point) []Point {
	out := make([]Point, 0, len(points))
	for i, p := range points {
		q := v.at(p)
		if n := len(out); n > 0 && i < len(points)-1 && math.Hypot(q.X-out[n-1].X, q.Y-out[n-1].Y) < 0.12 {
			continue // closer than a printed line is wide
		}
		out = append(out, q)
	}
	return out
}

// fit returns the view that shows a box of the plane on a page at a round scale,
// with the legend beside or below, whichever leaves the map larger.
func (m Map) fit(b box, w, h float64) view {
	beside := box{edge, 0, w - legendW - 3, h - edge}
	under := box{edge, 0, w, h - legendH - edge}
	room := beside
	scaleIn := func(r box) float64 { return min((r.x1-r.x0)/(b.x1-b.x0), (r.y1-r.y0)/(b.y1-b.y0)) }
	if scaleIn(under) > scaleIn(beside) {
		room = under
	}
	v := view{w: w, h: h, frame: room, below: room == under}
	v.scale = 1000 / roundScale(1000/max(scaleIn(room), 1e-6))
	cx, cy := (b.x0+b.x1)/2, (b.y0+b.y1)/2
	dx, dy := (room.x1-room.x0)/v.scale/2, (room.y1-room.y0)/v.scale/2
	v.lo, v.hi = plane.Point{X: cx - dx, Y: cy - dy}, plane.Point{X: cx + dx, Y: cy + dy}
	return v
}

// roundScale returns the next number of a round scale, 1 to so many.
func roundScale(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, k := range []float64{1, 1.25, 1.5, 1.75, 2, 2.25, 2.5, 3, 3.5, 4, 4.5, 5, 6, 7, 8, 9} {
		if k*p >= v*(1-1e-9) {
			return k * p
		}
	}
	return 10 * p
}

// window is a part of the map that is drawn again, larger.
type window struct {
	name string
	box  box // in the plane
}

// windows cuts the water about the diffusers into parts in which their numbers do
// not touch; none where the map itself has the room.
func (m Map) windows(v view) []window {
	spots := make([]plane.Point, len(m.Diffusers))
	for i, d := range m.Diffusers {
		spots[i] = d.At
	}
	need := (2*discLeast + 0.6) / max(nearest(spots), 1) // mm per meter
	b, ok := enclose(spots)
	if !ok || need <= v.scale {
		return nil
	}
	pad := 0.06*max(b.x1-b.x0, b.y1-b.y0) + 5
	b = b.grown(pad)
	const most = 4
	n := min(most, max(2, int(math.Ceil(need/v.scale))))
	nx, ny := n, n
	if aspect := (b.x1 - b.x0) / (b.y1 - b.y0); aspect > 1.6 {
		ny = max(1, int(math.Round(float64(n)/aspect)))
	} else if aspect < 1/1.6 {
		nx = max(1, int(math.Round(float64(n)*aspect)))
	}
	var out []window
	for j := range ny {
		for i := range nx {
			w, h := (b.x1-b.x0)/float64(nx), (b.y1-b.y0)/float64(ny)
			tile := box{b.x0 + float64(i)*w, b.y1 - float64(j+1)*h, b.x0 + float64(i+1)*w, b.y1 - float64(j)*h}
			held := false
			for _, p := range spots {
				held = held || tile.holds(p.X, p.Y)
			}
			if held {
				out = append(out, window{string(rune('A' + len(out))), tile.grown(0.04 * max(w, h))})
			}
		}
	}
	if len(out) < 2 {
		return nil // one part is the map again
	}
	return out
}

// nearest returns the least distance between two of the points; infinite for one.
func nearest(points []plane.Point) float64 {
	least := math.Inf(1)
	for i, p := range points {
		for _, q := range points[:i] {
			least = min(least, p.Distance(q))
		}
	}
	return least
}

// sheet is one picture under way.
type sheet struct {
	*Picture
	Map
	v     view
	taken []box // where words and marks stand
	discs []Point
}

func (m Map) sheet(v view, title string, windows []window) *Picture {
	s := &sheet{Picture: NewPicture(title, v.w, v.h), Map: m, v: v}
	s.water()
	s.graticule()
	s.zones()
	s.hoses()
	s.places(windows)
	s.numbers()
	s.numerals()
	s.Rect(v.frame.x0, v.frame.y0, v.frame.x1-v.frame.x0, v.frame.y1-v.frame.y0, 0, Ink, 0.35)
	s.legend()
	return s.Picture
}

// area paints rings, cut at the map's frame.
func (s *sheet) area(rings [][]plane.Point, fill Color) {
	var lines [][]Point
	for _, ring := range rings {
		if cut := clipRing(s.v.line(ring), s.v.frame); len(cut) >= 3 {
			lines = append(lines, cut)
		}
	}
	s.Draw(Path{Lines: lines, Closed: true, Fill: fill})
}

// stroke draws lines, cut at the map's frame.
func (s *sheet) stroke(lines [][]plane.Point, closed bool, width float64, c Color, dash ...float64) {
	var out [][]Point
	for _, line := range lines {
		q := s.v.line(line)
		if closed && len(q) > 0 {
			q = append(q, q[0])
		}
		out = append(out, clipLine(q, s.v.frame)...)
	}
	s.Draw(Path{Lines: out, Stroke: c, Width: width, Dash: dash})
}

// water paints the depths from the shore down, each band over the last.
func (s *sheet) water() {
	shallow, _ := s.depth(0)
	s.area(s.Rings, shallow)
	for _, c := range s.Contours {
		color, _ := s.depth(c.Depth)
		s.area(c.Rings, color)
		s.stroke(c.Rings, true, 0.12, Ink.Fade(0.55))
	}
	s.stroke(s.Rings, true, 0.6, Ink)
}

func (s *sheet) depth(d unit.Meters) (water, ink Color) {
	return Depth(float64(d) / max(float64(s.MaxDepth), 0.1))
}

// hoses draws every hose twice, a light line below a dark one, so that it shows on
// sand and on plum and where it crosses another. Trenches are broken lines.
func (s *sheet) hoses() {
	for _, d := range s.Diffusers {
		s.stroke([][]plane.Point{d.Route}, false, 0.9, Paper)
		s.stroke([][]plane.Point{d.Route}, false, 0.35, Ink)
	}
	for _, st := range s.Stations {
		s.stroke([][]plane.Point{st.Trench}, false, 1.3, Paper)
		s.stroke([][]plane.Point{st.Trench}, false, 0.8, Ink, 2, 0.8)
	}
}

// depthNumeral prints a depth in the map's unit, without it.
func (m Map) depthNumeral(d unit.Meters) string {
	if m.Feet {
		return trim(d.Feet(), 1)
	}
	return trim(float64(d), 2)
}

// trim prints v to at most n decimals.
func trim(v float64, n int) string {
	s := strconv.FormatFloat(v, 'f', n, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// graticule draws lines of equal latitude and longitude and their numbers outside
// the frame.
func (s *sheet) graticule() {
	if s.Frame == nil {
		return
	}
	f := s.v.frame
	a, b := s.Frame.ToLatLng(s.v.lo), s.Frame.ToLatLng(s.v.hi)
	lat0, lon0, lat1, lon1 := a.Lat.Degrees(), a.Lng.Degrees(), b.Lat.Degrees(), b.Lng.Degrees()
	if lon1 < lon0 {
		lon1 += 360 // across the antimeridian
	}
	lat, latDigits := gridStep((lat1 - lat0) / (f.y1 - f.y0))
	lon, lonDigits := gridStep((lon1 - lon0) / (f.x1 - f.x0))
	if lat == 0 || lon == 0 {
		return
	}
	first := math.Ceil(lat0 / lat)
	for i := range int((lat1-lat0)/lat) + 1 {
		v := (first + float64(i)) * lat
		y := f.y1 - (v-lat0)/(lat1-lat0)*(f.y1-f.y0)
		if y < f.y0 {
			break
		}
		s.Rule(Point{f.x0, y}, Point{f.x1, y}, 0.1, Ink.Fade(0.45))
		words := degrees(v, latDigits)
		if half := Width(words, numeral, false) / 2; y-half > f.y0 && y+half < f.y1 {
			s.Write(Text{At: Point{f.x0 - 1.2, y}, Size: numeral, Align: Middle, Angle: 90, Words: words})
		}
	}
	first = math.Ceil(lon0 / lon)
	for i := range int((lon1-lon0)/lon) + 1 {
		v := (first + float64(i)) * lon
		x := f.x0 + (v-lon0)/(lon1-lon0)*(f.x1-f.x0)
		if x > f.x1 {
			break
		}
		s.Rule(Point{x, f.y0}, Point{x, f.y1}, 0.1, Ink.Fade(0.45))
		words := degrees(math.Remainder(v, 360), lonDigits)
		if half := Width(words, numeral, false) / 2; x-half > f.x0 && x+half < f.x1 {
			s.Write(Text{At: Point{x, f.y1 + 1 + numeral}, Size: numeral, Align: Middle, Words: words})
		}
	}
}

// gridStep returns a round step of the grid, at least 34 mm apart at so many
// degrees per millimeter, and the decimals that it asks for. It is 0 where there
// is no scale.
func gridStep(degPerMM float64) (step float64, digits int) {
	least := 34 * degPerMM
	if !(least > 1e-8) || least > 1 { // finer than a millimeter, or no map of a pond
		return 0, 0
	}
	digits = int(math.Ceil(-math.Log10(least)))
	p := math.Pow(10, -float64(digits))
	for _, k := range []float64{1, 2, 5, 10} {
		if k*p >= least {
			return k * p, digits
		}
	}
	return 10 * p, digits
}

func degrees(v float64, digits int) string { return fmt.Sprintf("%.*f°", digits, v) }
