package joining

import (
	"context"
	"errors"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	"pondwright/client"
	"pondwright/proto/block"
	"pondwright/proto/invite"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/access"
)

const tenant = access.DefaultTenant

func TestJoin_ThenSync(t *testing.T) {
	t.Parallel()
	o := open(t)
	a, b := o.join(t, tenant, crew()), o.join(t, tenant, crew())
	if a.Tenant != tenant || a.Device == b.Device || !a.Expires.Equal(o.clock.Now().Add(90*24*time.Hour)) {
		t.Errorf("membership %+v, want the tenant, an id of its own and 90 days", a.Membership)
	}
	a.sound(t, heron, 10)
	a.mustSync(t)
	if err := b.Watch(t.Context(), heron); err != nil {
		t.Fatal(err)
	}
	if r := b.mustSync(t); r.PulledEntries != 10 || a.waiting(t) != 0 {
		t.Errorf("the other boat fetched %d entries and %d wait, want 10 and 0", r.PulledEntries, a.waiting(t))
	}
	devices, err := o.registry.Devices(tenant)
	if err != nil || len(devices) != 2 || devices[0].Name != "boat" {
		t.Errorf("devices %+v, %v, want two", devices, err)
	}
}

// TestJoin_SurvivesARestart opens the folder anew: the key that the pin names is
// the same, and the device is known.
func TestJoin_SurvivesARestart(t *testing.T) {
	t.Parallel()
	first := open(t)
	a := first.join(t, tenant, crew())
	first.close()
	o := reopen(t, first.dir, first.clock)
	a.conn = dial(t, a.Client, o)
	a.sound(t, heron, 1)
	a.mustSync(t)
}

func TestJoin_Refusals(t *testing.T) {
	t.Parallel()
	o := open(t)
	good := o.invite(t, tenant, crew())
	parsed, err := invite.Parse(good)
	if err != nil {
		t.Fatal(err)
	}
	unknown, wrong := parsed, parsed
	unknown.Code = "0000000000"
	wrong.Pin[0] ^= 1
	late := o.invite(t, tenant, crew())
	used := o.invite(t, tenant, crew())
	if _, err := openBoat(t, o).Join(t.Context(), o.addr, used, ""); err != nil {
		t.Fatal(err)
	}
	join := func(text string) error {
		t.Helper()
		c := openBoat(t, o)
		_, err := c.Join(t.Context(), o.addr, text, "")
		if _, joined, statErr := c.Membership(); joined || statErr != nil {
			t.Errorf("refused, and yet joined: %v", statErr)
		}
		return err
	}
	if err := join("PW1-nonsense"); !errors.Is(err, invite.ErrInvalid) {
		t.Errorf("nonsense: %v, want ErrInvalid", err)
	}
	if err := join(unknown.String()); !errors.Is(err, client.ErrCodeInvalid) {
		t.Errorf("unknown code: %v, want ErrCodeInvalid", err)
	}
	if err := join(used); !errors.Is(err, client.ErrCodeInvalid) {
		t.Errorf("used code: %v, want ErrCodeInvalid", err)
	}
	if err := join(wrong.String()); !errors.Is(err, client.ErrWrongServer) {
		t.Errorf("wrong pin: %v, want ErrWrongServer", err)
	}
	o.clock.pass(access.CodeLife - time.Second)
	if _, err := openBoat(t, o).Join(t.Context(), o.addr, good, ""); err != nil {
		t.Errorf("a code in its last second, which was never said to the wrong server: %v", err)
	}
	o.clock.pass(time.Second)
	if err := join(late); !errors.Is(err, client.ErrCodeInvalid) {
		t.Errorf("code after 15 minutes: %v, want ErrCodeInvalid", err)
	}
}

// TestJoin_LostAnswer calls Enroll as a device whose first answer never came.
func TestJoin_LostAnswer(t *testing.T) {
	t.Parallel()
	o := open(t)
	c, text := openBoat(t, o), o.invite(t, tenant, crew())
	lost := errors.New("link lost")
	drop := grpc.WithUnaryInterceptor(func(ctx context.Context, method string, req, reply any, conn *grpc.ClientConn, call grpc.UnaryInvoker, opts ...grpc.CallOption) error {
		return errors.Join(call(ctx, method, req, reply, conn, opts...), lost)
	})
	if _, err := c.Join(t.Context(), o.addr, text, "", drop); !errors.Is(err, lost) {
		t.Fatal(err)
	}
	if _, err := c.Join(t.Context(), o.addr, text, ""); err != nil {
		t.Errorf("the same device again: %v", err)
	}
	if devices, err := o.registry.Devices(tenant); err != nil || len(devices) != 1 {
		t.Errorf("%d devices, %v, want one", len(devices), err)
	}
}

func TestJoin_RateLimit(t *testing.T) {
	t.Parallel()
	o := open(t)
	text, err := invite.Parse(o.invite(t, tenant, crew()))
	if err != nil {
		t.Fatal(err)
	}
	good := text.String()
	text.Code = "0000000000"
	try := func(text string) error {
		_, err := openBoat(t, o).Join(t.Context(), o.addr, text, "")
		return err
	}
	for range 5 {
		if err := try(text.String()); !errors.Is(err, client.ErrCodeInvalid) {
			t.Fatalf("%v, want ErrCodeInvalid", err)
		}
		o.clock.pass(time.Second)
	}
	var refused *client.Error
	if err := try(good); !errors.As(err, &refused) || refused.Code != codes.ResourceExhausted ||
		refused.Reason != pb.Reason_REASON_RATE_LIMITED || refused.RetryAfter != 55*time.Second {
		t.Errorf("the sixth try in a minute: %v (%+v), want RATE_LIMITED for 55 s", err, refused)
	}
	o.clock.pass(55 * time.Second)
	if err := try(good); err != nil {
		t.Errorf("a minute after the first: %v", err)
	}
}

func TestJoin_KeyIsTheOwnersAlone(t *testing.T) {
	t.Parallel()
	o := open(t)
	dir := t.TempDir()
	c, err := client.Open(t.Context(), dir, client.WithClock(o.clock))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.Join(t.Context(), o.addr, o.invite(t, tenant, crew()), ""); err != nil {
		t.Fatal(err)
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{filepath.Join(dir, "access", "device.pem"), filepath.Join(o.dir, "access", "authority.pem")} {
		if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v, want 0600", path, info.Mode(), err)
		}
	}
	left, err := filepath.Glob(filepath.Join(dir, "access", "*"))
	if err != nil || len(left) != 1 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

func TestExpiry_SyncRenews(t *testing.T) {
	t.Parallel()
	o := open(t)
	a := o.join(t, tenant, crew())
	expires := func() time.Time {
		t.Helper()
		m, _, err := a.Client.Membership()
		if err != nil {
			t.Fatal(err)
		}
		return m.Expires
	}
	for _, step := range []struct {
		name   string
		pass   time.Duration
		renews bool
	}{
		{"60 days left", 30 * 24 * time.Hour, false},
		{"just under 30 left", 30*24*time.Hour + time.Second, true},
		{"a season past its end", 200 * 24 * time.Hour, true},
	} {
		before := expires()
		o.clock.pass(step.pass)
		a.sound(t, heron, 1)
		a.mustSync(t)
		if renewed := expires().Equal(o.clock.Now().Add(90 * 24 * time.Hour)); renewed != step.renews || !step.renews && !expires().Equal(before) {
			t.Errorf("%s: certificate until %v, renewed %v, want %v", step.name, expires(), renewed, step.renews)
		}
	}
}

// TestExpiry_IdleDeviceRenews: also a sync that has nothing to send.
func TestExpiry_IdleDeviceRenews(t *testing.T) {
	t.Parallel()
	o := open(t)
	a := o.join(t, tenant, crew())
	a.sound(t, heron, 1)
	a.mustSync(t)
	a.mustSync(t)
	o.clock.pass(61 * 24 * time.Hour)
	a.mustSync(t)
	if m, _, err := a.Client.Membership(); err != nil || !m.Expires.Equal(o.clock.Now().Add(90*24*time.Hour)) {
		t.Errorf("certificate until %v, %v, want 90 days from now", m.Expires, err)
	}
}

// TestExpiry_ClockOfTheDeviceIsBehind: the device thinks that its certificate is
// good, the server knows better, and the sync comes to its end.
func TestExpiry_ClockOfTheDeviceIsBehind(t *testing.T) {
	t.Parallel()
	o := open(t)
	slow := *o
	slow.clock = newClock()
	c := openBoat(t, &slow)
	m, err := c.Join(t.Context(), o.addr, o.invite(t, tenant, crew()), "")
	if err != nil {
		t.Fatal(err)
	}
	b := &boat{c, dial(t, c, o), m}
	o.clock.pass(400 * 24 * time.Hour)
	b.sound(t, heron, 3)
	b.mustSync(t)
	if b.waiting(t) != 0 {
		t.Errorf("%d entries wait, want none", b.waiting(t))
	}
}

// TestExpiry_OldCertificateAfterRenewal: whichever of its certificates a renewed
// device shows, it is good.
func TestExpiry_OldCertificateAfterRenewal(t *testing.T) {
	t.Parallel()
	o := open(t)
	a := o.join(t, tenant, crew())
	o.clock.pass(91 * 24 * time.Hour)
	dropped := errors.New("link lost")
	err := a.Renew(t.Context(), lossy{a.conn, dropped})
	if !errors.Is(err, dropped) {
		t.Fatal(err)
	}
	a.sound(t, heron, 1)
	if _, err := a.push(t, heron); err != nil {
		t.Errorf("push with the certificate before the lost one: %v", err)
	}
}

// lossy loses the answers of unary calls.
type lossy struct {
	grpc.ClientConnInterface
	err error
}

func (l lossy) Invoke(ctx context.Context, method string, req, reply any, opts ...grpc.CallOption) error {
	return errors.Join(l.ClientConnInterface.Invoke(ctx, method, req, reply, opts...), l.err)
}

func TestPlainConnection_ToASecureServer(t *testing.T) {
	t.Parallel()
	o := open(t)
	c := openBoat(t, o)
	conn, err := client.Dial(o.addr)
	if err != nil {
		t.Fatal(err)
	}
	(&boat{Client: c}).sound(t, heron, 1)
	_, err = c.Sync(t.Context(), conn)
	if !errors.Is(err, client.ErrUnavailable) || !strings.Contains(err.Error(), "join it first with a code") {
		t.Errorf("%v, want ErrUnavailable and what to do", err)
	}
	if err := conn.Close(); err != nil {
		t.Error(err)
	}
	if _, err := c.Dial("office.example:7443"); !errors.Is(err, client.ErrNotJoined) {
		t.Errorf("another machine without having joined: %v, want ErrNotJoined", err)
	}
}

func TestServe_PublicAddressWithTLS(t *testing.T) {
	t.Parallel()
	o := listenOn(t, "0.0.0.0:0", t.TempDir(), newClock())
	_, port, err := net.SplitHostPort(o.addr)
	if err != nil {
		t.Fatal(err)
	}
	o.addr = net.JoinHostPort("127.0.0.1", port)
	b := o.join(t, tenant, crew())
	b.sound(t, heron, 1)
	b.mustSync(t)
}

// push sends what a device holds of a pond and waits for the answer, without
// renewing first as Sync does. It returns what became of the blocks.
func (b *boat) push(t testing.TB, pond block.ID) (nacks []*pb.Nack, err error) {
	t.Helper()
	frame, h := sealed(t, pond, 1)
	stream, err := b.api().Push(t.Context())
	if err != nil {
		return nil, err
	}
	device := block.ID{7}
	for _, m := range []*pb.PushRequest{
		{Message: &pb.PushRequest_Hello{Hello: &pb.Hello{DeviceId: device[:], ClientRev: 1, Logs: []*pb.LogHead{h}}}},
		{Message: &pb.PushRequest_Block{Block: &pb.Block{Frame: frame}}},
	} {
		if err := stream.Send(m); err != nil {
			break // the answer says why
		}
	}
	_ = stream.CloseSend()
	for {
		m, err := stream.Recv()
		if err != nil {
			return nacks, ended(err)
		}
		if n := m.GetNack(); n != nil {
			nacks = append(nacks, n)
		}
	}
}
