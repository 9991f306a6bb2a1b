package server

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"iter"
	"log/slog"
	"net"
	"path/filepath"
	"sync"
	"time"

	"buf.build/go/protovalidate"
	validate "github.com/grpc-ecosystem/go-grpc-middleware/v2/interceptors/protovalidate"
	"github.com/grpc-ecosystem/go-grpc-middleware/v2/interceptors/recovery"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"

	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/access"
	"pondwright/server/journal"
	"pondwright/server/photo"
	"pondwright/server/scribe"
	"pondwright/server/state"
)

// Service registers a further service that reads the state and may write records of
// the office with pen. A handler returns its
// domain's errors; one that has a GRPCStatus method decides its own status.
type Service func(reg grpc.ServiceRegistrar, st *state.State, pen *scribe.Scribe)

// Config says how a server runs. Only Dir is required.
type Config struct {
	Dir      string           // a folder of its own; made if missing
	Services []Service        // beside the sync service
	Logger   *slog.Logger     // for the operator; nil for silence
	Now      func() time.Time // wall clock; nil for the machine's
	Rand     io.Reader        // cryptographic randomness; nil for the machine's

	// Secure asks for TLS and for devices that are enrolled. Without it every
	// caller is the operator, and only this machine is listened to.
	Secure bool
	// Every calls f again and again, d apart, until stopped, which waits for a call
	// under way. Nil for the machine's clock.
	Every func(d time.Duration, f func()) (stop func())

	// Restored says that the folder was put back from a backup; once is enough.
	// Every reader then starts anew from what it holds, and not only those who saw
	// what is now gone.
	Restored bool

	// AsideBytes is how much is kept aside for each tenant of what may not go into a log;
	// 0 for 256 MiB. Beyond it devices are told so and keep the rest.
	AsideBytes int64

	Rates Rates // of each device; the zero value has defaults

	// Archived returns the journal position up to which everything is in a backup
	// away from this machine: devices may then remove what it covers. Nil: nothing
	// is, and they keep all.
	Archived func() uint64

	// Faults is for tests: it is called at each named point of the write path. An
	// error at a point before the sync is one of the disk's.
	Faults func(point string) error

	free func() (uint64, error)                // bytes left on the disk; nil asks the system
	wrap func(journal.Journal) journal.Journal // what the handlers see; nil for the journal itself
}

// FaultAfterAck is the point after an acknowledgement was handed to the transport.
const FaultAfterAck = "after-ack"

// Tenant is the tenant of the operator, who calls without TLS from this machine.
const Tenant = access.DefaultTenant

// ErrNeedsTLS says that the listener can be reached from other machines, for which
// the server must be Secure.
var ErrNeedsTLS = errors.New("refusing to listen beyond this machine without TLS")

// Limits of the transport. The client pings every 30 s while a stream is open.
const (
	maxMessageBytes = 1 << 20 // see checkSize
	maxRecvBytes    = 4 << 20
	maxSendBytes    = 4 << 20
	maxStreams      = 16
	minPing         = 20 * time.Second
	ownPing         = 60 * time.Second
	pingTimeout     = 20 * time.Second
	stopGrace       = 5 * time.Second
)

// Server is an open journal and state, ready to serve.
type Server struct {
	cfg     Config
	journal journal.Journal
	state   *state.State
	access  *access.Registry
	grpc    *grpc.Server
	health  *health.Server

	stopping sync.Once
	quit     chan struct{} // closed when streams should end
	unwatch  func()        // ends the watch over open streams
}

// schemaChecker is made once: it compiles the rules of each message when it first sees
// one.
var schemaChecker = sync.OnceValues(func() (protovalidate.Validator, error) { return protovalidate.New() })

// Open opens the folder, making it if needed, and brings the state up to date
// behind the scenes.
func Open(cfg Config) (*Server, error) {
	if cfg.Logger == nil {
		cfg.Logger = slog.New(slog.DiscardHandler)
	}
	if cfg.Now == nil {
		cfg.Now = time.Now
	}
	if cfg.Rand == nil {
		cfg.Rand = rand.Reader
	}
	if cfg.Archived == nil {
		cfg.Archived = func() uint64 { return 0 }
	}
	if cfg.Faults == nil {
		cfg.Faults = func(string) error { return nil }
	}
	if cfg.Every == nil {
		cfg.Every = every
	}
	validator, err := schemaChecker()
	if err != nil {
		return nil, fmt.Errorf("server: %w", err)
	}
	registry, err := OpenAccess(cfg.Dir, cfg.Now, cfg.Rand)
	if err != nil {
		return nil, fmt.Errorf("server: %w", err)
	}
	j, err := journal.Open(journal.Options{
		Dir: filepath.Join(cfg.Dir, "journal"), Now: cfg.Now, Rand: cfg.Rand, Restored: cfg.Restored, Free: cfg.free, AsideBytes: cfg.AsideBytes, Faults: cfg.Faults})
	if err != nil {
		return nil, fmt.Errorf("server: %w", err)
	}
	st, err := state.Open(filepath.Join(cfg.Dir, "state"), j)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("server: %w", err), j.Close())
	}
	s := &Server{cfg: cfg, journal: j, state: st, access: registry, health: health.NewServer(), quit: make(chan struct{})}
	if cfg.wrap != nil {
		s.journal = cfg.wrap(j)
	}
	s.register(validator)
	return s, nil
}

// OpenAccess opens who may do what in a server's folder, with the server running or
// not. Now and random may be nil, for the machine's.
func OpenAccess(dir string, now func() time.Time, random io.Reader) (*access.Registry, error) {
	return access.Open(access.Options{Dir: filepath.Join(dir, "access"), Now: now, Rand: random})
}

// every is the machine's Config.Every.
func every(d time.Duration, f func()) (stop func()) {
	ticker := time.NewTicker(d)
	quit := make(chan struct{})
	var running sync.WaitGroup
	running.Go(func() {
		for {
			select {
			case <-ticker.C:
				f()
			case <-quit:
				return
			}
		}
	})
	return sync.OnceFunc(func() {
		ticker.Stop()
		close(quit)
		running.Wait()
	})
}

func (s *Server) register(validator protovalidate.Validator) {
	errs := &statuses{log: s.cfg.Logger, boot: s.cfg.Now().UnixMilli()}
	rescue := recovery.WithRecoveryHandlerContext(errs.panicked)
	guard := access.NewGuard(s.access, s.journal, !s.cfg.Secure)
	transport := insecure.NewCredentials()
	if s.cfg.Secure {
		transport = credentials.NewTLS(s.access.TLS())
	}
	s.grpc = grpc.NewServer(
		grpc.Creds(transport),
		grpc.MaxRecvMsgSize(maxRecvBytes),
		grpc.MaxSendMsgSize(maxSendBytes),
		grpc.MaxConcurrentStreams(maxStreams),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: minPing}),
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: ownPing, Timeout: pingTimeout}),
		grpc.ChainUnaryInterceptor(errs.unary, recovery.UnaryServerInterceptor(rescue), sizedUnary, guard.Unary, validate.UnaryServerInterceptor(validator)),
		grpc.ChainStreamInterceptor(errs.stream, recovery.StreamServerInterceptor(rescue), sizedStream, guard.Stream, validate.StreamServerInterceptor(validator)),
	)
	s.unwatch = func() {}
	if s.cfg.Secure {
		s.unwatch = s.cfg.Every(access.RecheckEvery, func() {
			if err := guard.Recheck(); err != nil {
				s.cfg.Logger.Error("cannot tell who may still call", "err", err)
			}
		})
	}
	access.NewService(s.access, guard).Register(s.grpc)
	photo.NewService(photo.Open(filepath.Join(s.cfg.Dir, "photos"))).Register(s.grpc)
	healthpb.RegisterHealthServer(s.grpc, s.health)
	pb.RegisterSyncServiceServer(s.grpc, &syncService{
		journal: s.journal, quit: s.quit, faults: s.cfg.Faults, leases: newLeases(), rates: newRates(s.cfg.Rates, s.cfg.Now), every: s.cfg.Every, archived: s.cfg.Archived, forked: s.access.NoteFork})
	pen := scribe.New(s.journal, s.cfg.Now, s.cfg.Rand, s.access.Seal)
	for _, register := range s.cfg.Services {
		register(s.grpc, s.state, pen)
	}
}

// State returns what readers ask.
func (s *Server) State() *state.State { return s.state }

// KeptAside yields what the journal keeps of a tenant outside every log: blocks that
// contradict what is in a log, or that nobody had the right to add to one.
func (s *Server) KeptAside(ctx context.Context, tenant string) iter.Seq2[journal.Aside, error] {
	return s.journal.Aside(ctx, tenant)
}

// Serve answers on the listener until ctx ends, then lets open calls finish for a
// moment and returns nil. It closes the listener. It may be called once.
func (s *Server) Serve(ctx context.Context, lis net.Listener) error {
	if err := CheckLoopback(lis.Addr()); err != nil && !s.cfg.Secure {
		return errors.Join(fmt.Errorf("server: %s: %w", lis.Addr(), err), lis.Close())
	}
	served := make(chan error, 1)
	go func() { served <- s.grpc.Serve(lis) }()
	select {
	case err := <-served:
		return fmt.Errorf("server: %w", err)
	case <-ctx.Done():
	}
	s.stop()
	return <-served
}

// stop ends all calls: follow-ups at once, others when they are done or the grace
// is over.
func (s *Server) stop() {
	s.stopping.Do(func() {
		s.health.Shutdown()
		close(s.quit)
		cut := time.AfterFunc(stopGrace, s.grpc.Stop)
		defer cut.Stop()
		s.grpc.GracefulStop()
	})
}

// Close ends all calls and closes the state and the journal. Closing twice is
// fine.
func (s *Server) Close() error {
	s.unwatch()
	s.stop()
	return errors.Join(s.state.Close(), s.journal.Close())
}

// tenantOf returns whose logs a stream is about.
func tenantOf(stream interface{ Context() context.Context }) string {
	who, _ := access.From(stream.Context())
	return who.Tenant
}

// deviceOf returns which device calls: the one whose certificate was shown, or, on a
// plain connection, the one that it says it is.
func deviceOf(stream interface{ Context() context.Context }, says []byte) block.ID {
	who, _ := access.From(stream.Context())
	if id, err := block.IDFromBytes(says); who.Device.IsZero() && err == nil {
		return id
	}
	return who.Device
}

// CheckLoopback returns ErrNeedsTLS for an address that other machines can reach.
// In-memory and Unix sockets pass, and TCP on this machine.
func CheckLoopback(addr net.Addr) error {
	if tcp, ok := addr.(*net.TCPAddr); ok && !tcp.IP.IsLoopback() {
		return ErrNeedsTLS
	}
	return nil
}
