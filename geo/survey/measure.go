package survey

import (
	"cmp"
	"fmt"
	"slices"

	"pondwright/calc/sound"
	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/curve"
	"pondwright/geo/plane"
)

// Report is how much water there is and how sure that is.
type Report struct {
	Area      bed.Interval[unit.SquareMeters]
	Volume    bed.Interval[unit.CubicMeters]
	MeanDepth bed.Interval[unit.Meters]
	MaxDepth  bed.Interval[unit.Meters]
	Shoreline unit.Meters // its length, islands included
	// Sediment is the muck between the soft and the firm bottom; nil where too few
	// firm bottoms were sounded.
	Sediment *bed.Interval[unit.CubicMeters]

	Used, Rejected int // soundings; together as many as there were readings
	Curve          []curve.Row
	Warnings       []Warning

	Frame plane.Frame // of the places in the report: the shoreline's
	// Bed is the surface behind the figures, Muck the thickness of the sediment as a
	// bed; Muck is nil where Sediment is.
	Bed, Muck *bed.Bed
	// Quality is how well the survey agrees with itself.
	Quality Quality
	// Flags are what the rules found wrong with each reading, in their order.
	Flags [][]bed.Flag
	// Depths are what the readings came to, in their order, below the water
	// surface of their day: a person's depth where one adjusted the reading, zero
	// where there is none.
	Depths []unit.Meters
}

// curveStep is the drawdown between rows of a report's curve.
const curveStep unit.Meters = 0.1

// Measure infers the bed and reports on it. Without a usable sounding it reports
// a guess from the outline with a wide interval and warns with CodeNone. It
// returns ErrNoShore, a *SwappedError, a *LevelError, a *unit.RangeError for a bias that cannot
// be, what grid.New returns for an outline too small or too fine, or
// bed.ErrCanceled when progress, which may be nil, returns false.
func Measure(in Input, progress func(share float64) bool) (*Report, error) {
	if in.Shore == nil {
		return nil, ErrNoShore
	}
	if w := swapped(in.Shore, in.Readings); w != nil {
		return nil, &SwappedError{Warning: *w}
	}
	r := &Report{
		Shoreline: in.Shore.Length(),
		Frame:     in.Shore.Frame(),
		Warnings:  slices.Concat(in.Warnings, in.doubtPasses(), in.doubtLevels()),
	}
	soundings := in.reduce(r)
	if err := in.checkLevels(r.Depths, soundings); err != nil {
		return nil, err
	}
	r.checkPlates(in)
	own, kept, index := in.screen(soundings)
	if err := r.agree(in, kept, index); err != nil {
		return nil, err
	}
	b, err := bed.Estimate(in.Shore, kept, bed.Options{
		OutlineSDM:   float64(in.Bias.Outline),
		LevelSDM:     float64(in.Bias.Level),
		DraftSDM:     float64(in.Bias.Draft),
		MuckSDM:      float64(in.Bias.Muck),
		SoundSpeedSD: in.Bias.Sound,
		Progress:     progress,
	})
	if err != nil {
		return nil, fmt.Errorf("survey: %w", err)
	}
	r.Bed = b
	r.Area, r.Volume, r.MeanDepth, r.MaxDepth = b.Area(), b.Volume(), b.MeanDepth(), b.MaxDepth()
	r.Used = b.Diagnostics().Used
	r.Rejected = len(in.Readings) - r.Used
	r.Curve = b.Curve().Table(curveStep)
	for k, i := range index {
		own[i] = append(own[i], b.Flags()[k]...)
	}
	r.Flags = own
	in.hintPoles(r.Flags, soundings)
	r.countRules(in)
	r.judge(in, soundings)
	if err := r.sediment(in, soundings, progress); err != nil {
		return nil, err
	}
	return r, nil
}

// reduce brings every reading to a depth below the level of the shoreline, and
// notes in the report what it came to on its day. What is no depth becomes zero,
// which the bed leaves out.
func (in Input) reduce(r *Report) []bed.Sounding {
	frame := in.Shore.Frame()
	r.Depths = make([]unit.Meters, len(in.Readings))
	out := make([]bed.Sounding, len(in.Readings))
	for i, q := range in.Readings {
		setup := in.Setups[q.Pass]
		depth, err := setup.Depth(q.Depth, q.Reference)
		if q.Verdict == bed.Adjusted {
			depth, err = q.Corrected, nil
		}
		s := bed.Sounding{At: frame.ToPlane(q.At), Time: q.Time, Seq: q.Seq, Pass: q.Pass, Verdict: q.Verdict}
		if err == nil && setup.check() == nil {
			r.Depths[i] = depth
			level, _ := setup.LevelAt(q.Time)
			s.DepthM = float64(depth - level)
			s.AdjustedM = s.DepthM
		}
		out[i] = s
	}
	return out
}

// run is a pass as its readings show it.
type run struct {
	name    string
	first   Source // of its readings
	sounded bool   // by an instrument, at least in part
}

// runs lists the passes in order of their first reading.
func (in Input) runs() []run {
	var out []run
	at := make(map[string]int)
	for _, q := range in.Readings {
		k, ok := at[q.Pass]
		if !ok {
			k = len(out)
			at[q.Pass] = k
			out = append(out, run{name: q.Pass, first: q.Source})
		}
		if q.Source.compare(out[k].first) < 0 {
			out[k].first = q.Source
		}
		out[k].sounded = out[k].sounded || q.Reference == BelowTransducer
	}
	slices.SortFunc(out, func(a, b run) int { return cmp.Or(a.first.compare(b.first), cmp.Compare(a.name, b.name)) })
	return out
}

// doubtPasses warns of set-ups that cannot be and of drafts that nobody gave.
func (in Input) doubtPasses() []Warning {
	var out []Warning
	var undrafted []run
	for _, p := range in.runs() {
		if err := in.Setups[p.name].check(); err != nil {
			out = append(out, Warning{
				Code: CodeSetup, Source: p.first, Field: "setup",
				Message: fmt.Sprintf("no reading of this pass can be reduced, so all were left out: %v", err),
				Remedy:  "correct the set-up of the instrument or the water level of that visit",
			})
		}
		setup := in.Setups[p.name]
		_, plateErr := sound.FitPlate(setup.Plates)
		if p.sounded && !setup.DraftKnown && plateErr != nil {
			undrafted = append(undrafted, p)
		}
	}
	if len(undrafted) > 0 {
		out = append(out, Warning{
			Code: CodeDraft, Source: undrafted[0].first, Field: "draft",
			Message: fmt.Sprintf("%d passes count from the transducer and nobody gave its depth below the water line: 0 is used, so every depth is too small by it; this is the first", len(undrafted)),
			Remedy:  "give the draft with the visit, or set the offset in the sounder",
		})
	}
	return out
}
