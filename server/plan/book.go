package plan

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/access"
	"pondwright/server/state"
	"pondwright/server/survey"
)

// State is where saved plans are read.
type State interface {
	WaitCurrent(ctx context.Context) error
	Records(ctx context.Context, tenant string, pond block.ID) ([]state.Record, error)
}

// Pen is what saved plans are written with.
type Pen interface {
	Write(ctx context.Context, tenant string, pond block.ID, rec *pb.Record) error
	Seal(tenant string, pond, record block.ID, a *pb.PlanApproval)
	Sealed(tenant string, pond, record block.ID, a *pb.PlanApproval) bool
	NewID() (block.ID, error)
	Now() time.Time
}

// errPlanNotFound says that the pond has no such plan.
var errPlanNotFound = errors.New("the pond has no such plan")

// ErrNoPlans says that no plan of the pond was saved.
var ErrNoPlans = errors.New("no plan of this pond was saved yet")

// saved is a plan on record.
type saved struct {
	id        block.ID
	plan      *pb.Plan
	person    string
	at        time.Time // by the office's clock
	deleted   bool
	approvals []sealed // of it, in order
}

// sealed is an approval that this office made and that was not too late.
type sealed struct {
	id    block.ID
	words *pb.PlanApproval
}

// book is what is on record of a pond's plans.
type book struct {
	plans []saved // in the order in which the office stored them
	force sealed  // the approval in force; its words are nil if none is
}

// readBook reads a pond's plans and approvals in the order of the journal: of two
// approvals that take the place of the same one the first holds, and the other
// never did. A plan whose content is not what its id says is left out.
func (s *Service) readBook(ctx context.Context, tenant string, pond block.ID) (book, error) {
	if err := s.state.WaitCurrent(ctx); err != nil {
		return book{}, fmt.Errorf("wait for the state: %w", err)
	}
	records, err := s.state.Records(ctx, tenant, pond)
	if err != nil {
		return book{}, fmt.Errorf("records of the pond: %w", err)
	}
	var b book
	for _, r := range records {
		id, err := block.IDFromBytes(r.Message.GetRecordId())
		if err != nil {
			continue
		}
		switch kind := r.Message.GetKind().(type) {
		case *pb.Record_Plan:
			b.addPlan(id, kind.Plan, r)
		case *pb.Record_PlanApproval:
			if s.pen.Sealed(tenant, pond, id, kind.PlanApproval) {
				b.approve(sealed{id, kind.PlanApproval})
			}
		}
	}
	return b, nil
}

func (b *book) addPlan(id block.ID, p *pb.Plan, r state.Record) {
	if recordID(p) != id {
		return
	}
	if i := b.find(id); i >= 0 {
		b.plans[i].deleted = b.plans[i].deleted || r.Message.GetDeleted()
		return
	}
	b.plans = append(b.plans, saved{id: id, plan: p, person: r.Message.GetAuthor(), at: time.UnixMilli(r.ReceivedMs).UTC(), deleted: r.Message.GetDeleted()})
}

func (b *book) find(id block.ID) int {
	return slices.IndexFunc(b.plans, func(p saved) bool { return p.id == id })
}

// approve takes an approval if it takes the place of the one in force.
func (b *book) approve(a sealed) {
	replaces, err := block.IDFromBytes(a.words.GetReplaces())
	if err != nil || replaces != b.force.id || a.id == b.force.id {
		return
	}
	b.force = a
	if i := b.find(block.ID(padded(a.words.GetPlanRecordId()))); i >= 0 {
		b.plans[i].approvals = append(b.plans[i].approvals, a)
	}
}

// padded is an id's bytes, or 16 zeros.
func padded(id []byte) []byte {
	if len(id) != 16 {
		return make([]byte, 16)
	}
	return id
}

// listed are the plans to show: those that were approved stay, whoever deletes them.
func (b *book) listed() []saved {
	return slices.DeleteFunc(slices.Clone(b.plans), func(p saved) bool { return p.deleted && len(p.approvals) == 0 })
}

// plan returns the plan with a printed id; for an empty one the approved, or else
// the newest.
func (b *book) plan(printed string) (saved, error) {
	plans := b.listed()
	if len(plans) == 0 {
		return saved{}, notFound(ErrNoPlans, "save one first")
	}
	if printed == "" {
		for _, p := range plans {
			if b.standing(p) == pb.PlanStanding_PLAN_STANDING_APPROVED {
				return p, nil
			}
		}
		return plans[len(plans)-1], nil
	}
	for _, p := range plans {
		if strings.EqualFold(p.plan.GetPlanId(), printed) {
			return p, nil
		}
	}
	return saved{}, notFound(fmt.Errorf("%w: %s", errPlanNotFound, printed), "list the pond's plans")
}

func notFound(err error, remedy string) error {
	return &survey.Refusal{Code: codes.NotFound, Reason: pb.Reason_REASON_PLAN_NOT_FOUND, Field: "plan_id", Remedy: remedy, Err: err}
}

func (b *book) standing(p saved) pb.PlanStanding {
	switch {
	case b.force.words != nil && string(b.force.words.GetPlanRecordId()) == string(p.id[:]):
		return pb.PlanStanding_PLAN_STANDING_APPROVED
	case len(p.approvals) > 0:
		return pb.PlanStanding_PLAN_STANDING_REPLACED
	}
	return pb.PlanStanding_PLAN_STANDING_DRAFT
}

// version is a saved plan as it is sent, without its content. Now is what is on
// record at present.
func (b *book) version(p saved, now survey.Inputs) *pb.PlanVersion {
	v := &pb.PlanVersion{
		RecordId: p.id[:], PlanId: p.plan.GetPlanId(), SavedAt: timestamppb.New(p.at), Person: p.person, Standing: b.standing(p),
		ChangedSince: differences(p.plan.GetInputs(), now.Survey[:], now.Facts), Unverified: Unverified(p.plan),
		Diffusers: uint32(len(p.plan.GetDiffusers())), TurnoversPerDay: max(0, p.plan.GetTurnoversPerDay().GetValue()),
	}
	if n := len(p.approvals); n > 0 {
		v.Approval = p.approvals[n-1].words
	}
	return v
}

// callerOf returns who asks; the operator where nothing says so.
func callerOf(ctx context.Context) access.Caller {
	if who, ok := access.From(ctx); ok {
		return who
	}
	return access.Local()
}

// open reads the book and what is on record for a pond that the caller may see.
func (s *Service) open(ctx context.Context, pondID []byte) (access.Caller, block.ID, book, survey.Inputs, error) {
	who := callerOf(ctx)
	id, err := block.IDFromBytes(pondID)
	if err != nil {
		return who, id, book{}, survey.Inputs{}, fmt.Errorf("pond_id: %w", err)
	}
	now, err := s.ponds.Inputs(ctx, id)
	if err != nil {
		return who, id, book{}, now, err
	}
	b, err := s.readBook(ctx, who.Tenant, id)
	return who, id, b, now, err
}

// ListPlans lists a pond's saved plans.
func (s *Service) ListPlans(ctx context.Context, req *pb.ListPlansRequest) (*pb.ListPlansResponse, error) {
	_, _, b, now, err := s.open(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	out := &pb.ListPlansResponse{Undecided: now.Undecided}
	for _, p := range b.listed() {
		out.Plans = append(out.Plans, b.version(p, now))
	}
	if b.force.words != nil {
		out.ApprovalId = b.force.id[:]
		if len(b.force.words.GetPlanRecordId()) > 0 {
			out.Approval = b.force.words
		}
	}
	return out, nil
}

// GetPlan reads a saved plan.
func (s *Service) GetPlan(ctx context.Context, req *pb.GetPlanRequest) (*pb.GetPlanResponse, error) {
	_, _, b, now, err := s.open(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	p, err := b.plan(req.GetPlanId())
	if err != nil {
		return nil, err
	}
	v := b.version(p, now)
	v.Plan = proto.CloneOf(p.plan)
	return &pb.GetPlanResponse{Version: v}, nil
}
