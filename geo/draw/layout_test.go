package draw_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"pondwright/calc/unit"
	"pondwright/geo/draw"
	"pondwright/geo/plane"
)

// bowl returns a layout of a round pond with a cone for a bed.
func bowl() draw.Layout {
	circle := func(r float64) []plane.Point {
		ring := make([]plane.Point, 120)
		for i := range ring {
			a := 2 * math.Pi * float64(i) / float64(len(ring))
			ring[i] = plane.Point{X: r * math.Cos(a) * (1 + 0.2*math.Cos(3*a)), Y: 0.7 * r * math.Sin(a)}
		}
		return ring
	}
	mast := plane.Point{X: 95, Y: 50}
	l := draw.Layout{
		Title:    "Fernhollow & Sons <pond>",
		Details:  []string{"Surveyed 2026-06-09", "Plan 7K2M"},
		Stamp:    "NOT FOR CONSTRUCTION: DEFAULTS USED",
		Rings:    [][]plane.Point{circle(80)},
		MaxDepth: 4,
		Mast:     &mast,
		Columns:  []string{"No.", "Depth ft", "Air scfm", "Lift gpm", "Hose ft"},
		Facts:    []string{"Default: compressor curve of a generic machine, so that this long line must be wrapped to stay on the page.", "Water at the level of the survey day."},
		Feet:     true,
	}
	for d := 0.5; d < 4; d += 0.5 {
		l.Contours = append(l.Contours, draw.Contour{Depth: unit.Meters(d), Rings: [][]plane.Point{circle(80 * (1 - d/4))}})
	}
	for i, at := range []plane.Point{{X: 10, Y: 5}, {X: -30, Y: -12}} {
		l.Diffusers = append(l.Diffusers, draw.Diffuser{
			Number: i + 1, At: at, Route: []plane.Point{mast, {X: 70, Y: 30}, at},
			Row: []string{"11.2", "1.4", "1,820", "340"},
		})
	}
	return l
}

func TestLayout_IsWellFormedAndComplete(t *testing.T) {
	t.Parallel()
	out := bowl().SVG()
	texts := 0
	for dec := xml.NewDecoder(bytes.NewReader(out)); ; {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("not XML: %v", err)
		}
		if e, ok := tok.(xml.StartElement); ok && e.Name.Local == "text" {
			texts++
		}
	}
	for _, want := range []string{"Fernhollow &amp; Sons &lt;pond&gt;", "NOT FOR CONSTRUCTION", "1,820", "stay on the page", "depth in feet", ">Mast<"} {
		if !strings.Contains(string(out), want) {
			t.Errorf("drawing lacks %q", want)
		}
	}
	if texts < 20 {
		t.Errorf("drawing has %d texts, want at least title, table, labels and facts", texts)
	}
	if strings.Contains(string(out), "NaN") || strings.Contains(string(out), "Inf") {
		t.Error("drawing holds a coordinate that is no number")
	}
}

func TestLayout_SameInputSameBytes(t *testing.T) {
	t.Parallel()
	if !bytes.Equal(bowl().SVG(), bowl().SVG()) {
		t.Error("two drawings of one layout differ")
	}
}

func TestLayout_EmptyDrawsAPage(t *testing.T) {
	t.Parallel()
	if out := string(draw.Layout{}.SVG()); !strings.HasSuffix(out, "</svg>\n") || strings.Contains(out, "NaN") {
		t.Errorf("empty layout drew %q", out)
	}
}

// The scale must tell deep from shallow by lightness alone: in grey print every
// band is darker than the one above it.
func TestLayout_DepthScaleDarkensSteadily(t *testing.T) {
	t.Parallel()
	luminance := func(hex string) float64 {
		var sum float64
		for i, weight := range []float64{0.2126, 0.7152, 0.0722} { // ITU-R BT.709
			v := 0
			for _, c := range hex[1+2*i : 3+2*i] {
				v = v*16 + strings.IndexRune("0123456789abcdef", c)
			}
			sum += weight * math.Pow(float64(v)/255, 2.2)
		}
		return sum
	}
	out := string(bowl().SVG())
	last, bands := 2.0, 0
	for _, part := range strings.Split(out, `fill="#`)[1:] {
		if !strings.Contains(part[:40], "fill-rule") {
			continue
		}
		lum := luminance("#" + part[:6])
		if lum > last-0.02 {
			t.Errorf("band %d has luminance %.3f after %.3f", bands, lum, last)
		}
		last, bands = lum, bands+1
	}
	if bands != 8 {
		t.Errorf("found %d depth bands, want 8", bands)
	}
}
