package pondwrightv1_test

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "pondwright/proto/pondwright/v1"
)

// jsonOf is the form in which the program prints messages: default values
// written out.
func jsonOf(t *testing.T, m proto.Message) map[string]any {
	t.Helper()
	text, err := protojson.MarshalOptions{EmitDefaultValues: true}.Marshal(m)
	if err != nil {
		t.Fatalf("Marshal: %v", err)
	}
	var got map[string]any
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatalf("Unmarshal: %v", err)
	}
	return got
}

// TestJSON_NamesThatOthersRead pins the keys and the number types of the two
// documents that other programs read.
func TestJSON_NamesThatOthersRead(t *testing.T) {
	t.Parallel()
	interval := func() *pb.Interval { return &pb.Interval{Value: 2, Low: 1, High: 3} }
	wantInterval := map[string]any{"value": 2.0, "low": 1.0, "high": 3.0}

	report := jsonOf(t, &pb.SurveyReport{
		AreaM2: interval(), VolumeM3: interval(), MeanDepthM: interval(), MaxDepthM: interval(),
		ShorelineM: 400.5, SoundingsUsed: 1200,
		Curve:    []*pb.CurveRow{{DepthM: 0, AreaM2: 9000, VolumeM3: 12000}},
		Warnings: []*pb.Warning{{Code: "CSV_LINE_CUT", File: "a.csv", Line: 7, Field: "lat", Message: "cut", Remedy: "send again"}},
	})
	wantReport := map[string]any{
		"areaM2": wantInterval, "volumeM3": wantInterval, "meanDepthM": wantInterval, "maxDepthM": wantInterval,
		"shorelineM": 400.5, "soundingsUsed": 1200.0, "soundingsRejected": 0.0,
		"curve": []any{map[string]any{"depthM": 0.0, "areaM2": 9000.0, "volumeM3": 12000.0}},
		"warnings": []any{map[string]any{
			"code": "CSV_LINE_CUT", "file": "a.csv", "line": 7.0, "field": "lat", "message": "cut", "remedy": "send again",
		}},
	}
	if diff := cmp.Diff(wantReport, report); diff != "" {
		t.Errorf("SurveyReport JSON (-want +got):\n%s", diff)
	}

	plan := jsonOf(t, &pb.Plan{
		Diffusers: []*pb.Diffuser{{
			Lat: 40.5, Lon: -80.5, DepthM: 3, AirflowM3PerS: 0.001, LiftM3PerS: 0.2,
			Hose: &pb.Hose{LengthM: 60, WaterM: 40, TrenchM: 15, BoreM: 0.0158, Route: []*pb.RoutePoint{{Lat: 40.5, Lon: -80.5}}},
		}},
		TurnoversPerDay: interval(), RunHoursPerDay: 24, SiteGap: 0.01,
		BindingConstraint: pb.Plan_AIR_SUPPLY, Shortfall: "1.8 times the air",
		Cautions: []*pb.Caution{{Code: "RUN_HOURS_UNVERIFIED", Text: "run hours are unverified"}},
	})
	wantPlan := map[string]any{
		"turnoversPerDay": wantInterval, "runHoursPerDay": 24.0, "siteGap": 0.01,
		"bindingConstraint": "AIR_SUPPLY", "shortfall": "1.8 times the air",
		"cautions": []any{map[string]any{"code": "RUN_HOURS_UNVERIFIED", "text": "run hours are unverified", "textTemplate": ""}},
	}
	checkSubset(t, "plan", wantPlan, plan)
	diffuser, _ := plan["diffusers"].([]any)[0].(map[string]any)
	checkSubset(t, "diffuser", map[string]any{
		"lat": 40.5, "lon": -80.5, "depthM": 3.0, "airflowM3PerS": 0.001, "liftM3PerS": 0.2,
	}, diffuser)
	hose, _ := diffuser["hose"].(map[string]any)
	checkSubset(t, "hose", map[string]any{
		"lengthM": 60.0, "waterM": 40.0, "trenchM": 15.0, "boreM": 0.0158,
		"route": []any{map[string]any{"lat": 40.5, "lon": -80.5}},
	}, hose)
}

func checkSubset(t *testing.T, what string, want, got map[string]any) {
	t.Helper()
	for key, w := range want {
		if diff := cmp.Diff(w, got[key]); diff != "" {
			t.Errorf("%s JSON, key %s (-want +got):\n%s", what, key, diff)
		}
	}
}

func TestJSON_BindingConstraintNames(t *testing.T) {
	t.Parallel()
	var got []string
	values := pb.Plan_BindingConstraint(0).Descriptor().Values()
	for i := range values.Len() {
		got = append(got, string(values.Get(i).Name()))
	}
	want := []string{"UNSPECIFIED", "NONE", "AIR_SUPPLY", "RUN_HOURS", "COVERAGE", "DEPTH", "HOSE", "PRESSURE", "INPUT_MISSING"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("values (-want +got):\n%s", diff)
	}
}

// TestSchema_EveryDoubleIsFinite holds every double of the schema to a finite
// value: a NaN that slips through a range check spoils every sum behind it.
func TestSchema_EveryDoubleIsFinite(t *testing.T) {
	t.Parallel()
	doubles := 0
	eachField(func(f protoreflect.FieldDescriptor) {
		if f.Kind() != protoreflect.DoubleKind {
			return
		}
		doubles++
		rules, _ := proto.GetExtension(f.Options(), validate.E_Field).(*validate.FieldRules)
		if f.IsList() {
			rules = rules.GetRepeated().GetItems()
		}
		if !rules.GetDouble().GetFinite() {
			t.Errorf("%s may be NaN or infinite", f.FullName())
		}
	})
	if doubles == 0 {
		t.Fatal("found no double in the schema")
	}
}

// TestSchema_NamesCarryUnits asks every double for a unit suffix, or for a name
// that is a plain number by its meaning.
func TestSchema_NamesCarryUnits(t *testing.T) {
	t.Parallel()
	suffixes := []string{"_m", "_ft", "_m2", "_m3", "_m3_per_s", "_m_per_s", "_s", "_c", "_deg", "_pa", "_pa_gauge", "_pa_abs", "_pa_s_per_m3", "_per_day", "_mg_per_l", "_a", "_v", "_kg_per_m3", "_factor", "_share", "_gap", "_n", "_kg", "_w", "_wh", "_d"}
	plain := map[protoreflect.FullName]string{
		"pondwright.v1.Interval.value":        "unit in the name of the field that holds it",
		"pondwright.v1.Interval.low":          "as value",
		"pondwright.v1.Interval.high":         "as value",
		"pondwright.v1.Interval.low80":        "as value",
		"pondwright.v1.Interval.high80":       "as value",
		"pondwright.v1.RoutePoint.lat":        "degrees; other programs read this name",
		"pondwright.v1.RoutePoint.lon":        "as lat",
		"pondwright.v1.Diffuser.lat":          "as RoutePoint.lat",
		"pondwright.v1.Diffuser.lon":          "as RoutePoint.lat",
		"pondwright.v1.PlanProgress.share":    "a share",
		"pondwright.v1.MastCheck.demand":      "its unit is in a field beside it",
		"pondwright.v1.MastCheck.capacity":    "as demand",
		"pondwright.v1.BillItem.quantity":     "as MastCheck.demand",
		"pondwright.v1.PriceRow.each":         "the user's own money",
		"pondwright.v1.Alternative.cost":      "as PriceRow.each",
		"pondwright.v1.SourceComparison.cost": "as PriceRow.each",

		"pondwright.v1.FigureChange.before": "unit in the name beside it",
		"pondwright.v1.FigureChange.after":  "as before",

		"pondwright.v1.GaugePoint.value":     "unit in the quantity of its trend",
		"pondwright.v1.GaugeTrend.normal":    "unit in quantity",
		"pondwright.v1.GaugeTrend.now":       "as normal",
		"pondwright.v1.GaugeTrend.per_month": "as normal, in 30 days",
		"pondwright.v1.GaugeTrend.band":      "as normal",
		"pondwright.v1.GaugeTrend.limit":     "as normal",
	}
	eachField(func(f protoreflect.FieldDescriptor) {
		if f.Kind() != protoreflect.DoubleKind || plain[f.FullName()] != "" {
			return
		}
		for _, s := range suffixes {
			if strings.HasSuffix(string(f.Name()), s) {
				return
			}
		}
		t.Errorf("%s has no unit in its name", f.FullName())
	})
}

func eachField(visit func(protoreflect.FieldDescriptor)) {
	protoregistry.GlobalFiles.RangeFilesByPackage("pondwright.v1", func(file protoreflect.FileDescriptor) bool {
		eachMessage(file.Messages(), func(m protoreflect.MessageDescriptor) {
			for i := range m.Fields().Len() {
				visit(m.Fields().Get(i))
			}
		})
		return true
	})
}

func eachMessage(ms protoreflect.MessageDescriptors, visit func(protoreflect.MessageDescriptor)) {
	for i := range ms.Len() {
		visit(ms.Get(i))
		eachMessage(ms.Get(i).Messages(), visit)
	}
}

// TestSchema_EveryRuleCompiles builds a validator for every message; a rule of
// the wrong type only shows there.
func TestSchema_EveryRuleCompiles(t *testing.T) {
	t.Parallel()
	var all []protoreflect.MessageDescriptor
	protoregistry.GlobalFiles.RangeFilesByPackage("pondwright.v1", func(file protoreflect.FileDescriptor) bool {
		eachMessage(file.Messages(), func(m protoreflect.MessageDescriptor) { all = append(all, m) })
		return true
	})
	v, err := protovalidate.New(protovalidate.WithMessageDescriptors(all...), protovalidate.WithDisableLazy())
	if err != nil {
		t.Fatalf("New: %v", err)
	}
	for _, m := range all {
		mt, err := protoregistry.GlobalTypes.FindMessageByName(m.FullName())
		if err != nil {
			t.Fatalf("FindMessageByName(%s): %v", m.FullName(), err)
		}
		var bad *protovalidate.CompilationError
		if err := v.Validate(mt.New().Interface()); errors.As(err, &bad) {
			t.Errorf("%s: %v", m.FullName(), bad)
		}
	}
}

func TestSchema_ShapeIsChecked(t *testing.T) {
	t.Parallel()
	id := func(n int) []byte { return make([]byte, n) }
	ring := &pb.Ring{Points: []*pb.LatLng{{}, {LatDeg: 1}, {LonDeg: 1}}}
	record := func(change func(*pb.Record)) *pb.Record {
		r := &pb.Record{RecordId: id(16), Kind: &pb.Record_Pond{Pond: &pb.Pond{Name: "Low Meadow"}}}
		change(r)
		return r
	}
	tests := []struct {
		name string
		msg  proto.Message
		bad  string // the field refused; empty: accepted
	}{
		{"record", record(func(*pb.Record) {}), ""},
		{"record with a short id", record(func(r *pb.Record) { r.RecordId = id(15) }), "record_id"},
		{"record of nothing", record(func(r *pb.Record) { r.Kind = nil }), "kind"},
		{"pond without a name", &pb.Pond{}, "name"},
		{"pond with a level that is no number", &pb.Pond{Name: "a", FullLevelM: new(math.NaN())}, "full_level_m"},
		{"pond used twice for the same", &pb.Pond{Name: "a", Uses: []pb.PondUse{1, 1}}, "uses"},
		{"pond with an unsaid use", &pb.Pond{Name: "a", Uses: []pb.PondUse{0}}, "uses[0]"},
		{"shoreline", &pb.Shoreline{Outer: ring}, ""},
		{"shoreline without a ring", &pb.Shoreline{}, "outer"},
		{"shoreline of two corners", &pb.Shoreline{Outer: &pb.Ring{Points: ring.GetPoints()[:2]}}, "outer.points"},
		{"shoreline with an odd day", &pb.Shoreline{Outer: ring, DrawnOn: "31.7.2026"}, "drawn_on"},
		{"latitude beyond the pole", &pb.LatLng{LatDeg: 90.1}, "lat_deg"},
		{"visit", &pb.Visit{Day: "2026-07-31", WaterLevels: []*pb.WaterLevelReading{{Time: &timestamppb.Timestamp{Seconds: 1785000000}}}}, ""},
		{"visit without a day", &pb.Visit{}, "day"},
		{"level without a time", &pb.WaterLevelReading{}, "time"},
		{"draft above the limit", &pb.InstrumentSetup{DraftM: new(5.01)}, "draft_m"},
		{"draft not given", &pb.InstrumentSetup{}, ""},
		{"pass without a reference", &pb.Pass{PassId: id(16)}, "reference"},
		{"pass without a visit", &pb.Pass{PassId: id(16), Reference: pb.ReadingReference_READING_REFERENCE_BELOW_SURFACE}, ""},
		{"correction without a reason", &pb.Correction{LogId: id(16), Seq: 1, Action: pb.CorrectionAction_CORRECTION_ACTION_ACCEPT, Person: "R."}, "reason"},
		{"block", &pb.Block{Frame: id(96)}, ""},
		{"block cut short", &pb.Block{Frame: id(95)}, "frame"},
		{"block above 264 KiB", &pb.Block{Frame: id(270337)}, "frame"},
		{"curve point with negative flow", &pb.AirPoint{FlowM3PerS: -1e-9}, "flow_m3_per_s"},
		{"pull of no pond", &pb.PullRequest{}, "pond_ids"},
		{"cell token in capitals", &pb.ListSoundingsRequest{PondId: id(16), CellTokens: []string{"89AB"}}, "cell_tokens[0]"},
		{"plan that names no constraint", &pb.Plan{}, "binding_constraint"},
		{"proposal with no pond", &pb.ProposeRequest{}, "pond"},
		{"proposal for no compressor", &pb.ProposeRequest{Pond: &pb.ProposeRequest_PondId{PondId: id(16)}, Compressors: new(uint32(0))}, "compressors"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			err := protovalidate.Validate(tt.msg)
			switch {
			case tt.bad == "" && err != nil:
				t.Errorf("Validate = %v, want nil", err)
			case tt.bad != "" && err == nil:
				t.Errorf("Validate = nil, want a violation of %s", tt.bad)
			case tt.bad != "" && !strings.Contains(err.Error(), tt.bad):
				t.Errorf("Validate = %v, want a violation of %s", err, tt.bad)
			}
		})
	}
}
