package draw

import (
	"strings"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Points returns a size given in printer's points, of which 72 make an inch, in
// millimeters.
func Points(pt float64) float64 { return pt * 25.4 / 72 }

// Typeface is the type of all drawings: the Go fonts of Bigelow & Holmes, under
// the license of golang.org/x/image/font/gofont. They cover the alphabets of
// Europe; what they lack is printed as Missing.
type Typeface struct {
	Font   *sfnt.Font
	Data   []byte // the TrueType file
	widths [tableEnd]uint16
}

// Missing stands for a character that the type lacks.
const Missing = '□'

// tableEnd is above every character that the type has but for a few ligatures.
const tableEnd = 0x2700

// unitsPerEm at which widths are tabled.
const unitsPerEm = 2048

var faces = [2]func() *Typeface{
	sync.OnceValue(func() *Typeface { return newTypeface(goregular.TTF) }),
	sync.OnceValue(func() *Typeface { return newTypeface(gobold.TTF) }),
}

// Face returns the regular or the bold type.
func Face(bold bool) *Typeface {
	if bold {
		return faces[1]()
	}
	return faces[0]()
}

func newTypeface(data []byte) *Typeface {
	f, err := sfnt.Parse(data)
	if err != nil {
		return &Typeface{Data: data} // the compiled-in type is whole: a test reads it
	}
	t := &Typeface{Font: f, Data: data}
	var buf sfnt.Buffer
	for r := range rune(tableEnd) {
		glyph, err := f.GlyphIndex(&buf, r)
		if err != nil || glyph == 0 {
			continue
		}
		w, err := f.GlyphAdvance(&buf, glyph, fixed.I(unitsPerEm), font.HintingNone)
		if err == nil {
			t.widths[r] = uint16(w.Round())
		}
	}
	return t
}

// Has reports whether the type has the character.
func (t *Typeface) Has(r rune) bool { return r >= 0 && r < tableEnd && t.widths[r] > 0 }

// Advance returns the width of a character as a share of the size of type; that
// of Missing for one that the type lacks.
func (t *Typeface) Advance(r rune) float64 {
	if !t.Has(r) {
		r = Missing
	}
	return float64(t.widths[r]) / unitsPerEm
}

// Printable returns the text with Missing for what the type lacks.
func (t *Typeface) Printable(s string) string {
	return strings.Map(func(r rune) rune {
		if t.Has(r) {
			return r
		}
		return Missing
	}, s)
}

// Width returns the width of a text in the unit of its size.
func Width(s string, size float64, bold bool) float64 {
	t := Face(bold)
	sum := 0.0
	for _, r := range s {
		sum += t.Advance(r)
	}
	return size * sum
}

// Fit returns the size at which a text keeps within w, at most size.
func Fit(s string, size, w float64, bold bool) float64 {
	if got := Width(clean(s), size, bold); got > w && got > 0 {
		return size * max(w, 0) / got
	}
	return size
}

// Wrap breaks a text at spaces into lines no wider than w; a word that is wider is
// cut. A line holds at least one character.
func Wrap(s string, size, w float64, bold bool) []string {
	var lines []string
	line := ""
	for word := range strings.FieldsSeq(clean(s)) {
		next := word
		if line != "" {
			next = line + " " + word
		}
		if Width(next, size, bold) <= w {
			line = next
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for Width(word, size, bold) > w {
			n := fitting(word, size, w, bold)
			if n == len(word) {
				break
			}
			lines = append(lines, word[:n])
			word = word[n:]
		}
		line = word
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// fitting returns how many bytes of s keep within w: whole characters, at least one.
func fitting(s string, size, w float64, bold bool) int {
	t := Face(bold)
	sum, n := 0.0, 0
	for i, r := range s {
		sum += size * t.Advance(r)
		if i > 0 && sum > w {
			return n
		}
		n = i + len(string(r))
	}
	return len(s)
}
