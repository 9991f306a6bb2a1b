package joining

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"pondwright/client"
	"pondwright/server"
	"pondwright/server/access"
)

// TestInv08_PossibleCloneIsMarked lets two devices go by one certificate: the operator
// sees it, and a device that only pulled what they wrote is not suspected.
func TestInv08_PossibleCloneIsMarked(t *testing.T) {
	t.Parallel()
	o := open(t)
	dir := t.TempDir()
	start := func(dir string) *boat {
		c, err := client.Open(t.Context(), dir, client.WithClock(o.clock))
		if err != nil {
			t.Fatal(err)
		}
		return &boat{Client: c}
	}
	first := start(dir)
	m, err := first.Join(t.Context(), o.addr, o.invite(t, server.Tenant, crew()), "boat")
	if err != nil {
		t.Fatal(err)
	}
	first.conn = dial(t, first.Client, o)
	first.sound(t, heron, 3)
	first.mustSync(t)
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	copied := filepath.Join(t.TempDir(), "copy")
	if err := os.CopyFS(copied, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	other := o.join(t, server.Tenant, crew())
	if err := other.Watch(t.Context(), heron); err != nil {
		t.Fatal(err)
	}
	for i, at := range []string{dir, copied} {
		b := start(at)
		b.conn = dial(t, b.Client, o)
		b.sound(t, heron, 2+i) // not the same, or it would be one block
		b.mustSync(t)
		other.mustSync(t)
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
		marked := 0
		for _, d := range devices(t, o) {
			if d.Forked.IsZero() {
				continue
			}
			marked++
			if d.ID != m.Device {
				t.Errorf("%v is marked, and only reads", d.ID)
			}
		}
		want := map[string]int{dir: 0, copied: 1}[at]
		if marked != want {
			t.Errorf("%d devices are marked, want %d", marked, want)
		}
	}
}

func devices(t *testing.T, o *office) []access.Device {
	t.Helper()
	out, err := o.registry.Devices(server.Tenant)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestInv28_AsideFull: a server that keeps no more aside says so, and the device goes on
// offering what it holds until the operator allows more.
func TestInv28_AsideFull(t *testing.T) {
	t.Parallel()
	dir, c := t.TempDir(), newClock()
	o := listenWith(t, "127.0.0.1:0", dir, c, func(cfg *server.Config) { cfg.AsideBytes = 10 })
	b := o.join(t, server.Tenant, crew())
	b.sound(t, heron, 20)
	if err := o.registry.Revoke(server.Tenant, b.Device); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if _, err := b.Sync(t.Context(), b.conn); !errors.Is(err, client.ErrRevoked) {
			t.Errorf("%v, want ErrRevoked", err)
		}
	}
	if n := b.waiting(t); n != 20 {
		t.Errorf("%d wait, want 20", n)
	}
	addr := o.addr
	if n := o.aside(t, server.Tenant); n != 0 { // closes the server
		t.Errorf("%d blocks kept aside above the limit", n)
	}
	o = listenOn(t, addr, dir, c)
	if _, err := b.Sync(t.Context(), b.conn); !errors.Is(err, client.ErrRevoked) {
		t.Errorf("%v, want ErrRevoked", err)
	}
	if n := o.aside(t, server.Tenant); n != 1 {
		t.Errorf("%d blocks kept aside once there is room, want 1", n)
	}
}
