package bed

import (
	"math"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/curve"
	"pondwright/geo/grid"
	"pondwright/geo/shore"
)

// coarseAcross is the number of spacings in √area of the grid on which noise,
// smoothness and the doubt are found.
const coarseAcross = 96

// Where no sounding is usable: the mean depth taken, and the factor either way
// that holds 95 of 100 ponds. Judgement, no source.
const (
	guessMeanM  = 1.5
	guessFactor = 3.0
)

// estimator carries one estimate through its steps.
type estimator struct {
	shore     *shore.Shore
	soundings []Sounding
	opt       Options
	bed       *Bed
	fixes     []fix
	lines     int32
	coarse    *fit
	fine      *fit
}

// report tells the caller how far the work has come.
func (e *estimator) report(share float64) error {
	if e.opt.Progress != nil && !e.opt.Progress(share) {
		return ErrCanceled
	}
	return nil
}

func (e *estimator) run() error {
	b := e.bed
	e.fixes, e.lines = prepare(e.shore, e.soundings, b.flags)
	if err := e.report(0.05); err != nil {
		return err
	}
	fine, err := newField(b.grid)
	if err != nil {
		return err
	}
	if err := e.report(0.2); err != nil {
		return err
	}
	data := e.bins(0)
	if newFit(fine, data, 1).seenShare() == 0 {
		return e.guess(fine)
	}
	if err := e.fitCoarse(data, fine); err != nil {
		return err
	}
	e.fine = newFit(fine, e.coarse.data, e.coarse.scaleM)
	e.fine.logRatio = e.coarse.logRatio
	if err := e.fine.solve(); err != nil {
		return err
	}
	if err := e.report(0.85); err != nil {
		return err
	}
	if err := e.finish(e.fine.surface(e.fine.x)); err != nil {
		return err
	}
	e.doubt()
	e.hint()
	return e.report(1)
}

// bins merges the fixes, moved along the boat's way by lagS seconds.
func (e *estimator) bins(lagS float64) []datum {
	frame := e.shore.Frame()
	return binned(e.fixes, frame, grid.BinLevel(frame.Origin(), e.bed.grid.SpacingM), lagS)
}

// fitCoarse finds noise, smoothness, weights and position lag on a coarse grid,
// or on the fine one where the coarse one would miss narrow water.
func (e *estimator) fitCoarse(data []datum, fine *field) error {
	f, err := e.coarseField(data, fine)
	if err != nil {
		return err
	}
	t := newFit(f, data, typicalDepth(data))
	e.coarse = t
	if err := t.settle(rounds); err != nil {
		return err
	}
	if err := e.report(0.6); err != nil {
		return err
	}
	lagS, sdS, known, err := e.lag()
	if err != nil {
		return err
	}
	if known {
		e.bed.diag.LagS, e.bed.diag.LagSDS = lagS, sdS
		e.bed.diag.LagApplied = math.Abs(lagS) > lagSDs*sdS && math.Abs(lagS) < maxLagS
	}
	if !e.bed.diag.LagApplied {
		return nil
	}
	moved := newFit(f, e.bins(lagS), t.scaleM)
	moved.logRatio = t.logRatio
	e.coarse = moved
	return moved.settle(rounds)
}

// coarseField returns the field on the coarse grid if that sees nearly as many of
// the data as the fine one.
func (e *estimator) coarseField(data []datum, fine *field) (*field, error) {
	spacing := math.Sqrt(e.bed.grid.AreaM2) / coarseAcross
	if spacing <= e.bed.grid.SpacingM {
		return fine, nil
	}
	g, err := grid.New(e.shore, grid.Options{SpacingM: spacing})
	if err != nil {
		return fine, nil // too thin for it
	}
	f, err := newField(g)
	if err != nil {
		return nil, err
	}
	if newFit(f, data, 1).seenShare() < 0.95*newFit(fine, data, 1).seenShare() {
		return fine, nil
	}
	return f, nil
}

// settle finds the noise, the smoothness and the weights together.
func (t *fit) settle(rounds int) error {
	if err := t.solve(); err != nil {
		return err
	}
	t.reweight()
	if err := t.tune(3, 2); err != nil {
		return err
	}
	for range rounds - 1 {
		t.reweight()
		if err := t.solve(); err != nil {
			return err
		}
	}
	return t.tune(1, 0.7)
}

// typicalDepth returns the depth that nine in ten data stay under.
func typicalDepth(data []datum) float64 {
	var depths []float64
	for _, d := range data {
		depths = append(depths, d.depthM)
	}
	slices.Sort(depths)
	return max(0.1, depths[(len(depths)-1)*9/10])
}

// finish makes the surface, its curve and its cells from the depths at the nodes.
func (e *estimator) finish(nodesM []float64) error {
	b := e.bed
	var field float64
	for i, u := range nodesM {
		if e.fine != nil {
			field += e.fine.share[i] * u
		}
		nodesM[i] = max(0, u)
	}
	b.depthM = make([]float64, len(b.grid.Mesh.Points))
	copy(b.depthM, nodesM)
	var err error
	if b.curve, err = curve.New(&b.grid.Mesh, b.depthM); err != nil {
		return err
	}
	b.cells = makeCells(b.grid, b.depthM)
	b.diag.Scale = 1
	if field > 0 {
		b.diag.Scale = float64(b.curve.Volume(0)) / field
	}
	b.diag.SpacingM, b.diag.Nodes = b.grid.SpacingM, len(b.grid.Nodes)
	return nil
}

// guess makes a bed from the outline alone.
func (e *estimator) guess(f *field) error {
	b := e.bed
	n := len(b.grid.Nodes)
	depths := make([]float64, n)
	var volume float64
	for i := range n {
		for s := range trends {
			depths[i] += f.shapes[s][i]
		}
		volume += f.share[i] * depths[i]
	}
	for i := range depths {
		depths[i] *= guessMeanM * b.grid.AreaM2 / volume
	}
	if err := e.finish(depths); err != nil {
		return err
	}
	b.diag.Guess, b.diag.FarShare = true, 1
	logSD := math.Log(guessFactor) / z95
	b.setIntervals(e.opt, logSD, logSD)
	return e.report(1)
}

// hint marks soundings that stayed in but lie far from the bed.
func (e *estimator) hint() {
	limit := 4 * math.Sqrt(e.fine.variance)
	for k := range e.fixes {
		f := &e.fixes[k]
		if f.flagged {
			continue
		}
		e.bed.diag.Used++
		at := f.at
		if e.bed.diag.LagApplied {
			at = at.Add(f.velMPS.Scale(e.bed.diag.LagS))
		}
		if off := math.Abs(f.depthM - e.bed.Depth(at)); off > limit {
			e.bed.flags[f.index] = append(e.bed.flags[f.index], Flag{Doubtful, off, limit})
		}
	}
}

// setIntervals fills in the intervals from the standard deviations of the logs
// of the volume and of the greatest depth.
func (b *Bed) setIntervals(opt Options, volumeLogSD, deepestLogSD float64) {
	sd := opt.OutlineSDM
	if sd == 0 {
		sd = DefaultOutlineSDM
	}
	area, volume := b.curve.At(0)
	areaLogSD := logSD(sd * math.Sqrt(shoreLengthM(b.grid)*outlineCorrelationM) / float64(area))
	b.area = interval(area, areaLogSD)
	b.volume = interval(volume, volumeLogSD)
	b.mean = interval(unit.Meters(float64(volume)/float64(area)), math.Hypot(volumeLogSD, areaLogSD))
	b.deepest = interval(b.curve.MaxDepth(), deepestLogSD)
}
