package crossing

import (
	"errors"
	"io"
	"math"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	grpcstatus "google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server"
)

// round is a pond 80 m across, 3 m deep in the middle.
func round(t *testing.T, c *client.Client) {
	t.Helper()
	const lat, lon, perLat, perLon = 45.0, -93.0, 111132.0, 78847.0
	ring := &pb.Ring{}
	for i := range 24 {
		a := 2 * math.Pi * float64(i) / 24
		ring.Points = append(ring.Points, &pb.LatLng{LatDeg: lat + 40*math.Sin(a)/perLat, LonDeg: lon + 40*math.Cos(a)/perLon})
	}
	if _, err := c.Record(t.Context(), pond, &pb.Record{Kind: &pb.Record_Shoreline{Shoreline: &pb.Shoreline{Outer: ring}}}); err != nil {
		t.Fatal(err)
	}
	var soundings []block.Sounding
	for x := -36.0; x <= 36; x += 6 {
		for y := -36.0; y <= 36; y += 6 {
			if r := math.Hypot(x, y) / 40; r < 0.95 {
				soundings = append(soundings, block.Sounding{LatE7: int32((lat + y/perLat) * 1e7), LonE7: int32((lon + x/perLon) * 1e7),
					ReadingMM: int32(3000 * (1 - r*r)), Reference: block.BelowSurface})
			}
		}
	}
	record(t, c, soundings)
}

func propose(t *testing.T, conn *grpc.ClientConn, req *pb.ProposeRequest) (*pb.Plan, error) {
	t.Helper()
	stream, err := pb.NewPlanServiceClient(conn).Propose(t.Context(), req)
	if err != nil {
		return nil, err
	}
	var plan *pb.Plan
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return plan, nil
		}
		if err != nil {
			return nil, err
		}
		if m.GetPlan() != nil {
			plan = m.GetPlan()
		}
	}
}

func masts(t *testing.T, c *client.Client) client.Thing {
	t.Helper()
	things, err := c.Things(t.Context(), pond)
	if err != nil {
		t.Fatal(err)
	}
	for _, th := range things {
		if th.Message.GetMastSite() != nil {
			return th
		}
	}
	t.Fatal("no mast")
	return client.Thing{}
}

// TestInv22_SafetyConflictStopsThePlan lets two boats say, each by itself, where the
// mast stands, and a plan be asked for before and after somebody has settled it.
func TestInv22_SafetyConflictStopsThePlan(t *testing.T) {
	t.Parallel()
	s := startShoreWith(t, server.Config{Dir: t.TempDir(), Services: []server.Service{server.Answers(nil)}})
	conn := dial(t, s.addr)
	a, b := openBoat(t, t.TempDir()), openBoat(t, t.TempDir())
	round(t, a)
	mast := func(lat float64) *pb.Record {
		return &pb.Record{Author: "crew", Kind: &pb.Record_MastSite{MastSite: &pb.MastSite{LatDeg: lat, LonDeg: -93}}}
	}
	for c, lat := range map[*client.Client]float64{a: 45.0005, b: 45.0007} {
		if _, err := c.Record(t.Context(), pond, mast(lat)); err != nil {
			t.Fatal(err)
		}
	}
	mustSync(t, a, conn)
	mustSync(t, b, conn)
	mustSync(t, a, conn)

	conflicts := func() uint32 {
		list, err := pb.NewSurveyServiceClient(conn).ListPonds(t.Context(), &pb.ListPondsRequest{})
		if err != nil || len(list.GetPonds()) != 1 {
			t.Fatalf("ponds %v, %v", list, err)
		}
		return list.GetPonds()[0].GetOpenConflicts()
	}
	if n := conflicts(); n != 1 {
		t.Errorf("%d open conflicts, want 1", n)
	}
	req := &pb.ProposeRequest{Pond: &pb.ProposeRequest_PondId{PondId: pond[:]}}
	_, err := propose(t, conn, req)
	st := grpcstatus.Convert(err)
	reason := ""
	for _, d := range st.Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			reason = info.GetReason()
		}
	}
	if st.Code() != codes.FailedPrecondition || reason != "CONFLICT_UNRESOLVED" {
		t.Fatalf("plan under a conflict: %v %q", err, reason)
	}
	given := proto.CloneOf(req)
	given.Mast = mast(45.0005).GetMastSite()
	if plan, err := propose(t, conn, given); err != nil || len(plan.GetDiffusers()) == 0 {
		t.Errorf("with the mast in the request: %v, %v", plan, err)
	}

	// Writing it once more, without a word on the other side, settles nothing.
	if _, err := a.Record(t.Context(), pond, mast(45.0005)); err != nil {
		t.Fatal(err)
	}
	th := masts(t, a)
	if !th.Undecided {
		t.Fatal("the boat sees no conflict")
	}
	if _, err := a.Edit(t.Context(), pond, th, "crew", func(r *pb.Record) { r.GetMastSite().LonDeg = -93.0001 }); err != nil {
		t.Fatal(err)
	}
	mustSync(t, a, conn)
	if _, err := propose(t, conn, req); grpcstatus.Code(err) != codes.FailedPrecondition {
		t.Fatalf("after an edit that settles nothing: %v", err)
	}
	if _, err := a.Settle(t.Context(), pond, masts(t, a), "owner", func(r *pb.Record) { r.GetMastSite().LatDeg = 45.0005 }); err != nil {
		t.Fatal(err)
	}
	mustSync(t, a, conn)
	if n := conflicts(); n != 0 {
		t.Errorf("%d open conflicts after settling, want 0", n)
	}
	if plan, err := propose(t, conn, req); err != nil || len(plan.GetDiffusers()) == 0 {
		t.Errorf("after settling: %v, %v", plan, err)
	}
	mustSync(t, b, conn)
	if th := masts(t, b); th.Undecided || th.Message.GetMastSite().GetLatDeg() != 45.0005 || th.Message.GetAuthor() != "owner" {
		t.Errorf("the other boat shows %v", th.Message)
	}
}
