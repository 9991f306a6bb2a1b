package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"pondwright/calc/unit"
	pb "pondwright/proto/pondwright/v1"
)

func (m *Main) plansCommand() *cobra.Command {
	var o officeFlags
	c := &cobra.Command{
		Use:   "plans --server HOST:PORT --pond NAME",
		Short: "The saved plans of a pond: keep one, look at it, print it, compare two, approve one",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return o.call(c.Context(), func(conn *grpc.ClientConn, pond []byte) error {
				list, err := pb.NewPlanServiceClient(conn).ListPlans(c.Context(), &pb.ListPlansRequest{PondId: pond})
				switch {
				case err != nil:
					return err
				case o.asJSON:
					return writeJSON(m.Out, list)
				}
				return printPlans(m.Out, list)
			})
		},
	}
	o.flags(c)
	c.AddCommand(failing(m.keepCommand(&o)), failing(m.showCommand(&o)), failing(m.printCommand(&o)), failing(m.compareCommand(&o)), failing(m.approveCommand(&o)), failing(m.withdrawCommand(&o)))
	return c
}

func printPlans(w io.Writer, list *pb.ListPlansResponse) error {
	if len(list.GetUndecided()) > 0 {
		fmt.Fprintf(w, "In dispute: %s. Nothing is planned or approved until it is settled.\n", strings.Join(list.GetUndecided(), ", "))
	}
	if len(list.GetPlans()) == 0 {
		fmt.Fprintln(w, "no plan was saved yet")
		return nil
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "plan\tstands as\tdiffusers\tturnovers a day\tsaved\tby\tnot verified\tchanged since")
	for _, v := range list.GetPlans() {
		fmt.Fprintf(t, "%s\t%s\t%d\t%.2f\t%s\t%s\t%d\t%s\n", v.GetPlanId(), standingText(v.GetStanding()), v.GetDiffusers(), v.GetTurnoversPerDay(),
			v.GetSavedAt().AsTime().Local().Format("2006-01-02 15:04"), v.GetPerson(), len(v.GetUnverified()), strings.Join(v.GetChangedSince(), ", "))
	}
	return t.Flush()
}

func standingText(s pb.PlanStanding) string {
	return strings.ToLower(strings.TrimPrefix(s.String(), "PLAN_STANDING_"))
}

func (m *Main) keepCommand(o *officeFlags) *cobra.Command {
	var by, mast string
	var compressors uint32
	var altitudeM, turnovers float64
	c := &cobra.Command{
		Use:   "keep --server HOST:PORT --pond NAME --by NAME",
		Short: "Plan with what is on record and keep the plan",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			wish := &pb.ProposeRequest{}
			if mast != "" {
				at, err := parseLatLng(mast)
				if err != nil {
					return usagef("--mast: %w", err)
				}
				wish.Mast = &pb.MastSite{LatDeg: at.Lat.Degrees(), LonDeg: at.Lng.Degrees()}
			}
			changed := c.Flags().Changed
			if changed("compressors") {
				wish.Compressors = &compressors
			}
			if changed("altitude") {
				wish.AltitudeM = &altitudeM
			}
			if changed("turnovers") {
				wish.TargetTurnoversPerDay = &turnovers
			}
			return o.call(c.Context(), func(conn *grpc.ClientConn, pond []byte) error {
				wish.Pond = &pb.ProposeRequest_PondId{PondId: pond}
				stream, err := pb.NewPlanServiceClient(conn).SavePlan(c.Context(), &pb.SavePlanRequest{PondId: pond, Wish: wish, Person: by})
				if err != nil {
					return err
				}
				v, err := m.savedPlan(stream)
				if err == nil {
					fmt.Fprintln(m.Err, takenFrom(v.GetPlan(), wish))
				}
				switch {
				case err != nil:
					return err
				case o.asJSON:
					return writeJSON(m.Out, v)
				}
				m.printVersion(m.Out, v)
				return nil
			})
		},
	}
	f := c.Flags()
	f.StringVar(&by, "by", "", "who keeps it")
	f.StringVar(&mast, "mast", "", "where the mast stands, as LAT,LON in degrees (default as on record)")
	f.Uint32Var(&compressors, "compressors", 1, "machines side by side (default as on record)")
	f.Float64Var(&altitudeM, "altitude", 0, "height above sea level in meters (default as on record)")
	f.Float64Var(&turnovers, "turnovers", 1, "turnovers a day to aim at")
	require(c, "by")
	return c
}

// takenFrom says what a plan was made from: the kinds of record there are, and what the
// caller said instead.
func takenFrom(p *pb.Plan, wish *pb.ProposeRequest) string {
	var kinds, said []string
	for _, k := range p.GetInputs().GetFacts() {
		kinds = append(kinds, strings.ReplaceAll(k.GetKind(), "_", " "))
	}
	for _, w := range []struct {
		name string
		said bool
	}{{"mast", wish.GetMast() != nil}, {"compressors", wish.Compressors != nil}, {"altitude", wish.AltitudeM != nil}, {"turnovers", wish.TargetTurnoversPerDay != nil}} {
		if w.said {
			said = append(said, w.name)
		}
	}
	text := "taken from the record: " + cmp.Or(strings.Join(kinds, ", "), "the survey alone")
	if len(said) > 0 {
		text += "; said with the command, which outranks it: " + strings.Join(said, ", ")
	}
	return text
}

// savedPlan shows progress and returns the plan at the end.
func (m *Main) savedPlan(stream grpc.ServerStreamingClient[pb.SavePlanResponse]) (*pb.PlanVersion, error) {
	p := newProgress(m.Err)
	defer p.done()
	for {
		step, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return nil, io.ErrUnexpectedEOF
		case err != nil:
			return nil, err
		case step.GetSaved() != nil:
			return step.GetSaved(), nil
		}
		p.show(step.GetProgress().GetStage(), step.GetProgress().GetShare())
	}
}

func (m *Main) showCommand(o *officeFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "show --server HOST:PORT --pond NAME [PLAN]",
		Short: "A saved plan: the one named, the approved one, or else the newest",
		Args:  cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return o.call(c.Context(), func(conn *grpc.ClientConn, pond []byte) error {
				r, err := pb.NewPlanServiceClient(conn).GetPlan(c.Context(), &pb.GetPlanRequest{PondId: pond, PlanId: strings.Join(args, "")})
				switch {
				case err != nil:
					return err
				case o.asJSON:
					return writeJSON(m.Out, r)
				}
				m.printVersion(m.Out, r.GetVersion())
				return nil
			})
		},
	}
}

// printVersion writes a saved plan and what it is worth.
func (m *Main) printVersion(w io.Writer, v *pb.PlanVersion) {
	fmt.Fprintf(w, "Plan %s, %s, saved %s by %s\n", v.GetPlanId(), standingText(v.GetStanding()), v.GetSavedAt().AsTime().Local().Format("2006-01-02 15:04"), v.GetPerson())
	if a := v.GetApproval(); a != nil {
		fmt.Fprintf(w, "Approved %s by %s", a.GetApprovedAt().AsTime().Local().Format("2006-01-02 15:04"), a.GetPerson())
		if a.GetReason() != "" {
			fmt.Fprintf(w, ", although not all is verified: %s", a.GetReason())
		}
		fmt.Fprintln(w)
	}
	if changed := v.GetChangedSince(); len(changed) > 0 {
		fmt.Fprintf(w, "Out of date: %s changed since. Plan again.\n", strings.Join(changed, ", "))
	}
	fmt.Fprintln(w)
	m.printPlan(w, v.GetPlan())
	if len(v.GetUnverified()) > 0 {
		fmt.Fprintln(w, "\nNot verified, and safety hangs on it:")
		for _, l := range v.GetUnverified() {
			fmt.Fprintf(w, " - %s\n", m.units.words(l.GetTextTemplate(), l.GetText()))
		}
	}
}

func (m *Main) compareCommand(o *officeFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "compare --server HOST:PORT --pond NAME BEFORE [AFTER]",
		Short: "What changed from one saved plan to another, or to the newest",
		Args:  cobra.RangeArgs(1, 2),
		RunE: func(c *cobra.Command, args []string) error {
			return o.call(c.Context(), func(conn *grpc.ClientConn, pond []byte) error {
				r, err := pb.NewPlanServiceClient(conn).ComparePlans(c.Context(), &pb.ComparePlansRequest{PondId: pond, Before: args[0], After: strings.Join(args[1:], "")})
				switch {
				case err != nil:
					return err
				case o.asJSON:
					return writeJSON(m.Out, r)
				}
				m.printComparison(m.Out, r)
				return nil
			})
		},
	}
}

func (m *Main) printComparison(w io.Writer, r *pb.ComparePlansResponse) {
	fmt.Fprintf(w, "From %s to %s\n", r.GetBefore().GetPlanId(), r.GetAfter().GetPlanId())
	if len(r.GetInputs()) > 0 {
		fmt.Fprintf(w, "Made from other: %s\n", strings.Join(r.GetInputs(), ", "))
	}
	u := m.units
	for _, s := range r.GetSites() {
		switch {
		case s.GetBefore() == "":
			fmt.Fprintf(w, "%s is new: %s of hose\n", s.GetAfter(), u.distance(unit.Meters(s.GetMoreHoseM())))
		case s.GetAfter() == "":
			fmt.Fprintf(w, "%s is gone\n", s.GetBefore())
		default:
			fmt.Fprintf(w, "%s, now %s: moved %s, %s, %s of hose, %s of air\n", s.GetBefore(), s.GetAfter(), u.distance(unit.Meters(s.GetMovedM())),
				signed(s.GetDeeperM(), "deeper", "shallower", func(v float64) string { return u.length(unit.Meters(v)) }),
				signed(s.GetMoreHoseM(), "more", "less", func(v float64) string { return u.distance(unit.Meters(v)) }),
				signed(s.GetMoreAirM3PerS(), "more", "less", func(v float64) string { return u.air(unit.StdCubicMetersPerSecond(v)) }))
		}
	}
	for _, f := range r.GetFigures() {
		fmt.Fprintf(w, "%s: %.4g, was %.4g\n", f.GetName(), f.GetAfter(), f.GetBefore())
	}
	for _, l := range r.GetNewlyUnverified() {
		fmt.Fprintf(w, "No longer verified: %s\n", m.units.words(l.GetTextTemplate(), l.GetText()))
	}
	if len(r.GetSites())+len(r.GetFigures())+len(r.GetInputs()) == 0 {
		fmt.Fprintln(w, "Nothing differs.")
	}
}

// signed says a difference in words.
func signed(v float64, more, less string, text func(float64) string) string {
	if v < 0 {
		more = less
	}
	return text(math.Abs(v)) + " " + more
}

func (m *Main) approveCommand(o *officeFlags) *cobra.Command {
	var by, reason string
	c := &cobra.Command{
		Use:   "approve --server HOST:PORT --pond NAME --by NAME PLAN",
		Short: "Say that a saved plan may be built",
		Long:  "Say that a saved plan may be built. Where lines on which safety hangs are not verified,\nor something has changed since it was made, it needs a reason, which is kept for ever.",
		Args:  cobra.ExactArgs(1),
		RunE:  func(c *cobra.Command, args []string) error { return m.approve(c, o, args[0], by, reason) },
	}
	c.Flags().StringVar(&by, "by", "", "who approves")
	c.Flags().StringVar(&reason, "reason", "", "why it may be built although not all is verified")
	require(c, "by")
	return c
}

func (m *Main) withdrawCommand(o *officeFlags) *cobra.Command {
	var by, reason string
	c := &cobra.Command{
		Use:   "withdraw --server HOST:PORT --pond NAME --by NAME",
		Short: "Say that no plan of the pond may be built any more",
		Args:  cobra.NoArgs,
		RunE:  func(c *cobra.Command, _ []string) error { return m.approve(c, o, "", by, reason) },
	}
	c.Flags().StringVar(&by, "by", "", "who withdraws it")
	c.Flags().StringVar(&reason, "reason", "", "why")
	require(c, "by")
	return c
}

// approve puts a plan, or none, in the place of the one that is approved now.
func (m *Main) approve(c *cobra.Command, o *officeFlags, plan, by, reason string) error {
	return o.call(c.Context(), func(conn *grpc.ClientConn, pond []byte) error {
		service := pb.NewPlanServiceClient(conn)
		list, err := service.ListPlans(c.Context(), &pb.ListPlansRequest{PondId: pond})
		if err != nil {
			return err
		}
		r, err := service.ApprovePlan(c.Context(), &pb.ApprovePlanRequest{PondId: pond, PlanId: plan, KnownApprovalId: list.GetApprovalId(), Person: by, Reason: reason})
		switch {
		case err != nil:
			return err
		case o.asJSON:
			return writeJSON(m.Out, r)
		case plan == "":
			fmt.Fprintln(m.Out, "no plan is approved any more")
		default:
			fmt.Fprintf(m.Out, "%s is approved\n", plan)
		}
		return nil
	})
}
