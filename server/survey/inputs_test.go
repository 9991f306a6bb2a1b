package survey_test

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server"
	"pondwright/server/survey"
)

// The digests of what a plan is made from follow what is on record and nothing else:
// not the order of arrival, not what came of earlier plans.
func TestInputs(t *testing.T) {
	t.Parallel()
	id := block.ID{7}
	line := shoreline(circle(40))
	mast := func(lat float64) *pb.Record {
		return &pb.Record{Kind: &pb.Record_MastSite{MastSite: &pb.MastSite{LatDeg: lat, LonDeg: -93}}}
	}
	inputs := func(reversed bool, records ...*pb.Record) survey.Inputs {
		t.Helper()
		m := newMemory()
		soundings := sounded()
		if reversed {
			slices.Reverse(soundings)
		}
		m.put(id, soundings, append([]*pb.Record{line}, records...)...)
		in, err := survey.NewService(m, server.Tenant).Inputs(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		return in
	}
	facts := func(in survey.Inputs) string {
		var out string
		for _, f := range in.Facts {
			out += f.GetKind() + string(f.GetDigest())
		}
		return out
	}
	base := inputs(false, mast(45))
	if again := inputs(true, mast(45)); again.Survey != base.Survey || facts(again) != facts(base) || again.SurveyedOn != base.SurveyedOn {
		t.Error("the order of arrival changes the digests")
	}
	life := inputs(false, mast(45), &pb.Record{Kind: &pb.Record_Reading{Reading: &pb.Reading{}}}, &pb.Record{Kind: &pb.Record_Plan{Plan: &pb.Plan{}}}, &pb.Record{Kind: &pb.Record_Profile{Profile: &pb.Profile{}}})
	if life.Survey != base.Survey || facts(life) != facts(base) {
		t.Error("what came later changes the digests")
	}
	moved := inputs(false, mast(45.001))
	if moved.Survey != base.Survey || facts(moved) == facts(base) {
		t.Error("another mast must change its own digest alone")
	}
	other := proto.CloneOf(line)
	other.GetShoreline().PositionErrorM = new(3.0)
	if wider := inputs(false, mast(45), other); wider.Survey == base.Survey || facts(wider) != facts(base) {
		t.Error("another outline must change the survey's digest alone")
	}
	if two := inputs(false, mast(45), mast(45.001)); !slices.Equal(two.Undecided, []string{"mast_site"}) || len(base.Undecided) > 0 {
		t.Errorf("undecided %v, %v", two.Undecided, base.Undecided)
	}
}
