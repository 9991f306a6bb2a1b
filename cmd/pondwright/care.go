package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"pondwright/calc/unit"
	pb "pondwright/proto/pondwright/v1"
)

func (m *Main) careCommand() *cobra.Command {
	var o officeFlags
	c := &cobra.Command{
		Use:   "care",
		Short: "What may be done to a pond, and when: oxygen, first start, winter, how it has done, quantities",
		Args:  cobra.NoArgs,
		RunE:  func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	o.flags(c)
	c.AddCommand(failing(m.oxygenCommand(&o)), failing(m.startCommand(&o)), failing(m.winterCommand(&o)), failing(m.reviewCommand(&o)),
		failing(m.doseCommand(&o)), failing(m.stockCommand(&o)))
	return c
}

// yesNo is a flag that knows "not told".
type yesNo struct{ told pb.Told }

func (y *yesNo) String() string { return strings.ToLower(strings.TrimPrefix(y.told.String(), "TOLD_")) }

func (y *yesNo) Type() string { return "yes|no" }

func (y *yesNo) Set(text string) error {
	switch text {
	case "yes":
		y.told = pb.Told_TOLD_YES
	case "no":
		y.told = pb.Told_TOLD_NO
	default:
		return fmt.Errorf("%q is neither yes nor no", text)
	}
	return nil
}

func (m *Main) oxygenCommand(o *officeFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "oxygen --server HOST:PORT --pond NAME",
		Short: "What the pond would hold if it turned over tonight",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return o.call(c.Context(), func(conn *grpc.ClientConn, pond []byte) error {
				r, err := pb.NewCareServiceClient(conn).OxygenRisk(c.Context(), &pb.OxygenRiskRequest{PondId: pond})
				switch {
				case err != nil:
					return err
				case o.asJSON:
					return writeJSON(m.Out, r)
				}
				m.printRisk(m.Out, r)
				m.printObjections(m.Out, "Doubtful", r.GetDoubts())
				return nil
			})
		},
	}
}

func (m *Main) printRisk(w io.Writer, r *pb.OxygenRiskResponse) {
	if r.GetBad() == nil {
		fmt.Fprintln(w, "Oxygen after mixing cannot be told: the profile has no oxygen.")
		return
	}
	u := m.units
	say := map[pb.OxygenGate]string{
		pb.OxygenGate_OXYGEN_GATE_STOP: "stop: fish would be in danger", pb.OxygenGate_OXYGEN_GATE_RAMP: "a little bottom water each day, no more",
		pb.OxygenGate_OXYGEN_GATE_GO: "enough for a start",
	}[r.GetGate()]
	fmt.Fprintf(w, "If it turned over tonight: %.1f mg/L of oxygen at the bad ends, %.1f as measured, %s. That is %s.\n",
		r.GetBad().GetOxygenMgPerL(), r.GetExpected().GetOxygenMgPerL(), ofTemperature.print(float64(unit.Celsius(r.GetExpected().GetWaterTempC())), u), say)
	if r.GetThermoclineM() > 0 {
		fmt.Fprintf(w, "The thermocline lies at %s: %s above it, %s below.\n", u.length(unit.Meters(r.GetThermoclineM())), u.volume(unit.CubicMeters(r.GetUpperM3())), u.volume(unit.CubicMeters(r.GetBottomM3())))
	}
	fmt.Fprintf(w, "By the profile of %s.\n", r.GetProfileTakenAt().AsTime().Local().Format("2006-01-02 15:04"))
	for _, a := range r.GetAssumptions() {
		mark := " "
		if a.GetIsDefault() {
			mark = "*"
		}
		fmt.Fprintf(w, " %s %s: %s (%s)\n", mark, a.GetName(), u.words(a.GetValueTemplate(), a.GetValue()), a.GetSource())
	}
}

func (m *Main) printObjections(w io.Writer, title string, list []*pb.Objection) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s:\n", title)
	for _, x := range list {
		fmt.Fprintf(w, " - %s; %s\n", m.units.words(x.GetTextTemplate(), x.GetText()), x.GetRemedy())
	}
}

func printList(w io.Writer, title string, list []string) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s:\n", title)
	for _, x := range list {
		fmt.Fprintf(w, " - %s\n", x)
	}
}

func (m *Main) cautionTexts(list []*pb.Caution) (out []string) {
	for _, c := range list {
		out = append(out, m.units.words(c.GetTextTemplate(), c.GetText()))
	}
	return out
}

// notNowError says that a first start was asked for and must not be made.
type notNowError struct{ objections []*pb.Objection }

func (e *notNowError) Error() string {
	var out []string
	for _, o := range e.objections {
		out = append(out, o.GetText())
	}
	return "no start by days: " + strings.Join(out, "; ")
}

func (m *Main) startCommand(o *officeFlags) *cobra.Command {
	var start startFlags
	c := &cobra.Command{
		Use:   "start --server HOST:PORT --pond NAME (--timer | --person NAME) --direct yes|no",
		Short: "The first start, day by day, or why not",
		Long: "The first start of the approved plan, or else the newest, day by day with what oxygen to\n" +
			"expect and when to stop, or why it must not be made. It needs a profile of at most three\n" +
			"days, at the deepest point down to the bottom, read at dawn, and somebody or something\n" +
			"that stops the air.",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			req, err := start.request(c, m)
			if err != nil {
				return err
			}
			return o.call(c.Context(), func(conn *grpc.ClientConn, pond []byte) error {
				req.PondId = pond
				r, err := pb.NewCareServiceClient(conn).StartUp(c.Context(), req)
				if err != nil {
					return err
				}
				if o.asJSON {
					err = writeJSON(m.Out, r)
				} else {
					m.printStart(m.Out, r)
				}
				if err == nil && r.GetWay() == pb.StartWay_START_WAY_NOT_NOW {
					err = &notNowError{r.GetObjections()}
				}
				return err
			})
		},
	}
	start.flags(c)
	return c
}

// startFlags are what a first start is laid out from.
type startFlags struct {
	req           pb.StartUpRequest
	direct        yesNo
	hours         float64
	warmest, fish string
}

func (s *startFlags) flags(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&s.req.FirstDay, "first", "", "day of the first run, as 2026-06-09 (default tomorrow)")
	f.BoolVar(&s.req.Timer, "timer", false, "a timer ends each run by itself")
	f.StringVar(&s.req.Person, "person", "", "who switches off each day")
	f.Var(&s.direct, "direct", "panels drive the machines without a battery (not told counts as yes)")
	f.BoolVar(&s.req.Lockout, "lockout", false, "after a stop a person has to reset it before it runs again")
	f.Float64Var(&s.hours, "hours", 0, "hours of running a day that the power gives (default the plan's)")
	f.StringVar(&s.warmest, "warmest", "", "warmest surface for a new start, as 82F or 28C (default 28C)")
	f.StringVar(&s.fish, "fish-limit", "", "temperature that the pond's cold-water fish bear, as 68F or 20C")
}

// request returns what the flags ask for, of no pond yet.
func (s *startFlags) request(c *cobra.Command, m *Main) (*pb.StartUpRequest, error) {
	s.req.DirectDrive = s.direct.told
	if c.Flags().Changed("hours") {
		s.req.RunHoursPerDay = &s.hours
	}
	var err error
	if s.req.WarmestSurfaceC, err = m.temperature("--warmest", s.warmest); err != nil {
		return nil, err
	}
	s.req.FishLimitC, err = m.temperature("--fish-limit", s.fish)
	return &s.req, err
}

// temperature reads a flag in °C, nil where it was not given.
func (m *Main) temperature(flag, text string) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	k, err := ofTemperature.parse(text, m.units)
	if err != nil || math.IsNaN(k) {
		return nil, usagef("%s: %w", flag, &quantityError{text, "is no temperature; write it as 68F or 20C"})
	}
	return new(unit.Kelvin(k).Celsius()), nil
}

func (m *Main) printStart(w io.Writer, r *pb.StartUpResponse) {
	u := m.units
	switch r.GetWay() {
	case pb.StartWay_START_WAY_AT_ONCE:
		fmt.Fprintln(w, "Oxygen permits a start at once; read it at the next dawn all the same.")
	case pb.StartWay_START_WAY_BY_DAYS:
		fmt.Fprintf(w, "A start in %d days.\n", len(r.GetDays()))
	case pb.StartWay_START_WAY_LOWER_BY_STEPS:
		fmt.Fprintln(w, "No start by days. The diffusers may be hung shallow and lowered in steps.")
	case pb.StartWay_START_WAY_NOT_NOW, pb.StartWay_START_WAY_UNSPECIFIED:
		fmt.Fprintln(w, "No start now.")
	}
	fmt.Fprintf(w, "For plan %s, %s.\n", r.GetPlan().GetPlanId(), standingText(r.GetPlan().GetStanding()))
	if !r.GetNewStart() && r.GetLastRunAt() != nil {
		fmt.Fprintf(w, "It was seen running %s: this is no first start.\n", r.GetLastRunAt().AsTime().Local().Format("2006-01-02 15:04"))
	}
	m.printObjections(w, "What stands against it", r.GetObjections())
	if r.GetRisk() != nil {
		fmt.Fprintln(w)
		m.printRisk(w, r.GetRisk())
	}
	if len(r.GetDays()) > 0 {
		fmt.Fprintf(w, "\n%-12s %10s %18s %12s %12s\n", "day", "run", "expected at dawn", "stop under", "abort under")
		for _, d := range r.GetDays() {
			run := time.Duration(d.GetRunS() * float64(time.Second)).Truncate(time.Minute)
			fmt.Fprintf(w, "%-12s %4d h %2d m %13.1f mg/L %7.0f mg/L %7.0f mg/L\n", d.GetDay(), int(run.Hours()), int(run.Minutes())%60,
				d.GetExpectedMgPerL(), d.GetStopMgPerL(), d.GetAbortMgPerL())
		}
	}
	if len(r.GetSteps()) > 0 {
		fmt.Fprintf(w, "\n%-12s %10s %18s\n", "from", "hang at", "oxygen then")
		for _, s := range r.GetSteps() {
			fmt.Fprintf(w, "%-12s %10s %13.1f mg/L\n", s.GetDay(), u.length(unit.Meters(s.GetDepthM())), s.GetExpectedMgPerL())
		}
	}
	if len(r.GetVisits()) > 0 {
		fmt.Fprintln(w, "\nSomebody has to be there:")
		for _, v := range r.GetVisits() {
			who := v.GetPerson()
			if who != "" {
				who = ", " + who
			}
			fmt.Fprintf(w, " - %s%s: %s\n", v.GetDay(), who, m.units.words(v.GetWhatTemplate(), v.GetWhat()))
		}
	}
	printList(w, "Every day", r.GetRules())
	printList(w, "In its place", r.GetInstead())
	printList(w, "Cautions", m.cautionTexts(r.GetCautions()))
}

func (m *Main) winterCommand(o *officeFlags) *cobra.Command {
	var ice, direct, permit, signs, inspection, traffic yesNo
	var wanted bool
	c := &cobra.Command{
		Use:   "winter --server HOST:PORT --pond NAME [--run --ice yes|no …]",
		Short: "Whether the air may run in winter, and what to do",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return o.call(c.Context(), func(conn *grpc.ClientConn, pond []byte) error {
				r, err := pb.NewCareServiceClient(conn).Winter(c.Context(), &pb.WinterRequest{
					PondId: pond, Wanted: wanted, Ice: ice.told, DirectDrive: direct.told, Permit: permit.told, Signs: signs.told, Inspection: inspection.told, Traffic: traffic.told})
				switch {
				case err != nil:
					return err
				case o.asJSON:
					return writeJSON(m.Out, r)
				case r.GetRun():
					fmt.Fprintln(m.Out, "It may run.")
				default:
					fmt.Fprintln(m.Out, "Off and drained.")
				}
				m.printObjections(m.Out, "What stands against running", r.GetObjections())
				printList(m.Out, "To do", r.GetTodo())
				printList(m.Out, "Cautions", m.cautionTexts(r.GetCautions()))
				return nil
			})
		},
	}
	f := c.Flags()
	f.BoolVar(&wanted, "run", false, "somebody wants to run it")
	f.Var(&ice, "ice", "the pond may freeze over")
	f.Var(&direct, "direct", "panels drive the machines without a battery (not told counts as yes)")
	f.Var(&permit, "permit", "the permit for open water in ice is there, or none is asked for")
	f.Var(&signs, "signs", "warning signs stand at every access and round the open water")
	f.Var(&inspection, "inspection", "somebody inspects at least every seven days")
	f.Var(&traffic, "traffic", "people or vehicles go on the ice")
	return c
}
