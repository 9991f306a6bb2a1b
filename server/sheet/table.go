package sheet

import (
	"strings"

	"pondwright/geo/draw"
)

// column is the head of a column and how its cells stand.
type column struct {
	head  string
	align draw.Align
	wraps bool    // long cells take several lines
	tick  bool    // cells hold a box to tick
	least float64 // mm
}

// Room about words in a cell, mm.
const (
	cellPad = 1.6 // on each side
	rowPad  = 1.2 // above and below together
)

// table sets rows under their heads, in the largest type in which they fit, and
// repeats the heads on every page. Ruled rows have lines about every cell, for
// writing by hand, and the given height.
type table struct {
	columns []column
	rows    [][]string
	ruled   float64 // height of a row to write in, mm; 0 fits the words
}

// set prints the table.
func (t table) set(p *press) {
	if len(t.columns) == 0 || len(t.rows) == 0 {
		return
	}
	size := min(tableSize, p.body)
	widths := t.widths(size, p.width())
	for widths == nil && size > leastSize {
		size *= 0.96
		widths = t.widths(size, p.width())
	}
	if widths == nil {
		widths = t.squeezed(size, p.width())
	}
	heads := make([]string, len(t.columns))
	for i, c := range t.columns {
		heads[i] = c.head
	}
	head := t.row(heads, widths, size, true)
	most := int((p.bottom() - margin - headH - head.h - rowPad) / (leading * size))
	first := true
	for i, cells := range t.rows {
		for _, r := range t.row(cells, widths, size, false).split(most, size) {
			if first {
				p.room(head.h + r.h)
				head.print(p, widths, size)
			} else if p.room(r.h) {
				head.print(p, widths, size)
			}
			first = false
			r.shade = i%2 == 1 && t.ruled == 0
			r.boxed = t.ruled > 0
			r.print(p, widths, size)
		}
	}
	p.gap(2)
}

// split cuts a row that no page holds into several.
func (r row) split(most int, size float64) []row {
	var out []row
	for {
		part, more := r, false
		part.cells = make([][]string, len(r.cells))
		rest := make([][]string, len(r.cells))
		for i, lines := range r.cells {
			n := min(len(lines), max(1, most))
			part.cells[i], rest[i] = lines[:n], lines[n:]
			more = more || len(rest[i]) > 0
		}
		if !more {
			return append(out, part)
		}
		part.h = float64(most)*leading*size + rowPad
		out = append(out, part)
		r.cells = rest
		r.h = 0
		for _, lines := range rest {
			r.h = max(r.h, float64(len(lines))*leading*size+rowPad)
		}
	}
}

// widths returns the columns' widths at a size of type, nil if they do not fit.
func (t table) widths(size, room float64) []float64 {
	out := make([]float64, len(t.columns))
	fixed, loose := 0.0, 0.0
	for i := range t.columns {
		out[i] = t.natural(i, size)
		if t.columns[i].wraps {
			loose += out[i]
		} else {
			fixed += out[i]
		}
	}
	const narrowest = 26.0 // of a column that wraps
	if fixed+loose <= room {
		spare := (room - fixed - loose) / float64(len(out))
		for i := range out {
			out[i] += spare
		}
		return out
	}
	for i, c := range t.columns {
		if c.wraps {
			out[i] *= (room - fixed) / loose
			if out[i] < narrowest {
				return nil
			}
		}
	}
	if loose == 0 {
		return nil
	}
	return out
}

// squeezed shares the room out where nothing fits; cells then take several lines.
func (t table) squeezed(size, room float64) []float64 {
	out := make([]float64, len(t.columns))
	sum := 0.0
	for i := range out {
		out[i] = min(t.natural(i, size), room/3)
		sum += out[i]
	}
	for i := range out {
		out[i] *= room / sum
	}
	return out
}

// natural is the width that a column asks for; heads may take two lines.
func (t table) natural(i int, size float64) float64 {
	c := t.columns[i]
	w := c.least
	longest := 0.0
	for word := range strings.FieldsSeq(c.head) {
		longest = max(longest, draw.Width(word, size, true))
	}
	for _, line := range draw.Wrap(c.head, size, max(longest, draw.Width(c.head, size, true)/1.6), true) {
		w = max(w, draw.Width(line, size, true)+2*cellPad)
	}
	for _, r := range t.rows {
		if i < len(r) {
			w = max(w, draw.Width(r[i], size, false)+2*cellPad)
		}
	}
	return w + 0.01
}

// row is a line of the table, its cells broken into lines.
type row struct {
	columns []column
	cells   [][]string
	h       float64
	bold    bool
	shade   bool
	boxed   bool
}

func (t table) row(cells []string, widths []float64, size float64, bold bool) row {
	r := row{columns: t.columns, bold: bold, shade: bold}
	lines := 1
	for i := range t.columns {
		var broken []string
		if i < len(cells) {
			broken = draw.Wrap(cells[i], size, widths[i]-2*cellPad+0.02, bold)
		}
		lines = max(lines, len(broken))
		r.cells = append(r.cells, broken)
	}
	r.h = float64(lines)*leading*size + rowPad
	if !bold {
		r.h = max(r.h, t.ruled)
	}
	return r
}

func (r row) print(p *press, widths []float64, size float64) {
	if r.shade {
		p.page.Rect(margin, p.y, p.width(), r.h, draw.Shade, 0, 0)
	}
	x := margin
	for i, lines := range r.cells {
		for k, words := range lines {
			at := draw.Point{X: x + cellPad, Y: p.y + 0.6 + size*(0.98+leading*float64(k))}
			if r.columns[i].align == draw.Right {
				at.X = x + widths[i] - cellPad
			}
			p.page.Write(draw.Text{At: at, Size: size, Align: r.columns[i].align, Bold: r.bold, Words: words})
		}
		if r.columns[i].tick && !r.bold && len(lines) == 0 {
			p.page.Rect(x+cellPad, p.y+(r.h-size)/2, size, size, draw.Paper, draw.Ink, 0.25)
		}
		if r.boxed {
			p.page.Rect(x, p.y, widths[i], r.h, 0, draw.Soft, 0.2)
		}
		x += widths[i]
	}
	p.y += r.h
	if r.bold {
		p.page.Rule(draw.Point{X: margin, Y: p.y}, draw.Point{X: margin + p.width(), Y: p.y}, 0.3, draw.Ink)
	}
}
