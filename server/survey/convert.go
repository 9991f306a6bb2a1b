package survey

import (
	"fmt"
	"math"

	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/survey"
	"pondwright/proto/block"
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
		Quality:           Quality(&r.Quality, r.Frame),
	}
	if r.Sediment != nil {
		m.SedimentM3 = interval(*r.Sediment)
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
	return &pb.Interval{
		Value: float64(v.Value), Low: float64(v.Low), High: float64(v.High),
		Low80: new(float64(v.Low80)), High80: new(float64(v.High80)),
	}
}

func count(n int) uint32 {
	return uint32(min(max(n, 0), math.MaxUint32))
}

// sounding returns the i-th sounding as it is sent: the reading as taken, the depth
// it came to, and whether it shaped the bed.
func (p *Pond) sounding(i int) *pb.Sounding {
	q, r := p.soundings[i], p.Input.Readings[i]
	m := &pb.Sounding{
		LogId:     q.Log[:],
		Seq:       q.Seq,
		LatDeg:    r.At.Lat.Degrees(),
		LonDeg:    r.At.Lng.Degrees(),
		ReadingM:  float64(q.ReadingMM) / 1000,
		DepthM:    float64(p.Report.Depths[i]),
		Reference: pb.ReadingReference_READING_REFERENCE_BELOW_SURFACE,
		Quality:   uint32(q.Quality),
		Flag:      pb.SoundingFlag_SOUNDING_FLAG_USED,
	}
	if r.Reference == survey.BelowTransducer {
		m.Reference = pb.ReadingReference_READING_REFERENCE_BELOW_TRANSDUCER
	}
	if !q.Pass.IsZero() {
		m.PassId = q.Pass[:]
	}
	if q.TimeMs != 0 {
		m.Time = timestamppb.New(r.Time)
	}
	if q.Has&block.HasFirm != 0 {
		// The rod and the echo count from the same place.
		if firm, err := p.Input.Setups[r.Pass].Depth(unit.Meters(q.FirmMM)/1000, r.Reference); err == nil {
			m.FirmDepthM = new(float64(firm))
		}
	}
	if q.Has&block.HasTemp != 0 {
		m.WaterTempC = new(float64(q.WaterTempCC) / 100)
	}
	m.Flag, m.FlagRule = flag(r.Verdict, p.Report.Flags[i])
	if m.GetFlagRule() == "" && r.Verdict != bed.Undecided {
		m.FlagRule = p.corrections[correctionKey{string(q.Log[:]), q.Seq}].GetReason()
	}
	return m
}

// flag tells what became of a sounding and, where a rule decided it, by which.
func flag(v bed.Verdict, flags []bed.Flag) (what pb.SoundingFlag, rule string) {
	if f, out := survey.LeftOut(flags, v); out && f.Rule != bed.Person {
		return pb.SoundingFlag_SOUNDING_FLAG_REJECTED_BY_RULE,
			fmt.Sprintf("%s: %.3g against a limit of %.3g", f.Rule, f.Value, f.Threshold)
	}
	switch v {
	case bed.Accepted:
		return pb.SoundingFlag_SOUNDING_FLAG_ACCEPTED_BY_PERSON, ""
	case bed.Rejected:
		return pb.SoundingFlag_SOUNDING_FLAG_REJECTED_BY_PERSON, ""
	case bed.Adjusted:
		return pb.SoundingFlag_SOUNDING_FLAG_ADJUSTED_BY_PERSON, ""
	case bed.Undecided:
	}
	return pb.SoundingFlag_SOUNDING_FLAG_USED, ""
}
