package bed

import (
	"math"

	"pondwright/geo/plane"
)

// Settings of the position lag.
const (
	lagSDs      = 3.0 // a lag is applied only beyond so many standard deviations …
	maxLagS     = 5.0 // … and short of this
	lagMinLines = 4
	lagSteps    = 3
)

// lag estimates by how many seconds positions trail depths: a reported place is
// then where the boat was, and a fix belongs lag times its velocity farther on.
// It is a Gauss–Newton search of the profiled likelihood: with g the change of
// the predicted depths per second, Σ the covariance of the data,
//
//	τ = gᵀΣ⁻¹r / gᵀΣ⁻¹g,   Σ⁻¹ = R⁻¹ − R⁻¹H P⁻¹ Hᵀ R⁻¹.
//
// The standard deviation is taken from the lines' separate contributions, because
// a receiver's error hardly changes along one line, and is no less than that
// error makes it. It reports false
// where there are too few lines with times.
func (e *estimator) lag(first *fit) (lagS, sdS float64, known bool, err error) {
	t := first
	for step := range lagSteps {
		delta, sd, lines := t.lagStep(e.positionSDM())
		if lines < lagMinLines {
			return 0, 0, false, nil
		}
		lagS, sdS = lagS+delta, sd
		if math.Abs(lagS) > 2*maxLagS {
			return 0, 0, false, nil
		}
		if math.Abs(lagS) < 2*sdS || step == lagSteps-1 || math.Abs(delta) < 0.1*sd {
			break
		}
		t = newFit(t.field, e.bins(lagS), t.scaleM)
		t.logRatio = first.logRatio
		if err := t.solve(); err != nil {
			return 0, 0, false, err
		}
		t.reweight()
		if err := t.solve(); err != nil {
			return 0, 0, false, err
		}
	}
	return lagS, sdS, true, nil
}

// lagStep returns the change of the lag that the present residuals ask for, its
// standard deviation and the number of lines that have a say.
func (t *fit) lagStep(positionSDM float64) (deltaS, sdS float64, lines int) {
	slope := t.gradients(t.surface(t.x))
	n := len(t.data)
	var speed, count float64
	change, miss := make([]float64, n), make([]float64, n)
	for k := range t.data {
		d := &t.data[k]
		if !t.seen[k] || d.velMPS == (plane.Point{}) {
			continue
		}
		change[k] = t.slopeAt(slope, k).Dot(d.velMPS)
		speed += d.velMPS.Norm()
		count++
		miss[k] = d.depthM - t.predict(&t.rows[k], t.x)
	}
	// Residuals of the fit are R Σ⁻¹ y, so R⁻¹ times them is Σ⁻¹ y already.
	filtered := t.whiten(change)
	var information, score float64
	perLine := make(map[int32]int)
	var scores []float64
	for k := range t.data {
		d := &t.data[k]
		if !t.seen[k] {
			continue
		}
		i, ok := perLine[d.line]
		if !ok {
			i = len(scores)
			perLine[d.line] = i
			scores = append(scores, 0)
		}
		s := change[k] * miss[k] * d.weight / d.spread
		information += change[k] * filtered[k]
		score += s
		scores[i] += s
	}
	if information <= 0 {
		return 0, 0, 0
	}
	deltaS = score / information
	var squares float64
	for _, s := range scores {
		if s != 0 {
			lines++
		}
		squares += s * s
	}
	wander := positionSDM / speed * count / math.Sqrt(max(1, float64(lines)))
	return deltaS, math.Hypot(math.Sqrt(squares)/information, wander), lines
}

// whiten returns Σ⁻¹z, in units of the fit's variance.
func (t *fit) whiten(z []float64) []float64 {
	right := make([]float64, len(t.grid.Nodes)+trends)
	for k := range t.data {
		if t.seen[k] {
			t.addTo(right, &t.rows[k], z[k]*t.data[k].weight/t.data[k].spread)
		}
	}
	x := t.factor.solve(right)
	out := make([]float64, len(z))
	for k := range t.data {
		if t.seen[k] {
			out[k] = (z[k] - t.predict(&t.rows[k], x)) * t.data[k].weight / t.data[k].spread
		}
	}
	return out
}

// slopeAt returns the slope at datum k for slopes at the nodes.
func (t *fit) slopeAt(slope []plane.Point, k int) (s plane.Point) {
	for c, v := range t.grid.Mesh.Triangles[t.rows[k].triangle] {
		if t.rows[k].weight[c] != 0 {
			s = s.Add(slope[v].Scale(t.rows[k].weight[c]))
		}
	}
	return s
}

// gradients returns the slope at each node of a surface that is zero at the shore.
func (l *layout) gradients(u []float64) []plane.Point {
	out := make([]plane.Point, len(u))
	for i := range l.grid.Nodes {
		node := &l.grid.Nodes[i]
		at := func(d int) float64 {
			if node.Next[d] < 0 {
				return 0
			}
			return u[node.Next[d]]
		}
		out[i] = plane.Point{
			X: (at(0) - at(1)) / (node.ArmM[0] + node.ArmM[1]),
			Y: (at(2) - at(3)) / (node.ArmM[2] + node.ArmM[3]),
		}
	}
	return out
}
