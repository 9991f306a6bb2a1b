package plan_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"pondwright/proto/block"
	"pondwright/proto/digest"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server"
	"pondwright/server/plan"
	"pondwright/server/scribe"
	"pondwright/server/survey"
)

// office is a server with its pen at hand.
type office struct {
	pb.PlanServiceClient
	pen    *scribe.Scribe
	inputs atomic.Pointer[survey.Inputs] // what is on record of the pond; nil: as measured
	*ponds
}

func (o *office) Inputs(ctx context.Context, id block.ID) (survey.Inputs, error) {
	if in := o.inputs.Load(); in != nil && id == pond {
		return *in, nil
	}
	return o.ponds.Inputs(ctx, id)
}

func openOffice(t *testing.T) *office {
	t.Helper()
	o := &office{ponds: new(ponds)}
	o.PlanServiceClient, o.pen = serveWithPen(t, o)
	return o
}

// emptyInputs are of a pond of which nothing is on record.
func emptyInputs() survey.Inputs { return survey.Inputs{Survey: digest.Digest{1}} }

// keep puts a plan on record and returns its printed id.
func (o *office) keep(t *testing.T, p *pb.Plan) string {
	t.Helper()
	in := emptyInputs()
	if p.GetInputs() == nil {
		p.Inputs = &pb.PlanInputs{Survey: in.Survey[:], Request: make([]byte, 32)}
	}
	d := plan.Digest(p)
	p.PlanId = digest.Short("P", d)
	if err := o.pen.Write(t.Context(), server.Tenant, pond, &pb.Record{RecordId: d[:16], Author: "the designer", Kind: &pb.Record_Plan{Plan: p}}); err != nil {
		t.Fatal(err)
	}
	return p.GetPlanId()
}

func (o *office) list(t *testing.T) *pb.ListPlansResponse {
	t.Helper()
	l, err := o.ListPlans(t.Context(), &pb.ListPlansRequest{PondId: pond[:]})
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// standings are those of all plans, in the order of the list.
func (o *office) standings(t *testing.T) string {
	t.Helper()
	var out []string
	for _, v := range o.list(t).GetPlans() {
		out = append(out, strings.TrimPrefix(v.GetStanding().String(), "PLAN_STANDING_"))
	}
	return strings.Join(out, ", ")
}

func verified(n float64) *pb.Plan {
	return &pb.Plan{RunHoursPerDay: n, BindingConstraint: pb.Plan_NONE}
}

func sketchy() *pb.Plan {
	return &pb.Plan{
		BindingConstraint: pb.Plan_NONE, Assumptions: []*pb.Assumption{{Name: "altitude", Value: "0 m", IsDefault: true}, {Name: "hose", Value: "16 mm"}},
		Cautions: []*pb.Caution{{Code: "RUN_HOURS_UNVERIFIED", Text: "run hours are unverified"}, {Code: "ELECTRIC", Text: "take care"}},
	}
}

// A plan that was saved is the plan that was proposed; saving it again changes
// nothing; the id of another plan is refused.
func TestSavePlan(t *testing.T) {
	t.Parallel()
	o := openOffice(t)
	_, want, err := propose(t.Context(), o, stored())
	if err != nil {
		t.Fatal(err)
	}
	save := func(printed string) (v *pb.PlanVersion, steps int, err error) {
		stream, err := o.SavePlan(t.Context(), &pb.SavePlanRequest{PondId: pond[:], Wish: stored(), PlanId: printed, Person: "the designer"})
		for err == nil {
			var m *pb.SavePlanResponse
			if m, err = stream.Recv(); err == nil {
				v, steps = m.GetSaved(), steps+1
			}
		}
		if errors.Is(err, io.EOF) {
			err = nil
		}
		return v, steps, err
	}
	for range 2 {
		v, steps, err := save(want.GetPlanId())
		if err != nil || steps < 3 {
			t.Fatalf("%d steps, %v", steps, err)
		}
		if !proto.Equal(v.GetPlan(), want) || v.GetPlanId() != want.GetPlanId() || v.GetPerson() != "the designer" || v.GetStanding() != pb.PlanStanding_PLAN_STANDING_DRAFT || len(v.GetChangedSince()) > 0 {
			t.Errorf("saved %v", v)
		}
	}
	if n := len(o.list(t).GetPlans()); n != 1 {
		t.Errorf("%d plans", n)
	}
	_, _, err = save("P-0000-0000")
	refused(t, "another plan", err, codes.Aborted, "PLAN_CHANGED", "plan_id")
	stream, err := o.SavePlan(t.Context(), &pb.SavePlanRequest{PondId: make([]byte, 16), Wish: stored(), Person: "p"})
	if err == nil {
		_, err = stream.Recv()
	}
	refused(t, "another pond", err, codes.InvalidArgument, "FIELD_INVALID", "wish.pond")
}

func TestGetPlan(t *testing.T) {
	t.Parallel()
	o := openOffice(t)
	o.inputs.Store(new(emptyInputs()))
	get := func(printed string) (*pb.PlanVersion, error) {
		r, err := o.GetPlan(t.Context(), &pb.GetPlanRequest{PondId: pond[:], PlanId: printed})
		return r.GetVersion(), err
	}
	_, err := get("")
	refused(t, "no plans", err, codes.NotFound, "PLAN_NOT_FOUND", "plan_id")
	first := o.keep(t, verified(1))
	second := o.keep(t, verified(2))
	for ask, want := range map[string]string{"": second, first: first, strings.ToLower(second): second} {
		if v, err := get(ask); err != nil || v.GetPlanId() != want || v.GetPlan().GetPlanId() != want {
			t.Errorf("%q: %v, %v", ask, v, err)
		}
	}
	_, err = get("P-0000-0000")
	refused(t, "unknown", err, codes.NotFound, "PLAN_NOT_FOUND", "plan_id")
	if _, err := o.ApprovePlan(t.Context(), &pb.ApprovePlanRequest{PondId: pond[:], PlanId: first, Person: "p"}); err != nil {
		t.Fatal(err)
	}
	if v, err := get(""); err != nil || v.GetPlanId() != first || v.GetApproval().GetPerson() != "p" {
		t.Errorf("approved: %v, %v", v, err)
	}
}

// Approvals follow one another; each names the one it takes the place of.
func TestApprovePlan(t *testing.T) {
	t.Parallel()
	o := openOffice(t)
	o.inputs.Store(new(emptyInputs()))
	first, second := o.keep(t, verified(1)), o.keep(t, verified(2))
	approve := func(printed string, known []byte) (*pb.ApprovePlanResponse, error) {
		return o.ApprovePlan(t.Context(), &pb.ApprovePlanRequest{PondId: pond[:], PlanId: printed, KnownApprovalId: known, Person: "the designer"})
	}
	a, err := approve(first, nil)
	if err != nil || o.standings(t) != "APPROVED, DRAFT" {
		t.Fatalf("%v, %s", err, o.standings(t))
	}
	_, err = approve(second, nil)
	refused(t, "approval unknown to the caller", err, codes.Aborted, "APPROVAL_RACE", "known_approval_id")
	b, err := approve(second, a.GetApprovalId())
	if err != nil || o.standings(t) != "REPLACED, APPROVED" {
		t.Fatalf("%v, %s", err, o.standings(t))
	}
	c, err := approve("", b.GetApprovalId()) // none may be built
	if err != nil || o.standings(t) != "REPLACED, REPLACED" || o.list(t).GetApproval() != nil || string(o.list(t).GetApprovalId()) != string(c.GetApprovalId()) {
		t.Fatalf("%v, %s", err, o.standings(t))
	}
	if _, err := approve(first, c.GetApprovalId()); err != nil || o.standings(t) != "APPROVED, REPLACED" {
		t.Fatalf("%v, %s", err, o.standings(t))
	}
}

// Of many that approve at once one wins, and that one is in force.
func TestApprovePlan_FirstInOrderWins(t *testing.T) {
	t.Parallel()
	o := openOffice(t)
	o.inputs.Store(new(emptyInputs()))
	const n = 8
	var ids []string
	for i := range n {
		ids = append(ids, o.keep(t, verified(float64(i+1))))
	}
	var wg sync.WaitGroup
	won := make([]*pb.ApprovePlanResponse, n)
	for i := range n {
		wg.Go(func() {
			r, err := o.ApprovePlan(t.Context(), &pb.ApprovePlanRequest{PondId: pond[:], PlanId: ids[i], Person: fmt.Sprint("designer ", i)})
			if err != nil {
				if status.Code(err) != codes.Aborted {
					t.Error(err)
				}
				return
			}
			won[i] = r
		})
	}
	wg.Wait()
	winners := slices.DeleteFunc(slices.Clone(won), func(r *pb.ApprovePlanResponse) bool { return r == nil })
	if len(winners) != 1 {
		t.Fatalf("%d winners", len(winners))
	}
	if l := o.list(t); string(l.GetApprovalId()) != string(winners[0].GetApprovalId()) || l.GetApproval().GetPerson() != winners[0].GetApproval().GetPerson() {
		t.Errorf("in force %v, winner %v", l.GetApproval(), winners[0])
	}
}

// What is not verified, or has changed since, needs a reason, which is kept.
func TestApprovePlan_NeedsAReason(t *testing.T) {
	t.Parallel()
	o := openOffice(t)
	o.inputs.Store(new(emptyInputs()))
	unsafe, sound := o.keep(t, sketchy()), o.keep(t, verified(1))
	approve := func(printed, reason string, known []byte) (*pb.ApprovePlanResponse, error) {
		return o.ApprovePlan(t.Context(), &pb.ApprovePlanRequest{PondId: pond[:], PlanId: printed, Person: "p", Reason: reason, KnownApprovalId: known})
	}
	for _, reason := range []string{"", "ok", "         x         "} {
		_, err := approve(unsafe, reason, nil)
		refused(t, fmt.Sprintf("reason %q", reason), err, codes.FailedPrecondition, "REASON_NEEDED", "reason")
	}
	r, err := approve(unsafe, "altitude read off the county map", nil)
	if err != nil || fmt.Sprint(r.GetApproval().GetUnverified()) != "[ASSUMED_ALTITUDE RUN_HOURS_UNVERIFIED]" {
		t.Fatalf("%v, %v", r, err)
	}
	if a := o.list(t).GetPlans()[0].GetApproval(); a.GetReason() != "altitude read off the county map" {
		t.Errorf("kept %v", a)
	}
	changed := emptyInputs()
	changed.Survey[5], changed.Facts = 1, []*pb.KindDigest{{Kind: "mast_site", Digest: make([]byte, 32)}}
	o.inputs.Store(&changed)
	if got := fmt.Sprint(o.list(t).GetPlans()[1].GetChangedSince()); got != "[survey mast_site]" {
		t.Errorf("changed since: %s", got)
	}
	_, err = approve(sound, "", r.GetApprovalId())
	refused(t, "stale plan", err, codes.FailedPrecondition, "REASON_NEEDED", "reason")
}

func TestApprovePlan_Conflict(t *testing.T) {
	t.Parallel()
	o := openOffice(t)
	open := emptyInputs()
	open.Undecided = []string{"mast_site"}
	o.inputs.Store(&open)
	id := o.keep(t, verified(1))
	_, err := o.ApprovePlan(t.Context(), &pb.ApprovePlanRequest{PondId: pond[:], PlanId: id, Person: "p", Reason: "it does not matter"})
	refused(t, "conflict", err, codes.FailedPrecondition, "CONFLICT_UNRESOLVED", "mast_site")
	if l := o.list(t); fmt.Sprint(l.GetUndecided()) != "[mast_site]" {
		t.Errorf("undecided %v", l.GetUndecided())
	}
}

// Nobody but the office approves, and nobody changes a plan under its id.
func TestApprovals_CannotBeForged(t *testing.T) {
	t.Parallel()
	o := openOffice(t)
	o.inputs.Store(new(emptyInputs()))
	first, second := o.keep(t, verified(1)), o.keep(t, verified(2))
	write := func(id []byte, kind *pb.Record) {
		t.Helper()
		kind.RecordId = id
		if err := o.pen.Write(t.Context(), server.Tenant, pond, kind); err != nil {
			t.Fatal(err)
		}
	}
	plans := o.list(t).GetPlans()
	forged := &pb.PlanApproval{Person: "nobody", PlanRecordId: plans[0].GetRecordId(), Seal: make([]byte, 32)}
	write(make([]byte, 16), &pb.Record{Kind: &pb.Record_PlanApproval{PlanApproval: forged}})
	if got := o.standings(t); got != "DRAFT, DRAFT" {
		t.Fatalf("forged: %s", got)
	}
	a, err := o.ApprovePlan(t.Context(), &pb.ApprovePlanRequest{PondId: pond[:], PlanId: first, Person: "p"})
	if err != nil {
		t.Fatal(err)
	}
	b, err := o.ApprovePlan(t.Context(), &pb.ApprovePlanRequest{PondId: pond[:], PlanId: second, Person: "p", KnownApprovalId: a.GetApprovalId()})
	if err != nil {
		t.Fatal(err)
	}
	// The first approval again, under its own id and under another; and a new version
	// of the one in force that names another plan.
	write(a.GetApprovalId(), &pb.Record{Kind: &pb.Record_PlanApproval{PlanApproval: a.GetApproval()}})
	write(b.GetApprovalId(), &pb.Record{Kind: &pb.Record_PlanApproval{PlanApproval: a.GetApproval()}})
	turned := proto.CloneOf(b.GetApproval())
	turned.PlanRecordId = plans[0].GetRecordId()
	write(b.GetApprovalId(), &pb.Record{Kind: &pb.Record_PlanApproval{PlanApproval: turned}})
	if got := o.standings(t); got != "REPLACED, APPROVED" {
		t.Errorf("replayed: %s", got)
	}
	// Another content under a plan's id, and its deletion.
	write(plans[1].GetRecordId(), &pb.Record{Kind: &pb.Record_Plan{Plan: verified(23)}})
	write(plans[1].GetRecordId(), &pb.Record{Deleted: true, Kind: &pb.Record_Plan{Plan: verified(23)}})
	r, err := o.GetPlan(t.Context(), &pb.GetPlanRequest{PondId: pond[:], PlanId: second})
	if err != nil || r.GetVersion().GetPlan().GetRunHoursPerDay() != 2 {
		t.Errorf("plan %v, %v", r, err)
	}
}

func TestComparePlans(t *testing.T) {
	t.Parallel()
	o := openOffice(t)
	o.inputs.Store(new(emptyInputs()))
	site := func(label string, eastM, depthM, hoseM float64) *pb.Diffuser {
		return &pb.Diffuser{Label: label, Lat: midLat, Lon: midLon + eastM/perLon, DepthM: depthM, AirflowM3PerS: 0.0005, Hose: &pb.Hose{LengthM: hoseM}}
	}
	before := verified(24)
	before.Diffusers = []*pb.Diffuser{site("D1", 0, 2.5, 60), site("D2", 40, 2.5, 90)}
	before.TurnoversPerDay, before.TotalHoseM, before.Compressors = &pb.Interval{Value: 1.2, Low: 1, High: 1.4}, 150, 1
	after := sketchy()
	after.RunHoursPerDay = 24
	grid := pb.PowerSource_POWER_SOURCE_GRID
	before.Supply, before.Sources = &pb.Supply{Source: grid}, []*pb.SourceComparison{{Source: grid, Cost: new(4000.0)}}
	after.Supply, after.Sources = &pb.Supply{Source: grid}, []*pb.SourceComparison{{Source: pb.PowerSource_POWER_SOURCE_WIND, Cost: new(1.0)}, {Source: grid, Cost: new(5500.0)}}
	after.Refusals = []*pb.Refusal{{Code: "DAM_UNKNOWN", Text: "nobody said whether there is a dam"}}
	after.MastVerdict = &pb.MastVerdict{Judgement: pb.MastJudgement_MAST_JUDGEMENT_UNVERIFIED}
	after.Diffusers = []*pb.Diffuser{site("D1", -30, 2.2, 70), site("D2", 0, 2.5, 60), site("D3", 48, 2.6, 95)}
	after.TurnoversPerDay, after.TotalHoseM, after.Compressors = &pb.Interval{Value: 1.5, Low: 1.1, High: 1.8}, 225, 2
	after.Inputs = &pb.PlanInputs{Survey: make([]byte, 32), Request: append(make([]byte, 31), 1), Facts: []*pb.KindDigest{{Kind: "pond", Digest: make([]byte, 32)}}}
	a, b := o.keep(t, before), o.keep(t, after)
	for _, second := range []string{"", b} {
		c, err := o.ComparePlans(t.Context(), &pb.ComparePlansRequest{PondId: pond[:], Before: a, After: second})
		if err != nil {
			t.Fatal(err)
		}
		if c.GetBefore().GetPlanId() != a || c.GetAfter().GetPlanId() != b || len(c.GetSites()) != 2 {
			t.Fatalf("compared %v", c)
		}
		if m := c.GetSites()[0]; m.GetBefore() != "D2" || m.GetAfter() != "D3" || m.GetMovedM() < 7.9 || m.GetMovedM() > 8.1 || m.GetMoreHoseM() != 5 {
			t.Errorf("moved %v", m)
		}
		if m := c.GetSites()[1]; m.GetBefore() != "" || m.GetAfter() != "D1" || m.GetMoreHoseM() != 70 {
			t.Errorf("new %v", m)
		}
		figures := map[string][2]float64{}
		for _, f := range c.GetFigures() {
			figures[f.GetName()] = [2]float64{f.GetBefore(), f.GetAfter()}
		}
		for name, want := range map[string][2]float64{"turnovers_per_day": {1.2, 1.5}, "total_hose_m": {150, 225}, "compressors": {1, 2}, "diffusers": {2, 3}, "cost": {4000, 5500}} {
			if figures[name] != want {
				t.Errorf("%s: %v, want %v", name, figures[name], want)
			}
		}
		if len(figures) != 5 {
			t.Errorf("figures %v", figures)
		}
		if got := fmt.Sprint(c.GetInputs()); got != "[survey pond request]" {
			t.Errorf("inputs %s", got)
		}
		if len(c.GetNewlyUnverified()) != 4 {
			t.Errorf("newly unverified %v", c.GetNewlyUnverified())
		}
	}
	same, err := o.ComparePlans(t.Context(), &pb.ComparePlansRequest{PondId: pond[:], Before: a, After: a})
	if err != nil || len(same.GetSites())+len(same.GetFigures())+len(same.GetInputs())+len(same.GetNewlyUnverified()) > 0 {
		t.Errorf("with itself: %v, %v", same, err)
	}
	_, err = o.ComparePlans(t.Context(), &pb.ComparePlansRequest{PondId: pond[:], Before: "P-0000-0000"})
	refused(t, "unknown", err, codes.NotFound, "PLAN_NOT_FOUND", "plan_id")
}
