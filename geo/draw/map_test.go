package draw_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/golang/geo/s1"
	"github.com/golang/geo/s2"
	"pgregory.net/rapid"

	"pondwright/calc/unit"
	"pondwright/geo/draw"
	"pondwright/geo/plane"
)

// pond returns a map of a pond 300 by 200 m with so many diffusers that stand in
// rows a distance apart.
func pond(diffusers int, apartM float64) draw.Map {
	oval := func(r float64) []plane.Point {
		ring := make([]plane.Point, 120)
		for i := range ring {
			a := 2 * math.Pi * float64(i) / float64(len(ring))
			ring[i] = plane.Point{X: 150 * r * math.Cos(a) * (1 + 0.1*math.Cos(3*a)), Y: 100 * r * math.Sin(a)}
		}
		return ring
	}
	frame := plane.NewFrame(s2.LatLngFromDegrees(38.3, -93.4))
	declination := s1.Angle(-0.05)
	mast, entry := plane.Point{X: 175, Y: 20}, plane.Point{X: 160, Y: 18}
	m := draw.Map{
		Rings: [][]plane.Point{oval(1)}, MaxDepth: 4.2, Frame: &frame, Declination: &declination, Feet: true,
		Stations: []draw.Station{{Mast: &mast, Entry: &entry, Trench: []plane.Point{mast, entry}}},
		Zones: []draw.Zone{
			{Name: "Dam with its toe", Area: true, Points: []plane.Point{{X: -160, Y: -90}, {X: -100, Y: -110}, {X: -90, Y: -80}, {X: -150, Y: -60}}},
			{Name: "Intake", Points: []plane.Point{{X: 40, Y: 70}}},
			{Name: "Buried line", Points: []plane.Point{{X: 120, Y: -120}, {X: 190, Y: 60}}},
			{Name: "Property", Area: true, Bounds: true, Points: []plane.Point{{X: -170, Y: -120}, {X: 190, Y: -120}, {X: 190, Y: 120}, {X: -170, Y: 120}}},
		},
	}
	for d := 0.6; d < 4.2; d += 0.6 {
		m.Contours = append(m.Contours, draw.Contour{Depth: unit.Meters(d), Rings: [][]plane.Point{oval(1 - d/4.4)}})
	}
	columns := int(math.Ceil(math.Sqrt(1.5 * float64(diffusers))))
	for i := range diffusers {
		at := plane.Point{
			X: apartM * (float64(i%columns) - float64(columns-1)/2),
			Y: apartM * (float64(i/columns) - float64(diffusers/columns)/2),
		}
		m.Diffusers = append(m.Diffusers, draw.Diffuser{Number: i + 1, At: at, Route: []plane.Point{entry, at}})
	}
	return m
}

// span is where a text stands on its page.
type span struct {
	words          string
	x0, y0, x1, y1 float64
}

// spans returns the boxes of all words of a picture; letters reach 0.74 of their
// size above the line and 0.2 below it.
func spans(p *draw.Picture) []span {
	var out []span
	for _, m := range p.Marks {
		t, ok := m.(*draw.Text)
		if !ok {
			continue
		}
		w := draw.Width(t.Words, t.Size, t.Bold)
		along, up, down := -w*t.Align.Share(), 0.74*t.Size, 0.2*t.Size
		s := span{t.Words, t.At.X + along, t.At.Y - up, t.At.X + along + w, t.At.Y + down}
		if t.Angle == 90 {
			s = span{t.Words, t.At.X - up, t.At.Y - along - w, t.At.X + down, t.At.Y - along}
		}
		out = append(out, s)
	}
	return out
}

func (s span) meets(o span) bool {
	const hair = 0.02
	return s.x0 < o.x1-hair && o.x0 < s.x1-hair && s.y0 < o.y1-hair && o.y0 < s.y1-hair
}

func layouts() map[string]draw.Map {
	long := pond(3, 40)
	long.Zones[0].Name = strings.Repeat("A dam of a very long name ", 12)
	long.Zones[1].Name = "Водозабор 取水口"
	second := pond(12, 18)
	mast := plane.Point{X: -170, Y: 30}
	entry := plane.Point{X: -160, Y: 28}
	second.Stations = append(second.Stations, draw.Station{Name: "2", Mast: &mast, Entry: &entry, Trench: []plane.Point{mast, entry}})
	tall := pond(12, 15)
	for i := range tall.Rings[0] {
		tall.Rings[0][i].Y *= 4
	}
	return map[string]draw.Map{
		"none": pond(0, 1), "one": pond(1, 1), "three": pond(3, 40), "twelve": pond(12, 20), "sixty": pond(60, 14),
		"sixty close": pond(60, 7), "sixty on a heap": pond(60, 1.5), "long names": long, "two stations": second, "tall": tall,
	}
}

// pages are the rooms that a map gets on Letter and A4, lying and standing.
var pages = [][2]float64{{251, 167}, {187, 231}, {269, 161}, {182, 249}}

func TestMap_NoTwoLabelsOverlapAndNoneLeavesThePage(t *testing.T) {
	t.Parallel()
	for title, m := range layouts() {
		for _, size := range pages {
			for _, sheet := range m.Sheets(size[0], size[1]) {
				words := spans(sheet)
				for i, a := range words {
					if a.x0 < -0.01 || a.y0 < -0.8 || a.x1 > size[0]+0.01 || a.y1 > size[1]+0.3 {
						t.Errorf("%s, %s on %v: %.30q leaves the page: %.1f to %.1f, %.1f to %.1f", title, sheet.Title, size, a.words, a.x0, a.x1, a.y0, a.y1)
					}
					for _, b := range words[:i] {
						if a.meets(b) {
							t.Errorf("%s, %s on %v: %.30q lies on %.30q", title, sheet.Title, size, a.words, b.words)
						}
					}
				}
			}
		}
	}
}

// Each diffuser's number is on the whole map, and where parts are drawn, on one of
// them upon its very place.
func TestMap_EveryDiffuserIsShown(t *testing.T) {
	t.Parallel()
	for title, m := range layouts() {
		sheets := m.Sheets(251, 167)
		for _, d := range m.Diffusers {
			number := fmt.Sprint(d.Number)
			has := func(s *draw.Picture) bool {
				return slices.ContainsFunc(spans(s), func(s span) bool { return s.words == number })
			}
			if !has(sheets[0]) {
				t.Errorf("%s: the map lacks diffuser %s", title, number)
			}
			if len(sheets) > 1 && !slices.ContainsFunc(sheets[1:], has) {
				t.Errorf("%s: no part of the map has diffuser %s", title, number)
			}
		}
		if crowded := strings.HasPrefix(title, "sixty "); title != "tall" && crowded != (len(sheets) > 1) {
			t.Errorf("%s: drawn in %d sheets", title, len(sheets))
		}
	}
}

// Numbered discs do not lie on one another.
func TestMap_DiscsKeepApart(t *testing.T) {
	t.Parallel()
	for title, m := range layouts() {
		for _, sheet := range m.Sheets(251, 167) {
			var discs [][3]float64 // x, y, radius
			for _, mark := range sheet.Marks {
				p, ok := mark.(*draw.Path)
				if !ok || p.Fill != draw.Paper || p.Stroke != draw.Ink || len(p.Lines[0]) != 36 {
					continue
				}
				lo, hi := p.Lines[0][18], p.Lines[0][0]
				discs = append(discs, [3]float64{(lo.X + hi.X) / 2, hi.Y, (hi.X - lo.X) / 2})
			}
			for i, a := range discs {
				for _, b := range discs[:i] {
					if math.Hypot(a[0]-b[0], a[1]-b[1]) < a[2]+b[2] {
						t.Errorf("%s, %s: discs at %.1f and %.1f meet", title, sheet.Title, a, b)
					}
				}
			}
		}
	}
}

// luminance follows ITU-R BT.709 on linear light, IEC 61966-2-1.
func linear(c draw.Color) [3]float64 {
	r, g, b, _ := c.RGBA()
	var out [3]float64
	for i, v := range []uint8{r, g, b} {
		s := float64(v) / 255
		if s <= 0.04045 {
			out[i] = s / 12.92
		} else {
			out[i] = math.Pow((s+0.055)/1.055, 2.4)
		}
	}
	return out
}

func luminance(l [3]float64) float64 { return 0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2] }

func contrast(a, b float64) float64 { return (max(a, b) + 0.05) / (min(a, b) + 0.05) }

// Depth must be read by lightness alone: in a grey copy, and by eyes that lack a kind
// of cone. The matrices are those of Viénot, Brettel and Mollon, "Digital video
// colourmaps for checking the legibility of displays by dichromats", 1999, in linear
// sRGB (from memory).
func TestDepth_ReadableWithoutColor(t *testing.T) {
	t.Parallel()
	eyes := map[string][3][3]float64{
		"grey copy":     {{0.2126, 0.7152, 0.0722}, {0.2126, 0.7152, 0.0722}, {0.2126, 0.7152, 0.0722}},
		"without long":  {{0.11238, 0.88762, 0}, {0.11238, 0.88762, 0}, {0.00401, -0.00401, 1}},
		"without green": {{0.29275, 0.70725, 0}, {0.29275, 0.70725, 0}, {-0.02234, 0.02234, 1}},
		"usual":         {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
	}
	for eye, m := range eyes {
		seen := func(c draw.Color) float64 {
			l := linear(c)
			var out [3]float64
			for i, row := range m {
				out[i] = max(0, row[0]*l[0]+row[1]*l[1]+row[2]*l[2])
			}
			return luminance(out)
		}
		const bands = 12
		for k := range bands + 1 {
			water, ink := draw.Depth(float64(k) / bands)
			// WCAG 2.2, success criterion 1.4.3, asks 4.5 for small print; a legend
			// repeats these numerals, so that 3 as for large print is enough.
			if got := contrast(seen(water), seen(ink)); got < 3 {
				t.Errorf("%s: numerals at %d/%d have contrast %.2f, want 3", eye, k, bands, got)
			}
			if k == 0 {
				continue
			}
			above, _ := draw.Depth(float64(k-1) / bands)
			// Judgement, no source: neighbors a tenth apart are told from each other
			// where they touch, with the contour between them.
			if got := contrast(seen(above), seen(water)); got < 1.1 || seen(water) > seen(above) {
				t.Errorf("%s: bands %d and %d of %d have contrast %.3f, want 1.1", eye, k-1, k, bands, got)
			}
		}
	}
}

// The map is at a round scale, and the bar is as long as it says.
func TestMap_ScaleIsTrue(t *testing.T) {
	t.Parallel()
	m := pond(2, 100)
	m.Feet = false
	sheet := m.Sheets(251, 167)[0]
	var per float64
	for _, s := range spans(sheet) {
		if rest, ok := strings.CutPrefix(s.words, "1 : "); ok {
			if _, err := fmt.Sscanf(strings.ReplaceAll(rest, ",", ""), "%g at", &per); err != nil {
				t.Fatal(err)
			}
		}
	}
	var at []float64
	for _, number := range []string{"1", "2"} {
		for _, s := range spans(sheet) {
			if s.words == number && s.x1 < 200 {
				at = append(at, (s.x0+s.x1)/2)
			}
		}
	}
	if len(at) != 2 || math.Abs((at[1]-at[0])*per/1000-100) > 0.01 {
		t.Errorf("two diffusers 100 m apart stand at %.2f mm at a scale of 1 to %g", at, per)
	}
}

func TestMap_NothingAndNonsense(t *testing.T) {
	t.Parallel()
	bad := pond(3, 30)
	bad.Diffusers[1].At = plane.Point{X: math.NaN(), Y: math.Inf(1)}
	bad.Diffusers[2].Route = []plane.Point{{X: math.Inf(-1)}, {}}
	bad.MaxDepth = unit.Meters(math.NaN())
	bad.Rings = append(bad.Rings, nil, []plane.Point{{}})
	far := pond(3, 30)
	far.Diffusers[0].At = plane.Point{X: 1e300, Y: -1e300}
	for title, m := range map[string]draw.Map{"nothing": {}, "nonsense": bad, "beyond the earth": far, "one place": pond(60, 0)} {
		for _, size := range [][2]float64{{251, 167}, {0, 0}, {-5, 20}} {
			for _, sheet := range m.Sheets(size[0], size[1]) {
				for _, bad := range []string{"NaN", "Inf"} {
					if strings.Contains(string(sheet.SVG()), `"`+bad) {
						t.Errorf("%s: a coordinate is %s", title, bad)
					}
				}
			}
		}
	}
}

func TestMap_SameInputSameBytes(t *testing.T) {
	t.Parallel()
	a, b := pond(12, 18).Sheets(251, 167), pond(12, 18).Sheets(251, 167)
	if string(a[0].SVG()) != string(b[0].SVG()) {
		t.Error("two drawings of one map differ")
	}
}

// Any zone and any spot draw a map whose labels keep apart.
func TestMap_AnyPlaces(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m := pond(0, 1)
		coordinate := rapid.Float64Range(-200, 200)
		for i := range rapid.IntRange(0, 60).Draw(t, "diffusers") {
			at := plane.Point{X: coordinate.Draw(t, "x"), Y: coordinate.Draw(t, "y")}
			m.Diffusers = append(m.Diffusers, draw.Diffuser{Number: i + 1, At: at, Route: []plane.Point{{}, at}})
		}
		for _, sheet := range m.Sheets(251, 167) {
			words := spans(sheet)
			for i, a := range words {
				for _, b := range words[:i] {
					if a.meets(b) {
						t.Fatalf("%s: %q lies on %q", sheet.Title, a.words, b.words)
					}
				}
			}
		}
	})
}

func ExampleMap_Sheets() {
	shore := []plane.Point{{X: 0, Y: 0}, {X: 60, Y: 0}, {X: 60, Y: 40}, {X: 0, Y: 40}}
	sheets := draw.Map{Rings: [][]plane.Point{shore}}.Sheets(251, 167)
	fmt.Println(len(sheets), sheets[0].Title)
	// Output: 1 Map
}

func BenchmarkMap_Sheets(b *testing.B) {
	m := pond(60, 7)
	b.ReportAllocs()
	for b.Loop() {
		m.Sheets(251, 167)
	}
}
