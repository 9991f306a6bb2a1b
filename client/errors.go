package client

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"pondwright/client/store"
	pb "pondwright/proto/pondwright/v1"
)

// Conditions that a caller can act on. An error from a server that means one of
// them satisfies errors.Is.
var (
	// ErrUnavailable: no server was reached, it is stopping, or its disk is full.
	// Trying again later may help.
	ErrUnavailable = errors.New("server is not available")
	// ErrForked: the server holds other entries under this device's log. New
	// entries go to a new log; the old ones stay on the device.
	ErrForked = errors.New("log has forked")
	// ErrLogInUse: another connection took over the log; most often this device's
	// own earlier one, sometimes a copy of this device.
	ErrLogInUse = errors.New("log is in use by another connection")
	// ErrCursorInvalid: the server is not the one that was pulled from last.
	ErrCursorInvalid = errors.New("cursor is not valid")
	// ErrTooOld: this program is older than the server understands.
	ErrTooOld = errors.New("client is too old for this server")
	// ErrNotFound: there is no such thing, or not one this device may see.
	ErrNotFound = errors.New("not found")
	// ErrInvalid: the server found a request malformed or out of range.
	ErrInvalid = errors.New("request is not valid")
	// ErrServerDamaged: stored bytes on the server fail their checksum.
	ErrServerDamaged = errors.New("server's stored data is damaged")
	// ErrStalled: the server stopped answering and the connection was given up.
	ErrStalled = errors.New("server stopped answering")
	// ErrRefused: the server could not take a block; it stays on the device.
	ErrRefused = errors.New("block was refused")
	// ErrNotJoined: the device joined no server, or not this one, or the server has
	// forgotten it. It needs an invitation.
	ErrNotJoined = errors.New("this device has not joined the server: ask its operator for an invitation")
	// ErrWrongServer: the server is not the one that the device's invitation names.
	// Nothing was told to it.
	ErrWrongServer = errors.New("this is not the server that the invitation names")
	// ErrCodeInvalid: the code of an invitation is unknown, used or past its time.
	ErrCodeInvalid = errors.New("code is not valid")
	// ErrCredentialExpired: the device's certificate has expired and could not be
	// renewed. Nothing is lost; what was sent is kept aside.
	ErrCredentialExpired = errors.New("certificate has expired")
	// ErrRevoked: the operator has shut this device out. What it holds stays readable
	// and it can still record; what it sends is kept aside.
	ErrRevoked = errors.New("device was shut out")
	// ErrBusy: the device called or sent too often; Error.RetryAfter says how long to
	// wait.
	ErrBusy = errors.New("server asks for a pause")
	// ErrDiskFull: this device's disk is nearly full and nothing was stored. What was
	// stored before can still be read and sent.
	ErrDiskFull = store.ErrDiskFull
	// ErrTooLarge: a record or a message is above the size limit; nothing was stored or
	// taken. Error.Field and Error.Limit say which and what it is.
	ErrTooLarge = store.ErrTooLarge
	// ErrPermission: the device's role does not include this.
	ErrPermission = errors.New("not permitted")
)

var byReason = map[pb.Reason]error{
	pb.Reason_REASON_CREDENTIAL_MISSING:  ErrNotJoined,
	pb.Reason_REASON_CREDENTIAL_EXPIRED:  ErrCredentialExpired,
	pb.Reason_REASON_REVOKED:             ErrRevoked,
	pb.Reason_REASON_RATE_LIMITED:        ErrBusy,
	pb.Reason_REASON_ASIDE_FULL:          ErrBusy,
	pb.Reason_REASON_TOO_LARGE:           ErrTooLarge,
	pb.Reason_REASON_CODE_INVALID:        ErrCodeInvalid,
	pb.Reason_REASON_PHOTO_CORRUPT:       ErrRefused,
	pb.Reason_REASON_LOG_FORKED:          ErrForked,
	pb.Reason_REASON_LOG_IN_USE:          ErrLogInUse,
	pb.Reason_REASON_CURSOR_INVALID:      ErrCursorInvalid,
	pb.Reason_REASON_CLIENT_TOO_OLD:      ErrTooOld,
	pb.Reason_REASON_STORED_DATA_CORRUPT: ErrServerDamaged,
}

var byCode = map[codes.Code]error{
	codes.PermissionDenied: ErrPermission,
	codes.Unavailable:      ErrUnavailable,
	codes.NotFound:         ErrNotFound,
	codes.InvalidArgument:  ErrInvalid,
	codes.OutOfRange:       ErrInvalid,
	codes.DataLoss:         ErrServerDamaged,
}

// Error is a server's refusal. errors.Is finds the condition it stands for, if it
// is one of those above.
type Error struct {
	Code       codes.Code
	Reason     pb.Reason     // REASON_UNSPECIFIED if none or unknown to this version
	Message    string        // for people
	RetryAfter time.Duration // the server's advice; 0 for none
	Field      string        // what it is about; empty if not said
	Limit      int           // of that field, in bytes; 0 if it is not about size
	Remedy     string        // what to do; empty if not said
	cause      error
}

// Error returns the server's message.
func (e *Error) Error() string {
	if e.Reason != pb.Reason_REASON_UNSPECIFIED {
		return fmt.Sprintf("server: %s (%s)", e.Message, e.Reason)
	}
	return fmt.Sprintf("server: %s (%s)", e.Message, e.Code)
}

// Is reports whether the refusal stands for target.
func (e *Error) Is(target error) bool {
	return target != nil && (byReason[e.Reason] == target || byCode[e.Code] == target)
}

// Unwrap returns the gRPC status error.
func (e *Error) Unwrap() error { return e.cause }

// FromServer turns an error from a gRPC call into an *Error; any other error, a
// nil one included, comes back as it is. A canceled or timed-out context is
// reported as such.
func FromServer(err error) error {
	var own *Error
	if err == nil || errors.As(err, &own) {
		return err
	}
	st, ok := status.FromError(err)
	if !ok {
		return err
	}
	switch st.Code() {
	case codes.Canceled:
		return errors.Join(context.Canceled, err)
	case codes.DeadlineExceeded:
		return errors.Join(context.DeadlineExceeded, err)
	default:
	}
	e := &Error{Code: st.Code(), Message: st.Message(), cause: err}
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			e.Reason = pb.Reason(pb.Reason_value["REASON_"+d.GetReason()])
			e.Field, e.Remedy = d.GetMetadata()["field"], d.GetMetadata()["remedy"]
			if e.Reason == pb.Reason_REASON_TOO_LARGE {
				e.Limit, _ = strconv.Atoi(d.GetMetadata()["max"]) // 0 if it is not there
			}
		case *errdetails.RetryInfo:
			e.RetryAfter = d.GetRetryDelay().AsDuration()
		}
	}
	if e.Code == codes.ResourceExhausted && e.Reason == pb.Reason_REASON_UNSPECIFIED {
		e.Reason = pb.Reason_REASON_TOO_LARGE // the transport's own refusal, of either end
	}
	return e
}
