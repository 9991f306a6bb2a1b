package draw

import (
	"fmt"
	"strings"
)

// Type of the panel beside the map, as shares of its size.
const (
	largestType = 9.5
	leadingOf   = 1.28
	factGapOf   = 0.3
	indentOf    = 0.8
)

// drawPanel writes the table of diffusers and the facts beside the map, in the
// largest type in which all of it fits: no caution may fall off the page.
func (l Layout) drawPanel(s *svg) {
	const w, h = pageW - marginU - panelX, pageH - 2*marginU
	size := largestType
	lines := l.wrapFacts(w, size)
	for l.tableWidth(size) > w || l.panelHeight(lines, size) > h {
		size *= 0.95
		lines = l.wrapFacts(w, size)
	}
	y := marginU + size
	if len(l.Diffusers) > 0 {
		y = l.drawTable(s, y, w, size)
	}
	drawLines(s, lines, y, size)
}

func (l Layout) panelHeight(lines []factLine, size float64) float64 {
	rows := float64(len(lines))
	if len(l.Diffusers) > 0 {
		rows += float64(len(l.Diffusers)) + 2
	}
	return size * (leadingOf*rows + factGapOf*float64(len(l.Facts)))
}

// factLine is one printed line of a fact.
type factLine struct {
	text  string
	first bool
}

func (l Layout) wrapFacts(w, size float64) []factLine {
	n := max(1, int((w-indentOf*size)/(size*glyphW)))
	var out []factLine
	for _, fact := range l.Facts {
		for i, line := range wrap(fact, n) {
			out = append(out, factLine{line, i == 0})
		}
	}
	return out
}

func drawLines(s *svg, lines []factLine, y, size float64) {
	for i, line := range lines {
		x := panelX + indentOf*size
		if line.first {
			x = panelX
			if i > 0 {
				y += factGapOf * size
			}
		}
		s.text(x, y, size, `fill="#2b1a2e"`, line.text)
		y += leadingOf * size
	}
}

// cell returns what stands in a column of a diffuser's row.
func (d Diffuser) cell(column int) string {
	switch {
	case column == 0:
		return fmt.Sprint(d.Number)
	case column <= len(d.Row):
		return d.Row[column-1]
	}
	return ""
}

// columnWidths are what the longest cell of each column asks, in characters.
func (l Layout) columnWidths() (widths []float64, sum float64) {
	const gap = 2
	for i, head := range l.Columns {
		n := len([]rune(head))
		for _, d := range l.Diffusers {
			n = max(n, len([]rune(d.cell(i))))
		}
		widths = append(widths, float64(n+gap))
		sum += float64(n + gap)
	}
	return widths, sum
}

func (l Layout) tableWidth(size float64) float64 {
	_, sum := l.columnWidths()
	return glyphW * size * sum
}

// drawTable writes the table and returns the height at which it ends.
func (l Layout) drawTable(s *svg, y, w, size float64) float64 {
	widths, sum := l.columnWidths()
	row := func(style string, cell func(i int) string) {
		x := panelX
		for i := range l.Columns {
			x += w * widths[i] / sum
			s.text(x-2, y, size, `text-anchor="end" fill="#2b1a2e"`+style, cell(i))
		}
		y += leadingOf * size
	}
	row(` font-weight="bold"`, func(i int) string { return l.Columns[i] })
	s.element(`<path d="M%s %sh%s" stroke="#2b1a2e" stroke-width="0.8"/>`, num(panelX), num(y-0.9*size), num(w))
	y += 0.2 * size
	for _, d := range l.Diffusers {
		row("", d.cell)
	}
	return y + 0.6*leadingOf*size
}

// wrap breaks text into lines of at most n characters, n ≥ 1, at spaces; a longer
// word is cut.
func wrap(text string, n int) []string {
	var lines []string
	line := []rune(nil)
	for word := range strings.FieldsSeq(text) {
		rest := []rune(word)
		if len(line) > 0 && len(line)+1+len(rest) <= n {
			line = append(append(line, ' '), rest...)
			continue
		}
		if len(line) > 0 {
			lines = append(lines, string(line))
		}
		for ; len(rest) > n; rest = rest[n:] {
			lines = append(lines, string(rest[:n]))
		}
		line = rest
	}
	if len(line) > 0 {
		lines = append(lines, string(line))
	}
	return lines
}
