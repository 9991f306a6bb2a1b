package route

import (
	"fmt"
	"testing"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

var benchPonds = []struct {
	corners int
	roughM  float64
}{{500, 0}, {1000, 2}, {5000, 0}, {5000, 1}}

func benchEach(b *testing.B, f func(b *testing.B, s *shore.Shore)) {
	for _, p := range benchPonds {
		b.Run(fmt.Sprintf("corners=%d/rough=%gm", p.corners, p.roughM), func(b *testing.B) {
			s, _ := outline(b, arms(p.corners, p.roughM)...)
			b.ReportAllocs()
			f(b, s)
		})
	}
}

func BenchmarkNew(b *testing.B) {
	benchEach(b, func(b *testing.B, s *shore.Shore) {
		for b.Loop() {
			m := mustMap(b, s)
			b.ReportMetric(float64(len(m.bends)), "bends")
			b.ReportMetric(float64(len(m.links)), "links")
		}
	})
}

func BenchmarkPath(b *testing.B) {
	benchEach(b, func(b *testing.B, s *shore.Shore) {
		m := mustMap(b, s)
		lo, hi := s.Bounds()
		to := lo
		for !m.free(to, 1) {
			to = to.Lerp(hi, 0.013)
		}
		for b.Loop() {
			if _, err := m.Path(s.Rings()[0][0], to); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkReach measures 350 sites against about 2,000 cells.
func BenchmarkReach(b *testing.B) {
	benchEach(b, func(b *testing.B, s *shore.Shore) {
		m := mustMap(b, s)
		lo, hi := s.Bounds()
		var cells []plane.Point
		for x := lo.X; x < hi.X; x += 8 {
			for y := lo.Y; y < hi.Y; y += 8 {
				if p := (plane.Point{X: x, Y: y}); s.Contains(p) {
					cells = append(cells, p)
				}
			}
		}
		for _, within := range []float64{40, 1000} {
			b.Run(fmt.Sprintf("cells=%d/within=%g", len(cells), within), func(b *testing.B) {
				for b.Loop() {
					r := m.Reach(cells, unit.Meters(within))
					for i := range 350 {
						r.From(cells[i*len(cells)/350])
					}
				}
			})
		}
	})
}
