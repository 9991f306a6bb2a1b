package plan

import (
	"fmt"
	"slices"

	"github.com/golang/geo/s2"

	"pondwright/calc/air"
	"pondwright/calc/unit"
	"pondwright/geo/plan"
	"pondwright/geo/plane"
	"pondwright/proto/digest"
	pb "pondwright/proto/pondwright/v1"
)

// Message returns a plan as it is sent and printed. Frame is that of the pond's
// shoreline.
func Message(p *plan.Plan, in plan.Input) *pb.Plan {
	frame := in.Shore.Frame()
	m := &pb.Plan{
		TurnoversPerDay:   span(p.Turnovers),
		RunHoursPerDay:    p.RunHours,
		SiteGap:           p.SiteGap,
		BindingConstraint: constraint(p.Constraint),
		Shortfall:         p.Shortfall.String(), ShortfallTemplate: p.Shortfall.Template(),
		TargetTurnoversPerDay:   p.Target,
		ShortfallFactor:         p.Factor,
		VolumeUsedM3:            float64(p.VolumeUsed),
		ServedShare:             p.Served,
		Compressors:             uint32(min(max(p.Machines, 0), plan.MaxMachines)),
		CompressorFlowM3PerS:    float64(p.Air),
		AirNeededM3PerS:         float64(p.AirNeeded),
		ManifoldPressurePaGauge: float64(p.Manifold),
		SitePressurePaAbs:       float64(p.SitePressure),
		AltitudeM:               float64(in.Altitude),
		TotalLiftM3PerS:         span(p.Lift),
		TotalHoseM:              float64(p.HoseTotal),
		Mast:                    point(frame, p.Mast),
	}
	for i, d := range p.Diffusers {
		m.Diffusers = append(m.Diffusers, diffuser(frame, i, d, p.Stations[d.Station].Entry))
	}
	for _, a := range p.Assumptions {
		m.Assumptions = append(m.Assumptions, &pb.Assumption{Name: a.Name, Value: a.Value.String(), ValueTemplate: a.Value.Template(), IsDefault: a.Default, Source: a.Source})
	}
	for _, c := range p.Cautions {
		m.Cautions = append(m.Cautions, &pb.Caution{Code: c.Code, Text: c.Text.String(), TextTemplate: c.Text.Template()})
	}
	addGround(m, p, in)
	addPower(m, p)
	m.PlanId = digest.Short("P", Digest(m))
	return m
}

func diffuser(frame plane.Frame, i int, d plan.Diffuser, entry plane.Point) *pb.Diffuser {
	at := point(frame, d.At)
	m := &pb.Diffuser{
		Lat: at.GetLat(), Lon: at.GetLon(),
		DepthM:               float64(d.Depth),
		AirflowM3PerS:        float64(d.Air),
		LiftM3PerS:           float64(d.Lift.Value),
		Label:                Label(i),
		LiftLowM3PerS:        float64(d.Lift.Low),
		LiftHighM3PerS:       float64(d.Lift.High),
		SubmergenceM:         float64(d.Submergence),
		InletPressurePaGauge: float64(d.Inlet),
		ServedM3:             float64(d.Serves),
		BoilM:                float64(d.Boil),
		ValveDropPa:          float64(d.Valve.Drop),
		Hose: &pb.Hose{
			LengthM:    float64(d.Hose.Order),
			WaterM:     float64(d.Hose.Water),
			TrenchM:    float64(d.Hose.Trench),
			BoreM:      float64(d.Hose.Bore),
			ShoreEntry: point(frame, entry),
		},
	}
	for _, q := range d.Hose.Route {
		m.Hose.Route = append(m.Hose.Route, point(frame, q))
	}
	addHose(m, d)
	return m
}

// Label is the name of diffuser i, counted from 0, on drawings and hoses.
func Label(i int) string { return fmt.Sprint("D", i+1) }

func point(frame plane.Frame, p plane.Point) *pb.RoutePoint {
	ll := frame.ToLatLng(p)
	return &pb.RoutePoint{Lat: ll.Lat.Degrees(), Lon: ll.Lng.Degrees()}
}

func span[Q ~float64](r plan.Range[Q]) *pb.Interval {
	return &pb.Interval{Value: float64(r.Value), Low: float64(r.Low), High: float64(r.High)}
}

// constraint relies on the pure room using the contract's names.
func constraint(c plan.Constraint) pb.Plan_BindingConstraint {
	return pb.Plan_BindingConstraint(pb.Plan_BindingConstraint_value[string(c)])
}

// Equipment returns what a message chooses, with generic defaults for the parts
// it leaves out. It returns the errors of the compressor's curve.
func Equipment(m *pb.EquipmentChoice) (plan.Equipment, error) {
	e := plan.DefaultEquipment()
	owned := m.GetOtherCompressors()
	if c := m.GetCompressor(); c != nil {
		owned = append([]*pb.CompressorChoice{c}, owned...)
	}
	for i, c := range owned {
		k, err := kind(c)
		if err != nil {
			return plan.Equipment{}, fmt.Errorf("compressor: %w", err)
		}
		if i == 0 {
			e.Label, e.Compressor, e.Machines, e.CompressorDefault = k.Label, k.Curve, k.Count, c.GetIsDefault()
			continue
		}
		e.OtherKinds = append(e.OtherKinds, k)
	}
	if d := m.GetDiffuser(); d != nil {
		opening := unit.PascalsGauge(d.GetOpeningPa())
		perSCFM := unit.PascalsGauge(d.GetSlopePaSPerM3() * float64(unit.SCFM(1)))
		e.Diffuser, e.DiffuserDefault = air.LinearDiffuser(opening, perSCFM), d.GetIsDefault()
		e.Fouling = d.GetFoulingFactor()
		e.DiscRadius, e.OffBottom = unit.Meters(d.GetRadiusM()), unit.Meters(d.GetHeightOffBottomM())
	}
	if bores := m.GetHose().GetBoresM(); len(bores) > 0 {
		e.Bore, e.HoseDefault = unit.Meters(slices.Max(bores)), m.GetHose().GetIsDefault()
	}
	hoses(&e, m.GetHose())
	return e, nil
}

// kind returns one kind of compressor, at least one of it.
func kind(c *pb.CompressorChoice) (plan.Kind, error) {
	var points []air.CurvePoint
	for _, p := range c.GetPoints() {
		points = append(points, air.CurvePoint{
			Gauge: unit.PascalsGauge(p.GetPressurePaGauge()),
			Air:   unit.StdCubicMetersPerSecond(p.GetFlowM3PerS()),
			Power: unit.Watts(p.GetPowerW()),
		})
	}
	curve, err := air.NewCurve(points, 0)
	return plan.Kind{Label: c.GetLabel(), Curve: curve, Count: int(max(c.GetCount(), 1))}, err
}

// LatLng returns a mast's position.
func LatLng(m *pb.MastSite) s2.LatLng {
	return s2.LatLngFromDegrees(m.GetLatDeg(), m.GetLonDeg())
}
