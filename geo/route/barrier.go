package route

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// ErrBarred is the reason of an *EndError for an end within a barrier or its
// margin.
var ErrBarred = errors.New("lies where nothing may be laid")

// Barrier is a place beside the shoreline that ways and trenches keep off: a zone
// in the water, on land or across both. Barriers may overlap each other and the
// shore.
type Barrier struct {
	Ring []plane.Point // at least 3 corners, either way round
	// Margin beyond the clearance that ways keep off the ring, 0 to 1000 m.
	Margin unit.Meters
	// Inside turns the barrier round: ways stay within the ring.
	Inside bool
}

// barrier is a Barrier whose ring has the free side on its left.
type barrier struct {
	ring    []plane.Point
	lo, hi  plane.Point
	marginM float64
	inside  bool
}

// Around returns the same water for ways that keep off barriers too. It returns a
// *unit.RangeError for a barrier with fewer than 3 corners or a margin out of
// range.
func (m *Map) Around(barriers ...Barrier) (*Map, error) {
	if len(barriers) == 0 {
		return m, nil
	}
	out := &Map{shore: m.shore, clearanceM: m.clearanceM}
	for i, b := range barriers {
		if err := b.check(i); err != nil {
			return nil, err
		}
		out.barriers = append(out.barriers, newBarrier(b))
	}
	for _, ring := range m.shore.Rings() {
		out.addBends(ring, m.clearanceM)
	}
	for _, b := range out.barriers {
		out.addBends(b.ring, b.marginM+m.clearanceM)
	}
	out.link()
	return out, nil
}

func (b Barrier) check(i int) error {
	if err := unit.CheckRange(fmt.Sprintf("corners of barrier %d", i+1), float64(len(b.Ring)), 3, 1e5, "an area"); err != nil {
		return err
	}
	return unit.CheckRange(fmt.Sprintf("margin of barrier %d (m)", i+1), float64(b.Margin), 0, 1000, "limits of this package")
}

func newBarrier(b Barrier) barrier {
	out := barrier{ring: slices.Clone(b.Ring), marginM: float64(b.Margin), inside: b.Inside}
	if (plane.RingArea(out.ring) > 0) != b.Inside {
		slices.Reverse(out.ring)
	}
	out.lo, out.hi = out.ring[0], out.ring[0]
	for _, p := range out.ring {
		out.lo = plane.Point{X: min(out.lo.X, p.X), Y: min(out.lo.Y, p.Y)}
		out.hi = plane.Point{X: max(out.hi.X, p.X), Y: max(out.hi.Y, p.Y)}
	}
	return out
}

// clear reports whether every point of the segment ab is on the barrier's free
// side and farther than marginM from its ring.
func (b *barrier) clear(p, q plane.Point, marginM float64) bool {
	if !b.inside && (max(p.X, q.X) < b.lo.X-marginM || min(p.X, q.X) > b.hi.X+marginM ||
		max(p.Y, q.Y) < b.lo.Y-marginM || min(p.Y, q.Y) > b.hi.Y+marginM) {
		return true
	}
	if plane.RingContains(b.ring, p) != b.inside {
		return false
	}
	for i, c := range b.ring {
		if segmentsApart(p, q, c, b.ring[(i+1)%len(b.ring)]) <= marginM {
			return false
		}
	}
	return true
}

// segmentsApart returns the distance between two segments, zero where they meet.
func segmentsApart(a, b, c, d plane.Point) float64 {
	if plane.Orient(a, b, c)*plane.Orient(a, b, d) < 0 && plane.Orient(c, d, a)*plane.Orient(c, d, b) < 0 {
		return 0
	}
	best := math.Inf(1)
	for _, e := range []struct{ p, a, b plane.Point }{{a, c, d}, {b, c, d}, {c, a, b}, {d, a, b}} {
		m, _ := plane.SegmentDistance(e.p, e.a, e.b)
		best = min(best, m)
	}
	return best
}

// clear reports whether every point of the segment ab is farther than marginM
// from the shoreline, and as much beyond their margins from all barriers.
func (m *Map) clear(a, b plane.Point, marginM float64) bool {
	return m.shore.Clear(a, b, marginM) && m.allowed(a, b, marginM)
}

func (m *Map) allowed(a, b plane.Point, marginM float64) bool {
	for i := range m.barriers {
		if bar := &m.barriers[i]; !bar.clear(a, b, bar.marginM+marginM) {
			return false
		}
	}
	return true
}

// Allowed reports whether the straight line from a to b keeps off all barriers by
// their margins. It does not look at the shoreline.
func (m *Map) Allowed(a, b plane.Point) bool { return m.allowed(a, b, 0) }
