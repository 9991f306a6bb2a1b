// Package plan answers what to build for a pond: it takes the measured pond and
// what is on record of mast and equipment, calls the pure rooms and tells how far
// the work is.
package plan

import (
	"cmp"
	"context"
	"errors"
	"fmt"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/plan"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/sheet"
	"pondwright/server/survey"
)

// Ponds measures the ponds that plans are made for.
type Ponds interface {
	Measured(ctx context.Context, id block.ID, progress func(share float64) bool) (*survey.Pond, error)
	Inputs(ctx context.Context, id block.ID) (survey.Inputs, error)
}

// Service is the plan service. It is safe for concurrent use.
type Service struct {
	pb.UnimplementedPlanServiceServer

	ponds    Ponds
	state    State
	pen      Pen
	sessions sessions
}

// NewService returns a service that plans for the given ponds, reads saved plans
// from st and keeps them with pen.
func NewService(ponds Ponds, st State, pen Pen) *Service {
	return &Service{ponds: ponds, state: st, pen: pen}
}

// Register makes the service answer on reg.
func (s *Service) Register(reg grpc.ServiceRegistrar) { pb.RegisterPlanServiceServer(reg, s) }

// errNoMast says that neither the request nor the record has a mast.
var errNoMast = errors.New("no mast: the request gives none and none is on record")

// ErrConflict says that people wrote different things of something that can hurt
// someone, and nobody has settled it.
var ErrConflict = errors.New("there are two versions on record and nobody has settled which holds")

// Propose measures the pond, plans for it and streams progress and the plan.
func (s *Service) Propose(req *pb.ProposeRequest, stream grpc.ServerStreamingServer[pb.ProposeResponse]) error {
	p, err := s.work(stream.Context(), req, func(p *pb.PlanProgress) error {
		return stream.Send(&pb.ProposeResponse{Step: &pb.ProposeResponse_Progress{Progress: p}})
	})
	if err != nil {
		return err
	}
	return stream.Send(&pb.ProposeResponse{Step: &pb.ProposeResponse_Plan{Plan: p}})
}

// work measures the pond, plans for it and says what the plan was made from.
func (s *Service) work(ctx context.Context, req *pb.ProposeRequest, send func(*pb.PlanProgress) error) (*pb.Plan, error) {
	r := &reporter{ctx: ctx, send: send}
	pond, err := s.pond(ctx, req, r.tell)
	if err != nil {
		return nil, cmp.Or(r.err, err)
	}
	in, err := input(req, pond)
	if err != nil {
		return nil, err
	}
	p, err := plan.Propose(in, r.tell)
	if errors.Is(err, plan.ErrCanceled) {
		return nil, cmp.Or(r.err, ctx.Err(), context.Canceled)
	}
	if err != nil {
		return nil, refuse(err, req)
	}
	return identified(Message(p, in), madeFrom(req, pond.Inputs)), nil
}

// pond returns the pond that the request names or brings along.
func (s *Service) pond(ctx context.Context, req *pb.ProposeRequest, tell plan.Progress) (*survey.Pond, error) {
	progress := func(share float64) bool { return tell(stageBed, share) }
	if inline := req.GetInline(); inline != nil {
		pond, err := survey.MeasureInline(inline, progress)
		if errors.Is(err, bed.ErrCanceled) {
			return nil, cmp.Or(ctx.Err(), context.Canceled)
		}
		return pond, err
	}
	id, err := block.IDFromBytes(req.GetPondId())
	if err != nil {
		return nil, fmt.Errorf("pond_id: %w", err)
	}
	return s.ponds.Measured(ctx, id, progress)
}

// input is what the plan is made from: the request outranks the record, the record
// outranks defaults.
func input(req *pb.ProposeRequest, pond *survey.Pond) (plan.Input, error) {
	switch {
	case req.GetMast() == nil && pond.MastOpen:
		return plan.Input{}, unresolved("mast")
	case req.GetEquipment() == nil && pond.EquipmentOpen:
		return plan.Input{}, unresolved("equipment")
	}
	mast := cmp.Or(req.GetMast(), pond.Mast)
	if mast == nil {
		return plan.Input{}, &survey.Refusal{
			Code: codes.FailedPrecondition, Reason: pb.Reason_REASON_INPUT_MISSING, Field: "mast",
			Remedy: "say where the mast stands", Err: errNoMast,
		}
	}
	equipment, err := Equipment(cmp.Or(req.GetEquipment(), pond.Equipment))
	if err != nil {
		return plan.Input{}, &survey.Refusal{
			Code: codes.InvalidArgument, Reason: pb.Reason_REASON_FIELD_INVALID, Field: "equipment",
			Remedy: "check the figures against the machine's own table", Err: err,
		}
	}
	if req.Compressors != nil {
		equipment.Machines = int(req.GetCompressors())
	}
	in := plan.Input{
		Survey: pond.Report, Shore: pond.Input.Shore, Mast: LatLng(mast),
		Turnovers: req.GetTargetTurnoversPerDay(), Equipment: equipment,
	}
	switch {
	case req.AltitudeM != nil:
		in.Altitude, in.AltitudeKnown = unit.Meters(req.GetAltitudeM()), true
	case mast.AltitudeM != nil:
		in.Altitude, in.AltitudeKnown = unit.Meters(mast.GetAltitudeM()), true
	}
	Drive(&in, cmp.Or(req.GetEquipment(), pond.Equipment), mast, cmp.Or(req.GetLevels(), pond.Levels), req.GetAnswers(), sheet.Surveyed(pond.Input.Readings))
	return in, lay(&in, req, pond)
}

// unresolved refuses to choose between people.
func unresolved(field string) error {
	return &survey.Refusal{
		Code: codes.FailedPrecondition, Reason: pb.Reason_REASON_CONFLICT_UNRESOLVED, Field: field,
		Remedy: "settle it on a device that has both versions, or say it in the request", Err: fmt.Errorf("%s: %w", field, ErrConflict),
	}
}

// refuse dresses the errors that a person can mend, and blames the request for a
// mast of its own; others pass as they are.
func refuse(err error, req *pb.ProposeRequest) error {
	w := Refused(err)
	if w == nil {
		return err
	}
	out := &survey.Refusal{
		Code: codes.FailedPrecondition, Reason: pb.Reason_REASON_FIELD_INVALID,
		Field: w.Field, Remedy: w.Remedy, Err: err,
	}
	if w.Field != "mast" || req.GetMast() != nil {
		out.Code = codes.InvalidArgument
	}
	return out
}
