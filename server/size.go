package server

import (
	"context"
	"fmt"
	"strconv"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// sizeError refuses a message or a part of one for its size.
type sizeError struct {
	field     string // the message's name, or the field
	got, most int    // bytes
	remedy    string
}

func (e *sizeError) Error() string {
	return fmt.Sprintf("%s is %d bytes long, at most %d: %s", e.field, e.got, e.most, e.remedy)
}

// GRPCStatus returns the refusal as it is sent.
func (e *sizeError) GRPCStatus() *status.Status {
	return with(status.New(codes.ResourceExhausted, e.Error()),
		info(pb.Reason_REASON_TOO_LARGE, map[string]string{
			"field": e.field, "value": strconv.Itoa(e.got), "max": strconv.Itoa(e.most), "remedy": e.remedy,
		}),
		&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{{Field: e.field, Description: e.Error()}}})
}

// checkSize returns a *sizeError for a message above its limit. The transport takes
// somewhat more, so that a refusal can say what is too large.
func checkSize(m any) error {
	msg, ok := m.(proto.Message)
	if !ok {
		return nil
	}
	if push, ok := msg.(*pb.PushRequest); ok {
		if n := len(push.GetBlock().GetFrame()); n > block.MaxFrameBytes {
			return &sizeError{"block.frame", n, block.MaxFrameBytes,
				fmt.Sprintf("seal at most %d entries into a block, and records of at most %d bytes", block.MaxCount, block.MaxRecordBytes)}
		}
	}
	if n := proto.Size(msg); n > maxMessageBytes {
		return &sizeError{string(msg.ProtoReflect().Descriptor().Name()), n, maxMessageBytes, "send it in parts"}
	}
	return nil
}

func sizedUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if err := checkSize(req); err != nil {
		return nil, err
	}
	return handler(ctx, req)
}

func sizedStream(srv any, stream grpc.ServerStream, _ *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	return handler(srv, sized{stream})
}

// sized is a stream that hands over no message above its limit.
type sized struct{ grpc.ServerStream }

func (s sized) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	return checkSize(m)
}
