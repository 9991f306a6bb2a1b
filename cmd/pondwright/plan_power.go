package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"time"

	"github.com/golang/geo/s1"
	"github.com/spf13/pflag"

	"pondwright/calc/air"
	"pondwright/calc/mast"
	"pondwright/calc/sun"
	"pondwright/calc/unit"
	"pondwright/client/intake"
	"pondwright/geo/plan"
	pb "pondwright/proto/pondwright/v1"
)

// powerFlags are what plan is told of power, mast, levels and prices, as typed.
// Empty: not given.
type powerFlags struct {
	source, season, light, windMonths                           string
	panels                                                      int
	panel, tilt, azimuth, horizon, open, coldest                string
	battery, batteryKind, volts, wire, mains, cutIn             string
	gust, windMap, exposure, soil, frost, pole, footing, center string
	depth, mass, yield, lowest, highest, rating, prices         string
	lockout, dry, tested, isolated, winter, settled, profile    bool
}

func (p *powerFlags) flags(f *pflag.FlagSet) {
	text := func(at *string, name, help string) { f.StringVar(at, name, "", help) }
	yes := func(at *bool, name, help string) { f.BoolVar(at, name, false, help) }
	text(&p.source, "power", "what drives the air: sun, battery (sun through one), wind or mains; without it a whole day of running is taken, unverified")
	text(&p.season, "season", "months that must meet the target, as apr-oct (default the growing season, marked)")
	text(&p.light, "light", "your own light on level ground a day, twelve months in kWh/m², comma-separated, January first (default the nearest typical year's)")
	text(&p.windMonths, "wind-months", "your own mean wind, twelve months, comma-separated, January first (default the nearest typical year's)")
	f.IntVar(&p.panels, "panels", 0, "solar panels owned; 0 proposes as many as the target takes")
	text(&p.panel, "panel", "rated power of one panel, as 400W (default 100 W, marked)")
	text(&p.tilt, "tilt", "tilt of the panels from level (default the best of the season)")
	text(&p.azimuth, "azimuth", "true bearing that the panels face (default toward the equator)")
	text(&p.horizon, "horizon", "skyline seen from the mast, bearing and elevation in degrees, as 90:10,180:25; open where it is open all round")
	text(&p.open, "panel-open", "open-circuit voltage of one panel, for the cold morning")
	text(&p.coldest, "coldest", "coldest daylight the panels see (default 30 K below the coldest month)")
	text(&p.battery, "battery", "capacity of the battery owned, as 10kWh (default proposed)")
	text(&p.batteryKind, "battery-kind", "lead-acid or lithium (default lead-acid)")
	text(&p.volts, "volts", "voltage at the machines (default 24 V)")
	text(&p.wire, "wire", "length of wire from panels or battery to the machines, one way")
	text(&p.mains, "mains", "distance of the mains, for the comparison of sources")
	text(&p.cutIn, "cut-in", "wind at which a wind pump gives air (default 3 m/s)")
	yes(&p.lockout, "lockout", "the machines cannot start again by themselves: a person must reset a lock-out or timer")
	text(&p.gust, "wind", "basic wind speed of the code's map for the mast, as 115mph (default marked)")
	text(&p.windMap, "wind-map", "edition of ASCE 7 of that map: 7-05, 7-10, 7-16 or 7-22")
	text(&p.exposure, "exposure", "ground upwind of the mast: B, C or D")
	text(&p.soil, "soil", "bedrock, rock, gravel, sand, clay or organic (default clay, marked)")
	yes(&p.tested, "soil-tested", "the soil class comes from test pits")
	yes(&p.dry, "soil-dry", "the mast's ground is never soaked")
	yes(&p.isolated, "isolated", "half an inch of movement at grade does no harm, and the building authority agrees")
	text(&p.frost, "frost", "local frost depth")
	text(&p.pole, "pole", "nominal size of schedule 40 steel pipe: "+strings.Join(poleNames(), ", ")+" (default 4, marked)")
	text(&p.yield, "pole-yield", "yield stress of the pole's steel, as 35ksi")
	text(&p.footing, "footing", "width of the mast's footing (default 18 in, marked)")
	text(&p.depth, "footing-depth", "depth of the mast's footing (default the least that holds)")
	text(&p.center, "panel-height", "height of the panels' middle above grade (default 8 ft, marked)")
	text(&p.mass, "mast-mass", "mass of panels and frame at the masthead")
	text(&p.highest, "highest", "highest water expected over the shoreline's level; sets the pressure")
	text(&p.lowest, "lowest", "usual low water below the shoreline's level; sets the lift")
	text(&p.rating, "rating", "pressure that the weakest part may see, for the relief valve")
	text(&p.prices, "prices", "your own price list, CSV with the columns item,unit,price: "+strings.Join(intake.PriceItems(), ", "))
	yes(&p.winter, "winter", "running in the months of ice is wanted")
	yes(&p.settled, "winter-settled", "permit, signs, inspection and foot traffic on the ice are settled")
	yes(&p.profile, "profile-known", "temperature and oxygen were measured from top to bottom")
}

// apply puts what was typed into a plan's input. Problems of the price file that
// leave something to go on with are returned.
func (p *powerFlags) apply(in *plan.Input, u unitSystem) ([]intake.Problem, error) {
	r := &typed{units: u}
	p.applyPower(in, r)
	p.applyMast(in, r)
	if p.highest != "" {
		level := unit.Meters(r.number("highest", p.highest, ofLength.dimension))
		in.Levels.Highest = &level
	}
	if p.lowest != "" {
		level := -unit.Meters(r.number("lowest", p.lowest, ofLength.dimension))
		in.Levels.Low = &level
	}
	if p.rating != "" {
		in.Ratings = []air.Rating{{Part: "the weakest part", Limit: unit.PascalsGauge(r.number("rating", p.rating, ofGauge.dimension))}}
	}
	in.Answers = plan.Answers{WinterRun: p.winter, WinterPermit: p.settled, Profile: p.profile}
	if r.err != nil || p.prices == "" {
		return nil, r.err
	}
	data, err := os.ReadFile(p.prices)
	if err != nil {
		return nil, fmt.Errorf("prices: %w", err)
	}
	list, err := intake.ParsePrices(p.prices, data)
	if err != nil {
		return nil, err
	}
	in.Prices.Dated = list.Dated
	for _, row := range list.Rows {
		in.Prices.List = append(in.Prices.List, plan.Price{Item: row.Item, Unit: row.Unit, Each: row.Each})
	}
	return list.Problems, nil
}

// applyPower puts the flags into the input and tells what is wrong with the price
// list.
func (m *Main) applyPower(p *powerFlags, in *plan.Input) error {
	problems, err := p.apply(in, m.units)
	for _, q := range problems {
		fmt.Fprintln(m.Err, "warning:", q)
	}
	if bad := new(intake.Error); errors.As(err, &bad) {
		return &inputError{asWarning(bad.Problem)}
	}
	return err
}

// typed reads flags and keeps the first error.
type typed struct {
	units unitSystem
	err   error
}

func (r *typed) fail(name string, err error) {
	if r.err == nil && err != nil {
		r.err = usagef("--%s: %w", name, err)
	}
}

// number reads a quantity, 0 for nothing.
func (r *typed) number(name, text string, d *dimension) float64 {
	if text == "" {
		return 0
	}
	v, err := d.parse(text, r.units)
	r.fail(name, err)
	return v
}

// word reads one of the words, 0 for nothing.
func (r *typed) word(name, text string, words ...string) int {
	for i, w := range words {
		if strings.EqualFold(w, text) && w != "" {
			return i
		}
	}
	if text != "" {
		r.fail(name, fmt.Errorf("%q is none of %s", text, strings.Join(words[1:], ", ")))
	}
	return 0
}

// months reads a year's values, nil for nothing.
func monthsOf[Q ~float64](r *typed, name, text string, d *dimension) *[12]Q {
	if text == "" {
		return nil
	}
	parts := strings.Split(text, ",")
	if len(parts) != 12 {
		r.fail(name, fmt.Errorf("%d values where twelve months are wanted, January first", len(parts)))
		return nil
	}
	var out [12]Q
	for i, part := range parts {
		out[i] = Q(r.number(name, strings.TrimSpace(part), d))
	}
	return &out
}

func (p *powerFlags) applyPower(in *plan.Input, r *typed) {
	source := []plan.Source{"", plan.SunDirect, plan.SunBattery, plan.WindMill, plan.Grid}[r.word("power", p.source, "", "sun", "battery", "wind", "mains")]
	if source == "" {
		if p.panels != 0 || p.battery != "" || p.season != "" || p.horizon != "" {
			r.fail("power", fmt.Errorf("panels, battery, season and horizon mean something with a source only: sun, battery, wind or mains"))
		}
		return
	}
	out := &plan.Power{Source: source, Lockout: p.lockout}
	var err error
	out.Season, err = parseSeason(p.season)
	r.fail("season", err)
	out.Climate = sun.Own{
		Irradiation: monthsOf[unit.WattHoursPerSquareMeter](r, "light", p.light, ofDayLight.dimension),
		Wind:        monthsOf[unit.MetersPerSecond](r, "wind-months", p.windMonths, ofSpeed.dimension),
	}
	if out.HorizonKnown = p.horizon != ""; out.HorizonKnown && p.horizon != "open" {
		out.Horizon, err = parseSights(p.horizon)
		r.fail("horizon", err)
	}
	out.Panels = plan.Panels{
		Module: sun.Module{Power: unit.Watts(r.number("panel", p.panel, ofPower.dimension)), Open: unit.Volts(r.number("panel-open", p.open, ofVolts.dimension))},
		Count:  p.panels, Tilt: s1.Angle(r.number("tilt", p.tilt, ofAngle.dimension)),
		Coldest: unit.Kelvin(r.number("coldest", p.coldest, ofTemperature.dimension)),
	}
	if p.azimuth != "" {
		azimuth := s1.Angle(r.number("azimuth", p.azimuth, ofAngle.dimension))
		out.Panels.Azimuth = &azimuth
	}
	out.Battery.Capacity = unit.WattHours(r.number("battery", p.battery, ofEnergy.dimension))
	out.Battery.Kind = []sun.Battery{{}, sun.LeadAcid(), sun.LithiumIron()}[r.word("battery-kind", p.batteryKind, "", "lead-acid", "lithium")]
	out.Wiring = plan.Wiring{Volts: unit.Volts(r.number("volts", p.volts, ofVolts.dimension)), Length: unit.Meters(r.number("wire", p.wire, ofLength.dimension))}
	out.Mill.CutIn = unit.MetersPerSecond(r.number("cut-in", p.cutIn, ofSpeed.dimension))
	out.Grid.Length = unit.Meters(r.number("mains", p.mains, ofLength.dimension))
	in.Power = out
}

// applyMast reads the mast, if anything was said of it.
func (p *powerFlags) applyMast(in *plan.Input, r *typed) {
	if p.gust+p.windMap+p.exposure+p.soil+p.frost+p.pole+p.yield+p.footing+p.depth+p.center+p.mass == "" && !p.dry && !p.tested && !p.isolated {
		return
	}
	s := &plan.Structure{
		Wind: mast.Wind{
			Speed: unit.MetersPerSecond(r.number("wind", p.gust, ofSpeed.dimension)),
			// The editions and exposures run in this order.
			Map:      mast.Edition(r.word("wind-map", p.windMap, "", "7-05", "7-10", "7-16", "7-22")),
			Exposure: mast.Exposure(r.word("exposure", p.exposure, "", "B", "C", "D")),
		},
		Ground: mast.Ground{
			Soil:   mast.Soil(r.word("soil", p.soil, "", "bedrock", "rock", "gravel", "sand", "clay", "organic")),
			Tested: p.tested, Dry: p.dry, Isolated: p.isolated,
		},
		Pole:    mast.Pole{Yield: unit.PascalsGauge(r.number("pole-yield", p.yield, ofYield.dimension))},
		Footing: mast.Footing{Width: unit.Meters(r.number("footing", p.footing, ofBore.dimension)), Depth: unit.Meters(r.number("footing-depth", p.depth, ofLength.dimension))},
		Center:  unit.Meters(r.number("panel-height", p.center, ofLength.dimension)),
		Mass:    unit.Kilograms(r.number("mast-mass", p.mass, ofMass.dimension)),
	}
	if p.frost != "" {
		deep := unit.Meters(r.number("frost", p.frost, ofLength.dimension))
		s.Ground.Frost = &deep
	}
	if p.pole != "" {
		section, err := poleOf(p.pole)
		if err != nil && r.err == nil {
			r.err = err
		}
		s.Pole.Section = section
	}
	in.Structure = s
}

// printPower writes what drives the air for people.
func (m *Main) printPower(w io.Writer, p *pb.Plan) {
	u := p.GetSupply()
	if u != nil {
		fmt.Fprintf(w, "\nPower: %s\n", strings.Join(m.supplyFindings(u), "; "))
		fmt.Fprintf(w, "%12s %8s %12s\n", "", "h a day", "turnovers")
		for _, month := range u.GetMonths() {
			if month.GetInSeason() {
				fmt.Fprintf(w, "%12s %8.1f %12.2f\n", time.Month(month.GetMonth()), month.GetRunHoursPerDay(), month.GetTurnoversPerDay().GetValue())
			}
		}
	}
	if v := p.GetMastVerdict(); v != nil {
		fmt.Fprintf(w, "\nMast: %s. For %s of wind and %s of panel: footing %s wide, %s deep, %d bags of concrete.\n", m.units.words(v.GetTextTemplate(), v.GetText()),
			ofSpeed.print(v.GetWindMPerS(), m.units), unit.System(m.units).Panel(unit.SquareMeters(v.GetPanelAreaM2())),
			m.units.length(unit.Meters(v.GetFootingWidthM())), m.units.length(unit.Meters(v.GetFootingDepthM())), v.GetBags())
	}
	if c := p.GetCommissioning(); c != nil && len(p.GetDiffusers()) > 0 {
		g := func(i *pb.Interval) string {
			return fmt.Sprintf("%s to %s", m.units.gauge(unit.PascalsGauge(i.GetLow())), m.units.gauge(unit.PascalsGauge(i.GetHigh())))
		}
		fmt.Fprintf(w, "\nGauges at start-up: %s at the level of the sounding day, %s at the highest", g(c.GetSoundingDay().GetPressurePaGauge()), g(c.GetHighest().GetPressurePaGauge()))
		if a := c.GetSoundingDay().GetCurrentA(); a != nil {
			fmt.Fprintf(w, "; %.1f to %.1f A at %.0f V", a.GetLow(), a.GetHigh(), c.GetVoltageV())
		}
		fmt.Fprintln(w, ".")
	}
	m.printAlternatives(w, p)
	if len(p.GetRefusals()) > 0 {
		fmt.Fprintln(w, "\nRefused as it stands:")
		for _, r := range p.GetRefusals() {
			fmt.Fprintf(w, " - %s. %s.\n", strings.TrimSuffix(upperFirst(m.units.words(r.GetTextTemplate(), r.GetText())), "."), upperFirst(r.GetRemedy()))
		}
	}
}

func upperFirst(text string) string {
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

func (m *Main) supplyFindings(u *pb.Supply) []string {
	var out []string
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	add("%s, %.0f W at the machines", strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(u.GetSource().String(), "POWER_SOURCE_"), "_", " ")), u.GetLoadW())
	if u.GetPanels() > 0 {
		how := "owned"
		if u.GetPanelsProposed() {
			how = "proposed"
		}
		add("%d panels of %.0f W (%s), tilt %.0f°, facing %.0f° true", u.GetPanels(), u.GetPanelW(), how, u.GetTiltDeg(), math.Mod(u.GetAzimuthDeg()+360, 360))
		if u.CompassDeg != nil {
			add("%.0f° by compass", u.GetCompassDeg())
		}
		if u.GetColdV() > 0 {
			add("%.0f V on the coldest morning", u.GetColdV())
		}
	}
	if u.GetBatteryWh() > 0 {
		add("battery of %.1f kWh", u.GetBatteryWh()/1000)
	}
	for _, wire := range []*pb.WireRun{u.GetWire(), u.GetCable()} {
		if wire.GetGauge() != "" {
			add("%s of %s wire loses %.1f %%", m.units.distance(unit.Meters(wire.GetLengthM())), wire.GetGauge(), 100*wire.GetDropShare())
		}
	}
	return out
}

// printAlternatives writes the other ways to build, and the sources side by side.
func (m *Main) printAlternatives(w io.Writer, p *pb.Plan) {
	if len(p.GetAlternatives()) > 0 {
		fmt.Fprintln(w, "\nOther ways to build, best first:")
	}
	for _, a := range p.GetAlternatives() {
		cost := ""
		switch {
		case a.Cost != nil:
			cost = fmt.Sprintf(", %.0f in your money", math.Ceil(a.GetCost()))
		case len(a.GetUnpriced()) > 0:
			cost = ", no price for " + strings.Join(a.GetUnpriced(), ", ")
		}
		mark := "falls short"
		if a.GetMeetsTarget() {
			mark = "meets the target"
		}
		fmt.Fprintf(w, " - %s: %.2f turnovers a day, %s%s\n", m.units.words(a.GetTextTemplate(), a.GetText()), a.GetTurnoversPerDay().GetValue(), mark, cost)
	}
	if len(p.GetSources()) > 0 {
		fmt.Fprintln(w, "\nSources of power for this layout:")
	}
	for _, s := range p.GetSources() {
		name := strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(s.GetSource().String(), "POWER_SOURCE_"), "_", " "))
		how := "meets the target"
		if !s.GetMeetsTarget() {
			how = s.GetReason()
		}
		fmt.Fprintf(w, " - %s: %s", name, how)
		if s.GetArrayW() > 0 {
			fmt.Fprintf(w, "; %.0f W of panel", s.GetArrayW())
		}
		if s.GetBatteryWh() > 0 {
			fmt.Fprintf(w, ", %.1f kWh of battery", s.GetBatteryWh()/1000)
		}
		if s.Cost != nil {
			fmt.Fprintf(w, "; %.0f in your money", math.Ceil(s.GetCost()))
		}
		fmt.Fprintln(w)
	}
}
