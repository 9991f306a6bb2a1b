package digest_test

import (
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"pondwright/proto/digest"
	pb "pondwright/proto/pondwright/v1"
)

func randomPlan(t *rapid.T) *pb.Plan {
	p := &pb.Plan{
		SiteGap: rapid.SampledFrom([]float64{0, 0.1, 0.2}).Draw(t, "gap"), Shortfall: rapid.SampledFrom([]string{"", "a", "ab"}).Draw(t, "shortfall"),
		RunHoursVerified: rapid.Bool().Draw(t, "verified"), BindingConstraint: pb.Plan_BindingConstraint(rapid.IntRange(0, 2).Draw(t, "binding")),
	}
	for range rapid.IntRange(0, 2).Draw(t, "diffusers") {
		d := &pb.Diffuser{Label: rapid.SampledFrom([]string{"D1", "D2", ""}).Draw(t, "label")}
		if rapid.Bool().Draw(t, "hose") {
			d.Hose = &pb.Hose{Route: make([]*pb.RoutePoint, rapid.IntRange(0, 1).Draw(t, "corners"))}
			for i := range d.GetHose().GetRoute() {
				d.Hose.Route[i] = &pb.RoutePoint{Lat: 1}
			}
		}
		p.Diffusers = append(p.Diffusers, d)
	}
	if rapid.Bool().Draw(t, "unknown") {
		p.ProtoReflect().SetUnknown(protowire.AppendVarint(protowire.AppendTag(nil, 9000, protowire.VarintType), 5))
	}
	return p
}

// Two messages have one digest exactly if they are equal, also after a trip over
// the wire.
func TestOf_EqualExactlyForEqualMessages(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a, b := randomPlan(t), randomPlan(t)
		if got, want := digest.Of(a) == digest.Of(b), proto.Equal(a, b); got != want {
			t.Fatalf("digests equal: %v, messages equal: %v\n%v\n%v", got, want, a, b)
		}
		wire, err := proto.Marshal(a)
		if err != nil {
			t.Fatal(err)
		}
		back := &pb.Plan{}
		if err := proto.Unmarshal(wire, back); err != nil {
			t.Fatal(err)
		}
		if digest.Of(back) != digest.Of(a) {
			t.Fatalf("the digest of %v changed on the wire", a)
		}
	})
}

// A digest is for ever: plans on record are named by it.
func TestOf_Golden(t *testing.T) {
	t.Parallel()
	p := &pb.Plan{SiteGap: 0.25, Shortfall: "x", Diffusers: []*pb.Diffuser{{Label: "D1", Hose: &pb.Hose{BoreM: 0.0158}}}, RunHoursVerified: true}
	if got := digest.Short("P", digest.Of(p)); got != "P-HCAE-Y963" {
		t.Errorf("id %s", got)
	}
}
