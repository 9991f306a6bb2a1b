package bed

import (
	"cmp"
	"math"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/curve"
	"pondwright/geo/grid"
	"pondwright/geo/plane"
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
	models    []model
}

// The models of the bed, in the order in which they are fitted. The estimate is
// the mean of their surfaces, so that no switch from one to another makes it jump
// when a line is added.
const (
	bentModel     = "trend of the outline, bent"
	weightedModel = "weighted by the outline"
)

// model is one model of the bed, conditioned on the data on a coarse grid.
type model struct {
	name   string
	weight float64 // in the mean; the models' weights add up to one
	coarse *fit
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
	e.soundings = nil
	if err := e.report(0.05); err != nil {
		return err
	}
	data := e.bins(0)
	fine, coarse, err := e.layouts(data)
	if err != nil {
		return err
	}
	if err := e.report(0.2); err != nil {
		return err
	}
	if coarse == nil {
		return e.guess(fine)
	}
	if err := e.fitCoarse(data, coarse); err != nil {
		return err
	}
	depthM, err := e.fitFine(fine)
	if err != nil {
		return err
	}
	if err := e.finish(fine, depthM); err != nil {
		return err
	}
	e.hint()
	e.bed.diag.LineSpacingM = e.lineSpacingM()
	e.fixes = nil // many, and the doubt needs room
	e.doubt()
	return e.report(1)
}

// fitFine conditions every model on the fine grid with the noise, smoothness and
// weights found on the coarse one, notes what it says of the volume, and returns the
// mean of the models' depths at the nodes.
func (e *estimator) fitFine(fine *layout) ([]float64, error) {
	fits := make([]*fit, len(e.models))
	err := e.eachModel(func(k int, m *model) error {
		t := m.coarse
		fits[k] = t
		if t.grid == fine.grid {
			return nil
		}
		fits[k] = newFit(fine.field(m.name), t.data, t.scaleM)
		return fits[k].refine(t)
	})
	if err != nil {
		return nil, err
	}
	mean := make([]float64, len(e.bed.grid.Nodes))
	d := &e.bed.diag
	for k, m := range e.models {
		f := fits[k]
		for i, u := range f.surface(f.x) {
			mean[i] += m.weight * u
		}
		d.NoiseM += m.weight * math.Sqrt(f.variance)
		d.Models = append(d.Models, ModelDiagnostics{
			Name: m.name, Weight: m.weight, VolumeM3: dot(f.share, f.x), NoiseM: math.Sqrt(f.variance), Smoothness: math.Exp(f.logRatio),
		})
	}
	return mean, e.report(0.85)
}

// eachModel calls do for every model, on all processors, and returns the first
// model's error.
func (e *estimator) eachModel(do func(k int, m *model) error) error {
	failed := make([]error, len(e.models))
	inParallel(len(e.models), func(k int) { failed[k] = do(k, &e.models[k]) })
	return cmp.Or(failed...)
}

// bins merges the fixes, moved along the boat's way by lagS seconds, in cells about
// as wide as the coarse grid's spacing: a smooth bed needs no finer ones, and errors
// of a receiver that last for seconds do not pass for many independent ones.
func (e *estimator) bins(lagS float64) []datum {
	frame := e.shore.Frame()
	return withEnds(binned(e.fixes, frame, binLevel(frame, e.bed.grid), lagS), lineEnds(e.fixes, e.shore, lagS))
}

func binLevel(frame plane.Frame, g *grid.Grid) int {
	return grid.BinLevel(frame.Origin(), max(g.SpacingM, math.Sqrt(g.AreaM2)/coarseAcross))
}

// fitCoarse finds each model's noise, smoothness and weights, and the position
// lag, on a coarse grid.
func (e *estimator) fitCoarse(data []datum, l *layout) error {
	e.models = []model{{name: bentModel, weight: 0.5}, {name: weightedModel, weight: 0.5}}
	settle := func(t *fit, first *fit, name string) error {
		if ratio, known := e.opt.known(name); known {
			return t.keep(ratio)
		}
		if first != nil {
			return t.follow(first)
		}
		return t.settle()
	}
	first := newFit(l.field(bentModel), data, typicalDepth(data))
	if err := settle(first, nil, bentModel); err != nil {
		return err
	}
	if err := e.report(0.4); err != nil {
		return err
	}
	data, err := e.lagged(first, data)
	if err != nil {
		return err
	}
	if e.bed.diag.LagApplied {
		first = newFit(first.field, data, first.scaleM)
		if err := settle(first, nil, bentModel); err != nil {
			return err
		}
	}
	err = e.eachModel(func(_ int, m *model) error {
		if m.coarse = first; m.name == bentModel {
			return nil
		}
		m.coarse = newFit(l.field(m.name), first.data, first.scaleM)
		return settle(m.coarse, first, m.name)
	})
	if err != nil {
		return err
	}
	return e.report(0.6)
}

// lineSpacingM returns the water area over the length of all lines; zero if there is
// no line.
func (e *estimator) lineSpacingM() float64 {
	var way float64
	for k := range e.fixes {
		if k+1 == len(e.fixes) || e.fixes[k+1].line != e.fixes[k].line {
			way += e.fixes[k].alongM
		}
	}
	if way == 0 {
		return 0
	}
	return min(e.bed.grid.AreaM2/way, math.Sqrt(e.bed.grid.AreaM2))
}

// lagged finds the position lag from a first fit and returns the data with it
// taken out, if it is sure enough.
func (e *estimator) lagged(first *fit, data []datum) ([]datum, error) {
	lagS, sdS, known, err := e.lag(first)
	if err != nil || !known {
		return data, err
	}
	d := &e.bed.diag
	d.LagS, d.LagSDS = lagS, sdS
	d.LagApplied = math.Abs(lagS) > lagSDs*sdS && math.Abs(lagS) < maxLagS
	if d.LagApplied {
		data = e.bins(lagS)
	}
	return data, nil
}

// field returns the field of the named model.
func (l *layout) field(name string) *field {
	if name == weightedModel {
		return l.weighted()
	}
	return l.bent()
}

// layouts returns the layout of the fine grid and that on which noise, smoothness
// and doubt are found: of a coarser grid if that sees nearly as many of the data, or
// of the fine one where it would miss narrow water. The second is nil if there is
// nothing to see.
func (e *estimator) layouts(data []datum) (fine, coarse *layout, err error) {
	g := e.bed.grid
	spacing := math.Sqrt(g.AreaM2) / coarseAcross
	var failed [2]error
	inParallel(2, func(k int) {
		if k == 0 {
			fine, failed[0] = newLayout(g, false)
		} else if spacing > g.SpacingM {
			coarse, failed[1] = e.coarseLayout(spacing)
		}
	})
	if err := cmp.Or(failed[:]...); err != nil {
		return nil, nil, err
	}
	seen := newFit(fine.bent(), data, 1).seenShare()
	if seen == 0 {
		return fine, nil, nil
	}
	if coarse == nil || newFit(coarse.bent(), data, 1).seenShare() < 0.95*seen {
		coarse, err = newLayout(g, true)
	}
	return fine, coarse, err
}

// coarseLayout returns the layout of a grid of the given spacing, nil if the water
// is too thin for it.
func (e *estimator) coarseLayout(spacingM float64) (*layout, error) {
	g, err := grid.New(e.shore, grid.Options{SpacingM: spacingM})
	if err != nil {
		return nil, nil //nolint:nilerr // the fine grid does
	}
	return newLayout(g, true)
}

// typicalDepth returns the depth that nine in ten data stay under.
func typicalDepth(data []datum) float64 {
	var depths []float64
	for _, d := range data {
		if !d.end {
			depths = append(depths, d.depthM)
		}
	}
	slices.Sort(depths)
	return max(0.1, depths[(len(depths)-1)*9/10])
}

// finish makes the surface, its curve and its cells from the depths at the nodes.
func (e *estimator) finish(l *layout, nodesM []float64) error {
	b := e.bed
	var field float64
	for i, u := range nodesM {
		field += l.areaM2[i] * u
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
func (e *estimator) guess(l *layout) error {
	b := e.bed
	n := len(b.grid.Nodes)
	depths := make([]float64, n)
	var volume float64
	for i := range n {
		for s := range trends {
			depths[i] += l.outline[s][i]
		}
		volume += l.areaM2[i] * depths[i]
	}
	for i := range depths {
		depths[i] *= guessMeanM * b.grid.AreaM2 / volume
	}
	if err := e.finish(l, depths); err != nil {
		return err
	}
	b.diag.Guess, b.diag.FarShare = true, 1
	logSD := math.Log(guessFactor) / z95
	b.setIntervals(e.opt, logSD, logSD)
	return e.report(1)
}

// hint marks soundings that stayed in but lie far from the bed.
func (e *estimator) hint() {
	limit := 4 * e.bed.diag.NoiseM
	for k := range e.fixes {
		f := &e.fixes[k]
		if f.flagged {
			continue
		}
		e.bed.diag.Used++
		at := f.at
		if e.bed.diag.LagApplied {
			at = f.after(e.bed.diag.LagS)
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
	areaLogSD := logSD(sd * math.Sqrt(float64(b.shore.Length())*outlineCorrelationM) / float64(area))
	b.areaSD = areaLogSD
	b.area = interval(area, areaLogSD)
	b.volume = interval(volume, volumeLogSD)
	b.mean = interval(unit.Meters(float64(volume)/float64(area)), math.Hypot(volumeLogSD, areaLogSD))
	b.deepest = interval(b.curve.MaxDepth(), deepestLogSD)
}
