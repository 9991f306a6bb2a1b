package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"pondwright/calc/sound"
	"pondwright/calc/unit"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
)

// surveyGear is what a person says of the instruments and the water of the day,
// where no visit is on record.
type surveyGear struct {
	draft *quantity[unit.Meters]
	level *quantity[unit.Meters]
	marks *markList
	units *unitSystem
}

func (g *surveyGear) flags(c *cobra.Command, units *unitSystem) {
	f := &form{units: units, flags: c.Flags()}
	g.units = units
	g.draft = ask(f, "draft", ofLength, "", "transducer below the water line, of all soundings that count from it")
	g.level = ask(f, "water-level", ofLength, "", "level of the water during the soundings, over the benchmark of the outline's water_level_m")
	g.marks = &markList{units: units}
	c.Flags().Var(g.marks, "plate", "true depth of a plate and what the sounder showed, as 3ft:2.9ft,9ft:9.1ft; replaces draft and speed of sound")
}

// apply tells the survey what a person said. A zero gear says nothing.
func (g *surveyGear) apply(in *survey.Input) error {
	if g.units == nil {
		return nil
	}
	if g.level.has() && in.ShoreLevel == nil {
		return &inputError{survey.Warning{
			Code: "LEVEL_UNKNOWN", Field: "water_level_m",
			Message: "a water level of the soundings says nothing while the outline's own is not known",
			Remedy:  "give the outline the property water_level_m, read on the same benchmark the day it was drawn",
		}}
	}
	var plates []sound.PlateMark
	if g.marks.text != "" {
		var err error
		if plates, err = g.marks.parse(*g.units); err != nil {
			return usageError{err}
		}
	}
	for pass, setup := range in.Setups {
		if g.draft.has() {
			setup.Draft, setup.DraftKnown = g.draft.v(), true
		}
		if g.level.has() {
			setup.Level = g.level.v() - *in.ShoreLevel
		}
		setup.Plates = plates
		in.Setups[pass] = setup
	}
	return nil
}

// surveyErrors is what a person says of errors that do not average out, one standard
// deviation each.
type surveyErrors struct {
	level, draft, muck *quantity[unit.Meters]
	sound              *quantity[float64]
}

func (e *surveyErrors) flags(c *cobra.Command, units *unitSystem) {
	f := &form{units: units, flags: c.Flags()}
	e.level = ask(f, "level-error", ofLength, "", "how wrong the water level may be in all soundings alike, one standard deviation")
	e.draft = ask(f, "draft-error", ofLength, "", "how wrong the draft may be, one standard deviation")
	e.sound = ask(f, "sound-error", ofShare, "", "how wrong the speed of sound may be, one standard deviation")
	e.muck = ask(f, "muck-error", ofLength, "", "how wrong the top of the muck may be in all soundings alike, one standard deviation")
}

func (e *surveyErrors) bias() survey.Bias {
	return survey.Bias{Level: e.level.v(), Draft: e.draft.v(), Muck: e.muck.v(), Sound: e.sound.v()}
}

// uncovered says which errors intervals cover because somebody gave them, and which
// they do not.
func uncovered(given survey.Bias) string {
	var open, covered []string
	for _, e := range []struct {
		name  string
		given bool
	}{{"water level", given.Level != 0}, {"draft", given.Draft != 0}, {"sound speed", given.Sound != 0}, {"muck", given.Muck != 0}} {
		if e.given {
			covered = append(covered, e.name)
		} else {
			open = append(open, e.name)
		}
	}
	var out []string
	if len(covered) > 0 {
		out = append(out, "Covered by the intervals, as given: errors of "+strings.Join(covered, ", ")+".")
	}
	if len(open) > 0 {
		out = append(out, "Not covered by the intervals: errors of "+strings.Join(open, ", ")+" that nobody gave.")
	}
	return strings.Join(out, "\n")
}

// printQuality writes how well the survey agrees with itself.
func (m *Main) printQuality(w io.Writer, q *pb.SurveyQuality) {
	if q.GetCrossingCount() == 0 {
		fmt.Fprintf(w, "%-14s %d told apart, none of which cross: nothing checks them\n", "Lines", q.GetLines())
		return
	}
	fmt.Fprintf(w, "%-14s %d told apart, %d crossings: later less earlier %s on average, one sounding within %s (95 %%)\n",
		"Lines", q.GetLines(), q.GetCrossingCount(), m.stage(q.GetBiasM()), m.stage(q.GetSpread95M()))
	for _, o := range q.GetOrders() {
		verdict := "does not meet"
		if o.GetMet() {
			verdict = "meets"
		}
		fmt.Fprintf(w, "%-14s %s %s (%.0f %% of the differences within √2 times %s)\n", "", verdict, o.GetOrder(), 100*o.GetWithinShare(), m.stage(o.GetLimitM()))
		if o.GetMet() {
			break // and so it does all looser ones
		}
	}
	fmt.Fprintf(w, "%-14s %s\n", "", "by IHO S-44, edition 6, as a yardstick; nothing is certified")
}
