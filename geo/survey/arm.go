package survey

import (
	"cmp"
	"container/heap"
	"math"
	"slices"

	"pondwright/geo/plane"
)

// arms returns lines up the middle of narrow water that leaves the axis. From the
// axis a way is sought to every grid node that keeps to the middle; where such a
// way ends at a tip after a stretch of narrow water, the stretch is an arm.
func (p *planner) arms(axis []Transect) []Transect {
	narrowM := narrowShare * p.grid.WidestM
	from, lengthM := p.ways(axis, narrowM)
	var tips []int
	for i, n := range p.grid.Nodes {
		tip := !math.IsInf(lengthM[i], 1) && lengthM[i] > 0
		for _, k := range n.Next {
			tip = tip && (k < 0 || lengthM[k] <= lengthM[i])
		}
		if tip {
			tips = append(tips, i)
		}
	}
	slices.SortStableFunc(tips, func(a, b int) int { return cmp.Compare(lengthM[b], lengthM[a]) })
	var out []Transect
	near := func(k int) bool { // an arm's line already passes
		n := &p.grid.Nodes[k]
		return slices.ContainsFunc(out, func(t Transect) bool { return t.distance(n.At) < 1.5*max(n.ShoreM, p.grid.SpacingM) })
	}
	for _, tip := range tips {
		var way []int
		for k := tip; k >= 0 && !near(k); k = from[k] {
			way = append(way, k)
		}
		narrow, width := 0, 0.0
		for narrow < len(way) && p.grid.Nodes[way[narrow]].ShoreM < narrowM {
			narrow++
		}
		way = way[:narrow]
		for _, i := range way {
			width += p.grid.Nodes[i].ShoreM / float64(narrow)
		}
		// A way straight out from the shore is twice as long as it lies from it.
		if float64(narrow)*p.grid.SpacingM < max(armWidths*width, p.grid.WidestM, leastArmM) {
			continue
		}
		t := Transect{Purpose: Arm, Points: p.smooth(way)}
		if t.length() >= leastArmM {
			out = append(out, t)
		}
		if len(out) == mostArms {
			break
		}
	}
	return out
}

// ways returns for each node the next one toward the axis, −1 on it, and how far
// it is that way (Dijkstra, 1959, with steps that cost more near the shore).
func (p *planner) ways(axis []Transect, narrowM float64) (from []int, lengthM []float64) {
	n := len(p.grid.Nodes)
	from, lengthM = make([]int, n), make([]float64, n)
	cost := make([]float64, n)
	for i := range n {
		from[i], lengthM[i], cost[i] = -1, math.Inf(1), math.Inf(1)
	}
	q := &queue{}
	for _, t := range axis {
		for k := 1; k < len(t.Points); k++ {
			steps := int(t.Points[k].Distance(t.Points[k-1])/p.grid.SpacingM*2) + 1
			for j := range steps + 1 {
				i, ok := p.nearest(t.Points[k-1].Lerp(t.Points[k], float64(j)/float64(steps)))
				if ok && cost[i] > 0 {
					cost[i], lengthM[i] = 0, 0
					heap.Push(q, queued{i, 0})
				}
			}
		}
	}
	for q.Len() > 0 {
		at, _ := heap.Pop(q).(queued)
		if at.cost > cost[at.node] {
			continue
		}
		for _, k := range p.grid.Nodes[at.node].Next {
			if k < 0 {
				continue
			}
			step := p.grid.SpacingM * (1 + narrowM/max(p.grid.Nodes[k].ShoreM, 0.1))
			if c := at.cost + step; c < cost[k] {
				cost[k], from[k], lengthM[k] = c, at.node, lengthM[at.node]+p.grid.SpacingM
				heap.Push(q, queued{int(k), c})
			}
		}
	}
	return from, lengthM
}

// nearest returns the grid node nearest to a place in the water.
func (p *planner) nearest(at plane.Point) (int, bool) {
	d := at.Sub(p.grid.Origin).Scale(1 / p.grid.SpacingM)
	i, ok := p.nodeAt[[2]int32{int32(math.Round(d.X)), int32(math.Round(d.Y))}]
	return i, ok
}

// smooth turns a way over grid nodes into one with few corners that stays as far
// from the shore as half the nodes passed do.
func (p *planner) smooth(way []int) []plane.Point {
	const reach = 40 // nodes that one straight piece may pass
	out := []plane.Point{p.grid.Nodes[way[0]].At}
	for k := 0; k < len(way)-1; {
		next := k + 1
		free := p.grid.Nodes[way[k]].ShoreM
		for j := k + 1; j < min(len(way), k+reach); j++ {
			free = min(free, p.grid.Nodes[way[j]].ShoreM)
			if p.shore.Clear(p.grid.Nodes[way[k]].At, p.grid.Nodes[way[j]].At, free/2) {
				next = j
			}
		}
		k = next
		out = append(out, p.grid.Nodes[way[k]].At)
	}
	return out
}

// queued is a node that a way has reached.
type queued struct {
	node int
	cost float64
}

// queue is a heap of nodes, the cheapest first; ties go to the lower node.
type queue struct {
	items []queued
}

func (q *queue) Len() int { return len(q.items) }
func (q *queue) Less(i, j int) bool {
	a, b := q.items[i], q.items[j]
	return cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(a.node, b.node)) < 0
}
func (q *queue) Swap(i, j int) { q.items[i], q.items[j] = q.items[j], q.items[i] }
func (q *queue) Push(x any) {
	if n, ok := x.(queued); ok {
		q.items = append(q.items, n)
	}
}
func (q *queue) Pop() any {
	last := q.items[len(q.items)-1]
	q.items = q.items[:len(q.items)-1]
	return last
}
