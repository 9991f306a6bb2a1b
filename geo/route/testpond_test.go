package route

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/golang/geo/s2"

	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// readShore reads the outline of one of the test ponds beside geo/bed.
func readShore(t testing.TB, name string) *shore.Shore {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "bed", "testdata", name, "shoreline.geojson"))
	if err != nil {
		t.Fatal(err)
	}
	type geometry struct {
		Coordinates [][][]float64
	}
	var file struct {
		geometry
		Geometry *geometry
		Features []struct{ Geometry geometry }
	}
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	rings := file.Coordinates
	switch {
	case file.Geometry != nil:
		rings = file.Geometry.Coordinates
	case len(file.Features) == 1:
		rings = file.Features[0].Geometry.Coordinates
	}
	var lls [][]s2.LatLng
	for _, ring := range rings {
		var ll []s2.LatLng
		for _, p := range ring {
			ll = append(ll, s2.LatLngFromDegrees(p[1], p[0]))
		}
		lls = append(lls, ll)
	}
	s, err := shore.New(lls[0], lls[1:])
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestTestPonds lays hoses all over ponds of 5 to 60 acres from a mast 15 m back
// from the bank, and compares a few with the plain visibility graph.
func TestTestPonds(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"O1_bowl", "O2_valley20", "O3_arms30", "O4_dense60"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := readShore(t, name)
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
