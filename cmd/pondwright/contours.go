package main

import (
	"encoding/json"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"pondwright/calc/unit"
	pb "pondwright/proto/pondwright/v1"
	surveyservice "pondwright/server/survey"
)

func (m *Main) contoursCommand() *cobra.Command {
	var files surveyFiles
	var out string
	var asJSON bool
	c := &cobra.Command{
		Use:   "contours --shoreline FILE --soundings FILE… [--out FILE]",
		Short: "Smooth closed lines of equal depth, as a list or as GeoJSON",
		Args:  cobra.NoArgs,
	}
	files.flags(c)
	files.gear.flags(c, &m.units)
	f := &form{units: &m.units, flags: c.Flags()}
	interval := ask(f, "interval", ofLength, "", "between lines; left out, 1 ft or with --units si 0.5 m").nonzero()
	c.Flags().StringVar(&out, "out", "", "GeoJSON file to write the lines to")
	c.Flags().BoolVar(&asJSON, "json", false, "print the lines as JSON, one document, in SI units")
	c.RunE = func(c *cobra.Command, _ []string) error {
		r, err := files.measure(c.Context(), newProgress(m.Err))
		if err != nil {
			return err
		}
		step := interval.v()
		if !interval.has() {
			step = unit.Feet(1)
			if m.units == siUnits {
				step = 0.5
			}
		}
		if lines := float64(r.MaxDepth.Value / step); !(step > 0) || lines > 500 {
			return usagef("--interval: %g lines are too many", lines)
		}
		m.printWarnings(surveyservice.Warnings(r.Warnings))
		var lines []*pb.Contour
		if err := surveyservice.Contours(r.Bed, r.Frame, step, func(l *pb.Contour) error {
			lines = append(lines, l)
			return nil
		}); err != nil {
			return err
		}
		if out != "" {
			data, err := json.Marshal(contoursGeoJSON(lines))
			if err != nil {
				return fmt.Errorf("contours as GeoJSON: %w", err)
			}
			if err := os.WriteFile(out, append(data, '\n'), 0o600); err != nil {
				return fmt.Errorf("write the contours: %w", err)
			}
		}
		if asJSON {
			return writeJSON(m.Out, &pb.ContourList{Contours: lines})
		}
		fmt.Fprintf(m.Out, "%12s %6s %8s\n", "depth", "lines", "places")
		for _, l := range lines {
			places := 0
			for _, ring := range l.GetRings() {
				places += len(ring.GetPoints())
			}
			fmt.Fprintf(m.Out, "%12s %6d %8d\n", m.stage(l.GetDepthM()), len(l.GetRings()), places)
		}
		return nil
	}
	return c
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
