package survey

import (
	"cmp"
	"slices"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/contour"
	"pondwright/geo/plane"
	pb "pondwright/proto/pondwright/v1"
)

// mostContours bounds the depths of one answer.
const mostContours = 500

// DrawContours draws closed lines of equal depth, shallowest first.
func (s *Service) DrawContours(req *pb.DrawContoursRequest, stream grpc.ServerStreamingServer[pb.DrawContoursResponse]) error {
	pond, err := s.measuredByID(stream.Context(), req.GetPondId())
	if err != nil {
		return err
	}
	step, field := unit.Meters(req.GetIntervalM()), "interval_m"
	if req.GetIntervalFt() != 0 {
		step, field = unit.Feet(req.GetIntervalFt()), "interval_ft"
	}
	deepest := pond.Report.Bed.Curve().MaxDepth()
	if err := unit.CheckRange("interval of the contours (m)", float64(step), float64(deepest)/mostContours, float64(max(deepest, 100)), "500 contours at most"); err != nil {
		return &Refusal{Code: codes.OutOfRange, Reason: pb.Reason_REASON_VALUE_OUT_OF_RANGE, Field: field, Remedy: "take a wider interval", Err: err}
	}
	return Contours(pond.Report.Bed, pond.Input.Shore.Frame(), step, func(c *pb.Contour) error {
		return stream.Send(&pb.DrawContoursResponse{Contour: c})
	})
}

// Contours hands out a bed's smooth lines of equal depth, a step apart, shallowest
// first, as they are sent and printed. Frame is that of the pond's shoreline.
func Contours(b *bed.Bed, frame plane.Frame, step unit.Meters, send func(*pb.Contour) error) error {
	mesh, depthsM := contour.Smooth(b.Mesh(), b.DepthsM())
	deepest := 0.0
	for _, d := range depthsM {
		deepest = max(deepest, d)
	}
	for k := 1; float64(k)*float64(step) < deepest; k++ {
		m := &pb.Contour{DepthM: float64(k) * float64(step)}
		rings := contour.Rings(mesh, depthsM, m.GetDepthM())
		slices.SortStableFunc(rings, func(a, b []plane.Point) int { return cmp.Compare(plane.RingLength(b), plane.RingLength(a)) })
		for _, ring := range rings {
			m.Rings = append(m.Rings, &pb.ContourRing{Points: places(frame, ring), AroundShoal: plane.RingArea(ring) < 0})
		}
		if err := send(m); err != nil {
			return err
		}
	}
	return nil
}
