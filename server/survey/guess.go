package survey

import (
	"context"
	"fmt"

	"pondwright/calc/unit"
	"pondwright/geo/plan"
	"pondwright/geo/shore"
	"pondwright/geo/survey"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// Guess guesses water and system from the outline and one depth or none.
func (s *Service) Guess(ctx context.Context, req *pb.GuessRequest) (*pb.GuessResponse, error) {
	line, err := s.outlineOf(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	g, err := survey.GuessWater(line, anchors[req.GetAnchor()], unit.Meters(req.GetDepthM()))
	if err != nil {
		return nil, refuse(err)
	}
	b, err := plan.GuessSystem(g, 0, req.GetRunHoursPerDay(), 0)
	if err != nil {
		return nil, err
	}
	return &pb.GuessResponse{Guess: GuessMessage(g, b)}, nil
}

var anchors = map[pb.GuessAnchor]survey.Anchor{
	pb.GuessAnchor_GUESS_ANCHOR_DEEPEST: survey.FromDeepest,
	pb.GuessAnchor_GUESS_ANCHOR_MIDDLE:  survey.FromMiddle,
}

// GuessMessage returns a guess as it is sent and printed.
func GuessMessage(g survey.Guess, b plan.Ballpark) *pb.PondGuess {
	m := &pb.PondGuess{
		Anchor:      pb.GuessAnchor_GUESS_ANCHOR_OUTLINE,
		AreaM2:      interval(g.Area),
		VolumeM3:    interval(g.Volume),
		MeanDepthM:  interval(g.MeanDepth),
		Source:      g.Source,
		System:      guessedSystem(b.System),
		SystemLow:   guessedSystem(b.Low),
		SystemHigh:  guessedSystem(b.High),
		Assumptions: b.Assumptions,

		NotForOrdering: true,
	}
	for wire, anchor := range anchors {
		if anchor == g.Anchor {
			m.Anchor, m.DepthM = wire, new(float64(g.Depth))
		}
	}
	return m
}

func guessedSystem(s plan.System) *pb.GuessedSystem {
	return &pb.GuessedSystem{
		VolumeM3: float64(s.Volume), Diffusers: count(s.Diffusers),
		AirflowM3PerS: float64(s.Air), LiftM3PerS: float64(s.Lift),
	}
}

// outlineOf returns a pond's newest shoreline, for what needs no sounding.
func (s *Service) outlineOf(ctx context.Context, pondID []byte) (*shore.Shore, error) {
	id, err := block.IDFromBytes(pondID)
	if err != nil {
		return nil, fmt.Errorf("pond_id: %w", err)
	}
	who, _, err := s.open(ctx, id)
	if err != nil {
		return nil, err
	}
	things, err := s.state.Things(ctx, who.Tenant, id)
	if err != nil {
		return nil, fmt.Errorf("records of the pond: %w", err)
	}
	f := gather(things)
	if len(f.shorelines) == 0 {
		return nil, refuse(ErrNoShoreline)
	}
	line, err := outline(f.shorelines[len(f.shorelines)-1])
	if err != nil {
		return nil, refuse(&ShorelineError{err})
	}
	return line, nil
}
