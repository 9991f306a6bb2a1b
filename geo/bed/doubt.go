package bed

import (
	"math"
	"slices"

	"pondwright/geo/plane"
)

// Settings of the doubt.
const (
	z95 = 1.959963984540054
	z80 = 1.2815515655446004
	// leaveOneOutShare is the part of the leave-one-line-out spread that counts:
	// leaving a line out doubles the gap it leaves. Fitted on simulated surveys.
	leaveOneOutShare = 0.15
	volumeFloor      = 0.003 // least doubt, as a share of the volume
	// outlineCorrelationM is the way along the shore over which the outline's
	// error stays the same. Judgement, no source.
	outlineCorrelationM = 25
)

// interval returns value with its intervals, log-normal so that no end falls
// below zero; for small doubts it is the usual plus and minus.
func interval[Q ~float64](value Q, logSD float64) Interval[Q] {
	at := func(z float64) Q { return value * Q(math.Exp(z*logSD)) }
	return Interval[Q]{Value: value, Low: at(-z95), High: at(z95), Low80: at(-z80), High80: at(z80)}
}

// logSD returns the standard deviation of the log of a quantity whose relative
// standard deviation is given.
func logSD(relative float64) float64 { return math.Sqrt(math.Log1p(relative * relative)) }

// doubt fills in the diagnostics and the intervals.
func (e *estimator) doubt() {
	b := e.bed
	_, volume := b.curve.At(0)
	v := float64(volume)
	d := &b.diag
	data := e.models[0].coarse.data
	b.near = newNeighborhood(slices.DeleteFunc(slices.Clone(data), func(d datum) bool { return d.end }))
	d.Bins = len(b.near.data)
	mean := make([]float64, len(data)) // miss of each datum by the mean of the models
	owner, areaM2 := e.owners(), e.models[0].coarse.areaM2
	for k, m := range e.models {
		misses := m.coarse.leaveOneOut()
		for k, miss := range misses {
			mean[k] += m.weight * miss
		}
		one := strips{owner: owner}
		one.missM, _, _ = e.lineMisses(misses)
		d.Models[k].LeaveOneOutM3 = one.sd(areaM2)
	}
	b.doubtful = e.models
	d.ModelsApartM3 = math.Abs(d.Models[0].VolumeM3 - d.Models[1].VolumeM3)
	b.strips.owner = owner
	b.strips.missM, b.missM, d.Lines = e.lineMisses(mean)
	e.reach()
	b.commonM = math.Hypot(math.Hypot(e.opt.LevelSDM, e.opt.DraftSDM), e.opt.MuckSDM)
	b.speedSD, b.positionSDM = e.opt.SoundSpeedSD, e.positionSDM()

	whole := b.sumDoubt(func(plane.Point, float64) float64 { return 1 })
	d.PosteriorSDM3, d.WanderSDM3, d.LeaveOneOutM3, d.RimSDM3 = whole.field, whole.wander, whole.lines, whole.rim
	b.volumeSDM3 = whole.sd(v)
	b.setIntervals(e.opt, logSD(ratio(b.volumeSDM3, v)), logSD(ratio(e.deepestSD(), float64(b.curve.MaxDepth()))))
}

func (e *estimator) positionSDM() float64 {
	if e.opt.PositionSDM == 0 {
		return DefaultPositionSDM
	}
	return e.opt.PositionSDM
}

// wander returns the standard deviation of the volume in m³ for each meter of
// position error, per axis, that stays the same along a line and differs between
// lines. A depth at datum k moves the volume by ψ = aᵀP⁻¹Hᵀ R⁻¹, and the position
// error moves the depth by the bed's slope; spread is P⁻¹a.
func (t *fit) wander(spread []float64) float64 {
	slope := t.gradients(t.surface(t.x))
	var squares float64
	for from := 0; from < len(t.data); {
		var moved plane.Point
		to := from
		for ; to < len(t.data) && t.data[to].line == t.data[from].line; to++ {
			if t.seen[to] {
				influence := t.predict(&t.rows[to], spread) * t.data[to].weight / t.data[to].spread
				moved = moved.Add(t.slopeAt(slope, to).Scale(influence))
			}
		}
		squares += moved.Dot(moved)
		from = to
	}
	return math.Sqrt(squares)
}

// ratio returns a/b, and a wide one where b is nothing.
func ratio(a, b float64) float64 {
	if b > 0 {
		return min(10, a/b)
	}
	return 10
}

// deepestSD returns the standard deviation of the greatest depth: that of the
// field at the deepest node, and the miss halfway between lines wherever the node
// lies, since the truly deepest place may hide between two.
func (e *estimator) deepestSD() float64 {
	b := e.bed
	deepest := 0
	for i := range b.grid.Nodes {
		if b.depthM[i] > b.depthM[deepest] {
			deepest = i
		}
	}
	field, _ := b.fieldVariance(b.grid.Nodes[deepest].At)
	return math.Sqrt(field + b.betweenVariance(b.diag.LineSpacingM/2, b.depthM[deepest]))
}

// leaveOneOut returns for each datum what it would miss the bed by if its whole
// line had not been run, noise and smoothness kept:
// e = R (R − H P⁻¹ Hᵀ)⁻¹ r for the line's residuals r and noise R.
func (t *fit) leaveOneOut() []float64 {
	misses := make([]float64, len(t.data))
	var lines [][2]int
	for from := 0; from < len(t.data); {
		to := from + 1
		for to < len(t.data) && t.data[to].line == t.data[from].line {
			to++
		}
		lines = append(lines, [2]int{from, to})
		from = to
	}
	inParallel(len(lines), func(k int) { t.missLine(misses, lines[k][0], lines[k][1]) })
	return misses
}

// missLine fills in the misses of the line of data from up to to.
func (t *fit) missLine(misses []float64, from, to int) {
	var rows []sparseRow
	var index []int
	for k := from; k < to; k++ {
		if t.seen[k] {
			rows, index = append(rows, t.row(&t.rows[k])), append(index, k)
		}
	}
	m := len(rows)
	if m == 0 {
		return
	}
	a := t.factor.gram(rows)
	noise, r := make([]float64, m), make([]float64, m)
	for i, k := range index {
		d := &t.data[k]
		noise[i] = d.spread / d.weight
		r[i] = d.depthM - t.predict(&t.rows[k], t.x)
		for j := range m {
			a[i*m+j] = -a[i*m+j]
		}
		a[i*m+i] += noise[i]
	}
	solveDense(a, r, m)
	for i, k := range index {
		misses[k] = noise[i] * r[i]
	}
}

// solveDense replaces x by A⁻¹x for a symmetric positive definite A of order m,
// which it overwrites. A pivot lost to rounding is held at a small value.
func solveDense(a, x []float64, m int) {
	for i := range m {
		ri := a[i*m : i*m+m]
		for j := range i {
			rj := a[j*m : j*m+m]
			ri[j] = (ri[j] - dot(ri[:j], rj[:j])) / rj[j]
		}
		d := ri[i] - dot(ri[:i], ri[:i])
		ri[i] = math.Sqrt(max(d, 1e-9))
	}
	for i := range m {
		x[i] = (x[i] - dot(a[i*m:i*m+i], x[:i])) / a[i*m+i]
	}
	for i := m - 1; i >= 0; i-- {
		x[i] /= a[i*m+i]
		for j := range i {
			x[j] -= a[i*m+j] * x[i]
		}
	}
}

// strips is what leaving out each line would do to the bed: its mean miss, and the
// line nearest to each node of the coarse grid.
type strips struct {
	missM []float64 // by line; NaN for a line without a datum in sight
	owner []int32   // by node
}

// sd returns the spread of a sum of depths, with the given weights by node, when a
// line is left out.
func (s *strips) sd(weights []float64) float64 {
	byLine := make([]float64, len(s.missM))
	for i, w := range weights {
		byLine[s.owner[i]] += w
	}
	var sum float64
	for line, w := range byLine {
		if e := w * s.missM[line]; !math.IsNaN(e) {
			sum += e * e
		}
	}
	return math.Sqrt(sum)
}

// owners returns the line nearest to each node of the coarse grid.
func (e *estimator) owners() []int32 {
	t := e.models[0].coarse
	owner := make([]int32, len(t.grid.Nodes))
	for i := range owner {
		k, _ := e.bed.near.nearest(t.grid.Nodes[i].At)
		owner[i] = e.bed.near.data[k].line
	}
	return owner
}

// lineMisses returns the mean of the misses of each line, their root mean square
// and the number of lines.
func (e *estimator) lineMisses(misses []float64) (missM []float64, rmsM float64, lines int) {
	t := e.models[0].coarse
	missM = make([]float64, e.lines)
	weight := make([]float64, e.lines)
	var squares, total float64
	for k := range t.data {
		d := &t.data[k]
		if !t.seen[k] || d.end {
			continue
		}
		missM[d.line] += d.weight * misses[k]
		weight[d.line] += d.weight
		squares += d.weight * misses[k] * misses[k]
		total += d.weight
	}
	for line, w := range weight {
		if missM[line] /= w; w > 0 {
			lines++
		}
	}
	return missM, math.Sqrt(squares / max(total, 1e-9)), lines
}

// reach finds how much water lies farther than the line spacing from any sounding;
// without a line the spacing is that of the bins.
func (e *estimator) reach() {
	d := &e.bed.diag
	if d.LineSpacingM == 0 {
		d.LineSpacingM = math.Sqrt(e.bed.grid.AreaM2 / float64(d.Bins))
	}
	var far, all float64
	for _, c := range e.bed.cells {
		if _, distance := e.bed.near.nearest(c.At); distance > d.LineSpacingM {
			far += c.AreaM2
		}
		all += c.AreaM2
	}
	d.FarShare = far / all
}

// neighborhood finds the datum nearest to a place.
type neighborhood struct {
	data    []datum
	lo      plane.Point
	cellM   float64
	nx, ny  int
	buckets [][]int32
}

func newNeighborhood(data []datum) *neighborhood {
	h := &neighborhood{data: data, lo: data[0].at}
	hi := h.lo
	for _, d := range data {
		h.lo = plane.Point{X: min(h.lo.X, d.at.X), Y: min(h.lo.Y, d.at.Y)}
		hi = plane.Point{X: max(hi.X, d.at.X), Y: max(hi.Y, d.at.Y)}
	}
	w, v := hi.X-h.lo.X, hi.Y-h.lo.Y
	h.cellM = max(1, max(w, v)/100)
	h.nx, h.ny = int(w/h.cellM)+1, int(v/h.cellM)+1
	h.buckets = make([][]int32, h.nx*h.ny)
	for k, d := range data {
		i, j := h.square(d.at)
		h.buckets[j*h.nx+i] = append(h.buckets[j*h.nx+i], int32(k))
	}
	return h
}

func (h *neighborhood) square(p plane.Point) (i, j int) {
	i = min(h.nx-1, max(0, int((p.X-h.lo.X)/h.cellM)))
	j = min(h.ny-1, max(0, int((p.Y-h.lo.Y)/h.cellM)))
	return i, j
}

// nearest searches buckets in growing squares about p.
func (h *neighborhood) nearest(p plane.Point) (index int, distanceM float64) {
	ci, cj := h.square(p)
	distanceM = math.Inf(1)
	for ring := 0; ring <= max(h.nx, h.ny); ring++ {
		if float64(ring-1)*h.cellM > distanceM {
			break
		}
		for j := max(0, cj-ring); j <= min(h.ny-1, cj+ring); j++ {
			step := 1
			if j != cj-ring && j != cj+ring {
				step = max(1, 2*ring)
			}
			for i := ci - ring; i <= ci+ring; i += step {
				if i < 0 || i >= h.nx {
					continue
				}
				for _, k := range h.buckets[j*h.nx+i] {
					d := p.Distance(h.data[k].at)
					if d < distanceM || (d == distanceM && int(k) < index) {
						index, distanceM = int(k), d
					}
				}
			}
		}
	}
	return index, distanceM
}
