// Package draw makes a pond's drawings: the map that a crew works from, the way of
// each hose along the bed, and the lines, areas and words that pages are made of.
//
// A drawing is a Picture: marks in millimeters on a page, composed once and then
// written as SVG here or as PDF and PNG elsewhere. The package decides how things
// look, not what they are; every number arrives computed. The same input gives the
// same marks.
//
//	page := draw.NewPicture("Fernhollow", 279.4, 215.9)
//	page.Put(m.Sheet(255, 180), 12, 20)
//	svg := page.SVG()
package draw

import (
	"math"
	"strings"
	"unicode"
)

// Picture is a drawing of a size in millimeters. Its marks are painted in order.
// The zero value is an empty page without a size; make others with NewPicture.
type Picture struct {
	Title string
	W, H  float64
	Marks []Mark
}

// Mark is a *Path or a *Text.
type Mark interface{ mark() }

// Point is a place on a page: millimeters right and down of its upper left corner.
type Point struct{ X, Y float64 }

// Path is lines of one look, or areas between them by the even-odd rule.
type Path struct {
	Lines  [][]Point
	Closed bool // each line ends where it began
	Fill   Color
	Stroke Color
	Width  float64   // of the stroke, mm
	Dash   []float64 // on, off, …, mm; empty for an unbroken stroke
}

// Text is a line of words.
type Text struct {
	At    Point // of the baseline, at the side that Align names
	Size  float64
	Align Align
	Bold  bool
	Color Color
	Angle float64 // degrees, counter-clockwise about At
	Words string
}

func (*Path) mark() {}
func (*Text) mark() {}

// Align says which part of a text stands at its place.
type Align int

// The zero value is Left.
const (
	Left Align = iota
	Middle
	Right
)

// Share returns how much of a text stands left of its place, 0 to 1.
func (a Align) Share() float64 { return float64(a) / 2 }

// Color is an opaque or translucent sRGB color, 0xAARRGGBB. The zero value paints
// nothing.
type Color uint32

// RGBA returns the parts of a color, each 0 to 255.
func (c Color) RGBA() (r, g, b, a uint8) {
	return uint8(c >> 16), uint8(c >> 8), uint8(c), uint8(c >> 24)
}

// Fade returns the color with its opacity times share, 0 to 1.
func (c Color) Fade(share float64) Color {
	a := math.Round(float64(c>>24) * min(1, max(0, share)))
	return c&0xffffff | Color(a)<<24
}

// Colors of a sheet: dark on light, so that a black and white copy says the same.
const (
	Ink   Color = 0xff17101a
	Soft  Color = 0xff5b505e // for what may be overlooked
	Hair  Color = 0xffb5acb8 // for rules and grids
	Paper Color = 0xffffffff
	Shade Color = 0xfff0ece6 // behind the heads of tables
)

// NewPicture returns an empty picture of w by h millimeters.
func NewPicture(title string, w, h float64) *Picture {
	return &Picture{Title: clean(title), W: tame(w), H: tame(h)}
}

// farthest is beyond any page, in mm.
const farthest = 1e5

// tame keeps what is no number, or beyond any page, out of the writers.
func tame(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return min(farthest, max(-farthest, v))
}

func finite(p Point) bool {
	return math.Abs(p.X) <= farthest && math.Abs(p.Y) <= farthest
}

// Draw adds a path. Points that are no numbers are left out.
func (p *Picture) Draw(path Path) {
	kept := make([][]Point, 0, len(path.Lines))
	for _, line := range path.Lines {
		good := make([]Point, 0, len(line))
		for _, q := range line {
			if finite(q) {
				good = append(good, q)
			}
		}
		if len(good) >= 2 {
			kept = append(kept, good)
		}
	}
	if len(kept) == 0 {
		return
	}
	path.Lines, path.Width = kept, tame(path.Width)
	p.Marks = append(p.Marks, &path)
}

// Write adds a text. Control characters become spaces; empty words add nothing.
func (p *Picture) Write(t Text) {
	t.Words = clean(t.Words)
	if t.Words == "" || !finite(t.At) || !(t.Size > 0) {
		return
	}
	if t.Color == 0 {
		t.Color = Ink
	}
	t.Size, t.Angle = tame(t.Size), tame(t.Angle)
	p.Marks = append(p.Marks, &t)
}

// Rule adds a straight line.
func (p *Picture) Rule(a, b Point, width float64, c Color, dash ...float64) {
	p.Draw(Path{Lines: [][]Point{{a, b}}, Stroke: c, Width: width, Dash: dash})
}

// Rect adds a rectangle with its upper left corner at x, y.
func (p *Picture) Rect(x, y, w, h float64, fill, stroke Color, width float64) {
	p.Draw(Path{
		Lines:  [][]Point{{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}}},
		Closed: true, Fill: fill, Stroke: stroke, Width: width,
	})
}

// Disc adds a filled circle.
func (p *Picture) Disc(at Point, r float64, fill, stroke Color, width float64) {
	const corners = 36
	ring := make([]Point, corners)
	for i := range ring {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / corners)
		ring[i] = Point{at.X + r*cos, at.Y + r*sin}
	}
	p.Draw(Path{Lines: [][]Point{ring}, Closed: true, Fill: fill, Stroke: stroke, Width: width})
}

// Put adds the marks of another picture with its upper left corner at x, y.
func (p *Picture) Put(q *Picture, x, y float64) {
	for _, m := range q.Marks {
		switch m := m.(type) {
		case *Path:
			moved := *m
			moved.Lines = make([][]Point, len(m.Lines))
			for i, line := range m.Lines {
				moved.Lines[i] = make([]Point, len(line))
				for j, at := range line {
					moved.Lines[i][j] = Point{at.X + x, at.Y + y}
				}
			}
			p.Draw(moved)
		case *Text:
			moved := *m
			moved.At = Point{m.At.X + x, m.At.Y + y}
			p.Write(moved)
		}
	}
}

// clean makes one printable line of any text.
func clean(s string) string {
	s = strings.ToValidUTF8(s, "�")
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r), unicode.IsControl(r):
			return ' '
		case unicode.Is(unicode.Cf, r): // marks that print nothing
			return -1
		}
		return r
	}, s)
	return strings.TrimSpace(s)
}
