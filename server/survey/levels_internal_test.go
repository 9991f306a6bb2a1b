package survey

import (
	"math"
	"testing"

	pb "pondwright/proto/pondwright/v1"
)

// Levels are told over the newest shoreline's, and only where that one's is known.
func TestFacts_Levels(t *testing.T) {
	t.Parallel()
	pond := &pb.Pond{FullLevelM: new(1.5), UsualLowLevelM: new(0.2)}
	f := facts{pond: pond, shorelines: []*pb.Shoreline{{WaterLevelM: new(9.0)}, {WaterLevelM: new(1.0)}}}
	got := f.levels()
	if math.Abs(got.GetFullM()-0.5) > 1e-12 || math.Abs(got.GetUsualLowM()+0.8) > 1e-12 || got.HighestM != nil {
		t.Errorf("levels %v", got)
	}
	for name, f := range map[string]facts{
		"no pond": {shorelines: f.shorelines}, "no shoreline": {pond: pond}, "a shoreline without a level": {pond: pond, shorelines: []*pb.Shoreline{{}}},
	} {
		if got := f.levels(); got != nil {
			t.Errorf("%s: %v", name, got)
		}
	}
}
