package rehearsal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"net"
	"os"
	"path/filepath"
	"strconv"

	"google.golang.org/protobuf/proto"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server"
	"pondwright/server/state"
)

func dialer(s *shore) func(context.Context, string) (net.Conn, error) {
	return func(ctx context.Context, _ string) (net.Conn, error) { return s.dial(ctx) }
}

func marshal(m proto.Message) ([]byte, error) {
	return proto.MarshalOptions{Deterministic: true}.Marshal(m)
}

// place is where an entry lies.
type place struct {
	log block.ID
	seq uint64
}

// view is what a reader of all ponds has pulled from the server.
type view struct {
	cursor []byte
	logs   map[block.ID]*logView
	blocks []block.Hash // in the order served
	ponds  []block.ID   // of those
	where  map[int32][]place
	what   map[place]int32
	moved  map[place]bool // entries that name another place they come from
	recs   []served

	soundings, records int
	entries            int
}

type logView struct {
	pond block.ID
	last uint64
	head block.Hash
	hlc  uint64
}

func newView() *view {
	return &view{logs: map[block.ID]*logView{}, where: map[int32][]place{}, what: map[place]int32{}, moved: map[place]bool{}}
}

// pull brings the view up to date over a connection without faults.
func (v *view) pull(ctx context.Context, w *world) error {
	conn, err := w.plain()
	if err != nil {
		return err
	}
	req := &pb.PullRequest{Cursor: v.cursor}
	for _, p := range w.ponds {
		req.PondIds = append(req.PondIds, p[:])
	}
	stream, err := pb.NewSyncServiceClient(conn).Pull(ctx, req)
	if err != nil {
		return err
	}
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return broken("Inv23 a reader goes on from its cursor", "%v", err)
		}
		v.cursor = m.GetCursor()
		if frame := m.GetBlock().GetFrame(); frame != nil {
			if err := v.add(w, frame); err != nil {
				return err
			}
		}
	}
}

// add takes one served block.
func (v *view) add(w *world, frame []byte) error {
	b, err := block.Parse(frame)
	if err != nil {
		return broken("Inv12 a damaged block is never served", "%v", err)
	}
	l := v.logs[b.Log]
	if l == nil {
		l = &logView{pond: b.Pond}
		v.logs[b.Log] = l
	}
	switch {
	case b.FirstSeq <= l.last:
		return broken("Inv02 no entry is stored twice", "log %v: block at %d again, after %d", b.Log, b.FirstSeq, l.last)
	case b.FirstSeq != l.last+1:
		return broken("Inv03 a log has no hole", "log %v: %d follows %d", b.Log, b.FirstSeq, l.last)
	case b.Prev != l.head:
		return broken("Inv11 each block names the one before", "log %v at %d", b.Log, b.FirstSeq)
	case b.HLCLast <= l.hlc:
		return broken("Inv13 a device's clock strictly increases", "log %v at %d: %x after %x", b.Log, b.FirstSeq, b.HLCLast, l.hlc)
	}
	l.last, l.head, l.hlc = b.LastSeq(), b.Hash, b.HLCLast
	v.blocks, v.ponds = append(v.blocks, b.Hash), append(v.ponds, b.Pond)
	p, err := b.Payload()
	if err != nil {
		return broken("Inv12 a damaged block is never served", "%v", err)
	}
	for i, s := range p.Soundings {
		if err := v.entry(w, b, i, s.ReadingMM); err != nil {
			return err
		}
		if wr := w.writes[s.ReadingMM]; wr == nil || wr.sounding == nil || *wr.sounding != s {
			return broken("Inv12 what is stored is what was written", "sounding %d is %+v", s.ReadingMM, s)
		}
		v.soundings++
	}
	for i, raw := range p.Records {
		rec := &pb.Record{}
		if err := proto.Unmarshal(raw, rec); err != nil {
			return broken("Inv12 what is stored is what was written", "%v", err)
		}
		n, err := numberOf(rec)
		if err != nil {
			return err
		}
		if err := v.entry(w, b, i, n); err != nil {
			return err
		}
		if err := w.sameRecord(n, rec); err != nil {
			return err
		}
		v.recs = append(v.recs, served{place{b.Log, b.FirstSeq + uint64(i)}, b.Pond, rec})
		v.records++
	}
	return nil
}

// checkParents checks that every version still replaces those that it replaced when
// it was written, whatever log they have come to lie in.
func (w *world) checkParents() error {
	for _, r := range w.view.recs {
		n, err := numberOf(r.rec)
		if err != nil {
			return err
		}
		for _, p := range r.rec.GetParents() {
			at := placeOf(p)
			if was, ok := w.view.what[at]; ok && !w.writes[n].parents[was] {
				return broken("Inv19 a version replaces what it replaced", "write %d now replaces %d", n, was)
			}
		}
	}
	return nil
}

// sameRecord checks a record against what was written, unknown fields included.
func (w *world) sameRecord(n int32, rec *pb.Record) error {
	wr := w.writes[n]
	if wr == nil || wr.record == nil {
		return broken("Inv12 what is stored is what was written", "nobody wrote record %d", n)
	}
	if !bytes.Equal(rec.ProtoReflect().GetUnknown(), wr.unknown) {
		return broken("Inv27 unknown fields stay as they are", "record %d", n)
	}
	same := proto.CloneOf(rec)
	same.Parents = wr.record.GetParents() // they may move to another log; see checkParents
	if !proto.Equal(same, wr.record) {
		return broken("Inv12 what is stored is what was written", "record %d is %v, was %v", n, rec, wr.record)
	}
	return nil
}

func numberOf(rec *pb.Record) (int32, error) {
	n, err := strconv.ParseInt(rec.GetPond().GetPlace(), 10, 32)
	if err != nil {
		return 0, broken("Inv12 what is stored is what was written", "record %v", rec)
	}
	return int32(n), nil
}

// entry notes where a write lies. Only a write that a copy of its device held too
// may lie in two logs, and in no log twice; all but one then say where they come
// from.
func (v *view) entry(w *world, b *block.Block, i int, n int32) error {
	at := place{b.Log, b.FirstSeq + uint64(i)}
	for _, other := range v.where[n] {
		if wr := w.writes[n]; other.log == at.log || wr == nil || !wr.mayRepeat || b.OriginSeq == 0 && !v.moved[other] {
			return broken("Inv02 no entry is stored twice", "write %d at %d of log %v and at %d of log %v", n, at.seq, at.log, other.seq, other.log)
		}
	}
	if wr := w.writes[n]; wr != nil && wr.pond != b.Pond {
		return broken("Inv24 an entry stays in its pond", "write %d", n)
	}
	v.where[n] = append(v.where[n], at)
	v.what[at] = n
	if b.OriginSeq > 0 {
		v.moved[at] = true
	}
	v.entries++
	return nil
}

// check looks at everything that the step may have touched.
func (w *world) check(ctx context.Context, s *Step) error {
	if err := w.checkShore(ctx); err != nil {
		return err
	}
	if ashore[s.Do] {
		return nil
	}
	if err := w.checkBoat(ctx, w.boat(s.Boat)); err != nil {
		return err
	}
	if s.Other != nil {
		return w.checkBoat(ctx, w.boat(s.Other.Boat))
	}
	return nil
}

// checkShore brings the reader up to date and compares promises with what it saw.
func (w *world) checkShore(ctx context.Context) error {
	w.mu.Lock()
	acked := maps.Clone(w.acked) // before the reader looks: a push that was cut may still be heard of
	w.mu.Unlock()
	if err := w.view.pull(ctx, w); err != nil {
		return err
	}
	if err := errors.Join(w.checkWatchers(ctx), w.checkOutcasts()); err != nil {
		return err
	}
	for log, through := range acked {
		if l := w.view.logs[log]; through > 0 && (l == nil || l.last < through) {
			last := uint64(0)
			if l != nil {
				last = l.last
			}
			return broken("Inv01 what was acknowledged is there", "log %v: acknowledged through %d, held through %d", log, through, last)
		}
	}
	return w.checkFollowed(ctx)
}

// checkFollowed compares the state with what the reader saw. The end of a push whose
// link was cut may reach the journal meanwhile: then the reader looks again.
func (w *world) checkFollowed(ctx context.Context) error {
	for {
		now := looked{w.shore.lives, len(w.view.blocks)}
		if w.looked == now {
			return nil
		}
		w.mu.Lock()
		found := w.checkState(ctx, w.shore.srv.State())
		w.mu.Unlock()
		if found == nil {
			w.looked = now
			return nil
		}
		if err := w.view.pull(ctx, w); err != nil {
			return err
		}
		if len(w.view.blocks) == now.blocks {
			return found
		}
	}
}

// looked says when the state was last compared with the journal: in which life of the
// server, and after how many blocks.
type looked struct{ life, blocks int }

// checkState compares what readers ask with the journal it is derived from.
func (w *world) checkState(ctx context.Context, st *state.State) error {
	const promise = "Inv17 the state follows the journal"
	if err := st.WaitCurrent(ctx); err != nil {
		return broken(promise, "%v", err)
	}
	soundings, records := 0, 0
	for _, pond := range w.ponds {
		ss, err := st.Soundings(ctx, server.Tenant, pond, nil)
		if err != nil {
			return broken(promise, "%v", err)
		}
		for _, s := range ss {
			if n, ok := w.view.what[place{s.Log, s.Seq}]; !ok || n != s.ReadingMM || *w.writes[n].sounding != s.Sounding {
				return broken(promise, "sounding %d of log %v", s.Seq, s.Log)
			}
		}
		rs, err := st.Records(ctx, server.Tenant, pond)
		if err != nil {
			return broken(promise, "%v", err)
		}
		for _, r := range rs {
			n, err := numberOf(r.Message)
			if err != nil {
				return err
			}
			if w.view.what[place{r.Log, r.Seq}] != n {
				return broken(promise, "record %d of log %v", r.Seq, r.Log)
			}
			if err := w.sameRecord(n, r.Message); err != nil {
				return err
			}
		}
		soundings, records = soundings+len(ss), records+len(rs)
		sum, err := st.Pond(server.Tenant, pond)
		if err != nil && !errors.Is(err, state.ErrPondNotFound) {
			return broken(promise, "%v", err)
		}
		if sum.Soundings != uint64(len(ss)) || sum.Records != uint64(len(rs)) || sum.Unreadable != 0 {
			return broken(promise, "counts %+v for %d soundings and %d records", sum, len(ss), len(rs))
		}
	}
	if soundings != w.view.soundings || records != w.view.records {
		return broken(promise, "%d soundings and %d records, of %d and %d", soundings, records, w.view.soundings, w.view.records)
	}
	return nil
}

// reread pulls everything anew after the server came back, and compares with what
// was served before: nothing is gone, nothing has changed, the order is the same.
func (w *world) reread(ctx context.Context) error {
	old := w.view
	fresh := newView()
	if err := fresh.pull(ctx, w); err != nil {
		return err
	}
	if len(fresh.blocks) < len(old.blocks) {
		return broken("Inv01 what was served is there", "%d blocks, %d before", len(fresh.blocks), len(old.blocks))
	}
	for i, hash := range old.blocks {
		if fresh.blocks[i] != hash {
			return broken("Inv04 stored bytes never change", "block %d in the order served", i)
		}
	}
	w.view = fresh
	return nil
}

// rollback restores the server from a backup: what came since is gone from it, and
// readers start anew.
func (w *world) rollback(ctx context.Context, n int) error {
	if len(w.backups) == 0 {
		return nil
	}
	k := w.backups[n%len(w.backups)]
	old := w.shore.dir
	if err := errors.Join(w.shore.end(), os.RemoveAll(old)); err != nil {
		return err
	}
	w.shore.dir = filepath.Join(w.root, fmt.Sprintf("shore-%d", w.shore.lives+1))
	if err := copyFolder(w.shore.dir, k.dir); err != nil {
		return err
	}
	if err := w.shore.startFrom(true); err != nil {
		return err
	}
	w.acked, w.joined, w.revoked = maps.Clone(k.acked), maps.Clone(k.joined), maps.Clone(k.revoked)
	cursor := w.view.cursor
	w.view = newView()
	if len(cursor) > 0 {
		probe := &view{cursor: cursor}
		if err := probe.pull(ctx, w); err == nil {
			return broken("Inv26 a cursor of another server is refused", "it was accepted")
		}
	}
	if err := w.view.pull(ctx, w); err != nil {
		return err
	}
	for n, wr := range w.writes { // what is gone comes again from every copy
		wr.mayRepeat = wr.mayRepeat || wr.copied && len(w.view.where[n]) == 0
	}
	w.rollbacks++
	for _, b := range w.boats {
		b.stale = true
	}
	return w.takeStock(ctx)
}

// takeStock notes every write that the server or some boat holds: whatever they
// contradict, none of them may get lost from now on.
func (w *world) takeStock(ctx context.Context) error {
	w.survivors = map[int32]bool{}
	for n := range w.view.where {
		w.survivors[n] = true
	}
	for _, b := range w.boats {
		for _, pond := range w.ponds {
			if _, err := w.checkPond(ctx, b, pond, w.survivors); err != nil {
				return err
			}
		}
	}
	return nil
}

// checkSurvivors checks that every write that must not get lost is with the server,
// in a log or kept aside.
func (w *world) checkSurvivors(ctx context.Context) error {
	lost := clone(w.survivors)
	for n := range w.survivors {
		if len(w.view.where[n]) > 0 || w.parked[n] {
			delete(lost, n)
		}
	}
	if err := w.findAside(ctx, lost); err != nil {
		return err
	}
	for _, n := range sortedWrites(lost) {
		return broken("Inv06 both of two entries for one place can be read", "write %d is neither in a log of the server nor kept aside", n)
	}
	return nil
}

// numbersIn returns the writes in a frame, none if it cannot be read.
func numbersIn(frame []byte) []int32 {
	b, err := block.Parse(frame)
	if err != nil {
		return nil
	}
	p, err := b.Payload()
	if err != nil {
		return nil
	}
	var out []int32
	for _, s := range p.Soundings {
		out = append(out, s.ReadingMM)
	}
	for _, raw := range p.Records {
		rec := &pb.Record{}
		if proto.Unmarshal(raw, rec) == nil {
			if n, err := numberOf(rec); err == nil {
				out = append(out, n)
			}
		}
	}
	return out
}

// checkBoat compares what a boat can read with what it accepted and with the
// server.
func (w *world) checkBoat(ctx context.Context, b *boat) error {
	found := make(map[int32]bool, len(b.has))
	for _, pond := range w.ponds {
		foreign, err := w.checkPond(ctx, b, pond, found)
		if err != nil {
			return err
		}
		if foreign > 0 && !b.watches[pond] {
			return broken("Inv24 a device gets only what it asked for", "boat %d holds %d entries of a pond it does not watch", b.id, foreign)
		}
	}
	for _, n := range sortedWrites(b.has) {
		if !found[n] {
			return broken("Inv10 a device keeps what it accepted", "boat %d lost write %d", b.id, n)
		}
	}
	return nil
}

// checkPond checks what a boat holds of one pond and adds its writes to found.
func (w *world) checkPond(ctx context.Context, b *boat, pond block.ID, found map[int32]bool) (foreign int, err error) {
	soundings, err := b.c.Soundings(ctx, pond)
	if err != nil {
		return 0, broken("Inv12 what a device holds is sound", "boat %d: %v", b.id, err)
	}
	twice := map[place]bool{}
	see := func(at place, n int32, isForeign bool) error {
		if twice[at] {
			return broken("Inv02 no entry is held twice", "boat %d: %d of log %v", b.id, at.seq, at.log)
		}
		twice[at], found[n] = true, true
		if !isForeign {
			return nil
		}
		foreign++
		if held, ok := w.view.what[at]; ok && held != n && !b.stale {
			return broken("Inv06 what was pulled is what the server holds", "boat %d: %d of log %v", b.id, at.seq, at.log)
		}
		return nil
	}
	for _, s := range soundings {
		if wr := w.writes[s.ReadingMM]; wr == nil || wr.sounding == nil || *wr.sounding != s.Sounding {
			return 0, broken("Inv12 what a device holds is what was written", "boat %d: %+v", b.id, s)
		}
		if err := see(place{s.Log, s.Seq}, s.ReadingMM, s.Foreign); err != nil {
			return 0, err
		}
	}
	records, err := b.c.Records(ctx, pond)
	if err != nil {
		return 0, broken("Inv12 what a device holds is sound", "boat %d: %v", b.id, err)
	}
	for _, r := range records {
		n, err := numberOf(r.Message)
		if err != nil {
			return 0, err
		}
		if err := w.sameRecord(n, r.Message); err != nil {
			return 0, err
		}
		if err := see(place{r.Log, r.Seq}, n, r.Foreign); err != nil {
			return 0, err
		}
	}
	return foreign, nil
}

// healRounds is how often everybody syncs over a sound link until all must agree.
const healRounds = 6

// heal lets everybody meet over a sound link, then checks what must be true once
// they have.
func (w *world) heal(ctx context.Context) error {
	if err := w.readmit(ctx); err != nil {
		return err
	}
	w.wake()
	var last []error
	for round := range healRounds {
		last = nil
		moved := false
		for _, b := range w.boats {
			l, err := b.reach(w, "", 0)
			if err != nil {
				return err
			}
			r, err := b.c.Sync(ctx, l)
			b.stale = b.stale && err != nil
			if err != nil {
				last = append(last, fmt.Errorf("boat %d: %w", b.id, err))
			}
			moved = moved || r != client.Result{}
			if err := l.Close(); err != nil {
				return err
			}
			if round > 0 && err == nil && r == (client.Result{}) {
				continue // nothing has changed since the last look
			}
			if err := w.checkShore(ctx); err != nil {
				return err
			}
			if err := w.checkBoat(ctx, b); err != nil {
				return err
			}
		}
		if round > 0 && !moved && last == nil {
			break
		}
	}
	if last != nil {
		return broken("Inv33 an unsynced log comes to its end", "after %d rounds over a sound link: %v", healRounds, errors.Join(last...))
	}
	return w.checkMet(ctx)
}

// checkMet checks what must be true when everybody has met: every write that any
// device holds is on the server, and all hold the same.
func (w *world) checkMet(ctx context.Context) error {
	if err := w.reread(ctx); err != nil {
		return err
	}
	if err := errors.Join(w.checkParents(), w.checkSurvivors(ctx), w.checkThings(ctx)); err != nil {
		return err
	}
	for _, b := range w.boats {
		for _, n := range sortedWrites(b.has) {
			if len(w.view.where[n]) == 0 && !w.parked[n] {
				return broken("Inv08 every write reaches the server", "write %d of boat %d, neither after clones and restores nor otherwise", n, b.id)
			}
		}
	}
	for _, b := range w.boats {
		found := map[int32]bool{}
		for _, pond := range w.ponds {
			if _, err := w.checkPond(ctx, b, pond, found); err != nil {
				return err
			}
		}
		for n := range w.view.where {
			if b.watches[w.writes[n].pond] && !found[n] {
				return broken("Inv17 all hold the same", "boat %d lacks write %d", b.id, n)
			}
		}
		st, err := b.c.Status(ctx)
		if err != nil {
			return err
		}
		if st.Waiting != 0 {
			return broken("Inv33 an unsynced log comes to its end", "boat %d still has %d waiting", b.id, st.Waiting)
		}
	}
	if err := w.checkDigests(ctx); err != nil {
		return err
	}
	return w.restart(ctx, true)
}
