package survey

import (
	"fmt"
	"math"

	"pondwright/geo/bed"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
)

// Report returns a report as it is sent and printed.
func Report(r *survey.Report) *pb.SurveyReport {
	m := &pb.SurveyReport{
		AreaM2:            interval(r.Area),
		VolumeM3:          interval(r.Volume),
		MeanDepthM:        interval(r.MeanDepth),
		MaxDepthM:         interval(r.MaxDepth),
		ShorelineM:        float64(r.Shoreline),
		SoundingsUsed:     count(r.Used),
		SoundingsRejected: count(r.Rejected),
		Warnings:          Warnings(r.Warnings),
	}
	for _, row := range r.Curve {
		m.Curve = append(m.Curve, &pb.CurveRow{
			DepthM:   float64(row.Drawdown),
			AreaM2:   float64(row.Area),
			VolumeM3: float64(row.Volume),
		})
	}
	return m
}

// Warnings returns warnings as they are sent and printed.
func Warnings(ws []survey.Warning) []*pb.Warning {
	var out []*pb.Warning
	for _, w := range ws {
		out = append(out, &pb.Warning{
			Code:    w.Code,
			File:    w.Source.File,
			Line:    count(w.Source.Line),
			Field:   w.Field,
			Message: w.Message,
			Remedy:  w.Remedy,
		})
	}
	return out
}

func interval[Q ~float64](v bed.Interval[Q]) *pb.Interval {
	return &pb.Interval{Value: float64(v.Value), Low: float64(v.Low), High: float64(v.High)}
}

func count(n int) uint32 {
	return uint32(min(max(n, 0), math.MaxUint32)) //nolint:gosec // clamped to the range
}

// shoreline, readings and set-ups below turn what the server holds into what the
// pure rooms take.

// passName is how a pass is named in the pure rooms: its id, or the log for
// soundings without one.
func passName(passID, logID []byte) string {
	if len(passID) > 0 {
		return fmt.Sprintf("%x", passID)
	}
	return fmt.Sprintf("log %x", logID)
}
