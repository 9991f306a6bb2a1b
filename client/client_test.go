package client

import (
	"context"
	"errors"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/types/known/durationpb"
	"pgregory.net/rapid"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// fakeClock stands still; its timers fire when told to.
type fakeClock struct {
	mu     sync.Mutex
	now    time.Time
	timers map[int]*fakeTimer
	made   int
	set    chan time.Duration // receives the wait of each timer, if anybody listens
}

type fakeTimer struct {
	d time.Duration
	f func()
}

func newFakeClock() *fakeClock {
	return &fakeClock{now: time.UnixMilli(1718000000000), timers: map[int]*fakeTimer{}, set: make(chan time.Duration, 100)}
}

func (c *fakeClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *fakeClock) AfterFunc(d time.Duration, f func()) func() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	id := c.made
	c.made++
	c.timers[id] = &fakeTimer{d, f}
	select {
	case c.set <- d:
	default:
	}
	return func() bool {
		c.mu.Lock()
		defer c.mu.Unlock()
		_, running := c.timers[id]
		delete(c.timers, id)
		return running
	}
}

// fire runs every timer that waits.
func (c *fakeClock) fire() {
	c.mu.Lock()
	var due []func()
	for id, t := range c.timers {
		due = append(due, t.f)
		delete(c.timers, id)
	}
	c.mu.Unlock()
	for _, f := range due {
		f()
	}
}

// stub is a server whose push does what a test says.
type stub struct {
	pb.UnimplementedSyncServiceServer
	push func(grpc.BidiStreamingServer[pb.PushRequest, pb.PushResponse]) error
}

func (s stub) Push(stream grpc.BidiStreamingServer[pb.PushRequest, pb.PushResponse]) error {
	return s.push(stream)
}

func (stub) Pull(_ *pb.PullRequest, stream grpc.ServerStreamingServer[pb.PullResponse]) error {
	return stream.Send(&pb.PullResponse{Cursor: []byte("cursor"), CaughtUp: true})
}

func serve(t *testing.T, s stub) *grpc.ClientConn {
	t.Helper()
	g, lis := grpc.NewServer(), bufconn.Listen(1<<16)
	pb.RegisterSyncServiceServer(g, s)
	done := make(chan error, 1)
	go func() { done <- g.Serve(lis) }()
	conn, err := Dial("passthrough:///memory", grpc.WithContextDialer(
		func(ctx context.Context, _ string) (net.Conn, error) { return lis.DialContext(ctx) }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := conn.Close(); err != nil {
			t.Error(err)
		}
		g.Stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return conn
}

func open(t testing.TB, opts ...Option) *Client {
	t.Helper()
	c, err := Open(t.Context(), t.TempDir(), opts...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	})
	return c
}

var pond = block.PondID("Low Meadow")

func record(t testing.TB, c *Client, pond block.ID, n int) {
	t.Helper()
	soundings := make([]block.Sounding, n)
	for i := range soundings {
		soundings[i] = block.Sounding{ReadingMM: int32(i), Reference: block.BelowSurface}
	}
	if err := c.RecordSoundings(t.Context(), pond, block.ID{}, "crew", soundings); err != nil {
		t.Fatal(err)
	}
}

// welcome answers Hello as a server that knows none of the logs.
func welcome(stream grpc.BidiStreamingServer[pb.PushRequest, pb.PushResponse]) ([]*pb.LogHead, error) {
	m, err := stream.Recv()
	if err != nil {
		return nil, err
	}
	w := &pb.Welcome{ServerGen: make([]byte, 16)}
	for _, l := range m.GetHello().GetLogs() {
		w.Logs = append(w.Logs, &pb.LogResume{LogId: l.GetLogId(), State: pb.ResumeState_RESUME_STATE_UNKNOWN, HashAtResume: make([]byte, 32)})
	}
	return m.GetHello().GetLogs(), stream.Send(&pb.PushResponse{Message: &pb.PushResponse_Welcome{Welcome: w}})
}

func TestSync_SilentServerIsGivenUp(t *testing.T) {
	t.Parallel()
	clock := newFakeClock()
	c := open(t, WithClock(clock))
	record(t, c, pond, 3)
	conn := serve(t, stub{push: func(stream grpc.BidiStreamingServer[pb.PushRequest, pb.PushResponse]) error {
		if _, err := welcome(stream); err != nil {
			return err
		}
		if _, err := stream.Recv(); err != nil {
			return err
		}
		clock.fire() // the acknowledgement never comes
		<-stream.Context().Done()
		return stream.Context().Err()
	}})
	if _, err := c.Sync(t.Context(), conn); !errors.Is(err, ErrStalled) {
		t.Fatalf("Sync: %v, want ErrStalled", err)
	}
	if st, err := c.Status(t.Context()); err != nil || st.Waiting != 3 || !st.LastSync.IsZero() {
		t.Errorf("status %+v, %v", st, err)
	}
}

func TestSync_RefusedLogRestsAndOthersGoOn(t *testing.T) {
	t.Parallel()
	other := block.PondID("Heron Hollow")
	c := open(t)
	record(t, c, pond, 3)
	record(t, c, other, 4)
	refuse := true
	conn := serve(t, stub{push: func(stream grpc.BidiStreamingServer[pb.PushRequest, pb.PushResponse]) error {
		if _, err := welcome(stream); err != nil {
			return err
		}
		for {
			m, err := stream.Recv()
			if errors.Is(err, io.EOF) {
				return nil
			}
			if err != nil {
				return err
			}
			b, err := block.Parse(m.GetBlock().GetFrame())
			if err != nil {
				return err
			}
			reply := &pb.PushResponse{Message: &pb.PushResponse_Ack{Ack: &pb.Ack{LogId: b.Log[:], DurableThrough: b.LastSeq()}}}
			if refuse && b.Count == 3 {
				reply = &pb.PushResponse{Message: &pb.PushResponse_Nack{Nack: &pb.Nack{LogId: b.Log[:], FirstSeq: 1,
					Reason: pb.Reason_REASON_BLOCK_INVALID, Message: "from a later version"}}}
			}
			if err := stream.Send(reply); err != nil {
				return err
			}
		}
	}})
	if _, err := c.Sync(t.Context(), conn); !errors.Is(err, ErrRefused) {
		t.Fatalf("Sync: %v, want ErrRefused", err)
	}
	st, err := c.Status(t.Context())
	if err != nil || st.Waiting != 0 || st.Soundings != 7 || len(st.Quarantined) != 1 || st.Quarantined[0].Reason != "from a later version" || st.Quarantined[0].Pond != pond {
		t.Errorf("status %+v, %v", st, err)
	}
	record(t, c, pond, 2)                                                            // is not held up
	if r, err := c.Sync(t.Context(), conn); err != nil || r.PushedEntries != 2+4+2 { // this server never knows a log: the two go out with Hello, and again
		t.Errorf("Sync with a parked block moved %+v, %v", r, err)
	}
	refuse = false // the server was brought up to date
	if err := c.Unpark(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := c.Sync(t.Context(), conn); err != nil {
		t.Fatal(err)
	}
	if st, err := c.Status(t.Context()); err != nil || st.Waiting != 0 || len(st.Quarantined) != 0 {
		t.Errorf("status after the second sync %+v, %v", st, err)
	}
}

func TestSync_ServerThatBreaksTheProtocol(t *testing.T) {
	t.Parallel()
	tests := map[string]func(grpc.BidiStreamingServer[pb.PushRequest, pb.PushResponse], []*pb.LogHead) error{
		"acknowledges what was not sent": func(s grpc.BidiStreamingServer[pb.PushRequest, pb.PushResponse], logs []*pb.LogHead) error {
			return s.Send(&pb.PushResponse{Message: &pb.PushResponse_Ack{Ack: &pb.Ack{LogId: logs[0].GetLogId(), DurableThrough: 1 << 40}}})
		},
		"acknowledges another log": func(s grpc.BidiStreamingServer[pb.PushRequest, pb.PushResponse], _ []*pb.LogHead) error {
			return s.Send(&pb.PushResponse{Message: &pb.PushResponse_Ack{Ack: &pb.Ack{LogId: make([]byte, 16), DurableThrough: 1}}})
		},
		"welcomes twice": func(s grpc.BidiStreamingServer[pb.PushRequest, pb.PushResponse], _ []*pb.LogHead) error {
			return s.Send(&pb.PushResponse{Message: &pb.PushResponse_Welcome{Welcome: &pb.Welcome{}}})
		},
	}
	for name, misbehave := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := open(t)
			record(t, c, pond, 3)
			conn := serve(t, stub{push: func(stream grpc.BidiStreamingServer[pb.PushRequest, pb.PushResponse]) error {
				logs, err := welcome(stream)
				if err != nil {
					return err
				}
				if err := misbehave(stream, logs); err != nil {
					return err
				}
				<-stream.Context().Done()
				return nil
			}})
			if _, err := c.Sync(t.Context(), conn); !errors.Is(err, exchange.ErrProtocol) {
				t.Errorf("Sync: %v, want ErrProtocol", err)
			}
			if st, err := c.Status(t.Context()); err != nil || st.Waiting != 3 {
				t.Errorf("status %+v, %v", st, err)
			}
		})
	}
}

func TestFromServer(t *testing.T) {
	t.Parallel()
	refusal := func(code codes.Code, reason string) error {
		st, err := status.New(code, "why").WithDetails(&errdetails.ErrorInfo{Domain: "pondwright", Reason: reason},
			&errdetails.RetryInfo{RetryDelay: durationpb.New(7 * time.Second)})
		if err != nil {
			t.Fatal(err)
		}
		return st.Err()
	}
	tests := []struct {
		err  error
		want error
	}{
		{refusal(codes.Unavailable, "DISK_FULL"), ErrUnavailable},
		{refusal(codes.Aborted, "LOG_FORKED"), ErrForked},
		{refusal(codes.Aborted, "LOG_IN_USE"), ErrLogInUse},
		{refusal(codes.FailedPrecondition, "CURSOR_INVALID"), ErrCursorInvalid},
		{refusal(codes.FailedPrecondition, "CLIENT_TOO_OLD"), ErrTooOld},
		{refusal(codes.NotFound, "POND_NOT_FOUND"), ErrNotFound},
		{refusal(codes.DataLoss, "STORED_DATA_CORRUPT"), ErrServerDamaged},
		{refusal(codes.OutOfRange, "A_REASON_OF_LATER_DAYS"), ErrInvalid},
		{status.Error(codes.Canceled, "c"), context.Canceled},
		{status.Error(codes.DeadlineExceeded, "d"), context.DeadlineExceeded},
	}
	for _, tt := range tests {
		got := FromServer(tt.err)
		if !errors.Is(got, tt.want) {
			t.Errorf("%v is not %v", got, tt.want)
		}
		for _, other := range []error{ErrForked, ErrCursorInvalid, ErrUnavailable, ErrInvalid} {
			if !errors.Is(tt.want, other) && errors.Is(got, other) {
				t.Errorf("%v is also %v", got, other)
			}
		}
	}
	var e *Error
	if !errors.As(FromServer(tests[0].err), &e) || e.Reason != pb.Reason_REASON_DISK_FULL || e.RetryAfter != 7*time.Second || e.Code != codes.Unavailable {
		t.Errorf("details lost: %+v", e)
	}
	if FromServer(nil) != nil || !errors.Is(FromServer(io.EOF), io.EOF) {
		t.Error("an error that is no status was changed")
	}
}

func TestBackoff(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		b := Backoff{}
		for i := range 40 {
			bound := 5 * time.Minute
			if i < 9 { // 2^8 s is the last below 5 min
				bound = time.Second << i
			}
			if got := b.Next(rapid.Uint64().Draw(t, "random")); got < 0 || got > bound {
				t.Fatalf("wait %d is %v, beyond %v", i, got, bound)
			}
		}
		b.Reset()
		if got := b.Next(rapid.Uint64().Draw(t, "random")); got > time.Second {
			t.Fatalf("first wait after a reset is %v", got)
		}
	})
	if top := (&Backoff{}).Next(uint64(time.Second)); top != time.Second {
		t.Errorf("the bound itself is never reached: %v", top)
	}
}

func TestRecord_CompletesWhatIsMissing(t *testing.T) {
	t.Parallel()
	c := open(t, WithClock(newFakeClock()))
	first := &pb.Record{Author: "R.", Kind: &pb.Record_Pond{Pond: &pb.Pond{Name: "Low Meadow"}}}
	second := &pb.Record{Kind: &pb.Record_Visit{Visit: &pb.Visit{Day: "2026-07-31"}}}
	for i, rec := range []*pb.Record{first, second} {
		ref, err := c.Record(t.Context(), pond, rec)
		if err != nil || ref.GetSeq() != uint64(i+1) || len(ref.GetLogId()) != 16 {
			t.Fatalf("Record: %v, %v", ref, err)
		}
		if len(rec.GetRecordId()) != 16 || rec.GetHlc() == 0 || !rec.GetRecordedAt().AsTime().Equal(newFakeClock().now) {
			t.Errorf("record %v is not complete", rec)
		}
	}
	if string(first.GetRecordId()) != string(pond[:]) || string(second.GetRecordId()) == string(pond[:]) {
		t.Error("a pond's record bears the pond's id, and no other does")
	}
	if second.GetHlc() <= first.GetHlc() {
		t.Error("the second record is not later")
	}
	for name, rec := range map[string]*pb.Record{
		"about nothing": {RecordId: pond[:]},
		"short id":      {RecordId: []byte{1}, Kind: second.GetKind().(*pb.Record_Visit)},
	} {
		if _, err := c.Record(t.Context(), pond, rec); !errors.Is(err, ErrRecordInvalid) {
			t.Errorf("%s: %v, want ErrRecordInvalid", name, err)
		}
	}
	var ve *block.ValueError
	if err := c.RecordSoundings(t.Context(), pond, block.ID{}, "", []block.Sounding{{LatE7: 2e9, Reference: 1}}); !errors.As(err, &ve) {
		t.Errorf("latitude out of range: %v", err)
	}
	canceled, cancel := context.WithCancel(t.Context())
	cancel()
	if err := c.RecordSoundings(canceled, pond, block.ID{}, "", nil); !errors.Is(err, context.Canceled) {
		t.Errorf("canceled: %v", err)
	}
}

// TestFromServer_TooLarge: the refusal of a message for its size names field, limit and
// remedy; the transport's own only says that it is.
func TestFromServer_TooLarge(t *testing.T) {
	t.Parallel()
	st, err := status.New(codes.ResourceExhausted, "block.frame is too long").WithDetails(&errdetails.ErrorInfo{
		Domain: "pondwright", Reason: "TOO_LARGE", Metadata: map[string]string{"field": "block.frame", "max": "270336", "remedy": "seal fewer"}})
	if err != nil {
		t.Fatal(err)
	}
	full, ok := errors.AsType[*Error](FromServer(st.Err()))
	if !ok || !errors.Is(full, ErrTooLarge) || full.Field != "block.frame" || full.Limit != 270336 || full.Remedy != "seal fewer" {
		t.Errorf("%+v", full)
	}
	if err := FromServer(status.Error(codes.ResourceExhausted, "grpc: received message larger than max")); !errors.Is(err, ErrTooLarge) || errors.Is(err, ErrBusy) {
		t.Errorf("the transport's own: %v", err)
	}
	c, err := Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	long := &pb.Record{Kind: &pb.Record_Pond{Pond: &pb.Pond{Name: strings.Repeat("x", block.MaxRecordBytes)}}}
	if _, err := c.Record(t.Context(), block.ID{1}, long); !errors.Is(err, ErrTooLarge) {
		t.Errorf("a record too long: %v", err)
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
}
