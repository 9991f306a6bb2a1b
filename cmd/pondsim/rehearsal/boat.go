package rehearsal

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"

	"pondwright/client"
	"pondwright/proto/block"
)

// boat is a device and what the rehearsal knows of it.
type boat struct {
	id    int
	root  string
	seed  uint64
	lives int
	dir   string
	c     *client.Client
	clock *clock
	// full says that its disk is.
	full atomic.Bool
	// secure says that it dials with its certificate.
	secure bool

	has       map[int32]bool // writes it accepted and must not lose
	watches   map[block.ID]bool
	snapshots []snapshot
	hlc       uint64 // of the last record it made
	seen      uint64 // the largest stamp it pulled and was to follow
	stale     bool   // it may hold what a server, since put back, has come to hold otherwise
	died      bool   // the program died during the last sync, and image is what it left
	image     string
}

// snapshot is a boat's folder at some time, with what it held.
type snapshot struct {
	dir       string
	stale     bool
	rollbacks int // of the server, by then
	has       map[int32]bool
	watches   map[block.ID]bool
}

func clone[K comparable](m map[K]bool) map[K]bool {
	out := make(map[K]bool, len(m))
	for k := range m {
		out[k] = true
	}
	return out
}

// open starts the boat's program on its folder.
func (b *boat) open(ctx context.Context) error {
	b.lives++
	c, err := client.Open(ctx, b.dir, client.WithClock(b.clock), client.WithFreeSpace(b.free),
		client.WithRand(randomness(b.seed, fmt.Sprintf("boat-%d", b.id), b.lives)))
	if err != nil {
		return fmt.Errorf("boat %d: %w", b.id, err)
	}
	b.c = c
	return nil
}

// reopen ends the boat's program and starts it again.
func (b *boat) reopen(ctx context.Context) error {
	if err := b.c.Close(); err != nil {
		return err
	}
	return b.open(ctx)
}

// folder returns a fresh folder below the rehearsal's.
func (b *boat) folder(what string) string {
	b.lives++
	return filepath.Join(b.root, fmt.Sprintf("boat-%d-%s-%d", b.id, what, b.lives))
}

// swap replaces the boat's folder by another and opens it. The old process, if it
// still runs, ends on the old folder, which is thrown away.
func (b *boat) swap(ctx context.Context, dir string) error {
	if err := errors.Join(b.c.Close(), os.RemoveAll(b.dir)); err != nil {
		return err
	}
	b.dir = dir
	return b.open(ctx)
}

// keep takes a snapshot of the folder as it lies on disk.
func (b *boat) keep() (snapshot, error) {
	s := snapshot{dir: b.folder("copy"), stale: b.stale, has: clone(b.has), watches: clone(b.watches)}
	return s, copyFolder(s.dir, b.dir)
}

// markerFile is what tells an installation from a copy of its database.
const markerFile = "installation"

// reach opens the boat's link to the shore.
func (b *boat) reach(w *world, fault string, at int) (*link, error) {
	l := &link{fault: fault, at: at, acked: w.promised, refused: w.refused, alive: &w.alive, minute: func() { b.clock.Advance(time.Minute) }}
	l.die = func() {
		b.image = b.folder("left")
		b.died = copyFolder(b.image, b.dir) == nil
	}
	conn, err := b.dial(func(ctx context.Context, _ string) (net.Conn, error) {
		c, err := w.shore.dial(ctx)
		if err != nil {
			return nil, err
		}
		return newWire(c, l), nil
	})
	l.ClientConn = conn
	return l, err
}

// target is the server's address.
const target = "passthrough:///shore"

func (b *boat) dial(how func(context.Context, string) (net.Conn, error)) (*grpc.ClientConn, error) {
	if b.secure {
		return b.c.Dial(target, grpc.WithContextDialer(how))
	}
	return client.Dial(target, grpc.WithContextDialer(how))
}

// free says how many bytes the boat's disk has left.
func (b *boat) free() (uint64, error) {
	if b.full.Load() {
		return 0, nil
	}
	return 1 << 40, nil
}

func sortedWrites(m map[int32]bool) []int32 {
	out := make([]int32, 0, len(m))
	for n := range m {
		out = append(out, n)
	}
	slices.Sort(out)
	return out
}
