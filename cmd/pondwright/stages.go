package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
	surveyservice "pondwright/server/survey"
)

func (m *Main) stagesCommand() *cobra.Command {
	var files surveyFiles
	c := &cobra.Command{
		Use:   "stages --shoreline FILE --soundings FILE…",
		Short: "Area and volume at every water level with their doubt, and the level of a volume",
	}
	f := &form{units: &m.units, flags: c.Flags()}
	step := ask(f, "step", ofLength, "", "between rows; left out, 0.1 ft or with --units si 0.1 m").nonzero()
	volume := ask(f, "volume", ofWater, "", "a volume whose level is asked for")
	answer := func(r *survey.Report) (*pb.ReadStagesResponse, error) {
		by := step.v()
		if !step.has() {
			by = unit.Feet(0.1)
			if m.units == siUnits {
				by = 0.1
			}
		}
		out := &pb.ReadStagesResponse{Rows: surveyservice.Stages(r.Bed, by, files.level)}
		if out.GetRows() == nil {
			return nil, usagef("--step: a table has %d rows at most and a step above zero", bed.MaxStages)
		}
		if volume.has() {
			out.Stages = append(out.Stages, surveyservice.StageForVolume(r.Bed, volume.v(), files.level))
		}
		return out, nil
	}
	return ofSurvey(m, c, &files, func(*pb.Warning) *pb.ReadStagesResponse { return &pb.ReadStagesResponse{} }, answer,
		func(r *pb.ReadStagesResponse) {
			m.printStages(m.Out, r)
			fmt.Fprintln(m.Out, uncovered(files.errors.bias()))
		})
}

// printStages writes the table for people.
func (m *Main) printStages(w io.Writer, r *pb.ReadStagesResponse) {
	u := m.units
	volume := func(v float64) string { return u.volume(unit.CubicMeters(v)) }
	fmt.Fprintf(w, "%12s %12s %14s %16s   %-36s %s\n", "drawn down", "level", "surface", "volume", "95 % between", "80 % between")
	for _, t := range r.GetRows() {
		v := t.GetVolumeM3()
		fmt.Fprintf(w, "%12s %12s %14s %16s   %-36s %s\n", m.stage(t.GetDrawdownM()), m.levelText(t.LevelM),
			u.area(unit.SquareMeters(t.GetAreaM2().GetValue())), volume(v.GetValue()),
			volume(v.GetLow())+" and "+volume(v.GetHigh()), volume(v.GetLow80())+" and "+volume(v.GetHigh80()))
	}
	for _, s := range r.GetStages() {
		if s.GetAboveSurvey() {
			fmt.Fprintf(w, "\n%s is more than the pond held when it was drawn: nobody surveyed the banks above.\n", volume(s.GetVolumeM3()))
			continue
		}
		d := s.GetDrawdownM()
		fmt.Fprintf(w, "\n%s are left at %s below the shoreline's level (level %s); 95 %% between %s and %s, 80 %% between %s and %s.\n",
			volume(s.GetVolumeM3()), m.stage(d.GetValue()), m.levelText(s.LevelM), m.stage(d.GetLow()), m.stage(d.GetHigh()), m.stage(d.GetLow80()), m.stage(d.GetHigh80()))
	}
	fmt.Fprintln(w, "\nDrawn down from the level at which the shoreline was drawn.")
}

// stage prints a drawdown to the hundredth, as a staff is read.
func (m *Main) stage(v float64) string {
	if m.units == siUnits {
		return number(v, 2) + " m"
	}
	return number(unit.Meters(v).Feet(), 2) + " ft"
}

// levelText prints a water level over the benchmark, a dash where it is not known.
func (m *Main) levelText(level *float64) string {
	if level == nil {
		return "-"
	}
	return m.stage(*level)
}

func (m *Main) partCommand() *cobra.Command {
	var files surveyFiles
	var inside string
	c := &cobra.Command{
		Use:   "part --shoreline FILE --soundings FILE… [--upper DEPTH] [--lower DEPTH] [--inside FILE]",
		Short: "The water in a layer, as above or below a thermocline, or inside a polygon",
	}
	f := &form{units: &m.units, flags: c.Flags()}
	upper := ask(f, "upper", ofLength, "0m", "depth at which the part begins")
	lower := ask(f, "lower", ofLength, "", "depth at which it ends; left out, the bed").nonzero()
	c.Flags().StringVar(&inside, "inside", "", "outline of the part, GeoJSON with one Polygon")
	c.PreRunE = func(*cobra.Command, []string) error {
		if lower.has() && lower.v() <= upper.v() {
			return usagef("--lower: the layer ends above its beginning")
		}
		return nil
	}
	answer := func(r *survey.Report) (*pb.PartReport, error) {
		part := bed.Part{Upper: upper.v(), Lower: lower.v()}
		if inside != "" {
			of, err := readFile(inside, nil)
			if err != nil {
				return nil, err
			}
			if of.Outline == nil {
				return nil, wrongKind(inside, of.Format, "an outline (GeoJSON)")
			}
			part.Ring = surveyservice.RingOf(files.shore.Frame(), of.Outline.Outer)
		}
		return surveyservice.PartMessage(r.Bed, part), nil
	}
	return ofSurvey(m, c, &files, func(*pb.Warning) *pb.PartReport { return &pb.PartReport{} }, answer, func(out *pb.PartReport) {
		m.intervalRow(m.Out, "Area on top", out.GetAreaM2(), func(u unitSystem, v float64) string { return u.area(unit.SquareMeters(v)) })
		m.intervalRow(m.Out, "Volume", out.GetVolumeM3(), func(u unitSystem, v float64) string { return u.volume(unit.CubicMeters(v)) })
		fmt.Fprintln(m.Out, uncovered(files.errors.bias()))
	})
}
