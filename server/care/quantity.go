package care

import (
	"context"
	"errors"

	"google.golang.org/grpc/codes"

	"pondwright/calc/treat"
	"pondwright/calc/unit"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/survey"
)

var bases = map[pb.LevelBasis]treat.Basis{
	pb.LevelBasis_LEVEL_BASIS_PRODUCT: treat.ProductLevel, pb.LevelBasis_LEVEL_BASIS_ACTIVE: treat.ActiveLevel,
}

var agents = map[pb.TreatmentAgent]treat.Agent{
	pb.TreatmentAgent_TREATMENT_AGENT_COPPER: treat.Copper, pb.TreatmentAgent_TREATMENT_AGENT_ROTENONE: treat.Rotenone,
}

// Treatment works out a quantity from the label's figures.
func (s *Service) Treatment(ctx context.Context, req *pb.TreatmentRequest) (*pb.TreatmentResponse, error) {
	p, err := s.read(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	v := p.Report.Volume
	whole := treat.Volume{Low: v.Low, Best: v.Value, High: v.High}
	d := treat.Dose{
		Level: unit.MilligramsPerLiter(req.GetLevelMgPerL()), Basis: bases[req.GetBasis()], LabelMax: unit.MilligramsPerLiter(req.GetLabelMaxMgPerL()),
		Product: treat.Product{
			Agent: agents[req.GetAgent()], Strength: req.GetStrengthShare(),
			Density: unit.KilogramsPerCubicMeter(req.GetDensityKgPerM3()), ActivePerVolume: unit.KilogramsPerCubicMeter(req.GetActiveKgPerM3()),
		},
		Volume: whole, Pond: whole, Weedy: req.GetWeedy(), Alkalinity: unit.MilligramsPerLiter(req.GetAlkalinityMgPerL()),
	}
	if share := req.GetPondShare(); share > 0 && share < 1 {
		part := unit.CubicMeters(share)
		d.Part, d.Volume = treat.Zone, treat.Volume{Low: v.Low * part, Best: v.Value * part, High: v.High * part}
	}
	switch req.GetAeratorOff() {
	case pb.Told_TOLD_YES:
		d.Aerator = treat.AeratorOff
	case pb.Told_TOLD_NO:
		d.Aerator = treat.AeratorRuns
	case pb.Told_TOLD_UNSPECIFIED:
	}
	a, err := treat.Quantity(d)
	if err != nil {
		return nil, refuse(err)
	}
	return &pb.TreatmentResponse{
		ActiveKg: float64(a.Active), ProductKg: float64(a.Product), LiquidM3: float64(a.Liquid), VolumeM3: float64(a.VolumeUsed), VolumeEnd: a.VolumeNamed,
		LevelMgPerL: float64(a.Level), LeastLevelMgPerL: float64(a.LeastLevel), Cautions: a.Cautions,
	}, nil
}

// refuse dresses a rule of treatment that forbids it.
func refuse(err error) error {
	rule, ok := errors.AsType[*treat.Refusal](err)
	if !ok {
		return err
	}
	return &survey.Refusal{Code: codes.FailedPrecondition, Reason: pb.Reason_REASON_FIELD_INVALID, Field: "treatment", Err: rule}
}

// Stocking works out a published table.
func (s *Service) Stocking(ctx context.Context, req *pb.StockingRequest) (*pb.StockingResponse, error) {
	p, err := s.read(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	out := new(pb.StockingResponse)
	for _, x := range treat.Schemes() {
		out.Schemes = append(out.Schemes, x.Name)
	}
	if req.GetScheme() == "" {
		return out, nil
	}
	st, err := treat.Stock(req.GetScheme(), treat.Area{Low: p.Report.Area.Low, Best: p.Report.Area.Value})
	if err != nil {
		return nil, refuse(err)
	}
	for _, f := range st.Fish {
		out.Fish = append(out.Fish, &pb.StockingFish{Fish: string(f.Fish), Low: uint32(max(0, f.Low)), High: uint32(max(0, f.High)), Size: f.Size})
	}
	out.AreaM2, out.Condition, out.Source, out.Cautions = float64(st.AreaUsed), st.Scheme.When, st.Scheme.Source, st.Cautions
	return out, nil
}
