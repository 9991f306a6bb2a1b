package plan_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"net"
	"strings"
	"sync"
	"testing"

	"go.uber.org/goleak"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"

	"buf.build/go/protovalidate"

	geoplan "pondwright/geo/plan"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server"
	"pondwright/server/plan"
	"pondwright/server/scribe"
	"pondwright/server/state"
	"pondwright/server/survey"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// The test pond is 180 m long, 60 m wide and 2.1 m deep, about 45° N, 93° W.
const (
	midLat, midLon = 45.0, -93.0
	perLat, perLon = 111132.0, 78847.0 // m a degree, about
)

func mast(xM, yM float64) *pb.MastSite {
	return &pb.MastSite{LatDeg: midLat + yM/perLat, LonDeg: midLon + xM/perLon}
}

func inline() *pb.InlineSurvey {
	ring, out := new(pb.Ring), new(pb.InlineSurvey)
	for i := range 60 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / 60)
		ring.Points = append(ring.Points, &pb.LatLng{LatDeg: midLat + 30*sin/perLat, LonDeg: midLon + 90*cos/perLon})
	}
	out.Shoreline = &pb.Shoreline{Outer: ring}
	for y := -25.0; y <= 25; y += 10 {
		for x := -85.0; x <= 85; x += 5 {
			if r := x*x/8100 + y*y/900; r < 0.95 {
				out.Soundings = append(out.Soundings, &pb.Sounding{LatDeg: midLat + y/perLat, LonDeg: midLon + x/perLon, DepthM: 2.1 * (1 - r)})
			}
		}
	}
	return out
}

var (
	pond    = block.ID{1}
	onShore = mast(0, 45)
)

// measured is the test pond, measured once. Nobody may change it.
var measured = sync.OnceValues(func() (*survey.Pond, error) { return survey.MeasureInline(inline(), nil) })

// ponds measures one pond, from memory.
type ponds struct {
	vary func(*survey.Pond)
	err  error
}

func (p *ponds) Measured(ctx context.Context, id block.ID, progress func(float64) bool) (*survey.Pond, error) {
	if id != pond {
		return nil, state.ErrPondNotFound
	}
	for _, share := range []float64{0, 0.5, 1} {
		if progress != nil && !progress(share) {
			return nil, context.Canceled
		}
	}
	m, err := measured()
	if err = errors.Join(err, p.err, ctx.Err()); err != nil {
		return nil, err
	}
	out := *m
	out.Mast = onShore
	if p.vary != nil {
		p.vary(&out)
	}
	return &out, nil
}

func (p *ponds) Inputs(ctx context.Context, id block.ID) (survey.Inputs, error) {
	m, err := p.Measured(ctx, id, nil)
	if err != nil {
		return survey.Inputs{}, err
	}
	return m.Inputs, nil
}

// serve plans for p behind the real server's interceptors.
func serve(t *testing.T, p plan.Ponds) pb.PlanServiceClient {
	t.Helper()
	c, _ := serveWithPen(t, p)
	return c
}

// serveWithPen is serve that hands out what the office writes with.
func serveWithPen(t *testing.T, p plan.Ponds) (c pb.PlanServiceClient, pen *scribe.Scribe) {
	t.Helper()
	s, err := server.Open(server.Config{Dir: t.TempDir(), Services: []server.Service{func(reg grpc.ServiceRegistrar, st *state.State, held *scribe.Scribe) {
		pen = held
		plan.NewService(p, st, pen).Register(reg)
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
	return pb.NewPlanServiceClient(conn), pen
}

// propose returns the progress and the plan that a request is answered with.
func propose(ctx context.Context, c pb.PlanServiceClient, req *pb.ProposeRequest) (progress []*pb.PlanProgress, p *pb.Plan, err error) {
	stream, err := c.Propose(ctx, req)
	if err != nil {
		return nil, nil, err
	}
	for {
		m, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return progress, p, nil
		case err != nil:
			return progress, p, err
		case p != nil:
			return progress, p, fmt.Errorf("%v follows the plan", m)
		}
		if m.GetProgress() != nil {
			progress = append(progress, m.GetProgress())
		}
		p = m.GetPlan()
	}
}

func stored() *pb.ProposeRequest {
	return &pb.ProposeRequest{Pond: &pb.ProposeRequest_PondId{PondId: pond[:]}, TargetTurnoversPerDay: new(0.5)}
}

// refused asserts the code, the reason and the field at fault of an error that
// came over the wire.
func refused(t *testing.T, what string, err error, code codes.Code, reason, field string) {
	t.Helper()
	st, ok := status.FromError(err)
	if err == nil || !ok || st.Code() != code {
		t.Errorf("%s: error %v, want %v", what, err, code)
		return
	}
	var gotReason, gotField string
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			gotReason = d.GetReason()
		case *errdetails.BadRequest:
			gotField = d.GetFieldViolations()[0].GetField()
		}
	}
	if gotReason != reason || gotField != field {
		t.Errorf("%s: %v: reason %q, field %q, want %q, %q", what, err, gotReason, gotField, reason, field)
	}
}

// Progress comes first, never goes back, covers every stage and leads to the plan.
func TestPropose_ProgressThenPlan(t *testing.T) {
	t.Parallel()
	progress, p, err := propose(t.Context(), serve(t, new(ponds)), stored())
	if err != nil || p == nil {
		t.Fatalf("plan %v, error %v", p, err)
	}
	stages, last := map[string]bool{}, -1.0
	for _, step := range progress {
		if step.GetShare() < last || step.GetShare() > 1 {
			t.Errorf("%s: share %v after %v", step.GetStage(), step.GetShare(), last)
		}
		stages[step.GetStage()], last = true, step.GetShare()
	}
	if len(stages) != 4 || !stages[geoplan.StageSites] || !stages[geoplan.StageLayouts] || last < 0.5 {
		t.Errorf("progress %v", progress)
	}
	v, err := protovalidate.New()
	if err != nil {
		t.Fatal(err)
	}
	if err := v.Validate(p); err != nil {
		t.Errorf("the plan breaks its own schema: %v", err)
	}
	if p.GetBindingConstraint() != pb.Plan_NONE || len(p.GetDiffusers()) == 0 || p.GetCompressors() != 1 {
		t.Errorf("plan %v", p)
	}
	for i, d := range p.GetDiffusers() {
		route := d.GetHose().GetRoute()
		if d.GetLabel() != plan.Label(i) || len(route) < 3 || !proto.Equal(route[0], p.GetMast()) || !proto.Equal(route[1], d.GetHose().GetShoreEntry()) {
			t.Errorf("diffuser %d: %v", i, d)
		}
		if end := route[len(route)-1]; end.GetLat() != d.GetLat() || end.GetLon() != d.GetLon() {
			t.Errorf("hose %d ends at %v, the diffuser stands at %v, %v", i, end, d.GetLat(), d.GetLon())
		}
	}
}

// The same pond gives the same plan, brought along or stored.
func TestPropose_Inline(t *testing.T) {
	t.Parallel()
	c := serve(t, new(ponds))
	_, want, err := propose(t.Context(), c, stored())
	if err != nil {
		t.Fatal(err)
	}
	req := stored()
	req.Pond, req.Mast = &pb.ProposeRequest_Inline{Inline: inline()}, onShore
	progress, got, err := propose(t.Context(), c, req)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range []*pb.Plan{got, want} { // what the request said differs, and so the id
		if p.GetPlanId() == "" || len(p.GetInputs().GetRequest()) != 32 {
			t.Errorf("plan %q made from %v", p.GetPlanId(), p.GetInputs())
		}
		p.PlanId, p.Inputs.Request, p.Inputs.Overrides = "", nil, false
	}
	if !proto.Equal(got, want) {
		t.Errorf("brought along: %v\nstored: %v", got, want)
	}
	if len(progress) < 3 {
		t.Errorf("progress %v", progress)
	}
}

// The request outranks the record, the record outranks defaults.
func TestPropose_WhatOutranksWhat(t *testing.T) {
	t.Parallel()
	machine := func(count uint32) *pb.EquipmentChoice {
		return &pb.EquipmentChoice{Compressor: &pb.CompressorChoice{Count: count, Points: []*pb.AirPoint{
			{PressurePaGauge: 0, FlowM3PerS: 0.003}, {PressurePaGauge: 170000, FlowM3PerS: 0.002}}}}
	}
	c := serve(t, &ponds{vary: func(p *survey.Pond) {
		p.Equipment = machine(2)
		p.Mast = proto.CloneOf(onShore)
		p.Mast.AltitudeM = new(500.0)
	}})
	isDefault := func(p *pb.Plan, name string) bool {
		for _, a := range p.GetAssumptions() {
			if a.GetName() == name {
				return a.GetIsDefault()
			}
		}
		t.Errorf("no assumption %q", name)
		return false
	}
	for _, x := range []struct {
		name      string
		vary      func(*pb.ProposeRequest)
		machines  uint32
		altitudeM float64
		south     bool // of the mast
		generic   bool // compressor
	}{
		{"all on record", func(*pb.ProposeRequest) {}, 2, 500, false, false},
		{"machines asked for", func(r *pb.ProposeRequest) { r.Compressors = new(uint32(3)) }, 3, 500, false, false},
		{"equipment asked for", func(r *pb.ProposeRequest) { r.Equipment = machine(1) }, 1, 500, false, false},
		{"defaults asked for", func(r *pb.ProposeRequest) { r.Equipment = new(pb.EquipmentChoice) }, 1, 500, false, true},
		{"another mast, its height not given", func(r *pb.ProposeRequest) { r.Mast = mast(0, -45) }, 2, 0, true, false},
		{"altitude asked for", func(r *pb.ProposeRequest) { r.AltitudeM = new(1200.0) }, 2, 1200, false, false},
	} {
		req := stored()
		x.vary(req)
		_, p, err := propose(t.Context(), c, req)
		if err != nil {
			t.Errorf("%s: %v", x.name, err)
			continue
		}
		if p.GetCompressors() != x.machines || p.GetAltitudeM() != x.altitudeM || (p.GetMast().GetLat() < midLat) != x.south {
			t.Errorf("%s: %d machines at %v m, mast %v", x.name, p.GetCompressors(), p.GetAltitudeM(), p.GetMast())
		}
		if isDefault(p, "compressor") != x.generic || isDefault(p, "altitude") != (x.altitudeM == 0) {
			t.Errorf("%s: assumptions %v", x.name, p.GetAssumptions())
		}
	}
}

// Of the kinds of compressor on record one is taken, and the plan says which.
func TestPropose_TakesOneKind(t *testing.T) {
	t.Parallel()
	curve := func(label string, restPaGauge float64) *pb.CompressorChoice {
		return &pb.CompressorChoice{Label: label, Count: 2, Points: []*pb.AirPoint{
			{PressurePaGauge: 0, FlowM3PerS: 0.003}, {PressurePaGauge: restPaGauge, FlowM3PerS: 0.002}}}
	}
	c := serve(t, &ponds{vary: func(p *survey.Pond) {
		p.Mast = proto.CloneOf(onShore)
		p.Equipment = &pb.EquipmentChoice{OtherCompressors: []*pb.CompressorChoice{curve("too weak", 1000), curve("strong", 170000)}}
	}})
	_, p, err := propose(t.Context(), c, stored())
	if err != nil {
		t.Fatal(err)
	}
	said := make(map[string]string)
	for _, a := range p.GetAssumptions() {
		said[a.GetName()] = a.GetValue()
	}
	if p.GetCompressors() != 2 || !strings.Contains(said["compressor taken"], "(strong)") || !strings.Contains(said["compressor not taken"], "(too weak)") {
		t.Errorf("%d machines, %v", p.GetCompressors(), said)
	}
}

func TestPropose_Refusals(t *testing.T) {
	t.Parallel()
	far := mast(0, 2000)
	falling := &pb.EquipmentChoice{Compressor: &pb.CompressorChoice{Count: 1, Points: []*pb.AirPoint{
		{PressurePaGauge: 1000, FlowM3PerS: 0.002}, {PressurePaGauge: 500, FlowM3PerS: 0.003}}}}
	bow := inline()
	points := bow.GetShoreline().GetOuter().GetPoints()
	points[5], points[25] = points[25], points[5]
	for _, c := range []struct {
		name          string
		pond          func(*survey.Pond)
		vary          func(*pb.ProposeRequest)
		code          codes.Code
		reason, field string
	}{
		{"unknown pond", nil, func(r *pb.ProposeRequest) { r.GetPond().(*pb.ProposeRequest_PondId).PondId = make([]byte, 16) }, codes.NotFound, "POND_NOT_FOUND", ""},
		{"id too short", nil, func(r *pb.ProposeRequest) { r.GetPond().(*pb.ProposeRequest_PondId).PondId = []byte{1} }, codes.InvalidArgument, "FIELD_INVALID", "pond_id"},
		{"no pond", nil, func(r *pb.ProposeRequest) { r.Pond = nil }, codes.InvalidArgument, "FIELD_INVALID", "pond"},
		{"no mast", func(p *survey.Pond) { p.Mast = nil }, nil, codes.FailedPrecondition, "INPUT_MISSING", "mast"},
		{"mast on record in the water", func(p *survey.Pond) { p.Mast = mast(0, 0) }, nil, codes.FailedPrecondition, "FIELD_INVALID", "mast"},
		{"mast asked for in the water", nil, func(r *pb.ProposeRequest) { r.Mast = mast(0, 0) }, codes.InvalidArgument, "FIELD_INVALID", "mast"},
		{"mast on record too far", func(p *survey.Pond) { p.Mast = far }, nil, codes.FailedPrecondition, "FIELD_INVALID", "mast"},
		{"mast asked for too far", nil, func(r *pb.ProposeRequest) { r.Mast = far }, codes.InvalidArgument, "FIELD_INVALID", "mast"},
		{"masts in conflict", func(p *survey.Pond) { p.MastOpen = true }, nil, codes.FailedPrecondition, "CONFLICT_UNRESOLVED", "mast"},
		{"equipment in conflict", func(p *survey.Pond) { p.EquipmentOpen = true }, nil, codes.FailedPrecondition, "CONFLICT_UNRESOLVED", "equipment"},
		{"curve that falls", nil, func(r *pb.ProposeRequest) { r.Equipment = falling }, codes.InvalidArgument, "FIELD_INVALID", "equipment"},
		{"target beyond reason", nil, func(r *pb.ProposeRequest) { r.TargetTurnoversPerDay = new(11.0) }, codes.InvalidArgument, "FIELD_INVALID", "target_turnovers_per_day"},
		{"too many machines", nil, func(r *pb.ProposeRequest) { r.Compressors = new(uint32(61)) }, codes.InvalidArgument, "FIELD_INVALID", "compressors"},
		{"air too thin for the plume", nil, func(r *pb.ProposeRequest) { r.AltitudeM = new(5900.0) }, codes.OutOfRange, "VALUE_OUT_OF_RANGE", ""},
		{"bow-tie brought along", nil, func(r *pb.ProposeRequest) { r.Pond = &pb.ProposeRequest_Inline{Inline: bow} }, codes.InvalidArgument, "SHORELINE_INVALID", "inline.shoreline"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			req := stored()
			if c.vary != nil {
				c.vary(req)
			}
			_, p, err := propose(t.Context(), serve(t, &ponds{vary: c.pond}), req)
			refused(t, c.name, err, c.code, c.reason, c.field)
			if p != nil {
				t.Errorf("%s: a plan came all the same", c.name)
			}
			if code := status.Code(err); code == codes.FailedPrecondition && c.reason == "FIELD_INVALID" && !strings.Contains(err.Error(), "; ") {
				t.Errorf("%s: %v has no remedy", c.name, err)
			}
		})
	}
}

// A conflict of a thing that the request says itself stops nothing.
func TestPropose_RequestSettlesConflicts(t *testing.T) {
	t.Parallel()
	req := stored()
	req.Mast, req.Equipment = onShore, new(pb.EquipmentChoice)
	_, p, err := propose(t.Context(), serve(t, &ponds{vary: func(p *survey.Pond) { p.MastOpen, p.EquipmentOpen = true, true }}), req)
	if err != nil || p == nil {
		t.Errorf("plan %v, error %v", p, err)
	}
}

// The call's end ends the work at its next step.
func TestPropose_Cancel(t *testing.T) {
	t.Parallel()
	c := serve(t, new(ponds))
	for _, stage := range []string{"Inferring the bed", geoplan.StageSites, geoplan.StageLayouts} {
		ctx, cancel := context.WithCancel(t.Context())
		stream, err := c.Propose(ctx, stored())
		if err != nil {
			t.Fatal(err)
		}
		for {
			m, err := stream.Recv()
			if err != nil {
				if status.Code(err) != codes.Canceled {
					t.Errorf("%s: %v", stage, err)
				}
				break
			}
			if m.GetPlan() != nil {
				t.Logf("%s: the plan was faster", stage) // it was under way already
				break
			}
			if m.GetProgress().GetStage() == stage {
				cancel()
			}
		}
		cancel()
	}
}

// Whatever measuring says, the wire never says Unknown.
func TestFaults_NeverUnknown(t *testing.T) {
	t.Parallel()
	p := new(ponds)
	c := serve(t, p)
	for _, fault := range []struct {
		err  error
		code codes.Code
	}{
		{errors.New("something burst"), codes.Internal},
		{state.ErrClosed, codes.Unavailable},
		{state.ErrPondNotFound, codes.NotFound},
		{context.DeadlineExceeded, codes.Internal},
		{status.Error(codes.Unknown, "from below"), codes.Internal},
	} {
		p.err = fault.err
		if _, _, err := propose(t.Context(), c, stored()); status.Code(err) != fault.code {
			t.Errorf("measuring fails with %v: %v, want %v", fault.err, err, fault.code)
		}
	}
}

// Every constraint of the pure room has its name in the contract.
func TestMessage_Constraints(t *testing.T) {
	t.Parallel()
	m, err := measured()
	if err != nil {
		t.Fatal(err)
	}
	seen := map[pb.Plan_BindingConstraint]bool{}
	for _, c := range []geoplan.Constraint{
		geoplan.None, geoplan.AirSupply, geoplan.RunHours, geoplan.Coverage, geoplan.Depth, geoplan.HoseLoss, geoplan.Pressure, geoplan.InputMissing,
	} {
		got := plan.Message(&geoplan.Plan{Constraint: c}, geoplan.Input{Shore: m.Input.Shore}).GetBindingConstraint()
		if got == pb.Plan_UNSPECIFIED || seen[got] {
			t.Errorf("%s is sent as %v", c, got)
		}
		seen[got] = true
	}
}

func TestEquipment_Choices(t *testing.T) {
	t.Parallel()
	e, err := plan.Equipment(&pb.EquipmentChoice{
		Diffuser: &pb.DiffuserChoice{OpeningPa: 1000, SlopePaSPerM3: 2e6, FoulingFactor: 1.5, RadiusM: 0.1, HeightOffBottomM: 0.4},
		Hose:     &pb.HoseChoice{BoresM: []float64{0.012, 0.02, 0.016}},
	})
	if err != nil {
		t.Fatal(err)
	}
	// A thousandth of a cubic meter a second takes 1000 + 2000 Pa.
	if got := float64(e.Diffuser.Loss(0.001)); math.Abs(got-3000) > 1e-6 {
		t.Errorf("loss %v Pa, want 3000", got)
	}
	if e.Bore != 0.02 || e.HoseDefault || e.DiffuserDefault || !e.CompressorDefault || e.Fouling != 1.5 || e.OffBottom != 0.4 || e.DiscRadius != 0.1 {
		t.Errorf("equipment %+v", e)
	}
	if _, err := plan.Equipment(&pb.EquipmentChoice{Compressor: &pb.CompressorChoice{Points: []*pb.AirPoint{{}}}}); err == nil {
		t.Error("a curve of one point passes")
	}
}
