package plan

import (
	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/plan"
	"pondwright/geo/plane"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/survey"
)

// zoneKinds pairs the kinds of the contract with those of the pure room.
var zoneKinds = map[pb.ZoneKind]plan.ZoneKind{
	pb.ZoneKind_ZONE_KIND_DAM:         plan.DamZone,
	pb.ZoneKind_ZONE_KIND_SPILLWAY:    plan.SpillwayZone,
	pb.ZoneKind_ZONE_KIND_KEEP_OUT:    plan.KeepOutZone,
	pb.ZoneKind_ZONE_KIND_INTAKE:      plan.IntakeZone,
	pb.ZoneKind_ZONE_KIND_OBSTACLE:    plan.ObstacleZone,
	pb.ZoneKind_ZONE_KIND_ACCESS:      plan.AccessZone,
	pb.ZoneKind_ZONE_KIND_BURIED_LINE: plan.BuriedLineZone,
	pb.ZoneKind_ZONE_KIND_MUCK:        plan.MuckZone,
	pb.ZoneKind_ZONE_KIND_PROPERTY:    plan.PropertyZone,
}

// Zones returns what messages tell of zones.
func Zones(list []*pb.Zone) []plan.Zone {
	var out []plan.Zone
	for _, m := range list {
		out = append(out, plan.Zone{
			Kind: zoneKinds[m.GetKind()], Name: m.GetName(), Points: latLngs(m.GetPoints()), Area: m.GetArea(),
			Margin: unit.Meters(m.GetMarginM()),
		})
	}
	return out
}

// ZoneMessages is the way back from Zones.
func ZoneMessages(list []plan.Zone) []*pb.Zone {
	var out []*pb.Zone
	for _, z := range list {
		m := &pb.Zone{Name: z.Name, Area: z.Area, MarginM: float64(z.Margin)}
		for kind, of := range zoneKinds {
			if of == z.Kind {
				m.Kind = kind
			}
		}
		for _, ll := range z.Points {
			m.Points = append(m.Points, &pb.LatLng{LatDeg: ll.Lat.Degrees(), LonDeg: ll.Lng.Degrees()})
		}
		out = append(out, m)
	}
	return out
}

func latLngs(list []*pb.LatLng) []s2.LatLng {
	var out []s2.LatLng
	for _, p := range list {
		out = append(out, s2.LatLngFromDegrees(p.GetLatDeg(), p.GetLonDeg()))
	}
	return out
}

// lay adds the zones and the designer's hand: the request outranks the record.
func lay(in *plan.Input, req *pb.ProposeRequest, pond *survey.Pond) error {
	zones, dam := pond.Zones, pond.Dam
	if g := req.GetGround(); g != nil {
		zones, dam = g.GetZones(), g.GetDam()
	} else if pond.ZonesOpen {
		return unresolved("ground")
	}
	in.Zones, in.NoDam = Zones(zones), dam == pb.ZoneAnswer_ZONE_ANSWER_NONE
	in.Pins, in.MoreMasts = latLngs(req.GetPins()), latLngs(req.GetMoreMasts())
	for _, b := range req.GetBans() {
		in.Bans = append(in.Bans, plan.Ban{
			At: s2.LatLngFromDegrees(b.GetAt().GetLatDeg(), b.GetAt().GetLonDeg()), Radius: unit.Meters(b.GetRadiusM()),
		})
	}
	return nil
}

// addGround writes what a plan says of stations, hoses and ground into its message.
func addGround(m *pb.Plan, p *plan.Plan, in plan.Input) {
	frame := in.Shore.Frame()
	m.Placed = p.Placed
	m.Ground = &pb.PlannedZones{Zones: ZoneMessages(in.Zones)}
	if in.NoDam {
		m.Ground.Dam = pb.ZoneAnswer_ZONE_ANSWER_NONE
	}
	for _, st := range p.Stations {
		m.Stations = append(m.Stations, stationMessage(frame, st))
	}
	for _, n := range p.Numbers {
		m.Numbers = append(m.Numbers, &pb.DiffuserNumber{
			Diffusers: count(n.Diffusers), ServedShare: n.Served, TurnoversPerDay: n.Turnovers, AirEachM3PerS: float64(n.Each),
			AirNeededM3PerS: float64(n.AirNeeded), HoseM: float64(n.Hose), SiteGap: n.Gap, Meets: n.Meets,
		})
	}
	for _, c := range p.Cuts {
		cut := &pb.HoseCut{
			Coil: count(c.Coil), CoilLengthM: float64(c.CoilLong), BoreM: float64(c.Bore), Station: count(c.Station),
			LengthM: float64(c.Length), Piece: count(c.Piece), LeftM: float64(c.Left), Owned: c.Owned,
		}
		if c.Diffuser != plan.TrunkCut {
			cut.Diffuser = new(count(c.Diffuser))
		}
		m.Cuts = append(m.Cuts, cut)
	}
	for _, c := range p.Buy {
		m.CoilsToBuy = append(m.CoilsToBuy, &pb.HoseCoil{BoreM: float64(c.Bore), LengthM: float64(c.Length), Count: count(c.Count)})
	}
	for _, t := range p.Tasks {
		m.BoatWork = append(m.BoatWork, &pb.BoatTask{Station: count(t.Station), Diffuser: count(t.Diffuser), HoseM: float64(t.Hose), Text: t.Text.String(), TextTemplate: t.Text.Template()})
	}
}

// count is a small number that is never below zero.
func count(n int) uint32 { return uint32(max(n, 0)) }

func stationMessage(frame plane.Frame, st plan.Station) *pb.Station {
	at := func(p plane.Point) *pb.LatLng {
		ll := frame.ToLatLng(p)
		return &pb.LatLng{LatDeg: ll.Lat.Degrees(), LonDeg: ll.Lng.Degrees()}
	}
	m := &pb.Station{
		Mast: at(st.Mast), ShoreEntry: at(st.Entry), Proposed: st.Proposed, Compressors: count(st.Machines),
		AirM3PerS: float64(st.Air), OutletPressurePaGauge: float64(st.Outlet), ManifoldPressurePaGauge: float64(st.Manifold),
		HoseM: float64(st.HoseTotal),
	}
	for _, i := range st.Diffusers {
		m.Diffusers = append(m.Diffusers, count(i))
	}
	for _, p := range st.Trench {
		m.Trench = append(m.Trench, at(p))
	}
	if t := st.Trunk; t != nil {
		m.Trunk = &pb.Trunk{BoreM: float64(t.Bore), LengthM: float64(t.Order), SavesM: float64(t.Saves)}
	}
	return m
}

// addHose writes what is new of a hose into its message.
func addHose(m *pb.Diffuser, d plan.Diffuser) {
	m.Station, m.Pinned = count(d.Station), d.Pinned
	m.Hose.SpareM, m.Hose.RiserM, m.Hose.SlackM = float64(d.Hose.Spare), float64(d.Hose.Riser), float64(d.Hose.Slack)
	b := d.Hose.Ballast
	m.Hose.Ballast = &pb.Ballast{UpliftN: float64(b.Lift), ConcreteKg: float64(b.Mass), Weights: count(b.Weights), ApartM: float64(b.Apart)}
}

// hoses takes the kinds and coils that a message chooses.
func hoses(e *plan.Equipment, m *pb.HoseChoice) {
	for _, k := range m.GetKinds() {
		e.Hoses = append(e.Hoses, plan.HoseKind{
			Bore: unit.Meters(k.GetBoreM()), Wall: unit.Meters(k.GetWallM()),
			Density: unit.KilogramsPerCubicMeter(k.GetDensityKgPerM3()), PricePerMeter: k.GetPricePerM(),
		})
	}
	if len(e.Hoses) == 0 && len(m.GetBoresM()) > 1 {
		for _, b := range m.GetBoresM() {
			e.Hoses = append(e.Hoses, plan.HoseKind{Bore: unit.Meters(b)})
		}
	}
	for _, c := range m.GetCoils() {
		e.Coils = append(e.Coils, plan.Coil{Bore: unit.Meters(c.GetBoreM()), Length: unit.Meters(c.GetLengthM()), Count: int(c.GetCount())})
	}
	switch m.GetSharing() {
	case pb.HoseSharing_HOSE_SHARING_SEPARATE:
		e.Sharing = plan.Separate
	case pb.HoseSharing_HOSE_SHARING_SHARED:
		e.Sharing = plan.Shared
	case pb.HoseSharing_HOSE_SHARING_UNSPECIFIED:
	}
}
