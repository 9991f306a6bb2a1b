package server

import (
	"context"
	"errors"
	"io"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
)

// throw sends messages to Push and returns how it ends. The server must answer in
// time, never with Unknown or Internal.
func throw(t *testing.T, conn *grpc.ClientConn, messages ...*pb.PushRequest) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	stream, err := pb.NewSyncServiceClient(conn).Push(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range messages {
		if err := stream.Send(m); err != nil {
			break // the answer says why
		}
	}
	if err := stream.CloseSend(); err != nil {
		t.Fatal(err)
	}
	for err == nil {
		_, err = stream.Recv()
	}
	switch code := status.Code(err); {
	case errors.Is(err, io.EOF):
	case code == codes.Unknown, code == codes.Internal, code == codes.DeadlineExceeded:
		t.Fatalf("Push ended with %v", err)
	}
}

// FuzzHello throws messages that may open a push at a server.
func FuzzHello(f *testing.F) {
	log, device := block.ID{1}, block.ID{2}
	good := &pb.PushRequest{Message: &pb.PushRequest_Hello{Hello: &pb.Hello{DeviceId: device[:], ClientRev: 1,
		Logs: []*pb.LogHead{{LogId: log[:], LastSeq: 7, HeadHash: make([]byte, 32), Marks: []*pb.BlockMark{{LastSeq: 3, Hash: make([]byte, 32)}}}}}}}
	for _, m := range []*pb.PushRequest{good, {}, {Message: &pb.PushRequest_Block{Block: &pb.Block{Frame: make([]byte, 96)}}}} {
		b, err := proto.Marshal(m)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	_, conn, _ := start(f, Config{Rates: Rates{Calls: 1e9}})
	f.Fuzz(func(t *testing.T, b []byte) {
		m := &pb.PushRequest{}
		if proto.Unmarshal(b, m) == nil {
			throw(t, conn, m)
		}
	})
}

// FuzzPush throws frames at a server that was greeted properly, and holds that what it
// stored are sound blocks.
func FuzzPush(f *testing.F) {
	blocks := chain(f, block.ID{1}, "a", 2)
	f.Add(blocks[0].Frame, blocks[1].Frame)
	f.Add(blocks[1].Frame, blocks[0].Frame)
	f.Add(laterCodec(blocks[0].Frame), blocks[0].Frame)
	f.Add([]byte{}, blocks[0].Frame[:len(blocks[0].Frame)-1])
	s, conn, _ := start(f, Config{Rates: Rates{Calls: 1e9, Blocks: 1e9}})
	log, device := block.ID{1}, block.ID{2}
	f.Fuzz(func(t *testing.T, x, y []byte) {
		frame := func(b []byte) *pb.PushRequest {
			return &pb.PushRequest{Message: &pb.PushRequest_Block{Block: &pb.Block{Frame: b}}}
		}
		throw(t, conn, &pb.PushRequest{Message: &pb.PushRequest_Hello{Hello: &pb.Hello{DeviceId: device[:], ClientRev: 1,
			Logs: []*pb.LogHead{{LogId: log[:], HeadHash: make([]byte, 32)}}}}}, frame(x), frame(y))
		head := exchange.Head{Log: log}
		for e, err := range s.journal.Read(t.Context(), 0) {
			if err != nil {
				t.Fatal(err)
			}
			b, err := e.Parse()
			if err != nil || b.FirstSeq != head.Last+1 || b.Prev != head.Hash {
				t.Fatalf("position %d does not follow: %v", e.Pos, err)
			}
			head = exchange.After(b)
		}
	})
}
