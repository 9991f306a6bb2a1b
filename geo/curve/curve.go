// Package curve gives the water area and the volume of a pond at every level, in
// closed form.
//
// A depth surface that is linear in each triangle of a mesh is cut by a lower
// water level in triangles and trapezoids, so nothing is sampled and nothing is
// interpolated between levels: the volume falls exactly as the area says, and
// both fall monotonically.
//
//	c, err := curve.New(&g.Mesh, depthM)
//	fmt.Println(c.Area(0), c.Volume(0), c.Volume(1.5))
//
// Drawdown is measured in meters down from the level of the shoreline. The
// package also has the trade's layer rules, as cross-checks.
package curve

import (
	"errors"
	"math"
	"slices"
	"sort"

	"pondwright/calc/unit"
	"pondwright/geo/grid"
)

// ErrDepths is returned for a mesh and depths that do not make a surface.
var ErrDepths = errors.New("curve: need one finite depth of zero or more for each point of a mesh with triangles")

// Curve is the area and volume of a surface against drawdown. Make one with New;
// it is immutable and safe to share.
type Curve struct {
	// Triangles in order of falling least depth, with running sums over them.
	tris    []triangle
	areaM2  []float64 // of the first n triangles
	fullM3  []float64 // their volumes at full level
	spreadM float64   // greatest range of depth in one triangle
	maxM    float64
}

// triangle is a triangle's plan area and its corner depths, least first.
type triangle struct{ areaM2, d0, d1, d2 float64 }

// New returns the curve of the surface with depthM[i] meters of water at point i
// of the mesh. It returns ErrDepths for depths that are missing, negative or not
// finite.
func New(m *grid.Mesh, depthM []float64) (*Curve, error) {
	if len(depthM) != len(m.Points) || len(m.Triangles) == 0 {
		return nil, ErrDepths
	}
	for _, d := range depthM {
		if !(d >= 0) || math.IsInf(d, 0) {
			return nil, ErrDepths
		}
	}
	c := &Curve{tris: make([]triangle, len(m.Triangles))}
	for t, v := range m.Triangles {
		d := [3]float64{depthM[v[0]], depthM[v[1]], depthM[v[2]]}
		slices.Sort(d[:])
		c.tris[t] = triangle{m.TriangleArea(t), d[0], d[1], d[2]}
		c.spreadM = max(c.spreadM, d[2]-d[0])
		c.maxM = max(c.maxM, d[2])
	}
	slices.SortStableFunc(c.tris, func(a, b triangle) int {
		switch {
		case a.d0 > b.d0:
			return -1
		case a.d0 < b.d0:
			return 1
		}
		return 0
	})
	c.areaM2, c.fullM3 = make([]float64, len(c.tris)+1), make([]float64, len(c.tris)+1)
	for t, tri := range c.tris {
		c.areaM2[t+1] = c.areaM2[t] + tri.areaM2
		c.fullM3[t+1] = c.fullM3[t] + tri.areaM2*(tri.d0+tri.d1+tri.d2)/3
	}
	return c, nil
}

// below returns the area and volume of one triangle under a level sM down from
// the full one, for d0 < s < d2. The strict cases never divide by zero.
func (t triangle) below(sM float64) (areaM2, volumeM3 float64) {
	if sM >= t.d1 {
		h := t.d2 - sM
		f := h * h / ((t.d2 - t.d1) * (t.d2 - t.d0))
		return t.areaM2 * f, t.areaM2 * f * h / 3
	}
	h := sM - t.d0
	f := h * h / ((t.d1 - t.d0) * (t.d2 - t.d0))
	return t.areaM2 * (1 - f), t.areaM2 * ((t.d0+t.d1+t.d2)/3 - sM + f*h/3)
}

// At returns the water area and volume at the given drawdown. Above the full
// level, where nothing was measured, the banks are taken as vertical; a survey
// says nothing of them.
func (c *Curve) At(drawdown unit.Meters) (unit.SquareMeters, unit.CubicMeters) {
	s := float64(drawdown)
	n := sort.Search(len(c.tris), func(t int) bool { return c.tris[t].d0 < s })
	area, volume := c.areaM2[n], c.fullM3[n]-s*c.areaM2[n]
	for _, t := range c.tris[n:] {
		if t.d0+c.spreadM <= s {
			break // and so does every later one
		}
		if s < t.d2 {
			a, v := t.below(s)
			area += a
			volume += v
		}
	}
	if s >= c.maxM {
		return 0, 0
	}
	return unit.SquareMeters(area), unit.CubicMeters(max(0, volume))
}

// Area returns the water area at the given drawdown.
func (c *Curve) Area(drawdown unit.Meters) unit.SquareMeters {
	a, _ := c.At(drawdown)
	return a
}

// Volume returns the volume at the given drawdown.
func (c *Curve) Volume(drawdown unit.Meters) unit.CubicMeters {
	_, v := c.At(drawdown)
	return v
}

// Between returns the volume between two drawdowns, in either order.
func (c *Curve) Between(a, b unit.Meters) unit.CubicMeters {
	return c.Volume(min(a, b)) - c.Volume(max(a, b))
}

// MaxDepth returns the drawdown at which the pond is dry.
func (c *Curve) MaxDepth() unit.Meters { return unit.Meters(c.maxM) }

// MeanDepth returns the volume over the area at full level.
func (c *Curve) MeanDepth() unit.Meters {
	a, v := c.At(0)
	return unit.Meters(float64(v) / float64(a))
}

// Drawdown returns the drawdown that leaves the given volume: zero for one at or
// above the full volume, the greatest depth for zero or less.
func (c *Curve) Drawdown(volume unit.CubicMeters) unit.Meters {
	lo, hi := 0.0, c.maxM
	if volume >= c.Volume(0) {
		return 0
	}
	if volume <= 0 {
		return unit.Meters(hi)
	}
	s := hi / 2
	for range 100 {
		a, v := c.At(unit.Meters(s))
		if v > volume {
			lo = s
		} else {
			hi = s
		}
		// Newton's step, dV/ds = −A, where it stays between the bounds.
		next := s + float64(v-volume)/float64(a)
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if next == s || hi-lo < 1e-12*c.maxM {
			break
		}
		s = next
	}
	return unit.Meters(s)
}

// Row is one line of an elevation, area and capacity table.
type Row struct {
	Drawdown unit.Meters
	Area     unit.SquareMeters
	Volume   unit.CubicMeters
}

// Table returns rows from full level down in the given step, ending with the
// row at which the pond is dry. It is nil for a step that is not positive or
// gives more than 100,000 rows.
func (c *Curve) Table(step unit.Meters) []Row {
	if !(step > 0) || c.maxM/float64(step) > 1e5 {
		return nil
	}
	var rows []Row
	for k := 0; ; k++ {
		s := unit.Meters(float64(k) * float64(step))
		if float64(s) >= c.maxM {
			break
		}
		a, v := c.At(s)
		rows = append(rows, Row{s, a, v})
	}
	return append(rows, Row{Drawdown: unit.Meters(c.maxM)})
}
