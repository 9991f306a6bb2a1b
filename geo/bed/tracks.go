package bed

import (
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// Track is one boat line: what the rules leave of its soundings, in the order of the
// boat's way.
type Track struct {
	Pass   string
	Index  []int // of the soundings, as they were given
	At     []plane.Point
	DepthM []float64
}

// Tracks tells boat lines apart, as Estimate does, and returns them in an order that
// does not depend on that of the soundings: by pass and then in the order in which
// they were run. Soundings whose place along the boat's way is unknown belong to
// none.
func Tracks(s *shore.Shore, soundings []Sounding) []Track {
	fixes, lines := prepare(s, soundings, make([][]Flag, len(soundings)))
	all := make([]Track, lines)
	count := make([]int, lines)
	for k := range fixes {
		count[fixes[k].line]++
	}
	for k := range fixes {
		f := &fixes[k]
		if f.flagged || !f.ordered {
			continue
		}
		t := &all[f.line]
		if n := count[f.line]; t.Index == nil {
			t.Index, t.At, t.DepthM = make([]int, 0, n), make([]plane.Point, 0, n), make([]float64, 0, n)
		}
		t.Pass = soundings[f.index].Pass
		t.Index, t.At, t.DepthM = append(t.Index, int(f.index)), append(t.At, f.at), append(t.DepthM, f.depthM)
	}
	var out []Track
	for _, t := range all {
		if len(t.Index) > 1 {
			out = append(out, t)
		}
	}
	return out
}
