package draw_test

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pondwright/geo/draw"
	"pondwright/geo/plane"
)

// The page in user units, hundredths of an inch: US letter on its side.
const pageW, pageH = 1100.0, 850.0

type mark struct {
	XMLName xml.Name
	X       float64 `xml:"x,attr"`
	Y       float64 `xml:"y,attr"`
	CX      float64 `xml:"cx,attr"`
	CY      float64 `xml:"cy,attr"`
	R       float64 `xml:"r,attr"`
	Size    float64 `xml:"font-size,attr"`
	Anchor  string  `xml:"text-anchor,attr"`
	Text    string  `xml:",chardata"`
	Marks   []mark  `xml:",any"`
}

// parse returns the upright texts and the circles of a drawing.
func parse(t interface {
	Helper()
	Fatalf(string, ...any)
}, svg []byte) (texts, circles []mark) {
	t.Helper()
	var page mark
	if err := xml.Unmarshal(svg, &page); err != nil {
		t.Fatalf("not XML: %v", err)
	}
	for _, m := range page.Marks {
		switch m.XMLName.Local {
		case "text":
			texts = append(texts, m)
		case "circle":
			circles = append(circles, m)
		}
	}
	return texts, circles
}

// span is about how far a text reaches: half its size for each character.
func (m mark) span() (from, to float64) {
	w := 0.5 * m.Size * float64(len([]rune(m.Text)))
	switch m.Anchor {
	case "end":
		return m.X - w, m.X
	case "middle":
		return m.X - w/2, m.X + w/2
	}
	return m.X, m.X + w
}

// crowded is a layout of 60 diffusers a few meters apart in a wide pond, with 25
// cautions beside it.
func crowded() draw.Layout {
	l := bowl()
	l.Rings = [][]plane.Point{{{X: -300, Y: -200}, {X: 300, Y: -200}, {X: 300, Y: 200}, {X: -300, Y: 200}}}
	l.Contours = nil
	mast := plane.Point{X: 318, Y: 0}
	l.Mast = &mast
	l.Columns = []string{"No.", "depth", "air", "lift", "hose", "serves"}
	l.Diffusers = nil
	for i := range 60 {
		at := plane.Point{X: -60 + 9*float64(i%12), Y: -20 + 9*float64(i/12)}
		l.Diffusers = append(l.Diffusers, draw.Diffuser{
			Number: i + 1, At: at, Route: []plane.Point{mast, at},
			Row: []string{"14.6 ft", "1.43 scfm", "2,210 gpm", "1,240 ft", "4.12 acre-ft"},
		})
	}
	l.Facts = nil
	for i := range 25 {
		l.Facts = append(l.Facts, fmt.Sprintf("Caution: number%d of many, long enough to take several lines of the panel however wide it is: mixing dead bottom water into the pond can kill all fish in one night, and a smell of rotten eggs means no start.", i))
	}
	return l
}

func TestLayout_NothingFallsOffThePage(t *testing.T) {
	t.Parallel()
	long := bowl()
	long.Title = strings.Repeat("A pond with a long name ", 8)
	long.Details = []string{strings.Repeat("a place far away, ", 20)}
	word := bowl()
	word.Facts = []string{strings.Repeat("x", 400)}
	endless := crowded()
	for len(endless.Facts) < 600 {
		endless.Facts = append(endless.Facts, endless.Facts...)
	}
	details := bowl()
	for range 70 {
		details.Details = append(details.Details, "and another line")
	}
	details.Details = details.Details[:50]
	for name, l := range map[string]draw.Layout{
		"usual": bowl(), "crowded": crowded(), "long name": long, "long word": word, "endless cautions": endless, "fifty details": details,
		"meters, no mast": func() draw.Layout { l := bowl(); l.Feet, l.Mast = false, nil; return l }(),
	} {
		texts, _ := parse(t, l.SVG())
		for _, m := range texts {
			if from, to := m.span(); from < 0 || to > pageW || m.Y-m.Size < -1 || m.Y > pageH {
				t.Errorf("%s: %.40q at %g, %g of size %g reaches from %.0f to %.0f", name, m.Text, m.X, m.Y, m.Size, from, to)
			}
		}
		all := strings.Builder{}
		for _, m := range texts {
			all.WriteString(m.Text + " ")
		}
		for _, f := range l.Facts {
			for w := range strings.FieldsSeq(f) {
				if len(w) < 100 && !strings.Contains(all.String(), w) {
					t.Errorf("%s: %q of %.30q is missing", name, w, f)
				}
			}
		}
	}
}

// Type is as large as the page allows: little text is set in the largest.
func TestLayout_TypeShrinksOnlyWhenItMust(t *testing.T) {
	t.Parallel()
	sizeOf := func(l draw.Layout, text string) float64 {
		texts, _ := parse(t, l.SVG())
		for _, m := range texts {
			if strings.HasPrefix(m.Text, text) {
				return m.Size
			}
		}
		t.Fatalf("no text %q", text)
		return 0
	}
	if got := sizeOf(bowl(), "Default: compressor"); got != 9.5 {
		t.Errorf("the facts of a small plan are set in %g, want 9.5", got)
	}
	if got := sizeOf(crowded(), "Caution: number0"); got >= 9.5 || got < 3 {
		t.Errorf("the facts of a crowded plan are set in %g", got)
	}
}

// Lines of the panel do not run into one another.
func TestLayout_PanelLinesKeepApart(t *testing.T) {
	t.Parallel()
	for name, l := range map[string]draw.Layout{"usual": bowl(), "crowded": crowded()} {
		texts, _ := parse(t, l.SVG())
		last := mark{}
		for _, m := range texts {
			if m.X < 740 {
				continue
			}
			if m.Y != last.Y && m.Y-last.Y < m.Size {
				t.Errorf("%s: %.30q at %g follows %.30q at %g, size %g", name, m.Text, m.Y, last.Text, last.Y, m.Size)
			}
			if _, to := last.span(); m.Y == last.Y {
				if from, _ := m.span(); from < to {
					t.Errorf("%s: %q begins at %.1f, %q before it ends at %.1f", name, m.Text, from, last.Text, to)
				}
			}
			last = m
		}
	}
}

// Numbered discs do not lie on one another while there is room for them to be read.
func TestLayout_DiscsKeepApart(t *testing.T) {
	t.Parallel()
	for name, l := range map[string]draw.Layout{"usual": bowl(), "crowded": crowded()} {
		_, circles := parse(t, l.SVG())
		if len(circles) != len(l.Diffusers) {
			t.Fatalf("%s: %d discs for %d diffusers", name, len(circles), len(l.Diffusers))
		}
		for i, a := range circles {
			for _, b := range circles[:i] {
				if d := math.Hypot(a.CX-b.CX, a.CY-b.CY); d < a.R+b.R-0.02 {
					t.Errorf("%s: discs of radius %g lie %g apart", name, a.R, d)
				}
			}
		}
	}
	if _, circles := parse(t, bowl().SVG()); circles[0].R < 8 {
		t.Errorf("two diffusers far apart are drawn with radius %g", circles[0].R)
	}
	// Two at one place are still there to be seen.
	one := bowl()
	one.Diffusers[1].At = one.Diffusers[0].At
	if _, circles := parse(t, one.SVG()); circles[0].R < 3 {
		t.Errorf("discs of radius %g", circles[0].R)
	}
}

// Whatever people call their pond, the drawing is XML and shows it.
func TestLayout_AnyText(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l := draw.Layout{
			Title: rapid.String().Draw(t, "title"),
			Facts: []string{rapid.String().Draw(t, "fact")},
			Stamp: rapid.StringN(0, 60, -1).Draw(t, "stamp"),
		}
		out := l.SVG()
		parse(t, out)
		for _, bad := range []string{"NaN", "Inf"} {
			if bytes.Contains(out, []byte(`="`+bad)) {
				t.Fatalf("a coordinate is %s", bad)
			}
		}
	})
}

func ExampleLayout_SVG() {
	pond := []plane.Point{{X: 0, Y: 0}, {X: 60, Y: 0}, {X: 60, Y: 40}, {X: 0, Y: 40}}
	svg := draw.Layout{Title: "Fernhollow", Rings: [][]plane.Point{pond}}.SVG()
	fmt.Println(strconv.Quote(string(svg[:39])))
	// Output: "<svg xmlns=\"http://www.w3.org/2000/svg\""
}

func BenchmarkLayout_SVG(b *testing.B) {
	l := crowded()
	b.ReportAllocs()
	for b.Loop() {
		l.SVG()
	}
}
