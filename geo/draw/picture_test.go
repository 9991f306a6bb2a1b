package draw_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"pgregory.net/rapid"

	"pondwright/geo/draw"
)

func wellFormed(t interface {
	Helper()
	Fatalf(string, ...any)
}, svg []byte) (texts []string) {
	t.Helper()
	inText := false
	for dec := xml.NewDecoder(bytes.NewReader(svg)); ; {
		token, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return texts
		}
		if err != nil {
			t.Fatalf("not XML: %v", err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			inText = token.Name.Local == "text"
		case xml.CharData:
			if inText {
				texts = append(texts, string(token))
			}
		case xml.EndElement:
			inText = false
		}
	}
}

// Whatever is written or drawn, the picture is XML, holds no coordinate that is no
// number, and shows the words.
func TestPicture_AnythingIsXML(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.Float64()
		p := draw.NewPicture(rapid.String().Draw(t, "title"), number.Draw(t, "w"), number.Draw(t, "h"))
		p.Write(draw.Text{
			At: draw.Point{X: number.Draw(t, "x"), Y: number.Draw(t, "y")}, Size: number.Draw(t, "size"),
			Angle: number.Draw(t, "angle"), Words: rapid.String().Draw(t, "words"),
		})
		p.Rect(number.Draw(t, "x"), number.Draw(t, "y"), number.Draw(t, "w"), number.Draw(t, "h"), draw.Ink, draw.Paper, number.Draw(t, "width"))
		out := p.SVG()
		wellFormed(t, out)
		for _, bad := range []string{`"NaN`, `"Inf`, `"+Inf`, `"-Inf`} {
			if bytes.Contains(out, []byte(bad)) {
				t.Fatalf("a coordinate is %s", bad)
			}
		}
	})
}

func TestPicture_KeepsEveryAlphabet(t *testing.T) {
	t.Parallel()
	p := draw.NewPicture("池", 100, 50)
	for _, words := range []string{"Fernhollow & Sons <pond>", "Тихий пруд", "静かな池", "بركة"} {
		p.Write(draw.Text{At: draw.Point{X: 5, Y: 5}, Size: 4, Words: words})
	}
	got := strings.Join(wellFormed(t, p.SVG()), "|")
	if want := "Fernhollow & Sons <pond>|Тихий пруд|静かな池|بركة"; got != want {
		t.Errorf("words read back are %q, want %q", got, want)
	}
}

// The widths are those of another reader of the same fonts.
func TestWidth_OtherReader(t *testing.T) {
	t.Parallel()
	for i, data := range [][]byte{goregular.TTF, gobold.TTF} {
		f, err := opentype.Parse(data)
		if err != nil {
			t.Fatal(err)
		}
		const size = 2048
		face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
		if err != nil {
			t.Fatal(err)
		}
		for _, words := range []string{"Depth 13.2 ft", "12 m³ – 4′ 37.04° 5 m²", "Żółw Ωμέγα Пруд"} {
			want := 0.0
			for _, r := range words { // letter by letter: drawings are set without kerning
				advance, ok := face.GlyphAdvance(r)
				if !ok {
					t.Errorf("the type lacks %q", r)
				}
				want += float64(advance) / 64
			}
			if got := draw.Width(words, size, i == 1); math.Abs(got-want) > 1 {
				t.Errorf("width of %q is %.1f, want %.1f", words, got, want)
			}
		}
	}
}

func TestFace_Printable(t *testing.T) {
	t.Parallel()
	f := draw.Face(false)
	if got, want := f.Printable("37.5° 12 m² m³ 4′ – 池🐟"), "37.5° 12 m² m³ 4′ – □□"; got != want {
		t.Errorf("Printable = %q, want %q", got, want)
	}
}

// Lines keep within their width and lose no letter.
func TestWrap(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.StringMatching(`[a-zäΩ池]{0,30}( [a-z]{1,12}){0,20}`).Draw(t, "words")
		w := rapid.Float64Range(1, 80).Draw(t, "w")
		lines := draw.Wrap(words, 3, w, false)
		for _, line := range lines {
			if draw.Width(line, 3, false) > w+1e-9 && len([]rune(line)) > 1 {
				t.Fatalf("%q is wider than %.1f", line, w)
			}
		}
		if got, want := strings.ReplaceAll(strings.Join(lines, ""), " ", ""), strings.ReplaceAll(words, " ", ""); got != want {
			t.Fatalf("wrapped to %q, want %q", got, want)
		}
	})
}

func ExamplePicture_SVG() {
	p := draw.NewPicture("Fernhollow", 40, 20)
	p.Rect(5, 5, 30, 10, 0, draw.Ink, 0.5)
	fmt.Println(strings.Count(string(p.SVG()), "<path"))
	// Output: 1
}
