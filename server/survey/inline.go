package survey

import (
	"time"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
)

// MeasureInline measures a pond that comes with a request and is not stored. It
// returns what Measured returns, and bed.ErrCanceled when progress says stop.
func MeasureInline(m *pb.InlineSurvey, progress func(share float64) bool) (*Pond, error) {
	s, err := outline(m.GetShoreline())
	if err != nil {
		return nil, refuse(&ShorelineError{err})
	}
	in := survey.Input{Shore: s}
	for i, q := range m.GetSoundings() {
		in.Readings = append(in.Readings, inlineReading(i, q))
	}
	report, err := survey.Measure(in, progress)
	if err != nil {
		return nil, refuse(err)
	}
	return &Pond{Input: in, Report: report}, nil
}

// inlineReading takes the reading where there is one, else the depth. Depths count
// from the surface.
func inlineReading(i int, q *pb.Sounding) survey.Reading {
	r := survey.Reading{
		At:     s2.LatLngFromDegrees(q.GetLatDeg(), q.GetLonDeg()),
		Seq:    int64(i),
		Depth:  unit.Meters(q.GetReadingM()),
		Pass:   string(q.GetPassId()),
		Source: survey.Source{File: "soundings", Line: i + 1},
	}
	switch q.GetReference() {
	case pb.ReadingReference_READING_REFERENCE_BELOW_TRANSDUCER:
		r.Reference = survey.BelowTransducer
	case pb.ReadingReference_READING_REFERENCE_UNSPECIFIED:
		r.Depth = unit.Meters(q.GetDepthM())
	case pb.ReadingReference_READING_REFERENCE_BELOW_SURFACE:
	}
	if t := q.GetTime(); t != nil {
		r.Time = t.AsTime().UTC().Truncate(time.Millisecond)
	}
	return r
}
