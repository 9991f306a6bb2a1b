package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/golang/geo/s2"
	"github.com/spf13/cobra"

	"pondwright/calc/unit"
	"pondwright/client/intake"
	"pondwright/geo/plan"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
)

// ground are the flags that tell a plan of zones, stations, hose and the designer's
// hand.
type ground struct {
	zones, pins, bans, places, masts, hoses, coils []string
	noDam                                          bool
	trunk                                          string
}

func (g *ground) flags(c *cobra.Command) {
	f := c.Flags()
	f.StringArrayVar(&g.zones, "zones", nil, "zones to keep off, GeoJSON features with a property kind: "+strings.Join(intake.ZoneKinds(), ", ")+"; may be given several times")
	f.BoolVar(&g.noDam, "no-dam", false, "say that the pond has no dam")
	f.StringArrayVar(&g.pins, "pin", nil, "a diffuser that stays at LAT,LON; may be given several times")
	f.StringArrayVar(&g.bans, "ban", nil, "no diffuser within METERS of a place, as LAT,LON,METERS; may be given several times")
	f.StringArrayVar(&g.places, "place", nil, "a diffuser at LAT,LON: with any of these no site is sought and the plan is for these alone")
	f.StringArrayVar(&g.masts, "more-mast", nil, "another place for a mast, as LAT,LON, used where one cannot serve; may be given several times")
	f.StringArrayVar(&g.hoses, "hose", nil, "a hose that may be laid, as BORE_MM or BORE_MM,PRICE_PER_METER; may be given several times")
	f.StringArrayVar(&g.coils, "coil", nil, "hose on hand, as BORE_MM,METERS or BORE_MM,METERS,COUNT; may be given several times")
	f.StringVar(&g.trunk, "trunk", "cost", "one hose through the trench for all runs of a station: cost (where it costs less), yes or no")
}

// read fills the input from the flags and returns the places of diffusers that
// somebody put.
func (g *ground) read(in *plan.Input) (places []s2.LatLng, err error) {
	in.NoDam = g.noDam
	for _, list := range []struct {
		flag string
		text []string
		to   *[]s2.LatLng
	}{{"pin", g.pins, &in.Pins}, {"place", g.places, &places}, {"more-mast", g.masts, &in.MoreMasts}} {
		for _, text := range list.text {
			at, err := parseLatLng(text)
			if err != nil {
				return nil, usagef("--%s: %w", list.flag, err)
			}
			*list.to = append(*list.to, at)
		}
	}
	for _, text := range g.bans {
		i := strings.LastIndex(text, ",")
		at, err := parseLatLng(text[:max(i, 0)])
		radiusM, bad := strconv.ParseFloat(strings.TrimSpace(text[i+1:]), 64)
		if err = errors.Join(err, bad); err != nil {
			return nil, usagef("--ban: %q is not LAT,LON,METERS", text)
		}
		in.Bans = append(in.Bans, plan.Ban{At: at, Radius: unit.Meters(radiusM)})
	}
	if err := g.readHose(&in.Equipment); err != nil {
		return nil, err
	}
	for _, name := range g.zones {
		list, err := readZones(name)
		if err != nil {
			return nil, err
		}
		in.Zones = append(in.Zones, list...)
	}
	return places, nil
}

func (g *ground) readHose(e *plan.Equipment) error {
	switch g.trunk {
	case "cost":
	case "yes":
		e.Sharing = plan.Shared
	case "no":
		e.Sharing = plan.Separate
	default:
		return usagef("--trunk: %q is not cost, yes or no", g.trunk)
	}
	for _, text := range g.hoses {
		v, err := numbersIn(text, 1, 2)
		if err != nil {
			return usagef("--hose: %w", err)
		}
		e.Hoses = append(e.Hoses, plan.HoseKind{Bore: unit.Meters(v[0] / 1000), PricePerMeter: v[1]})
		e.HoseDefault = false
	}
	for _, text := range g.coils {
		v, err := numbersIn(text, 2, 3)
		if err != nil {
			return usagef("--coil: %w", err)
		}
		e.Coils = append(e.Coils, plan.Coil{Bore: unit.Meters(v[0] / 1000), Length: unit.Meters(v[1]), Count: int(v[2])})
	}
	return nil
}

// numbersIn reads from least to most numbers apart by commas; those left out are
// zero.
func numbersIn(text string, least, most int) ([]float64, error) {
	parts := strings.Split(text, ",")
	if len(parts) < least || len(parts) > most {
		return nil, fmt.Errorf("%q has %d numbers, %d to %d are wanted", text, len(parts), least, most)
	}
	out := make([]float64, most)
	for i, part := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(part), 64)
		if err != nil {
			return nil, fmt.Errorf("%q is not a number", part)
		}
		out[i] = v
	}
	return out, nil
}

// readZones reads one file of zones.
func readZones(name string) ([]plan.Zone, error) {
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, &inputError{survey.Warning{
			Code: "FILE_UNREADABLE", Source: survey.Source{File: name},
			Message: err.Error(), Remedy: "check the path and its permissions",
		}}
	}
	list, problems, err := intake.ParseZones(name, data)
	if err != nil {
		return nil, asInputError(err)
	}
	if len(problems) > 0 {
		return nil, &inputError{asWarning(problems[0])}
	}
	var out []plan.Zone
	for _, z := range list {
		out = append(out, plan.Zone{
			Kind: plan.ZoneKind(strings.ToUpper(strings.ReplaceAll(z.Kind, "-", "_"))), Name: z.Name, Points: z.Points, Area: z.Area,
			Margin: unit.Meters(z.MarginM),
		})
	}
	return out, nil
}

// printGround writes what more or fewer diffusers come to, the stations where there
// are several, the cut list and the boat work.
func (m *Main) printGround(w io.Writer, p *pb.Plan) {
	u := m.units
	if len(p.GetNumbers()) > 0 {
		fmt.Fprintf(w, "\nHow many:\n%6s %8s %10s %12s %12s %10s %8s\n", "", "served", "turnovers", "air each", "air needed", "hose", "meets")
		for _, n := range p.GetNumbers() {
			meets := ""
			if n.GetMeets() {
				meets = "yes"
			}
			fmt.Fprintf(w, "%6d %6.0f %% %10.2f %12s %12s %10s %8s\n", n.GetDiffusers(), 100*n.GetServedShare(), n.GetTurnoversPerDay(),
				u.air(unit.StdCubicMetersPerSecond(n.GetAirEachM3PerS())), u.air(unit.StdCubicMetersPerSecond(n.GetAirNeededM3PerS())),
				u.distance(unit.Meters(n.GetHoseM())), meets)
		}
	}
	if len(p.GetStations()) > 1 {
		fmt.Fprintln(w, "\nStations:")
	}
	for k, st := range p.GetStations() {
		if len(p.GetStations()) > 1 {
			fmt.Fprintf(w, " %d at %.6f,%.6f: %d diffusers, %d compressor(s), %s, %s in the manifold\n", k+1, st.GetMast().GetLatDeg(), st.GetMast().GetLonDeg(),
				len(st.GetDiffusers()), st.GetCompressors(), u.air(unit.StdCubicMetersPerSecond(st.GetAirM3PerS())), u.gauge(unit.PascalsGauge(st.GetManifoldPressurePaGauge())))
		}
		if t := st.GetTrunk(); t != nil {
			fmt.Fprintf(w, "\nTrunk of station %d: %s of %.1f mm bore.\n", k+1, u.distance(unit.Meters(t.GetLengthM())), 1000*t.GetBoreM())
		}
	}
	if len(p.GetCuts()) > 0 {
		fmt.Fprintln(w, "\nCut list:")
	}
	for _, c := range p.GetCuts() {
		run := fmt.Sprintf("trunk of station %d", c.GetStation()+1)
		if c.Diffuser != nil {
			run = p.GetDiffusers()[c.GetDiffuser()].GetLabel()
		}
		if c.GetPiece() > 1 {
			run += fmt.Sprintf(", piece %d", c.GetPiece())
		}
		from := "to buy"
		if c.GetOwned() {
			from = "on hand"
		}
		fmt.Fprintf(w, " coil %d (%.1f mm, %s, %s): %s for %s, %s left\n", c.GetCoil(), 1000*c.GetBoreM(), u.distance(unit.Meters(c.GetCoilLengthM())), from,
			u.distance(unit.Meters(c.GetLengthM())), run, u.distance(unit.Meters(c.GetLeftM())))
	}
	if len(p.GetBoatWork()) > 0 {
		fmt.Fprintln(w, "\nBoat work, in this order:")
	}
	for i, t := range p.GetBoatWork() {
		d := p.GetDiffusers()[t.GetDiffuser()]
		line := fmt.Sprintf("%s: %s of hose from the shore entry to %s of water", d.GetLabel(), u.distance(unit.Meters(t.GetHoseM())), u.length(unit.Meters(d.GetDepthM())))
		if b := d.GetHose().GetBallast(); b.GetWeights() > 0 {
			line += fmt.Sprintf(", %d weights of %s, one every %s", b.GetWeights(), u.mass(unit.Kilograms(b.GetConcreteKg()/float64(b.GetWeights()))), u.length(unit.Meters(b.GetApartM())))
		}
		fmt.Fprintf(w, " %d. %s\n", i+1, line)
	}
}
