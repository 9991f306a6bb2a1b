package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/shore"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/sheet"
	surveyservice "pondwright/server/survey"
)

// surveyFiles are the flags by which a command is told where a survey lies.
type surveyFiles struct {
	shoreline string
	soundings []string
	columns   map[string]string

	gear   surveyGear
	errors surveyErrors

	// What the files told, once they are read.
	shore    *shore.Shore
	level    *unit.Meters // of the shoreline over the benchmark; nil where it is not told
	surveyed time.Time    // of the newest sounding, once measured
}

func (f *surveyFiles) flags(c *cobra.Command, units *unitSystem) {
	f.gear.flags(c, units)
	f.errors.flags(c, units)
	c.Flags().StringVar(&f.shoreline, "shoreline", "", "outline of the pond, GeoJSON with one Polygon")
	c.Flags().StringArrayVar(&f.soundings, "soundings", nil, "soundings, CSV or NMEA 0183; may be given several times")
	c.Flags().StringToStringVar(&f.columns, "map", nil, "name a CSV column of another header, as depth=COLUMN; may be given several times")
	require(c, "shoreline", "soundings")
}

// measure reads the files and measures the pond.
func (f *surveyFiles) measure(ctx context.Context, p *progress) (*survey.Report, error) {
	in, err := readSurvey(f.shoreline, f.soundings, f.columns)
	if err != nil {
		return nil, err
	}
	if err := f.gear.apply(&in); err != nil {
		return nil, err
	}
	in.Bias = f.errors.bias()
	f.shore, f.level = in.Shore, in.ShoreLevel
	f.surveyed = sheet.Surveyed(in.Readings)
	r, err := survey.Measure(in, p.share(ctx, "Inferring the bed"))
	p.done()
	if swapped := (&survey.SwappedError{}); errors.As(err, &swapped) {
		return nil, &inputError{swapped.Warning}
	}
	if apart := (&survey.LevelError{}); errors.As(err, &apart) {
		return nil, &inputError{survey.Warning{Code: "LEVELS_APART", Source: apart.Source, Field: "water_level_m", Message: apart.Error()}}
	}
	if errors.Is(err, bed.ErrCanceled) {
		return nil, context.Canceled
	}
	return r, err
}

// ofSurvey makes c measure the pond of some files and answer from the report: as JSON,
// or for people by show. Where the pond cannot be measured, JSON holds refused.
func ofSurvey[A proto.Message](m *Main, c *cobra.Command, files *surveyFiles, refused func(*pb.Warning) A, answer func(*survey.Report) (A, error), show func(A)) *cobra.Command {
	var asJSON bool
	files.flags(c, &m.units)
	c.Flags().BoolVar(&asJSON, "json", false, "print the answer as JSON, one document, in SI units")
	c.Args = cobra.NoArgs
	c.RunE = func(c *cobra.Command, _ []string) error {
		r, err := files.measure(c.Context(), newProgress(m.Err))
		if err != nil {
			return refuse(err, asJSON, func(w *pb.Warning) error { return writeJSON(m.Out, refused(w)) })
		}
		m.printWarnings(surveyservice.Warnings(r.Warnings))
		a, err := answer(r)
		if err != nil {
			return err
		}
		if asJSON {
			return writeJSON(m.Out, a)
		}
		show(a)
		return nil
	}
	return c
}

func (m *Main) measureCommand() *cobra.Command {
	var files surveyFiles
	return ofSurvey(m, &cobra.Command{
		Use:   "measure --shoreline FILE --soundings FILE…",
		Short: "Area, volume and depths of a pond, with their doubt",
	}, &files,
		func(w *pb.Warning) *pb.SurveyReport { return &pb.SurveyReport{Warnings: []*pb.Warning{w}} },
		func(r *survey.Report) (*pb.SurveyReport, error) { return surveyservice.Report(r), nil },
		func(r *pb.SurveyReport) { m.printReport(m.Out, r, files.errors.bias()) })
}

// refuse returns err, and where JSON is wanted prints its warning first, so that
// a program that reads the output learns the code, the place and the remedy.
func refuse(err error, asJSON bool, show func(*pb.Warning) error) error {
	var bad *inputError
	if !asJSON || !errors.As(err, &bad) {
		return err
	}
	return errors.Join(err, show(bad.message()))
}

// printWarnings writes a survey's warnings to the error stream.
func (m *Main) printWarnings(ws []*pb.Warning) {
	for _, w := range ws {
		fmt.Fprintln(m.Err, "warning:", warningLine(w))
	}
}

// intervalRow writes a figure with its doubt.
func (m *Main) intervalRow(w io.Writer, name string, v *pb.Interval, text func(u unitSystem, v float64) string) {
	u := m.units
	fmt.Fprintf(w, "%-14s %16s   95 %% between %s and %s   (%s)\n",
		name, text(u, v.GetValue()), text(u, v.GetLow()), text(u, v.GetHigh()), text(!u, v.GetValue()))
}

// printReport writes the report for people; given are the errors that its intervals
// cover.
func (m *Main) printReport(w io.Writer, r *pb.SurveyReport, given survey.Bias) {
	u := m.units
	row := func(name string, v *pb.Interval, text func(u unitSystem, v float64) string) {
		m.intervalRow(w, name, v, text)
	}
	length := func(u unitSystem, v float64) string { return u.length(unit.Meters(v)) }
	row("Water surface", r.GetAreaM2(), func(u unitSystem, v float64) string { return u.area(unit.SquareMeters(v)) })
	row("Volume", r.GetVolumeM3(), func(u unitSystem, v float64) string { return u.volume(unit.CubicMeters(v)) })
	row("Mean depth", r.GetMeanDepthM(), length)
	row("Greatest depth", r.GetMaxDepthM(), length)
	shoreline := unit.Meters(r.GetShorelineM())
	fmt.Fprintf(w, "%-14s %16s   (%s)\n", "Shoreline", u.distance(shoreline), (!u).distance(shoreline))
	if r.GetSedimentM3() != nil {
		row("Sediment", r.GetSedimentM3(), func(u unitSystem, v float64) string { return u.volume(unit.CubicMeters(v)) })
	}
	fmt.Fprintf(w, "%-14s %d used, %d left out\n", "Soundings", r.GetSoundingsUsed(), r.GetSoundingsRejected())
	m.printQuality(w, r.GetQuality())
	fmt.Fprintf(w, "\n%12s %16s %18s\n", "drawn down", "water surface", "volume left")
	for _, t := range tableRows(u, r.GetCurve()) {
		fmt.Fprintf(w, "%12s %16s %18s\n", u.length(unit.Meters(t.GetDepthM())),
			u.area(unit.SquareMeters(t.GetAreaM2())), u.volume(unit.CubicMeters(t.GetVolumeM3())))
	}
	fmt.Fprintf(w, "\n%s\n", uncovered(given))
}

// tableRows thins a report's curve to about a dozen rows at round drawdowns,
// interpolated between the curve's own rows, and the row where the pond is dry.
func tableRows(u unitSystem, curve []*pb.CurveRow) []*pb.CurveRow {
	if len(curve) == 0 {
		return nil
	}
	dry := curve[len(curve)-1]
	one := float64(unit.Feet(1))
	if u == siUnits {
		one = 0.25
	}
	stepM := one * math.Ceil(dry.GetDepthM()/one/14)
	var out []*pb.CurveRow
	i := 0
	for k := 0; float64(k)*stepM < dry.GetDepthM(); k++ {
		at := float64(k) * stepM
		for i < len(curve)-2 && curve[i+1].GetDepthM() <= at {
			i++
		}
		a, b := curve[i], curve[min(i+1, len(curve)-1)]
		t := 0.0
		if span := b.GetDepthM() - a.GetDepthM(); span > 0 {
			t = (at - a.GetDepthM()) / span
		}
		out = append(out, &pb.CurveRow{
			DepthM:   at,
			AreaM2:   a.GetAreaM2() + t*(b.GetAreaM2()-a.GetAreaM2()),
			VolumeM3: a.GetVolumeM3() + t*(b.GetVolumeM3()-a.GetVolumeM3()),
		})
	}
	return append(out, dry)
}
