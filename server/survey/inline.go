package survey

import (
	"encoding/hex"
	"errors"
	"time"

	"github.com/golang/geo/s2"
	"google.golang.org/grpc/codes"

	"pondwright/calc/unit"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
)

// MeasureInline measures a pond that comes with a request and is not stored. It
// returns a *Refusal that wraps a *ShorelineError or a *survey.SwappedError, and
// bed.ErrCanceled when progress says stop.
func MeasureInline(m *pb.InlineSurvey, progress func(share float64) bool) (*Pond, error) {
	s, err := outline(m.GetShoreline())
	if err != nil {
		return nil, refuseInline(&ShorelineError{err})
	}
	in := survey.Input{Shore: s}
	for i, q := range m.GetSoundings() {
		in.Readings = append(in.Readings, inlineReading(i, q))
	}
	report, err := survey.Measure(in, progress)
	if err != nil {
		return nil, refuseInline(err)
	}
	return &Pond{Input: in, Report: report, Inputs: inputsOf(in, facts{})}, nil
}

// refuseInline blames the request for what it brought along.
func refuseInline(err error) error {
	err = refuse(err)
	var r *Refusal
	if !errors.As(err, &r) {
		return err
	}
	r.Code, r.Field = codes.InvalidArgument, "inline."+r.Field
	if _, ok := errors.AsType[*survey.SwappedError](r); ok {
		r.Field = "inline.soundings"
	}
	return r
}

// inlineReading takes the reading where there is one, else the depth. Depths count
// from the surface.
func inlineReading(i int, q *pb.Sounding) survey.Reading {
	r := survey.Reading{
		At:     s2.LatLngFromDegrees(q.GetLatDeg(), q.GetLonDeg()),
		Seq:    int64(i + 1),
		Depth:  unit.Meters(q.GetReadingM()),
		Pass:   hex.EncodeToString(q.GetPassId()),
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
