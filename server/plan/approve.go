package plan

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/calc/unit"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/survey"
)

// Errors of an approval that is not given.
var (
	errReasonNeeded = errors.New("lines on which safety hangs are not verified")
	errApprovedElse = errors.New("somebody else has approved first")
)

// leastReason is how long a reason must be to be one.
const leastReason = 10

// Unverified lists the lines of a plan on which someone's safety hangs and that
// nobody has verified: every figure that nobody gave, every part that the plan refuses
// to have built as it stands, a mast that is not known to be enough, and every caution
// that says so of itself.
func Unverified(p *pb.Plan) []*pb.SafetyLine {
	var out []*pb.SafetyLine
	for _, a := range p.GetAssumptions() {
		if a.GetIsDefault() {
			out = append(out, &pb.SafetyLine{Code: clip("ASSUMED_" + capitals(a.GetName())), Text: a.GetName() + " was taken as " + a.GetValue() + ": nobody gave it",
				TextTemplate: unit.Say("%s was taken as %s: nobody gave it", a.GetName(), cmp.Or(a.GetValueTemplate(), a.GetValue())).Template()})
		}
	}
	for _, c := range p.GetCautions() {
		if strings.HasSuffix(c.GetCode(), "_UNVERIFIED") || strings.HasSuffix(c.GetCode(), "_NOT_ENOUGH") {
			out = append(out, &pb.SafetyLine{Code: c.GetCode(), Text: c.GetText(), TextTemplate: c.GetTextTemplate()})
		}
	}
	for _, r := range p.GetRefusals() {
		out = append(out, &pb.SafetyLine{Code: r.GetCode(), Text: r.GetText(), TextTemplate: r.GetTextTemplate()})
	}
	if v := p.GetMastVerdict(); v != nil && v.GetJudgement() != pb.MastJudgement_MAST_JUDGEMENT_ENOUGH {
		out = append(out, &pb.SafetyLine{Code: strings.Replace(v.GetJudgement().String(), "MAST_JUDGEMENT", "MAST", 1), Text: cmp.Or(v.GetText(), "the mast is not judged"), TextTemplate: v.GetTextTemplate()})
	}
	return out
}

// capitals turns a name into a code.
func capitals(name string) string {
	return strings.Trim(strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' {
			return r
		}
		return '_'
	}, strings.ToUpper(name)), "_")
}

func clip(code string) string { return code[:min(len(code), 63)] }

// ApprovePlan says that a saved plan may be built. Of several at once the first in
// the journal holds; the others are told.
func (s *Service) ApprovePlan(ctx context.Context, req *pb.ApprovePlanRequest) (*pb.ApprovePlanResponse, error) {
	who, pond, b, now, err := s.open(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(padded(req.GetKnownApprovalId()), b.force.id[:]) {
		return nil, race(b)
	}
	words := &pb.PlanApproval{Person: req.GetPerson(), ApprovedAt: timestamppb.New(s.pen.Now()), Reason: strings.TrimSpace(req.GetReason())}
	if who.Device != (block.ID{}) {
		words.DeviceId = who.Device[:]
	}
	if b.force.words != nil {
		words.Replaces = b.force.id[:]
	}
	if req.GetPlanId() != "" {
		if err := b.mayApprove(req, now, words); err != nil {
			return nil, err
		}
	}
	id, err := s.pen.NewID()
	if err != nil {
		return nil, err
	}
	s.pen.Seal(who.Tenant, pond, id, words)
	if err := s.pen.Write(ctx, who.Tenant, pond, &pb.Record{RecordId: id[:], Author: req.GetPerson(), Kind: &pb.Record_PlanApproval{PlanApproval: words}}); err != nil {
		return nil, err
	}
	if b, err = s.readBook(ctx, who.Tenant, pond); err != nil {
		return nil, err
	}
	if b.force.id != id {
		return nil, race(b)
	}
	return &pb.ApprovePlanResponse{Approval: words, ApprovalId: id[:]}, nil
}

// mayApprove fills in what an approval is of, unless something stands against it.
func (b *book) mayApprove(req *pb.ApprovePlanRequest, now survey.Inputs, words *pb.PlanApproval) error {
	if len(now.Undecided) > 0 {
		return unresolved(strings.Join(now.Undecided, ", "))
	}
	p, err := b.plan(req.GetPlanId())
	if err != nil {
		return err
	}
	v := b.version(p, now)
	for _, l := range v.GetUnverified() {
		words.Unverified = append(words.Unverified, l.GetCode())
	}
	for _, kind := range v.GetChangedSince() {
		words.Unverified = append(words.Unverified, clip("CHANGED_SINCE_"+capitals(kind)))
	}
	words.PlanRecordId = p.id[:]
	const most = 60 // as the schema says
	words.Unverified = words.GetUnverified()[:min(len(words.GetUnverified()), most)]
	if len(words.GetUnverified()) > 0 && len([]rune(words.GetReason())) < leastReason {
		return &survey.Refusal{Code: codes.FailedPrecondition, Reason: pb.Reason_REASON_REASON_NEEDED, Field: "reason",
			Remedy: fmt.Sprintf("verify them, or say in at least %d characters why it may be built all the same: that is kept for ever", leastReason),
			Err:    fmt.Errorf("%w: %s", errReasonNeeded, strings.Join(words.GetUnverified(), ", "))}
	}
	return nil
}

// race tells a caller that what they knew to be in force is not.
func race(b book) error {
	err := errApprovedElse
	if p := b.force.words.GetPerson(); p != "" {
		err = fmt.Errorf("%w: %s", errApprovedElse, p)
	}
	return &survey.Refusal{Code: codes.Aborted, Reason: pb.Reason_REASON_APPROVAL_RACE, Field: "known_approval_id",
		Remedy: "list the plans, look at what is approved and decide anew", Err: err}
}
