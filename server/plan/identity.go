package plan

import (
	"bytes"

	"google.golang.org/protobuf/proto"

	"pondwright/proto/block"
	"pondwright/proto/digest"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/survey"
)

// madeFrom is what a plan is made from: what is on record, and what the request
// says.
func madeFrom(req *pb.ProposeRequest, in survey.Inputs) *pb.PlanInputs {
	bare := proto.CloneOf(req)
	bare.Pond = nil
	d := digest.Of(bare)
	return &pb.PlanInputs{
		Survey: in.Survey[:], Facts: in.Facts, Request: d[:], SurveyedOn: in.SurveyedOn,
		Overrides: !proto.Equal(bare, &pb.ProposeRequest{}),
	}
}

// identified gives a plan its inputs and its id.
func identified(p *pb.Plan, in *pb.PlanInputs) *pb.Plan {
	p.Inputs = in
	p.PlanId = digest.Short("P", Digest(p))
	return p
}

// Digest is that of all of a plan but its id.
func Digest(p *pb.Plan) digest.Digest {
	bare := proto.CloneOf(p)
	bare.PlanId = ""
	return digest.Of(bare)
}

// recordID is the id of the record that holds a plan.
func recordID(p *pb.Plan) block.ID {
	d := Digest(p)
	return block.ID(d[:16])
}

// differences names what two plans, or a plan and what is on record now, were made
// from differently: survey, then kinds of record in order.
func differences(was *pb.PlanInputs, survey []byte, facts []*pb.KindDigest) []string {
	var out []string
	if !bytes.Equal(was.GetSurvey(), survey) {
		out = append(out, "survey")
	}
	old, now := was.GetFacts(), facts
	for len(old) > 0 || len(now) > 0 {
		switch {
		case len(now) == 0 || len(old) > 0 && old[0].GetKind() < now[0].GetKind():
			out, old = append(out, old[0].GetKind()), old[1:]
		case len(old) == 0 || now[0].GetKind() < old[0].GetKind():
			out, now = append(out, now[0].GetKind()), now[1:]
		default:
			if !bytes.Equal(old[0].GetDigest(), now[0].GetDigest()) {
				out = append(out, old[0].GetKind())
			}
			old, now = old[1:], now[1:]
		}
	}
	return out
}
