package care_test

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "pondwright/proto/pondwright/v1"
)

// twoStations is a pond whose first station fouls and whose second leaks, a reading
// a week at each; the plan expects other gauges at each.
func twoStations() *farm {
	f := ready()
	m := f.plan.GetPlan()
	m.Stations, m.ReliefPaGauge = []*pb.Station{{Diffusers: []uint32{0}}, {Diffusers: []uint32{1}}}, 60e3
	m.Diffusers[1].Station = 1
	m.Commissioning = &pb.Commissioning{Stations: []*pb.GaugeReadings{
		{PressurePaGauge: &pb.Interval{Value: 42e3, Low: 38e3, High: 52e3}, CurrentA: &pb.Interval{Value: 8, Low: 7, High: 9}},
		{PressurePaGauge: &pb.Interval{Value: 43e3, Low: 39e3, High: 53e3}},
	}}
	f.records = append(f.records, work(2, pb.ServiceWork_SERVICE_WORK_COMMISSIONED))
	for week := range 8 {
		f.records = append(f.records,
			gauges(3+7*week, "1", 42e3+2000*float64(week)), gauges(3+7*week, " Station 2", 43e3-2000*float64(week)))
	}
	return f
}

func at(day int) *timestamppb.Timestamp { return timestamppb.New(dawn.AddDate(0, 0, day)) }

func gauges(day int, station string, pa float64) *pb.Record {
	return &pb.Record{Kind: &pb.Record_Reading{Reading: &pb.Reading{TakenAt: at(day), Station: station, PressurePaGauge: &pa, CurrentA: new(8.0)}}}
}

func work(day int, w pb.ServiceWork, labels ...string) *pb.Record {
	return &pb.Record{Kind: &pb.Record_Service{Service: &pb.Service{DoneAt: at(day), Work: w, Labels: labels}}}
}

// found are a review's findings, each with its station.
func found(t *testing.T, f *farm) (*pb.ReviewResponse, string) {
	t.Helper()
	r, err := f.service().Review(t.Context(), &pb.ReviewRequest{PondId: pondID[:]})
	if err != nil {
		t.Fatal(err)
	}
	valid(t, r)
	var out []string
	for _, x := range r.GetFindings() {
		out = append(out, x.GetStation()+":"+x.GetCode())
	}
	return r, strings.Join(out, " ")
}

// One station fouls toward its relief valve, the other leaks: together their
// pressures would cancel.
func TestReview_StationsAreNotMixed(t *testing.T) {
	t.Parallel()
	r, got := found(t, twoStations())
	if got != "1:PRESSURE_UP 1:LIMIT_NEAR 2:PRESSURE_DOWN" {
		t.Errorf("findings %s", got)
	}
	if len(r.GetTrends()) != 4 {
		t.Fatalf("trends %v", r.GetTrends())
	}
	for i, want := range []struct {
		station              string
		normal, clean, limit float64
	}{{"1", 43e3, 38e3, 60e3}, {"1", 8, 7, 0}, {"2", 42e3, 39e3, 60e3}, {"2", 8, 0, 0}} {
		x := r.GetTrends()[i]
		if x.GetStation() != want.station || x.GetNormal() != want.normal || x.GetExpected().GetLow() != want.clean || x.GetLimit() != want.limit || len(x.GetPoints()) != 8 {
			t.Errorf("trend %d: %v", i, x)
		}
	}
}

// Work counts for the station that its labels name, a diffuser of it or itself;
// labels that name neither count for all.
func TestReview_WorkOfOneStation(t *testing.T) {
	t.Parallel()
	for label, want := range map[string]string{
		"D1": "2:PRESSURE_DOWN", "1": "2:PRESSURE_DOWN", "D2": "1:PRESSURE_UP", "station 2": "1:PRESSURE_UP", "pump house": "",
	} {
		f := twoStations()
		f.plan.Plan.ReliefPaGauge = 0
		f.records = append(f.records, work(51, pb.ServiceWork_SERVICE_WORK_VALVE, label))
		if _, got := found(t, f); got != want {
			t.Errorf("%s: %s, want %s", label, got, want)
		}
	}
}

// A reading that names no station belongs to the only one, and is set aside where
// there are several.
func TestReview_StationNotNamed(t *testing.T) {
	t.Parallel()
	f := twoStations()
	f.records = append(f.records, gauges(53, "", 90e3), gauges(54, "3", 90e3))
	r, got := found(t, f)
	if got != "1:PRESSURE_UP 1:LIMIT_NEAR 2:PRESSURE_DOWN :STATION_NOT_NAMED" {
		t.Errorf("findings %s", got)
	}
	if last := r.GetFindings()[3]; !strings.HasPrefix(last.GetText(), "2 of 18 ") || !strings.HasSuffix(last.GetTodo(), ": 1, 2.") {
		t.Errorf("caution %v", last)
	}
	f = ready()
	f.records = append(f.records, work(2, pb.ServiceWork_SERVICE_WORK_COMMISSIONED), gauges(3, "", 42e3), gauges(4, "1", 42e3))
	if r, got = found(t, f); got != "" || len(r.GetTrends()[0].GetPoints()) != 2 || r.GetTrends()[0].GetStation() != "" {
		t.Errorf("one station: %s %v", got, r.GetTrends())
	}
}

// Without a plan the stations are those that the readings name.
func TestReview_StationsWithoutAPlan(t *testing.T) {
	t.Parallel()
	f := twoStations()
	f.plan = nil
	if _, got := found(t, f); got != "1:PRESSURE_UP 2:PRESSURE_DOWN" {
		t.Errorf("findings %s", got)
	}
}
