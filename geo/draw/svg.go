package draw

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"strconv"
	"strings"
)

// SVG returns the picture as SVG: plain text that any browser shows, any printer
// prints and a page can embed. Words keep their characters, also those that the
// type of the drawings lacks, and the width that the picture was composed for.
func (p *Picture) SVG() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %s %s" font-family="Go, Verdana, sans-serif">`+"\n",
		num(p.W), num(p.H), num(p.W), num(p.H))
	if p.Title != "" {
		b.WriteString("<title>" + escape(p.Title) + "</title>\n")
	}
	fmt.Fprintf(&b, `<rect width="%s" height="%s" fill="#ffffff"/>`+"\n", num(p.W), num(p.H))
	for _, m := range p.Marks {
		switch m := m.(type) {
		case *Path:
			svgPath(&b, m)
		case *Text:
			svgText(&b, m)
		}
	}
	b.WriteString("</svg>\n")
	return b.Bytes()
}

func svgPath(b *bytes.Buffer, m *Path) {
	b.WriteString(`<path d="`)
	for _, line := range m.Lines {
		for i, q := range line {
			b.WriteByte("ML"[min(i, 1)])
			b.WriteString(num(q.X) + " " + num(q.Y))
		}
		if m.Closed {
			b.WriteByte('Z')
		}
	}
	b.WriteString(`"` + svgColor("fill", m.Fill))
	if len(m.Lines) > 1 && m.Fill != 0 {
		b.WriteString(` fill-rule="evenodd"`)
	}
	if m.Stroke != 0 {
		fmt.Fprintf(b, `%s stroke-width="%s" stroke-linejoin="round"`, svgColor("stroke", m.Stroke), num(m.Width))
	}
	if len(m.Dash) > 0 {
		parts := make([]string, len(m.Dash))
		for i, d := range m.Dash {
			parts[i] = num(d)
		}
		b.WriteString(` stroke-dasharray="` + strings.Join(parts, " ") + `"`)
	}
	b.WriteString("/>\n")
}

func svgColor(attribute string, c Color) string {
	if c == 0 {
		return " " + attribute + `="none"`
	}
	out := fmt.Sprintf(` %s="#%06x"`, attribute, uint32(c&0xffffff))
	if a := c >> 24; a < 255 {
		out += fmt.Sprintf(` %s-opacity="%s"`, attribute, num(float64(a)/255))
	}
	return out
}

func svgText(b *bytes.Buffer, m *Text) {
	fmt.Fprintf(b, `<text x="%s" y="%s" font-size="%s" textLength="%s" lengthAdjust="spacingAndGlyphs"%s`,
		num(m.At.X), num(m.At.Y), num(m.Size), num(Width(m.Words, m.Size, m.Bold)), svgColor("fill", m.Color))
	if m.Align != Left {
		b.WriteString(` text-anchor="` + map[Align]string{Middle: "middle", Right: "end"}[m.Align] + `"`)
	}
	if m.Bold {
		b.WriteString(` font-weight="bold"`)
	}
	if m.Angle != 0 {
		fmt.Fprintf(b, ` transform="rotate(%s %s %s)"`, num(-m.Angle), num(m.At.X), num(m.At.Y))
	}
	b.WriteString(">" + escape(m.Words) + "</text>\n")
}

// num prints a coordinate to a hundredth of a millimeter.
func num(v float64) string {
	s := strconv.FormatFloat(v, 'f', 2, 64)
	s = strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

func escape(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // a Builder never fails
	return b.String()
}
