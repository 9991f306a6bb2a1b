package main

import (
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
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
	planservice "pondwright/server/plan"
)

func (m *Main) planCommand() *cobra.Command {
	var files surveyFiles
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
			p, in, err := files.plan(c.Context(), progress, plan.Input{
				Mast:     at,
				Altitude: unit.Meters(altitudeM), AltitudeKnown: c.Flags().Changed("altitude"),
				Turnovers: turnovers,
				Equipment: defaultEquipment(compressors),
			})
			if err != nil {
				return m.refuse(err, asJSON, func(w *pb.Warning) error {
					return writeJSON(m.Out, refusedPlan(w))
				})
			}
			for _, w := range in.Survey.Warnings {
				fmt.Fprintln(m.Err, "warning:", warningLine(w))
			}
			drawing, err := m.writePlan(out, p, in, sheetTitle{Pond: strings.TrimSuffix(filepath.Base(files.shoreline), filepath.Ext(files.shoreline))})
			if err != nil {
				return err
			}
			if asJSON {
				return writeJSON(m.Out, planservice.Message(p, in))
			}
			m.printPlan(m.Out, p)
			fmt.Fprintln(m.Out, "\nDrawing:", drawing)
			return nil
		},
	}
	files.flags(c)
	f := c.Flags()
	f.StringVar(&mast, "mast", "", "where the mast stands, as LAT,LON in degrees")
	f.StringVar(&out, "out", "", "folder for the drawing and the plan; made if missing")
	f.IntVar(&compressors, "compressors", 1, "machines side by side")
	f.Float64Var(&altitudeM, "altitude", 0, "height above sea level in meters (default sea level, marked)")
	f.Float64Var(&turnovers, "turnovers", plan.DefaultTurnovers, "turnovers a day to aim at")
	f.BoolVar(&asJSON, "json", false, "print the plan as JSON, in SI units")
	for _, name := range []string{"mast", "out"} {
		if err := c.MarkFlagRequired(name); err != nil {
			panic(err) // the flag was just defined
		}
	}
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

// plan measures the pond and proposes a plan for it.
func (f *surveyFiles) plan(ctx context.Context, p *progress, in plan.Input) (*plan.Plan, plan.Input, error) {
	s, _, err := readShoreline(f.shoreline)
	if err != nil {
		return nil, in, err
	}
	in.Shore = s
	if in.Survey, err = f.measure(ctx, p); err != nil {
		return nil, in, err
	}
	out, err := plan.Propose(in, func(stage string, share float64) bool {
		p.show(stage, share)
		return ctx.Err() == nil
	})
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
		Cautions: []*pb.Caution{{Code: w.GetCode(), Text: warningLine(survey.Warning{
			Source: survey.Source{File: w.GetFile(), Line: int(w.GetLine())}, Code: w.GetCode(),
			Field: w.GetField(), Message: w.GetMessage(), Remedy: w.GetRemedy(),
		})}},
	}
}

// writePlan writes the drawing and the plan's data into a folder and returns the
// drawing's path.
func (m *Main) writePlan(dir string, p *plan.Plan, in plan.Input, title sheetTitle) (string, error) {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return "", fmt.Errorf("folder for the plan: %w", err)
	}
	drawing := filepath.Join(dir, "plan.svg")
	if err := os.WriteFile(drawing, m.sheet(p, in, title).SVG(), 0o600); err != nil {
		return "", fmt.Errorf("write the drawing: %w", err)
	}
	data, err := os.Create(filepath.Join(dir, "plan.json")) //nolint:gosec // the user names the folder
	if err != nil {
		return "", fmt.Errorf("write the plan: %w", err)
	}
	err = errors.Join(writeJSON(data, planservice.Message(p, in)), data.Close())
	if err != nil {
		return "", fmt.Errorf("write the plan: %w", err)
	}
	return drawing, nil
}

// printPlan writes the plan for people.
func (m *Main) printPlan(w io.Writer, p *plan.Plan) {
	u := m.units
	if len(p.Diffusers) > 0 {
		fmt.Fprintf(w, "%4s %9s %12s %12s %12s %12s\n", "", "depth", "air", "lift", "hose", "valve drop")
		for i, d := range p.Diffusers {
			fmt.Fprintf(w, "%4s %9s %12s %12s %12s %12s\n", planservice.Label(i),
				u.length(d.Depth), u.air(d.Air), u.water(d.Lift.Value), u.distance(d.Hose.Order), u.gauge(d.Valve.Drop))
		}
		fmt.Fprintf(w, "\nAir from %d compressor(s) %s at %s; hose to order %s\n", p.Machines,
			u.both(func(u unitSystem) string { return u.air(p.Air) }), u.gauge(p.Manifold),
			u.both(func(u unitSystem) string { return u.distance(p.HoseTotal) }))
		fmt.Fprintf(w, "Turnovers a day %.2f (between %.2f and %.2f) in %g h, target %g\n",
			p.Turnovers.Value, p.Turnovers.Low, p.Turnovers.High, p.RunHours, p.Target)
		fmt.Fprintf(w, "Water served %.0f %%; no better layout found: at most %.1f %% better is possible\n", 100*p.Served, 100*p.SiteGap)
	}
	if p.Constraint == plan.None {
		fmt.Fprintln(w, "The target is met, as far as the assumptions below hold.")
	} else {
		fmt.Fprintf(w, "What binds: %s. Needed: %s\n", p.Constraint, p.Shortfall)
	}
	fmt.Fprintln(w, "\nRests on:")
	for _, a := range p.Assumptions {
		mark := " "
		if a.Default {
			mark = "*"
		}
		fmt.Fprintf(w, " %s %-18s %s (%s)\n", mark, a.Name, a.Value, a.Source)
	}
	fmt.Fprintln(w, "   * a default: nobody gave it")
	fmt.Fprintln(w, "\nCautions:")
	for _, c := range p.Cautions {
		fmt.Fprintf(w, " - %s\n", c.Text)
	}
}
