package main

import (
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/golang/geo/s2"
	"github.com/spf13/cobra"

	"pondwright/calc/unit"
	"pondwright/client"
	"pondwright/geo/survey"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	surveyservice "pondwright/server/survey"
)

func (m *Main) transectsCommand() *cobra.Command {
	var shoreline, out, dir, pond, author string
	var asJSON bool
	c := &cobra.Command{
		Use:   "transects --shoreline FILE [--out DIR]",
		Short: "The lines for a boat to run, from the outline alone, with what they cost and give",
		Long: "Plan the lines for a boat to run, from the outline alone: across the pond, along it,\n" +
			"round its shore, up every arm and over the place that is likely deepest. With --out\n" +
			"they are written as GeoJSON and GPX; with --store and --pond they go on record.",
		Args: cobra.NoArgs,
	}
	f := &form{units: &m.units, flags: c.Flags()}
	c.Flags().StringVar(&shoreline, "shoreline", "", "outline of the pond, GeoJSON with one Polygon")
	spacing := ask(f, "spacing", ofLength, "", "between the lines across; left out, the lesser of 15 m and a tenth of the square root of the area")
	c.Flags().StringVar(&out, "out", "", "folder for transects.geojson and transects.gpx; made if missing")
	c.Flags().StringVar(&dir, "store", "", "folder of the device's store, to put the lines on record")
	c.Flags().StringVar(&pond, "pond", "", "name of the pond the lines go on record for")
	c.Flags().StringVar(&author, "by", "", "who planned them")
	c.Flags().BoolVar(&asJSON, "json", false, "print the lines as JSON, in SI units")
	c.MarkFlagsRequiredTogether("store", "pond")
	require(c, "shoreline")
	c.RunE = func(c *cobra.Command, _ []string) error {
		s, _, err := readShoreline(shoreline)
		if err != nil {
			return err
		}
		p, err := survey.PlanTransects(s, spacing.v())
		if err != nil {
			return err
		}
		message := surveyservice.TransectsMessage(p, s.Frame())
		if out != "" {
			if err := writeTransects(out, message); err != nil {
				return err
			}
		}
		if dir != "" {
			if err := recordTransects(c.Context(), dir, pond, author, message.GetTransects()); err != nil {
				return err
			}
		}
		if asJSON {
			return writeJSON(m.Out, message)
		}
		m.printTransects(m.Out, message)
		return nil
	}
	return c
}

// recordTransects puts planned lines into a store.
func recordTransects(ctx context.Context, dir, pond, author string, lines []*pb.Transect) error {
	if block.NormalizeName(pond) == "" {
		return usagef("--pond: a pond needs a name")
	}
	store, err := client.Open(ctx, dir)
	if err != nil {
		return err
	}
	a := adder{store: store, pond: block.PondID(pond), name: pond, author: author}
	err = a.recordPond(ctx, &pb.Pond{Name: pond})
	for _, t := range lines {
		if err == nil {
			err = a.record(ctx, &pb.Record{Kind: &pb.Record_Transect{Transect: t}})
		}
	}
	return errors.Join(err, store.Close())
}

// purposeName is a purpose in a word, as files and people read it.
func purposeName(p pb.TransectPurpose) string {
	return strings.ToLower(strings.TrimPrefix(p.String(), "TRANSECT_PURPOSE_"))
}

// printTransects writes the lines for people.
func (m *Main) printTransects(w io.Writer, p *pb.TransectPlan) {
	u := m.units
	fmt.Fprintf(w, "%-10s %6s %12s   %s\n", "line", "places", "length", "from (lat, lon) to (lat, lon)")
	for _, t := range p.GetTransects() {
		a, b := t.GetPoints()[0], t.GetPoints()[len(t.GetPoints())-1]
		fmt.Fprintf(w, "%-10s %6d %12s   %.6f, %.6f  %.6f, %.6f\n", t.GetName(), len(t.GetPoints()), u.distance(lengthOf(t)),
			a.GetLatDeg(), a.GetLonDeg(), b.GetLatDeg(), b.GetLonDeg())
	}
	fmt.Fprintf(w, "\n%12s %6s %12s %10s %16s %12s\n", "spacing", "lines", "way", "boat time", "volume error", "worst pond")
	row := func(c *pb.SpacingChoice, mark string) {
		if c.GetExtrapolated() {
			mark = "  outside the test, nearest row" + mark
		}
		fmt.Fprintf(w, "%12s %6d %12s %7.0f min %14.1f %% %10.1f %%%s\n", u.length(unit.Meters(c.GetSpacingM())), c.GetLines(),
			u.distance(unit.Meters(c.GetWayM())), c.GetBoatTimeS()/60, 100*c.GetErrorShare(), 100*c.GetWorstErrorShare(), mark)
	}
	row(p.GetChosen(), "  <- these lines")
	for _, c := range p.GetChoices() {
		row(c, "")
	}
	fmt.Fprintf(w, "\nError: %s.\nTake a depth every %s or closer, at %s or slower; start and end each line at the bank.\n",
		p.GetSource(), u.length(unit.Meters(p.GetIntervalM())), u.speed(1.5))
	fmt.Fprintln(w, "Wear a jacket, go two in the boat, and stay ashore in wind and lightning.")
}

// earthRadiusM is the mean radius of the Earth (Moritz, 2000, Geodetic Reference
// System 1980).
const earthRadiusM = 6371008.8

// lengthOf measures a line on the sphere, close enough for a list.
func lengthOf(t *pb.Transect) unit.Meters {
	at := func(p *pb.LatLng) s2.LatLng { return s2.LatLngFromDegrees(p.GetLatDeg(), p.GetLonDeg()) }
	var sum float64
	for k := 1; k < len(t.GetPoints()); k++ {
		sum += float64(at(t.GetPoints()[k-1]).Distance(at(t.GetPoints()[k]))) * earthRadiusM
	}
	return unit.Meters(sum)
}

// writeTransects writes the lines for a boat's instruments.
func writeTransects(dir string, p *pb.TransectPlan) error {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return fmt.Errorf("folder for the lines: %w", err)
	}
	geo, err := json.MarshalIndent(linesGeoJSON(p.GetTransects()), "", "  ")
	if err != nil {
		return fmt.Errorf("lines as GeoJSON: %w", err)
	}
	gpx, err := xml.MarshalIndent(linesGPX(p.GetTransects()), "", "  ")
	if err != nil {
		return fmt.Errorf("lines as GPX: %w", err)
	}
	for name, data := range map[string][]byte{
		"transects.geojson": geo,
		"transects.gpx":     append([]byte(xml.Header), gpx...),
	} {
		if err := os.WriteFile(filepath.Join(dir, name), append(data, '\n'), 0o600); err != nil {
			return fmt.Errorf("write the lines: %w", err)
		}
	}
	return nil
}

// lineFeature is a LineString of GeoJSON (RFC 7946) with what is said of it.
type lineFeature struct {
	Type       string         `json:"type"`
	Properties map[string]any `json:"properties"`
	Geometry   struct {
		Type        string       `json:"type"`
		Coordinates [][2]float64 `json:"coordinates"`
	} `json:"geometry"`
}

func newLineFeature(line []*pb.LatLng, properties map[string]any) lineFeature {
	f := lineFeature{Type: "Feature", Properties: properties}
	f.Geometry.Type = "LineString"
	for _, p := range line {
		f.Geometry.Coordinates = append(f.Geometry.Coordinates, [2]float64{degrees(p.GetLonDeg()), degrees(p.GetLatDeg())})
	}
	return f
}

// lineCollection is a FeatureCollection of lines.
type lineCollection struct {
	Type     string        `json:"type"`
	Features []lineFeature `json:"features"`
}

func linesGeoJSON(lines []*pb.Transect) lineCollection {
	out := lineCollection{Type: "FeatureCollection", Features: []lineFeature{}}
	for k, t := range lines {
		out.Features = append(out.Features, newLineFeature(t.GetPoints(), map[string]any{
			"name": t.GetName(), "purpose": purposeName(t.GetPurpose()), "order": k + 1, "spacing_m": t.GetSpacingM(),
		}))
	}
	return out
}

// gpxFile is a GPX 1.1 file of routes (the public schema of that name).
type gpxFile struct {
	XMLName xml.Name   `xml:"http://www.topografix.com/GPX/1/1 gpx"`
	Version string     `xml:"version,attr"`
	Creator string     `xml:"creator,attr"`
	Routes  []gpxRoute `xml:"rte"`
}

type gpxRoute struct {
	Name   string     `xml:"name"`
	Desc   string     `xml:"desc"`
	Number int        `xml:"number"`
	Points []gpxPoint `xml:"rtept"`
}

type gpxPoint struct {
	Lat  string `xml:"lat,attr"`
	Lon  string `xml:"lon,attr"`
	Name string `xml:"name"`
}

func linesGPX(lines []*pb.Transect) gpxFile {
	out := gpxFile{Version: "1.1", Creator: "pondwright"}
	for k, t := range lines {
		r := gpxRoute{Name: t.GetName(), Desc: purposeName(t.GetPurpose()), Number: k + 1}
		for i, p := range t.GetPoints() {
			r.Points = append(r.Points, gpxPoint{
				Lat: fmt.Sprintf("%.9f", p.GetLatDeg()), Lon: fmt.Sprintf("%.9f", p.GetLonDeg()),
				Name: fmt.Sprintf("%s.%d", t.GetName(), i+1),
			})
		}
		out.Routes = append(out.Routes, r)
	}
	return out
}
