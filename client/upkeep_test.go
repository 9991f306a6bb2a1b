package client_test

import (
	"errors"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// A profile, a reading and a service stored twice are there once, in order of time;
// a diffuser set anew takes the place of the old one.
func TestUpkeep(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	c, err := client.Open(ctx, t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	}()
	pond := block.PondID("upkeep")
	at := func(day int) *timestamppb.Timestamp {
		return timestamppb.New(time.Date(2026, 6, day, 11, 0, 0, 0, time.UTC))
	}
	for range 2 {
		err := errors.Join(
			c.RecordProfile(ctx, pond, "crew", &pb.Profile{TakenAt: at(2), Readings: []*pb.ProfileReading{{DepthM: 1, WaterTempC: 20}}}),
			c.RecordProfile(ctx, pond, "crew", &pb.Profile{TakenAt: at(1), Readings: []*pb.ProfileReading{{DepthM: 1, WaterTempC: 19}}}),
			c.RecordReading(ctx, pond, "crew", &pb.Reading{TakenAt: at(3), PressurePaGauge: new(45000.0)}),
			c.RecordService(ctx, pond, "crew", &pb.Service{DoneAt: at(4), Work: pb.ServiceWork_SERVICE_WORK_FILTER}),
		)
		if err != nil {
			t.Fatal(err)
		}
	}
	for i, label := range []string{"D2", "D1", "D2"} {
		if err := c.RecordAsBuilt(ctx, pond, "crew", &pb.AsBuilt{Label: label, SetAt: at(5 + i), LatDeg: 45, LonDeg: -93, DepthM: new(float64(i))}); err != nil {
			t.Fatal(err)
		}
	}
	u, err := c.Upkeep(ctx, pond)
	if err != nil {
		t.Fatal(err)
	}
	if len(u.Profiles) != 2 || u.Profiles[0].GetTakenAt().AsTime().Day() != 1 || len(u.Readings) != 1 || len(u.Services) != 1 {
		t.Errorf("upkeep %+v", u)
	}
	if len(u.AsBuilt) != 2 || u.AsBuilt[0].GetLabel() != "D1" || u.AsBuilt[1].GetDepthM() != 2 {
		t.Errorf("as built %v", u.AsBuilt)
	}
	for name, err := range map[string]error{
		"profile without time":    c.RecordProfile(ctx, pond, "", &pb.Profile{Readings: []*pb.ProfileReading{{}}}),
		"profile of nothing":      c.RecordProfile(ctx, pond, "", &pb.Profile{TakenAt: at(1)}),
		"reading without time":    c.RecordReading(ctx, pond, "", &pb.Reading{}),
		"service of nothing":      c.RecordService(ctx, pond, "", &pb.Service{DoneAt: at(1)}),
		"diffuser without a name": c.RecordAsBuilt(ctx, pond, "", &pb.AsBuilt{SetAt: at(1)}),
	} {
		if !errors.Is(err, client.ErrRecordInvalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
