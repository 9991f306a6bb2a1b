package care

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/calc/water"
	"pondwright/geo/plan"
	pb "pondwright/proto/pondwright/v1"
)

func objection(o plan.Objection) *pb.Objection {
	return &pb.Objection{Code: o.Code, Text: o.Text.String(), TextTemplate: o.Text.Template(), Remedy: o.Remedy}
}

func objections(list []plan.Objection) []*pb.Objection {
	var out []*pb.Objection
	for _, o := range list {
		out = append(out, objection(o))
	}
	return out
}

func cautions(list []plan.Caution) []*pb.Caution {
	var out []*pb.Caution
	for _, c := range list {
		out = append(out, &pb.Caution{Code: c.Code, Text: c.Text.String(), TextTemplate: c.Text.Template()})
	}
	return out
}

func mixed(o water.Outcome) *pb.MixedWater {
	return &pb.MixedWater{OxygenMgPerL: float64(o.Oxygen), WaterTempC: o.Temperature.Celsius()}
}

var gates = map[water.Gate]pb.OxygenGate{
	water.Stop: pb.OxygenGate_OXYGEN_GATE_STOP, water.Ramp: pb.OxygenGate_OXYGEN_GATE_RAMP, water.Go: pb.OxygenGate_OXYGEN_GATE_GO,
}

// risk is the pond if it turned over tonight.
func risk(m *pb.Profile, in plan.StartInput, d plan.Start) *pb.OxygenRiskResponse {
	out := &pb.OxygenRiskResponse{ProfileTakenAt: m.GetTakenAt()}
	if !in.Profile.HasOxygen() {
		return out
	}
	out.Expected, out.Bad, out.Gate = mixed(d.Expected), mixed(d.Bad), gates[d.Gate]
	out.UpperM3, out.BottomM3 = float64(d.Layers.Upper.Volume), float64(d.Layers.Bottom.Volume)
	if !d.Layers.Mixed {
		out.ThermoclineM = float64(d.Layers.Thermocline)
	}
	for _, a := range d.Assumptions {
		out.Assumptions = append(out.Assumptions, &pb.Assumption{Name: a.Name, Value: a.Value.String(), ValueTemplate: a.Value.Template(), IsDefault: a.Default, Source: a.Source})
	}
	return out
}

var ways = map[plan.StartWay]pb.StartWay{
	plan.StartAtOnce: pb.StartWay_START_WAY_AT_ONCE, plan.StartByDays: pb.StartWay_START_WAY_BY_DAYS,
	plan.StartBySteps: pb.StartWay_START_WAY_LOWER_BY_STEPS, plan.StartNotToday: pb.StartWay_START_WAY_NOT_NOW,
}

const dayFormat = "2006-01-02"

func startMessage(d plan.Start) *pb.StartUpResponse {
	out := &pb.StartUpResponse{
		Way: ways[d.Way], Objections: objections(d.Objections), Instead: d.Instead, Rules: d.Rules, Cautions: cautions(d.Cautions),
	}
	for _, x := range d.Days {
		out.Days = append(out.Days, &pb.StartDay{
			Day: x.Date.Format(dayFormat), RunS: float64(x.Run), ExpectedMgPerL: float64(x.Expected),
			StopMgPerL: float64(x.Stop), AbortMgPerL: float64(x.Abort), LeftM3: float64(x.Left),
		})
	}
	for _, x := range d.Steps {
		out.Steps = append(out.Steps, &pb.StartStep{Day: x.From.Format(dayFormat), DepthM: float64(x.Depth), ExpectedMgPerL: float64(x.Expected)})
	}
	for _, x := range d.Visits {
		out.Visits = append(out.Visits, &pb.StartVisit{Day: x.Date.Format(dayFormat), Person: x.Who, What: x.Why.String(), WhatTemplate: x.Why.Template()})
	}
	return out
}

// rest is when the equipment was last seen running and whether the next
// switching-on is a first start.
func (p *pond) rest(now time.Time) (last *timestamppb.Timestamp, newStart bool) {
	r := plan.RestOf(p.ran(), now, p.where)
	if r.Ever {
		last = timestamppb.New(r.Since)
	}
	return last, r.NewStart
}

func answer(t pb.Told) plan.Answer {
	switch t {
	case pb.Told_TOLD_YES:
		return plan.Yes
	case pb.Told_TOLD_NO:
		return plan.No
	case pb.Told_TOLD_UNSPECIFIED:
	}
	return plan.NotAnswered
}
