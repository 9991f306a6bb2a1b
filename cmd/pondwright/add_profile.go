package main

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/client/intake"
	pb "pondwright/proto/pondwright/v1"
)

// addProfile records a profile of the water.
func (a *adder) addProfile(ctx context.Context, name string, p *intake.Profile) error {
	a.tell(p.Problems)
	missing := intake.Problem{Code: intake.CodeValueMissing, File: name, Line: 1}
	switch {
	case len(p.Readings) < 2:
		missing.Code, missing.Line = intake.CodeNoProfile, 0
		missing.Message, missing.Remedy = "holds no profile that can be used", "give at least two depths with temperatures"
		return &inputError{asWarning(missing)}
	case p.Time.IsZero():
		missing.Field, missing.Message = "time", "does not say when the profile was taken"
		missing.Remedy = "add a column time with the time in the first line, as in 2026-06-09T06:10:00-05:00: a start rests on how old it is"
		return &inputError{asWarning(missing)}
	}
	m := &pb.Profile{
		TakenAt: timestamppb.New(p.Time), LatDeg: p.Lat, LonDeg: p.Lon, BottomDepthM: p.BottomM, DemandMgPerL: p.DemandMgL, WaterLevelM: p.LevelM,
		TimeOfDay:   map[string]pb.TimeOfDay{"dawn": pb.TimeOfDay_TIME_OF_DAY_DAWN, "day": pb.TimeOfDay_TIME_OF_DAY_DAY}[p.TimeOfDay],
		BottomSmell: map[string]pb.BottomSmell{"none": pb.BottomSmell_BOTTOM_SMELL_NONE, "rotten eggs": pb.BottomSmell_BOTTOM_SMELL_ROTTEN_EGGS}[p.Smell],
	}
	for _, r := range p.Readings {
		m.Readings = append(m.Readings, &pb.ProfileReading{DepthM: r.DepthM, WaterTempC: r.TempC, OxygenMgPerL: r.OxygenMgL})
	}
	if err := a.store.RecordProfile(ctx, a.pond, a.author, m); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "%s: profile with %d depths\n", name, len(m.GetReadings()))
	return nil
}
