package plan_test

import (
	"testing"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	pole "pondwright/calc/mast"
	"pondwright/calc/sun"
	"pondwright/calc/unit"
	geoplan "pondwright/geo/plan"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/plan"
	"pondwright/server/survey"
)

// The enumerations of the contract run as those of package mast do.
func TestStructure_Enumerations(t *testing.T) {
	t.Parallel()
	for m, want := range map[pb.SoilClass]pole.Soil{
		pb.SoilClass_SOIL_CLASS_UNSPECIFIED: pole.SoilUnknown, pb.SoilClass_SOIL_CLASS_BEDROCK: pole.Bedrock, pb.SoilClass_SOIL_CLASS_SEDIMENTARY_ROCK: pole.SedimentaryRock,
		pb.SoilClass_SOIL_CLASS_GRAVEL: pole.Gravel, pb.SoilClass_SOIL_CLASS_SAND: pole.Sand, pb.SoilClass_SOIL_CLASS_CLAY: pole.Clay, pb.SoilClass_SOIL_CLASS_ORGANIC: pole.Organic,
	} {
		if got := plan.Structure(&pb.MastStructure{Soil: m}).Ground.Soil; got != want {
			t.Errorf("%v is read as %v", m, got)
		}
	}
	for m, want := range map[pb.WindMap]pole.Edition{
		pb.WindMap_WIND_MAP_ASCE_7_05: pole.ASCE705, pb.WindMap_WIND_MAP_ASCE_7_10: pole.ASCE710, pb.WindMap_WIND_MAP_ASCE_7_16: pole.ASCE716, pb.WindMap_WIND_MAP_ASCE_7_22: pole.ASCE722,
	} {
		if got := plan.Structure(&pb.MastStructure{WindMap: m}).Wind.Map; got != want {
			t.Errorf("%v is read as %v", m, got)
		}
	}
	for m, want := range map[pb.WindExposure]pole.Exposure{
		pb.WindExposure_WIND_EXPOSURE_B: pole.ExposureB, pb.WindExposure_WIND_EXPOSURE_C: pole.ExposureC, pb.WindExposure_WIND_EXPOSURE_D: pole.ExposureD,
	} {
		if got := plan.Structure(&pb.MastStructure{Exposure: m}).Wind.Exposure; got != want {
			t.Errorf("%v is read as %v", m, got)
		}
	}
}

func TestPower_FromMessage(t *testing.T) {
	t.Parallel()
	if plan.Power(nil, nil, time.Time{}) != nil || plan.Structure(nil) != nil {
		t.Error("nothing said is read as something")
	}
	day := time.Date(2026, 6, 9, 0, 0, 0, 0, time.UTC)
	got := plan.Power(&pb.PowerChoice{
		Source: pb.PowerSource_POWER_SOURCE_SUN_BATTERY, SeasonMonths: []uint32{5, 6}, AirShare: 0.3, Lockout: true,
		Climate: &pb.MonthlyClimate{IrradiationWhPerM2: []float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}},
		Panels:  &pb.PanelChoice{PowerW: 400, Count: 3, TiltDeg: proto.Float64(30), AzimuthDeg: proto.Float64(170), ColdestC: proto.Float64(-20)},
		Battery: &pb.BatteryChoice{CapacityWh: 9000, Kind: pb.BatteryKind_BATTERY_KIND_LITHIUM_IRON},
		Wiring:  &pb.WiringChoice{VoltageV: 48, LengthM: 9, Gauge: "10 AWG"},
		Grid:    &pb.GridChoice{LengthM: 100},
	}, &pb.MastSite{HorizonSeen: true, Horizon: []*pb.HorizonPoint{{AzimuthDeg: 90, ElevationDeg: 10}}}, day)
	if got.Source != geoplan.SunBattery || got.Season != sun.Between(time.May, time.June) || got.Efficiency != 0.3 || !got.Lockout || !got.HorizonKnown || len(got.Horizon) != 1 || got.Day != day {
		t.Errorf("power %+v", got)
	}
	if p := got.Panels; p.Module.Power != 400 || p.Count != 3 || p.Tilt.Degrees() < 29.99 || p.Azimuth == nil || p.Coldest != unit.Celsius(-20) {
		t.Errorf("panels %+v", p)
	}
	if got.Battery.Capacity != 9000 || got.Battery.Kind != sun.LithiumIron() || got.Wiring.Gauge.Name != "10 AWG" || got.Grid.Length != 100 || got.Climate.Irradiation[11] != 12 || got.Climate.Wind != nil {
		t.Errorf("battery %+v, wiring %+v, climate %+v", got.Battery, got.Wiring, got.Climate)
	}
}

// A plan with everything in it is sent whole and within the contract's own limits.
func TestMessage_Power(t *testing.T) {
	t.Parallel()
	compass := sun.Panel{}.Azimuth
	cost := 12.0
	report, err := pole.Size(pole.Design{
		Array: pole.Array{Area: 2, Tilt: 0.7, Center: 2}, Pole: pole.Pole{Section: pole.Schedule40()[4]}, Footing: pole.Footing{Width: 0.5},
	})
	if err != nil {
		t.Fatal(err)
	}
	m0, err := measured()
	if err != nil {
		t.Fatal(err)
	}
	made, in := &geoplan.Plan{Constraint: geoplan.None}, geoplan.Input{Shore: m0.Input.Shore}
	made.Supply = &geoplan.Supply{Source: geoplan.SunDirect, Panels: 3, Compass: &compass, Declination: &compass, Worst: time.October, Wire: &geoplan.Wire{}}
	made.Structure = &geoplan.MastVerdict{Report: report, Verdict: report.Verdict, Defaults: report.Assumed, Sought: true}
	made.Alternatives = []geoplan.Alternative{{Change: geoplan.ByGrid, Text: "mains", Meets: true, Cost: &cost, Items: []geoplan.Item{{Name: geoplan.ItemCable, Unit: "m", Quantity: 4}}}}
	made.Sources = []geoplan.SourceMonths{{Source: geoplan.Grid, Worst: time.May}}
	made.Commissioning = &geoplan.Commissioning{}
	made.Refusals = []geoplan.Refusal{{Code: geoplan.CodeDam, Text: "dam", Remedy: "draw it", Field: "no_dam"}}
	m := plan.Message(made, in)
	for _, part := range []proto.Message{m.GetSupply(), m.GetMastVerdict(), m.GetAlternatives()[0], m.GetSources()[0], m.GetCommissioning(), m.GetRefusals()[0]} {
		if err := protovalidate.Validate(part); err != nil {
			t.Error(err)
		}
	}
	if m.GetSupply().GetSource() != pb.PowerSource_POWER_SOURCE_SUN_DIRECT || len(m.GetSupply().GetMonths()) != 12 || m.GetSupply().CompassDeg == nil ||
		m.GetMastVerdict().GetJudgement() != pb.MastJudgement_MAST_JUDGEMENT_UNVERIFIED || len(m.GetMastVerdict().GetDefaults()) == 0 || !m.GetMastVerdict().GetDepthSought() ||
		m.GetAlternatives()[0].GetCost() != 12 || m.GetAlternatives()[0].GetChange() != pb.ChangeKind_CHANGE_KIND_GRID || m.GetSources()[0].GetSource() != pb.PowerSource_POWER_SOURCE_GRID ||
		len(m.GetSources()[0].GetRunHoursPerDay()) != 12 || m.GetRefusals()[0].GetRemedy() != "draw it" || m.GetCommissioning() == nil {
		t.Errorf("message %v", m)
	}
}

// A request that says what drives the air gets its months, sources and refusals;
// the levels of the record count.
func TestPropose_Power(t *testing.T) {
	t.Parallel()
	low, high := -0.2, 0.3
	c := serve(t, &ponds{vary: func(p *survey.Pond) { p.Levels = &pb.PondLevels{UsualLowM: &low, HighestM: &high} }})
	req := stored()
	req.TargetTurnoversPerDay = new(0.1)
	req.Equipment = &pb.EquipmentChoice{Power: &pb.PowerChoice{Source: pb.PowerSource_POWER_SOURCE_SUN_DIRECT, Panels: &pb.PanelChoice{Count: 3, PowerW: 400}}}
	_, p, err := propose(t.Context(), c, req)
	if err != nil {
		t.Fatal(err)
	}
	if err := protovalidate.Validate(p); err != nil {
		t.Error(err)
	}
	if !p.GetRunHoursVerified() || p.GetRunHoursPerDay() <= 0 || p.GetRunHoursPerDay() >= 24 || len(p.GetSupply().GetMonths()) != 12 || len(p.GetSources()) != 4 {
		t.Errorf("%g h, supply %v, %d sources", p.GetRunHoursPerDay(), p.GetSupply(), len(p.GetSources()))
	}
	if p.GetMastVerdict().GetJudgement() == pb.MastJudgement_MAST_JUDGEMENT_ENOUGH || p.GetMastVerdict() == nil {
		t.Errorf("a mast nobody described: %v", p.GetMastVerdict())
	}
	found := false
	for _, a := range p.GetAssumptions() {
		found = found || a.GetName() == "water levels" && !a.GetIsDefault()
	}
	if !found {
		t.Error("the levels on record are not used")
	}
}
