package main

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/golang/geo/s2"
	"github.com/spf13/cobra"

	"pondwright/calc/unit"
	"pondwright/geo/plan"
	"pondwright/proto/digest"
	pb "pondwright/proto/pondwright/v1"
	planservice "pondwright/server/plan"
	"pondwright/server/sheet"
	surveyservice "pondwright/server/survey"
)

func (m *Main) planCommand() *cobra.Command {
	var files surveyFiles
	var more ground
	var power powerFlags
	var mast, out, name string
	var paper paperSize
	var kinds []string
	var compressors []int
	var altitudeM, turnovers float64
	var asJSON bool
	c := &cobra.Command{
		Use:   "plan --shoreline FILE --soundings FILE… --mast LAT,LON --out DIR",
		Short: "Where the diffusers go, what air they get and how often the pond turns over",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			at, err := parseLatLng(mast)
			if err != nil {
				return usagef("--mast: %w", err)
			}
			in := plan.Input{
				Mast:     at,
				Altitude: unit.Meters(altitudeM), AltitudeKnown: c.Flags().Changed("altitude"),
				Turnovers: turnovers,
				Equipment: plan.DefaultEquipment(),
			}
			places, err := more.read(&in)
			if err == nil {
				err = owned(&in.Equipment, kinds, compressors, m.units)
			}
			if err == nil {
				err = m.applyPower(&power, &in)
			}
			if errors.As(err, new(usageError)) {
				return err
			}
			var p *plan.Plan
			if err == nil {
				p, in, err = files.plan(c.Context(), newProgress(m.Err), in, places)
			}
			if err != nil {
				return refuse(err, asJSON, func(w *pb.Warning) error {
					return writeJSON(m.Out, refusedPlan(w))
				})
			}
			m.printWarnings(surveyservice.Warnings(in.Survey.Warnings))
			message := planservice.Message(p, in)
			message.PlanId = digest.Short("P", planservice.Digest(message))
			written, err := m.writePlan(out, sheet.Job{
				Name: cmp.Or(name, files.name()), Plan: message, Survey: in.Survey, Shore: in.Shore,
				Surveyed: files.surveyed, Format: paper.format(), Prices: in.Prices,
			})
			if err != nil {
				return err
			}
			if asJSON {
				return writeJSON(m.Out, message)
			}
			m.printPlan(m.Out, message)
			fmt.Fprintln(m.Out, "\nSheets:", written)
			return nil
		},
	}
	files.flags(c, &m.units)
	more.flags(c)
	f := c.Flags()
	power.flags(f)
	f.StringVar(&mast, "mast", "", "where the mast stands, as LAT,LON in degrees")
	f.StringVar(&out, "out", "", "folder for the sheets and the plan; made if missing")
	f.Var(&paper, "paper", "size of the sheets")
	f.StringVar(&name, "pond", "", "what the pond is called on the sheets (default the shoreline's file)")
	f.StringArrayVar(&kinds, "compressor", nil, compressorHelp+"; once for each kind you own, of which the plan takes one (default a generic machine, marked)")
	f.IntSliceVar(&compressors, "compressors", []int{1}, "machines side by side, of each kind in its order, as in 2,1; 1 where not said")
	f.Float64Var(&altitudeM, "altitude", 0, "height above sea level in meters (default sea level, marked)")
	f.Float64Var(&turnovers, "turnovers", plan.DefaultTurnovers, "turnovers a day to aim at")
	f.BoolVar(&asJSON, "json", false, "print the plan as JSON, in SI units")
	require(c, "mast", "out")
	return c
}

// owned puts the kinds of compressor into the equipment, each called by its file, and
// how many there are of each.
func owned(e *plan.Equipment, files []string, counts []int, units unitSystem) error {
	if len(counts) > max(1, len(files)) {
		return usagef("--compressors: %d numbers for %d kinds", len(counts), max(1, len(files)))
	}
	count := func(i int) int {
		if i < len(counts) {
			return counts[i]
		}
		return 1
	}
	e.Machines = count(0)
	for i, file := range files {
		curve, err := readCompressor(file, units, 0)
		if err != nil {
			return err
		}
		if i == 0 {
			e.Label, e.Compressor, e.CompressorDefault = filepath.Base(file), curve, false
			continue
		}
		e.OtherKinds = append(e.OtherKinds, plan.Kind{Label: filepath.Base(file), Curve: curve, Count: count(i)})
	}
	return nil
}

// parseLatLng reads "LAT,LON" in degrees.
func parseLatLng(text string) (s2.LatLng, error) {
	lat, lon, ok := strings.Cut(text, ",")
	if !ok {
		return s2.LatLng{}, fmt.Errorf("%q is not LAT,LON", text)
	}
	var deg [2]float64
	for i, part := range []string{lat, lon} {
		v, err := strconv.ParseFloat(strings.TrimSpace(part), 64)
		if err != nil {
			return s2.LatLng{}, fmt.Errorf("%q is not a number of degrees", part)
		}
		deg[i] = v
	}
	if !(deg[0] >= -90 && deg[0] <= 90 && deg[1] >= -180 && deg[1] <= 180) {
		return s2.LatLng{}, fmt.Errorf("%q is no position: latitude comes first, from -90 to 90, then longitude, from -180 to 180", text)
	}
	return s2.LatLngFromDegrees(deg[0], deg[1]), nil
}

// plan measures the pond and proposes a plan for it, or plans for diffusers at
// places where somebody put them.
func (f *surveyFiles) plan(ctx context.Context, p *progress, in plan.Input, places []s2.LatLng) (*plan.Plan, plan.Input, error) {
	s, _, err := readShoreline(f.shoreline)
	if err != nil {
		return nil, in, err
	}
	in.Shore = s
	if in.Survey, err = f.measure(ctx, p); err != nil {
		return nil, in, err
	}
	if in.Power != nil {
		in.Power.Day = f.surveyed
	}
	tell := func(stage string, share float64) bool {
		p.show(stage, share)
		return ctx.Err() == nil
	}
	prepared, err := plan.Prepare(in, tell)
	var out *plan.Plan
	switch {
	case err != nil:
	case len(places) > 0:
		out, err = prepared.Evaluate(places)
	default:
		out, err = prepared.Propose(tell)
	}
	p.done()
	if errors.Is(err, plan.ErrCanceled) {
		return nil, in, context.Canceled
	}
	if err != nil {
		return nil, in, asMastError(err)
	}
	return out, in, nil
}

// asMastError tells a mast that cannot serve as a fault of the input.
func asMastError(err error) error {
	w := planservice.Refused(err)
	if w == nil {
		return err
	}
	return &inputError{*w}
}

// refusedPlan is what --json prints when there is no plan: the reason, where a
// program looks for it.
func refusedPlan(w *pb.Warning) *pb.Plan {
	return &pb.Plan{
		BindingConstraint: pb.Plan_INPUT_MISSING,
		Shortfall:         w.GetRemedy(),
		Cautions:          []*pb.Caution{{Code: w.GetCode(), Text: warningLine(w)}},
	}
}

// name is what to call a pond that only files tell of.
func (f *surveyFiles) name() string {
	base := filepath.Base(f.shoreline)
	return strings.TrimSuffix(base, filepath.Ext(base))
}

// writePlan writes the papers and the plan's data into a folder and returns the
// path of the sheets.
func (m *Main) writePlan(dir string, job sheet.Job) (string, error) {
	job.Units = unit.System(m.units)
	papers, err := sheet.Papers(job)
	if err != nil {
		return "", err
	}
	var data bytes.Buffer
	if err := writeJSON(&data, job.Plan); err != nil {
		return "", fmt.Errorf("write the plan: %w", err)
	}
	return filepath.Join(dir, sheet.SheetsName), writePapers(dir, append(papers, sheet.File{Name: "plan.json", Data: data.Bytes()}))
}

// writePapers writes the papers of one plan into a folder, which is made if missing.
func writePapers(dir string, papers []sheet.File) error {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return fmt.Errorf("folder for the plan: %w", err)
	}
	if err := dropDrawings(dir); err != nil {
		return err
	}
	for _, f := range papers {
		if err := os.WriteFile(filepath.Join(dir, f.Name), f.Data, 0o600); err != nil {
			return fmt.Errorf("write the plan: %w", err)
		}
	}
	return nil
}

// dropDrawings removes the numbered drawings of an earlier plan, so that nobody
// builds from a mixture of two.
func dropDrawings(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("folder for the plan: %w", err)
	}
	for _, e := range entries {
		if !sheet.IsDrawing(e.Name()) {
			continue
		}
		if err := os.Remove(filepath.Join(dir, e.Name())); err != nil {
			return fmt.Errorf("drawing of an earlier plan: %w", err)
		}
	}
	return nil
}

// paperSize is the user's choice of paper. The zero value is US letter.
type paperSize struct{ name string }

func (p *paperSize) format() sheet.Format {
	f, _ := sheet.ParseFormat(p.String()) // Set has checked it
	return f
}

func (p *paperSize) message() pb.Paper {
	if p.format() == sheet.A4 {
		return pb.Paper_PAPER_A4
	}
	return pb.Paper_PAPER_LETTER
}

// String, Set and Type make the choice a flag.
func (p *paperSize) String() string { return cmp.Or(p.name, "letter") }

func (p *paperSize) Set(s string) error {
	p.name = strings.ToLower(s)
	_, err := sheet.ParseFormat(p.name)
	return err
}

func (p *paperSize) Type() string { return "letter|a4" }

// printPlan writes the plan for people.
func (m *Main) printPlan(w io.Writer, p *pb.Plan) {
	u := m.units
	if len(p.GetDiffusers()) > 0 {
		fmt.Fprintf(w, "%4s %9s %12s %12s %12s %12s\n", "", "depth", "air", "lift", "hose", "valve drop")
		for _, d := range p.GetDiffusers() {
			fmt.Fprintf(w, "%4s %9s %12s %12s %12s %12s\n", d.GetLabel(),
				u.length(unit.Meters(d.GetDepthM())), u.air(airflow(d)), u.water(unit.CubicMetersPerSecond(d.GetLiftM3PerS())),
				u.distance(unit.Meters(d.GetHose().GetLengthM())), u.gauge(unit.PascalsGauge(d.GetValveDropPa())))
		}
		fmt.Fprintln(w)
	}
	for _, line := range sheet.Findings(p, unit.System(u)) {
		fmt.Fprintln(w, line)
	}
	m.printGround(w, p)
	m.printPower(w, p)
	fmt.Fprintln(w, "\nRests on:")
	for _, a := range p.GetAssumptions() {
		mark := " "
		if a.GetIsDefault() {
			mark = "*"
		}
		fmt.Fprintf(w, " %s %-18s %s (%s)\n", mark, a.GetName(), m.units.words(a.GetValueTemplate(), a.GetValue()), a.GetSource())
	}
	fmt.Fprintln(w, "   * a default: nobody gave it")
	fmt.Fprintln(w, "\nCautions:")
	for _, c := range p.GetCautions() {
		fmt.Fprintf(w, " - %s\n", m.units.words(c.GetTextTemplate(), c.GetText()))
	}
}

func airflow(d *pb.Diffuser) unit.StdCubicMetersPerSecond {
	return unit.StdCubicMetersPerSecond(d.GetAirflowM3PerS())
}
