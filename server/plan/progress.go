package plan

import (
	"context"

	"pondwright/geo/plan"
	pb "pondwright/proto/pondwright/v1"
)

// stageBed is the stage before those of geo/plan.
const stageBed = "Inferring the bed"

// shares are the parts of the whole that the stages take, about.
var shares = map[string]struct{ from, to float64 }{
	stageBed:          {0, 0.4},
	plan.StageSites:   {0.4, 0.5},
	plan.StageLayouts: {0.5, 0.9},
	plan.StageNumbers: {0.9, 1},
}

// reporter sends progress as it comes and remembers when that fails.
type reporter struct {
	ctx   context.Context //nolint:containedctx // it is the stream's
	send  func(*pb.PlanProgress) error
	stage string
	sent  float64
	err   error
}

// progressStep is the share of the whole worth a message.
const progressStep = 0.02

// tell sends the share of the whole that is done, given that of a stage. It returns
// false when nobody listens any more.
func (r *reporter) tell(stage string, share float64) bool {
	if r.ctx.Err() != nil || r.err != nil {
		return false
	}
	s := shares[stage]
	done := s.from + min(1, max(0, share))*(s.to-s.from)
	if stage == r.stage && done < r.sent+progressStep {
		return true
	}
	r.stage, r.sent = stage, done
	r.err = r.send(&pb.PlanProgress{Stage: stage, Share: done})
	return r.err == nil
}
