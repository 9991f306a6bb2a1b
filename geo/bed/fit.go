package bed

import (
	"math"
	"slices"

	"github.com/golang/geo/s2"

	"pondwright/geo/grid"
	"pondwright/geo/plane"
)

// Settings of the noise, chosen on simulated surveys; they hold for every pond.
const (
	studentNu   = 4    // degrees of freedom of the noise
	floorShare  = 0.5  // share of a bin's variance that repeated fixes do not average out
	priorNoiseM = 0.08 // what the noise of a bin is likely to be …
	priorCount  = 4    // … worth so many bins
	trendSpread = 3    // prior spread of the trend's weights, in depths of the data
	minLogRatio = -16  // bounds of the log of the noise to field variance ratio
	maxLogRatio = 6
	// wanderLogRatio is added to the likeliest log ratio. The likelihood takes errors
	// as independent, but a receiver's hardly changes along a line, and what it makes
	// of the depths there passes for bed.
	wanderLogRatio = 2
	firstStep      = 2.0 // of the search for the likeliest log ratio, and …
	lastStep       = 1.0 // … the one that refines it
	// Where the data leave the ratio open: its usual log and spread on ponds.
	usualLogRatio  = -7
	logRatioSpread = 4
)

// datum is a bin ready for fitting.
type datum struct {
	line   int32
	at     plane.Point
	depthM float64
	spread float64     // its variance as a share of a single fix's
	velMPS plane.Point // mean velocity of the boat
	fixed  bool        // a person wants it used: never weighted down
	end    bool        // no sounding, but what the end of a line says
	weight float64     // Student-t weight
}

// fit is a field conditioned on data.
type fit struct {
	*field
	data   []datum
	rows   []observation
	seen   []bool // whether the datum has a row
	scaleM float64

	logRatio float64 // of noise to field variance
	factor   *factor
	x        []float64
	variance float64 // of a single fix about the bed, m²
}

func newFit(f *field, data []datum, scaleM float64) *fit {
	t := &fit{field: f, data: slices.Clone(data), scaleM: scaleM, logRatio: usualLogRatio}
	t.rows, t.seen = make([]observation, len(data)), make([]bool, len(data))
	for k := range data {
		t.rows[k], t.seen[k] = f.observe(data[k].at)
	}
	return t
}

// seenShare returns the share of the data that the field can see.
func (t *fit) seenShare() float64 {
	count := 0
	for _, seen := range t.seen {
		if seen {
			count++
		}
	}
	return float64(count) / max(1, float64(len(t.seen)))
}

// normal returns the data's part of the equations: matrix, right side, and the
// weighted sum of squares.
func (t *fit) normal() (values, right []float64, squares float64, count float64) {
	values = make([]float64, len(t.pattern.cols))
	right = make([]float64, len(t.grid.Nodes)+trends)
	for k := range t.data {
		if !t.seen[k] {
			continue
		}
		d := &t.data[k]
		w := d.weight / d.spread
		t.addSquare(values, &t.rows[k], w)
		t.addTo(right, &t.rows[k], w*d.depthM)
		squares += w * d.depthM * d.depthM
		count++
	}
	// The trend's weights are held loosely near zero, and no closer.
	hold := priorNoiseM * priorNoiseM / (trendSpread * trendSpread * t.scaleM * t.scaleM)
	for s := range trends {
		values[t.tail[s*(s+3)/2]] += hold
	}
	return values, right, squares, count
}

// solveAt conditions the field at the given log ratio and returns minus twice
// the log of the profiled posterior of the ratio, up to a constant.
func (t *fit) solveAt(logRatio float64, values, right []float64, squares, count float64) (float64, error) {
	ratio := math.Exp(logRatio)
	p := make([]float64, len(values))
	for k, v := range values {
		p[k] = v + ratio*t.energy[k]
	}
	old := t.factor
	t.factor = nil
	f, err := t.structure.factorize(p, old)
	if err != nil {
		return 0, err
	}
	x := f.solve(right)
	rest := squares
	for i, v := range right {
		rest -= v * x[i]
	}
	total := priorCount*priorNoiseM*priorNoiseM + max(0, rest)
	t.logRatio, t.factor, t.x = logRatio, f, x
	t.variance = total / (priorCount + count)
	off := (logRatio - usualLogRatio) / logRatioSpread
	return (priorCount+count)*math.Log(total) + f.logDet - float64(len(t.grid.Nodes))*logRatio + off*off, nil
}

// solve conditions the field at its present ratio.
func (t *fit) solve() error {
	values, right, squares, count := t.normal()
	_, err := t.solveAt(t.logRatio, values, right, squares, count)
	return err
}

// tune moves the ratio to the likeliest one by a parabola through three evenly
// spaced costs about it, the step being that of its log; they move on while the
// best lies at the rim. It leaves the field for the caller to solve.
func (t *fit) tune(step float64) error {
	values, right, squares, count := t.normal()
	var failed error
	cost := func(logRatio float64) float64 {
		c, err := t.solveAt(logRatio, values, right, squares, count)
		if err != nil {
			failed = err
		}
		return c
	}
	mid := t.logRatio
	low, middle, high := cost(mid-step), cost(mid), cost(mid+step)
	for low < middle && mid-step > minLogRatio && failed == nil {
		mid -= step
		low, middle, high = cost(mid-step), low, middle
	}
	for high < middle && mid+step < maxLogRatio && failed == nil {
		mid += step
		low, middle, high = middle, high, cost(mid+step)
	}
	t.logRatio = mid
	if bend := low - 2*middle + high; bend > 0 {
		t.logRatio += step * min(1, max(-1, (low-high)/(2*bend)))
	}
	return failed
}

// settle finds the noise, the smoothness and the weights together.
func (t *fit) settle() error {
	for _, step := range []float64{firstStep, 0, 0, lastStep} {
		if err := t.solve(); err != nil {
			return err
		}
		t.reweight()
		if step > 0 {
			if err := t.tune(step); err != nil {
				return err
			}
		}
	}
	t.addWander()
	return t.solve()
}

// follow does the same from the ratio and the weights of another model of the same
// data, which are nearly right.
func (t *fit) follow(other *fit) error {
	t.logRatio = other.logRatio - wanderLogRatio
	if err := t.tune(lastStep); err != nil {
		return err
	}
	if err := t.solve(); err != nil {
		return err
	}
	t.reweight()
	t.addWander()
	return t.solve()
}

// keep does the same with a ratio that is known.
func (t *fit) keep(ratio float64) error {
	t.logRatio = min(maxLogRatio, max(minLogRatio, math.Log(ratio)))
	if err := t.solve(); err != nil {
		return err
	}
	t.reweight()
	return t.solve()
}

func (t *fit) addWander() { t.logRatio = min(maxLogRatio, t.logRatio+wanderLogRatio) }

// reweight sets the Student-t weights from the present residuals.
func (t *fit) reweight() {
	for k := range t.data {
		t.data[k].weight = 1
		if t.seen[k] {
			r := t.data[k].depthM - t.predict(&t.rows[k], t.x)
			t.data[k].weight = t.weigh(&t.data[k], r*r, t.data[k].spread)
		}
	}
}

// weigh returns the weight of a datum by the square of its miss, spread being the
// variance of that as a share of a single fix's. The variance of what an end says
// is known and does not go with the fixes' own.
func (t *fit) weigh(d *datum, square, spread float64) float64 {
	if d.fixed {
		return 1
	}
	if !d.end {
		return studentWeight(square / (t.variance * spread))
	}
	const known = priorNoiseM * priorNoiseM
	return studentWeight(square/(known*spread)) * t.variance / known
}

// studentWeight returns the weight of a datum by the square of its miss over its
// variance (Lange, Little & Taylor, 1989, JASA 84, 881–896).
func studentWeight(square float64) float64 { return (studentNu + 1) / (studentNu + square) }

// binned merges the usable fixes into data: one per line and S2 cell.
func binned(fixes []fix, frame plane.Frame, level int, lagS float64) []datum {
	type extra struct {
		vel   plane.Point
		fixed bool
	}
	var bins grid.Bins
	extras := make(map[grid.BinKey]extra)
	for k := range fixes {
		f := &fixes[k]
		if f.flagged {
			continue
		}
		at := f.after(lagS)
		key := grid.BinKey{Line: f.line, Cell: s2.CellIDFromLatLng(frame.ToLatLng(at)).Parent(level)}
		bins.Add(key, grid.SumOf(at, f.depthM))
		e := extras[key]
		e.vel, e.fixed = e.vel.Add(f.velocity()), e.fixed || f.decided
		extras[key] = e
	}
	var data []datum
	for _, b := range bins.Sorted() {
		e := extras[b.BinKey]
		n := float64(b.Count)
		data = append(data, datum{
			line: b.Line, at: b.At(), depthM: b.DepthM(), spread: floorShare + (1-floorShare)/n,
			velMPS: e.vel.Scale(1 / n), fixed: e.fixed, weight: 1,
		})
	}
	return data
}
