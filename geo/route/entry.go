package route

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// DefaultTrenchLimit is the farthest a mast may stand from the shore before the
// site is taken for a mistake. Judgement, no source.
const DefaultTrenchLimit unit.Meters = 200

// ErrMastInWater is returned for a mast that stands in the pond.
var ErrMastInWater = errors.New("the mast stands in the water")

// FarMastError reports a mast too far from the shore.
type FarMastError struct {
	Distance, Limit unit.Meters
}

// Error names the distance and the limit.
func (e *FarMastError) Error() string {
	return fmt.Sprintf("the mast stands %.0f m from the shore, the limit is %.0f m: check its latitude and longitude", float64(e.Distance), float64(e.Limit))
}

// Entry returns where a straight trench from the mast meets the shore: the
// nearest point of the shoreline from which hoses can be laid, to which the trench
// crosses no barrier. It returns ErrMastInWater, a *FarMastError for a mast beyond
// the limit, and an *EndError with ErrNoWater when clear water begins nowhere
// within the limit, or with ErrBarred when every trench there crosses a barrier.
func (m *Map) Entry(mast plane.Point, limit unit.Meters) (plane.Point, error) {
	distM, near := m.shore.Nearest(mast)
	if distM > ashoreTolM && m.shore.Contains(mast) {
		return plane.Point{}, ErrMastInWater
	}
	if !(distM <= float64(limit)) {
		return plane.Point{}, &FarMastError{Distance: unit.Meters(distM), Limit: limit}
	}
	reason := ErrNoWater
	opens := func(p plane.Point) bool {
		if !m.allowed(mast, p, 0) {
			reason = ErrBarred
			return false
		}
		_, err := m.moor(p)
		return err == nil
	}
	if opens(near) {
		return near, nil
	}
	// The nearest shore is a nook too narrow for a hose, or barred: look along the
	// shore.
	for _, p := range m.landings(mast, float64(limit)) {
		if !m.shore.Crosses(mast, mast.Lerp(p, 1-1e-6)) && opens(p) {
			return p, nil
		}
	}
	return plane.Point{}, &EndError{End: "start", At: near, Err: reason}
}

// landingStepM is how closely the shore is searched for a landing where barriers
// take the nearest.
const landingStepM = 1.0

// landings lists the nearest point of every side of the shoreline, nearest
// first; with barriers about, places all along the sides too.
func (m *Map) landings(mast plane.Point, limitM float64) []plane.Point {
	type landing struct {
		distM float64
		at    plane.Point
	}
	var all []landing
	for _, ring := range m.shore.Rings() {
		for i, a := range ring {
			b := ring[(i+1)%len(ring)]
			d, q := plane.SegmentDistance(mast, a, b)
			if d > limitM {
				continue
			}
			all = append(all, landing{d, q})
			if len(m.barriers) == 0 {
				continue
			}
			n := int(math.Ceil(a.Distance(b) / landingStepM))
			for k := range n {
				if q := a.Lerp(b, float64(k)/float64(n)); mast.Distance(q) <= limitM {
					all = append(all, landing{mast.Distance(q), q})
				}
			}
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].distM < all[j].distM })
	points := make([]plane.Point, len(all))
	for i, l := range all {
		points[i] = l.at
	}
	return points
}

// bedStepM is how finely AlongBed reads the depth.
const bedStepM = 0.5

// AlongBed returns the length of a way along the bottom: its legs are cut into
// steps of at most 0.5 m and the depth in meters is read at each. It is at least
// the length in the plan.
func AlongBed(points []plane.Point, depthM func(plane.Point) float64) unit.Meters {
	if len(points) == 0 {
		return 0
	}
	var sumM float64
	atM := depthM(points[0])
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		planM := a.Distance(b)
		n := math.Ceil(planM / bedStepM)
		for k := range int(n) {
			nextM := depthM(a.Lerp(b, float64(k+1)/n))
			sumM += math.Hypot(planM/n, nextM-atM)
			atM = nextM
		}
	}
	return unit.Meters(sumM)
}
