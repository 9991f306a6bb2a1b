package care

import (
	"context"
	"math"
	"slices"
	"time"

	"github.com/golang/geo/s2"
	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/calc/air"
	"pondwright/calc/gauge"
	"pondwright/calc/unit"
	"pondwright/geo/plan"
	pb "pondwright/proto/pondwright/v1"
)

// Winter says whether air may run in winter.
func (s *Service) Winter(ctx context.Context, req *pb.WinterRequest) (*pb.WinterResponse, error) {
	p, err := s.read(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	w := plan.DecideWinter(plan.WinterInput{
		Wanted: req.GetWanted(), Ice: answer(req.GetIce()), Direct: req.GetDirectDrive() != pb.Told_TOLD_NO,
		Permit: answer(req.GetPermit()), Signs: answer(req.GetSigns()), Inspect: answer(req.GetInspection()), Traffic: answer(req.GetTraffic()),
		TrafficUse: slices.Contains(p.uses, pb.PondUse_POND_USE_WINTER_TRAFFIC),
	})
	return &pb.WinterResponse{Run: w.Run, Objections: objections(w.Objections), Todo: w.Do, Cautions: cautions(w.Cautions)}, nil
}

// Review holds gauges, places and profiles against commissioning and plan. Without
// a plan it says what it can.
func (s *Service) Review(ctx context.Context, req *pb.ReviewRequest) (*pb.ReviewResponse, error) {
	p, err := s.read(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	v, err := s.plan(ctx, p)
	if err != nil {
		return nil, err
	}
	out := new(pb.ReviewResponse)
	p.gauges(v.GetPlan(), out)
	if v != nil {
		p.places(v.GetPlan(), out)
	}
	if out.Rollover, err = p.rollover(v.GetPlan()); err != nil {
		return nil, err
	}
	out.LastRunAt, out.NewStart = p.rest(s.now())
	return out, nil
}

var works = map[pb.ServiceWork]gauge.Work{
	pb.ServiceWork_SERVICE_WORK_COMMISSIONED: gauge.Commissioned, pb.ServiceWork_SERVICE_WORK_FILTER: gauge.Filter,
	pb.ServiceWork_SERVICE_WORK_VALVE: gauge.Valve, pb.ServiceWork_SERVICE_WORK_DIFFUSER: gauge.Diffuser,
	pb.ServiceWork_SERVICE_WORK_HOSE: gauge.Hose, pb.ServiceWork_SERVICE_WORK_COMPRESSOR: gauge.Compressor,
}

var quantities = map[gauge.Quantity]string{gauge.Pressure: "pressure_pa_gauge", gauge.Current: "current_a"}

// gauges adds what the gauges say, each station by itself.
func (p *pond) gauges(m *pb.Plan, out *pb.ReviewResponse) {
	list := stations(m, p.readings)
	for _, s := range list {
		p.station(m, s, list, out)
	}
	if f := setAside(list, p.readings); f != nil {
		out.Findings = append(out.Findings, f)
	}
}

// station adds what the gauges of one station of a list say.
func (p *pond) station(m *pb.Plan, s station, list []station, out *pb.ReviewResponse) {
	var done []gauge.Done
	for _, d := range p.services {
		if w, ok := works[d.GetWork()]; ok && s.concerned(list, d.GetLabels()) {
			done = append(done, gauge.Done{At: d.GetDoneAt().AsTime(), Work: w})
		}
	}
	var readings []gauge.Reading
	for _, r := range p.readings {
		if len(list) == 1 || stationName(r.GetStation()) == s.name {
			readings = append(readings, reading(r))
		}
	}
	report := gauge.Judge(readings, done, gauge.Limits{Pressure: unit.PascalsGauge(m.GetReliefPaGauge()), Static: air.Head(p.deepest(m, s), 1000)})
	if at := out.GetCommissionedAt(); !report.From.IsZero() && (at == nil || report.From.After(at.AsTime())) {
		out.CommissionedAt = timestamppb.New(report.From)
	}
	for _, t := range report.Trends {
		g := &pb.GaugeTrend{Quantity: quantities[t.Quantity], Normal: t.Normal, Now: t.Now, PerMonth: t.PerMonth, Band: t.Band, Station: s.name}
		switch t.Quantity {
		case gauge.Pressure:
			g.Expected, g.Limit = s.expected.GetPressurePaGauge(), m.GetReliefPaGauge()
		case gauge.Current:
			g.Expected = s.expected.GetCurrentA()
		}
		for _, x := range t.Points {
			g.Points = append(g.Points, &pb.GaugePoint{Time: timestamppb.New(x.At), Value: x.Value})
		}
		out.Trends = append(out.Trends, g)
	}
	for _, f := range report.Findings {
		out.Findings = append(out.Findings, &pb.Finding{Code: string(f.Code), Label: f.Label, Text: f.Text, Todo: f.Do, Station: s.name})
	}
}

func reading(r *pb.Reading) gauge.Reading {
	out := gauge.Reading{At: r.GetTakenAt().AsTime()}
	if r.PressurePaGauge != nil {
		out.Pressure = new(unit.PascalsGauge(r.GetPressurePaGauge()))
	}
	if r.CurrentA != nil {
		out.Current = new(unit.Amperes(r.GetCurrentA()))
	}
	if r.VoltageV != nil {
		out.Voltage = new(unit.Volts(r.GetVoltageV()))
	}
	if r.WaterLevelM != nil {
		out.Level = new(unit.Meters(r.GetWaterLevelM()))
	}
	if r.AirTempC != nil {
		out.Air = new(unit.Celsius(r.GetAirTempC()))
	}
	for _, b := range r.GetBoils() {
		out.Boils = append(out.Boils, gauge.Boil{Label: b.GetLabel(), Seen: int(b.GetBoil())})
	}
	return out
}

// places adds the diffusers as built.
func (p *pond) places(m *pb.Plan, out *pb.ReviewResponse) {
	if len(p.built) == 0 {
		return
	}
	var planned, built []plan.Setting
	for _, d := range m.GetDiffusers() {
		planned = append(planned, plan.Setting{Label: d.GetLabel(), At: s2.LatLngFromDegrees(d.GetLat(), d.GetLon()), Depth: unit.Meters(d.GetDepthM())})
	}
	slices.SortStableFunc(p.built, byLabel)
	for _, b := range p.built {
		s := plan.Setting{Label: b.GetLabel(), At: s2.LatLngFromDegrees(b.GetLatDeg(), b.GetLonDeg()), Depth: unit.Meters(math.NaN())}
		if b.DepthM != nil {
			s.Depth = p.builtDepth(b)
		}
		built = append(built, s)
	}
	for _, d := range plan.CompareBuilt(planned, built) {
		x := &pb.BuiltDiffuser{Label: d.Label, Missing: d.Missing, Extra: d.Extra, DistanceM: float64(d.Distance), BearingDeg: d.Bearing, Verdict: d.Verdict.String(), VerdictTemplate: d.Verdict.Template()}
		if !math.IsNaN(float64(d.Deeper)) {
			x.DeeperM = new(float64(d.Deeper))
		}
		out.Built = append(out.Built, x)
	}
}

var states = map[plan.Rolled]pb.RolloverState{
	plan.RolledOver: pb.RolloverState_ROLLOVER_STATE_DONE, plan.RolledWarm: pb.RolloverState_ROLLOVER_STATE_WARM_BUT_DEAD,
	plan.RolledPart: pb.RolloverState_ROLLOVER_STATE_PARTLY, plan.StillLayers: pb.RolloverState_ROLLOVER_STATE_LAYERED,
}

// rollover holds the newest profile against the last one from before the air ran;
// nil where there are not both.
func (p *pond) rollover(m *pb.Plan) (*pb.RolloverReport, error) {
	ran := p.ran()
	if len(ran) == 0 || len(p.profiles) < 2 {
		return nil, nil
	}
	first, after := ran[0], p.profiles[len(p.profiles)-1]
	var before *pb.Profile
	for _, x := range p.profiles {
		if !x.GetTakenAt().AsTime().After(first) {
			before = x
		}
	}
	if before == nil || before == after {
		return nil, nil
	}
	in := plan.RolloverInput{
		Taken: before.GetTakenAt().AsTime(), TakenAfter: after.GetTakenAt().AsTime(), Air: unit.StandardPressure,
		Jets: p.jets(m, p.drawdown(before.WaterLevelM)),
	}
	if site := unit.Pascals(m.GetSitePressurePaAbs()); site > 0 {
		in.Air = site
	}
	days := in.TakenAfter.Sub(first).Hours() / 24
	in.Ran = time.Duration(days * m.GetRunHoursPerDay() * float64(time.Hour))
	var err error
	if in.Before, err = profileOf(before); err != nil {
		return nil, err
	}
	if in.After, err = profileOf(after); err != nil {
		return nil, err
	}
	if in.Curve, err = p.hypsograph(p.drawdown(before.WaterLevelM)); err != nil {
		return nil, err
	}
	r, err := plan.CompareRollover(in)
	if err != nil {
		return nil, err
	}
	return &pb.RolloverReport{
		State: states[r.State], BeforeAt: before.GetTakenAt(), AfterAt: after.GetTakenAt(), StabilityLeftShare: r.Left,
		PredictedS: float64(r.Predicted), RanS: in.Ran.Seconds(), Late: r.Late, Todo: r.Change,
	}, nil
}
