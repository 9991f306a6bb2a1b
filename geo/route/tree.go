package route

import (
	"container/heap"
	"math"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// Tree holds the shortest ways from one point. They form a tree: two of them
// run together and part once, they do not cross. Make one with Map.From; it is
// immutable and safe to share between goroutines.
type Tree struct {
	m     *Map
	start mooring
	// For each bend its distance from the start, +Inf where it is out of reach,
	// and the bend before it, -1 for those that the start sees.
	distM  []float64
	before []int32
}

// mooring is an end of a way: the given point and, where that is too close to
// land, the place in clear water that it is tied to.
type mooring struct {
	at, clear plane.Point
	legM      float64
}

// From returns the shortest ways from p, which may lie on the shoreline. It
// returns an *EndError when p lies ashore or no clear water begins there.
func (m *Map) From(p plane.Point) (*Tree, error) {
	start, err := m.moor(p)
	if err != nil {
		return nil, &EndError{End: "start", At: p, Err: err}
	}
	t := &Tree{m: m, start: start}
	t.distM, t.before = m.shortest(start.clear, math.Inf(1))
	return t, nil
}

// Path returns the shortest way to a point, which may lie on the shoreline. It
// returns an *EndError when the point lies ashore or out of reach.
func (t *Tree) Path(to plane.Point) (Route, error) {
	end, err := t.m.moor(to)
	if err != nil {
		return Route{}, &EndError{End: "end", At: to, Err: err}
	}
	if t.start.at == to {
		return Route{Points: []plane.Point{to}}, nil
	}
	lengthM, last := t.last(end.clear)
	if math.IsInf(lengthM, 1) {
		return Route{}, &EndError{End: "end", At: to, Err: ErrUnreachable}
	}
	points := []plane.Point{to, end.clear}
	for b := last; b >= 0; b = t.before[b] {
		points = append(points, t.m.bends[b].at)
	}
	points = append(points, t.start.clear, t.start.at)
	slices.Reverse(points)
	return Route{
		Points: slices.Compact(points),
		Length: unit.Meters(t.start.legM + lengthM + end.legM),
	}, nil
}

// last returns the length of the way to p in clear water and the last bend of
// it, -1 when the start sees p.
func (t *Tree) last(p plane.Point) (float64, int32) {
	if t.m.clear(t.start.clear, p, t.m.clearanceM) {
		return t.start.clear.Distance(p), -1
	}
	bestM, last := math.Inf(1), int32(-1)
	for i := range t.m.bends {
		b := &t.m.bends[i]
		d := p.Sub(b.at)
		if l := t.distM[i] + d.Norm(); l < bestM && b.taut(d) && t.m.clear(b.at, p, t.m.clearanceM) {
			bestM, last = l, int32(i)
		}
	}
	return bestM, last
}

// shortest returns the distance from p, in clear water, to every bend and the
// bend before it, not looking farther than withinM (Dijkstra, 1959, "A note on
// two problems in connection with graphs").
func (m *Map) shortest(p plane.Point, withinM float64) (distM []float64, before []int32) {
	distM, before = make([]float64, len(m.bends)), make([]int32, len(m.bends))
	var front queue
	for i := range m.bends {
		distM[i], before[i] = math.Inf(1), -1
		b := &m.bends[i]
		d := b.at.Sub(p)
		if l := d.Norm(); l <= withinM && b.taut(d) && m.clear(p, b.at, m.clearanceM) {
			distM[i] = l
			front = append(front, link{int32(i), l})
		}
	}
	heap.Init(&front)
	for len(front) > 0 {
		at := heap.Pop(&front).(link) //nolint:forcetypeassert // the queue holds links
		if at.lengthM > distM[at.to] {
			continue
		}
		for _, l := range m.links[m.first[at.to]:m.first[at.to+1]] {
			if d := at.lengthM + l.lengthM; d <= withinM && d < distM[l.to] {
				distM[l.to], before[l.to] = d, at.to
				heap.Push(&front, link{l.to, d})
			}
		}
	}
	return distM, before
}

// queue is a heap of bends by distance, ties by number.
type queue []link

func (q queue) Len() int { return len(q) }
func (q queue) Less(i, j int) bool {
	return q[i].lengthM < q[j].lengthM || q[i].lengthM == q[j].lengthM && q[i].to < q[j].to
}
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(x any)   { *q = append(*q, x.(link)) } //nolint:forcetypeassert // the queue holds links
func (q *queue) Pop() any {
	old := *q
	last := old[len(old)-1]
	*q = old[:len(old)-1]
	return last
}
