package care_test

import (
	"context"
	"errors"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	"pondwright/calc/unit"
	"pondwright/geo/plan"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/care"
	"pondwright/server/state"
	"pondwright/server/survey"
)

// The test pond is a bowl 160 m across and 4.5 m deep about 45° N, 93° W; dawn on 9
// June is about 10:30 UTC.
const (
	midLat, midLon = 45.0, -93.0
	perLat, perLon = 111132.0, 78847.0 // m a degree, about
	radiusM        = 80.0
	deepM          = 4.5
)

var (
	pondID = block.ID{1}
	dawn   = time.Date(2026, 6, 9, 10, 40, 0, 0, time.UTC)
)

var measured = sync.OnceValues(func() (*survey.Pond, error) {
	ring, in := new(pb.Ring), new(pb.InlineSurvey)
	for i := range 48 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / 48)
		ring.Points = append(ring.Points, &pb.LatLng{LatDeg: midLat + radiusM*sin/perLat, LonDeg: midLon + radiusM*cos/perLon})
	}
	in.Shoreline = &pb.Shoreline{Outer: ring}
	for y := -70.0; y <= 70; y += 14 {
		for x := -75.0; x <= 75; x += 5 {
			if r := math.Hypot(x, y) / radiusM; r < 0.95 {
				in.Soundings = append(in.Soundings, &pb.Sounding{LatDeg: midLat + y/perLat, LonDeg: midLon + x/perLon, DepthM: deepM * (1 - r*r)})
			}
		}
	}
	return survey.MeasureInline(in, nil)
})

// farm is everything that the service asks.
type farm struct {
	now       time.Time
	records   []*pb.Record
	plan      *pb.PlanVersion
	undecided []string
}

func (f *farm) Measured(context.Context, block.ID, func(float64) bool) (*survey.Pond, error) {
	m, err := measured()
	if err != nil {
		return nil, err
	}
	out := *m
	out.Inputs.Undecided = f.undecided
	out.Input.ShoreLevel = new(unit.Meters(10))
	return &out, nil
}

func (f *farm) GetPlan(context.Context, *pb.GetPlanRequest) (*pb.GetPlanResponse, error) {
	if f.plan == nil {
		return nil, &survey.Refusal{Code: codes.NotFound, Reason: pb.Reason_REASON_PLAN_NOT_FOUND, Err: errors.New("none")}
	}
	return &pb.GetPlanResponse{Version: proto.CloneOf(f.plan)}, nil
}

func (f *farm) WaitCurrent(context.Context) error { return nil }

func (f *farm) Things(context.Context, string, block.ID) ([]state.Thing, error) {
	var out []state.Thing
	for _, r := range f.records {
		out = append(out, state.Thing{Message: r})
	}
	return out, nil
}

func (f *farm) service() *care.Service {
	return care.NewService(f, f, f, func() time.Time { return f.now })
}

// profile is of two layers, every 0.25 m down to a depth.
func profile(at time.Time, topC, bottomC, topMgL, bottomMgL, toM float64) *pb.Profile {
	p := &pb.Profile{TakenAt: timestamppb.New(at), TimeOfDay: pb.TimeOfDay_TIME_OF_DAY_DAWN, BottomSmell: pb.BottomSmell_BOTTOM_SMELL_NONE}
	for d := 0.0; d <= toM+1e-9; d += 0.25 {
		f := min(1, max(0, (d-2)/0.5))
		p.Readings = append(p.Readings, &pb.ProfileReading{DepthM: d, WaterTempC: topC + f*(bottomC-topC), OxygenMgPerL: new(topMgL + f*(bottomMgL-topMgL))})
	}
	return p
}

func kept(p *pb.Profile) *pb.Record { return &pb.Record{Kind: &pb.Record_Profile{Profile: p}} }

func ready() *farm {
	p := &pb.Plan{RunHoursPerDay: 6, SitePressurePaAbs: 98000, PlanId: "P-0000-0000"}
	for i, east := range []float64{-20, 20} {
		p.Diffusers = append(p.Diffusers, &pb.Diffuser{Label: []string{"D1", "D2"}[i], Lat: midLat, Lon: midLon + east/perLon, DepthM: 4.2, SubmergenceM: 3.9, AirflowM3PerS: float64(unit.SCFM(1))})
	}
	return &farm{
		now: dawn.Add(24 * time.Hour), records: []*pb.Record{kept(profile(dawn, 25, 13, 8.5, 1.2, 4.5))},
		plan: &pb.PlanVersion{RecordId: make([]byte, 16), PlanId: "P-0000-0000", Standing: pb.PlanStanding_PLAN_STANDING_APPROVED, Plan: p},
	}
}

func watched() *pb.StartUpRequest {
	return &pb.StartUpRequest{PondId: pondID[:], Timer: true, DirectDrive: pb.Told_TOLD_NO, Person: "the owner", FirstDay: "2026-06-11"}
}

func valid(t *testing.T, m proto.Message) {
	t.Helper()
	if err := protovalidate.Validate(m); err != nil {
		t.Errorf("the answer breaks its own schema: %v", err)
	}
}

// A pond that may start gets its days with dates, stops and visits.
func TestStartUp(t *testing.T) {
	t.Parallel()
	r, err := ready().service().StartUp(t.Context(), watched())
	if err != nil {
		t.Fatal(err)
	}
	valid(t, r)
	if r.GetWay() != pb.StartWay_START_WAY_BY_DAYS || len(r.GetDays()) < 2 || r.GetDays()[0].GetDay() != "2026-06-11" || r.GetDays()[1].GetDay() != "2026-06-12" {
		t.Fatalf("%v %v %v", r.GetWay(), r.GetDays(), r.GetObjections())
	}
	for _, d := range r.GetDays() {
		if d.GetExpectedMgPerL() < 5-1e-9 || d.GetStopMgPerL() != 4 || d.GetAbortMgPerL() != 3 || d.GetRunS() > 6*3600 {
			t.Errorf("day %v", d)
		}
	}
	if r.GetVisits()[0].GetPerson() != "the owner" || !r.GetNewStart() || r.GetLastRunAt() != nil || r.GetPlan().GetPlanId() != "P-0000-0000" || r.GetPlan().GetPlan() != nil {
		t.Errorf("visits %v, new start %v, plan %v", r.GetVisits(), r.GetNewStart(), r.GetPlan())
	}
	if k := r.GetRisk(); k.GetGate() != pb.OxygenGate_OXYGEN_GATE_RAMP || !(k.GetBad().GetOxygenMgPerL() < k.GetExpected().GetOxygenMgPerL()) || !(k.GetThermoclineM() > 2 && k.GetThermoclineM() < 2.5) {
		t.Errorf("risk %v", k)
	}
}

// Every reason not to start is told by its code, and no day is handed out.
func TestStartUp_Refusals(t *testing.T) {
	t.Parallel()
	only := func(p *pb.Profile) func(*farm, *pb.StartUpRequest) {
		return func(f *farm, _ *pb.StartUpRequest) { f.records = []*pb.Record{kept(p)} }
	}
	good := func(vary func(*pb.Profile)) *pb.Profile {
		p := profile(dawn, 25, 13, 8.5, 1.2, 4.5)
		vary(p)
		return p
	}
	for _, c := range []struct {
		name string
		vary func(*farm, *pb.StartUpRequest)
		code string
	}{
		{"no profile", func(f *farm, _ *pb.StartUpRequest) { f.records = nil }, "NO_PROFILE"},
		{"profile shorter than the pond", only(profile(dawn, 25, 13, 8.5, 1.2, 3.75)), "PROFILE_TOO_SHORT"},
		{"profile in shallow water", only(good(func(p *pb.Profile) { p.Readings, p.BottomDepthM = p.GetReadings()[:12], new(3.0) })), "NOT_AT_DEEPEST_POINT"},
		{"oxygen too low", only(profile(dawn, 25, 13, 4.2, 0, 4.5)), "OXYGEN_TOO_LOW"},
		{"profile too old", func(f *farm, r *pb.StartUpRequest) { f.now, r.FirstDay = dawn.Add(73*time.Hour), "" }, "PROFILE_TOO_OLD"},
		{"afternoon", only(good(func(p *pb.Profile) {
			p.TakenAt, p.TimeOfDay = timestamppb.New(dawn.Add(9*time.Hour)), pb.TimeOfDay_TIME_OF_DAY_DAY
		})), "NOT_AT_DAWN"},
		{"afternoon called dawn", only(good(func(p *pb.Profile) { p.TakenAt = timestamppb.New(dawn.Add(9 * time.Hour)) })), "NOT_AT_DAWN"},
		{"smell", only(good(func(p *pb.Profile) { p.BottomSmell = pb.BottomSmell_BOTTOM_SMELL_ROTTEN_EGGS })), "ROTTEN_EGGS"},
		{"smell in the afternoon after a good dawn", func(f *farm, _ *pb.StartUpRequest) {
			p := profile(dawn.Add(9*time.Hour), 26, 13, 9, 1, 4.5)
			p.TimeOfDay, p.BottomSmell = pb.TimeOfDay_TIME_OF_DAY_DAY, pb.BottomSmell_BOTTOM_SMELL_ROTTEN_EGGS
			f.records = append(f.records, kept(p))
		}, "ROTTEN_EGGS"},
		{"smell not told", only(good(func(p *pb.Profile) { p.BottomSmell = pb.BottomSmell_BOTTOM_SMELL_UNSPECIFIED })), "SMELL_NOT_TOLD"},
		{"too warm", only(profile(dawn, 28.5, 13, 8.5, 1.2, 4.5)), "SURFACE_TOO_WARM"},
		{"warmer than the setting", func(_ *farm, r *pb.StartUpRequest) { r.WarmestSurfaceC = new(24.0) }, "SURFACE_TOO_WARM"},
		{"nobody to stop it", func(_ *farm, r *pb.StartUpRequest) { r.Timer, r.Person = false, "" }, "NOBODY_STOPS_IT"},
		{"direct drive without lock-out", func(_ *farm, r *pb.StartUpRequest) { r.DirectDrive = pb.Told_TOLD_YES }, "NO_LOCKOUT"},
		{"drive not told", func(_ *farm, r *pb.StartUpRequest) { r.DirectDrive = pb.Told_TOLD_UNSPECIFIED }, "NO_LOCKOUT"},
		{"conflict", func(f *farm, _ *pb.StartUpRequest) { f.undecided = []string{"profile"} }, "CONFLICT_UNRESOLVED"},
		{"trout without a limit", func(f *farm, _ *pb.StartUpRequest) {
			f.records = append(f.records, &pb.Record{Kind: &pb.Record_Pond{Pond: &pb.Pond{Uses: []pb.PondUse{pb.PondUse_POND_USE_COLD_WATER_FISH}}}})
		}, "FISH_LIMIT_MISSING"},
		{"water drawn down below the profile's reach", only(good(func(p *pb.Profile) { p.WaterLevelM = new(11.0) })), "PROFILE_TOO_SHORT"},
	} {
		t.Run(strings.ReplaceAll(c.name, " ", "-"), func(t *testing.T) {
			t.Parallel()
			f, req := ready(), watched()
			c.vary(f, req)
			r, err := f.service().StartUp(t.Context(), req)
			if err != nil {
				t.Fatal(err)
			}
			valid(t, r)
			if len(r.GetObjections()) != 1 || r.GetObjections()[0].GetCode() != c.code || len(r.GetDays()) > 0 || r.GetWay() == pb.StartWay_START_WAY_BY_DAYS {
				t.Errorf("%v: objections %v", r.GetWay(), r.GetObjections())
			}
		})
	}
}

// What the request leaves open the plan says: its source, and whether a lock-out was
// planned.
func TestStartUp_DriveByThePlan(t *testing.T) {
	t.Parallel()
	restart := []*pb.Refusal{{Code: plan.CodeRestart, Text: "starts again by itself"}}
	for _, c := range []struct {
		name     string
		source   pb.PowerSource
		refusals []*pb.Refusal
		told     pb.Told
		may      bool
	}{
		{"nobody said", pb.PowerSource_POWER_SOURCE_UNSPECIFIED, nil, pb.Told_TOLD_UNSPECIFIED, false},
		{"mains", pb.PowerSource_POWER_SOURCE_GRID, nil, pb.Told_TOLD_UNSPECIFIED, true},
		{"battery", pb.PowerSource_POWER_SOURCE_SUN_BATTERY, nil, pb.Told_TOLD_UNSPECIFIED, true},
		{"direct with a lock-out", pb.PowerSource_POWER_SOURCE_SUN_DIRECT, nil, pb.Told_TOLD_UNSPECIFIED, true},
		{"direct without", pb.PowerSource_POWER_SOURCE_SUN_DIRECT, restart, pb.Told_TOLD_UNSPECIFIED, false},
		{"built direct in place of mains", pb.PowerSource_POWER_SOURCE_GRID, nil, pb.Told_TOLD_YES, false},
	} {
		f, req := ready(), watched()
		f.plan.Plan.Supply, f.plan.Plan.Refusals, req.DirectDrive = &pb.Supply{Source: c.source}, c.refusals, c.told
		r, err := f.service().StartUp(t.Context(), req)
		if err != nil || (r.GetWay() == pb.StartWay_START_WAY_BY_DAYS) != c.may {
			t.Errorf("%s: %v %v, %v", c.name, r.GetWay(), r.GetObjections(), err)
		}
	}
}

func TestStartUp_WithoutAPlan(t *testing.T) {
	t.Parallel()
	f := ready()
	f.plan = nil
	if _, err := f.service().StartUp(t.Context(), watched()); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("no plan: %v", err)
	}
	f = ready()
	f.plan.Standing = pb.PlanStanding_PLAN_STANDING_DRAFT
	r, err := f.service().StartUp(t.Context(), watched())
	if err != nil {
		t.Fatal(err)
	}
	if last := r.GetCautions()[len(r.GetCautions())-1]; last.GetCode() != "PLAN_NOT_APPROVED" {
		t.Errorf("cautions %v", r.GetCautions())
	}
}

// The first run lies ahead, and no later than the profile is good for.
func TestStartUp_FirstDay(t *testing.T) {
	t.Parallel()
	for day, want := range map[string]codes.Code{"2026-06-09": codes.InvalidArgument, "2026-06-31": codes.InvalidArgument, "2026-06-10": codes.OK} {
		req := watched()
		req.FirstDay = day
		r, err := ready().service().StartUp(t.Context(), req)
		if status.Code(err) != want || err == nil && r.GetDays()[0].GetDay() != day {
			t.Errorf("%s: %v", day, err)
		}
	}
	req := watched()
	req.FirstDay = "2026-06-13"
	if r, err := ready().service().StartUp(t.Context(), req); err != nil || len(r.GetObjections()) != 1 || r.GetObjections()[0].GetCode() != "PROFILE_TOO_OLD" {
		t.Errorf("in four days: %v, %v", r.GetObjections(), err)
	}
}

// A profile that cannot be is refused by name.
func TestStartUp_BadProfile(t *testing.T) {
	t.Parallel()
	f := ready()
	f.records[0].GetProfile().Readings = f.records[0].GetProfile().GetReadings()[:1]
	_, err := f.service().StartUp(t.Context(), watched())
	if status.Code(err) != codes.FailedPrecondition || !strings.Contains(err.Error(), "2026-06-09 10:40") {
		t.Errorf("error %v", err)
	}
}

// Mixed by hand from the bowl's layers: with V(d) = V (1 − d/D)² below a depth, 8.5
// mg/L down to 2 m, a ramp of half a meter and 1.2 mg/L below, oxygen after mixing is
// 6.15 mg/L (closed form of a paraboloid, to the survey's error).
func TestOxygenRisk(t *testing.T) {
	t.Parallel()
	below := func(d float64) float64 { return (1 - d/deepM) * (1 - d/deepM) }
	var want float64
	const n = 2000
	for i := range n {
		d := deepM * (float64(i) + 0.5) / n
		v := below(deepM*float64(i)/n) - below(deepM*float64(i+1)/n)
		want += v * (8.5 + min(1, max(0, (d-2)/0.5))*(1.2-8.5))
	}
	r, err := ready().service().OxygenRisk(t.Context(), &pb.OxygenRiskRequest{PondId: pondID[:]})
	if err != nil {
		t.Fatal(err)
	}
	valid(t, r)
	if got := r.GetExpected().GetOxygenMgPerL(); math.Abs(got-want) > 0.15 {
		t.Errorf("oxygen %v, want %v", got, want)
	}
	if len(r.GetDoubts()) > 0 {
		t.Errorf("doubts %v", r.GetDoubts())
	}
	f := ready()
	f.now = dawn.Add(200 * time.Hour)
	if r, err = f.service().OxygenRisk(t.Context(), &pb.OxygenRiskRequest{PondId: pondID[:]}); err != nil || len(r.GetDoubts()) != 1 || r.GetDoubts()[0].GetCode() != "PROFILE_TOO_OLD" || r.GetBad() == nil {
		t.Errorf("old profile: %v, %v", r, err)
	}
	f.records = nil
	if _, err := f.service().OxygenRisk(t.Context(), &pb.OxygenRiskRequest{PondId: pondID[:]}); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("no profile: %v", err)
	}
}

func TestWinter(t *testing.T) {
	t.Parallel()
	yes := pb.Told_TOLD_YES
	req := &pb.WinterRequest{PondId: pondID[:], Wanted: true, Ice: yes, DirectDrive: pb.Told_TOLD_NO, Permit: yes, Signs: yes, Inspection: yes, Traffic: pb.Told_TOLD_NO}
	if r, err := ready().service().Winter(t.Context(), req); err != nil || !r.GetRun() {
		t.Errorf("%v, %v", r, err)
	}
	f := ready()
	f.records = append(f.records, &pb.Record{Kind: &pb.Record_Pond{Pond: &pb.Pond{Uses: []pb.PondUse{pb.PondUse_POND_USE_WINTER_TRAFFIC}}}})
	if r, err := f.service().Winter(t.Context(), req); err != nil || r.GetRun() || r.GetObjections()[0].GetCode() != "TRAFFIC_ON_ICE" {
		t.Errorf("traffic on record: %v, %v", r, err)
	}
	if r, err := ready().service().Winter(t.Context(), &pb.WinterRequest{PondId: pondID[:], Wanted: true}); err != nil || r.GetRun() || len(r.GetObjections()) != 6 {
		t.Errorf("nothing answered: %v, %v", r, err)
	}
}

// Readings, places and profiles of a summer come together in one review.
func TestReview(t *testing.T) {
	t.Parallel()
	f := ready()
	at := func(day int) *timestamppb.Timestamp { return timestamppb.New(dawn.AddDate(0, 0, day)) }
	f.records = append(f.records,
		&pb.Record{Kind: &pb.Record_Service{Service: &pb.Service{DoneAt: at(2), Work: pb.ServiceWork_SERVICE_WORK_COMMISSIONED}}},
		&pb.Record{Kind: &pb.Record_AsBuilt{AsBuilt: &pb.AsBuilt{Label: "D1", SetAt: at(1), LatDeg: midLat, LonDeg: midLon - 30/perLon, DepthM: new(3.2), WaterLevelM: new(9.0)}}},
		kept(profile(dawn.AddDate(0, 0, 40), 24, 23.6, 7, 6, 4.5)))
	for i := range 6 {
		f.records = append(f.records, &pb.Record{Kind: &pb.Record_Reading{Reading: &pb.Reading{TakenAt: at(3 + 7*i), PressurePaGauge: new(42000 + 2500*float64(i)), CurrentA: new(8.0),
			Boils: []*pb.BoilReading{{Label: "D1", Boil: 2}, {Label: "D2", Boil: uint32(2 - 2*(i/5))}}}}})
	}
	f.now = dawn.AddDate(0, 0, 41)
	r, err := f.service().Review(t.Context(), &pb.ReviewRequest{PondId: pondID[:]})
	if err != nil {
		t.Fatal(err)
	}
	valid(t, r)
	var codes []string
	for _, x := range r.GetFindings() {
		codes = append(codes, x.GetCode()+x.GetLabel())
	}
	if got := strings.Join(codes, " "); got != "NO_BOILD2 PRESSURE_UP" {
		t.Errorf("findings %s", got)
	}
	if len(r.GetTrends()) != 2 || len(r.GetTrends()[0].GetPoints()) != 6 || !r.GetCommissionedAt().AsTime().Equal(at(2).AsTime()) {
		t.Errorf("trends %v", r.GetTrends())
	}
	// The level lay 1 m below the shoreline's: 3.2 m then are 4.2 m, as planned.
	if b := r.GetBuilt(); len(b) != 2 || math.Abs(b[0].GetDistanceM()-10) > 0.1 || math.Abs(b[0].GetDeeperM()) > 1e-9 || !b[1].GetMissing() {
		t.Errorf("built %v", b)
	}
	if o := r.GetRollover(); o.GetState() != pb.RolloverState_ROLLOVER_STATE_DONE || !(o.GetPredictedS() > 0) || math.Abs(o.GetRanS()-38*6*3600) > 1 {
		t.Errorf("rollover %v", o)
	}
	if r.GetNewStart() || !r.GetLastRunAt().AsTime().Equal(at(38).AsTime()) {
		t.Errorf("last run %v, new start %v", r.GetLastRunAt(), r.GetNewStart())
	}
	f.now = dawn.AddDate(0, 0, 44)
	if r, err = f.service().Review(t.Context(), &pb.ReviewRequest{PondId: pondID[:]}); err != nil || !r.GetNewStart() {
		t.Errorf("six days without a reading: %v, %v", r.GetNewStart(), err)
	}
	f.plan, f.records = nil, nil
	if r, err = f.service().Review(t.Context(), &pb.ReviewRequest{PondId: pondID[:]}); err != nil || len(r.GetFindings()) != 1 || !r.GetNewStart() {
		t.Errorf("nothing on record: %v, %v", r, err)
	}
}

// The low end of the measured volume is dosed: 1 mg/L of active ingredient in so
// many cubic meters is as many grams.
func TestTreatment(t *testing.T) {
	t.Parallel()
	m, err := measured()
	if err != nil {
		t.Fatal(err)
	}
	s := ready().service()
	r, err := s.Treatment(t.Context(), &pb.TreatmentRequest{PondId: pondID[:], LevelMgPerL: 1, Basis: pb.LevelBasis_LEVEL_BASIS_ACTIVE, StrengthShare: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	valid(t, r)
	if low := float64(m.Report.Volume.Low); math.Abs(r.GetActiveKg()-low/1000) > 1e-9*low || math.Abs(r.GetProductKg()-2*low/1000) > 1e-9*low || !strings.Contains(r.GetVolumeEnd(), "low end") {
		t.Errorf("%v for %v m³", r, low)
	}
	for name, req := range map[string]*pb.TreatmentRequest{
		"basis not said":              {StrengthShare: 0.5},
		"copper without alkalinity":   {Basis: pb.LevelBasis_LEVEL_BASIS_ACTIVE, StrengthShare: 0.25, Agent: pb.TreatmentAgent_TREATMENT_AGENT_COPPER},
		"copper in soft water":        {Basis: pb.LevelBasis_LEVEL_BASIS_ACTIVE, StrengthShare: 0.25, Agent: pb.TreatmentAgent_TREATMENT_AGENT_COPPER, AlkalinityMgPerL: 40},
		"too much rotenone":           {Basis: pb.LevelBasis_LEVEL_BASIS_ACTIVE, StrengthShare: 0.05, Agent: pb.TreatmentAgent_TREATMENT_AGENT_ROTENONE},
		"all of a weedy pond":         {Basis: pb.LevelBasis_LEVEL_BASIS_ACTIVE, StrengthShare: 0.5, Weedy: true},
		"a part with the aerator on":  {Basis: pb.LevelBasis_LEVEL_BASIS_ACTIVE, StrengthShare: 0.5, PondShare: 0.4, AeratorOff: pb.Told_TOLD_NO},
		"a part, aerator not told":    {Basis: pb.LevelBasis_LEVEL_BASIS_ACTIVE, StrengthShare: 0.5, PondShare: 0.4},
		"above what the label allows": {Basis: pb.LevelBasis_LEVEL_BASIS_ACTIVE, StrengthShare: 0.5, LabelMaxMgPerL: 0.5},
	} {
		req.PondId, req.LevelMgPerL = pondID[:], 1
		if _, err := s.Treatment(t.Context(), req); status.Code(err) != codes.FailedPrecondition {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestStocking(t *testing.T) {
	t.Parallel()
	s := ready().service()
	r, err := s.Stocking(t.Context(), &pb.StockingRequest{PondId: pondID[:]})
	if err != nil || len(r.GetSchemes()) < 5 || len(r.GetFish()) > 0 {
		t.Fatalf("%v, %v", r, err)
	}
	// 1000 bluegill and 100 bass per acre (Clemson HGIC); 20,106 m² are 4.97 acres.
	r, err = s.Stocking(t.Context(), &pb.StockingRequest{PondId: pondID[:], Scheme: "South Carolina, fertilized"})
	if err != nil || len(r.GetFish()) != 2 || r.GetFish()[1].GetLow() > 4970 || r.GetFish()[1].GetLow() < 4600 {
		t.Errorf("%v, %v", r, err)
	}
	if _, err := s.Stocking(t.Context(), &pb.StockingRequest{PondId: pondID[:], Scheme: "by feel"}); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("unknown scheme: %v", err)
	}
}
