package sheet

import (
	"fmt"

	"pondwright/geo/draw"
)

// Format is a size of paper, standing, in mm.
type Format struct{ W, H float64 }

// The formats.
var (
	Letter = Format{215.9, 279.4}
	A4     = Format{210, 297}
)

// ParseFormat reads "letter" or "a4".
func ParseFormat(s string) (Format, error) {
	switch s {
	case "letter":
		return Letter, nil
	case "a4":
		return A4, nil
	}
	return Letter, fmt.Errorf("%q is neither letter nor a4", s)
}

// Measures of a page, mm.
const (
	margin  = 14.0
	headH   = 13.0 // of the pond's name and the plan's state, with the rule below
	footH   = 7.0
	leading = 1.32 // of a line, as a share of its size
)

// Sizes of type.
var (
	bodySize  = draw.Points(10.5)
	leastBody = draw.Points(9) // of a page that should hold all
	headSize  = draw.Points(14)
	tableSize = draw.Points(11)
	leastSize = draw.Points(6.5) // of a table that is wide
)

// press sets a document page by page.
type press struct {
	format Format
	pages  []*draw.Picture
	titles []string // of each page's part
	page   *draw.Picture
	y      float64
	body   float64 // size of type, mm
}

// open begins a part of the document on a new page.
func (p *press) open(title string, upright bool) {
	w, h := p.format.W, p.format.H
	if !upright {
		w, h = h, w
	}
	p.page = draw.NewPicture(title, w, h)
	p.pages, p.titles = append(p.pages, p.page), append(p.titles, title)
	p.y = margin + headH
}

func (p *press) width() float64  { return p.page.W - 2*margin }
func (p *press) bottom() float64 { return p.page.H - margin - footH }

// room goes to a new page of the same part unless h more millimeters fit, and
// reports whether it did.
func (p *press) room(h float64) bool {
	if p.y+h <= p.bottom() || p.y <= margin+headH {
		return false
	}
	p.open(p.titles[len(p.titles)-1], p.page.H >= p.page.W)
	return true
}

func (p *press) gap(h float64) { p.y += h }

// head sets a heading that keeps with what follows.
func (p *press) head(words string) {
	p.room(30)
	p.y += headSize
	size := draw.Fit(words, headSize, p.width(), true)
	p.page.Write(draw.Text{At: draw.Point{X: margin, Y: p.y}, Size: size, Bold: true, Words: words})
	p.y += 0.55 * headSize
}

// para sets a paragraph.
func (p *press) para(words string) { p.lines(words, margin, p.body, false) }

func (p *press) strong(words string) { p.lines(words, margin, p.body, true) }

// point sets a paragraph behind a mark.
func (p *press) point(mark, words string) {
	const indent = 6.0
	p.room(leading * p.body)
	p.page.Write(draw.Text{At: draw.Point{X: margin + 1, Y: p.y + p.body}, Size: p.body, Bold: true, Words: mark})
	p.lines(words, margin+indent, p.body, false)
}

func (p *press) lines(words string, x, size float64, bold bool) {
	for _, line := range draw.Wrap(words, size, p.page.W-margin-x, bold) {
		p.room(leading * size)
		p.page.Write(draw.Text{At: draw.Point{X: x, Y: p.y + size}, Size: size, Bold: bold, Words: line})
		p.y += leading * size
	}
	p.y += 0.35 * size
}

// picture sets a drawing at x from the margin.
func (p *press) picture(q *draw.Picture, x float64) { p.page.Put(q, margin+x, p.y) }

// frame writes on every page what must stand on all of them.
type frame struct {
	pond   string
	state  string // plan, survey, draft or approved
	stamp  string // across the page; empty for none
	footer string
}

// finish writes the frame on every page and returns them.
func (p *press) finish(f frame) []*draw.Picture {
	for i, page := range p.pages {
		w := page.W - 2*margin
		title := p.titles[i]
		if i > 0 && p.titles[i-1] == title {
			title += ", continued"
		}
		titleSize := draw.Fit(title, draw.Points(12), 0.5*w, true)
		titleW := draw.Width(title, titleSize, true)
		pondSize := draw.Fit(f.pond, draw.Points(12), w-titleW-6, true)
		page.Write(draw.Text{At: draw.Point{X: margin, Y: margin + 3}, Size: pondSize, Bold: true, Words: f.pond})
		page.Write(draw.Text{At: draw.Point{X: margin + w, Y: margin + 3}, Size: titleSize, Align: draw.Right, Bold: true, Words: title})
		page.Write(draw.Text{At: draw.Point{X: margin, Y: margin + 7.6}, Size: draw.Fit(f.state, draw.Points(9), w, false), Words: f.state})
		page.Rule(draw.Point{X: margin, Y: margin + 9.4}, draw.Point{X: margin + w, Y: margin + 9.4}, 0.4, draw.Ink)
		f.foot(page, i+1, len(p.pages))
		f.across(page)
	}
	return p.pages
}

func (f frame) foot(page *draw.Picture, n, of int) {
	w, y := page.W-2*margin, page.H-margin
	number := fmt.Sprintf("Page %d of %d", n, of)
	page.Rule(draw.Point{X: margin, Y: y - 4.4}, draw.Point{X: margin + w, Y: y - 4.4}, 0.25, draw.Ink)
	page.Write(draw.Text{At: draw.Point{X: margin + w, Y: y}, Size: draw.Points(9), Align: draw.Right, Words: number})
	words := f.footer
	room := w - draw.Width(number, draw.Points(9), false) - 4
	page.Write(draw.Text{At: draw.Point{X: margin, Y: y}, Size: draw.Fit(words, draw.Points(9), room, true), Bold: true, Words: words})
}

// across writes the stamp from corner to corner, light enough to read through and
// dark enough to survive a copier.
func (f frame) across(page *draw.Picture) {
	if f.stamp == "" {
		return
	}
	angle := 35.0
	if page.H > page.W {
		angle = 52
	}
	size := draw.Fit(f.stamp, 16, 0.92*min(page.W, page.H)*1.25, true)
	page.Write(draw.Text{
		At:   draw.Point{X: page.W/2 + 0.3*size*0.6, Y: page.H/2 + 0.3*size},
		Size: size, Align: draw.Middle, Bold: true, Angle: angle, Color: draw.Ink.Fade(0.13), Words: f.stamp,
	})
}
