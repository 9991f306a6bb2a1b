package survey

import (
	"strings"

	"pondwright/geo/plane"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
)

// mostCrossings bounds the crossings that a report lists.
const mostCrossings = 1000

// Quality returns how well a survey agrees with itself, as it is sent and printed.
func Quality(q *survey.Quality, frame plane.Frame) *pb.SurveyQuality {
	m := &pb.SurveyQuality{Lines: count(q.Lines), CrossingCount: count(len(q.Crossings))}
	for _, c := range q.Crossings[:min(len(q.Crossings), mostCrossings)] {
		at := frame.ToLatLng(c.At)
		m.Crossings = append(m.Crossings, &pb.LineCrossing{
			LatDeg: at.Lat.Degrees(), LonDeg: at.Lng.Degrees(), EarlierLine: count(c.Earlier + 1), LaterLine: count(c.Later + 1),
			EarlierM: float64(c.EarlierDepth), LaterM: float64(c.LaterDepth),
		})
	}
	for _, o := range q.Orders {
		m.BiasM, m.Spread95M = float64(o.Bias), float64(o.Spread95)
		m.Orders = append(m.Orders, &pb.OrderVerdict{Order: o.Order.String(), LimitM: float64(o.Limit), WithinShare: o.Within, Met: o.Pass})
	}
	for _, o := range q.Offsets {
		m.Offsets = append(m.Offsets, &pb.LineOffset{
			Line: count(o.Line + 1), Pass: passText(o.Pass), OffsetM: float64(o.Offset), SeM: float64(o.SE), Crossings: count(o.Crossings), Applied: o.Applied,
		})
	}
	for _, p := range q.Plates {
		marks := 0
		if p.Used {
			marks = p.Fit.DegreesOfFreedom + 2
		}
		m.Plates = append(m.Plates, &pb.PlateCheck{
			Pass: passText(p.Pass), ScaleFactor: p.Fit.Scale, OffsetM: float64(p.Fit.Offset), ScatterM: float64(p.Fit.Scatter), Marks: count(marks), Used: p.Used,
		})
	}
	for _, r := range q.Rules {
		m.Rules = append(m.Rules, &pb.RuleCount{Rule: string(r.Rule), Flagged: count(r.Flagged), LeftOut: count(r.LeftOut), KeptByPerson: count(r.KeptByPerson)})
	}
	return m
}

// passText is a pass's name as it is sent: files and passes in them are parted by a
// space.
func passText(name string) string { return strings.TrimSpace(strings.ReplaceAll(name, "\x00", " ")) }
