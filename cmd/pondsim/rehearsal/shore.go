package rehearsal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"google.golang.org/grpc/test/bufconn"

	"pondwright/server"
	"pondwright/server/journal"
)

// shore is the server: its folder, the process that runs on it, and what a crash
// would leave.
type shore struct {
	root  string // of the rehearsal; every life of the server has a folder below
	seed  uint64
	now   *clock
	lives int
	dir   string
	// secure says that the server asks for certificates.
	secure bool
	beats  beats

	srv    *server.Server
	lis    *bufconn.Listener
	stop   context.CancelFunc
	served chan error

	mu    sync.Mutex
	down  bool
	conns []net.Conn
	plan  plan
}

// plan is what shall happen to the server at a point of its write path.
type plan struct {
	point string
	nth   int // how many times the point is passed before
	fail  error
	kept  bool // a crash keeps what was written and not synced
	// After a crash: the folder it left. While it is planned: the journal as of the
	// last sync.
	image   string
	crashed bool
	broke   error
}

// randomness returns a source of its own for each purpose.
func randomness(seed uint64, purpose string, n int) io.Reader {
	var key [32]byte
	copy(key[:], fmt.Sprintf("%x/%s/%d", seed, purpose, n))
	return rand.NewChaCha8(key)
}

const (
	journalFolder = "journal"
	stateFolder   = "state"
	accessFolder  = "access"
)

// start opens the server on its folder.
func (s *shore) start() error { return s.startFrom(false) }

// startFrom opens the server on its folder, which may be one from a backup.
func (s *shore) startFrom(restored bool) error {
	s.lives++
	srv, err := server.Open(server.Config{Dir: s.dir, Now: s.now.Now, Restored: restored, Secure: s.secure, Every: s.beats.every,
		Rand: randomness(s.seed, "shore", s.lives), Faults: s.pass})
	if err != nil {
		return err
	}
	lis := bufconn.Listen(64 << 10)
	ctx, cancel := context.WithCancel(context.Background())
	s.srv, s.lis, s.stop, s.served = srv, lis, cancel, make(chan error, 1)
	s.mu.Lock()
	s.down, s.plan = false, plan{}
	s.mu.Unlock()
	go func() { s.served <- srv.Serve(ctx, tracked{lis, s}) }()
	return nil
}

// tracked remembers the server's ends of connections, so that a crash closes them.
type tracked struct {
	*bufconn.Listener
	s *shore
}

func (t tracked) Accept() (net.Conn, error) {
	c, err := t.Listener.Accept()
	if err != nil {
		return nil, err
	}
	t.s.mu.Lock()
	defer t.s.mu.Unlock()
	if t.s.down { // dialed before the crash: nobody may hear the dying process
		_ = c.Close() // in memory: cannot fail in a way that matters
	}
	t.s.conns = append(t.s.conns, c)
	return c, nil
}

// dial connects to the server, if it is up.
func (s *shore) dial(ctx context.Context) (net.Conn, error) {
	s.mu.Lock()
	down := s.down
	s.mu.Unlock()
	if down {
		return nil, errNoNetwork
	}
	return s.lis.DialContext(ctx)
}

// hangUp closes every connection and takes no more.
func (s *shore) hangUp() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.down = true
	for _, c := range s.conns {
		_ = c.Close() // in memory: cannot fail in a way that matters
	}
	s.conns = nil
}

// end ends the process in good order.
func (s *shore) end() error {
	if s.srv == nil {
		return nil
	}
	s.hangUp()
	s.stop()
	err := errors.Join(<-s.served, s.srv.Close())
	s.srv = nil
	return err
}

// beats is what the server does again and again, whenever the rehearsal says so.
type beats struct {
	mu   sync.Mutex
	next int
	all  map[int]func()
}

func (b *beats) every(_ time.Duration, f func()) (stop func()) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.all == nil {
		b.all = map[int]func(){}
	}
	id := b.next
	b.next++
	b.all[id] = f
	return func() {
		b.mu.Lock() // a call under way holds it
		defer b.mu.Unlock()
		delete(b.all, id)
	}
}

// beat does it once.
func (b *beats) beat() {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, f := range b.all {
		f()
	}
}

// prepare plans a fault for the next sync.
func (s *shore) prepare(fault string, at int) error {
	p := plan{nth: at, kept: at%2 == 1}
	switch fault {
	case killBefore:
		p.point = journal.FaultBeforeWrite
	case killWrite:
		p.point = journal.FaultAfterWrite
	case killSync:
		p.point = journal.FaultAfterSync
	case killAck:
		p.point = server.FaultAfterAck
	case diskFull:
		p.point, p.fail = journal.FaultBeforeWrite, syscall.ENOSPC
	case diskFails:
		p.point, p.fail = journal.FaultAfterWrite, syscall.EIO
	default:
		return nil
	}
	p.image = filepath.Join(s.root, fmt.Sprintf("shore-%d", s.lives+1))
	if err := copyFolder(p.image, s.dir, stateFolder); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.plan = p
	return nil
}

// pass is called by the server at each named point. A crash cuts the connections
// first, so that nothing the dying process says is heard, then takes the image; the
// process itself is ended later, and its folder thrown away.
func (s *shore) pass(point string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	p := &s.plan
	if p.point == "" || p.crashed {
		return nil
	}
	if point == journal.FaultAfterSync { // what is synced outlives everything
		if p.broke = s.refresh(); p.broke != nil {
			return nil
		}
	}
	if point == p.point {
		p.nth--
	}
	if point == p.point && p.nth == -1 && p.fail == nil {
		s.down, p.crashed = true, true
		for _, c := range s.conns {
			_ = c.Close() // in memory: cannot fail in a way that matters
		}
		p.broke = s.refreshAccess()
		if p.kept {
			p.broke = errors.Join(p.broke, s.refresh())
		}
		return nil
	}
	if p.fail != nil && point == p.point && p.nth <= -1 {
		return p.fail
	}
	return nil
}

// refresh takes the journal as it lies on disk into the image.
func (s *shore) refresh() error {
	to := filepath.Join(s.plan.image, journalFolder)
	if err := os.RemoveAll(to); err != nil {
		return err
	}
	return copyFolder(to, filepath.Join(s.dir, journalFolder))
}

// refreshAccess takes who may do what into the image: all of it is synced.
func (s *shore) refreshAccess() error {
	to := filepath.Join(s.plan.image, accessFolder)
	if err := os.RemoveAll(to); err != nil {
		return err
	}
	return copyFolder(to, filepath.Join(s.dir, accessFolder))
}

// broken reports whether the disk has failed under the running server.
func (s *shore) broken() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.plan.fail != nil && s.plan.nth <= -1
}

// settle ends what a planned fault began: a crashed or broken server starts again
// on what it left. It reports whether one did.
func (s *shore) settle() (restarted bool, err error) {
	s.mu.Lock()
	p := s.plan
	s.plan = plan{}
	s.mu.Unlock()
	switch {
	case p.point == "":
		return false, nil
	case p.broke != nil:
		return false, p.broke
	case p.crashed || p.fail != nil && p.nth <= -1:
	default:
		return false, os.RemoveAll(p.image)
	}
	if p.fail != nil && p.kept {
		// The disk recovered in time for what was written to get there after all.
		s.mu.Lock()
		s.plan.image = p.image
		err = s.refresh()
		s.plan = plan{}
		s.mu.Unlock()
	}
	old := s.dir
	if err = errors.Join(err, s.end(), os.RemoveAll(old)); err != nil {
		return false, err
	}
	s.dir = p.image
	return true, s.start()
}
