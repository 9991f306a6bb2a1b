// Package route finds the shortest ways of hoses through a pond's water.
//
// A way keeps a clearance from every shoreline and is exact: it is the shortest
// polygonal way past rounded capes, found on the graph of the capes that can see
// one another. It does not know the bed; AlongBed turns a way in the plan into a
// length along the bottom, and trench, slack and riser belong to whoever orders
// the hose.
//
//	m, err := route.New(outline, route.DefaultClearance)
//	entry, err := m.Entry(mast, route.DefaultTrenchLimit)
//	tree, err := m.From(entry)
//	way, err := tree.Path(diffuser)
//
// The shortest way between two points of a plane with obstacles turns only at
// the obstacles' convex corners (Lozano-Pérez and Wesley, 1979, "An algorithm
// for planning collision-free paths among polyhedral obstacles"). A corner of
// land, grown by the clearance, is a circle; the circle is replaced by the
// polygon drawn round it in turns of at most 45°, so that a way is never nearer
// to land than the clearance and at most 2.2 mm longer for each 45° it wraps
// round a cape, at the default clearance.
package route

import (
	"errors"
	"fmt"
	"math"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// DefaultClearance is how far a way stays off the shoreline. Judgement, no
// source: about three hose diameters, less than a survey of the shore resolves.
const DefaultClearance unit.Meters = 0.05

// ashoreTolM is how far off the shoreline a point may lie and still count as on
// it: positions are written with 1e-8 degrees, about a millimeter.
const ashoreTolM = 2e-3

// roundingM is added to the clearance where a way bends, so that rounding never
// takes a leg of it below the clearance.
const roundingM = 1e-7

// sharpest is the most a way turns at one bend, in radians.
const sharpest = math.Pi / 4

// Reasons why there is no way; a *EndError wraps them.
var (
	ErrAshore      = errors.New("lies ashore")
	ErrNoWater     = errors.New("no water as wide as twice the clearance begins here")
	ErrUnreachable = errors.New("cannot be reached through water as wide as twice the clearance")
)

// EndError tells which end of a way cannot be used.
type EndError struct {
	End string      // "start" or "end"
	At  plane.Point // where it is
	Err error       // ErrAshore, ErrBarred, ErrNoWater or ErrUnreachable
}

// Error names the end, its place in the plane and the reason.
func (e *EndError) Error() string {
	return fmt.Sprintf("%s of the way at %.2f m east, %.2f m north of the pond's middle: %v", e.End, e.At.X, e.At.Y, e.Err)
}

// Unwrap returns the reason.
func (e *EndError) Unwrap() error { return e.Err }

// Route is a way through the water.
type Route struct {
	// Points are the way's corners from start to end. Where the start or the end
	// lies closer to land than the clearance, the first or last leg is the short
	// straight leg out to clear water; every other leg keeps the clearance.
	Points []plane.Point
	Length unit.Meters // in the plan
}

// Map knows the ways through the water of one pond. Make one with New; it is
// immutable and safe to share between goroutines.
type Map struct {
	shore      *shore.Shore
	clearanceM float64
	barriers   []barrier
	bends      []bend
	first      []int32 // links of bend i are links[first[i]:first[i+1]]
	links      []link
}

// bend is a place where a shortest way may turn: beside a corner of land that
// juts into the water. The two directions are those of the shoreline, rounded by
// the clearance, before and after the bend; land lies right of both.
type bend struct {
	at            plane.Point
	before, after plane.Point
}

// link joins two bends that see each other.
type link struct {
	to      int32
	lengthM float64
}

// New returns the ways through the water of s that keep the given clearance,
// which must lie between 1 mm and 5 m: outside that it returns a
// *unit.RangeError.
func New(s *shore.Shore, clearance unit.Meters) (*Map, error) {
	if err := unit.CheckRange("clearance of a hose from the shore (m)", float64(clearance), 0.001, 5, "limits of this package"); err != nil {
		return nil, err
	}
	m := &Map{shore: s, clearanceM: float64(clearance)}
	for _, ring := range s.Rings() {
		m.addBends(ring, m.clearanceM)
	}
	m.link()
	return m, nil
}

// Shore returns the outline that the ways keep off.
func (m *Map) Shore() *shore.Shore { return m.shore }

// Clearance returns how far the ways stay off the shoreline.
func (m *Map) Clearance() unit.Meters { return unit.Meters(m.clearanceM) }

// addBends places the bends round every corner of land that juts into the water,
// marginM off it.
func (m *Map) addBends(ring []plane.Point, marginM float64) {
	for i, v := range ring {
		prev, next := ring[(i+len(ring)-1)%len(ring)], ring[(i+1)%len(ring)]
		in, out := v.Sub(prev), next.Sub(v)
		turn := -math.Atan2(in.Cross(out), in.Dot(out)) // clockwise: water lies left
		if turn <= 0 {
			continue
		}
		n := math.Ceil(turn / sharpest)
		step := turn / n
		radiusM := (marginM + roundingM) / math.Cos(step/2)
		along := math.Atan2(in.Y, in.X)
		for k := range int(n) {
			before := along - float64(k)*step
			b := bend{
				at:     v.Add(heading(before - step/2 + math.Pi/2).Scale(radiusM)),
				before: heading(before),
				after:  heading(before - step),
			}
			if m.free(b.at, m.clearanceM) {
				m.bends = append(m.bends, b)
			}
		}
	}
}

// heading returns the unit vector at an angle counter-clockwise from east.
func heading(rad float64) plane.Point {
	sin, cos := math.Sincos(rad)
	return plane.Point{X: cos, Y: sin}
}

// free reports whether p lies in the water and off the shore by the margin.
func (m *Map) free(p plane.Point, marginM float64) bool {
	return m.shore.Contains(p) && m.clear(p, p, marginM)
}

// taut reports whether a way that touches b may leave it along d and still be a
// shortest one: land must lie wholly on one side of the line.
func (b *bend) taut(d plane.Point) bool {
	slack := 1e-9 * (math.Abs(d.X) + math.Abs(d.Y))
	x, y := b.before.Cross(d), d.Cross(b.after)
	return x <= slack && y <= slack || x >= -slack && y >= -slack
}

// link joins the bends that see each other along a taut line.
func (m *Map) link() {
	out := make([][]link, len(m.bends))
	for i := range m.bends {
		a := &m.bends[i]
		for j := i + 1; j < len(m.bends); j++ {
			b := &m.bends[j]
			d := b.at.Sub(a.at)
			if !a.taut(d) || !b.taut(d) || !m.clear(a.at, b.at, m.clearanceM) {
				continue
			}
			l := d.Norm()
			out[i] = append(out[i], link{int32(j), l})
			out[j] = append(out[j], link{int32(i), l})
		}
	}
	m.first = make([]int32, len(m.bends)+1)
	for i, ls := range out {
		m.links = append(m.links, ls...)
		m.first[i+1] = int32(len(m.links))
	}
}

// Path returns the shortest way from one point to another. The ends may lie on
// the shoreline; otherwise it returns an *EndError.
func (m *Map) Path(from, to plane.Point) (Route, error) {
	t, err := m.From(from)
	if err != nil {
		return Route{}, err
	}
	return t.Path(to)
}

// Distances returns the length of the shortest way in meters from one point to
// each target, +Inf where there is none.
func (m *Map) Distances(from plane.Point, targets []plane.Point) []float64 {
	return m.Reach(targets, unit.Meters(math.Inf(1))).From(from)
}
