package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"pondwright/calc/unit"
	pb "pondwright/proto/pondwright/v1"
	surveyservice "pondwright/server/survey"
)

func (m *Main) changeCommand() *cobra.Command {
	var before, after surveyFiles
	var asJSON bool
	c := &cobra.Command{
		Use:   "change --shoreline FILE --before FILE… --after FILE…",
		Short: "What a pond lost or gained between two surveys, with the doubt of the difference",
		Args:  cobra.NoArgs,
	}
	c.Flags().StringVar(&before.shoreline, "shoreline", "", "outline of the pond, GeoJSON with one Polygon")
	c.Flags().StringVar(&after.shoreline, "shoreline-after", "", "outline at the second survey, if it is another")
	c.Flags().StringArrayVar(&before.soundings, "before", nil, "soundings of the first survey; may be given several times")
	c.Flags().StringArrayVar(&after.soundings, "after", nil, "soundings of the second survey; may be given several times")
	c.Flags().StringToStringVar(&before.columns, "map", nil, "name a CSV column of another header, as depth=COLUMN; may be given several times")
	c.Flags().BoolVar(&asJSON, "json", false, "print the change as JSON, in SI units")
	before.errors.flags(c, &m.units)
	require(c, "shoreline", "before", "after")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if after.shoreline == "" {
			after.shoreline = before.shoreline
		}
		after.columns, after.errors = before.columns, before.errors
		was, err := before.measure(c.Context(), newProgress(m.Err))
		if err != nil {
			return err
		}
		is, err := after.measure(c.Context(), newProgress(m.Err))
		if err != nil {
			return err
		}
		out := surveyservice.ChangeMessage(was, is)
		m.printWarnings(out.GetWarnings())
		if asJSON {
			return writeJSON(m.Out, out)
		}
		m.printChange(m.Out, out)
		fmt.Fprintln(m.Out, uncovered(before.errors.bias()))
		return nil
	}
	return c
}

// printChange writes the change for people.
func (m *Main) printChange(w io.Writer, c *pb.SurveyChange) {
	volume := func(u unitSystem, v float64) string { return u.volume(unit.CubicMeters(v)) }
	m.intervalRow(w, "First survey", c.GetBeforeM3(), volume)
	m.intervalRow(w, "Second survey", c.GetAfterM3(), volume)
	m.intervalRow(w, "Change", c.GetChangeM3(), volume)
	if c.GetCertain() {
		fmt.Fprintln(w, "\nThe pond changed: no change lies outside the interval.")
	} else {
		fmt.Fprintln(w, "\nNo change is shown: the interval holds none.")
	}
	deeper, shallower := 0, 0
	for _, cell := range c.GetCells() {
		switch s := 1.96 * cell.GetSdM(); {
		case cell.GetChangeM() > s:
			deeper++
		case cell.GetChangeM() < -s:
			shallower++
		}
	}
	fmt.Fprintf(w, "Of %d cells %d became deeper and %d shallower beyond their own doubt (95 %% each); --json lists them.\n", len(c.GetCells()), deeper, shallower)
}
