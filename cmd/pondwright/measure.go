package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
	surveyservice "pondwright/server/survey"
)

// surveyFiles are the flags by which a command is told where a survey lies.
type surveyFiles struct {
	shoreline string
	soundings []string
	columns   map[string]string
}

func (f *surveyFiles) flags(c *cobra.Command) {
	c.Flags().StringVar(&f.shoreline, "shoreline", "", "outline of the pond, GeoJSON with one Polygon")
	c.Flags().StringArrayVar(&f.soundings, "soundings", nil, "soundings, CSV or NMEA 0183; may be given several times")
	c.Flags().StringToStringVar(&f.columns, "map", nil, "name a CSV column of another header, as depth=COLUMN; may be given several times")
	for _, name := range []string{"shoreline", "soundings"} {
		if err := c.MarkFlagRequired(name); err != nil {
			panic(err) // the flag was just defined
		}
	}
}

// measure reads the files and measures the pond.
func (f *surveyFiles) measure(ctx context.Context, p *progress) (*survey.Report, error) {
	in, err := readSurvey(f.shoreline, f.soundings, f.columns)
	if err != nil {
		return nil, err
	}
	r, err := survey.Measure(in, p.share(ctx, "Inferring the bed"))
	p.done()
	if swapped := (&survey.SwappedError{}); errors.As(err, &swapped) {
		return nil, &inputError{swapped.Warning}
	}
	if errors.Is(err, bed.ErrCanceled) {
		return nil, context.Canceled
	}
	return r, err
}

func (m *Main) measureCommand() *cobra.Command {
	var files surveyFiles
	var asJSON bool
	c := &cobra.Command{
		Use:   "measure --shoreline FILE --soundings FILE…",
		Short: "Area, volume and depths of a pond, with their doubt",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			r, err := files.measure(c.Context(), newProgress(m.Err))
			if err != nil {
				return m.refuse(err, asJSON, func(w *pb.Warning) error {
					return writeJSON(m.Out, &pb.SurveyReport{Warnings: []*pb.Warning{w}})
				})
			}
			for _, w := range r.Warnings {
				fmt.Fprintln(m.Err, "warning:", warningLine(w))
			}
			if asJSON {
				return writeJSON(m.Out, surveyservice.Report(r))
			}
			m.printReport(m.Out, r)
			return nil
		},
	}
	files.flags(c)
	c.Flags().BoolVar(&asJSON, "json", false, "print the report as JSON, in SI units")
	return c
}

// refuse returns err, and where JSON is wanted prints its warning first, so that
// a program that reads the output learns the code, the place and the remedy.
func (m *Main) refuse(err error, asJSON bool, print func(*pb.Warning) error) error {
	bad := (&inputError{})
	if !asJSON || !errors.As(err, &bad) {
		return err
	}
	return errors.Join(err, print(surveyservice.Warnings([]survey.Warning{bad.warning})[0]))
}

// printReport writes the report for people.
func (m *Main) printReport(w io.Writer, r *survey.Report) {
	row := func(name string, value, low, high string, other string) {
		fmt.Fprintf(w, "%-14s %16s   95 %% between %s and %s   (%s)\n", name, value, low, high, other)
	}
	u := m.units
	row("Water surface", u.area(r.Area.Value), u.area(r.Area.Low), u.area(r.Area.High), (!u).area(r.Area.Value))
	row("Volume", u.volume(r.Volume.Value), u.volume(r.Volume.Low), u.volume(r.Volume.High), (!u).volume(r.Volume.Value))
	row("Mean depth", u.length(r.MeanDepth.Value), u.length(r.MeanDepth.Low), u.length(r.MeanDepth.High), (!u).length(r.MeanDepth.Value))
	row("Greatest depth", u.length(r.MaxDepth.Value), u.length(r.MaxDepth.Low), u.length(r.MaxDepth.High), (!u).length(r.MaxDepth.Value))
	fmt.Fprintf(w, "%-14s %16s   (%s)\n", "Shoreline", u.distance(r.Shoreline), (!u).distance(r.Shoreline))
	fmt.Fprintf(w, "%-14s %d used, %d left out\n", "Soundings", r.Used, r.Rejected)
	fmt.Fprintf(w, "\n%12s %16s %18s\n", "drawn down", "water surface", "volume left")
	table := r.Bed.Curve().Table(tableStep(u, r.MaxDepth.Value))
	for _, t := range table {
		fmt.Fprintf(w, "%12s %16s %18s\n", u.length(t.Drawdown), u.area(t.Area), u.volume(t.Volume))
	}
	fmt.Fprintln(w, "\nNot covered by the intervals: errors of water level, draft, sound speed and muck that nobody gave.")
}

// tableStep is a round step that gives about a dozen rows.
func tableStep(u unitSystem, deepest unit.Meters) unit.Meters {
	one := unit.Feet(1)
	if u == siUnits {
		one = 0.25
	}
	step := one
	for deepest/step > 14 {
		step += one
	}
	return step
}
