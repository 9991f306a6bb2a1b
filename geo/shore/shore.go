// Package shore holds a pond's outline: one outer ring and the islands in it.
//
// A Shore lives twice: as an S2 polygon, which answers containment and gives the
// coverings by which soundings are read back, and as rings in a local plane,
// where lengths, areas and distances are taken. New checks what S2's own
// validation lets through: a bow-tie, a clockwise ring, islands that touch.
//
//	s, err := shore.New(outer, islands)
//	if err != nil { … }          // *RingError says which corner and where
//	fmt.Println(s.Area().Acres(), s.Length())
//
// The package knows the outline only; it says nothing of depth.
package shore

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// MaxSpan is the widest pond the local plane is trusted for, from side to side.
const MaxSpan unit.Meters = 20000

// RingError tells which ring of an outline cannot be used and where.
type RingError struct {
	Ring   int       // 0 is the outer ring, 1 the first island
	Vertex int       // index of the corner as given
	At     s2.LatLng // where it is
	Reason string
}

// Error names the ring, the corner, its position and the reason.
func (e *RingError) Error() string {
	name := "outer ring"
	if e.Ring > 0 {
		name = fmt.Sprintf("island %d", e.Ring)
	}
	return fmt.Sprintf("%s, corner %d at %.7f, %.7f (lat, lon): %s",
		name, e.Vertex+1, e.At.Lat.Degrees(), e.At.Lng.Degrees(), e.Reason)
}

// ErrTooWide is returned, with the farthest corner and where it is, for an
// outline wider than MaxSpan.
var ErrTooWide = errors.New("outline is wider than 20 km: check that longitude and latitude are not swapped")

// Shore is a pond's outline. Make one with New; it is immutable and safe to
// share between goroutines.
type Shore struct {
	frame   plane.Frame
	rings   [][]plane.Point // rings[0] counter-clockwise, islands clockwise: water lies left
	polygon *s2.Polygon
	index   *s2.ShapeIndex
	sides   sideTree
	areaM2  float64
	lengthM float64
}

// New returns the outline with the given outer ring and islands. Rings may run
// either way and may repeat their first corner at the end; repeated corners are
// dropped. It returns a *RingError for a ring with fewer than three corners,
// one that crosses or touches itself or another ring, an island outside the
// outer ring or inside another island, and a corner that is no position.
func New(outer []s2.LatLng, islands [][]s2.LatLng) (*Shore, error) {
	given := append([][]s2.LatLng{outer}, islands...)
	for r, ring := range given {
		for v, ll := range ring {
			// IsValid lets NaN through on some platforms' comparisons: ask plainly.
			if !ll.IsValid() || math.IsNaN(ll.Lat.Radians()) || math.IsNaN(ll.Lng.Radians()) {
				return nil, &RingError{Ring: r, Vertex: v, At: ll, Reason: notAPosition(ll)}
			}
		}
		if len(ring) == 0 {
			return nil, &RingError{Ring: r, Reason: "has no corners"}
		}
	}
	s := &Shore{frame: plane.NewFrame(center(outer))}
	corners := make([][]int, len(given)) // index of each kept vertex in its given ring
	for r, ring := range given {
		pts, idx := s.project(ring)
		if len(pts) < 3 {
			return nil, &RingError{Ring: r, At: ring[0], Reason: "has fewer than three different corners"}
		}
		s.rings, corners[r] = append(s.rings, pts), idx
	}
	if v := farthest(s.rings[0]); extent(s.rings[0]) > float64(MaxSpan) {
		ll := outer[corners[0][v]]
		return nil, fmt.Errorf("outer ring, corner %d at %.7f, %.7f (lat, lon): %w",
			corners[0][v]+1, ll.Lat.Degrees(), ll.Lng.Degrees(), ErrTooWide)
	}
	s.sides = newSideTree(s.rings)
	if err := s.checkCrossings(given, corners); err != nil {
		return nil, err
	}
	for r, ring := range s.rings {
		if ccw := plane.RingArea(ring) > 0; ccw != (r == 0) {
			slices.Reverse(ring)
		}
		s.areaM2 += plane.RingArea(ring)
		s.lengthM += plane.RingLength(ring)
	}
	s.sides = newSideTree(s.rings)
	if err := s.checkNesting(given); err != nil {
		return nil, err
	}
	s.buildPolygon()
	return s, nil
}

// notAPosition says why ll is none.
func notAPosition(ll s2.LatLng) string {
	if (s2.LatLng{Lat: ll.Lng, Lng: ll.Lat}).IsValid() && math.Abs(ll.Lat.Degrees()) > 90 {
		return "is not a position: latitude is beyond 90 degrees, longitude and latitude look swapped"
	}
	return "is not a position: latitude runs from -90 to 90, longitude from -180 to 180"
}

// center returns the middle of the ring's bounding rectangle.
func center(ring []s2.LatLng) s2.LatLng {
	rect := s2.EmptyRect()
	for _, ll := range ring {
		rect = rect.AddPoint(ll)
	}
	return rect.Center()
}

// repeatTolM is how near a corner must come to the one before to repeat it.
const repeatTolM = 1e-6

// project maps a ring to the plane without repeated corners.
func (s *Shore) project(ring []s2.LatLng) (pts []plane.Point, index []int) {
	for i, ll := range ring {
		p := s.frame.ToPlane(ll)
		if n := len(pts); n > 0 && pts[n-1].Distance(p) <= repeatTolM {
			continue
		}
		pts, index = append(pts, p), append(index, i)
	}
	for len(pts) > 1 && pts[0].Distance(pts[len(pts)-1]) <= repeatTolM {
		pts, index = pts[:len(pts)-1], index[:len(index)-1]
	}
	return pts, index
}

// extent returns the longer side of the ring's bounding box in meters.
func extent(ring []plane.Point) float64 {
	lo, hi := bounds(ring)
	return max(hi.X-lo.X, hi.Y-lo.Y)
}

// farthest returns the corner that lies farthest from the frame's origin.
func farthest(ring []plane.Point) int {
	at := 0
	for i, p := range ring {
		if p.Norm() > ring[at].Norm() {
			at = i
		}
	}
	return at
}

func bounds(pts []plane.Point) (lo, hi plane.Point) {
	lo = plane.Point{X: math.Inf(1), Y: math.Inf(1)}
	hi = plane.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, p := range pts {
		lo = plane.Point{X: min(lo.X, p.X), Y: min(lo.Y, p.Y)}
		hi = plane.Point{X: max(hi.X, p.X), Y: max(hi.Y, p.Y)}
	}
	return lo, hi
}

// checkCrossings refuses rings whose sides cross or touch anywhere but at the
// corner that two neighbors share. It looks twice: at the rings as drawn, where
// sides are straight in longitude and latitude (RFC 7946, 2016, section 3.1.1)
// and a corner may lie on a side to within the writing of a number, and as kept,
// where the projection has moved such a side by up to a fraction of a millimeter.
func (s *Shore) checkCrossings(given [][]s2.LatLng, corners [][]int) error {
	drawn := make([][]plane.Point, len(s.rings))
	for r, at := range corners {
		for _, v := range at {
			drawn[r] = append(drawn[r], s.flat(given[r][v]))
		}
	}
	for _, look := range []struct {
		sides sideTree
		rings [][]plane.Point
		tolM  float64
	}{{newSideTree(drawn), drawn, touchTolM}, {s.sides, s.rings, 0}} {
		bad, reason := findTouch(look.rings, &look.sides, look.tolM)
		if reason != "" {
			v := corners[bad.ring][bad.i]
			return &RingError{Ring: bad.ring, Vertex: v, At: given[bad.ring][v], Reason: reason}
		}
	}
	return nil
}

// touchTolM is how near two sides of a drawn ring may come: far below what a
// survey resolves, far above the rounding of a position.
const touchTolM = 1e-7

// flat places ll by its differences in longitude and latitude alone.
func (s *Shore) flat(ll s2.LatLng) plane.Point {
	o := s.frame.Origin()
	meridianM, primeVerticalM := plane.Radii(o.Lat)
	return plane.Point{
		X: math.Remainder((ll.Lng-o.Lng).Radians(), 2*math.Pi) * primeVerticalM * math.Cos(o.Lat.Radians()),
		Y: (ll.Lat - o.Lat).Radians() * meridianM,
	}
}

// findTouch returns the first side that crosses or comes within tolM of another
// than its neighbors, or folds back over one, and why that cannot be; the reason
// is empty when there is none.
func findTouch(rings [][]plane.Point, sides *sideTree, tolM float64) (bad side, reason string) {
	for r, ring := range rings {
		for i, b := range ring {
			a, c := ring[(i+len(ring)-1)%len(ring)], ring[(i+1)%len(ring)]
			if b.Sub(a).Dot(c.Sub(b)) < 0 && min(distance2(a, b, c), distance2(c, a, b)) <= tolM*tolM {
				return side{ring: r, i: i}, "the shoreline turns back over itself here; remove the spike"
			}
		}
	}
	sides.pairs(tolM, func(e, f side) bool {
		n := len(rings[e.ring])
		neighbors := e.ring == f.ring && ((e.i+1)%n == f.i || (f.i+1)%n == e.i)
		switch {
		case neighbors || !touches(e.a, e.b, f.a, f.b) && (tolM == 0 || apart(e.a, e.b, f.a, f.b) > tolM):
		case e.ring == f.ring:
			bad, reason = e, "the shoreline crosses or touches itself here; a ring must not form a bow-tie"
		default:
			bad, reason = e, "two rings cross or touch here; an island must lie clear of the shore and of other islands"
		}
		return reason == ""
	})
	return bad, reason
}

// checkNesting refuses islands outside the outer ring or inside one another.
func (s *Shore) checkNesting(given [][]s2.LatLng) error {
	for r := 1; r < len(s.rings); r++ {
		p := s.rings[r][0]
		if !plane.RingContains(s.rings[0], p) {
			return &RingError{Ring: r, At: given[r][0], Reason: "lies outside the outer ring"}
		}
		for q := 1; q < len(s.rings); q++ {
			if q != r && plane.RingContains(s.rings[q], p) {
				return &RingError{Ring: r, At: given[r][0], Reason: fmt.Sprintf("lies inside island %d", q)}
			}
		}
	}
	return nil
}

// buildPolygon makes the S2 twin of the rings.
func (s *Shore) buildPolygon() {
	loops := make([]*s2.Loop, len(s.rings))
	for r, ring := range s.rings {
		pts := make([]s2.Point, len(ring))
		for i, p := range ring {
			pts[i] = s2.PointFromLatLng(s.frame.ToLatLng(p))
		}
		if r > 0 {
			slices.Reverse(pts) // S2 wants every loop counter-clockwise and nests them itself
		}
		loops[r] = s2.LoopFromPoints(pts)
	}
	s.polygon = s2.PolygonFromLoops(loops)
	s.index = s2.NewShapeIndex()
	s.index.Add(s.polygon)
	s.index.Build() // lazily built indexes are not safe to share
}

// Frame returns the local plane, whose origin is the middle of the outline.
func (s *Shore) Frame() plane.Frame { return s.frame }

// Rings returns the rings in the plane: the outer one first, counter-clockwise,
// then the islands, clockwise, so that water always lies to the left. They are
// not closed by a repeated corner. The caller must not change them.
func (s *Shore) Rings() [][]plane.Point { return s.rings }

// Area returns the water surface, islands taken off.
func (s *Shore) Area() unit.SquareMeters { return unit.SquareMeters(s.areaM2) }

// Length returns the length of the shoreline, islands included.
func (s *Shore) Length() unit.Meters { return unit.Meters(s.lengthM) }

// Bounds returns the corners of the outline's box in the plane.
func (s *Shore) Bounds() (lo, hi plane.Point) { return bounds(s.rings[0]) }

// Contains reports whether p lies in the water. A point on the shoreline may go
// either way.
func (s *Shore) Contains(p plane.Point) bool { return s.sides.inside(p) }

// ContainsLatLng reports whether the position lies in the water, by S2.
func (s *Shore) ContainsLatLng(ll s2.LatLng) bool {
	return s2.NewContainsPointQuery(s.index, s2.VertexModelSemiOpen).Contains(s2.PointFromLatLng(ll))
}

// Covering returns cells of the given level, in [0, 30], that together cover the
// water. The shoreline may run along the edge of a cell.
func (s *Shore) Covering(level int) s2.CellUnion {
	coverer := s2.RegionCoverer{MinLevel: level, MaxLevel: level, MaxCells: math.MaxInt32}
	return coverer.Covering(s.polygon)
}

// Nearest returns the distance from p to the shoreline in meters and the nearest
// point on it, whether p lies in the water or not.
func (s *Shore) Nearest(p plane.Point) (distanceM float64, at plane.Point) {
	return s.sides.nearest(p)
}

// Crosses reports whether the segment ab meets the shoreline.
func (s *Shore) Crosses(a, b plane.Point) bool { return s.sides.crosses(a, b) }

// Clear reports whether every point of the segment ab is farther than marginM
// from the shoreline. It does not tell on which side the segment lies.
func (s *Shore) Clear(a, b plane.Point, marginM float64) bool {
	return s.sides.clear(a, b, marginM)
}
