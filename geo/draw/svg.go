package draw

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"strconv"
)

// svg collects the elements of a drawing. Lengths are user units, a hundredth of
// an inch on the printed page.
type svg struct{ bytes.Buffer }

// begin writes the head of a page w by h units.
func (s *svg) begin(w, h float64, title string) {
	fmt.Fprintf(&s.Buffer, `<svg xmlns="http://www.w3.org/2000/svg" width="%sin" height="%sin" viewBox="0 0 %s %s" font-family="Helvetica, Arial, sans-serif">`+"\n",
		num(w/100), num(h/100), num(w), num(h))
	fmt.Fprintf(&s.Buffer, "<title>%s</title>\n", escape(title))
	fmt.Fprintf(&s.Buffer, `<rect width="%s" height="%s" fill="#ffffff"/>`+"\n", num(w), num(h))
}

func (s *svg) end() { s.WriteString("</svg>\n") }

// element writes one element; attrs is its attributes as SVG text.
func (s *svg) element(format string, args ...any) {
	fmt.Fprintf(&s.Buffer, format, args...)
	s.WriteByte('\n')
}

// text writes a line of text. Style holds further attributes.
func (s *svg) text(x, y, size float64, style, content string) {
	fmt.Fprintf(&s.Buffer, `<text x="%s" y="%s" font-size="%s" %s>%s</text>`+"\n",
		num(x), num(y), num(size), style, escape(content))
}

// num prints a coordinate to a hundredth of a unit, without trailing zeros.
func num(v float64) string {
	b := strconv.AppendFloat(nil, v, 'f', 2, 64)
	b = bytes.TrimRight(b, "0")
	b = bytes.TrimSuffix(b, []byte("."))
	if string(b) == "-0" {
		return "0"
	}
	return string(b)
}

func escape(text string) string {
	var b bytes.Buffer
	// Writing to a buffer cannot fail.
	_ = xml.EscapeText(&b, []byte(text))
	return b.String()
}
