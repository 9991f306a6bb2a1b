// Package survey answers what is known of a pond: which ponds there are, how much
// water they hold and how sure that is, and the soundings behind it.
//
// It reads the derived state, calls the pure rooms and keeps the last answer for
// each pond until the pond changes. It computes nothing itself.
package survey

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/golang/geo/s2"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/geo/bed"
	"pondwright/geo/survey"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/access"
	"pondwright/server/state"
)

// State is what the service reads.
type State interface {
	WaitCurrent(ctx context.Context) error
	Ponds(ctx context.Context, tenant string) ([]state.Pond, error)
	Things(ctx context.Context, tenant string, pond block.ID) ([]state.Thing, error)
	Soundings(ctx context.Context, tenant string, pond block.ID, region s2.CellUnion) ([]state.Sounding, error)
	Version(tenant string, pond block.ID) (uint64, error)
}

// Service is the survey service. Make one with NewService; it is safe for
// concurrent use.
type Service struct {
	pb.UnimplementedSurveyServiceServer

	state  State
	tenant string

	keep keep
}

// pondKey is a pond of a tenant.
type pondKey struct {
	tenant string
	pond   block.ID
}

// answer is the measurement of one version of a pond. Its turn is taken while it is
// being worked out, so that one pond is measured once however many ask; a caller
// that gives up does not wait for it.
type answer struct {
	turn    chan struct{} // holds one token
	version uint64
	pond    *Pond

	bytes int64  // held on to, as weighed last; the keep's
	asked uint64 // when, in the keep's own count; the keep's
}

func newAnswer() *answer {
	a := &answer{turn: make(chan struct{}, 1)}
	a.turn <- struct{}{}
	return a
}

// NewService returns the service. A caller from outside sees the ponds that are
// granted to it, of its own tenant; one in this process those of tenant.
func NewService(s State, tenant string) *Service {
	return &Service{state: s, tenant: tenant, keep: keep{budget: usualBudget}}
}

// caller returns who asks.
func (s *Service) caller(ctx context.Context) access.Caller {
	who, ok := access.From(ctx)
	if !ok {
		who = access.Local()
		who.Tenant = s.tenant
	}
	return who
}

// Register makes the service answer on reg.
func (s *Service) Register(reg grpc.ServiceRegistrar) { pb.RegisterSurveyServiceServer(reg, s) }

// Pond is a measured pond with what is on record for planning it.
type Pond struct {
	Name      string
	Input     survey.Input
	Report    *survey.Report
	Mast      *pb.MastSite        // nil if there is none
	Equipment *pb.EquipmentChoice // nil if there is none

	// MastOpen and EquipmentOpen say that people wrote different things and nobody
	// has settled it: what stands above is for people to look at only.
	MastOpen, EquipmentOpen bool

	Zones     []*pb.Zone // in the order of their records
	ZonesOpen bool       // some zone has two versions and nobody has settled it
	Dam       pb.ZoneAnswer
	Inputs    Inputs         // what a plan made from it is made from
	Levels    *pb.PondLevels // over the shoreline's; nil where it was not leveled

	soundings   []state.Sounding // in the order of Input.Readings
	corrections map[correctionKey]*pb.Correction

	tiles *tiles // nil for a pond that is not stored
}

// open waits until the state is current and returns who asks for a pond and the
// pond's version. It returns state.ErrPondNotFound for a pond that is not there or
// not the caller's to see.
func (s *Service) open(ctx context.Context, id block.ID) (who access.Caller, version uint64, err error) {
	if err := s.state.WaitCurrent(ctx); err != nil {
		return who, 0, fmt.Errorf("wait for the state: %w", err)
	}
	who = s.caller(ctx)
	if !who.Sees(id) {
		return who, 0, state.ErrPondNotFound
	}
	if version, err = s.state.Version(who.Tenant, id); err != nil {
		return who, 0, fmt.Errorf("version of the pond: %w", err)
	}
	if version == 0 {
		return who, 0, state.ErrPondNotFound
	}
	return who, version, nil
}

// Measured returns a pond measured with everything that is stored now. It returns
// state.ErrPondNotFound, the context's error, or a *Refusal that wraps ErrNoShoreline, a
// *ShorelineError or a *survey.SwappedError. Progress, which may be nil, is told the share done.
func (s *Service) Measured(ctx context.Context, id block.ID, progress func(share float64) bool) (*Pond, error) {
	who, version, err := s.open(ctx, id)
	if err != nil {
		return nil, err
	}
	key := pondKey{who.Tenant, id}
	a := s.keep.take(key)

	select {
	case <-a.turn:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	defer func() { a.turn <- struct{}{} }()
	if a.pond != nil && a.version >= version {
		return a.pond, nil
	}
	pond, err := s.measure(ctx, key, progress)
	if err != nil {
		return nil, refuse(err)
	}
	a.version, a.pond = version, pond
	s.keep.weigh(key, a, pond.bytes())
	return pond, nil
}

// read returns what is on record of a pond.
func (s *Service) read(ctx context.Context, key pondKey) (facts, []state.Sounding, error) {
	things, err := s.state.Things(ctx, key.tenant, key.pond)
	if err != nil {
		return facts{}, nil, fmt.Errorf("records of the pond: %w", err)
	}
	soundings, err := s.state.Soundings(ctx, key.tenant, key.pond, nil)
	if err != nil {
		return facts{}, nil, fmt.Errorf("soundings of the pond: %w", err)
	}
	return gather(things), soundings, nil
}

func (s *Service) measure(ctx context.Context, key pondKey, progress func(share float64) bool) (*Pond, error) {
	f, soundings, err := s.read(ctx, key)
	if err != nil {
		return nil, err
	}
	in, err := f.input(soundings)
	if err != nil {
		return nil, err
	}
	report, err := survey.Measure(in, func(share float64) bool {
		return ctx.Err() == nil && (progress == nil || progress(share))
	})
	if errors.Is(err, bed.ErrCanceled) {
		return nil, cmp.Or(ctx.Err(), context.Canceled)
	}
	if err != nil {
		return nil, err
	}
	return &Pond{
		Name: f.pond.GetName(), Inputs: inputsOf(in, f), Input: in, Report: report, soundings: soundings, corrections: f.corrections, tiles: new(tiles),
		Mast: f.mast.fact, MastOpen: f.mast.open, Equipment: f.equipment.fact, EquipmentOpen: f.equipment.open,
		Zones: f.zones, ZonesOpen: f.zonesOpen, Dam: f.pond.GetDam(), Levels: f.levels(),
	}, nil
}

// ListPonds lists the ponds in order of name.
func (s *Service) ListPonds(ctx context.Context, _ *pb.ListPondsRequest) (*pb.ListPondsResponse, error) {
	if err := s.state.WaitCurrent(ctx); err != nil {
		return nil, fmt.Errorf("wait for the state: %w", err)
	}
	who := s.caller(ctx)
	ponds, err := s.state.Ponds(ctx, who.Tenant)
	if err != nil {
		return nil, fmt.Errorf("ponds: %w", err)
	}
	out := new(pb.ListPondsResponse)
	for _, p := range ponds {
		if !who.Sees(p.ID) {
			continue
		}
		things, err := s.state.Things(ctx, who.Tenant, p.ID)
		if err != nil {
			return nil, fmt.Errorf("records of pond %s: %w", p.ID, err)
		}
		f := gather(things)
		m := &pb.PondSummary{
			PondId:       p.ID[:],
			Pond:         f.pond,
			HasShoreline: len(f.shorelines) > 0,
			Soundings:    uint32(min(p.Soundings, math.MaxUint32)),

			OpenConflicts: uint32(f.conflicts),
		}
		if p.LastSoundingMs != 0 {
			m.LastSoundingAt = timestamppb.New(time.UnixMilli(p.LastSoundingMs))
		}
		out.Ponds = append(out.Ponds, m)
	}
	slices.SortStableFunc(out.GetPonds(), func(a, b *pb.PondSummary) int {
		return cmp.Compare(a.GetPond().GetName(), b.GetPond().GetName())
	})
	return out, nil
}

// Measure infers a pond's bed and reports on it.
func (s *Service) Measure(ctx context.Context, req *pb.MeasureRequest) (*pb.MeasureResponse, error) {
	pond, err := s.measuredByID(ctx, req.GetPondId())
	if err != nil {
		return nil, err
	}
	return &pb.MeasureResponse{Report: Report(pond.Report)}, nil
}

// soundingsPerMessage bounds a message of ListSoundings.
const soundingsPerMessage = 1000

// ListSoundings reads soundings back, with what became of each.
func (s *Service) ListSoundings(req *pb.ListSoundingsRequest, stream grpc.ServerStreamingServer[pb.ListSoundingsResponse]) error {
	id, err := block.IDFromBytes(req.GetPondId())
	if err != nil {
		return fmt.Errorf("pond_id: %w", err)
	}
	region, err := cells(req.GetCellTokens())
	if err != nil {
		return refuse(err)
	}
	pond, err := s.Measured(stream.Context(), id, nil)
	if err != nil {
		return err
	}
	batch := new(pb.ListSoundingsResponse)
	for i := range pond.soundings {
		if region != nil && !region.ContainsCellID(s2.CellIDFromLatLng(pond.Input.Readings[i].At)) {
			continue
		}
		batch.Soundings = append(batch.Soundings, pond.sounding(i))
		if len(batch.GetSoundings()) == soundingsPerMessage {
			if err := stream.Send(batch); err != nil {
				return err
			}
			batch = new(pb.ListSoundingsResponse)
		}
	}
	if len(batch.GetSoundings()) == 0 {
		return nil
	}
	return stream.Send(batch)
}

// CellTokenError says that a token names no S2 cell.
type CellTokenError struct{ Token string }

// Error names the token.
func (e *CellTokenError) Error() string {
	return fmt.Sprintf("cell_tokens: %q names no S2 cell", e.Token)
}

// cells returns the union of the named cells, nil for none.
func cells(tokens []string) (s2.CellUnion, error) {
	if len(tokens) == 0 {
		return nil, nil // normalizing makes it empty, which holds nothing
	}
	var out s2.CellUnion
	for _, t := range tokens {
		id := s2.CellIDFromToken(t)
		if !id.IsValid() {
			return nil, &CellTokenError{Token: t}
		}
		out = append(out, id)
	}
	out.Normalize()
	return out, nil
}
