package survey

import (
	"context"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
)

// ProposeTransects plans the lines to run from the outline alone.
func (s *Service) ProposeTransects(ctx context.Context, req *pb.ProposeTransectsRequest) (*pb.ProposeTransectsResponse, error) {
	line, err := s.outlineOf(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	p, err := survey.PlanTransects(line, unit.Meters(req.GetSpacingM()))
	if err != nil {
		return nil, refuse(err)
	}
	return &pb.ProposeTransectsResponse{Plan: TransectsMessage(p, line.Frame())}, nil
}

var purposes = map[survey.Purpose]pb.TransectPurpose{
	survey.Across: pb.TransectPurpose_TRANSECT_PURPOSE_ACROSS,
	survey.Axis:   pb.TransectPurpose_TRANSECT_PURPOSE_AXIS,
	survey.Rim:    pb.TransectPurpose_TRANSECT_PURPOSE_RIM,
	survey.Arm:    pb.TransectPurpose_TRANSECT_PURPOSE_ARM,
	survey.Star:   pb.TransectPurpose_TRANSECT_PURPOSE_STAR,
}

// TransectsMessage returns planned lines as they are sent and printed. Frame is
// that of the pond's shoreline.
func TransectsMessage(p *survey.TransectPlan, frame plane.Frame) *pb.TransectPlan {
	m := &pb.TransectPlan{Chosen: spacingChoice(p.Chosen), Source: survey.ErrorSource, IntervalM: float64(p.Interval)}
	for _, t := range p.Transects {
		m.Transects = append(m.Transects, &pb.Transect{
			Name: t.Name, Purpose: purposes[t.Purpose], SpacingM: float64(t.Spacing), Points: places(frame, t.Points),
		})
	}
	for _, c := range p.Choices {
		m.Choices = append(m.Choices, spacingChoice(c))
	}
	return m
}

func spacingChoice(c survey.Choice) *pb.SpacingChoice {
	return &pb.SpacingChoice{
		SpacingM: float64(c.Spacing), Lines: count(c.Lines), WayM: float64(c.Way), BoatTimeS: c.Minutes * 60,
		ErrorShare: c.Error, WorstErrorShare: c.Worst, Extrapolated: c.Extrapolated,
	}
}

// places returns a line in the plane as places on the ellipsoid.
func places(frame plane.Frame, line []plane.Point) []*pb.LatLng {
	out := make([]*pb.LatLng, 0, len(line))
	for _, p := range line {
		ll := frame.ToLatLng(p)
		out = append(out, &pb.LatLng{LatDeg: ll.Lat.Degrees(), LonDeg: ll.Lng.Degrees()})
	}
	return out
}
