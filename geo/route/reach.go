package route

import (
	"math"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// Reach answers how far a fixed set of targets is from many points. What the
// targets see is worked out once. Make one with Map.Reach; it is immutable and
// safe to share between goroutines.
type Reach struct {
	m       *Map
	withinM float64
	targets []target
}

// target is a mooring with the bends it sees. A target ashore has no clear
// place and sees nothing.
type target struct {
	mooring
	ashore bool
	seen   []link
}

// Reach prepares the ways to the targets that are no longer than within.
func (m *Map) Reach(targets []plane.Point, within unit.Meters) *Reach {
	r := &Reach{m: m, withinM: float64(within), targets: make([]target, len(targets))}
	for k, p := range targets {
		t := &r.targets[k]
		var err error
		if t.mooring, err = m.moor(p); err != nil {
			t.ashore = true
			continue
		}
		for i := range m.bends {
			b := &m.bends[i]
			d := t.clear.Sub(b.at)
			if l := d.Norm(); l <= r.withinM && b.taut(d) && m.clear(b.at, t.clear, m.clearanceM) {
				t.seen = append(t.seen, link{int32(i), l})
			}
		}
	}
	return r
}

// From returns the length of the shortest way in meters from p to each target:
// +Inf where it is longer than the reach, where there is none, and where either
// end lies ashore.
func (r *Reach) From(p plane.Point) []float64 {
	lengthsM := make([]float64, len(r.targets))
	start, err := r.m.moor(p)
	if err != nil {
		for k := range lengthsM {
			lengthsM[k] = math.Inf(1)
		}
		return lengthsM
	}
	distM, _ := r.m.shortest(start.clear, r.withinM)
	for k := range r.targets {
		lengthsM[k] = r.lengthM(start, &r.targets[k], distM)
	}
	return lengthsM
}

// lengthM returns the length of the way from start to t, given the bends'
// distances from the start.
func (r *Reach) lengthM(start mooring, t *target, distM []float64) float64 {
	if t.ashore {
		return math.Inf(1)
	}
	if start.at == t.at {
		return 0
	}
	legsM, straightM := start.legM+t.legM, start.clear.Distance(t.clear)
	if legsM+straightM > r.withinM {
		return math.Inf(1)
	}
	if r.m.clear(start.clear, t.clear, r.m.clearanceM) {
		return legsM + straightM
	}
	bestM := math.Inf(1)
	for _, l := range t.seen {
		bestM = min(bestM, distM[l.to]+l.lengthM)
	}
	if bestM += legsM; bestM > r.withinM {
		return math.Inf(1)
	}
	return bestM
}
