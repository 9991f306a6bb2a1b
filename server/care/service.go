// Package care answers what may be done to a pond and when: what oxygen would be
// left if it turned over, how its air is first switched on, whether it may run in
// winter, how the equipment has done, and quantities for treatment and stocking.
//
// It reads the measured pond, the plan in force and the records of people at the
// pond, and calls the pure rooms. It decides nothing itself.
package care

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/golang/geo/s2"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	"pondwright/calc/unit"
	"pondwright/calc/water"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/access"
	"pondwright/server/state"
	"pondwright/server/survey"
)

// Ponds measures ponds.
type Ponds interface {
	Measured(ctx context.Context, id block.ID, progress func(share float64) bool) (*survey.Pond, error)
}

// Plans reads saved plans.
type Plans interface {
	GetPlan(ctx context.Context, req *pb.GetPlanRequest) (*pb.GetPlanResponse, error)
}

// State is where records are read.
type State interface {
	WaitCurrent(ctx context.Context) error
	Things(ctx context.Context, tenant string, pond block.ID) ([]state.Thing, error)
}

// Service is the care service. It is safe for concurrent use.
type Service struct {
	pb.UnimplementedCareServiceServer

	ponds Ponds
	plans Plans
	state State
	now   func() time.Time
}

// NewService returns a service over measured ponds, saved plans and records. Now is
// the wall clock.
func NewService(ponds Ponds, plans Plans, st State, now func() time.Time) *Service {
	return &Service{ponds: ponds, plans: plans, state: st, now: now}
}

// Register makes the service answer on reg.
func (s *Service) Register(reg grpc.ServiceRegistrar) { pb.RegisterCareServiceServer(reg, s) }

// pond is a pond with what people wrote down about its life.
type pond struct {
	*survey.Pond
	id       []byte
	uses     []pb.PondUse
	where    s2.LatLng
	profiles []*pb.Profile // in order of time
	readings []*pb.Reading
	services []*pb.Service
	built    []*pb.AsBuilt // the newest of each label
}

// read gathers a pond that the caller may see.
func (s *Service) read(ctx context.Context, pondID []byte) (*pond, error) {
	id, err := block.IDFromBytes(pondID)
	if err != nil {
		return nil, fmt.Errorf("pond_id: %w", err)
	}
	measured, err := s.ponds.Measured(ctx, id, nil)
	if err != nil {
		return nil, err
	}
	tenant := access.Local().Tenant
	if who, ok := access.From(ctx); ok {
		tenant = who.Tenant
	}
	if err := s.state.WaitCurrent(ctx); err != nil {
		return nil, fmt.Errorf("wait for the state: %w", err)
	}
	things, err := s.state.Things(ctx, tenant, id)
	if err != nil {
		return nil, fmt.Errorf("records of the pond: %w", err)
	}
	out := &pond{Pond: measured, id: pondID, where: middle(measured)}
	for _, t := range things {
		if !t.Deleted {
			out.add(t.Message)
		}
	}
	slices.SortStableFunc(out.profiles, func(a, b *pb.Profile) int { return a.GetTakenAt().AsTime().Compare(b.GetTakenAt().AsTime()) })
	return out, nil
}

// middle is a place on the pond.
func middle(p *survey.Pond) s2.LatLng {
	rings := p.Input.Shore.Rings()
	return p.Input.Shore.Frame().ToLatLng(rings[0][0])
}

func (p *pond) add(r *pb.Record) {
	switch kind := r.GetKind().(type) {
	case *pb.Record_Pond:
		p.uses = kind.Pond.GetUses()
	case *pb.Record_Profile:
		p.profiles = append(p.profiles, kind.Profile)
	case *pb.Record_Reading:
		p.readings = append(p.readings, kind.Reading)
	case *pb.Record_Service:
		p.services = append(p.services, kind.Service)
	case *pb.Record_AsBuilt:
		p.built = slices.DeleteFunc(p.built, func(o *pb.AsBuilt) bool { return o.GetLabel() == kind.AsBuilt.GetLabel() })
		p.built = append(p.built, kind.AsBuilt)
	}
}

// errBadProfile says that a profile on record makes no sense.
var errBadProfile = errors.New("the profile on record cannot be used")

// profileOf returns a profile as the pure rooms take it.
func profileOf(m *pb.Profile) (water.Profile, error) {
	var rs []water.Reading
	for _, r := range m.GetReadings() {
		rs = append(rs, water.Reading{Depth: unit.Meters(r.GetDepthM()), Temperature: unit.Celsius(r.GetWaterTempC()),
			Oxygen: unit.MilligramsPerLiter(r.GetOxygenMgPerL()), NoOxygen: r.OxygenMgPerL == nil})
	}
	p, err := water.NewProfile(rs)
	if err != nil {
		return p, &survey.Refusal{Code: codes.FailedPrecondition, Reason: pb.Reason_REASON_FIELD_INVALID, Field: "profile",
			Remedy: "delete it, or take another", Err: fmt.Errorf("%w: %s: %w", errBadProfile, m.GetTakenAt().AsTime().Format("2006-01-02 15:04"), err)}
	}
	return p, nil
}

// recent is how far back a profile is looked for that may serve a start.
const recent = 72 * time.Hour

// startProfile returns the profile to decide a start on: the newest of the last
// days taken at dawn, or else the newest of all; nil if there is none.
func (p *pond) startProfile(now time.Time) *pb.Profile {
	for _, m := range slices.Backward(p.profiles) {
		if age := now.Sub(m.GetTakenAt().AsTime()); age >= 0 && age <= recent && m.GetTimeOfDay() == pb.TimeOfDay_TIME_OF_DAY_DAWN {
			return m
		}
	}
	if n := len(p.profiles); n > 0 {
		return p.profiles[n-1]
	}
	return nil
}

// smelled reports whether a profile of the last days met rotten eggs.
func (p *pond) smelled(now time.Time) bool {
	return slices.ContainsFunc(p.profiles, func(m *pb.Profile) bool {
		age := now.Sub(m.GetTakenAt().AsTime())
		return age <= recent && m.GetBottomSmell() == pb.BottomSmell_BOTTOM_SMELL_ROTTEN_EGGS
	})
}

// drawdown is how much lower the water stands than on the day of the shoreline, by a
// reading of its level; zero where either is not known.
func (p *pond) drawdown(levelM *float64) unit.Meters {
	if levelM == nil || p.Input.ShoreLevel == nil {
		return 0
	}
	return *p.Input.ShoreLevel - unit.Meters(*levelM)
}

// hypsograph is the pond's curve with the water drawn down, or up.
func (p *pond) hypsograph(down unit.Meters) (water.Hypsograph, error) {
	var levels []water.Level
	rows := p.Report.Curve
	for i, r := range rows {
		d := r.Drawdown - down
		switch {
		case d <= 1e-3 && i+1 < len(rows) && rows[i+1].Drawdown-down > 1e-3:
			levels = append(levels, water.Level{Depth: 0, Area: between(r.Area, rows[i+1].Area, -d/(rows[i+1].Drawdown-r.Drawdown))})
		case d > 1e-3:
			if len(levels) == 0 { // above the shoreline: its area, straight up
				levels = append(levels, water.Level{Depth: 0, Area: r.Area})
			}
			levels = append(levels, water.Level{Depth: d, Area: r.Area})
		}
	}
	return water.NewHypsograph(levels)
}

func between(a, b unit.SquareMeters, share unit.Meters) unit.SquareMeters {
	return a + unit.SquareMeters(min(1, max(0, float64(share))))*(b-a)
}

// doubt is the ends of the volume over its value.
func (p *pond) doubt() (low, high float64) {
	v := p.Report.Volume
	if !(v.Value > 0) {
		return 0.01, 100
	}
	return min(1, max(0.01, float64(v.Low/v.Value))), min(100, max(1, float64(v.High/v.Value)))
}

// ran are the times at which the equipment was seen running.
func (p *pond) ran() []time.Time {
	var out []time.Time
	for _, r := range p.readings {
		boils := slices.ContainsFunc(r.GetBoils(), func(b *pb.BoilReading) bool { return b.GetBoil() > 0 })
		if r.GetPressurePaGauge() > 0 || r.GetCurrentA() > 0 || boils {
			out = append(out, r.GetTakenAt().AsTime())
		}
	}
	for _, s := range p.services {
		if w := s.GetWork(); w == pb.ServiceWork_SERVICE_WORK_COMMISSIONED || w == pb.ServiceWork_SERVICE_WORK_SWITCHED_ON {
			out = append(out, s.GetDoneAt().AsTime())
		}
	}
	slices.SortFunc(out, time.Time.Compare)
	return out
}

// local is a time by the sun of the pond: good enough for calendar days.
func (p *pond) local(t time.Time) time.Time {
	return t.In(time.FixedZone("", int(p.where.Lng.Degrees()/15*3600)))
}

// plan returns the approved plan, or else the newest; nil if none was saved.
func (s *Service) plan(ctx context.Context, p *pond) (*pb.PlanVersion, error) {
	r, err := s.plans.GetPlan(ctx, &pb.GetPlanRequest{PondId: p.id})
	if refusal, ok := errors.AsType[*survey.Refusal](err); ok && refusal.Reason == pb.Reason_REASON_PLAN_NOT_FOUND {
		return nil, nil
	}
	return r.GetVersion(), err
}

// byLabel orders as plans do: D2 before D10.
func byLabel(a, b *pb.AsBuilt) int {
	return cmp.Or(cmp.Compare(len(a.GetLabel()), len(b.GetLabel())), cmp.Compare(a.GetLabel(), b.GetLabel()))
}
