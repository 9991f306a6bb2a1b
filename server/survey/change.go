package survey

import (
	"cmp"
	"context"
	"errors"
	"fmt"

	"google.golang.org/grpc/codes"

	"pondwright/geo/bed"
	"pondwright/geo/survey"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/state"
)

// CompareSurveys says what changed between two surveys of a pond. Both are measured
// within the newest shoreline.
func (s *Service) CompareSurveys(ctx context.Context, req *pb.CompareSurveysRequest) (*pb.CompareSurveysResponse, error) {
	id, err := block.IDFromBytes(req.GetPondId())
	if err != nil {
		return nil, fmt.Errorf("pond_id: %w", err)
	}
	who, _, err := s.open(ctx, id)
	if err != nil {
		return nil, err
	}
	f, soundings, err := s.read(ctx, pondKey{who.Tenant, id})
	if err != nil {
		return nil, err
	}
	before := req.GetBefore().AsTime().UnixMilli()
	after := before
	if req.GetAfter() != nil {
		after = max(before, req.GetAfter().AsTime().UnixMilli())
	}
	var first, second []state.Sounding
	untimed := 0
	for _, q := range soundings {
		switch {
		case q.TimeMs == 0:
			untimed++
		case q.TimeMs < before:
			first = append(first, q)
		case q.TimeMs >= after:
			second = append(second, q)
		}
	}
	was, err := s.survey(ctx, f, first, "before")
	if err != nil {
		return nil, err
	}
	is, err := s.survey(ctx, f, second, "after")
	if err != nil {
		return nil, err
	}
	out := ChangeMessage(was, is)
	if untimed > 0 {
		out.Warnings = append(out.Warnings, Warnings([]survey.Warning{{
			Code: "TIME_UNKNOWN", Field: "time",
			Message: fmt.Sprintf("%d soundings without a time belong to neither survey and were left out", untimed),
			Remedy:  "compare files instead, or log with time",
		}})...)
	}
	return &pb.CompareSurveysResponse{Change: out}, nil
}

// survey measures some of a pond's soundings for one side of a comparison, which
// the field of the request names.
func (s *Service) survey(ctx context.Context, f facts, soundings []state.Sounding, field string) (*survey.Report, error) {
	in, err := f.input(soundings)
	if err != nil {
		return nil, refuse(err)
	}
	r, err := survey.Measure(in, func(float64) bool { return ctx.Err() == nil })
	if errors.Is(err, bed.ErrCanceled) {
		return nil, cmp.Or(ctx.Err(), context.Canceled)
	}
	if err != nil {
		return nil, refuse(err)
	}
	if r.Used == 0 {
		return nil, &Refusal{
			Code: codes.FailedPrecondition, Reason: pb.Reason_REASON_SOUNDINGS_MISSING, Field: field,
			Remedy: "choose another moment", Err: fmt.Errorf("no usable sounding lies %s that moment", map[string]string{"before": "before", "after": "at or after"}[field]),
		}
	}
	return r, nil
}

// ChangeMessage returns what changed as it is sent and printed.
func ChangeMessage(before, after *survey.Report) *pb.SurveyChange {
	c := bed.Compare(before.Bed, after.Bed)
	m := &pb.SurveyChange{
		BeforeM3: interval(before.Volume), AfterM3: interval(after.Volume), ChangeM3: interval(c.Volume),
		Certain: c.Certain(), CanceledM3: float64(c.Canceled),
		Warnings: append(Warnings(before.Warnings), Warnings(after.Warnings)...),
	}
	for _, cell := range c.Cells {
		m.Cells = append(m.Cells, &pb.DepthChange{
			CellToken: cell.Cell.ToToken(), AreaM2: float64(cell.Area), ChangeM: float64(cell.Depth), SdM: float64(cell.SD),
		})
	}
	return m
}
