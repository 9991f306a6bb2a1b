package journal

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"sync"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	"pondwright/proto/planted"
)

// Points of the write path at which Options.Faults is called.
const (
	FaultBeforeWrite = "before-write"
	FaultAfterWrite  = "after-write-before-sync"
	FaultAfterSync   = "after-sync-before-ack"
)

// Options says where a Badger journal lies and what it draws on.
type Options struct {
	Dir  string           // a folder of its own; made if missing
	Now  func() time.Time // wall clock
	Rand io.Reader        // cryptographic randomness, for the incarnation

	// Restored says that the folder was put back from a backup: a new incarnation
	// is drawn, and no cursor from before is taken. Without it those cursors are
	// still refused that saw what is now gone.
	Restored bool

	// Free returns how many bytes the disk has left; nil asks the system.
	Free func() (uint64, error)

	// AsideBytes is how much is kept aside for each tenant; 0 for 256 MiB.
	AsideBytes int64

	// Faults is for tests: called at each named point; nil for none. An error at
	// a point before the sync is one of the disk's.
	Faults func(point string) error
}

// Badger is a Journal in one Badger database on this machine.
type Badger struct {
	opt         Options
	db          *badger.DB
	sync        func() error // db.Sync, but for tests
	incarnation block.ID
	queue       chan *submission
	quit        chan struct{} // closed by Close, after which nothing is queued
	done        chan struct{} // closed when the writer has ended

	use    sync.RWMutex // held for reading by whoever reads or queues
	closed bool
	last   Watermark // the newest synced position
}

type submission struct {
	tenant  string
	b       *block.Block
	raw     []byte // instead of b: bytes to keep aside
	receipt chan Receipt
}

// A group is what one sync covers.
const (
	groupBlocks = 64
	groupBytes  = 512 << 10
)

// reserveBytes is what the disk must have left before anything is written: a write
// that runs out of room half way leaves a database that must be opened anew, which
// takes room as well.
const reserveBytes = 128 << 20

// journalFormat is the version of the keys and values.
const journalFormat = 2

var _ Journal = (*Badger)(nil)

// Open opens or makes the journal in opt.Dir. One process at a time may hold it.
func Open(opt Options) (*Badger, error) {
	if opt.Free == nil {
		opt.Free = func() (uint64, error) { return freeBytes(opt.Dir) }
	}
	if opt.AsideBytes <= 0 {
		opt.AsideBytes = asideBytes
	}
	if opt.Faults == nil {
		opt.Faults = func(string) error { return nil }
	}
	if err := DropUnborn(opt.Dir); err != nil {
		return nil, fmt.Errorf("journal: %w", err)
	}
	db, err := badger.Open(profile(opt.Dir))
	if err != nil {
		return nil, fmt.Errorf("journal: open %s: %w", opt.Dir, err)
	}
	j := &Badger{opt: opt, db: db, sync: db.Sync, queue: make(chan *submission, groupBlocks),
		quit: make(chan struct{}), done: make(chan struct{})}
	if err := j.load(); err != nil {
		return nil, errors.Join(fmt.Errorf("journal: load %s: %w", opt.Dir, err), db.Close())
	}
	go j.write()
	return j, nil
}

// profile leaves Badger's own syncing off because the one writer calls Sync after
// each commit and before the next, which is the same work in two visible steps: a
// transaction lies whole in the memtable that Sync covers. That is as small as a group
// allows, since its memory is cleared on each start. Frames are compressed
// already and stay below the value log's threshold.
func profile(dir string) badger.Options {
	return badger.DefaultOptions(dir).
		WithSyncWrites(false).
		WithDetectConflicts(false). // one writer
		WithMemTableSize(8 << 20).
		WithNumMemtables(3).
		WithValueLogFileSize(64 << 20).
		WithValueThreshold(1 << 20).
		WithBlockCacheSize(0).
		WithCompression(options.None).
		WithMetricsEnabled(false).
		WithLogger(nil)
}

func (j *Badger) load() error {
	format, err := j.get([]byte("mformat"))
	if err != nil {
		return err
	}
	if len(format) == 1 && format[0] != journalFormat {
		return fmt.Errorf("format %d was written by another version, this one knows %d", format[0], journalFormat)
	}
	incarnation, err := j.get([]byte("mincarnation"))
	if err != nil {
		return err
	}
	if len(incarnation) == 16 && (!j.opt.Restored || planted.Is("same-server-after-restore")) {
		j.incarnation = block.ID(incarnation)
	} else if err := j.create(); err != nil {
		return err
	}
	return j.db.View(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte{keyEntry}, Reverse: true})
		defer it.Close()
		it.Seek([]byte{keyEntry, 0xff})
		if it.Valid() {
			j.last.Raise(binary.BigEndian.Uint64(it.Item().Key()[1:]))
		}
		return nil
	})
}

func (j *Badger) create() error {
	if _, err := io.ReadFull(j.opt.Rand, j.incarnation[:]); err != nil {
		return err
	}
	err := j.db.Update(func(txn *badger.Txn) error {
		return errors.Join(txn.Set([]byte("mincarnation"), j.incarnation[:]), txn.Set([]byte("mformat"), []byte{journalFormat}))
	})
	return errors.Join(err, j.db.Sync())
}

// Incarnation names this journal.
func (j *Badger) Incarnation() block.ID { return j.incarnation }

// Submit queues a block.
func (j *Badger) Submit(ctx context.Context, tenant string, b *block.Block) (<-chan Receipt, error) {
	s := &submission{tenant: tenant, b: b, receipt: make(chan Receipt, 1)}
	return s.receipt, j.enqueue(ctx, s)
}

// KeepAside stores bytes that are no block.
func (j *Badger) KeepAside(ctx context.Context, tenant string, frame []byte) error {
	s := &submission{tenant: tenant, raw: frame, receipt: make(chan Receipt, 1)}
	if err := j.enqueue(ctx, s); err != nil {
		return err
	}
	return (<-s.receipt).Err
}

func (j *Badger) enqueue(ctx context.Context, s *submission) error {
	j.use.RLock()
	defer j.use.RUnlock()
	if j.closed {
		return ErrClosed
	}
	select {
	case j.queue <- s:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// write is the one writer. It ends when Close is called, after writing all that is
// queued.
func (j *Badger) write() {
	defer close(j.done)
	w := &writer{j: j, heads: map[string]exchange.Head{}, aside: map[string]int64{}}
	for {
		select {
		case s := <-j.queue:
			w.writeGroup(j.gather(s))
		case <-j.quit:
			for {
				select {
				case s := <-j.queue:
					w.writeGroup(j.gather(s))
				default:
					return
				}
			}
		}
	}
}

// gather takes what is queued already, up to one group: under load a sync covers
// many blocks, and an idle journal keeps nobody waiting.
func (j *Badger) gather(first *submission) []*submission {
	group, size := []*submission{first}, first.size()
	for len(group) < groupBlocks && size < groupBytes {
		select {
		case s := <-j.queue:
			group = append(group, s)
			size += s.size()
		default:
			return group
		}
	}
	return group
}

func (s *submission) size() int {
	if s.b != nil {
		return len(s.b.Frame)
	}
	return len(s.raw)
}

// writer stages groups. Its cache of heads may run ahead of the disk only inside
// writeGroup.
type writer struct {
	j      *Badger
	heads  map[string]exchange.Head // by tenant and log
	aside  map[string]int64         // bytes kept aside, by tenant
	chain  exchange.Chain           // of the last entry staged
	broken error
}

const headsCached = 1 << 16

// writeGroup judges, writes, syncs and only then answers.
func (w *writer) writeGroup(group []*submission) {
	receipts := make([]Receipt, len(group))
	if free, err := w.j.opt.Free(); err == nil && free < reserveBytes {
		for _, s := range group {
			s.receipt <- Receipt{Err: ErrDiskFull}
		}
		return
	}
	last, err := w.stage(group, receipts)
	if err == nil {
		w.j.last.Raise(last)
		_ = w.j.opt.Faults(FaultAfterSync) // too late to fail
	} else {
		w.broken = fmt.Errorf("%w: %w", ErrBroken, err)
	}
	for i, s := range group {
		if err != nil {
			receipts[i] = Receipt{Err: w.broken}
		}
		s.receipt <- receipts[i]
	}
}

func (w *writer) stage(group []*submission, receipts []Receipt) (last uint64, err error) {
	if w.broken != nil {
		return 0, w.broken
	}
	if len(w.heads) > headsCached {
		clear(w.heads)
	}
	last = w.j.Last()
	if w.chain, _, err = w.j.Chain(last); err != nil {
		return 0, err
	}
	txn := w.j.db.NewTransaction(true)
	defer txn.Discard()
	wrote := false
	nowMs := w.j.opt.Now().UnixMilli()
	for i, s := range group {
		if s.b == nil {
			receipts[i].Kept, err = w.keep(txn, s.tenant, block.ID{}, 0, sha256.Sum256(s.raw), nowMs, s.raw)
			if !receipts[i].Kept {
				receipts[i].Err = ErrAsideFull
			}
			wrote = true
		} else {
			receipts[i], err = w.take(txn, s, &last, nowMs)
			wrote = wrote || receipts[i].Verdict == exchange.Append || receipts[i].Verdict == exchange.Forked
		}
		if err != nil {
			return 0, err
		}
	}
	if !wrote {
		return last, nil
	}
	if err := w.j.opt.Faults(FaultBeforeWrite); err != nil {
		return 0, err
	}
	if err := txn.Commit(); err != nil {
		return 0, err
	}
	if err := w.j.opt.Faults(FaultAfterWrite); err != nil {
		return 0, err
	}
	return last, w.j.sync()
}

// take stages one block after all that the transaction holds already.
func (w *writer) take(txn *badger.Txn, s *submission, last *uint64, nowMs int64) (r Receipt, err error) {
	b := s.b
	key := string(logKey(keyIndex, s.tenant, b.Log))
	head, ok := w.heads[key]
	if !ok {
		if head, err = headOf(txn, s.tenant, b.Log, *last); err != nil {
			return r, err
		}
	}
	var lookup error
	r.Verdict = exchange.Judge(head, b, func(first uint64) (block.Hash, bool) {
		span, found, err := indexAt(txn, s.tenant, b.Log, first)
		lookup = err
		return span.hash, found
	})
	if lookup != nil {
		return r, lookup
	}
	switch r.Verdict {
	case exchange.Append:
		*last++
		w.chain = w.chain.Next(s.tenant, b.Hash)
		e := Entry{Chain: w.chain, Tenant: s.tenant, ReceivedMs: nowMs, Pond: b.Pond, Log: b.Log, Frame: b.Frame}
		if err := txn.Set(entryKey(*last), e.encode()); err != nil {
			return r, err
		}
		if err := txn.Set(pondKey(s.tenant, b.Pond, *last), nil); err != nil {
			return r, err
		}
		if err := txn.Set(seqKey(keyIndex, s.tenant, b.Log, b.FirstSeq), span{*last, b.LastSeq(), b.Hash}.encode()); err != nil {
			return r, err
		}
		head = exchange.After(b)
	case exchange.Forked:
		if r.Kept, err = w.keep(txn, s.tenant, b.Log, b.FirstSeq, b.Hash, nowMs, b.Frame); err != nil {
			return r, err
		}
	case exchange.Duplicate, exchange.Gap: // nothing to write
	}
	w.heads[key] = head
	return r, nil
}

// Last returns the position of the newest synced entry.
func (j *Badger) Last() uint64 { return j.last.Pos() }

// Wait returns once there is an entry after a position.
func (j *Badger) Wait(ctx context.Context, after uint64) error {
	return j.last.Wait(ctx, after+1, j.quit)
}

// Close writes what is queued and closes the database. Closing twice is fine.
func (j *Badger) Close() error {
	j.use.Lock()
	defer j.use.Unlock()
	if j.closed {
		return nil
	}
	j.closed = true
	close(j.quit)
	<-j.done
	return j.db.Close()
}

// Head returns how far a log is held, synced.
func (j *Badger) Head(tenant string, log block.ID) (exchange.Head, error) {
	return j.HeadAt(tenant, log, j.Last())
}

// HeadAt returns how far a log was held when the journal ended at a position.
func (j *Badger) HeadAt(tenant string, log block.ID, pos uint64) (exchange.Head, error) {
	var head exchange.Head
	pos = min(pos, j.Last())
	err := j.view(func(txn *badger.Txn) (err error) {
		head, err = headOf(txn, tenant, log, pos)
		return err
	})
	return head, err
}

// HashAt returns the hash of the block of log that ends at last.
func (j *Badger) HashAt(tenant string, log block.ID, last uint64) (hash block.Hash, found bool, err error) {
	synced := j.Last()
	err = j.view(func(txn *badger.Txn) error {
		s, ok, err := spanBefore(txn, tenant, log, last, synced)
		hash, found = s.hash, ok && s.last == last
		return err
	})
	return hash, found, err
}

// Writer returns the installation that began a log.
func (j *Badger) Writer(tenant string, log block.ID) (device block.ID, found bool, err error) {
	synced := j.Last()
	err = j.view(func(txn *badger.Txn) error {
		s, ok, err := indexAt(txn, tenant, log, 1)
		if err != nil || !ok || s.pos > synced {
			return err
		}
		e, _, err := entryAt(txn, s.pos)
		if err != nil {
			return err
		}
		h, err := block.ParseHeader(e.Frame)
		device, found = h.Device, err == nil
		return err
	})
	return device, found, err
}

// What a reader holds in memory between two looks at the disk: many of them may be
// waiting for slow links.
const (
	readChunk = 64
	readBytes = 64 << 10
)

// Read yields the synced entries after a position.
func (j *Badger) Read(ctx context.Context, after uint64) iter.Seq2[Entry, error] {
	return func(yield func(Entry, error) bool) {
		for {
			chunk, err := j.readSome(ctx, after)
			if err != nil {
				yield(Entry{}, err)
				return
			}
			if len(chunk) == 0 {
				return
			}
			for _, e := range chunk {
				if !yield(e, nil) {
					return
				}
				after = e.Pos
			}
		}
	}
}

func (j *Badger) readSome(ctx context.Context, after uint64) ([]Entry, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	last := j.Last()
	var out []Entry
	size := 0
	err := j.view(func(txn *badger.Txn) error {
		for pos := after + 1; pos <= last && len(out) < readChunk && size < readBytes; pos++ {
			e, n, err := entryAt(txn, pos)
			if err != nil {
				return err
			}
			size += n
			out = append(out, e)
		}
		return nil
	})
	return out, err
}

// entryAt returns the entry at a position and the size of its value.
func entryAt(txn *badger.Txn, pos uint64) (Entry, int, error) {
	item, err := txn.Get(entryKey(pos))
	if err != nil {
		return Entry{}, 0, fmt.Errorf("%w: position %d: %w", ErrCorrupt, pos, err)
	}
	value, err := item.ValueCopy(nil)
	if err != nil {
		return Entry{}, 0, err
	}
	e, err := decodeEntry(pos, value)
	return e, len(value), err
}

// Chain returns the fingerprint of everything up to a position.
func (j *Badger) Chain(pos uint64) (chain exchange.Chain, found bool, err error) {
	if pos == 0 {
		return exchange.Chain(j.incarnation), true, nil
	}
	if pos > j.Last() {
		return chain, false, nil
	}
	err = j.view(func(txn *badger.Txn) error {
		e, _, err := entryAt(txn, pos)
		chain = e.Chain
		return err
	})
	return chain, err == nil, err
}

// ReadPonds yields entries of some ponds by the index of their positions.
func (j *Badger) ReadPonds(ctx context.Context, tenant string, ponds []block.ID, after, through uint64) iter.Seq2[Entry, error] {
	return func(yield func(Entry, error) bool) {
		for {
			chunk, err := j.readPonds(ctx, tenant, ponds, after, min(through, j.Last()))
			if err != nil {
				yield(Entry{}, err)
				return
			}
			if len(chunk) == 0 {
				return
			}
			for _, e := range chunk {
				if !yield(e, nil) {
					return
				}
				after = e.Pos
			}
		}
	}
}

func (j *Badger) readPonds(ctx context.Context, tenant string, ponds []block.ID, after, through uint64) ([]Entry, error) {
	if err := ctx.Err(); err != nil || after >= through {
		return nil, err
	}
	var out []Entry
	err := j.view(func(txn *badger.Txn) error {
		var at []uint64
		for _, p := range ponds {
			at = append(at, positions(txn, tenant, p, after, through)...)
		}
		slices.Sort(at)
		at = slices.Compact(at)
		size := 0
		for _, pos := range at[:min(len(at), readChunk)] {
			e, n, err := entryAt(txn, pos)
			if err != nil {
				return err
			}
			out = append(out, e)
			if size += n; size >= readBytes {
				return nil
			}
		}
		return nil
	})
	return out, err
}

// positions returns where the next entries of a pond lie, as many as a chunk takes.
func positions(txn *badger.Txn, tenant string, pond block.ID, after, through uint64) []uint64 {
	it := txn.NewIterator(badger.IteratorOptions{Prefix: logKey(keyPond, tenant, pond)})
	defer it.Close()
	var out []uint64
	for it.Seek(pondKey(tenant, pond, after+1)); it.Valid() && len(out) < readChunk; it.Next() {
		key := it.Item().Key()
		pos := binary.BigEndian.Uint64(key[len(key)-8:])
		if pos > through {
			break
		}
		out = append(out, pos)
	}
	return out
}

// Aside yields what was kept aside for a tenant.
func (j *Badger) Aside(ctx context.Context, tenant string) iter.Seq2[Aside, error] {
	return func(yield func(Aside, error) bool) {
		var all []Aside
		err := j.view(func(txn *badger.Txn) error {
			prefix := tenantKey(keyAside, tenant)
			it := txn.NewIterator(badger.IteratorOptions{Prefix: prefix, PrefetchValues: true, PrefetchSize: 16})
			defer it.Close()
			for it.Rewind(); it.Valid(); it.Next() {
				if err := ctx.Err(); err != nil {
					return err
				}
				value, err := it.Item().ValueCopy(nil)
				if err != nil {
					return err
				}
				a, err := decodeAside(it.Item().Key()[len(prefix):], value)
				if err != nil {
					return err
				}
				all = append(all, a)
			}
			return nil
		})
		for _, a := range all {
			if !yield(a, nil) {
				return
			}
		}
		if err != nil {
			yield(Aside{}, err)
		}
	}
}

// view reads, or returns ErrClosed.
func (j *Badger) view(f func(*badger.Txn) error) error {
	j.use.RLock()
	defer j.use.RUnlock()
	if j.closed {
		return ErrClosed
	}
	return j.db.View(f)
}

func (j *Badger) get(key []byte) (value []byte, err error) {
	err = j.db.View(func(txn *badger.Txn) error {
		item, err := txn.Get(key)
		if errors.Is(err, badger.ErrKeyNotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		value, err = item.ValueCopy(nil)
		return err
	})
	return value, err
}
