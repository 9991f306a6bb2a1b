package access

import (
	"context"
	"crypto/x509"
	"slices"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/peer"

	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/state"
)

// rule is who may call a method.
type rule struct {
	roles   []Role // of a device in good standing
	anyone  bool   // nobody is asked who they are
	expired bool   // also with an expired certificate; a push is then kept aside
	shutOut bool   // also revoked or forgotten; a push is then kept aside
}

var (
	admins   = []Role{Admin}
	writers  = []Role{Crew, Designer, Admin}
	readers  = []Role{Reader, Crew, Designer, Admin}
	planners = []Role{Reader, Designer, Admin}

	designers = []Role{Designer, Admin}
)

// rules holds every method. One that is missing is for admins.
var rules = map[string]rule{
	healthpb.Health_Check_FullMethodName: {anyone: true},
	healthpb.Health_List_FullMethodName:  {anyone: true},
	healthpb.Health_Watch_FullMethodName: {anyone: true},

	pb.DeviceService_Enroll_FullMethodName:      {anyone: true},
	pb.DeviceService_Renew_FullMethodName:       {roles: readers, expired: true},
	pb.DeviceService_Invite_FullMethodName:      {roles: admins},
	pb.DeviceService_Revoke_FullMethodName:      {roles: admins},
	pb.DeviceService_SetGrant_FullMethodName:    {roles: admins},
	pb.DeviceService_ListDevices_FullMethodName: {roles: admins},

	pb.SyncService_Push_FullMethodName: {roles: writers, expired: true, shutOut: true},
	pb.SyncService_Pull_FullMethodName: {roles: readers},

	pb.PhotoService_SendPhoto_FullMethodName:  {roles: writers},
	pb.PhotoService_FetchPhoto_FullMethodName: {roles: readers},

	pb.SurveyService_ListPonds_FullMethodName:        {roles: readers},
	pb.SurveyService_Measure_FullMethodName:          {roles: readers},
	pb.SurveyService_CompareSurveys_FullMethodName:   {roles: readers},
	pb.SurveyService_DrawContours_FullMethodName:     {roles: readers},
	pb.SurveyService_FollowTiles_FullMethodName:      {roles: readers},
	pb.SurveyService_ReadStages_FullMethodName:       {roles: readers},
	pb.SurveyService_MeasurePart_FullMethodName:      {roles: readers},
	pb.SurveyService_ListSoundings_FullMethodName:    {roles: readers},
	pb.SurveyService_Guess_FullMethodName:            {roles: readers},
	pb.SurveyService_ProposeTransects_FullMethodName: {roles: readers},

	pb.PlanService_Propose_FullMethodName:      {roles: planners},
	pb.PlanService_Evaluate_FullMethodName:     {roles: planners},
	pb.PlanService_SavePlan_FullMethodName:     {roles: designers},
	pb.PlanService_ListPlans_FullMethodName:    {roles: readers},
	pb.PlanService_GetPlan_FullMethodName:      {roles: readers},
	pb.PlanService_ComparePlans_FullMethodName: {roles: readers},
	pb.PlanService_ApprovePlan_FullMethodName:  {roles: designers},

	pb.SheetService_PrintSheets_FullMethodName: {roles: readers},

	pb.CareService_OxygenRisk_FullMethodName: {roles: readers},
	pb.CareService_StartUp_FullMethodName:    {roles: readers},
	pb.CareService_Winter_FullMethodName:     {roles: readers},
	pb.CareService_Review_FullMethodName:     {roles: readers},
	pb.CareService_Treatment_FullMethodName:  {roles: writers},
	pb.CareService_Stocking_FullMethodName:   {roles: writers},
}

// check returns why a caller may not call a method, nil if they may.
func check(method string, who Caller) error {
	r, ok := rules[method]
	if !ok {
		r.roles = admins
	}
	switch {
	case r.anyone:
		return nil
	case who.Standing == Expired && !r.expired, (who.Standing == Revoked || who.Standing == Forgotten) && !r.shutOut, who.Standing == Unproven:
		return who.Standing.refusal()
	case who.Standing != Forgotten && !slices.Contains(r.roles, who.Role):
		return ErrDenied
	}
	return nil
}

// Keeper keeps bytes for a tenant outside every log, synced when it returns.
type Keeper interface {
	KeepAside(ctx context.Context, tenant string, frame []byte) error
}

// Guard stands before every handler: it finds out who calls, refuses what they may
// not do, hides ponds that are not granted, and ends streams whose caller's access
// has changed. A handler learns who calls from its context.
//
// A pond that is not granted is answered like one that does not exist. A pull goes
// on with the ponds that are granted if there are any.
type Guard struct {
	registry *Registry
	keep     Keeper
	plain    bool

	mu       sync.Mutex
	sessions map[*session]struct{} // open streams of devices
}

// NewGuard returns a guard. Plain says that connections are not encrypted, which
// is for this machine only: every caller is then Local.
func NewGuard(r *Registry, keep Keeper, plain bool) *Guard {
	return &Guard{registry: r, keep: keep, plain: plain, sessions: map[*session]struct{}{}}
}

// identify returns who calls and the certificate they showed, if any.
func (g *Guard) identify(ctx context.Context) (Caller, *x509.Certificate, error) {
	if g.plain {
		return Local(), nil, nil
	}
	cert := certificateOf(ctx)
	if cert == nil {
		return Caller{}, nil, nil
	}
	who, err := g.registry.Identify(cert)
	return who, cert, err
}

// certificateOf returns the certificate whose key the other end proved to hold,
// nil if there is none.
func certificateOf(ctx context.Context) *x509.Certificate {
	p, ok := peer.FromContext(ctx)
	if !ok {
		return nil
	}
	info, ok := p.AuthInfo.(credentials.TLSInfo)
	if !ok || len(info.State.PeerCertificates) == 0 {
		return nil
	}
	return info.State.PeerCertificates[0]
}

// ofPond is a request about one pond; none if the field is empty.
type ofPond interface{ GetPondId() []byte }

// hidden returns the error for a request about a pond that is not granted.
func hidden(who Caller, req any) error {
	m, ok := req.(ofPond)
	if !ok || len(m.GetPondId()) == 0 || who.AllPonds {
		return nil
	}
	if id, err := block.IDFromBytes(m.GetPondId()); err == nil && !who.Sees(id) {
		return state.ErrPondNotFound
	}
	return nil // a malformed id is for the schema to refuse
}

// Unary guards calls of one answer.
func (g *Guard) Unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	who, _, err := g.identify(ctx)
	if err != nil {
		return nil, err
	}
	if err := check(info.FullMethod, who); err != nil {
		return nil, err
	}
	if err := hidden(who, req); err != nil {
		return nil, err
	}
	return handler(With(ctx, who), req)
}

// Stream guards streams.
func (g *Guard) Stream(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	s, err := g.open(stream)
	if err != nil {
		return err
	}
	defer g.close(s)
	if err := check(info.FullMethod, s.who); err != nil {
		return err
	}
	err = handler(srv, s)
	if ended := s.ended(); ended != nil {
		return ended
	}
	if err == nil && !rules[info.FullMethod].anyone {
		return s.who.Standing.refusal() // all is kept aside; the device must still hear why
	}
	return err
}

// open makes the session of a stream. It is on the list before anybody can change
// the access it was found to have.
func (g *Guard) open(stream grpc.ServerStream) (*session, error) {
	ctx, cancel := context.WithCancelCause(stream.Context())
	s := &session{ServerStream: stream, keep: g.keep, cancel: cancel, refused: map[block.ID]bool{}, full: map[block.ID]bool{}}
	g.mu.Lock()
	defer g.mu.Unlock()
	var err error
	s.who, s.cert, err = g.identify(ctx)
	if err != nil {
		cancel(nil)
		return nil, err
	}
	s.ctx = With(ctx, s.who)
	if s.cert != nil {
		g.sessions[s] = struct{}{}
	}
	return s, nil
}

func (g *Guard) close(s *session) {
	s.cancel(nil)
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.sessions, s)
}

// RecheckEvery is at most how long a stream lives on after its device's access has
// changed behind the guard's back: the operator revoked from another process, or a
// certificate expired.
const RecheckEvery = 30 * time.Second

// Recheck ends every open stream whose caller is no longer who they were: revoked,
// expired, renewed or under another grant. The device starts anew and is judged
// anew. What it cannot read from disk it leaves as it is, and says so.
func (g *Guard) Recheck() error {
	g.mu.Lock()
	defer g.mu.Unlock()
	var failed error
	for s := range g.sessions {
		who, err := g.registry.Identify(s.cert)
		if err != nil {
			failed = err
			continue
		}
		if who.Standing == s.who.Standing && who.Grant.equal(s.who.Grant) {
			continue
		}
		cause := who.Standing.refusal()
		if cause == nil || who.Standing == s.who.Standing {
			cause = errChanged
		}
		s.cancel(&endedError{cause})
	}
	return failed
}
