package joining

import (
	"crypto/tls"
	"errors"
	"io"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/access"
)

// sealed makes the first block of a log of its own.
func sealed(t testing.TB, pond block.ID, log byte) ([]byte, *pb.LogHead) {
	t.Helper()
	id := block.ID{log, 9}
	frame, hash, err := block.Seal(block.Header{Log: id, Pond: pond, FirstSeq: 1, CreatedHLC: 1},
		block.Payload{Records: [][]byte{{log}}}, block.Plain)
	if err != nil {
		t.Fatal(err)
	}
	return frame, &pb.LogHead{LogId: id[:], LastSeq: 1, HeadHash: hash[:]}
}

// ended turns the end of a stream into an error of the client's, nil for a good
// end.
func ended(err error) error {
	if errors.Is(err, io.EOF) {
		return nil
	}
	return client.FromServer(err)
}

func TestExpired_MayOnlyRenewAndPush(t *testing.T) {
	t.Parallel()
	o := open(t)
	a := o.join(t, tenant, access.Grant{Role: access.Admin, AllPonds: true})
	o.clock.pass(90 * 24 * time.Hour)
	nacks, err := a.push(t, heron)
	if len(nacks) != 1 || nacks[0].GetReason() != pb.Reason_REASON_CREDENTIAL_EXPIRED || !nacks[0].GetRetryable() || !errors.Is(err, client.ErrCredentialExpired) {
		t.Errorf("push: %v, %v, want one refusal that may pass", nacks, err)
	}
	for method, err := range everyCall(t, a.conn) {
		switch {
		case method == pb.DeviceService_Renew_FullMethodName:
			if err != nil {
				t.Errorf("Renew: %v", err)
			}
		case !anyone(method) && !errors.Is(err, client.ErrCredentialExpired):
			t.Errorf("%s: %v, want ErrCredentialExpired", method, err)
		}
	}
	if nacks, err := a.push(t, heron); len(nacks) != 0 || err != nil {
		t.Errorf("push once renewed: %v, %v", nacks, err)
	}
	if n := o.aside(t, tenant); n != 1 {
		t.Errorf("%d blocks kept aside, want the one", n)
	}
}

// TestInv28_ShutOutLosesNothing: neither revoked nor expired nor unknown to the
// server, the device keeps every record, as one that waits, and takes new ones.
func TestInv28_ShutOutLosesNothing(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name string
		out  func(t *testing.T, o *office, b *boat)
		want error
	}{
		{"revoked", func(t *testing.T, o *office, b *boat) {
			t.Helper()
			if err := o.registry.Revoke(tenant, b.Device); err != nil {
				t.Fatal(err)
			}
		}, client.ErrRevoked},
		{"forgotten", forget, client.ErrNotJoined},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			o := open(t)
			b := o.join(t, tenant, crew())
			b.sound(t, heron, 10)
			b.mustSync(t)
			tt.out(t, o, b)
			b.sound(t, heron, 5)
			for range 2 {
				if _, err := b.Sync(t.Context(), b.conn); !errors.Is(err, tt.want) {
					t.Fatalf("%v, want %v", err, tt.want)
				}
			}
			b.sound(t, heron, 2)
			st, err := b.Status(t.Context())
			if err != nil || st.Soundings != 17 || st.Waiting != 7 || len(st.Quarantined) != 1 {
				t.Errorf("status %+v, %v, want 17 soundings of which 7 wait, and the reason", st, err)
			}
			if _, joined, err := b.Client.Membership(); !joined || err != nil {
				t.Errorf("membership gone: %v", err)
			}
			if n := o.aside(t, tenant); n != 1 {
				t.Errorf("%d blocks kept aside, want the one that was sent since", n)
			}
		})
	}
}

// TestInv28_ShutOutHandsOverAll: more than fits into one window, each block once.
func TestInv28_ShutOutHandsOverAll(t *testing.T) {
	t.Parallel()
	o := open(t)
	b := o.join(t, tenant, crew())
	if err := o.registry.Revoke(tenant, b.Device); err != nil {
		t.Fatal(err)
	}
	const blocks = 40 // a window holds 16
	for i := range blocks {
		if err := b.RecordSoundings(t.Context(), heron, block.ID{byte(i + 1)}, "", []block.Sounding{{ReadingMM: 1500, Reference: block.BelowSurface}}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := b.Sync(t.Context(), b.conn); !errors.Is(err, client.ErrRevoked) {
		t.Fatal(err)
	}
	if b.waiting(t) != blocks {
		t.Errorf("%d entries wait, want all", b.waiting(t))
	}
	if n := o.aside(t, tenant); n != blocks {
		t.Errorf("%d blocks kept aside, want %d", n, blocks)
	}
}

// TestInv29_RevokedStreamsEnd: within 60 s, also when another process revoked.
func TestInv29_RevokedStreamsEnd(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"by another process", "by an admin"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			o := open(t)
			b, other := o.join(t, tenant, crew()), o.join(t, tenant, crew())
			pull, push := follow(t, b, heron), greeted(t, b)
			innocent := follow(t, other, heron)
			if name == "by an admin" {
				admin := o.join(t, tenant, access.Grant{Role: access.Admin, AllPonds: true})
				if _, err := pb.NewDeviceServiceClient(admin.conn).Revoke(t.Context(), &pb.RevokeRequest{DeviceId: b.Device[:]}); err != nil {
					t.Fatal(err)
				}
			} else {
				if err := o.registry.Revoke(tenant, b.Device); err != nil {
					t.Fatal(err)
				}
				if o.every > 60*time.Second {
					t.Errorf("open streams are looked at every %v, want at most 60 s", o.every)
				}
				o.recheck()
			}
			for what, recv := range map[string]func() error{
				"pull": func() error { _, err := pull.Recv(); return err },
				"push": func() error { _, err := push.Recv(); return err },
			} {
				if err := ended(recv()); !errors.Is(err, client.ErrRevoked) {
					t.Errorf("open %s ended with %v, want ErrRevoked", what, err)
				}
			}
			other.sound(t, heron, 1)
			other.mustSync(t)
			if m, err := innocent.Recv(); err != nil || m.GetBlock() == nil {
				t.Errorf("another device's stream: %v, %v, want a block", m, err)
			}
			nacks, err := b.push(t, heron)
			if len(nacks) != 1 || nacks[0].GetReason() != pb.Reason_REASON_REVOKED || !errors.Is(err, client.ErrRevoked) {
				t.Errorf("push afterwards: %v, %v", nacks, err)
			}
			if n := o.aside(t, tenant); n != 1 {
				t.Errorf("%d blocks kept aside, want 1", n)
			}
		})
	}
}

func TestStreams_EndWhenTheCertificateExpires(t *testing.T) {
	t.Parallel()
	o := open(t)
	b := o.join(t, tenant, crew())
	pull := follow(t, b, heron)
	o.clock.pass(90 * 24 * time.Hour)
	o.recheck()
	if _, err := pull.Recv(); !errors.Is(ended(err), client.ErrCredentialExpired) {
		t.Errorf("%v, want ErrCredentialExpired", err)
	}
}

// TestDial_AnotherServer: the device tells nothing to a server with another key.
func TestDial_AnotherServer(t *testing.T) {
	t.Parallel()
	here, there := open(t), open(t)
	b := there.join(t, tenant, crew())
	b.conn = dial(t, b.Client, here)
	b.sound(t, heron, 1)
	_, err := b.Sync(t.Context(), b.conn)
	if !errors.Is(err, client.ErrUnavailable) || !strings.Contains(err.Error(), client.ErrWrongServer.Error()) {
		t.Errorf("%v, want ErrUnavailable that says why", err)
	}
	if n := here.aside(t, tenant); n != 0 {
		t.Errorf("%d blocks reached the other server", n)
	}
}

// TestDial_ADevicePosingAsTheServer: the authority signs devices, too, and none of
// them can pass for the server.
func TestDial_ADevicePosingAsTheServer(t *testing.T) {
	t.Parallel()
	o := open(t)
	dir := t.TempDir()
	rogue, err := client.Open(t.Context(), dir, client.WithClock(o.clock))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := rogue.Join(t.Context(), o.addr, o.invite(t, tenant, crew()), ""); err != nil {
		t.Fatal(err)
	}
	if err := rogue.Close(); err != nil {
		t.Fatal(err)
	}
	pem := filepath.Join(dir, "access", "device.pem")
	pair, err := tls.LoadX509KeyPair(pem, pem)
	if err != nil {
		t.Fatal(err)
	}
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	posing := grpc.NewServer(grpc.Creds(credentials.NewServerTLSFromCert(&pair)))
	served := make(chan error, 1)
	go func() { served <- posing.Serve(lis) }()
	text := o.invite(t, tenant, crew())
	c := openBoat(t, o)
	if _, err := c.Join(t.Context(), lis.Addr().String(), text, ""); !errors.Is(err, client.ErrWrongServer) {
		t.Errorf("join: %v, want ErrWrongServer", err)
	}
	posing.Stop()
	if err := <-served; err != nil {
		t.Error(err)
	}
}
