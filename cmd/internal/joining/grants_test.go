package joining

import (
	"context"
	"crypto/tls"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/access"
)

// forget takes a device off the record, as a server does that was restored from a
// backup older than the device.
func forget(t *testing.T, o *office, b *boat) {
	t.Helper()
	if err := os.RemoveAll(filepath.Join(o.dir, "access", "devices", b.Device.String())); err != nil {
		t.Fatal(err)
	}
}

// soon is a context that ends a stream which should have ended by itself.
func soon(t testing.TB) context.Context {
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	t.Cleanup(cancel)
	return ctx
}

// follow opens a pull that stays, and has it caught up.
func follow(t testing.TB, b *boat, pond block.ID) grpc.ServerStreamingClient[pb.PullResponse] {
	t.Helper()
	stream, err := b.api().Pull(soon(t), &pb.PullRequest{PondIds: [][]byte{pond[:]}, Follow: true})
	if err != nil {
		t.Fatal(err)
	}
	if m, err := stream.Recv(); err != nil || !m.GetCaughtUp() {
		t.Fatalf("%v, %v", m, err)
	}
	return stream
}

// greeted opens a push that stays.
func greeted(t testing.TB, b *boat) grpc.BidiStreamingClient[pb.PushRequest, pb.PushResponse] {
	t.Helper()
	stream, err := b.api().Push(soon(t))
	if err != nil {
		t.Fatal(err)
	}
	if err := stream.Send(&pb.PushRequest{Message: &pb.PushRequest_Hello{Hello: &pb.Hello{DeviceId: b.Device[:], ClientRev: 1}}}); err != nil {
		t.Fatal(err)
	}
	if m, err := stream.Recv(); err != nil || m.GetWelcome() == nil {
		t.Fatalf("%v, %v", m, err)
	}
	return stream
}

// everyCall calls every method of the server once and returns how each ended.
func everyCall(t testing.TB, conn *grpc.ClientConn) map[string]error {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	device, survey, plan := pb.NewDeviceServiceClient(conn), pb.NewSurveyServiceClient(conn), pb.NewPlanServiceClient(conn)
	id := block.ID{1}
	grant := &pb.Grant{Role: pb.Role_ROLE_READER, AllPonds: true}
	out := map[string]error{}
	unary := func(method string, err error) { out[method] = client.FromServer(err) }
	var err error
	_, err = device.Invite(ctx, &pb.InviteRequest{Grant: grant})
	unary(pb.DeviceService_Invite_FullMethodName, err)
	_, err = device.Enroll(ctx, &pb.EnrollRequest{Code: "0000000000", Csr: []byte{1}})
	unary(pb.DeviceService_Enroll_FullMethodName, err)
	_, err = device.Revoke(ctx, &pb.RevokeRequest{DeviceId: id[:]})
	unary(pb.DeviceService_Revoke_FullMethodName, err)
	_, err = device.SetGrant(ctx, &pb.SetGrantRequest{DeviceId: id[:], Grant: grant})
	unary(pb.DeviceService_SetGrant_FullMethodName, err)
	_, err = device.ListDevices(ctx, &pb.ListDevicesRequest{})
	unary(pb.DeviceService_ListDevices_FullMethodName, err)
	_, err = survey.ListPonds(ctx, &pb.ListPondsRequest{})
	unary(pb.SurveyService_ListPonds_FullMethodName, err)
	_, err = survey.Measure(ctx, &pb.MeasureRequest{PondId: heron[:]})
	unary(pb.SurveyService_Measure_FullMethodName, err)
	_, err = survey.Guess(ctx, &pb.GuessRequest{})
	unary(pb.SurveyService_Guess_FullMethodName, err)
	_, err = survey.ProposeTransects(ctx, &pb.ProposeTransectsRequest{PondId: heron[:]})
	unary(pb.SurveyService_ProposeTransects_FullMethodName, err)
	_, err = survey.CompareSurveys(ctx, &pb.CompareSurveysRequest{PondId: heron[:]})
	unary(pb.SurveyService_CompareSurveys_FullMethodName, err)
	_, err = survey.ReadStages(ctx, &pb.ReadStagesRequest{PondId: heron[:]})
	unary(pb.SurveyService_ReadStages_FullMethodName, err)
	_, err = survey.MeasurePart(ctx, &pb.MeasurePartRequest{PondId: heron[:]})
	unary(pb.SurveyService_MeasurePart_FullMethodName, err)
	_, err = healthpb.NewHealthClient(conn).Check(ctx, &healthpb.HealthCheckRequest{})
	unary(healthpb.Health_Check_FullMethodName, err)
	_, err = healthpb.NewHealthClient(conn).List(ctx, &healthpb.HealthListRequest{})
	unary(healthpb.Health_List_FullMethodName, err)

	pull, err := pb.NewSyncServiceClient(conn).Pull(ctx, &pb.PullRequest{PondIds: [][]byte{heron[:]}})
	out[pb.SyncService_Pull_FullMethodName] = first(pull, err)
	push, err := pb.NewSyncServiceClient(conn).Push(ctx)
	if err == nil {
		_ = push.Send(&pb.PushRequest{Message: &pb.PushRequest_Hello{Hello: &pb.Hello{DeviceId: id[:], ClientRev: 1}}})
		_ = push.CloseSend()
	}
	for err == nil { // past Welcome
		_, err = push.Recv()
	}
	out[pb.SyncService_Push_FullMethodName] = ended(err)
	soundings, err := survey.ListSoundings(ctx, &pb.ListSoundingsRequest{PondId: heron[:]})
	out[pb.SurveyService_ListSoundings_FullMethodName] = first(soundings, err)
	contours, err := survey.DrawContours(ctx, &pb.DrawContoursRequest{PondId: heron[:], Interval: &pb.DrawContoursRequest_IntervalM{IntervalM: 1}})
	out[pb.SurveyService_DrawContours_FullMethodName] = first(contours, err)
	tiles, err := survey.FollowTiles(ctx, &pb.FollowTilesRequest{PondId: heron[:]})
	out[pb.SurveyService_FollowTiles_FullMethodName] = first(tiles, err)
	propose, err := plan.Propose(ctx, &pb.ProposeRequest{Pond: &pb.ProposeRequest_PondId{PondId: heron[:]}})
	out[pb.PlanService_Propose_FullMethodName] = first(propose, err)
	_, err = plan.Evaluate(ctx, &pb.EvaluateRequest{Basis: &pb.ProposeRequest{Pond: &pb.ProposeRequest_PondId{PondId: heron[:]}}, Diffusers: []*pb.LatLng{{}}})
	unary(pb.PlanService_Evaluate_FullMethodName, err)
	save, err := plan.SavePlan(ctx, &pb.SavePlanRequest{PondId: heron[:], Person: "p"})
	out[pb.PlanService_SavePlan_FullMethodName] = first(save, err)
	_, err = plan.ListPlans(ctx, &pb.ListPlansRequest{PondId: heron[:]})
	unary(pb.PlanService_ListPlans_FullMethodName, err)
	_, err = plan.GetPlan(ctx, &pb.GetPlanRequest{PondId: heron[:]})
	unary(pb.PlanService_GetPlan_FullMethodName, err)
	_, err = plan.ComparePlans(ctx, &pb.ComparePlansRequest{PondId: heron[:], Before: "P"})
	unary(pb.PlanService_ComparePlans_FullMethodName, err)
	_, err = plan.ApprovePlan(ctx, &pb.ApprovePlanRequest{PondId: heron[:], Person: "p"})
	unary(pb.PlanService_ApprovePlan_FullMethodName, err)
	care := pb.NewCareServiceClient(conn)
	_, err = care.OxygenRisk(ctx, &pb.OxygenRiskRequest{PondId: heron[:]})
	unary(pb.CareService_OxygenRisk_FullMethodName, err)
	_, err = care.StartUp(ctx, &pb.StartUpRequest{PondId: heron[:]})
	unary(pb.CareService_StartUp_FullMethodName, err)
	_, err = care.Winter(ctx, &pb.WinterRequest{PondId: heron[:]})
	unary(pb.CareService_Winter_FullMethodName, err)
	_, err = care.Review(ctx, &pb.ReviewRequest{PondId: heron[:]})
	unary(pb.CareService_Review_FullMethodName, err)
	_, err = care.Treatment(ctx, &pb.TreatmentRequest{PondId: heron[:], LevelMgPerL: 1})
	unary(pb.CareService_Treatment_FullMethodName, err)
	_, err = care.Stocking(ctx, &pb.StockingRequest{PondId: heron[:]})
	unary(pb.CareService_Stocking_FullMethodName, err)
	sheets, err := pb.NewSheetServiceClient(conn).PrintSheets(ctx, &pb.PrintSheetsRequest{PondId: heron[:]})
	out[pb.SheetService_PrintSheets_FullMethodName] = first(sheets, err)
	send, err := pb.NewPhotoServiceClient(conn).SendPhoto(ctx)
	if err == nil {
		_ = send.Send(&pb.SendPhotoRequest{PondId: heron[:], Sha256: make([]byte, 32), SizeBytes: 1})
		_ = send.CloseSend()
	}
	out[pb.PhotoService_SendPhoto_FullMethodName] = first(send, err)
	fetch, err := pb.NewPhotoServiceClient(conn).FetchPhoto(ctx, &pb.FetchPhotoRequest{PondId: heron[:], Sha256: make([]byte, 32)})
	out[pb.PhotoService_FetchPhoto_FullMethodName] = first(fetch, err)
	watch, err := healthpb.NewHealthClient(conn).Watch(ctx, &healthpb.HealthCheckRequest{})
	out[healthpb.Health_Watch_FullMethodName] = first(watch, err)

	_, err = device.Renew(ctx, &pb.RenewRequest{}) // last: it changes what the others would say
	unary(pb.DeviceService_Renew_FullMethodName, err)
	return out
}

// contract returns every method of the contract.
func contract() (methods []string) {
	protoregistry.GlobalFiles.RangeFilesByPackage("pondwright.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				methods = append(methods, "/"+string(service.FullName())+"/"+string(service.Methods().Get(j).Name()))
			}
		}
		return true
	})
	return methods
}

// first returns how a stream answers first.
func first[M any](stream interface{ Recv() (M, error) }, err error) error {
	if err == nil {
		_, err = stream.Recv()
	}
	return ended(err)
}

// anyone reports whether a method asks nobody who they are.
func anyone(method string) bool {
	return strings.HasPrefix(method, "/grpc.health.") || method == pb.DeviceService_Enroll_FullMethodName
}

// TestRoles_EveryMethod pins who may call what. A method that is new to the server
// and not in the table fails the test.
func TestRoles_EveryMethod(t *testing.T) {
	t.Parallel()
	may := map[string]string{ // r reader, c crew, d designer, a admin
		pb.DeviceService_Invite_FullMethodName:           "a",
		pb.DeviceService_Revoke_FullMethodName:           "a",
		pb.DeviceService_SetGrant_FullMethodName:         "a",
		pb.DeviceService_ListDevices_FullMethodName:      "a",
		pb.DeviceService_Renew_FullMethodName:            "rcda",
		pb.SyncService_Push_FullMethodName:               "cda",
		pb.SyncService_Pull_FullMethodName:               "rcda",
		pb.SurveyService_ListPonds_FullMethodName:        "rcda",
		pb.SurveyService_Measure_FullMethodName:          "rcda",
		pb.SurveyService_ListSoundings_FullMethodName:    "rcda",
		pb.SurveyService_Guess_FullMethodName:            "rcda",
		pb.SurveyService_ProposeTransects_FullMethodName: "rcda",
		pb.SurveyService_CompareSurveys_FullMethodName:   "rcda",
		pb.SurveyService_ReadStages_FullMethodName:       "rcda",
		pb.SurveyService_MeasurePart_FullMethodName:      "rcda",
		pb.PhotoService_SendPhoto_FullMethodName:         "cda",
		pb.PhotoService_FetchPhoto_FullMethodName:        "rcda",
		pb.SurveyService_DrawContours_FullMethodName:     "rcda",
		pb.SurveyService_FollowTiles_FullMethodName:      "rcda",
		pb.PlanService_Propose_FullMethodName:            "rda",
		pb.PlanService_Evaluate_FullMethodName:           "rda",
		pb.PlanService_SavePlan_FullMethodName:           "da",
		pb.PlanService_ListPlans_FullMethodName:          "rcda",
		pb.PlanService_GetPlan_FullMethodName:            "rcda",
		pb.PlanService_ComparePlans_FullMethodName:       "rcda",
		pb.PlanService_ApprovePlan_FullMethodName:        "da",
		pb.CareService_OxygenRisk_FullMethodName:         "rcda",
		pb.CareService_StartUp_FullMethodName:            "rcda",
		pb.CareService_Winter_FullMethodName:             "rcda",
		pb.CareService_Review_FullMethodName:             "rcda",
		pb.CareService_Treatment_FullMethodName:          "cda",
		pb.CareService_Stocking_FullMethodName:           "cda",
		pb.SheetService_PrintSheets_FullMethodName:       "rcda",
	}
	o := open(t)
	for _, role := range access.Roles() {
		b := o.join(t, tenant, access.Grant{Role: role, AllPonds: true})
		calls := everyCall(t, b.conn)
		for method, err := range calls {
			allowed := anyone(method) || strings.Contains(may[method], string(role[0]))
			if denied := errors.Is(err, client.ErrPermission); denied == allowed {
				t.Errorf("%s calls %s: %v, want allowed = %v", role, method, err, allowed)
			}
		}
		for _, method := range contract() {
			if _, called := calls[method]; !called || may[method] == "" && !anyone(method) {
				t.Errorf("%s is not in the table", method)
			}
		}
		o.clock.pass(time.Minute) // for the limit on Enroll
	}
	stranger, err := client.Dial(o.addr, grpc.WithTransportCredentials(credentials.NewTLS(&tls.Config{InsecureSkipVerify: true})))
	if err != nil {
		t.Fatal(err)
	}
	for method, err := range everyCall(t, stranger) {
		if open := anyone(method); errors.Is(err, client.ErrNotJoined) == open {
			t.Errorf("a stranger calls %s: %v", method, err)
		}
	}
	if err := stranger.Close(); err != nil {
		t.Error(err)
	}
}

// TestInv24_PondsNotGranted are answered like ponds that do not exist, to the
// letter, and nothing of them is sent.
func TestInv24_PondsNotGranted(t *testing.T) {
	t.Parallel()
	o := open(t)
	full := o.join(t, tenant, crew())
	full.sound(t, heron, 4)
	full.sound(t, otter, 3)
	full.mustSync(t)
	b := o.join(t, tenant, access.Grant{Role: access.Designer, Ponds: []block.ID{otter}})
	unknown := block.PondID("nowhere")
	ask := map[string]func(id block.ID) error{
		"Pull": func(id block.ID) error {
			s, err := b.api().Pull(t.Context(), &pb.PullRequest{PondIds: [][]byte{id[:]}})
			return first(s, err)
		},
		"Measure": func(id block.ID) error {
			_, err := pb.NewSurveyServiceClient(b.conn).Measure(t.Context(), &pb.MeasureRequest{PondId: id[:]})
			return client.FromServer(err)
		},
		"ListSoundings": func(id block.ID) error {
			s, err := pb.NewSurveyServiceClient(b.conn).ListSoundings(t.Context(), &pb.ListSoundingsRequest{PondId: id[:]})
			return first(s, err)
		},
		"Propose": func(id block.ID) error {
			s, err := pb.NewPlanServiceClient(b.conn).Propose(t.Context(), &pb.ProposeRequest{Pond: &pb.ProposeRequest_PondId{PondId: id[:]}})
			return first(s, err)
		},
	}
	for name, call := range ask {
		hidden, absent := call(heron), call(unknown)
		if !errors.Is(hidden, client.ErrNotFound) || status.Convert(errors.Unwrap(hidden)).String() != status.Convert(errors.Unwrap(absent)).String() {
			t.Errorf("%s: hidden pond %v, unknown pond %v, want the same NOT_FOUND", name, hidden, absent)
		}
		if err := call(otter); errors.Is(err, client.ErrNotFound) {
			t.Errorf("%s of a granted pond: %v", name, err)
		}
	}
	// An unknown pond gets the same answer from a caller who sees all.
	if _, err := pb.NewSurveyServiceClient(full.conn).Measure(t.Context(), &pb.MeasureRequest{PondId: unknown[:]}); status.Convert(err).Message() != status.Convert(errors.Unwrap(ask["Measure"](heron))).Message() {
		t.Errorf("unknown pond: %v", err)
	}
	list, err := pb.NewSurveyServiceClient(b.conn).ListPonds(t.Context(), &pb.ListPondsRequest{})
	if err != nil || len(list.GetPonds()) != 1 || block.ID(list.GetPonds()[0].GetPondId()) != otter {
		t.Errorf("ponds %v, %v, want the granted one", list, err)
	}
	for _, pond := range []block.ID{heron, otter} {
		if err := b.Watch(t.Context(), pond); err != nil {
			t.Fatal(err)
		}
	}
	if r := b.mustSync(t); r.PulledEntries != 3 {
		t.Errorf("fetched %d entries of both, want the 3 granted", r.PulledEntries)
	}
	// A grant that grows brings the rest, from the start.
	if err := o.registry.SetGrant(tenant, b.Device, access.Grant{Role: access.Designer, AllPonds: true}); err != nil {
		t.Fatal(err)
	}
	if r := b.mustSync(t); r.PulledEntries != 4 {
		t.Errorf("fetched %d entries once granted, want 4", r.PulledEntries)
	}
}

// TestInv24_GrantTakenFromAnOpenStream: nothing of a pond follows once the grant is
// gone.
func TestInv24_GrantTakenFromAnOpenStream(t *testing.T) {
	t.Parallel()
	o := open(t)
	b, other := o.join(t, tenant, crew(heron)), o.join(t, tenant, crew())
	admin := o.join(t, tenant, access.Grant{Role: access.Admin, AllPonds: true})
	stream := follow(t, b, heron)
	if _, err := pb.NewDeviceServiceClient(admin.conn).SetGrant(t.Context(), &pb.SetGrantRequest{DeviceId: b.Device[:],
		Grant: &pb.Grant{Role: pb.Role_ROLE_CREW, PondIds: [][]byte{otter[:]}}}); err != nil {
		t.Fatal(err)
	}
	other.sound(t, heron, 1)
	other.mustSync(t)
	m, err := stream.Recv()
	var refused *client.Error
	if !errors.As(ended(err), &refused) || refused.Reason != pb.Reason_REASON_ACCESS_CHANGED || !errors.Is(refused, client.ErrUnavailable) {
		t.Errorf("%v, %v, want ACCESS_CHANGED, which may pass", m, err)
	}
}

// TestGrants_PushOfAPondNotGranted: it is kept aside, the device keeps it, and it
// goes into its log once the pond is granted.
func TestGrants_PushOfAPondNotGranted(t *testing.T) {
	t.Parallel()
	o := open(t)
	b := o.join(t, tenant, crew(otter))
	b.sound(t, otter, 2)
	const blocks = 20 // a window holds 16
	for i := range blocks {
		if err := b.RecordSoundings(t.Context(), heron, block.ID{byte(i + 1)}, "", []block.Sounding{{ReadingMM: 1500, Reference: block.BelowSurface}}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := b.Sync(t.Context(), b.conn); !errors.Is(err, client.ErrRefused) || errors.Is(err, client.ErrRevoked) {
		t.Errorf("%v, want ErrRefused", err)
	}
	if b.waiting(t) != blocks {
		t.Errorf("%d entries wait, want those of the pond not granted", b.waiting(t))
	}
	if err := o.registry.SetGrant(tenant, b.Device, crew(otter, heron)); err != nil {
		t.Fatal(err)
	}
	b.mustSync(t)
	if b.waiting(t) != 0 {
		t.Errorf("%d entries wait once granted", b.waiting(t))
	}
	if n := o.aside(t, tenant); n != blocks {
		t.Errorf("%d blocks kept aside, want %d", n, blocks)
	}
}

// TestTenants_AreKeptApart: the same pond of two tenants is two ponds.
func TestTenants_AreKeptApart(t *testing.T) {
	t.Parallel()
	o := open(t)
	a, b := o.join(t, "alder", crew()), o.join(t, "birch", crew())
	admin := o.join(t, "birch", access.Grant{Role: access.Admin, AllPonds: true})
	a.sound(t, heron, 10)
	a.mustSync(t)
	b.sound(t, heron, 4)
	if r := b.mustSync(t); r.PulledEntries != 0 {
		t.Errorf("fetched %d entries of another tenant", r.PulledEntries)
	}
	list, err := pb.NewSurveyServiceClient(b.conn).ListPonds(t.Context(), &pb.ListPondsRequest{})
	if err != nil || len(list.GetPonds()) != 1 || list.GetPonds()[0].GetSoundings() != 4 {
		t.Errorf("ponds %v, %v, want one of 4 soundings", list, err)
	}
	if _, err := pb.NewDeviceServiceClient(admin.conn).Revoke(t.Context(), &pb.RevokeRequest{DeviceId: a.Device[:]}); !errors.Is(client.FromServer(err), client.ErrNotFound) {
		t.Errorf("revoked a device of another tenant: %v", err)
	}
	devices, err := pb.NewDeviceServiceClient(admin.conn).ListDevices(t.Context(), &pb.ListDevicesRequest{})
	if err != nil || len(devices.GetDevices()) != 2 {
		t.Errorf("devices %v, %v, want the two of the tenant", devices, err)
	}
}

// TestTenants_MeasureTheirOwnPond: one name, one outline, twice the depth.
func TestTenants_MeasureTheirOwnPond(t *testing.T) {
	t.Parallel()
	o := open(t)
	volume := func(tenant string, depthMM int32) float64 {
		t.Helper()
		b := o.join(t, tenant, crew())
		b.survey(t, heron, depthMM)
		b.mustSync(t)
		m, err := pb.NewSurveyServiceClient(b.conn).Measure(t.Context(), &pb.MeasureRequest{PondId: heron[:]})
		if err != nil {
			t.Fatal(err)
		}
		return m.GetReport().GetVolumeM3().GetValue()
	}
	shallow, deep := volume("alder", 1500), volume("birch", 3000)
	if ratio := deep / shallow; ratio < 1.8 || ratio > 2.2 {
		t.Errorf("volumes %.0f and %.0f m³, want one about twice the other", shallow, deep)
	}
}

// survey records an outline of about 100 m by 100 m and a grid of soundings.
func (b *boat) survey(t testing.TB, pond block.ID, depthMM int32) {
	t.Helper()
	const side, steps = 10000, 9 // 1e-7 degrees
	corner := func(lat, lon int32) *pb.LatLng {
		return &pb.LatLng{LatDeg: 38.3 + float64(lat)/1e7, LonDeg: -93.4 + float64(lon)/1e7}
	}
	if _, err := b.Record(t.Context(), pond, &pb.Record{Kind: &pb.Record_Shoreline{Shoreline: &pb.Shoreline{Outer: &pb.Ring{
		Points: []*pb.LatLng{corner(0, 0), corner(0, side), corner(side, side), corner(side, 0)}}}}}); err != nil {
		t.Fatal(err)
	}
	var s []block.Sounding
	for i := int32(1); i < steps; i++ {
		for j := int32(1); j < steps; j++ {
			s = append(s, block.Sounding{LatE7: 383000000 + i*side/steps, LonE7: -934000000 + j*side/steps, ReadingMM: depthMM, Reference: block.BelowSurface})
		}
	}
	if err := b.RecordSoundings(t.Context(), pond, block.ID{1}, "", s); err != nil {
		t.Fatal(err)
	}
}

// TestAdmin_InvitesFromAfar: a device that is an admin lets another in.
func TestAdmin_InvitesFromAfar(t *testing.T) {
	t.Parallel()
	o := open(t)
	admin := o.join(t, "alder", access.Grant{Role: access.Admin, AllPonds: true})
	i, err := pb.NewDeviceServiceClient(admin.conn).Invite(t.Context(), &pb.InviteRequest{Grant: &pb.Grant{Role: pb.Role_ROLE_CREW, PondIds: [][]byte{heron[:]}}})
	if err != nil {
		t.Fatal(err)
	}
	if left := i.GetExpiresAt().AsTime().Sub(o.clock.Now()); left != 15*time.Minute {
		t.Errorf("the code lives %v, want 15 minutes", left)
	}
	m, err := openBoat(t, o).Join(t.Context(), o.addr, i.GetText(), "boat\x1b[31m 2")
	if err != nil || m.Tenant != "alder" {
		t.Fatalf("%+v, %v, want a device of the admin's tenant", m, err)
	}
	devices, err := o.registry.Devices("alder")
	if err != nil || len(devices) != 2 {
		t.Fatal(devices, err)
	}
	for _, d := range devices {
		if d.ID == m.Device && (d.Name != "boat[31m 2" || d.Grant.Role != access.Crew || !d.Grant.Sees(heron) || d.Grant.Sees(otter)) {
			t.Errorf("device %+v", d)
		}
	}
	for name, grant := range map[string]*pb.Grant{
		"no pond": {Role: pb.Role_ROLE_CREW},
		"no role": {AllPonds: true},
		"none":    nil,
	} {
		if _, err := pb.NewDeviceServiceClient(admin.conn).Invite(t.Context(), &pb.InviteRequest{Grant: grant}); !errors.Is(client.FromServer(err), client.ErrInvalid) {
			t.Errorf("invitation with %s: %v, want ErrInvalid", name, err)
		}
	}
}
