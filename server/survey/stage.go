package survey

import (
	"context"
	"fmt"

	"github.com/golang/geo/s2"
	"google.golang.org/grpc/codes"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/plane"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// usualStep is the drawdown between rows of a stage table that does not say.
const usualStep unit.Meters = 0.1

// ReadStages reads the pond at every level, and the levels of given volumes.
func (s *Service) ReadStages(ctx context.Context, req *pb.ReadStagesRequest) (*pb.ReadStagesResponse, error) {
	pond, err := s.measuredByID(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	step := unit.Meters(req.GetStepM())
	if step == 0 {
		step = usualStep
	}
	out := new(pb.ReadStagesResponse)
	out.Rows = Stages(pond.Report.Bed, step, pond.Input.ShoreLevel)
	if out.GetRows() == nil {
		return nil, &Refusal{
			Code: codes.OutOfRange, Reason: pb.Reason_REASON_VALUE_OUT_OF_RANGE, Field: "step_m",
			Remedy: "take a wider step",
			Err:    &unit.RangeError{Quantity: "step of the stage table (m)", Got: float64(step), Min: float64(pond.Report.Bed.Curve().MaxDepth()) / (bed.MaxStages - 1), Max: 10, Source: "1,000 rows at most"},
		}
	}
	for _, v := range req.GetVolumesM3() {
		out.Stages = append(out.Stages, StageForVolume(pond.Report.Bed, unit.CubicMeters(v), pond.Input.ShoreLevel))
	}
	return out, nil
}

// Stages returns a stage table as it is sent and printed; level is the water level
// of the shoreline over the benchmark, nil where it is not known. It is nil for a
// step that bed.Stages refuses.
func Stages(b *bed.Bed, step unit.Meters, level *unit.Meters) []*pb.StageRow {
	var out []*pb.StageRow
	for _, r := range b.Stages(step) {
		out = append(out, &pb.StageRow{
			DrawdownM: float64(r.Drawdown), LevelM: levelAt(level, r.Drawdown),
			AreaM2: interval(r.Area), VolumeM3: interval(r.Volume),
		})
	}
	return out
}

// StageForVolume returns the stage of a volume as it is sent and printed.
func StageForVolume(b *bed.Bed, volume unit.CubicMeters, level *unit.Meters) *pb.StageForVolume {
	drawdown, above := b.StageFor(volume)
	return &pb.StageForVolume{
		VolumeM3: float64(volume), DrawdownM: interval(drawdown), LevelM: levelAt(level, drawdown.Value), AboveSurvey: above,
	}
}

func levelAt(level *unit.Meters, drawdown unit.Meters) *float64 {
	if level == nil {
		return nil
	}
	return new(float64(*level - drawdown))
}

// MeasurePart measures a layer, a part inside a ring, or both.
func (s *Service) MeasurePart(ctx context.Context, req *pb.MeasurePartRequest) (*pb.MeasurePartResponse, error) {
	pond, err := s.measuredByID(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	part := bed.Part{Upper: unit.Meters(req.GetUpperM()), Lower: unit.Meters(req.GetLowerM())}
	if req.LowerM != nil && req.GetLowerM() <= req.GetUpperM() {
		return nil, &Refusal{
			Code: codes.InvalidArgument, Reason: pb.Reason_REASON_FIELD_INVALID, Field: "lower_m",
			Remedy: "give the upper depth first", Err: fmt.Errorf("the layer ends at %g m, not below its beginning at %g m", req.GetLowerM(), req.GetUpperM()),
		}
	}
	part.Ring = RingOf(pond.Input.Shore.Frame(), corners(req.GetRing()))
	return &pb.MeasurePartResponse{Part: PartMessage(pond.Report.Bed, part)}, nil
}

// PartMessage returns a part of a bed as it is sent and printed.
func PartMessage(b *bed.Bed, p bed.Part) *pb.PartReport {
	volume, area := b.Part(p)
	return &pb.PartReport{VolumeM3: interval(volume), AreaM2: interval(area)}
}

// RingOf returns a ring in the plane of a frame.
func RingOf(frame plane.Frame, ring []s2.LatLng) []plane.Point {
	var out []plane.Point
	for _, ll := range ring {
		out = append(out, frame.ToPlane(ll))
	}
	return out
}

// measuredByID measures the pond that a request names.
func (s *Service) measuredByID(ctx context.Context, pondID []byte) (*Pond, error) {
	id, err := block.IDFromBytes(pondID)
	if err != nil {
		return nil, fmt.Errorf("pond_id: %w", err)
	}
	return s.Measured(ctx, id, nil)
}
