package access

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "pondwright/proto/pondwright/v1"
)

// Refusal is an answer that lets nobody through. It knows its status on the wire.
type Refusal struct {
	code   codes.Code
	reason pb.Reason
	text   string
	retry  time.Duration // 0: do not simply try again
}

// The refusals.
var (
	ErrNoCredential   = &Refusal{codes.Unauthenticated, pb.Reason_REASON_CREDENTIAL_MISSING, "no certificate of this server: join it with a code from its operator", 0}
	ErrForgotten      = &Refusal{codes.Unauthenticated, pb.Reason_REASON_CREDENTIAL_MISSING, "the server does not know this device any more: join it again; what was sent is kept aside there", 0}
	ErrExpired        = &Refusal{codes.Unauthenticated, pb.Reason_REASON_CREDENTIAL_EXPIRED, "the device's certificate has expired: renew it; what was sent is kept aside there", 0}
	ErrRevoked        = &Refusal{codes.Unauthenticated, pb.Reason_REASON_REVOKED, "the device was shut out: ask the operator; what was sent is kept aside there", 0}
	ErrDenied         = &Refusal{codes.PermissionDenied, pb.Reason_REASON_PERMISSION_DENIED, "the device's role does not include this", 0}
	ErrCodeInvalid    = &Refusal{codes.Unauthenticated, pb.Reason_REASON_CODE_INVALID, "the code is unknown, used or past its time: ask for another", 0}
	ErrDeviceNotFound = &Refusal{codes.NotFound, pb.Reason_REASON_DEVICE_NOT_FOUND, "no such device", 0}
	ErrInvalid        = &Refusal{codes.InvalidArgument, pb.Reason_REASON_FIELD_INVALID, "not valid", 0}
	errChanged        = &Refusal{codes.Unavailable, pb.Reason_REASON_ACCESS_CHANGED, "what the device may do has changed: connect again", time.Second}
)

// tooMany is the refusal of a caller who tries too often.
func tooMany(wait time.Duration) *Refusal {
	return &Refusal{codes.ResourceExhausted, pb.Reason_REASON_RATE_LIMITED, "too many tries from this address: wait a minute", wait}
}

// invalid is ErrInvalid with what is wrong.
func invalid(format string, args ...any) *Refusal {
	return &Refusal{ErrInvalid.code, ErrInvalid.reason, fmt.Sprintf(format, args...), 0}
}

// Is reports whether target is ErrInvalid and so is the refusal.
func (r *Refusal) Is(target error) bool {
	return target == error(ErrInvalid) && r.reason == ErrInvalid.reason
}

// Error returns what to tell a person.
func (r *Refusal) Error() string { return r.text }

// GRPCStatus returns the status with its details.
func (r *Refusal) GRPCStatus() *status.Status {
	details := []protoadapt.MessageV1{&errdetails.ErrorInfo{
		Domain: "pondwright", Reason: strings.TrimPrefix(r.reason.String(), "REASON_")}}
	if r.retry > 0 {
		details = append(details, &errdetails.RetryInfo{RetryDelay: durationpb.New(r.retry)})
	}
	st := status.New(r.code, r.text)
	if full, err := st.WithDetails(details...); err == nil {
		return full
	}
	return st
}

// refusal returns why a standing alone does not let a caller through, nil if it
// does.
func (s Standing) refusal() error {
	switch s {
	case Good:
		return nil
	case Expired:
		return ErrExpired
	case Revoked:
		return ErrRevoked
	case Forgotten:
		return ErrForgotten
	case Unproven:
	}
	return ErrNoCredential
}
