package plan

import (
	"slices"
	"time"

	"github.com/golang/geo/s1"

	"pondwright/calc/air"
	"pondwright/calc/mast"
	"pondwright/calc/sun"
	"pondwright/calc/unit"
	"pondwright/calc/wind"
	"pondwright/geo/plan"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/sheet"
)

// sources pairs the sources of the contract with those of the pure room.
var sources = map[pb.PowerSource]plan.Source{
	pb.PowerSource_POWER_SOURCE_SUN_DIRECT:  plan.SunDirect,
	pb.PowerSource_POWER_SOURCE_SUN_BATTERY: plan.SunBattery,
	pb.PowerSource_POWER_SOURCE_WIND:        plan.WindMill,
	pb.PowerSource_POWER_SOURCE_GRID:        plan.Grid,
}

func sourceMessage(s plan.Source) pb.PowerSource {
	for m, of := range sources {
		if of == s {
			return m
		}
	}
	return pb.PowerSource_POWER_SOURCE_UNSPECIFIED
}

// changes pairs the changes of the pure room with those of the contract.
var changes = map[plan.Change]pb.ChangeKind{
	plan.MoreDiffusers:  pb.ChangeKind_CHANGE_KIND_MORE_DIFFUSERS,
	plan.WiderHose:      pb.ChangeKind_CHANGE_KIND_WIDER_HOSE,
	plan.MoreMachines:   pb.ChangeKind_CHANGE_KIND_MORE_MACHINES,
	plan.MorePanels:     pb.ChangeKind_CHANGE_KIND_MORE_PANELS,
	plan.AddBattery:     pb.ChangeKind_CHANGE_KIND_BATTERY,
	plan.MachinesPanels: pb.ChangeKind_CHANGE_KIND_MACHINES_AND_PANELS,
	plan.ByWind:         pb.ChangeKind_CHANGE_KIND_WIND,
	plan.ByGrid:         pb.ChangeKind_CHANGE_KIND_GRID,
}

// Drive fills in what drives the air, what holds the panels, levels, answers,
// ratings and prices, as messages tell of them. Day is that for which a compass
// reading is worked out: of the survey, so that one survey gives one plan.
func Drive(in *plan.Input, e *pb.EquipmentChoice, m *pb.MastSite, levels *pb.PondLevels, answers *pb.SafetyAnswers, day time.Time) {
	in.Power = Power(e.GetPower(), m, day)
	in.Structure = Structure(m.GetStructure())
	in.Levels = plan.Levels{}
	if levels != nil {
		in.Levels = plan.Levels{Full: meters(levels.FullM), Low: meters(levels.UsualLowM), Highest: meters(levels.HighestM)}
	}
	in.Answers = plan.Answers{WinterRun: answers.GetWinterRun(), WinterPermit: answers.GetWinterPermit(), Profile: answers.GetProfile()}
	for _, r := range e.GetRatings() {
		in.Ratings = append(in.Ratings, air.Rating{Part: r.GetPart(), Limit: unit.PascalsGauge(r.GetLimitPaGauge())})
	}
	in.Prices = sheet.Prices(e.GetPrices())
}

// Power returns what a message says of the power, nil for nothing. The skyline is
// the mast's; day is when a compass would be read.
func Power(c *pb.PowerChoice, m *pb.MastSite, day time.Time) *plan.Power {
	if c == nil {
		return nil
	}
	p := &plan.Power{
		Source: sources[c.GetSource()], Efficiency: c.GetAirShare(), Lockout: c.GetLockout(), Day: day,
		HorizonKnown: m.GetHorizonSeen(),
	}
	p.Climate = sun.Own{
		Irradiation: twelve(c.GetClimate().GetIrradiationWhPerM2(), func(v float64) unit.WattHoursPerSquareMeter { return unit.WattHoursPerSquareMeter(v) }),
		Wind:        twelve(c.GetClimate().GetWindMPerS(), func(v float64) unit.MetersPerSecond { return unit.MetersPerSecond(v) }),
		Temperature: twelve(c.GetClimate().GetAirTempC(), unit.Celsius),
	}
	for _, month := range c.GetSeasonMonths() {
		if month >= 1 && month <= 12 {
			p.Season[month-1] = true
		}
	}
	for _, h := range m.GetHorizon() {
		p.Horizon = append(p.Horizon, sun.HorizonPoint{Azimuth: s1.Angle(h.GetAzimuthDeg()) * s1.Degree, Elevation: s1.Angle(h.GetElevationDeg()) * s1.Degree})
	}
	p.Panels = panelsOf(c.GetPanels())
	b := c.GetBattery()
	p.Battery = plan.Battery{Capacity: unit.WattHours(b.GetCapacityWh()), Days: b.GetSunlessD()}
	switch b.GetKind() {
	case pb.BatteryKind_BATTERY_KIND_LEAD_ACID:
		p.Battery.Kind = sun.LeadAcid()
	case pb.BatteryKind_BATTERY_KIND_LITHIUM_IRON:
		p.Battery.Kind = sun.LithiumIron()
	case pb.BatteryKind_BATTERY_KIND_UNSPECIFIED:
	}
	if b != nil && b.ColdestC != nil {
		p.Battery.Coldest = unit.Celsius(b.GetColdestC())
	}
	p.Wiring = plan.Wiring{Volts: unit.Volts(c.GetWiring().GetVoltageV()), Length: unit.Meters(c.GetWiring().GetLengthM())}
	if i := slices.IndexFunc(sun.Gauges(), func(g sun.Gauge) bool { return g.Name == c.GetWiring().GetGauge() }); i >= 0 {
		p.Wiring.Gauge = sun.Gauges()[i]
	}
	mill := c.GetMill()
	p.Mill = plan.Mill{Mill: wind.Mill{
		CutIn: unit.MetersPerSecond(mill.GetCutInMPerS()), CutOut: unit.MetersPerSecond(mill.GetCutOutMPerS()), Hub: unit.Meters(mill.GetHubM()),
	}, Shelter: mill.GetShelterShare()}
	p.Grid = wind.Grid{Length: unit.Meters(c.GetGrid().GetLengthM()), Volts: unit.Volts(c.GetGrid().GetVoltageV()), PowerFactor: c.GetGrid().GetPowerFactor()}
	return p
}

func panelsOf(c *pb.PanelChoice) plan.Panels {
	p := plan.Panels{
		Module: sun.Module{
			Power: unit.Watts(c.GetPowerW()), Open: unit.Volts(c.GetOpenV()), Short: unit.Amperes(c.GetShortA()), SeriesLength: int(c.GetInSeries()),
		},
		Count: int(c.GetCount()), Tilt: s1.Angle(c.GetTiltDeg()) * s1.Degree, Area: unit.SquareMeters(c.GetAreaM2()),
	}
	if c != nil && c.AzimuthDeg != nil {
		azimuth := s1.Angle(c.GetAzimuthDeg()) * s1.Degree
		p.Azimuth = &azimuth
	}
	if c != nil && c.ColdestC != nil {
		p.Coldest = unit.Celsius(c.GetColdestC())
	}
	return p
}

// twelve returns a year's months, nil where there are not twelve.
func twelve[Q any](list []float64, as func(float64) Q) *[12]Q {
	if len(list) != 12 {
		return nil
	}
	var out [12]Q
	for i, v := range list {
		out[i] = as(v)
	}
	return &out
}

func meters(v *float64) *unit.Meters {
	if v == nil {
		return nil
	}
	m := unit.Meters(*v)
	return &m
}

// Structure returns what a message says of the mast, nil for nothing.
func Structure(m *pb.MastStructure) *plan.Structure {
	if m == nil {
		return nil
	}
	s := &plan.Structure{
		Wind: mast.Wind{
			// The enumerations of the contract and of package mast run alike.
			Speed: unit.MetersPerSecond(m.GetWindMPerS()), Map: mast.Edition(m.GetWindMap()), Exposure: mast.Exposure(m.GetExposure()), Topographic: m.GetTopographicFactor(),
		},
		Ground: mast.Ground{
			Soil: mast.Soil(m.GetSoil()), Bearing: unit.PascalsPerMeter(m.GetLateralBearingPaPerM()), Vertical: unit.PascalsGauge(m.GetVerticalBearingPa()),
			Tested: m.GetSoilTested(), Dry: m.GetSoilDry(), Isolated: m.GetIsolated(), Frost: meters(m.FrostM),
		},
		Pole:    mast.Pole{Yield: unit.PascalsGauge(m.GetPoleYieldPa())},
		Footing: mast.Footing{Width: unit.Meters(m.GetFootingWidthM()), Depth: unit.Meters(m.GetFootingDepthM()), Square: m.GetFootingSquare()},
		Center:  unit.Meters(m.GetCenterM()), Mass: unit.Kilograms(m.GetHeadMassKg()),
	}
	if m.GetPoleOutsideM() > 0 {
		s.Pole.Section = mast.Pipe{Name: "given", Outside: unit.Meters(m.GetPoleOutsideM()), Wall: unit.Meters(m.GetPoleWallM())}
	}
	return s
}

// addPower adds what drives the air, what holds it up, and what follows.
func addPower(m *pb.Plan, p *plan.Plan) {
	m.RunHoursVerified = p.RunHoursVerified
	m.ReliefPaGauge = float64(p.Relief)
	m.Supply = supplyMessage(p.Supply)
	m.MastVerdict = verdictMessage(p.Structure)
	for _, a := range p.Alternatives {
		m.Alternatives = append(m.Alternatives, &pb.Alternative{
			Change: changes[a.Change], Text: a.Text.String(), TextTemplate: a.Text.Template(), TurnoversPerDay: span(a.Turnovers), RunHoursPerDay: a.RunHours, MeetsTarget: a.Meets,
			Diffusers: count(a.Diffusers), Compressors: count(a.Machines), ArrayW: float64(a.Array), BatteryWh: float64(a.Battery),
			Items: bill(a.Items), Cost: a.Cost, Unpriced: a.Unpriced,
		})
	}
	for _, s := range p.Sources {
		row := &pb.SourceComparison{
			Source: sourceMessage(s.Source), WorstMonth: count(int(s.Worst)), MeetsTarget: s.Meets, Reason: s.Reason,
			ArrayW: float64(s.Array), BatteryWh: float64(s.Battery), Cable: cableMessage(s.Cable), Notes: s.Notes,
			Items: bill(s.Items), Cost: s.Cost, Unpriced: s.Unpriced, TurnoversPerDay: s.Turnovers[:],
		}
		for _, h := range s.Hours {
			row.RunHoursPerDay = append(row.RunHoursPerDay, h.Hours())
		}
		m.Sources = append(m.Sources, row)
	}
	if c := p.Commissioning; c != nil {
		m.Commissioning = &pb.Commissioning{SoundingDay: gauges(c.SoundingDay), Highest: gauges(c.Highest), VoltageV: float64(c.Volts)}
		for _, g := range c.Stations {
			m.Commissioning.Stations = append(m.Commissioning.Stations, gauges(g))
		}
	}
	for _, r := range p.Refusals {
		m.Refusals = append(m.Refusals, &pb.Refusal{Code: r.Code, Field: r.Field, Text: r.Text.String(), TextTemplate: r.Text.Template(), Remedy: r.Remedy})
	}
}

func bill(list []plan.Item) []*pb.BillItem {
	var out []*pb.BillItem
	for _, i := range list {
		out = append(out, &pb.BillItem{Item: i.Name, Unit: i.Unit, Quantity: i.Quantity})
	}
	return out
}

func gauges(g plan.Gauges) *pb.GaugeReadings {
	m := &pb.GaugeReadings{PressurePaGauge: span(g.Pressure)}
	if g.Amps.Value > 0 {
		m.CurrentA = span(g.Amps)
	}
	return m
}

func supplyMessage(u *plan.Supply) *pb.Supply {
	if u == nil {
		return nil
	}
	m := &pb.Supply{
		Source: sourceMessage(u.Source), LightFrom: u.Light.String(), LightFromTemplate: u.Light.Template(), WindFrom: u.Wind.String(), WindFromTemplate: u.Wind.Template(),
		Warning: u.Warning.String(), WarningTemplate: u.Warning.Template(), SeasonIsDefault: u.SeasonDefault,
		WorstMonth: count(int(u.Worst)), LoadW: float64(u.Load), LoadFromCurve: u.FromCurve, DrawnW: float64(u.Drawn),
		Panels: count(u.Panels), PanelsProposed: u.PanelsWanted, PanelW: float64(u.Module), ArrayW: float64(u.Array), ArrayAreaM2: float64(u.Area),
		ThresholdWPerM2: float64(u.Threshold), TiltDeg: u.Tilt.Degrees(), AzimuthDeg: u.Azimuth.Degrees(),
		CompassDeg: angle(u.Compass), DeclinationDeg: angle(u.Declination), CompassNote: u.CompassNote,
		ColdV: float64(u.ColdVoltage), BatteryWh: float64(u.Battery), BatteryProposed: u.BatteryWanted, Cable: cableMessage(u.Cable),
	}
	if u.ColdVoltage > 0 {
		m.ColdestC = u.Coldest.Celsius()
	}
	for i, month := range u.Months {
		m.Months = append(m.Months, &pb.SupplyMonth{
			Month: count(i + 1), InSeason: month.InSeason, RunHoursPerDay: month.Hours.Hours(), TurnoversPerDay: span(month.Turnovers),
		})
	}
	if w := u.Wire; w != nil {
		m.Wire = &pb.WireRun{
			LengthM: float64(w.Length), CurrentA: float64(w.Current), Gauge: w.Gauge.Name, Sized: w.Sized,
			DropV: float64(w.Loss.Drop), DropShare: w.Loss.Share,
		}
	}
	for _, part := range u.Parts {
		m.Parts = append(m.Parts, &pb.RequiredPart{Code: part.Code, Text: part.Text})
	}
	return m
}

func cableMessage(c *wind.Cable) *pb.WireRun {
	if c == nil {
		return nil
	}
	return &pb.WireRun{
		LengthM: float64(c.Trench), CurrentA: float64(c.Current), Gauge: c.Gauge.Name, Sized: true,
		DropV: float64(c.Loss.Drop), DropShare: c.Loss.Share, TrenchM: float64(c.Trench),
	}
}

func angle(a *s1.Angle) *float64 {
	if a == nil {
		return nil
	}
	deg := a.Degrees()
	return &deg
}

func verdictMessage(v *plan.MastVerdict) *pb.MastVerdict {
	if v == nil {
		return nil
	}
	r := v.Report
	d := r.Design
	m := &pb.MastVerdict{
		Judgement: pb.MastJudgement_MAST_JUDGEMENT_ENOUGH, Text: v.Verdict.String(), TextTemplate: v.Verdict.Text().Template(),
		WindMPerS: float64(d.Wind.Speed), WindFactor: r.Factor, PanelAreaM2: float64(d.Array.Area),
		FootingDepthM: float64(d.Footing.Depth), DepthSought: v.Sought, FootingWidthM: float64(d.Footing.Width),
		ConcreteM3: float64(r.Concrete), Bags: count(r.Bags), Pole: d.Pole.Section.Name, PoleLengthM: float64(r.PoleLength),
		Cautions: r.Cautions, LateralN: float64(r.Loads.Lateral()), MomentNM: float64(r.Loads.Moment), UpliftN: float64(r.Loads.Uplift),
	}
	switch v.Verdict.(type) {
	case mast.NotEnough:
		m.Judgement = pb.MastJudgement_MAST_JUDGEMENT_NOT_ENOUGH
	case mast.Unverified:
		m.Judgement = pb.MastJudgement_MAST_JUDGEMENT_UNVERIFIED
	}
	for _, c := range r.Checks {
		m.Checks = append(m.Checks, &pb.MastCheck{Kind: string(c.Kind), Demand: c.Demand, Capacity: max(0, c.Capacity), Unit: c.Unit})
	}
	for _, a := range v.Defaults {
		m.Defaults = append(m.Defaults, a.Input)
	}
	return m
}
