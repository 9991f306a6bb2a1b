package crossing

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server"
)

// snapshot copies a closed device's folder, the marker included: what a full backup
// or a cloned phone holds.
func snapshot(t *testing.T, dir string) string {
	t.Helper()
	copied := filepath.Join(t.TempDir(), "copy")
	if err := os.CopyFS(copied, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	return copied
}

// session opens a device, lets it work and closes it.
func session(t *testing.T, dir string, work func(c *client.Client)) {
	t.Helper()
	c, err := client.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	work(c)
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
}

// blocks returns every block of the pond as the server sends them.
func blocks(t *testing.T, s *shore) []*block.Block {
	t.Helper()
	stream, err := pb.NewSyncServiceClient(dial(t, s.addr)).Pull(t.Context(), &pb.PullRequest{PondIds: [][]byte{pond[:]}})
	if err != nil {
		t.Fatal(err)
	}
	var out []*block.Block
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		if m.GetBlock() == nil {
			continue
		}
		b, err := block.Parse(m.GetBlock().GetFrame())
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, b)
	}
}

// checkEverywhere holds that the server and every device hold exactly these
// readings, each once.
func checkEverywhere(t *testing.T, s *shore, want []int32, devices ...*client.Client) {
	t.Helper()
	if diff := cmp.Diff(want, held(t, s.State())); diff != "" {
		t.Errorf("on the server (-want +got):\n%s", diff)
	}
	for i, c := range devices {
		got, err := c.Soundings(t.Context(), pond)
		if err != nil {
			t.Fatal(err)
		}
		var all []block.Sounding
		for _, q := range got {
			all = append(all, q.Sounding)
		}
		if diff := cmp.Diff(want, sorted(all)); diff != "" {
			t.Errorf("on device %d (-want +got):\n%s", i, diff)
		}
	}
}

// TestInv06_07_08_TwoCopiesOfAStore lets two devices work on from one store, in
// every order of syncing.
func TestInv06_07_08_TwoCopiesOfAStore(t *testing.T) {
	t.Parallel()
	for order := range 8 {
		t.Run(fmt.Sprintf("%03b", order), func(t *testing.T) {
			t.Parallel()
			s := startShore(t, t.TempDir())
			conn := dial(t, s.addr)
			dir := t.TempDir()
			session(t, dir, func(c *client.Client) {
				record(t, c, readings(0, 700))
				mustSync(t, c, conn)
				record(t, c, readings(700, 20)) // not synced when copied
			})
			a, b := openBoat(t, dir), openBoat(t, snapshot(t, dir))
			boats := []*client.Client{a, b}
			record(t, a, readings(1000, 1300))
			record(t, b, readings(3000, 400))
			for turn := range 3 {
				mustSync(t, boats[order>>turn&1], conn)
				record(t, boats[order>>turn&1], readings(5000+100*turn, 5))
			}
			for range 2 {
				mustSync(t, a, conn)
				mustSync(t, b, conn)
			}
			// The 20 were sealed before the copy was made and so are the same on both.
			checkEverywhere(t, s, sorted(readings(0, 700), readings(700, 20), readings(1000, 1300), readings(3000, 400),
				readings(5000, 5), readings(5100, 5), readings(5200, 5)), a, b)
			for _, c := range boats {
				if st := status(t, c); st.Waiting != 0 || len(st.Quarantined) != 0 {
					t.Errorf("status %+v", st)
				}
			}
			parted := len(status(t, a).Parted) + len(status(t, b).Parted)
			if parted == 0 {
				t.Error("no device noticed")
			}
			from := map[block.ID]block.ID{}
			for _, b := range blocks(t, s) {
				if !b.OriginLog.IsZero() {
					from[b.Log] = b.OriginLog
				}
			}
			if len(from) != 1 {
				t.Errorf("%d logs name their origin, want the one that had to move", len(from))
			}
		})
	}
}

// TestInv07_RestoredStoreNeverReusesSeq puts a device back to an earlier day, marker
// and all, and lets it work on before or after it hears from the server.
func TestInv07_RestoredStoreNeverReusesSeq(t *testing.T) {
	t.Parallel()
	for _, more := range []int{0, 3, 900} { // recorded after the restore, before the next sync
		t.Run(fmt.Sprint(more), func(t *testing.T) {
			t.Parallel()
			s := startShore(t, t.TempDir())
			conn := dial(t, s.addr)
			dir := t.TempDir()
			session(t, dir, func(c *client.Client) {
				record(t, c, readings(0, 600))
				mustSync(t, c, conn)
			})
			earlier := snapshot(t, dir)
			session(t, dir, func(c *client.Client) {
				record(t, c, readings(1000, 700))
				mustSync(t, c, conn)
			})
			before := blocksAt(t, s)

			c := openBoat(t, earlier)
			if more > 0 {
				record(t, c, readings(3000, more))
			}
			mustSync(t, c, conn)
			record(t, c, readings(5000, 10))
			mustSync(t, c, conn)
			mustSync(t, c, conn)
			want := sorted(readings(0, 600), readings(1000, 700), readings(3000, more), readings(5000, 10))
			checkEverywhere(t, s, want, c)
			after := blocksAt(t, s)
			for at, hash := range before {
				if after[at] != hash {
					t.Errorf("entry %v gained other content", at)
				}
			}
			if st := status(t, c); st.Waiting != 0 || len(st.Quarantined) != 0 || len(st.Parted) != 1 {
				t.Errorf("status %+v", st)
			}
		})
	}
}

// TestInv06_17_CopiesGiveWayToWhatTheServerHolds: two copies of a store wrote to one
// log, and a third device pulled what the first wrote. Then the server is put back and
// takes the second's entries instead, while the first is lost. What only the third
// device holds must reach the server, and all must hold the same log.
func TestInv06_17_CopiesGiveWayToWhatTheServerHolds(t *testing.T) {
	t.Parallel()
	serverDir, dir := t.TempDir(), t.TempDir()
	s := startShore(t, serverDir)
	conn := dial(t, s.addr)
	session(t, dir, func(c *client.Client) {
		record(t, c, readings(0, 10))
		mustSync(t, c, conn)
	})
	copied := snapshot(t, dir)
	s.stop()
	earlier := backup(t, serverDir)
	s = startShore(t, serverDir)
	conn = dial(t, s.addr)
	third := openBoat(t, t.TempDir())
	if err := third.Watch(t.Context(), pond); err != nil {
		t.Fatal(err)
	}
	session(t, dir, func(c *client.Client) {
		record(t, c, readings(1000, 1300)) // three blocks, none of which fits after another's
		mustSync(t, c, conn)
	})
	mustSync(t, third, conn)
	s.stop()

	s = startShore(t, earlier)
	conn = dial(t, s.addr)
	second := openBoat(t, copied)
	record(t, second, readings(3000, 20))
	mustSync(t, second, conn)
	for range 2 {
		mustSync(t, third, conn)
		mustSync(t, second, conn)
	}
	checkEverywhere(t, s, sorted(readings(0, 10), readings(3000, 20)), second, third)
	aside := map[int32]bool{}
	for a, err := range s.KeptAside(t.Context(), server.Tenant) {
		if err != nil {
			t.Fatal(err)
		}
		b, err := block.Parse(a.Frame)
		if err != nil {
			t.Fatal(err)
		}
		p, err := b.Payload()
		if err != nil {
			t.Fatal(err)
		}
		for _, q := range p.Soundings {
			aside[q.ReadingMM] = true
		}
	}
	if len(aside) != 1300 {
		t.Errorf("%d entries kept aside on the server, want 1300", len(aside))
	}
	if r := mustSync(t, third, conn); r != (client.Result{}) {
		t.Errorf("a sync with nothing new moved %+v", r)
	}
}

type place struct {
	log   block.ID
	first uint64
}

// blocksAt returns the hash of every block on the server.
func blocksAt(t *testing.T, s *shore) map[place]block.Hash {
	t.Helper()
	out := map[place]block.Hash{}
	for _, b := range blocks(t, s) {
		out[place{b.Log, b.FirstSeq}] = b.Hash
	}
	return out
}

// TestFork_RecordsStillNameTheirParents edits one record in many versions on a copy
// whose log has to move: the versions must go on replacing each other.
func TestFork_RecordsStillNameTheirParents(t *testing.T) {
	t.Parallel()
	s := startShore(t, t.TempDir())
	conn := dial(t, s.addr)
	dir := t.TempDir()
	name := func(c *client.Client, name string) {
		t.Helper()
		if _, err := c.Record(t.Context(), pond, &pb.Record{Kind: &pb.Record_Pond{Pond: &pb.Pond{Name: name}}}); err != nil {
			t.Fatal(err)
		}
	}
	session(t, dir, func(c *client.Client) {
		name(c, "Heron")
		mustSync(t, c, conn)
	})
	a, b := openBoat(t, dir), openBoat(t, snapshot(t, dir))
	record(t, a, readings(0, 3))
	mustSync(t, a, conn)
	for i := range 5 {
		name(b, fmt.Sprint("Heron ", i))
		record(t, b, readings(10+i, 1)) // a block of its own for each
	}
	mustSync(t, b, conn)
	mustSync(t, a, conn)
	for i, c := range []*client.Client{a, b} {
		things, err := c.Things(t.Context(), pond)
		if err != nil || len(things) != 1 || len(things[0].Heads) != 1 || things[0].Message.GetPond().GetName() != "Heron 4" {
			t.Errorf("device %d shows %+v, %v", i, things, err)
		}
	}
}

// TestInv10_DeviceKeepsWhatIsNotArchived lets the server say how far its backup goes.
func TestInv10_DeviceKeepsWhatIsNotArchived(t *testing.T) {
	t.Parallel()
	var archived atomic.Uint64
	s := startShoreWith(t, server.Config{Dir: t.TempDir(), Archived: archived.Load})
	conn := dial(t, s.addr)
	c := openBoat(t, t.TempDir())
	record(t, c, readings(0, 2000)) // four blocks
	mustSync(t, c, conn)
	if n, err := c.Release(t.Context()); n != 0 || err != nil {
		t.Errorf("released %d with no backup, %v", n, err)
	}
	archived.Store(2)
	record(t, c, readings(5000, 1)) // the server is greeted again
	mustSync(t, c, conn)
	if n, err := c.Release(t.Context()); n != 1000 || err != nil {
		t.Errorf("released %d with two blocks in a backup, %v", n, err)
	}
	if got, err := c.Soundings(t.Context(), pond); err != nil || len(got) != 1001 {
		t.Errorf("%d soundings left, %v", len(got), err)
	}
	if r := mustSync(t, c, conn); r != (client.Result{}) {
		t.Errorf("what was released came back: %+v", r)
	}
	if got := held(t, s.State()); len(got) != 2001 {
		t.Errorf("%d on the server", len(got))
	}
}
