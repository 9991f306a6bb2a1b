package rehearsal

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/encoding/protowire"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// Violation is a promise that was broken.
type Violation struct {
	Promise string // the invariant's name
	Step    int    // of the script; len(Steps) for the end, when everybody has met
	Detail  string
}

// Error names the promise, the step and what was seen.
func (v *Violation) Error() string {
	return fmt.Sprintf("%s broken at step %d: %s", v.Promise, v.Step, v.Detail)
}

func broken(promise, format string, args ...any) error {
	return &Violation{Promise: promise, Detail: fmt.Sprintf(format, args...)}
}

// Tally counts what a rehearsal did.
type Tally struct {
	Steps    int
	Syncs    int // that came to their end
	Failures int // syncs that did not
	Crashes  int // of the server or of a boat
	Entries  int // on the server at the end
	Alike    int // times that a boat was found to hold the same of a pond as the server
}

// Plus adds two tallies.
func (t Tally) Plus(o Tally) Tally {
	return Tally{t.Steps + o.Steps, t.Syncs + o.Syncs, t.Failures + o.Failures, t.Crashes + o.Crashes, t.Entries + o.Entries, t.Alike + o.Alike}
}

// world is one rehearsal under way.
type world struct {
	script Script
	root   string
	shore  *shore
	boats  []*boat
	ponds  []block.ID
	alive  atomic.Int64
	tally  Tally

	clerk    *boat             // reads all that a secure server has; nil if it is not
	joined   map[block.ID]bool // devices the server knows
	revoked  map[block.ID]bool // and those of them shut out
	watchers []*watcher
	offices  int // how often the operator opened who may do what

	writes  map[int32]*write
	next    int32
	backups []backup
	guests  int

	rollbacks int            // how often the server was put back
	survivors map[int32]bool // writes that somebody held since: none of them may get lost

	mu     sync.Mutex
	acked  map[block.ID]uint64 // by log, what the server promised
	view   *view               // what a reader that follows has seen
	line   *grpc.ClientConn    // without faults, to the server in its life lineTo
	lineTo int
	looked looked
	// parked are writes in blocks that the server refused.
	parked map[int32]bool
}

// write is one entry that somebody made.
type write struct {
	pond      block.ID
	sounding  *block.Sounding // or
	record    *pb.Record
	unknown   []byte // the record's unknown fields, as they were written
	parents   map[int32]bool
	outcast   bool // made by a device that was shut out, and by no other
	copied    bool // a copy of the device held it too
	mayRepeat bool // … before the server did: both may bring it
}

// backup is a copy of the server's folder and what had been promised by then.
type backup struct {
	dir     string
	acked   map[block.ID]uint64
	joined  map[block.ID]bool
	revoked map[block.ID]bool
}

// jumps are how far a clock is set.
var jumps = []time.Duration{-time.Hour, time.Hour, -24 * 365 * time.Hour, 24 * 365 * 3 * time.Hour,
	50 * time.Second, -50 * time.Second, 70 * time.Second, -61 * 24 * 365 * time.Hour}

// patience is how long, in real time, a step may take before it counts as stuck.
const patience = 60 * time.Second

// Play plays a script. It returns the promise that was broken, nil if none was, and
// an error if the rehearsal itself could not go on.
func Play(ctx context.Context, script Script) (found *Violation, tally Tally, err error) {
	root, err := scratch()
	if err != nil {
		return nil, tally, err
	}
	w := &world{script: script, root: root, writes: map[int32]*write{}, parked: map[int32]bool{}, joined: map[block.ID]bool{}, revoked: map[block.ID]bool{}, acked: map[block.ID]uint64{}, view: newView()}
	defer func() { err = errors.Join(err, w.close(), os.RemoveAll(root)) }()
	if err := w.open(ctx); err != nil {
		return nil, tally, err
	}
	at := 0
	for ; at < len(script.Steps); at++ {
		w.tally.Steps++
		if err = w.step(ctx, &script.Steps[at]); err == nil {
			err = w.check(ctx, &script.Steps[at])
		}
		if err != nil {
			break
		}
	}
	if err == nil {
		err = w.heal(ctx)
	}
	w.tally.Entries = w.view.entries
	if errors.As(err, &found) {
		found.Step = at
		return found, w.tally, nil
	}
	if err != nil {
		return nil, w.tally, fmt.Errorf("seed %d, step %d: %w", script.Seed, at, err)
	}
	return nil, w.tally, nil
}

func (w *world) open(ctx context.Context) error {
	w.shore = &shore{root: w.root, seed: w.script.Seed, now: newClock(), secure: w.script.Secure, dir: filepath.Join(w.root, "shore-0")}
	for p := range max(1, w.script.Ponds) {
		w.ponds = append(w.ponds, block.PondID(fmt.Sprintf("Pond %d", p)))
	}
	if err := w.shore.start(); err != nil {
		return err
	}
	if err := w.openClerk(ctx); err != nil {
		return err
	}
	for i := range max(1, w.script.Boats) {
		b := &boat{id: i, root: w.root, seed: w.script.Seed, secure: w.script.Secure, clock: newClock(), has: map[int32]bool{}, watches: map[block.ID]bool{}}
		b.dir = b.folder("first")
		if err := b.open(ctx); err != nil {
			return err
		}
		w.boats = append(w.boats, b)
		if err := w.join(ctx, b); err != nil {
			return err
		}
	}
	return nil
}

func (w *world) close() error {
	err := errors.Join(w.dismiss(), w.hangUp(), w.shore.end())
	for _, b := range append(w.boats, w.clerk) {
		if b != nil && b.c != nil {
			err = errors.Join(err, b.c.Close())
		}
	}
	return err
}

func (w *world) boat(n int) *boat    { return w.boats[n%len(w.boats)] }
func (w *world) pond(n int) block.ID { return w.ponds[n%len(w.ponds)] }

const maxBoats = 5

// step plays one step.
func (w *world) step(ctx context.Context, s *Step) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	b := w.boat(s.Boat)
	w.pass(time.Second)
	switch s.Do {
	case doAppend:
		return w.append(ctx, b, w.pond(s.Pond), s.N)
	case doEdit, doSide, doSettle, doDelete:
		return w.edit(ctx, b, w.pond(s.Pond), s)
	case doSync:
		return w.sync(ctx, s, nil)
	case doTwo:
		if w.boat(s.Other.Boat) == b {
			return w.sync(ctx, s, nil)
		}
		return w.sync(ctx, s, s.Other)
	case doDie:
		w.tally.Crashes++
		left := b.folder("left")
		if err := copyFolder(left, b.dir); err != nil {
			return err
		}
		return b.swap(ctx, left)
	case doReopen:
		return b.reopen(ctx)
	case doSnapshot:
		w.repeats(b.has)
		k, err := b.keep()
		k.rollbacks = w.rollbacks
		b.snapshots = append(b.snapshots, k)
		return err
	case doRestore:
		return w.restore(ctx, b, s.N)
	case doClone:
		return w.clone(ctx, b)
	case doJump:
		b.clock.Jump(jumps[s.N%len(jumps)])
		return nil
	case doWatch:
		b.watches[w.pond(s.Pond)] = true
		return b.c.Watch(ctx, w.pond(s.Pond))
	case doFull:
		return w.full(ctx, b, w.pond(s.Pond))
	case doTrickle:
		return w.trickle(ctx, b)
	case doFollow:
		return w.followOn(s.N)
	case doRevoke:
		return w.revoke(b)
	case doRejoin:
		return w.join(ctx, b)
	case doSeason:
		return w.season(ctx)
	case doRestart:
		return w.restart(ctx, s.N%2 == 0)
	case doBackup:
		return w.backup()
	case doRollback:
		return w.rollback(ctx, s.N)
	case doNewer:
		return w.newer(ctx, w.pond(s.Pond), s.N)
	case doWait:
		w.pass(10 * time.Minute)
		return nil
	}
	return fmt.Errorf("unknown step %q", s.Do)
}

// pass lets time pass everywhere.
func (w *world) pass(d time.Duration) {
	w.shore.now.Advance(d)
	if w.clerk != nil {
		w.clerk.clock.Advance(d)
	}
	for _, b := range w.boats {
		b.clock.Advance(d)
	}
}

// full lets the boat's disk be full for a while: what it records is refused and leaves
// no trace, what it has can still be sent.
func (w *world) full(ctx context.Context, b *boat, pond block.ID) error {
	b.full.Store(true)
	defer b.full.Store(false)
	batch := []block.Sounding{w.sounding(w.draw())}
	if err := b.c.RecordSoundings(ctx, pond, block.ID{1}, "crew", batch); !errors.Is(err, client.ErrDiskFull) {
		return broken("Inv10 a device keeps what it accepted", "boat %d recorded on a full disk: %v", b.id, err)
	}
	return w.run(ctx, []*Step{{Boat: b.id}})
}

// sounding makes a sounding that nobody made before. Its stamp may be anything.
func (w *world) sounding(draw *rand.Rand) block.Sounding {
	w.next++
	ms := epoch.UnixMilli() + int64(w.next)*1000
	switch draw.IntN(30) {
	case 0:
		ms = 0
	case 1:
		ms = draw.Int64()
	}
	return block.Sounding{TimeMs: ms, LatE7: 450000000 + int32(draw.IntN(20000)), LonE7: -930000000 + int32(draw.IntN(20000)),
		ReadingMM: w.next, Reference: block.BelowTransducer, Quality: uint8(draw.IntN(6))}
}

// draw returns numbers that depend on the seed and on what was written before.
func (w *world) draw() *rand.Rand {
	return rand.New(rand.NewPCG(w.script.Seed, uint64(w.next)+1)) //nolint:gosec // a rehearsal has to repeat itself
}

func (w *world) append(ctx context.Context, b *boat, pond block.ID, n int) error {
	draw := w.draw()
	batch := make([]block.Sounding, 1+(n+1299)%1300)
	for i := range batch {
		batch[i] = w.sounding(draw)
	}
	pass := block.ID{1, byte(draw.IntN(3))}
	if err := b.c.RecordSoundings(ctx, pond, pass, "crew", batch); err != nil {
		return err
	}
	for i := range batch {
		w.accepted(b, batch[i].ReadingMM, &write{pond: pond, sounding: &batch[i]})
	}
	return nil
}

func (w *world) accepted(b *boat, n int32, wr *write) {
	w.writes[n] = wr
	b.has[n] = true
	wr.outcast = w.isOut(b)
	b.watches[wr.pond] = true
}

// restore puts an earlier folder back. With the marker it looks like the same
// installation; without, the store has to notice.
func (w *world) restore(ctx context.Context, b *boat, n int) error {
	if len(b.snapshots) == 0 {
		return nil
	}
	k := b.snapshots[n%len(b.snapshots)]
	dir := b.folder("restored")
	except := []string{}
	if n%3 == 0 {
		except = append(except, markerFile)
	}
	if err := copyFolder(dir, k.dir); err != nil {
		return err
	}
	for _, name := range except {
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			return err
		}
	}
	w.repeats(b.has)
	w.repeats(k.has)
	b.has, b.watches, b.stale = clone(k.has), clone(k.watches), k.stale || k.rollbacks < w.rollbacks
	b.hlc, b.seen = 0, 0 // the clock may start from an earlier bound
	if err := b.swap(ctx, dir); err != nil {
		return err
	}
	return w.takeStock(ctx)
}

// repeats notes that two stores hold the same writes, and may both bring those
// that the server does not hold yet.
func (w *world) repeats(has map[int32]bool) {
	for n := range has {
		w.writes[n].copied = true
		w.writes[n].mayRepeat = w.writes[n].mayRepeat || len(w.view.where[n]) == 0
	}
}

// clone copies the boat's folder, marker and all, onto a further device.
func (w *world) clone(ctx context.Context, b *boat) error {
	if len(w.boats) >= maxBoats {
		return nil
	}
	twin := &boat{id: len(w.boats), stale: b.stale, root: w.root, seed: w.script.Seed, secure: w.script.Secure, clock: newClock(), has: clone(b.has), watches: clone(b.watches)}
	twin.dir = twin.folder("clone")
	twin.clock.latest = b.clock.Latest() // its store goes on from where the other's clock was
	w.repeats(b.has)
	if err := copyFolder(twin.dir, b.dir); err != nil {
		return err
	}
	if err := twin.open(ctx); err != nil {
		return err
	}
	w.boats = append(w.boats, twin)
	return nil
}

// restart ends the server and starts it again, with or without its state.
func (w *world) restart(ctx context.Context, dropState bool) error {
	if err := w.shore.end(); err != nil {
		return err
	}
	if dropState {
		if err := os.RemoveAll(filepath.Join(w.shore.dir, stateFolder)); err != nil {
			return err
		}
	}
	if err := w.shore.start(); err != nil {
		return err
	}
	return w.reread(ctx)
}

func (w *world) backup() error {
	k := backup{dir: filepath.Join(w.root, fmt.Sprintf("backup-%d", len(w.backups))), acked: maps.Clone(w.acked), joined: maps.Clone(w.joined), revoked: maps.Clone(w.revoked)}
	w.backups = append(w.backups, k)
	return copyFolder(k.dir, w.shore.dir)
}

// newer lets a device of a later version push: a block with a header field that
// nobody here knows, and one in a codec that nobody here can unpack.
func (w *world) newer(ctx context.Context, pond block.ID, n int) error {
	w.guests++
	w.next++
	log := block.ID{0xee, byte(w.guests)}
	rec := &pb.Record{RecordId: pond[:], Author: "later", Kind: &pb.Record_Pond{Pond: &pb.Pond{Name: "Pond", Place: fmt.Sprint(w.next)}},
		Hlc: uint64(w.shore.now.Now().UnixMilli()) << 16}
	unknown := protowire.AppendTag(nil, unknownField, protowire.BytesType)
	rec.ProtoReflect().SetUnknown(protowire.AppendString(unknown, fmt.Sprint("later ", w.next)))
	bytes, err := marshal(rec)
	if err != nil {
		return err
	}
	h := block.Header{Log: log, Pond: pond, FirstSeq: 1, HLCLast: rec.GetHlc(), SchemaRev: 99, CreatedHLC: rec.GetHlc(),
		Unknown: []block.Field{{Tag: 200, Value: []byte("later")}}}
	frame, hash, err := block.Seal(h, block.Payload{Records: [][]byte{bytes}}, block.Codec(n%2))
	if err != nil {
		return err
	}
	w.writes[w.next] = &write{pond: pond, record: rec, unknown: rec.ProtoReflect().GetUnknown()}
	conn, err := w.plain()
	if err != nil {
		return err
	}
	stream, err := pb.NewSyncServiceClient(conn).Push(ctx)
	if err != nil {
		return err
	}
	for _, m := range []*pb.PushRequest{
		{Message: &pb.PushRequest_Hello{Hello: &pb.Hello{DeviceId: make([]byte, 16), ClientRev: 1,
			Logs: []*pb.LogHead{{LogId: log[:], LastSeq: 1, HeadHash: hash[:]}}}}},
		{Message: &pb.PushRequest_Block{Block: &pb.Block{Frame: frame}}},
	} {
		if err := stream.Send(m); err != nil {
			return err
		}
	}
	if err := stream.CloseSend(); err != nil {
		return err
	}
	for {
		m, err := stream.Recv()
		if err != nil {
			break
		}
		if ack := m.GetAck(); ack != nil {
			w.promised(log, ack.GetDurableThrough())
		}
	}
	if w.acked[log] != 1 {
		return broken("Inv27 what a later version adds is taken", "its block was not acknowledged")
	}
	return nil
}

// plain returns a connection to the server without any fault, one for each of its
// lives.
func (w *world) plain() (*grpc.ClientConn, error) {
	if w.line != nil && w.lineTo == w.shore.lives {
		return w.line, nil
	}
	if err := w.hangUp(); err != nil {
		return nil, err
	}
	conn, err := w.dialShore()
	if err == nil {
		w.line, w.lineTo = conn, w.shore.lives
	}
	return conn, err
}

// dialShore connects whoever reads all to the server.
func (w *world) dialShore() (*grpc.ClientConn, error) {
	if w.clerk != nil {
		return w.clerk.dial(dialer(w.shore))
	}
	return client.Dial(target, grpc.WithContextDialer(dialer(w.shore)))
}

// hangUp ends that connection.
func (w *world) hangUp() error {
	if w.line == nil {
		return nil
	}
	defer func() { w.line = nil }()
	return w.line.Close()
}
