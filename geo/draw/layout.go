// Package draw makes a pond's drawings as SVG: plain text that any browser shows,
// any printer prints and a page can embed.
//
// A drawing is a value: fill in a Layout and call its SVG method. The package
// decides how things look, not what they are; every number arrives computed.
// Given the same Layout it returns the same bytes.
package draw

import (
	"math"

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
	s.text(marginU, marginU+14, fitted(20, mapW, l.Title), `font-weight="bold" fill="#2b1a2e"`, l.Title)
	leading := min(13, 0.25*pageH/float64(max(1, len(l.Details))))
	for _, d := range l.Details {
		top += leading
		s.text(marginU, top-4, fitted(0.8*leading, mapW, d), `fill="#4a3f4d"`, d)
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

// glyphW is the width of a character as a share of the type's size, on the wide
// side of the usual sans serif.
const glyphW = 0.56

// fitted returns the size at which text keeps within w, at most size.
func fitted(size, w float64, text string) float64 {
	return min(size, w/(glyphW*float64(max(1, len([]rune(text))))))
}
