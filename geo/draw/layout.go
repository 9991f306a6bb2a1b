// Package draw makes a pond's drawings as SVG: plain text that any browser shows,
// any printer prints and a page can embed.
//
// A drawing is a value: fill in a Layout and call its SVG method. The package
// decides how things look, not what they are; every number arrives computed.
// Given the same Layout it returns the same bytes.
package draw

import (
	"fmt"
	"math"
	"strings"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// Contour is the line along which the water is Depth deep: closed rings, with
// water deeper than Depth inside an odd number of them.
type Contour struct {
	Depth unit.Meters
	Rings [][]plane.Point
}

// Diffuser is one numbered diffuser with the hose that feeds it.
type Diffuser struct {
	Number int
	At     plane.Point
	Route  []plane.Point // from the mast through the shore entry to the diffuser
	Row    []string      // its cells in the table, under Layout.Columns
}

// Layout is the plan view that an install crew works from: depths, numbered
// diffusers, hoses, mast, north arrow and scale bar, with a table beside it.
type Layout struct {
	Title   string   // the pond
	Details []string // a line each under the title: place, survey date, plan id
	Stamp   string   // printed large across the map, empty for none

	Rings    [][]plane.Point // shoreline: the outer ring, then the islands
	Contours []Contour       // shallow to deep
	MaxDepth unit.Meters

	Mast      *plane.Point // nil leaves it out
	Diffusers []Diffuser
	Columns   []string // heads of the table, the first over the number

	Facts []string // lines of plain text below the table
	Feet  bool     // label depths and distances in feet instead of meters
}

// Page size: US letter on its side, in hundredths of an inch.
const (
	pageW, pageH = 1100.0, 850.0
	marginU      = 36.0
	mapW         = 690.0
	panelX       = marginU + mapW + 18
)

// view maps the pond's plane to the page.
type view struct {
	scale  float64 // units per meter
	lo, hi plane.Point
	x0, y0 float64
}

func (v view) at(p plane.Point) (x, y float64) {
	return v.x0 + (p.X-v.lo.X)*v.scale, v.y0 + (v.hi.Y-p.Y)*v.scale
}

// SVG returns the drawing. It never fails; parts that are not given are left out.
func (l Layout) SVG() []byte {
	var s svg
	s.begin(pageW, pageH, l.Title)
	top := marginU + 22
	s.text(marginU, marginU+14, 20, `font-weight="bold" fill="#2b1a2e"`, l.Title)
	for _, d := range l.Details {
		top += 13
		s.text(marginU, top-4, 10.5, `fill="#4a3f4d"`, d)
	}
	v := l.fit(marginU, top+8, mapW, pageH-marginU-top-40)
	l.drawDepths(&s, v)
	l.drawHoses(&s, v)
	l.drawMarks(&s, v)
	l.drawStamp(&s)
	l.drawScaleBar(&s, v)
	drawNorth(&s, marginU+mapW-16, top+28)
	l.drawPanel(&s)
	s.end()
	return s.Bytes()
}

// fit returns the view that shows all of the layout within a box.
func (l Layout) fit(x, y, w, h float64) view {
	v := view{
		lo: plane.Point{X: math.Inf(1), Y: math.Inf(1)},
		hi: plane.Point{X: math.Inf(-1), Y: math.Inf(-1)},
	}
	grow := func(p plane.Point) {
		v.lo = plane.Point{X: min(v.lo.X, p.X), Y: min(v.lo.Y, p.Y)}
		v.hi = plane.Point{X: max(v.hi.X, p.X), Y: max(v.hi.Y, p.Y)}
	}
	for _, ring := range l.Rings {
		for _, p := range ring {
			grow(p)
		}
	}
	if l.Mast != nil {
		grow(*l.Mast)
	}
	if v.lo.X > v.hi.X {
		v.lo, v.hi = plane.Point{}, plane.Point{X: 1, Y: 1}
	}
	pad := 0.03 * max(v.hi.X-v.lo.X, v.hi.Y-v.lo.Y, 1)
	v.lo, v.hi = v.lo.Sub(plane.Point{X: pad, Y: pad}), v.hi.Add(plane.Point{X: pad, Y: pad})
	v.scale = min(w/(v.hi.X-v.lo.X), h/(v.hi.Y-v.lo.Y))
	v.x0 = x + (w-v.scale*(v.hi.X-v.lo.X))/2
	v.y0 = y + (h-v.scale*(v.hi.Y-v.lo.Y))/2
	return v
}

// path returns rings as SVG path data.
func path(v view, rings [][]plane.Point, closed bool) string {
	var b strings.Builder
	for _, ring := range rings {
		for i, p := range ring {
			x, y := v.at(p)
			cmd := "L"
			if i == 0 {
				cmd = "M"
			}
			b.WriteString(cmd + num(x) + " " + num(y))
		}
		if closed {
			b.WriteString("Z")
		}
	}
	return b.String()
}

// drawDepths paints the water from the shore down, each band over the last.
func (l Layout) drawDepths(s *svg, v view) {
	s.element(`<path d="%s" fill="%s" fill-rule="evenodd" stroke="none"/>`, path(v, l.Rings, true), l.color(0).hex())
	for _, c := range l.Contours {
		s.element(`<path d="%s" fill="%s" fill-rule="evenodd" stroke="#2b1a2e" stroke-opacity="0.45" stroke-width="0.5"/>`,
			path(v, c.Rings, true), l.color(c.Depth).hex())
	}
	s.element(`<path d="%s" fill="none" stroke="#2b1a2e" stroke-width="1.6" stroke-linejoin="round"/>`, path(v, l.Rings, true))
	var taken []box
	for _, d := range l.Diffusers {
		x, y := v.at(d.At)
		taken = append(taken, box{x - 14, y - 14, x + 14, y + 14})
	}
	for i, c := range l.Contours {
		l.label(s, v, c, i, &taken)
	}
}

func (l Layout) color(d unit.Meters) oklab {
	return depthColor(float64(d) / max(float64(l.MaxDepth), 0.1))
}

type box struct{ x0, y0, x1, y1 float64 }

func (b box) meets(c box) bool { return b.x0 < c.x1 && c.x0 < b.x1 && b.y0 < c.y1 && c.y0 < b.y1 }

// label writes the numeral of contour i once on its longest ring, at the first
// of eight places where nothing else stands. Neighbors begin the search at
// different places, so that numerals do not line up over one hose.
func (l Layout) label(s *svg, v view, c Contour, i int, taken *[]box) {
	var longest []plane.Point
	for _, ring := range c.Rings {
		if plane.RingLength(ring) > plane.RingLength(longest) {
			longest = ring
		}
	}
	if plane.RingLength(longest)*v.scale < 60 {
		return
	}
	const tries = 8
	for k := range tries {
		x, y := v.at(longest[len(longest)*((k+3*i)%tries)/tries])
		b := box{x - 11, y - 7, x + 11, y + 7}
		free := true
		for _, t := range *taken {
			free = free && !b.meets(t)
		}
		if !free {
			continue
		}
		*taken = append(*taken, b)
		color := l.color(c.Depth)
		s.element(`<rect x="%s" y="%s" width="20" height="11" rx="2" fill="%s"/>`, num(x-10), num(y-5.5), color.hex())
		s.text(x, y+3.4, 9.5, fmt.Sprintf(`text-anchor="middle" fill="%s"`, color.ink()), l.depthNumeral(c.Depth))
		return
	}
}

func (l Layout) depthNumeral(d unit.Meters) string {
	v := float64(d)
	if l.Feet {
		v = d.Feet()
	}
	return trim(v, 1)
}

// trim prints v to at most n decimals.
func trim(v float64, n int) string {
	s := fmt.Sprintf("%.*f", n, v)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// drawHoses draws every hose twice: light below, dark dashes above, so that it
// shows on sand and on plum.
func (l Layout) drawHoses(s *svg, v view) {
	for _, d := range l.Diffusers {
		if len(d.Route) < 2 {
			continue
		}
		data := path(v, [][]plane.Point{d.Route}, false)
		s.element(`<path d="%s" fill="none" stroke="#fbf7ee" stroke-width="3" stroke-linejoin="round"/>`, data)
		s.element(`<path d="%s" fill="none" stroke="#17101a" stroke-width="1.3" stroke-dasharray="7 3" stroke-linejoin="round"/>`, data)
	}
}

// drawMarks draws the mast as a square and every diffuser as a numbered disc.
func (l Layout) drawMarks(s *svg, v view) {
	if l.Mast != nil {
		x, y := v.at(*l.Mast)
		s.element(`<path d="M%s %sl8 14h-16z" fill="#fbf7ee" stroke="#17101a" stroke-width="1.6"/>`, num(x), num(y-9))
		s.text(x+11, y+5, 10.5, `fill="#17101a" font-weight="bold" paint-order="stroke" stroke="#ffffff" stroke-width="3"`, "Mast")
	}
	for _, d := range l.Diffusers {
		x, y := v.at(d.At)
		s.element(`<circle cx="%s" cy="%s" r="9" fill="#fbf7ee" stroke="#17101a" stroke-width="1.8"/>`, num(x), num(y))
		s.text(x, y+3.9, 11, `text-anchor="middle" font-weight="bold" fill="#17101a"`, fmt.Sprint(d.Number))
	}
}

func (l Layout) drawStamp(s *svg) {
	if l.Stamp == "" {
		return
	}
	cx, cy := marginU+mapW/2, pageH/2+20
	size := min(40, 1.5*mapW/float64(len(l.Stamp)))
	s.element(`<g transform="rotate(-24 %s %s)" opacity="0.30">`, num(cx), num(cy))
	s.text(cx, cy, size, `text-anchor="middle" font-weight="bold" fill="#17101a" paint-order="stroke" stroke="#ffffff" stroke-width="3"`, l.Stamp)
	s.element(`</g>`)
}

// drawScaleBar draws a bar of a round length, about a quarter of the map.
func (l Layout) drawScaleBar(s *svg, v view) {
	perUnit, name := 1.0, "m"
	if l.Feet {
		perUnit, name = float64(unit.Feet(1)), "ft"
	}
	length := roundDown(0.25 * mapW / v.scale / perUnit)
	w := length * perUnit * v.scale
	x, y := marginU+4, pageH-marginU-6
	for i := range 4 {
		fill := "#17101a"
		if i%2 == 1 {
			fill = "#ffffff"
		}
		s.element(`<rect x="%s" y="%s" width="%s" height="5" fill="%s" stroke="#17101a" stroke-width="0.7"/>`,
			num(x+w*float64(i)/4), num(y-5), num(w/4), fill)
	}
	s.text(x, y-9, 9.5, `fill="#17101a"`, "0")
	s.text(x+w, y-9, 9.5, `text-anchor="middle" fill="#17101a"`, trim(length, 2)+" "+name)
	depths := "Contour numerals: depth in " + map[bool]string{true: "feet", false: "meters"}[l.Feet] + " below the water of the survey"
	s.text(x+w+40, y, 9.5, `fill="#4a3f4d"`, depths)
}

// roundDown returns the largest of 1, 2, 5 times a power of ten that is ≤ v.
func roundDown(v float64) float64 {
	if !(v > 0) {
		return 1
	}
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, k := range []float64{5, 2} {
		if k*p <= v {
			return k * p
		}
	}
	return p
}

func drawNorth(s *svg, x, y float64) {
	s.element(`<path d="M%s %sl7 24l-7 -6l-7 6z" fill="#17101a"/>`, num(x), num(y-18))
	s.text(x, y-22, 12, `text-anchor="middle" font-weight="bold" fill="#17101a"`, "N")
}

// drawPanel writes the table of diffusers and the facts beside the map.
func (l Layout) drawPanel(s *svg) {
	y := marginU + 14.0
	w := pageW - marginU - panelX
	if n := len(l.Columns); n > 0 && len(l.Diffusers) > 0 {
		y = l.drawTable(s, y, w)
	}
	const size, leading = 9.5, 13.0
	for _, fact := range l.Facts {
		for i, line := range wrap(fact, int(w/(size*0.49))) {
			if y > pageH-marginU {
				return
			}
			style := `fill="#2b1a2e"`
			if i > 0 {
				style += ` dx="8"`
			}
			s.text(panelX, y, size, style, line)
			y += leading
		}
		y += 3
	}
}

// drawTable writes the table and returns the height at which it ends. With many
// rows it sets smaller type rather than run off the page.
func (l Layout) drawTable(s *svg, y, w float64) float64 {
	rows := float64(len(l.Diffusers) + 1)
	leading := min(14.0, 0.6*pageH/rows)
	size := min(9.5, leading*0.72)
	column := w / float64(len(l.Columns))
	right := func(i int) float64 { return panelX + column*float64(i+1) - 2 }
	for i, head := range l.Columns {
		s.text(right(i), y, size, `text-anchor="end" font-weight="bold" fill="#2b1a2e"`, head)
	}
	s.element(`<path d="M%s %sh%s" stroke="#2b1a2e" stroke-width="0.8"/>`, num(panelX), num(y+4), num(w))
	y += leading + 2
	for _, d := range l.Diffusers {
		cells := append([]string{fmt.Sprint(d.Number)}, d.Row...)
		for i, cell := range cells[:min(len(cells), len(l.Columns))] {
			s.text(right(i), y, size, `text-anchor="end" fill="#2b1a2e"`, cell)
		}
		y += leading
	}
	return y + 8
}

// wrap breaks text into lines of at most n characters at spaces; a longer word
// keeps a line of its own.
func wrap(text string, n int) []string {
	var lines []string
	var line string
	for _, word := range strings.Fields(text) {
		switch {
		case line == "":
			line = word
		case len([]rune(line))+1+len([]rune(word)) <= n:
			line += " " + word
		default:
			lines, line = append(lines, line), word
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
