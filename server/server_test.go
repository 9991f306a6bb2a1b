package server

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"log/slog"
	"net"
	"slices"
	"strings"
	"syscall"
	"testing"

	"go.uber.org/goleak"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"

	"pondwright/calc/unit"
	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/journal"
	"pondwright/server/scribe"
	"pondwright/server/state"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// start serves in memory and returns a connection.
func start(t testing.TB, cfg Config) (*Server, *grpc.ClientConn, context.CancelFunc) {
	t.Helper()
	cfg.Dir = t.TempDir()
	s, err := Open(cfg)
	if err != nil {
		t.Fatal(err)
	}
	lis := bufconn.Listen(1 << 16)
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- s.Serve(ctx, lis) }()
	conn, err := grpc.NewClient("passthrough:///memory", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return lis.DialContext(ctx) }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cancel()
		if err := errors.Join(conn.Close(), <-served, s.Close(), s.Close()); err != nil {
			t.Error(err)
		}
	})
	return s, conn, cancel
}

// chain makes n blocks of log that follow one another.
func chain(t testing.TB, log block.ID, text string, n int) []*block.Block {
	t.Helper()
	head := exchange.Head{Log: log}
	var out []*block.Block
	for i := range n {
		frame, _, err := block.Seal(block.Header{Log: log, Pond: block.ID{9}, FirstSeq: head.Last + 1, Prev: head.Hash},
			block.Payload{Records: [][]byte{fmt.Appendf(nil, "%s %d", text, i)}}, block.Plain)
		if err != nil {
			t.Fatal(err)
		}
		b, err := block.Parse(frame)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, b)
		head = exchange.After(b)
	}
	return out
}

type pushClient struct {
	t testing.TB
	grpc.BidiStreamingClient[pb.PushRequest, pb.PushResponse]
}

// hello opens a push and returns it with the answer to its one log.
func hello(t testing.TB, conn *grpc.ClientConn, head exchange.Head) (pushClient, *pb.LogResume) {
	t.Helper()
	stream, err := pb.NewSyncServiceClient(conn).Push(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	p := pushClient{t, stream}
	device := block.ID{1}
	p.send(&pb.PushRequest{Message: &pb.PushRequest_Hello{Hello: &pb.Hello{DeviceId: device[:], ClientRev: 1,
		Logs: []*pb.LogHead{{LogId: head.Log[:], LastSeq: head.Last, HeadHash: head.Hash[:]}}}}})
	w := p.recv().GetWelcome()
	if len(w.GetLogs()) != 1 || len(w.GetServerGen()) != 16 {
		t.Fatalf("welcome %v", w)
	}
	return p, w.GetLogs()[0]
}

func (p pushClient) send(m *pb.PushRequest) {
	p.t.Helper()
	if err := p.Send(m); err != nil {
		p.t.Fatal(err)
	}
}

func (p pushClient) block(frame []byte) {
	p.t.Helper()
	p.send(&pb.PushRequest{Message: &pb.PushRequest_Block{Block: &pb.Block{Frame: frame}}})
}

func (p pushClient) recv() *pb.PushResponse {
	p.t.Helper()
	m, err := p.Recv()
	if err != nil {
		p.t.Fatal(err)
	}
	return m
}

func reasonOf(err error) string {
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			return info.GetReason()
		}
	}
	return ""
}

func TestServe_RefusesOtherMachinesWithoutTLS(t *testing.T) {
	t.Parallel()
	for _, addr := range []string{"0.0.0.0:0", "[::]:0"} {
		lis, err := net.Listen("tcp", addr)
		if err != nil {
			t.Skip(err)
		}
		s, err := Open(Config{Dir: t.TempDir()})
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Serve(t.Context(), lis); !errors.Is(err, ErrNeedsTLS) {
			t.Errorf("%s: %v, want ErrNeedsTLS", addr, err)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
}

func TestPush_AcksDuplicatesAndResumes(t *testing.T) {
	t.Parallel()
	s, conn, _ := start(t, Config{})
	blocks := chain(t, block.ID{1}, "a", 5)
	p, r := hello(t, conn, exchange.After(blocks[2]))
	if r.GetState() != pb.ResumeState_RESUME_STATE_UNKNOWN {
		t.Errorf("unseen log: %v", r)
	}
	through := uint64(0)
	for _, b := range append(blocks[:3:3], blocks[1]) {
		p.block(b.Frame)
	}
	for through < 3 {
		ack := p.recv().GetAck()
		if ack.GetDurableThrough() <= through {
			t.Fatalf("acknowledged through %d after %d", ack.GetDurableThrough(), through)
		}
		through = ack.GetDurableThrough()
		if last := s.journal.Last(); last < through {
			t.Errorf("acknowledged %d, synced %d", through, last)
		}
	}
	if err := p.CloseSend(); err != nil {
		t.Fatal(err)
	}
	for {
		m, err := p.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil || m.GetNack() != nil {
			t.Fatal(m, err)
		}
	}
	_, r = hello(t, conn, exchange.After(blocks[4]))
	if r.GetState() != pb.ResumeState_RESUME_STATE_RESUME || r.GetResumeAfter() != 3 || !bytes.Equal(r.GetHashAtResume(), blocks[2].Hash[:]) {
		t.Errorf("resume %v", r)
	}
	_, r = hello(t, conn, exchange.After(blocks[1]))
	if r.GetState() != pb.ResumeState_RESUME_STATE_FORKED || r.GetResumeAfter() != 2 {
		t.Errorf("rolled-back device: %v", r)
	}
	if s.journal.Last() != 3 {
		t.Errorf("%d blocks stored, want 3", s.journal.Last())
	}
}

func TestPush_Refusals(t *testing.T) {
	t.Parallel()
	ours, theirs := chain(t, block.ID{1}, "ours", 3), chain(t, block.ID{1}, "theirs", 2)
	flipped := bytes.Clone(ours[1].Frame)
	flipped[len(flipped)-6] ^= 1
	tests := []struct {
		name      string
		frame     []byte
		reason    pb.Reason
		retryable bool
		aside     int
	}{
		{"damaged", flipped, pb.Reason_REASON_BLOCK_CORRUPT, true, 0},
		{"gap", ours[2].Frame, pb.Reason_REASON_LOG_GAP, true, 0},
		{"fork", theirs[0].Frame, pb.Reason_REASON_LOG_FORKED, false, 1},
		{"codec of later days", laterCodec(ours[1].Frame), pb.Reason_REASON_BLOCK_INVALID, false, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s, conn, _ := start(t, Config{})
			p, _ := hello(t, conn, exchange.After(ours[2]))
			p.block(ours[0].Frame)
			if got := p.recv().GetAck().GetDurableThrough(); got != 1 {
				t.Fatalf("acknowledged through %d, want 1", got)
			}
			p.block(tt.frame)
			nack := p.recv().GetNack()
			if nack.GetReason() != tt.reason || nack.GetRetryable() != tt.retryable || nack.GetMessage() == "" {
				t.Errorf("nack %v", nack)
			}
			aside := 0
			for _, err := range s.journal.Aside(t.Context(), Tenant) {
				if err != nil {
					t.Fatal(err)
				}
				aside++
			}
			if aside != tt.aside || s.journal.Last() != 1 {
				t.Errorf("%d kept aside, %d stored; want %d, 1", aside, s.journal.Last(), tt.aside)
			}
		})
	}
}

func TestPush_ProtocolErrors(t *testing.T) {
	t.Parallel()
	_, conn, _ := start(t, Config{})
	b := chain(t, block.ID{1}, "a", 1)[0]
	api := pb.NewSyncServiceClient(conn)
	tests := []struct {
		name string
		send func(pushClient)
	}{
		{"block before Hello", func(p pushClient) { p.block(b.Frame) }},
		{"nothing", func(p pushClient) {
			if err := p.CloseSend(); err != nil {
				p.t.Error(err)
			}
		}},
		{"short device id", func(p pushClient) {
			p.send(&pb.PushRequest{Message: &pb.PushRequest_Hello{Hello: &pb.Hello{DeviceId: []byte{1}, ClientRev: 1}}})
		}},
	}
	for _, tt := range tests {
		stream, err := api.Push(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		tt.send(pushClient{t, stream})
		_, err = stream.Recv()
		if status.Code(err) != codes.InvalidArgument || reasonOf(err) != "FIELD_INVALID" {
			t.Errorf("%s: %v (%s)", tt.name, err, reasonOf(err))
		}
	}
	p, _ := hello(t, conn, exchange.Head{Log: block.ID{2}, Last: 1, Hash: block.Hash{1}})
	p.block(b.Frame)
	if _, err := p.Recv(); status.Code(err) != codes.InvalidArgument {
		t.Errorf("a log that Hello did not name: %v", err)
	}
}

func TestPush_NewerConnectionTakesTheLogOver(t *testing.T) {
	t.Parallel()
	_, conn, _ := start(t, Config{})
	head := exchange.After(chain(t, block.ID{1}, "a", 1)[0])
	older, _ := hello(t, conn, head)
	newer, _ := hello(t, conn, head)
	if _, err := older.Recv(); status.Code(err) != codes.Aborted || reasonOf(err) != "LOG_IN_USE" {
		t.Errorf("older connection: %v", err)
	}
	newer.block(chain(t, block.ID{1}, "a", 1)[0].Frame)
	if newer.recv().GetAck().GetDurableThrough() != 1 {
		t.Error("the newer connection does not go on")
	}
}

func TestPull_FollowSeesWhatIsPushedAndEndsWithTheServer(t *testing.T) {
	t.Parallel()
	_, conn, stop := start(t, Config{})
	pond, blocks := block.ID{9}, chain(t, block.ID{1}, "a", 3)
	p, _ := hello(t, conn, exchange.After(blocks[2]))
	p.block(blocks[0].Frame)
	p.recv()
	pull, err := pb.NewSyncServiceClient(conn).Pull(t.Context(), &pb.PullRequest{PondIds: [][]byte{pond[:]}, Follow: true})
	if err != nil {
		t.Fatal(err)
	}
	var seen [][]byte
	next := func() {
		t.Helper()
		for {
			m, err := pull.Recv()
			if err != nil {
				t.Fatal(err)
			}
			if m.GetBlock() != nil {
				seen = append(seen, m.GetBlock().GetFrame())
				return
			}
		}
	}
	next()
	p.block(blocks[1].Frame)
	next()
	if !slices.EqualFunc(seen, blocks[:2], func(f []byte, b *block.Block) bool { return bytes.Equal(f, b.Frame) }) {
		t.Error("the follower sees other blocks than were pushed")
	}
	stop()
	for err == nil {
		_, err = pull.Recv()
	}
	if status.Code(err) != codes.Unavailable || reasonOf(err) != "SHUTTING_DOWN" {
		t.Errorf("follow ended with %v", err)
	}
}

func TestPull_CursorAndHave(t *testing.T) {
	t.Parallel()
	s, conn, _ := start(t, Config{})
	pond, other, blocks := block.ID{9}, block.ID{8}, chain(t, block.ID{1}, "a", 3)
	p, _ := hello(t, conn, exchange.After(blocks[2]))
	for _, b := range blocks {
		p.block(b.Frame)
	}
	for p.recv().GetAck().GetDurableThrough() < 3 {
		continue
	}
	pull := func(req *pb.PullRequest) (frames int, cursor []byte, err error) {
		stream, err := pb.NewSyncServiceClient(conn).Pull(t.Context(), req)
		for err == nil {
			var m *pb.PullResponse
			if m, err = stream.Recv(); err == nil {
				cursor = m.GetCursor()
				if m.GetBlock() != nil {
					frames++
				}
			}
		}
		if errors.Is(err, io.EOF) {
			err = nil
		}
		return frames, cursor, err
	}
	ids := [][]byte{pond[:]}
	n, cursor, err := pull(&pb.PullRequest{PondIds: ids})
	if n != 3 || err != nil {
		t.Errorf("from the start: %d, %v", n, err)
	}
	if n, _, err := pull(&pb.PullRequest{PondIds: ids, Cursor: cursor}); n != 0 || err != nil {
		t.Errorf("from the end: %d, %v", n, err)
	}
	if n, _, err := pull(&pb.PullRequest{PondIds: ids, MaxBytes: 1}); n != 1 || err != nil {
		t.Errorf("at most a byte: %d, %v", n, err)
	}
	if n, _, err := pull(&pb.PullRequest{PondIds: [][]byte{other[:]}}); n != 0 || err != nil {
		t.Errorf("another pond: %d, %v", n, err)
	}
	have := []*pb.LogHead{{LogId: blocks[0].Log[:], LastSeq: 2, HeadHash: blocks[1].Hash[:]}}
	if n, _, err := pull(&pb.PullRequest{PondIds: ids, Have: have}); n != 1 || err != nil {
		t.Errorf("with two held: %d, %v", n, err)
	}
	foreign := exchange.Cursor{Chain: exchange.Chain{3}, Seq: 2, Scope: exchange.ScopeOf(s.journal.Incarnation(), Tenant, []block.ID{pond})}.Bytes()
	ahead := exchange.Cursor{Chain: exchange.Chain(s.journal.Incarnation()), Seq: 99, Scope: exchange.ScopeOf(s.journal.Incarnation(), Tenant, []block.ID{pond})}.Bytes()
	for name, req := range map[string]*pb.PullRequest{
		"of another server": {PondIds: ids, Cursor: foreign},
		"ahead":             {PondIds: ids, Cursor: ahead},
		"of other ponds":    {PondIds: [][]byte{other[:]}, Cursor: cursor},
		"noise":             {PondIds: ids, Cursor: []byte("noise")},
	} {
		if _, _, err := pull(req); status.Code(err) != codes.FailedPrecondition || reasonOf(err) != "CURSOR_INVALID" {
			t.Errorf("cursor %s: %v", name, err)
		}
	}
	if _, _, err := pull(&pb.PullRequest{}); status.Code(err) != codes.InvalidArgument || !strings.Contains(err.Error(), "pond_ids") {
		t.Errorf("no pond: %v", err)
	}
}

func TestToStatus(t *testing.T) {
	t.Parallel()
	var log bytes.Buffer
	s := &statuses{log: slog.New(slog.NewTextHandler(&log, nil)), boot: 1}
	wrap := func(err error) error { return fmt.Errorf("layer: %w", err) }
	tests := []struct {
		err    error
		code   codes.Code
		reason string
	}{
		{wrap(journal.ErrClosed), codes.Unavailable, "SHUTTING_DOWN"},
		{fmt.Errorf("%w: %w", journal.ErrBroken, syscall.ENOSPC), codes.Unavailable, "DISK_FULL"},
		{wrap(journal.ErrBroken), codes.Unavailable, "INTERNAL"},
		{wrap(journal.ErrCorrupt), codes.DataLoss, "STORED_DATA_CORRUPT"},
		{wrap(exchange.ErrCursorInvalid), codes.FailedPrecondition, "CURSOR_INVALID"},
		{wrap(state.ErrPondNotFound), codes.NotFound, "POND_NOT_FOUND"},
		{wrap(&unit.RangeError{Quantity: "depth (m)", Got: -1, Max: 100}), codes.OutOfRange, "VALUE_OUT_OF_RANGE"},
		{wrap(status.Error(codes.PermissionDenied, "no")), codes.PermissionDenied, ""},
		{errors.New("secret path /var"), codes.Internal, "INTERNAL"},
		{s.panicked(t.Context(), "secret panic"), codes.Internal, "INTERNAL"},
	}
	for _, tt := range tests {
		got := s.toStatus(t.Context(), "/x/Y", tt.err)
		if status.Code(got) != tt.code || reasonOf(got) != tt.reason {
			t.Errorf("%v: %v (%s), want %v (%s)", tt.err, got, reasonOf(got), tt.code, tt.reason)
		}
		if strings.Contains(got.Error(), "secret") {
			t.Errorf("detail left the server: %v", got)
		}
	}
	if !strings.Contains(log.String(), "secret path") || !strings.Contains(log.String(), "secret panic") {
		t.Error("the operator's log lacks the detail")
	}
	canceled, cancel := context.WithCancel(t.Context())
	cancel()
	if got := s.toStatus(canceled, "", wrap(canceled.Err())); status.Code(got) != codes.Canceled {
		t.Errorf("canceled call: %v", got)
	}
}

// brittle is a service that panics.
type brittle struct {
	pb.UnimplementedSurveyServiceServer
}

func (brittle) ListPonds(context.Context, *pb.ListPondsRequest) (*pb.ListPondsResponse, error) {
	panic("bug")
}

func TestServices_AreRegisteredAndTheirPanicsContained(t *testing.T) {
	t.Parallel()
	var got *state.State
	s, conn, _ := start(t, Config{Services: []Service{func(reg grpc.ServiceRegistrar, st *state.State, _ *scribe.Scribe) {
		got = st
		pb.RegisterSurveyServiceServer(reg, brittle{})
	}}})
	if got == nil || got != s.State() {
		t.Error("the service was not given the state")
	}
	if _, err := pb.NewSurveyServiceClient(conn).ListPonds(t.Context(), &pb.ListPondsRequest{}); status.Code(err) != codes.Internal {
		t.Errorf("panic: %v, want Internal", err)
	}
	h, err := healthpb.NewHealthClient(conn).Check(t.Context(), &healthpb.HealthCheckRequest{})
	if err != nil || h.GetStatus() != healthpb.HealthCheckResponse_SERVING {
		t.Errorf("health after a panic: %v, %v", h, err)
	}
}

// laterCodec turns a frame into one of a codec that this version does not know,
// with a checksum that holds.
func laterCodec(frame []byte) []byte {
	f := bytes.Clone(frame[:len(frame)-4])
	f[1] = 9
	return binary.BigEndian.AppendUint32(f, crc32.Checksum(f, crc32.MakeTable(crc32.Castagnoli)))
}
