package survey

import (
	"fmt"

	"pondwright/calc/sound"
	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/curve"
)

// Report is how much water there is and how sure that is.
type Report struct {
	Area      bed.Interval[unit.SquareMeters]
	Volume    bed.Interval[unit.CubicMeters]
	MeanDepth bed.Interval[unit.Meters]
	MaxDepth  bed.Interval[unit.Meters]
	Shoreline unit.Meters

	Used, Rejected int
	Curve          []curve.Row
	Warnings       []Warning

	// Bed is the surface behind the figures; Depths are what the readings came to,
	// in their order, below the level of the shoreline.
	Bed    *bed.Bed
	Depths []unit.Meters
}

// curveStep is the drawdown between rows of a report's curve.
const curveStep unit.Meters = 0.1

// Measure infers the bed and reports on it. Without a usable sounding it reports
// a guess from the outline with a wide interval and warns with CodeNone. It
// returns ErrNoShore, a *SwappedError, or bed.ErrCanceled when progress, which
// may be nil, returns false.
func Measure(in Input, progress func(share float64) bool) (*Report, error) {
	if in.Shore == nil {
		return nil, ErrNoShore
	}
	if w := swapped(in.Shore, in.Readings); w != nil {
		return nil, &SwappedError{Warning: *w}
	}
	r := &Report{Shoreline: in.Shore.Length(), Warnings: in.Warnings}
	soundings := in.reduce(r)
	b, err := bed.Estimate(in.Shore, soundings, bed.Options{
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
	for _, q := range soundings {
		r.Depths = append(r.Depths, unit.Meters(q.DepthM))
	}
	r.Area, r.Volume, r.MeanDepth, r.MaxDepth = b.Area(), b.Volume(), b.MeanDepth(), b.MaxDepth()
	r.Used = b.Diagnostics().Used
	r.Rejected = len(in.Readings) - r.Used
	r.Curve = b.Curve().Table(curveStep)
	r.judge(in, soundings)
	return r, nil
}

// reduce brings every reading to a depth below the level of the shoreline.
func (in Input) reduce(r *Report) []bed.Sounding {
	frame := in.Shore.Frame()
	reducers := make(map[string]reducer, len(in.Setups))
	out := make([]bed.Sounding, len(in.Readings))
	for i, reading := range in.Readings {
		reduce, ok := reducers[reading.Pass]
		if !ok {
			reduce = in.reducer(reading, r)
			reducers[reading.Pass] = reduce
		}
		out[i] = bed.Sounding{
			At:        frame.ToPlane(reading.At),
			DepthM:    float64(reduce.depth(reading)),
			Time:      reading.Time,
			Seq:       reading.Seq,
			Pass:      reading.Pass,
			Verdict:   reading.Verdict,
			AdjustedM: float64(reading.Corrected - reduce.setup.Level),
		}
	}
	return out
}

// reducer turns the readings of one pass into depths.
type reducer struct {
	setup Setup
	speed unit.MetersPerSecond // true speed of sound; 0 leaves readings as they are
}

func (in Input) reducer(first Reading, r *Report) reducer {
	d := reducer{setup: in.Setups[first.Pass]}
	if first.Reference == BelowTransducer && !d.setup.DraftKnown {
		r.Warnings = append(r.Warnings, Warning{
			Code:    CodeDraft,
			Source:  Source{File: first.Source.File},
			Field:   "draft",
			Message: fmt.Sprintf("readings of pass %q count from the transducer and nobody gave its depth below the water line: 0 is used, so every depth is too small by it", first.Pass),
			Remedy:  "give the draft with the visit, or set the offset in the sounder",
		})
	}
	if d.setup.SpeedSet > 0 && d.setup.WaterTemperature > 0 {
		// A temperature no water has leaves the readings as they are.
		if c, err := sound.Speed(d.setup.WaterTemperature); err == nil {
			d.speed = c
		}
	}
	return d
}

// depth applies the sounder's depth equation, draft + r·c/c_set, and takes off
// the height of the day's water above the shoreline's level.
func (d reducer) depth(reading Reading) unit.Meters {
	depth := reading.Depth
	if reading.Reference == BelowTransducer {
		if d.speed > 0 {
			depth *= unit.Meters(d.speed / d.setup.SpeedSet)
		}
		depth += d.setup.Draft
	}
	return depth - d.setup.Level
}

// excluding lists the rules that take soundings out, in the order of their
// warnings.
var excluding = []bed.Rule{
	bed.NotADepth, bed.Person, bed.OutsideShore, bed.AtEdge, bed.LostBottom, bed.DoubleEcho, bed.Spike,
}

// judge adds what the soundings and the estimate gave rise to.
func (r *Report) judge(in Input, soundings []bed.Sounding) {
	counts := make(map[bed.Rule]int)
	first := make(map[bed.Rule]int)
	var deepest unit.Meters
	var deepestAt Source
	for i, flags := range r.Bed.Flags() {
		excluded := false
		for _, f := range flags {
			if !f.Excludes() {
				continue
			}
			excluded = true
			if counts[f.Rule]++; counts[f.Rule] == 1 {
				first[f.Rule] = i
			}
			break // the first rule is the reason; the others add nothing
		}
		if d := unit.Meters(soundings[i].DepthM); !excluded && d > deepest {
			deepest, deepestAt = d, in.Readings[i].Source
		}
	}
	for _, rule := range excluding {
		if counts[rule] > 0 {
			r.Warnings = append(r.Warnings, flagged(rule, counts[rule], in.Readings[first[rule]].Source))
		}
	}
	if w := feetAsMeters(in.Shore.Area(), deepest, deepestAt); w != nil {
		r.Warnings = append(r.Warnings, *w)
	}
	if d := r.Bed.Diagnostics(); d.Guess {
		r.Warnings = append(r.Warnings, Warning{
			Code:    CodeNone,
			Message: "there is no usable sounding: the depths are a guess from the outline alone, good for nothing but planning the survey",
			Remedy:  "sound the pond, or check why every sounding was left out",
		})
	} else if d.Lines < 4 || d.FarShare > 0.5 {
		r.Warnings = append(r.Warnings, Warning{
			Code:    CodeSparse,
			Message: fmt.Sprintf("%d boat lines were told apart and %.0f %% of the water lies farther from a sounding than the lines lie from each other", d.Lines, 100*d.FarShare),
			Remedy:  "run more lines, into the arms too; the interval is wide for this reason",
		})
	}
}

// flagged is the warning for soundings that a rule took out.
func flagged(rule bed.Rule, count int, at Source) Warning {
	w := Warning{
		Code:    CodeFlagged,
		Source:  at,
		Field:   "depth",
		Message: fmt.Sprintf("%d soundings left out: %s; this is the first", count, rule),
		Remedy:  "look at them; accept with a correction what is right",
	}
	if rule == bed.OutsideShore {
		w.Code, w.Field = CodeOutside, "lat"
		w.Message = fmt.Sprintf("%d soundings lie more than 5 m outside the shoreline and were left out; this is the first", count)
		w.Remedy = "check the outline against the day's water, and the file against the pond"
	}
	return w
}
