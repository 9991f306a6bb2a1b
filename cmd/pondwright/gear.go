package main

import (
	"fmt"
	"io"

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
