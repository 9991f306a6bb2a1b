package plan

import (
	"bytes"
	"context"
	"math"

	"github.com/golang/geo/s2"
	"google.golang.org/protobuf/reflect/protoreflect"

	"pondwright/calc/unit"
	"pondwright/geo/plan"
	pb "pondwright/proto/pondwright/v1"
)

// ComparePlans says what changed from one saved plan to another.
func (s *Service) ComparePlans(ctx context.Context, req *pb.ComparePlansRequest) (*pb.ComparePlansResponse, error) {
	_, _, b, now, err := s.open(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	before, err := b.plan(req.GetBefore())
	if err != nil {
		return nil, err
	}
	after := b.listed()[len(b.listed())-1]
	if req.GetAfter() != "" {
		if after, err = b.plan(req.GetAfter()); err != nil {
			return nil, err
		}
	}
	out := Compare(before.plan, after.plan)
	out.Before, out.After = b.version(before, now), b.version(after, now)
	return out, nil
}

// Compare says what differs between two plans of a pond; Before and After are left
// to the caller.
func Compare(before, after *pb.Plan) *pb.ComparePlansResponse {
	out := &pb.ComparePlansResponse{
		Figures: figures(before, after),
		Inputs:  differences(before.GetInputs(), after.GetInputs().GetSurvey(), after.GetInputs().GetFacts()),
	}
	if !bytes.Equal(before.GetInputs().GetRequest(), after.GetInputs().GetRequest()) {
		out.Inputs = append(out.Inputs, "request")
	}
	for _, m := range plan.MatchSites(settings(before), settings(after)) {
		if c := siteChange(before, after, m); c != nil {
			out.Sites = append(out.Sites, c)
		}
	}
	known := make(map[string]bool)
	for _, l := range Unverified(before) {
		known[l.GetCode()] = true
	}
	for _, l := range Unverified(after) {
		if !known[l.GetCode()] {
			out.NewlyUnverified = append(out.NewlyUnverified, l)
		}
	}
	return out
}

// settings are the places of a plan's diffusers.
func settings(p *pb.Plan) []plan.Setting {
	var out []plan.Setting
	for _, d := range p.GetDiffusers() {
		out = append(out, plan.Setting{Label: d.GetLabel(), At: s2.LatLngFromDegrees(d.GetLat(), d.GetLon()), Depth: unit.Meters(d.GetDepthM())})
	}
	return out
}

// What counts as the same: a decimeter of place, depth and hose, a percent of a
// standard cubic foot per minute.
const (
	samePlaceM  = 0.1
	sameAirM3S  = 4.7e-6
	sameFigures = 1e-9
)

// siteChange says how a diffuser differs, nil if it does not.
func siteChange(before, after *pb.Plan, m plan.Moved) *pb.SiteChange {
	var b, a *pb.Diffuser
	if m.Before >= 0 {
		b = before.GetDiffusers()[m.Before]
	}
	if m.After >= 0 {
		a = after.GetDiffusers()[m.After]
	}
	c := &pb.SiteChange{
		Before: b.GetLabel(), After: a.GetLabel(), MovedM: float64(m.Distance), DeeperM: a.GetDepthM() - b.GetDepthM(),
		MoreAirM3PerS: a.GetAirflowM3PerS() - b.GetAirflowM3PerS(), MoreHoseM: a.GetHose().GetLengthM() - b.GetHose().GetLengthM(),
	}
	same := b != nil && a != nil && c.GetMovedM() < samePlaceM && math.Abs(c.GetDeeperM()) < samePlaceM &&
		math.Abs(c.GetMoreHoseM()) < samePlaceM && math.Abs(c.GetMoreAirM3PerS()) < sameAirM3S
	if same {
		return nil
	}
	if b == nil || a == nil {
		c.DeeperM = 0 // than what?
	}
	return c
}

// figures are the plain numbers of two plans that differ, in order of field: those
// of a later version of the contract, too. Of an interval it is the value.
func figures(before, after *pb.Plan) []*pb.FigureChange {
	var out []*pb.FigureChange
	b, a := before.ProtoReflect(), after.ProtoReflect()
	fields := b.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		was, ok := figure(b, f)
		is, _ := figure(a, f)
		if ok && math.Abs(was-is) > sameFigures*math.Max(math.Abs(was), math.Abs(is)) {
			out = append(out, &pb.FigureChange{Name: string(f.Name()), Before: was, After: is})
		}
	}
	was, is := float64(len(before.GetDiffusers())), float64(len(after.GetDiffusers()))
	if was != is {
		out = append(out, &pb.FigureChange{Name: "diffusers", Before: was, After: is})
	}
	if was, ok := cost(before); ok {
		if is, ok := cost(after); ok && was != is {
			out = append(out, &pb.FigureChange{Name: "cost", Before: was, After: is})
		}
	}
	return out
}

// cost is what a plan's own source of power costs, in the price list's money, where
// every price is known.
func cost(p *pb.Plan) (float64, bool) {
	for _, s := range p.GetSources() {
		if s.GetSource() == p.GetSupply().GetSource() && s.Cost != nil {
			return s.GetCost(), true
		}
	}
	return 0, false
}

// figure is the number that a field of a plan holds, if it is one.
func figure(m protoreflect.Message, f protoreflect.FieldDescriptor) (float64, bool) {
	if f.IsList() || f.IsMap() {
		return 0, false
	}
	switch x := m.Get(f).Interface().(type) {
	case float64:
		return x, !math.IsNaN(x) && !math.IsInf(x, 0)
	case uint32:
		return float64(x), true
	case protoreflect.Message:
		if span, ok := x.Interface().(*pb.Interval); ok {
			return span.GetValue(), true
		}
	}
	return 0, false
}
