package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	validatepb "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	"pondwright/calc/unit"
	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/journal"
	"pondwright/server/photo"
	"pondwright/server/state"
)

// errLogInUse ends a push whose log another connection has taken over.
var errLogInUse = errors.New("another connection is pushing the same log")

// errorDomain is the domain of every ErrorInfo.
const errorDomain = "pondwright"

// statuses turns domain errors into what goes over the wire. Handlers return
// domain errors only; what it does not know becomes INTERNAL, with the detail in
// the operator's log.
type statuses struct {
	log  *slog.Logger
	boot int64 // makes request ids differ between starts
	next atomic.Uint64
}

func (s *statuses) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	resp, err := handler(ctx, req)
	if err != nil {
		return nil, s.toStatus(ctx, info.FullMethod, err)
	}
	return resp, nil
}

func (s *statuses) stream(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if err := handler(srv, stream); err != nil {
		return s.toStatus(stream.Context(), info.FullMethod, err)
	}
	return nil
}

// panicError is a bug that was caught.
type panicError struct {
	value any
	stack []byte
}

func (e *panicError) Error() string { return fmt.Sprintf("panic: %v\n%s", e.value, e.stack) }

func (s *statuses) panicked(_ context.Context, p any) error {
	return &panicError{p, debug.Stack()}
}

// known lists the domain errors, the first match wins.
var known = []struct {
	err    error
	code   codes.Code
	reason pb.Reason
	retry  time.Duration // 0: do not simply try again
}{
	{syscall.ENOSPC, codes.Unavailable, pb.Reason_REASON_DISK_FULL, time.Minute},
	{journal.ErrDiskFull, codes.Unavailable, pb.Reason_REASON_DISK_FULL, time.Minute},
	{journal.ErrAsideFull, codes.ResourceExhausted, pb.Reason_REASON_ASIDE_FULL, time.Hour},
	{journal.ErrClosed, codes.Unavailable, pb.Reason_REASON_SHUTTING_DOWN, time.Second},
	{state.ErrClosed, codes.Unavailable, pb.Reason_REASON_SHUTTING_DOWN, time.Second},
	{journal.ErrBroken, codes.Unavailable, pb.Reason_REASON_INTERNAL, time.Minute},
	{journal.ErrCorrupt, codes.DataLoss, pb.Reason_REASON_STORED_DATA_CORRUPT, 0},
	{exchange.ErrCursorInvalid, codes.FailedPrecondition, pb.Reason_REASON_CURSOR_INVALID, 0},
	{exchange.ErrProtocol, codes.InvalidArgument, pb.Reason_REASON_FIELD_INVALID, 0},
	{errLogInUse, codes.Aborted, pb.Reason_REASON_LOG_IN_USE, time.Second},
	{state.ErrPondNotFound, codes.NotFound, pb.Reason_REASON_POND_NOT_FOUND, 0},
	{block.ErrCorrupt, codes.InvalidArgument, pb.Reason_REASON_BLOCK_CORRUPT, 0},
	{photo.ErrNotFound, codes.NotFound, pb.Reason_REASON_PHOTO_NOT_FOUND, 0},
	{photo.ErrCorrupt, codes.InvalidArgument, pb.Reason_REASON_PHOTO_CORRUPT, time.Second},
	{photo.ErrOvertook, codes.Aborted, pb.Reason_REASON_LOG_IN_USE, time.Second},
	{photo.ErrPiece, codes.InvalidArgument, pb.Reason_REASON_FIELD_INVALID, 0},
	{block.ErrUnknownCodec, codes.InvalidArgument, pb.Reason_REASON_BLOCK_INVALID, 0},
}

func (s *statuses) toStatus(ctx context.Context, method string, err error) error {
	var own interface{ GRPCStatus() *status.Status }
	if errors.As(err, &own) {
		if st := own.GRPCStatus(); st.Code() != codes.Unknown {
			return badRequest(st).Err()
		}
	}
	if ctxErr := ctx.Err(); ctxErr != nil && errors.Is(err, ctxErr) {
		return status.FromContextError(ctxErr).Err()
	}
	for _, k := range known {
		if errors.Is(err, k.err) {
			details := []protoadapt.MessageV1{info(k.reason, nil)}
			if k.retry > 0 {
				details = append(details, &errdetails.RetryInfo{RetryDelay: durationpb.New(k.retry)})
			}
			return with(status.New(k.code, err.Error()), details...).Err()
		}
	}
	if big, ok := errors.AsType[*photo.TooLargeError](err); ok {
		return with(status.New(codes.ResourceExhausted, err.Error()), info(pb.Reason_REASON_TOO_LARGE, map[string]string{
			"field": "size_bytes", "value": fmt.Sprint(big.Bytes), "max": fmt.Sprint(big.Most),
		})).Err()
	}
	if out, ok := errors.AsType[*unit.RangeError](err); ok {
		return with(status.New(codes.OutOfRange, err.Error()), info(pb.Reason_REASON_VALUE_OUT_OF_RANGE, map[string]string{
			"quantity": out.Quantity, "value": fmt.Sprint(out.Got), "min": fmt.Sprint(out.Min), "max": fmt.Sprint(out.Max), "source": out.Source,
		})).Err()
	}
	id := fmt.Sprintf("%x-%x", s.boot, s.next.Add(1))
	s.log.ErrorContext(ctx, "internal error", "method", method, "request", id, "err", err)
	return with(status.New(codes.Internal, "internal error, request "+id),
		info(pb.Reason_REASON_INTERNAL, nil), &errdetails.RequestInfo{RequestId: id}).Err()
}

func info(reason pb.Reason, metadata map[string]string) *errdetails.ErrorInfo {
	return &errdetails.ErrorInfo{Domain: errorDomain, Reason: strings.TrimPrefix(reason.String(), "REASON_"), Metadata: metadata}
}

// with adds details; a status that cannot carry them goes without.
func with(st *status.Status, details ...protoadapt.MessageV1) *status.Status {
	if full, err := st.WithDetails(details...); err == nil {
		return full
	}
	return st
}

// badRequest rewords what the schema's checker found in our own words: the field
// and what is wrong with it.
func badRequest(st *status.Status) *status.Status {
	for _, d := range st.Details() {
		found, ok := d.(*validatepb.Violations)
		if !ok {
			continue
		}
		bad := &errdetails.BadRequest{}
		var words []string
		for _, v := range found.GetViolations() {
			field := protovalidate.FieldPathString(v.GetField())
			bad.FieldViolations = append(bad.FieldViolations, &errdetails.BadRequest_FieldViolation{Field: field, Description: v.GetMessage()})
			words = append(words, field+": "+v.GetMessage())
		}
		return with(status.New(codes.InvalidArgument, strings.Join(words, "; ")), info(pb.Reason_REASON_FIELD_INVALID, nil), bad)
	}
	return st
}
