package draw

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func ringArea(ring []Point) float64 {
	sum := 0.0
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		sum += p.X*q.Y - q.X*p.Y
	}
	return sum / 2
}

func points(t *rapid.T, least int) []Point {
	n := rapid.IntRange(least, 12).Draw(t, "n")
	out := make([]Point, n)
	for i := range out {
		out[i] = Point{rapid.Float64Range(-20, 30).Draw(t, "x"), rapid.Float64Range(-20, 30).Draw(t, "y")}
	}
	return out
}

// Two boxes that touch hold together what the box about both holds.
func TestClipRing_AreasAdd(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		ring := points(t, 3)
		whole, left, right := box{0, 0, 10, 10}, box{0, 0, 4, 10}, box{4, 0, 10, 10}
		got := ringArea(clipRing(ring, left)) + ringArea(clipRing(ring, right))
		if want := ringArea(clipRing(ring, whole)); math.Abs(got-want) > 1e-9 {
			t.Fatalf("halves hold %g, the whole %g", got, want)
		}
		for _, p := range clipRing(ring, whole) {
			if !whole.grown(1e-9).holds(p.X, p.Y) {
				t.Fatalf("%v lies outside", p)
			}
		}
	})
}

// The lengths inside two boxes that touch add up too.
func TestClipLine_LengthsAdd(t *testing.T) {
	t.Parallel()
	length := func(lines [][]Point) float64 {
		sum := 0.0
		for _, l := range lines {
			for i := 1; i < len(l); i++ {
				sum += math.Hypot(l[i].X-l[i-1].X, l[i].Y-l[i-1].Y)
			}
		}
		return sum
	}
	rapid.Check(t, func(t *rapid.T) {
		line := points(t, 2)
		got := length(clipLine(line, box{0, 0, 4, 10})) + length(clipLine(line, box{4, 0, 10, 10}))
		if want := length(clipLine(line, box{0, 0, 10, 10})); math.Abs(got-want) > 1e-9 {
			t.Fatalf("halves hold %g, the whole %g", got, want)
		}
	})
}

// A hatched ring is filled in proportion to its area: lines d/√2 apart cover area
// over d/√2 of length.
func TestHatch_LengthFollowsArea(t *testing.T) {
	t.Parallel()
	square := []Point{{0, 0}, {60, 0}, {60, 40}, {0, 40}}
	sum := 0.0
	for _, l := range hatch(square, 2) {
		sum += math.Hypot(l[1].X-l[0].X, l[1].Y-l[0].Y)
	}
	if want := 60 * 40 / math.Sqrt2; math.Abs(sum/want-1) > 0.01 {
		t.Errorf("hatched with %.0f mm of lines, want %.0f", sum, want)
	}
}
