package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"pondwright/calc/unit"
	"pondwright/geo/plan"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
	surveyservice "pondwright/server/survey"
)

// notForOrdering heads and ends whatever a guess prints.
const notForOrdering = "BALLPARK ONLY - NOT FOR ORDERING OR BUILDING"

func (m *Main) guessCommand() *cobra.Command {
	var shoreline string
	var hours, turnovers float64
	var asJSON bool
	c := &cobra.Command{
		Use:   "guess --shoreline FILE [--deepest DEPTH | --middle DEPTH]",
		Short: "A ballpark of water and air from the outline and one depth, not for ordering",
		Args:  cobra.NoArgs,
	}
	f := &form{units: &m.units, flags: c.Flags()}
	c.Flags().StringVar(&shoreline, "shoreline", "", "outline of the pond, GeoJSON with one Polygon")
	deepest := ask(f, "deepest", ofLength, "", "the greatest depth anybody knows of")
	middle := ask(f, "middle", ofLength, "", "one depth at the place farthest from the shore")
	altitude := ask(f, "altitude", ofLength, "0m", "height above the sea")
	c.Flags().Float64Var(&hours, "hours", 24, "hours of running a day")
	c.Flags().Float64Var(&turnovers, "turnovers", plan.DefaultTurnovers, "turnovers a day to aim at")
	c.Flags().BoolVar(&asJSON, "json", false, "print the guess as JSON, in SI units")
	c.MarkFlagsMutuallyExclusive("deepest", "middle")
	require(c, "shoreline")
	c.RunE = func(c *cobra.Command, _ []string) error {
		anchor, depth := survey.FromOutline, unit.Meters(0)
		switch {
		case deepest.has():
			anchor, depth = survey.FromDeepest, deepest.v()
		case middle.has():
			anchor, depth = survey.FromMiddle, middle.v()
		}
		s, _, err := readShoreline(shoreline)
		if err != nil {
			return err
		}
		g, err := survey.GuessWater(s, anchor, depth)
		if err != nil {
			return err
		}
		b, err := plan.GuessSystem(g, turnovers, hours, altitude.v())
		if err != nil {
			return err
		}
		message := surveyservice.GuessMessage(g, b)
		if asJSON {
			fmt.Fprintln(m.Err, notForOrdering)
			return writeJSON(m.Out, message)
		}
		m.printGuess(m.Out, message)
		return nil
	}
	return c
}

// printGuess writes the guess for people.
func (m *Main) printGuess(w io.Writer, g *pb.PondGuess) {
	u := m.units
	fmt.Fprintf(w, "%s\n\n", notForOrdering)
	m.intervalRow(w, "Water surface", g.GetAreaM2(), func(u unitSystem, v float64) string { return u.area(unit.SquareMeters(v)) })
	m.intervalRow(w, "Volume", g.GetVolumeM3(), func(u unitSystem, v float64) string { return u.volume(unit.CubicMeters(v)) })
	m.intervalRow(w, "Mean depth", g.GetMeanDepthM(), func(u unitSystem, v float64) string { return u.length(unit.Meters(v)) })
	fmt.Fprintf(w, "\n%-14s %16s %10s %14s %14s\n", "To turn over", "volume", "diffusers", "air", "lift")
	for _, row := range []struct {
		name   string
		system *pb.GuessedSystem
	}{{"low end", g.GetSystemLow()}, {"best guess", g.GetSystem()}, {"high end", g.GetSystemHigh()}} {
		s := row.system
		fmt.Fprintf(w, "%-14s %16s %10d %14s %14s\n", row.name, u.volume(unit.CubicMeters(s.GetVolumeM3())), s.GetDiffusers(),
			u.air(unit.StdCubicMetersPerSecond(s.GetAirflowM3PerS())), u.water(unit.CubicMetersPerSecond(s.GetLiftM3PerS())))
	}
	fmt.Fprintf(w, "\nRests on:\n - %s\n", g.GetSource())
	for _, a := range g.GetAssumptions() {
		fmt.Fprintln(w, " -", a)
	}
	fmt.Fprintf(w, "\n%s: sound the pond first; 'pondwright transects' plans the lines.\n", notForOrdering)
}
