package main

import (
	"encoding/json"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"pondwright/calc/unit"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
	surveyservice "pondwright/server/survey"
)

func (m *Main) contoursCommand() *cobra.Command {
	var files surveyFiles
	var out string
	c := &cobra.Command{
		Use:   "contours --shoreline FILE --soundings FILE… [--out FILE]",
		Short: "Smooth closed lines of equal depth, as a list or as GeoJSON",
	}
	f := &form{units: &m.units, flags: c.Flags()}
	interval := ask(f, "interval", ofLength, "", "between lines; left out, 1 ft or with --units si 0.5 m").nonzero()
	c.Flags().StringVar(&out, "out", "", "GeoJSON file to write the lines to")
	answer := func(r *survey.Report) (*pb.ContourList, error) {
		step := interval.v()
		if !interval.has() {
			step = unit.Feet(1)
			if m.units == siUnits {
				step = 0.5
			}
		}
		if lines := float64(r.MaxDepth.Value / step); !(step > 0) || lines > 500 {
			return nil, usagef("--interval: %g lines are too many", lines)
		}
		var lines []*pb.Contour
		if err := surveyservice.Contours(r.Bed, r.Frame, step, func(l *pb.Contour) error {
			lines = append(lines, l)
			return nil
		}); err != nil {
			return nil, err
		}
		if out != "" {
			data, err := json.Marshal(contoursGeoJSON(lines))
			if err != nil {
				return nil, fmt.Errorf("contours as GeoJSON: %w", err)
			}
			if err := os.WriteFile(out, append(data, '\n'), 0o600); err != nil {
				return nil, fmt.Errorf("write the contours: %w", err)
			}
		}
		return &pb.ContourList{Contours: lines}, nil
	}
	return ofSurvey(m, c, &files, func(*pb.Warning) *pb.ContourList { return &pb.ContourList{} }, answer, func(list *pb.ContourList) {
		fmt.Fprintf(m.Out, "%12s %6s %8s\n", "depth", "lines", "places")
		for _, l := range list.GetContours() {
			places := 0
			for _, ring := range l.GetRings() {
				places += len(ring.GetPoints())
			}
			fmt.Fprintf(m.Out, "%12s %6d %8d\n", m.stage(l.GetDepthM()), len(l.GetRings()), places)
		}
	})
}

// contoursGeoJSON is a FeatureCollection of closed lines.
func contoursGeoJSON(lines []*pb.Contour) lineCollection {
	out := lineCollection{Type: "FeatureCollection", Features: []lineFeature{}}
	for _, l := range lines {
		for _, ring := range l.GetRings() {
			out.Features = append(out.Features, newLineFeature(append(ring.GetPoints(), ring.GetPoints()[0]), map[string]any{
				"depth_m": l.GetDepthM(), "around_shoal": ring.GetAroundShoal(),
			}))
		}
	}
	return out
}
