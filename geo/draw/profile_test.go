package draw_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pondwright/calc/unit"
	"pondwright/geo/draw"
)

// The hose is drawn to the scales of the axes: a bed that falls evenly is a straight
// line from corner to corner.
func TestProfile_ToScale(t *testing.T) {
	t.Parallel()
	p := draw.Profile{Title: "D1", Along: []unit.Meters{0, 25, 50}, Depth: []unit.Meters{0, 2, 4}}.Picture(90, 40)
	var hose []draw.Point
	for _, m := range p.Marks {
		if path, ok := m.(*draw.Path); ok && len(path.Dash) > 0 {
			hose = path.Lines[0]
		}
	}
	if len(hose) != 3 {
		t.Fatalf("hose drawn as %v", hose)
	}
	mid := draw.Point{X: (hose[0].X + hose[2].X) / 2, Y: (hose[0].Y + hose[2].Y) / 2}
	if math.Hypot(mid.X-hose[1].X, mid.Y-hose[1].Y) > 1e-9 || hose[2].Y <= hose[0].Y {
		t.Errorf("an even bed is drawn as %v", hose)
	}
	at := map[string]float64{}
	for _, s := range spans(p) {
		at[s.words] = (s.x0 + s.x1) / 2
	}
	if got, want := at["40"]-at["20"], (hose[2].X-hose[0].X)*20/50; math.Abs(got-want) > 1e-9 {
		t.Errorf("20 m on the axis are %g mm, on the hose %g", got, want)
	}
}

func TestProfile_Anything(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		numbers := rapid.SliceOfN(rapid.OneOf(rapid.Float64(), rapid.Float64Range(-5, 500), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1)})), 0, 8)
		p := draw.Profile{Title: rapid.String().Draw(t, "title"), Feet: rapid.Bool().Draw(t, "feet")}
		for _, v := range numbers.Draw(t, "along") {
			p.Along = append(p.Along, unit.Meters(v))
		}
		for _, v := range numbers.Draw(t, "depth") {
			p.Depth = append(p.Depth, unit.Meters(v))
		}
		if out := string(p.Picture(90, 40).SVG()); strings.Contains(out, `"NaN`) || strings.Contains(out, `"Inf`) {
			t.Fatal("a coordinate is no number")
		}
	})
}
