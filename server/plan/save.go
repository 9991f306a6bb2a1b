package plan

import (
	"bytes"
	"errors"
	"fmt"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/scribe"
	"pondwright/server/survey"
)

// errPlanChanged says that planning now gives another plan than the caller saw.
var errPlanChanged = errors.New("what is planned now is not the plan that was looked at")

// errOtherPond says that a wish is for another pond than the request.
var errOtherPond = errors.New("the wish is for another pond")

// SavePlan plans, streams progress, keeps the plan and sends it as saved.
func (s *Service) SavePlan(req *pb.SavePlanRequest, stream grpc.ServerStreamingServer[pb.SavePlanResponse]) error {
	ctx := stream.Context()
	wish := req.GetWish()
	if wish == nil {
		wish = &pb.ProposeRequest{Pond: &pb.ProposeRequest_PondId{PondId: req.GetPondId()}}
	}
	if !bytes.Equal(wish.GetPondId(), req.GetPondId()) {
		return &survey.Refusal{Code: codes.InvalidArgument, Reason: pb.Reason_REASON_FIELD_INVALID, Field: "wish.pond", Remedy: "name the same pond in both", Err: errOtherPond}
	}
	p, err := s.work(ctx, wish, func(p *pb.PlanProgress) error {
		return stream.Send(&pb.SavePlanResponse{Step: &pb.SavePlanResponse_Progress{Progress: p}})
	})
	if err != nil {
		return err
	}
	if want := req.GetPlanId(); want != "" && want != p.GetPlanId() {
		return &survey.Refusal{Code: codes.Aborted, Reason: pb.Reason_REASON_PLAN_CHANGED, Field: "plan_id",
			Remedy: "look at the new plan and save that", Err: fmt.Errorf("%w: it is %s", errPlanChanged, p.GetPlanId())}
	}
	who, pond, b, _, err := s.open(ctx, req.GetPondId())
	if err != nil {
		return err
	}
	id := recordID(p)
	if i := b.find(id); i < 0 || b.plans[i].deleted {
		err := s.pen.Write(ctx, who.Tenant, pond, &pb.Record{RecordId: id[:], Author: req.GetPerson(), Kind: &pb.Record_Plan{Plan: p}})
		if big, ok := errors.AsType[*scribe.TooLargeError](err); ok {
			return &survey.Refusal{Code: codes.ResourceExhausted, Reason: pb.Reason_REASON_TOO_LARGE, Field: "plan", Remedy: "ask for fewer diffusers", Err: big}
		}
		if err != nil {
			return err
		}
	}
	_, _, b, now, err := s.open(ctx, req.GetPondId())
	if err != nil {
		return err
	}
	i := b.find(id)
	if i < 0 {
		return fmt.Errorf("plan %s was written and is not there", p.GetPlanId())
	}
	v := b.version(b.plans[i], now)
	v.Plan = proto.CloneOf(p)
	return stream.Send(&pb.SavePlanResponse{Step: &pb.SavePlanResponse_Saved{Saved: v}})
}
