package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"pondwright/calc/unit"
	pb "pondwright/proto/pondwright/v1"
)

func (m *Main) reviewCommand(o *officeFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "review --server HOST:PORT --pond NAME",
		Short: "How the equipment has done: gauges, places as built, and whether the pond rolled over",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return o.call(c.Context(), func(conn *grpc.ClientConn, pond []byte) error {
				r, err := pb.NewCareServiceClient(conn).Review(c.Context(), &pb.ReviewRequest{PondId: pond})
				switch {
				case err != nil:
					return err
				case o.asJSON:
					return writeJSON(m.Out, r)
				}
				m.printReview(m.Out, r)
				return nil
			})
		},
	}
}

func (m *Main) printReview(w io.Writer, r *pb.ReviewResponse) {
	u := m.units
	if r.GetNewStart() {
		fmt.Fprintln(w, "Treat the next switching-on as a first start: see 'pondwright care start'.")
	}
	if r.GetLastRunAt() != nil {
		fmt.Fprintf(w, "Last seen running %s.\n", r.GetLastRunAt().AsTime().Local().Format("2006-01-02 15:04"))
	}
	for _, t := range r.GetTrends() {
		text := func(v float64) string {
			if t.GetQuantity() == "current_a" {
				return fmt.Sprintf("%.2f A", v)
			}
			return u.gauge(unit.PascalsGauge(v))
		}
		name := map[string]string{"pressure_pa_gauge": "Pressure", "current_a": "Current"}[t.GetQuantity()]
		fmt.Fprintf(w, "%s%s: %s, %s at commissioning; a change within ±%s is scatter; %d readings\n",
			ofStation(t.GetStation()), name, text(t.GetNow()), text(t.GetNormal()), text(t.GetBand()), len(t.GetPoints()))
		if e := t.GetExpected(); e != nil {
			fmt.Fprintf(w, "   by the plan %s with clean diffusers, %s with fouled ones\n", text(e.GetLow()), text(e.GetHigh()))
		}
		if t.GetLimit() > 0 {
			fmt.Fprintf(w, "   the relief valve lifts at %s\n", text(t.GetLimit()))
		}
	}
	for _, f := range r.GetFindings() {
		fmt.Fprintf(w, " - %s%s %s\n", ofStation(f.GetStation()), f.GetText(), f.GetTodo())
	}
	if len(r.GetFindings()) == 0 {
		fmt.Fprintln(w, "Nothing has changed since commissioning.")
	}
	if len(r.GetBuilt()) > 0 {
		fmt.Fprintln(w, "\nAs built:")
	}
	for _, b := range r.GetBuilt() {
		verdict := m.units.words(b.GetVerdictTemplate(), b.GetVerdict())
		if verdict == "" {
			verdict = "as planned"
		}
		fmt.Fprintf(w, " - %s: %s from its place, %s\n", b.GetLabel(), u.distance(unit.Meters(b.GetDistanceM())), verdict)
	}
	if o := r.GetRollover(); o != nil {
		say := map[pb.RolloverState]string{
			pb.RolloverState_ROLLOVER_STATE_DONE: "The pond has rolled over.", pb.RolloverState_ROLLOVER_STATE_WARM_BUT_DEAD: "The pond is of one temperature, and its bottom holds little oxygen.",
			pb.RolloverState_ROLLOVER_STATE_PARTLY: "The pond has partly rolled over.", pb.RolloverState_ROLLOVER_STATE_LAYERED: "The pond lies in layers.",
		}[o.GetState()]
		fmt.Fprintf(w, "\n%s %.0f %% of the stability is left after %.0f h of running; %.0f h were predicted to take four fifths.\n",
			say, 100*o.GetStabilityLeftShare(), o.GetRanS()/3600, o.GetPredictedS()/3600)
		for _, x := range o.GetTodo() {
			fmt.Fprintf(w, " - %s\n", x)
		}
	}
}

// ofStation opens a line about one of several stations.
func ofStation(name string) string {
	if name == "" {
		return ""
	}
	return "Station " + name + ": "
}

func (m *Main) doseCommand(o *officeFlags) *cobra.Command {
	var basis, agent string
	var off yesNo
	req := &pb.TreatmentRequest{}
	c := &cobra.Command{
		Use:   "dose --server HOST:PORT --pond NAME --level MG_PER_L --basis product|active --strength SHARE",
		Short: "A quantity from the label's figures and the low end of the measured volume",
		Long:  "A quantity from the figures that the licensed person reads off the label, and the low end\nof the measured volume. It proposes no product and no rate: the label is the law.",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			var ok bool
			if req.Basis, ok = map[string]pb.LevelBasis{"product": pb.LevelBasis_LEVEL_BASIS_PRODUCT, "active": pb.LevelBasis_LEVEL_BASIS_ACTIVE}[basis]; !ok {
				return usagef("--basis: write product or active")
			}
			if req.Agent, ok = map[string]pb.TreatmentAgent{"other": pb.TreatmentAgent_TREATMENT_AGENT_UNSPECIFIED, "copper": pb.TreatmentAgent_TREATMENT_AGENT_COPPER,
				"rotenone": pb.TreatmentAgent_TREATMENT_AGENT_ROTENONE}[agent]; !ok {
				return usagef("--agent: write copper, rotenone or other")
			}
			req.AeratorOff = off.told
			return o.call(c.Context(), func(conn *grpc.ClientConn, pond []byte) error {
				req.PondId = pond
				r, err := pb.NewCareServiceClient(conn).Treatment(c.Context(), req)
				switch {
				case err != nil:
					return err
				case o.asJSON:
					return writeJSON(m.Out, r)
				}
				u := m.units
				if r.GetProductKg() > 0 {
					fmt.Fprintf(m.Out, "Product: %s\n", u.mass(unit.Kilograms(r.GetProductKg())))
				}
				if r.GetLiquidM3() > 0 {
					fmt.Fprintf(m.Out, "Liquid: %.2f gal (%.2f L)\n", unit.CubicMeters(r.GetLiquidM3()).Gallons(), 1000*r.GetLiquidM3())
				}
				fmt.Fprintf(m.Out, "Active ingredient: %s, for %s: %s\n", u.mass(unit.Kilograms(r.GetActiveKg())), u.volume(unit.CubicMeters(r.GetVolumeM3())), r.GetVolumeEnd())
				printList(m.Out, "Cautions", r.GetCautions())
				return nil
			})
		},
	}
	f := c.Flags()
	f.Float64Var(&req.LevelMgPerL, "level", 0, "level that the label allows and the licensed person chose, mg/L")
	f.StringVar(&basis, "basis", "", "what the level counts: product or active")
	f.Float64Var(&req.LabelMaxMgPerL, "label-max", 0, "greatest level that the label allows, mg/L")
	f.Float64Var(&req.StrengthShare, "strength", 0, "active ingredient by mass, as a share: 0.05 for 5 %")
	f.Float64Var(&req.DensityKgPerM3, "density", 0, "density of a liquid, kg/m³")
	f.Float64Var(&req.ActiveKgPerM3, "active-by-volume", 0, "active ingredient by volume of liquid, kg/m³")
	f.StringVar(&agent, "agent", "other", "copper, rotenone or other")
	f.Float64Var(&req.AlkalinityMgPerL, "alkalinity", 0, "total alkalinity, mg/L as calcium carbonate; for copper")
	f.Float64Var(&req.PondShare, "share", 0, "share of the pond's water to treat (default all)")
	f.Var(&off, "aerator-off", "the aerator is off and stays off, or there is none")
	f.BoolVar(&req.Weedy, "weedy", false, "plants or algae fill much of the pond")
	require(c, "level", "basis")
	return c
}

func (m *Main) stockCommand(o *officeFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "stock --server HOST:PORT --pond NAME [TABLE]",
		Short: "A published stocking table for the low end of the measured area; without a name, the names",
		Args:  cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return o.call(c.Context(), func(conn *grpc.ClientConn, pond []byte) error {
				req := &pb.StockingRequest{PondId: pond}
				if len(args) > 0 {
					req.Scheme = args[0]
				}
				r, err := pb.NewCareServiceClient(conn).Stocking(c.Context(), req)
				switch {
				case err != nil:
					return err
				case o.asJSON:
					return writeJSON(m.Out, r)
				case len(args) == 0:
					for _, s := range r.GetSchemes() {
						fmt.Fprintln(m.Out, s)
					}
					return nil
				}
				for _, f := range r.GetFish() {
					fmt.Fprintf(m.Out, "%s: %d to %d %s\n", f.GetFish(), f.GetLow(), f.GetHigh(), f.GetSize())
				}
				fmt.Fprintf(m.Out, "For %s, the low end; condition: %s (%s)\n", m.units.area(unit.SquareMeters(r.GetAreaM2())), r.GetCondition(), r.GetSource())
				printList(m.Out, "Cautions", r.GetCautions())
				return nil
			})
		},
	}
}
