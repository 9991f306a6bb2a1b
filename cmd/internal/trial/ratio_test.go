package trial

import (
	"math"
	"testing"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/survey"
)

// middle returns the depth at the place farthest from the shore, to a fiftieth of
// the pond's width.
func (p *Pond) middle() float64 {
	lo, hi := p.Shore.Bounds()
	const n = 50
	farthest, depth := 0.0, 0.0
	for i := range n {
		for j := range n {
			at := plane.Point{X: lo.X + (hi.X-lo.X)*(float64(i)+0.5)/n, Y: lo.Y + (hi.Y-lo.Y)*(float64(j)+0.5)/n}
			if !p.Shore.Contains(at) {
				continue
			}
			if d, _ := p.Shore.Nearest(at); d > farthest {
				farthest, depth = d, p.bed.at(p.toBed(at))
			}
		}
	}
	return depth
}

// A guess from one depth is held to the ponds: its ratio is their geometric
// mean, its interval what Student's t makes of their spread, and it holds them.
func TestGuess_FittedOnThesePonds(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name   string
		anchor survey.Anchor
		depth  func(p *Pond) float64
	}{
		{"deepest", survey.FromDeepest, func(p *Pond) float64 { return p.MaxM }},
		{"middle", survey.FromMiddle, (*Pond).middle},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			g := guessOf(t, tt.anchor)
			var n, sum, squares, held, held80 float64
			for _, p := range allPonds(t) {
				depth := tt.depth(p)
				l := math.Log(p.VolumeM3 / p.AreaM2 / depth)
				n, sum, squares = n+1, sum+l, squares+l*l
				ratio := math.Exp(l) * 2
				if m := float64(g.MeanDepth.Low); ratio >= m && ratio <= float64(g.MeanDepth.High) {
					held++
				}
				if m := float64(g.MeanDepth.Low80); ratio >= m && ratio <= float64(g.MeanDepth.High80) {
					held80++
				}
			}
			mean := sum / n
			sd := math.Sqrt((squares - n*mean*mean) / (n - 1))
			t.Logf("%s: %g ponds, ratio %.4f, log sd %.4f; 95 %% holds %g, 80 %% %g", tt.name, n, math.Exp(mean), sd, held, held80)
			if got := float64(g.MeanDepth.Value) / 2; math.Abs(got/math.Exp(mean)-1) > 0.01 {
				t.Errorf("ratio %.4f, the ponds give %.4f", got, math.Exp(mean))
			}
			want := math.Exp(2.060 * sd * math.Sqrt(1+1/n)) // t for 25 degrees of freedom
			if got := float64(g.MeanDepth.High / g.MeanDepth.Value); math.Abs(got/want-1) > 0.01 {
				t.Errorf("upper factor %.4f, the ponds give %.4f", got, want)
			}
			if held < 23 || held80 < 18 {
				t.Errorf("the 95 %% interval holds %g of %g ponds, the 80 %% one %g", held, n, held80)
			}
		})
	}
}

// guessOf guesses for a depth of 2 m.
func guessOf(t *testing.T, anchor survey.Anchor) survey.Guess {
	t.Helper()
	g, err := survey.GuessWater(pondNamed(t, "cone").Shore, anchor, unit.Meters(2))
	if err != nil {
		t.Fatal(err)
	}
	return g
}
