package server

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"log/slog"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/journal"
)

// faulty is a journal in which everything fails with err.
type faulty struct {
	journal.Journal
	err error
}

func (f faulty) Submit(context.Context, string, *block.Block) (<-chan journal.Receipt, error) {
	return nil, f.err
}
func (f faulty) KeepAside(context.Context, string, []byte) error { return f.err }
func (f faulty) Head(string, block.ID) (exchange.Head, error)    { return exchange.Head{}, f.err }
func (f faulty) HeadAt(string, block.ID, uint64) (exchange.Head, error) {
	return exchange.Head{}, f.err
}
func (f faulty) HashAt(string, block.ID, uint64) (block.Hash, bool, error) {
	return block.Hash{}, false, f.err
}
func (f faulty) Chain(uint64) (exchange.Chain, bool, error) { return exchange.Chain{}, false, f.err }
func (f faulty) ReadPonds(context.Context, string, []block.ID, uint64, uint64) iter.Seq2[journal.Entry, error] {
	return func(yield func(journal.Entry, error) bool) { yield(journal.Entry{}, f.err) }
}

// plausible fills a message so that it passes the schema's checks where that is easy:
// ids are 16 bytes, hashes 32, revisions 1, and required parts are there.
func plausible(m protoreflect.Message, depth int) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		name := string(f.Name())
		switch {
		case f.ContainingOneof() != nil && f.ContainingOneof().Fields().Get(0) != f:
		case f.Kind() == protoreflect.BytesKind && (strings.HasSuffix(name, "_id") || strings.HasSuffix(name, "_ids")):
			id := protoreflect.ValueOfBytes([]byte("0123456789abcdef"))
			if f.IsList() {
				m.Mutable(f).List().Append(id)
			} else {
				m.Set(f, id)
			}
		case f.Kind() == protoreflect.BytesKind && strings.HasSuffix(name, "_hash"):
			m.Set(f, protoreflect.ValueOfBytes(make([]byte, 32)))
		case f.Kind() == protoreflect.Uint32Kind && name == "client_rev":
			m.Set(f, protoreflect.ValueOfUint32(1))
		case f.Kind() == protoreflect.MessageKind && !f.IsMap() && depth > 0 && (name == "hello" || name == "logs"):
			if f.IsList() {
				plausible(m.Mutable(f).List().AppendMutable().Message(), depth-1)
			} else {
				plausible(m.Mutable(f).Message(), depth-1)
			}
		}
	}
}

// call sends one request to a method, whatever its kind, and returns its error.
func call(t *testing.T, conn *grpc.ClientConn, method protoreflect.MethodDescriptor) error {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	path := fmt.Sprintf("/%s/%s", method.Parent().FullName(), method.Name())
	stream, err := conn.NewStream(ctx, &grpc.StreamDesc{ClientStreams: true, ServerStreams: true}, path)
	if err != nil {
		return err
	}
	req := dynamicpb.NewMessage(method.Input())
	plausible(req, 3)
	if err := stream.SendMsg(req); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if err := stream.CloseSend(); err != nil {
		return err
	}
	for range 2 { // a stream that goes on well does so for ever
		if err := stream.RecvMsg(dynamicpb.NewMessage(method.Output())); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
		if method.Name() == "Watch" {
			break
		}
	}
	return nil
}

// everyMethod returns the descriptors of all methods that are served.
func everyMethod(t *testing.T, s *grpc.Server) []protoreflect.MethodDescriptor {
	t.Helper()
	var out []protoreflect.MethodDescriptor
	for name := range s.GetServiceInfo() {
		d, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(name))
		if err != nil {
			t.Fatal(err)
		}
		methods := d.(protoreflect.ServiceDescriptor).Methods()
		for i := range methods.Len() {
			out = append(out, methods.Get(i))
		}
	}
	return out
}

// TestEveryHandler_AnswersAFaultingStoreWithDetails calls every method there is while
// the stores fail in every way there is: Unknown never leaves the server, and every
// refusal of ours names a reason.
func TestEveryHandler_AnswersAFaultingStoreWithDetails(t *testing.T) {
	t.Parallel()
	faults := map[string]error{
		"closed":       journal.ErrClosed,
		"broken":       fmt.Errorf("%w: %w", journal.ErrBroken, errors.New("input/output error")),
		"corrupt":      journal.ErrCorrupt,
		"disk full":    journal.ErrDiskFull,
		"never heard":  errors.New("something else"),
		"short cursor": exchange.ErrCursorInvalid,
	}
	for name, fault := range faults {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var log strings.Builder
			s, conn, _ := start(t, Config{
				Logger:   slog.New(slog.NewTextHandler(&log, nil)),
				wrap:     func(j journal.Journal) journal.Journal { return faulty{j, fault} },
				Services: []Service{Answers(nil)},
			})
			if err := s.state.Close(); err != nil { // its readers fail from here on
				t.Fatal(err)
			}
			methods := everyMethod(t, s.grpc)
			if len(methods) < 10 {
				t.Fatalf("only %d methods", len(methods))
			}
			for _, m := range methods {
				err := call(t, conn, m)
				code := status.Code(err)
				if code == codes.Unknown {
					t.Errorf("%s: %v", m.FullName(), err)
				}
				ours := m.ParentFile().Package() == "pondwright.v1"
				if err != nil && ours && code != codes.Unimplemented && reasonOf(err) == "" {
					t.Errorf("%s: %v without a reason", m.FullName(), err)
				}
				if code == codes.Internal && strings.Contains(status.Convert(err).Message(), "something else") {
					t.Errorf("%s: the detail of an internal error left the server: %v", m.FullName(), err)
				}
				if code == codes.Unavailable && retryAfter(err) == 0 {
					t.Errorf("%s: unavailable with no word on when to come back", m.FullName())
				}
			}
			for _, m := range []string{"Push", "Pull"} { // and the stores were reached
				d := (&pb.Hello{}).ProtoReflect().Descriptor().ParentFile().Services().ByName("SyncService").Methods().ByName(protoreflect.Name(m))
				if err := call(t, conn, d); status.Code(err) == codes.OK || status.Code(err) == codes.InvalidArgument {
					t.Errorf("%s did not meet the fault: %v", m, err)
				}
			}
		})
	}
}
