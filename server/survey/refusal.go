package survey

import (
	"errors"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"pondwright/geo/grid"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
)

// Refusal is a domain error dressed for the wire: the code, the reason, the field
// at fault and the remedy.
type Refusal struct {
	Code   codes.Code
	Reason pb.Reason
	Field  string // of the request or of the record; empty for none
	Remedy string
	Err    error
}

// Error gives the reason and the remedy.
func (r *Refusal) Error() string {
	if r.Remedy == "" {
		return r.Err.Error()
	}
	return r.Err.Error() + "; " + r.Remedy
}

// Unwrap returns the domain error.
func (r *Refusal) Unwrap() error { return r.Err }

// GRPCStatus returns the status with its details.
func (r *Refusal) GRPCStatus() *status.Status {
	st := status.New(r.Code, r.Error())
	info := &errdetails.ErrorInfo{
		Domain:   "pondwright",
		Reason:   strings.TrimPrefix(r.Reason.String(), "REASON_"),
		Metadata: map[string]string{"remedy": r.Remedy},
	}
	full, err := st.WithDetails(info)
	if err == nil && r.Field != "" {
		full, err = full.WithDetails(&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{
			{Field: r.Field, Description: r.Error()},
		}})
	}
	if err != nil {
		return st // details that cannot be packed are left out
	}
	return full
}

// refuse dresses the errors of measuring; others pass as they are.
func refuse(err error) error {
	var line *ShorelineError
	var swapped *survey.SwappedError
	var token *CellTokenError
	var size *grid.SizeError
	var apart *survey.LevelError
	switch {
	case errors.Is(err, ErrNoShoreline):
		return &Refusal{Code: codes.FailedPrecondition, Reason: pb.Reason_REASON_SHORELINE_MISSING, Field: "shoreline", Err: err}
	case errors.As(err, &line), errors.As(err, &size), errors.Is(err, grid.ErrTangled):
		return &Refusal{Code: codes.FailedPrecondition, Reason: pb.Reason_REASON_SHORELINE_INVALID, Field: "shoreline", Remedy: "draw it anew and record it again", Err: err}
	case errors.As(err, &swapped):
		return &Refusal{Code: codes.FailedPrecondition, Reason: pb.Reason_REASON_FIELD_INVALID, Field: swapped.Warning.Field, Err: err}
	case errors.As(err, &apart):
		return &Refusal{Code: codes.FailedPrecondition, Reason: pb.Reason_REASON_LEVELS_APART, Field: "water_level_m", Err: err}
	case errors.As(err, &token):
		return &Refusal{Code: codes.InvalidArgument, Reason: pb.Reason_REASON_FIELD_INVALID, Field: "cell_tokens", Remedy: "use tokens as the S2 library prints them", Err: err}
	}
	return err
}
