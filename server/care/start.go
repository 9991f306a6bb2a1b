package care

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"google.golang.org/grpc/codes"

	"pondwright/calc/unit"
	"pondwright/geo/plan"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/survey"
)

var (
	errNoPlan    = errors.New("no plan was saved: there is nothing to start")
	errPast      = errors.New("the first run lies in the past")
	errNoProfile = errors.New("measure first: there is no profile of the water")
)

// OxygenRisk says what the pond would hold if it turned over tonight.
func (s *Service) OxygenRisk(ctx context.Context, req *pb.OxygenRiskRequest) (*pb.OxygenRiskResponse, error) {
	p, err := s.read(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	m := p.startProfile(s.now())
	if m == nil {
		return nil, &survey.Refusal{Code: codes.FailedPrecondition, Reason: pb.Reason_REASON_INPUT_MISSING, Field: "profile",
			Remedy: "read temperature and oxygen every half meter at the deepest point, at dawn", Err: errNoProfile}
	}
	in, err := p.start(m, s.now())
	if err != nil {
		return nil, err
	}
	// Who stops it and what fish bear is asked for a start only.
	in.Stops, in.Fish = true, plan.Fish{}
	d, err := plan.DecideStart(in)
	if err != nil {
		return nil, err
	}
	out := risk(m, in, d)
	for _, o := range d.Objections {
		switch o.Code {
		case plan.CodeLowOxygen, plan.CodeNothingToSpend, plan.CodeShallowJets, plan.CodeUndecided:
			continue // not doubts of the measurement
		}
		out.Doubts = append(out.Doubts, objection(o))
	}
	return out, nil
}

// start is a start of a pond as far as the pond itself goes: without plan and
// people.
func (p *pond) start(m *pb.Profile, now time.Time) (plan.StartInput, error) {
	low, high := p.doubt()
	in := plan.StartInput{
		Now: now, First: p.local(now), Where: p.where, Low: low, High: high, Deepest: p.Report.MaxDepth.Value,
		Air: unit.StandardPressure, Undecided: p.Inputs.Undecided,
		Fish: plan.Fish{ColdWater: slices.Contains(p.uses, pb.PondUse_POND_USE_COLD_WATER_FISH)},
	}
	down := unit.Meters(0)
	if m != nil {
		down = p.drawdown(m.WaterLevelM)
		profile, err := profileOf(m)
		if err != nil {
			return in, err
		}
		in.Profile = profile
		in.Seen = plan.Sighting{
			Taken: m.GetTakenAt().AsTime(), Dawn: m.GetTimeOfDay() == pb.TimeOfDay_TIME_OF_DAY_DAWN, Bottom: unit.Meters(m.GetBottomDepthM()),
			SmellAsked: m.GetBottomSmell() != pb.BottomSmell_BOTTOM_SMELL_UNSPECIFIED, RottenEggs: p.smelled(now),
		}
		if m.DemandMgPerL != nil {
			in.Seen.Demand = new(unit.MilligramsPerLiter(m.GetDemandMgPerL()))
		}
	}
	in.Deepest = max(0.1, in.Deepest-down)
	var err error
	in.Curve, err = p.hypsograph(down)
	return in, err
}

// StartUp lays out a first start, or says why it must not be.
func (s *Service) StartUp(ctx context.Context, req *pb.StartUpRequest) (*pb.StartUpResponse, error) {
	p, err := s.read(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	v, err := s.plan(ctx, p)
	if err != nil {
		return nil, err
	}
	if v == nil {
		return nil, &survey.Refusal{Code: codes.FailedPrecondition, Reason: pb.Reason_REASON_PLAN_NOT_FOUND, Field: "plan", Remedy: "plan and save it first", Err: errNoPlan}
	}
	now := s.now()
	m := p.startProfile(now)
	in, err := p.start(m, now)
	if err != nil {
		return nil, err
	}
	if err := p.addPlan(&in, req, v, m); err != nil {
		return nil, err
	}
	d, err := plan.DecideStart(in)
	if err != nil {
		return nil, err
	}
	out := startMessage(d)
	if d.Layers.Upper.Volume > 0 {
		out.Risk = risk(m, in, d)
	}
	v.Plan = nil
	out.Plan = v
	if v.GetStanding() != pb.PlanStanding_PLAN_STANDING_APPROVED {
		out.Cautions = append(out.Cautions, &pb.Caution{Code: "PLAN_NOT_APPROVED", Text: fmt.Sprintf("DRAFT: plan %s is not approved.", v.GetPlanId())})
	}
	out.LastRunAt, out.NewStart = p.rest(now)
	return out, nil
}

// addPlan adds to a start what the plan and the request say.
func (p *pond) addPlan(in *plan.StartInput, req *pb.StartUpRequest, v *pb.PlanVersion, m *pb.Profile) error {
	in.Stops, in.Person = req.GetTimer(), req.GetPerson()
	in.Direct, in.Lockout = drive(req, v.GetPlan())
	in.RunHours = v.GetPlan().GetRunHoursPerDay()
	if req.RunHoursPerDay != nil {
		in.RunHours = req.GetRunHoursPerDay()
	}
	if req.WarmestSurfaceC != nil {
		in.Warmest = unit.Celsius(req.GetWarmestSurfaceC())
	}
	if req.FishLimitC != nil {
		in.Fish.Limit = unit.Celsius(req.GetFishLimitC())
	}
	in.First = p.local(in.Now).AddDate(0, 0, 1)
	if req.GetFirstDay() != "" {
		day, err := time.Parse("2006-01-02", req.GetFirstDay())
		if err != nil {
			return &survey.Refusal{Code: codes.InvalidArgument, Reason: pb.Reason_REASON_FIELD_INVALID, Field: "first_day", Remedy: "write it as 2026-06-09", Err: err}
		}
		if today := p.local(in.Now).Format(dayFormat); req.GetFirstDay() < today {
			return &survey.Refusal{Code: codes.InvalidArgument, Reason: pb.Reason_REASON_FIELD_INVALID, Field: "first_day", Remedy: "give today or a later day", Err: errPast}
		}
		in.First = day
	}
	if air := unit.Pascals(v.GetPlan().GetSitePressurePaAbs()); air > 0 {
		in.Air = air
	}
	in.Jets = p.jets(v.GetPlan(), p.drawdown(levelOf(m)))
	return nil
}

// jets are a plan's diffusers under the water of a day, those set elsewhere at the
// depth at which they were set.
func (p *pond) jets(m *pb.Plan, down unit.Meters) []plan.Jet {
	var out []plan.Jet
	for _, d := range m.GetDiffusers() {
		j := plan.Jet{Label: d.GetLabel(), Submergence: unit.Meters(d.GetSubmergenceM()) - down, Air: unit.StdCubicMetersPerSecond(d.GetAirflowM3PerS())}
		for _, b := range p.built {
			if b.GetLabel() == d.GetLabel() && b.DepthM != nil {
				j.Submergence += p.builtDepth(b) - unit.Meters(d.GetDepthM())
			}
		}
		if j.Submergence > 0 {
			out = append(out, j)
		}
	}
	return out
}

// builtDepth is the depth of a diffuser as built, at the level of the shoreline.
func (p *pond) builtDepth(b *pb.AsBuilt) unit.Meters {
	return unit.Meters(b.GetDepthM()) + p.drawdown(b.WaterLevelM)
}

// levelOf is the water level of a profile, nil if there is none.
func levelOf(m *pb.Profile) *float64 {
	if m == nil {
		return nil
	}
	return m.WaterLevelM
}

// drive tells whether panels drive the machines without a battery, and whether
// something keeps them from starting again by themselves: as the request says, or else
// as planned. What nobody said is taken on the safe side.
func drive(req *pb.StartUpRequest, m *pb.Plan) (direct, lockout bool) {
	direct, lockout = req.GetDirectDrive() != pb.Told_TOLD_NO, req.GetLockout()
	source := m.GetSupply().GetSource()
	if req.GetDirectDrive() == pb.Told_TOLD_UNSPECIFIED && source != pb.PowerSource_POWER_SOURCE_UNSPECIFIED {
		direct = source == pb.PowerSource_POWER_SOURCE_SUN_DIRECT
	}
	if source == pb.PowerSource_POWER_SOURCE_SUN_DIRECT {
		planned := !slices.ContainsFunc(m.GetRefusals(), func(r *pb.Refusal) bool { return r.GetCode() == plan.CodeRestart })
		lockout = lockout || planned
	}
	return direct, lockout
}
