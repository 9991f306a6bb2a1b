package survey_test

import (
	"context"
	"errors"
	"io"
	"math"
	"net"
	"slices"
	"sync"
	"testing"

	"github.com/golang/geo/s2"
	"go.uber.org/goleak"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"

	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server"
	"pondwright/server/scribe"
	"pondwright/server/state"
	"pondwright/server/survey"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// memory is a State of one tenant, kept in memory, that can fail.
type memory struct {
	mu        sync.Mutex
	version   uint64 // of the latest change
	ponds     []state.Pond
	things    map[block.ID][]state.Thing
	soundings map[block.ID][]state.Sounding
	faults    map[string]error // by method
	read      map[string]int   // calls by method
	seen      chan string      // if set, told the method of every call
	hold      chan struct{}    // if set, Soundings waits for it or for its caller's end
}

func newMemory() *memory {
	return &memory{
		things: make(map[block.ID][]state.Thing), soundings: make(map[block.ID][]state.Sounding),
		faults: make(map[string]error), read: make(map[string]int),
	}
}

func (m *memory) call(method string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.read[method]++
	if m.seen != nil {
		m.seen <- method
	}
	return m.faults[method]
}

// await waits for a call of a method.
func (m *memory) await(t *testing.T, method string) {
	t.Helper()
	for {
		select {
		case got := <-m.seen:
			if got == method {
				return
			}
		case <-t.Context().Done():
			t.Fatalf("nobody called %s", method)
		}
	}
}

func (m *memory) calls(method string) int {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.read[method]
}

// put adds to a pond, which gives it a new version.
func (m *memory) put(id block.ID, soundings []state.Sounding, records ...*pb.Record) {
	m.mu.Lock()
	defer m.mu.Unlock()
	k := slices.IndexFunc(m.ponds, func(p state.Pond) bool { return p.ID == id })
	if k < 0 {
		k = len(m.ponds)
		m.ponds = append(m.ponds, state.Pond{ID: id})
	}
	p := &m.ponds[k]
	m.version++
	p.Version = m.version
	p.Soundings += uint64(len(soundings))
	for _, q := range soundings {
		p.LastSoundingMs = max(p.LastSoundingMs, q.TimeMs)
	}
	m.soundings[id] = append(m.soundings[id], soundings...)
	for _, r := range records {
		m.things[id] = append(m.things[id], state.Thing{Message: r})
	}
}

// forget takes out everything but the count of versions.
func (m *memory) forget() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.ponds = nil
	clear(m.things)
	clear(m.soundings)
}

// fail lets one method fail, and no other.
func (m *memory) fail(method string, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	clear(m.faults)
	m.faults[method] = err
}

func (m *memory) WaitCurrent(context.Context) error { return m.call("WaitCurrent") }

func (m *memory) Ponds(context.Context, string) ([]state.Pond, error) {
	err := m.call("Ponds")
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.Clone(m.ponds), err
}

func (m *memory) Things(_ context.Context, _ string, pond block.ID) ([]state.Thing, error) {
	err := m.call("Things")
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.Clone(m.things[pond]), err
}

func (m *memory) Soundings(ctx context.Context, _ string, pond block.ID, _ s2.CellUnion) ([]state.Sounding, error) {
	err := m.call("Soundings")
	m.mu.Lock()
	hold, out := m.hold, slices.Clone(m.soundings[pond])
	m.mu.Unlock()
	if hold != nil {
		select {
		case <-hold:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	return out, err
}

func (m *memory) Version(_ string, pond block.ID) (uint64, error) {
	err := m.call("Version")
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, p := range m.ponds {
		if p.ID == pond {
			return p.Version, err
		}
	}
	return 0, err
}

// serve answers from m behind the real server's interceptors.
func serve(t *testing.T, m *memory) pb.SurveyServiceClient {
	t.Helper()
	s, err := server.Open(server.Config{Dir: t.TempDir(), Services: []server.Service{func(reg grpc.ServiceRegistrar, _ *state.State, _ *scribe.Scribe) {
		survey.NewService(m, server.Tenant).Register(reg)
	}}})
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
		if err := errors.Join(conn.Close(), <-served, s.Close()); err != nil {
			t.Error(err)
		}
	})
	return pb.NewSurveyServiceClient(conn)
}

// refused asserts the code, the reason and the field at fault of an error that
// came over the wire.
func refused(t *testing.T, err error, code codes.Code, reason, field string) {
	t.Helper()
	st, ok := status.FromError(err)
	if err == nil || !ok || st.Code() != code {
		t.Errorf("error %v, want %v", err, code)
		return
	}
	var gotReason, gotField string
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			gotReason = d.GetReason()
			if d.GetDomain() != "pondwright" {
				t.Errorf("domain %q", d.GetDomain())
			}
		case *errdetails.BadRequest:
			gotField = d.GetFieldViolations()[0].GetField()
		}
	}
	if gotReason != reason || gotField != field {
		t.Errorf("%v: reason %q, field %q, want %q, %q", err, gotReason, gotField, reason, field)
	}
}

// The test pond is 40 m across and 3 m deep, about 45° N, 93° W: small, to be
// solved fast.
const (
	midLat, midLon = 45.0, -93.0
	perLat, perLon = 111132.0, 78847.0 // m a degree, about
)

var (
	pond    = block.ID{1}
	boatLog = block.ID{2}
	pass    = block.ID{3}
	visit   = block.ID{4}
)

// circle is a shoreline with the given radius.
func circle(radiusM float64) *pb.Shoreline {
	ring := new(pb.Ring)
	for i := range 48 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / 48)
		ring.Points = append(ring.Points, &pb.LatLng{LatDeg: midLat + radiusM*sin/perLat, LonDeg: midLon + radiusM*cos/perLon})
	}
	return &pb.Shoreline{Outer: ring}
}

func shoreline(line *pb.Shoreline) *pb.Record {
	return &pb.Record{Kind: &pb.Record_Shoreline{Shoreline: line}}
}

// sounded are soundings of the pond's bowl on a grid, typed from the surface, a
// second apart.
func sounded() []state.Sounding {
	var out []state.Sounding
	for y := -18.0; y <= 18; y += 3 {
		for x := -18.0; x <= 18; x++ {
			if r := math.Hypot(x, y) / 20; r < 0.95 {
				n := len(out)
				out = append(out, state.Sounding{Log: boatLog, Seq: uint64(n + 1), Pass: pass, Sounding: block.Sounding{
					TimeMs: 1780000000000 + int64(n)*1000,
					LatE7:  int32((midLat + y/perLat) * 1e7), LonE7: int32((midLon + x/perLon) * 1e7),
					ReadingMM: int32(3000 * (1 - r*r)), Reference: block.BelowSurface, Quality: 4,
				}})
			}
		}
	}
	return out
}

func measure(t *testing.T, c pb.SurveyServiceClient) *pb.SurveyReport {
	t.Helper()
	got, err := c.Measure(t.Context(), &pb.MeasureRequest{PondId: pond[:]})
	if err != nil {
		t.Fatal(err)
	}
	return got.GetReport()
}

func list(ctx context.Context, c pb.SurveyServiceClient, tokens ...string) ([]*pb.Sounding, error) {
	stream, err := c.ListSoundings(ctx, &pb.ListSoundingsRequest{PondId: pond[:], CellTokens: tokens})
	if err != nil {
		return nil, err
	}
	var out []*pb.Sounding
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, err
		}
		out = append(out, m.GetSoundings()...)
	}
}
