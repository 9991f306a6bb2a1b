package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/golang/geo/s2"
	"github.com/spf13/cobra"

	"pondwright/calc/unit"
	"pondwright/geo/plan"
	pb "pondwright/proto/pondwright/v1"
	planservice "pondwright/server/plan"
	surveyservice "pondwright/server/survey"
)

func (m *Main) planCommand() *cobra.Command {
	var files surveyFiles
	var more ground
	var mast, out string
	var compressors int
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
			progress := newProgress(m.Err)
			in := plan.Input{
				Mast:     at,
				Altitude: unit.Meters(altitudeM), AltitudeKnown: c.Flags().Changed("altitude"),
				Turnovers: turnovers,
				Equipment: defaultEquipment(compressors),
			}
			places, err := more.read(&in)
			var p *plan.Plan
			if err == nil {
				p, in, err = files.plan(c.Context(), progress, in, places)
			}
			if err != nil {
				return refuse(err, asJSON, func(w *pb.Warning) error {
					return writeJSON(m.Out, refusedPlan(w))
				})
			}
			m.printWarnings(surveyservice.Warnings(in.Survey.Warnings))
			message := planservice.Message(p, in)
			drawing, err := m.writePlan(out, message, sheetPond{
				Name: files.name(), Shore: in.Shore, Report: in.Survey,
			})
			if err != nil {
				return err
			}
			if asJSON {
				return writeJSON(m.Out, message)
			}
			m.printPlan(m.Out, message)
			fmt.Fprintln(m.Out, "\nDrawing:", drawing)
			return nil
		},
	}
	files.flags(c)
	more.flags(c)
	f := c.Flags()
	f.StringVar(&mast, "mast", "", "where the mast stands, as LAT,LON in degrees")
	f.StringVar(&out, "out", "", "folder for the drawing and the plan; made if missing")
	f.IntVar(&compressors, "compressors", 1, "machines side by side")
	f.Float64Var(&altitudeM, "altitude", 0, "height above sea level in meters (default sea level, marked)")
	f.Float64Var(&turnovers, "turnovers", plan.DefaultTurnovers, "turnovers a day to aim at")
	f.BoolVar(&asJSON, "json", false, "print the plan as JSON, in SI units")
	require(c, "mast", "out")
	return c
}

func defaultEquipment(machines int) plan.Equipment {
	e := plan.DefaultEquipment()
	e.Machines = machines
	return e
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

// writePlan writes the drawing and the plan's data into a folder and returns the
// drawing's path.
func (m *Main) writePlan(dir string, p *pb.Plan, pond sheetPond) (string, error) {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return "", fmt.Errorf("folder for the plan: %w", err)
	}
	drawing := filepath.Join(dir, "plan.svg")
	if err := os.WriteFile(drawing, m.sheet(p, pond).SVG(), 0o600); err != nil {
		return "", fmt.Errorf("write the drawing: %w", err)
	}
	data, err := os.Create(filepath.Join(dir, "plan.json"))
	if err != nil {
		return "", fmt.Errorf("write the plan: %w", err)
	}
	if err := errors.Join(writeJSON(data, p), data.Close()); err != nil {
		return "", fmt.Errorf("write the plan: %w", err)
	}
	return drawing, nil
}

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
	for _, line := range m.planFindings(p) {
		fmt.Fprintln(w, line)
	}
	m.printGround(w, p)
	fmt.Fprintln(w, "\nRests on:")
	for _, a := range p.GetAssumptions() {
		mark := " "
		if a.GetIsDefault() {
			mark = "*"
		}
		fmt.Fprintf(w, " %s %-18s %s (%s)\n", mark, a.GetName(), a.GetValue(), a.GetSource())
	}
	fmt.Fprintln(w, "   * a default: nobody gave it")
	fmt.Fprintln(w, "\nCautions:")
	for _, c := range p.GetCautions() {
		fmt.Fprintf(w, " - %s\n", c.GetText())
	}
}

func airflow(d *pb.Diffuser) unit.StdCubicMetersPerSecond {
	return unit.StdCubicMetersPerSecond(d.GetAirflowM3PerS())
}

// planFindings says in a few lines what the plan achieves and what binds it.
func (m *Main) planFindings(p *pb.Plan) []string {
	u := m.units
	var out []string
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if len(p.GetDiffusers()) > 0 {
		t := p.GetTurnoversPerDay()
		add("Turnovers a day: %.2f (between %.2f and %.2f) in %g h of running, unverified; target %g, judged on the high end of the volume.",
			t.GetValue(), t.GetLow(), t.GetHigh(), p.GetRunHoursPerDay(), p.GetTargetTurnoversPerDay())
		add("Air: %s from %d compressor(s), %s in the manifold.",
			u.both(func(u unitSystem) string {
				return u.air(unit.StdCubicMetersPerSecond(p.GetCompressorFlowM3PerS()))
			}),
			p.GetCompressors(), u.gauge(unit.PascalsGauge(p.GetManifoldPressurePaGauge())))
		add("Hose to order: %s.", u.both(func(u unitSystem) string { return u.distance(unit.Meters(p.GetTotalHoseM())) }))
		if p.GetPlaced() {
			add("Sites: %.0f %% of the water is within reach of the places given; no other was sought.", 100*p.GetServedShare())
		} else {
			add("Sites: %.0f %% of the water is within reach; no better layout found, at most %.1f %% better is possible.",
				100*p.GetServedShare(), math.Ceil(1000*p.GetSiteGap())/10)
		}
	}
	switch {
	case p.GetBindingConstraint() != pb.Plan_NONE:
		add("What binds: %s. Needed: %s.", p.GetBindingConstraint(), p.GetShortfall())
	case defaults(p) != "":
		add("Unverified: the target would be met if every default were true.")
	default:
		add("The target is met.")
	}
	return out
}
