package route

import (
	"math"
	"os"
	"testing"

	"pondwright/geo/internal/known"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// TestTestPonds lays hoses all over ponds of 5 to 60 acres from a mast 15 m back
// from the bank, and compares a few with the plain visibility graph.
func TestTestPonds(t *testing.T) {
	t.Parallel()
	for _, name := range known.Names() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, err := known.Outline(os.DirFS(known.Dir), name)
			if err != nil {
				t.Fatal(err)
			}
			m := mustMap(t, s)
			_, bank := s.Nearest(plane.Point{X: 5, Y: 3})
			mast := bank.Add(offBank(s, bank).Scale(15))
			entry, err := m.Entry(mast, DefaultTrenchLimit)
			if err != nil {
				t.Fatal(err)
			}
			if d := mast.Distance(entry); d > 15+1e-6 {
				t.Errorf("trench of %.3f m, the bank is 15 m off", d)
			}
			tree, err := m.From(entry)
			if err != nil {
				t.Fatal(err)
			}
			lo, hi := s.Bounds()
			n := 0
			for y := lo.Y + 7; y < hi.Y; y += (hi.Y - lo.Y) / 9 {
				for x := lo.X + 7; x < hi.X; x += (hi.X - lo.X) / 9 {
					to := plane.Point{X: x, Y: y}
					if d, _ := s.Nearest(to); !s.Contains(to) || d < 0.1 {
						continue
					}
					r, err := tree.Path(to)
					if err != nil {
						t.Fatal(err)
					}
					checkLegal(t, s, r, m.clearanceM)
					if n++; n%12 != 0 {
						continue
					}
					// The clearance and its turns cost less than 0.1 % beyond the last
					// decimeters.
					plainM, turn := plainShortest(s, entry, to)
					if got := float64(r.Length); got < plainM-1e-6 || got > plainM*1.001+m.clearanceM*(turn+2) {
						t.Errorf("%.3f m to %v, without clearance %.3f m", got, to, plainM)
					}
				}
			}
			if n < 20 {
				t.Errorf("only %d ways", n)
			}
		})
	}
}

// offBank returns the direction from a point of the shoreline away from the
// water.
func offBank(s *shore.Shore, bank plane.Point) plane.Point {
	best, bestM := plane.Point{}, math.Inf(-1)
	for k := range 64 {
		v := heading(2 * math.Pi * float64(k) / 64)
		p := bank.Add(v.Scale(15))
		if d, _ := s.Nearest(p); !s.Contains(p) && d > bestM {
			best, bestM = v, d
		}
	}
	return best
}
