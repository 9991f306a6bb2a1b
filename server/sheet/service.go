package sheet

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	"pondwright/calc/unit"
	"pondwright/geo/plan"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/survey"
)

// pieceBytes is how much of a paper one message carries.
const pieceBytes = 256 << 10

// Ponds measures the ponds that are drawn.
type Ponds interface {
	Measured(ctx context.Context, id block.ID, progress func(share float64) bool) (*survey.Pond, error)
}

// Plans reads saved plans.
type Plans interface {
	GetPlan(ctx context.Context, req *pb.GetPlanRequest) (*pb.GetPlanResponse, error)
}

// Starts lays out first starts.
type Starts interface {
	StartUp(ctx context.Context, req *pb.StartUpRequest) (*pb.StartUpResponse, error)
}

// Service is the sheet service. It is safe for concurrent use.
type Service struct {
	pb.UnimplementedSheetServiceServer

	ponds  Ponds
	plans  Plans
	starts Starts
}

// NewService returns a service that prints the given ponds' saved plans and starts.
func NewService(ponds Ponds, plans Plans, starts Starts) *Service {
	return &Service{ponds: ponds, plans: plans, starts: starts}
}

// Register makes the service answer on reg.
func (s *Service) Register(reg grpc.ServiceRegistrar) { pb.RegisterSheetServiceServer(reg, s) }

var (
	errUndecided = errors.New("people contradict each other on what is on record")
	errOtherPond = errors.New("the first start is of another pond")
	errOtherPlan = errors.New("the first start is of another plan")
)

// PrintSheets makes all papers of a saved plan and sends them piece by piece.
func (s *Service) PrintSheets(req *pb.PrintSheetsRequest, stream grpc.ServerStreamingServer[pb.PrintSheetsResponse]) error {
	job, err := s.job(stream.Context(), req)
	if err != nil {
		return err
	}
	files, err := Papers(job)
	if err != nil {
		return fmt.Errorf("print: %w", err)
	}
	for _, f := range files {
		name := f.Name
		for piece := range slices.Chunk(f.Data, pieceBytes) {
			if err := stream.Send(&pb.PrintSheetsResponse{Name: name, Piece: piece}); err != nil {
				return err
			}
			name = ""
		}
	}
	return nil
}

// job gathers what the papers are made from.
func (s *Service) job(ctx context.Context, req *pb.PrintSheetsRequest) (Job, error) {
	id, err := block.IDFromBytes(req.GetPondId())
	if err != nil {
		return Job{}, fmt.Errorf("pond_id: %w", err)
	}
	start := req.GetFirstStart()
	if start != nil && string(start.GetPondId()) != string(req.GetPondId()) {
		return Job{}, invalid("first_start.pond_id", "name the same pond", errOtherPond)
	}
	got, err := s.plans.GetPlan(ctx, &pb.GetPlanRequest{PondId: req.GetPondId(), PlanId: req.GetPlanId()})
	if err != nil {
		return Job{}, err
	}
	pond, err := s.ponds.Measured(ctx, id, func(float64) bool { return ctx.Err() == nil })
	if err != nil {
		return Job{}, cmp.Or(ctx.Err(), err)
	}
	if open := pond.Inputs.Undecided; len(open) > 0 {
		return Job{}, &survey.Refusal{
			Code: codes.FailedPrecondition, Reason: pb.Reason_REASON_CONFLICT_UNRESOLVED, Field: open[0],
			Remedy: "settle it, then print", Err: fmt.Errorf("%w: %s", errUndecided, strings.Join(open, ", ")),
		}
	}
	job := Job{
		Name: pond.Name, Plan: got.GetVersion().GetPlan(), Version: got.GetVersion(), Survey: pond.Report, Shore: pond.Input.Shore,
		Units: system(req.GetSiUnits()), Format: format(req.GetPaper()), Prices: Prices(pond.Equipment.GetPrices()),
	}
	if day, err := time.Parse(time.DateOnly, pond.Inputs.SurveyedOn); err == nil {
		job.Surveyed = day
	}
	if start == nil {
		return job, nil
	}
	if job.Start, err = s.starts.StartUp(ctx, start); err != nil {
		return Job{}, err
	}
	if job.Start.GetPlan().GetPlanId() != job.Version.GetPlanId() {
		return Job{}, invalid("first_start", "a start is worked out for the approved plan, or else the newest: print that one", errOtherPlan)
	}
	return job, nil
}

func invalid(field, remedy string, err error) error {
	return &survey.Refusal{Code: codes.InvalidArgument, Reason: pb.Reason_REASON_FIELD_INVALID, Field: field, Remedy: remedy, Err: err}
}

func system(si bool) unit.System {
	if si {
		return unit.SI
	}
	return unit.US
}

func format(p pb.Paper) Format {
	if p == pb.Paper_PAPER_A4 {
		return A4
	}
	return Letter
}

// Prices returns a price list as plans and papers know it.
func Prices(m *pb.PriceList) plan.Prices {
	p := plan.Prices{Dated: m.GetDated()}
	for _, r := range m.GetRows() {
		p.List = append(p.List, plan.Price{Item: r.GetItem(), Each: r.GetEach()})
	}
	return p
}
