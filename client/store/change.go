package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"iter"
	"maps"
	"slices"

	"github.com/dgraph-io/badger/v4"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	"pondwright/proto/planted"
)

// change is one transaction together with the state in memory that goes with it:
// the copies in logs and open replace the store's only once the commit is synced.
// The store's lock is held throughout.
type change struct {
	s    *Store
	txn  *badger.Txn
	logs map[block.ID]*logState
	open map[block.ID]block.ID // zero: no open log any more
}

func (s *Store) begin() *change {
	return &change{s: s, txn: s.db.NewTransaction(true),
		logs: map[block.ID]*logState{}, open: map[block.ID]block.ID{}}
}

// unset removes a key that there may be.
func (c *change) unset(key []byte) error {
	if _, err := c.txn.Get(key); errors.Is(err, badger.ErrKeyNotFound) {
		return nil
	}
	return c.txn.Delete(key)
}

func (c *change) discard() { c.txn.Discard() }

// log returns a copy of a log to work on, nil if there is none.
func (c *change) log(id block.ID) *logState {
	if l := c.logs[id]; l != nil {
		return l
	}
	old := c.s.logs[id]
	if old == nil {
		return nil
	}
	l := *old
	l.rows = old.rows.clone()
	if old.Move != nil {
		m := *old.Move
		m.Moved = slices.Clone(m.Moved)
		l.Move = &m
	}
	c.logs[id] = &l
	return &l
}

// openOf returns the growing log of a pond, zero if there is none.
func (c *change) openOf(pond block.ID) block.ID {
	if id, staged := c.open[pond]; staged {
		return id
	}
	return c.s.open[pond]
}

// openLog returns the growing log of a pond, making one if there is none.
func (c *change) openLog(pond block.ID) (*logState, error) {
	if id := c.openOf(pond); !id.IsZero() {
		return c.log(id), nil
	}
	l, err := c.newLog(pond, Growing)
	if err != nil {
		return nil, err
	}
	c.open[pond] = l.ID
	return l, c.txn.Set(idKey(keyOpen, pond), l.ID[:])
}

// newLog makes a log.
func (c *change) newLog(pond block.ID, state State) (*logState, error) {
	id, err := c.s.newID()
	if err != nil {
		return nil, fmt.Errorf("draw a log id: %w", err)
	}
	l := &logState{Log: Log{ID: id, Pond: pond, State: state, CreatedHLC: uint64(c.s.tick())}}
	c.logs[id] = l
	return l, nil
}

// closeLog ends a log: the next entry for its pond starts another.
func (c *change) closeLog(l *logState, state State) error {
	l.State = state
	c.open[l.Pond] = block.ID{}
	return c.txn.Delete(idKey(keyOpen, l.Pond))
}

// seal turns the unsealed entries of a log into a block. Origin fields of h are
// kept; the rest of it is filled in.
func (c *change) seal(l *logState) error { return c.sealAs(l, block.Header{}) }

func (c *change) sealAs(l *logState, h block.Header) error {
	r := &l.rows
	if r.count() == 0 {
		return nil
	}
	h.Log, h.Pond, h.FirstSeq, h.Prev = l.ID, l.Pond, l.Sealed+1, l.Head
	h.SchemaRev, h.HLCLast, h.Device = schemaRev, r.hlc, c.s.device
	h.Pass, h.Author = r.pass, r.author
	if h.FirstSeq == 1 {
		h.CreatedHLC = l.CreatedHLC
	}
	frame, hash, err := block.Seal(h, r.payload, block.Predicted)
	if err != nil {
		return fmt.Errorf("seal entries from %d: %w", h.FirstSeq, err)
	}
	for i := range r.written {
		if err := c.txn.Delete(seqKey(keyRow, l.ID, h.FirstSeq+uint64(i))); err != nil {
			return err
		}
	}
	if err := c.txn.Set(seqKey(keyBlock, l.ID, h.FirstSeq), frame); err != nil {
		return err
	}
	l.Sealed += uint64(r.count())
	l.Head = hash
	l.rows = rows{}
	return nil
}

// commit writes the logs, the clock's bound and every unsealed row, syncs, and
// makes the copies the store's own.
func (c *change) commit() error {
	for _, l := range c.sorted() {
		if err := c.putRows(l); err != nil {
			return err
		}
		if err := l.put(c.txn); err != nil {
			return err
		}
	}
	if bound, rose := c.s.clock.Bound(); rose {
		if err := c.txn.Set(metaKey(metaClock), binary.BigEndian.AppendUint64(nil, uint64(bound))); err != nil {
			return err
		}
	}
	if err := c.txn.Commit(); err != nil {
		return fmt.Errorf("commit: %w", err)
	}
	maps.Copy(c.s.logs, c.logs)
	for pond, id := range c.open {
		if id.IsZero() {
			delete(c.s.open, pond)
		} else {
			c.s.open[pond] = id
		}
	}
	return nil
}

func (c *change) putRows(l *logState) error {
	r := &l.rows
	if planted.Is("rows-in-memory-only") {
		return nil
	}
	for ; r.written < r.count(); r.written++ {
		value, err := r.encode(r.written)
		if err != nil {
			return err
		}
		if err := c.txn.Set(seqKey(keyRow, l.ID, l.Sealed+1+uint64(r.written)), value); err != nil {
			return err
		}
	}
	return nil
}

func (c *change) sorted() []*logState {
	out := make([]*logState, 0, len(c.logs))
	for _, l := range c.logs {
		out = append(out, l)
	}
	slices.SortFunc(out, func(a, b *logState) int { return bytes.Compare(a.ID[:], b.ID[:]) })
	return out
}

// sortedIDs returns ids in order: what is drawn along the way must not hang on a map.
func sortedIDs(ids iter.Seq[block.ID]) []block.ID {
	return slices.SortedFunc(ids, func(a, b block.ID) int { return bytes.Compare(a[:], b[:]) })
}

func sortLogs(logs []Log) {
	slices.SortFunc(logs, func(a, b Log) int {
		if d := bytes.Compare(a.Pond[:], b.Pond[:]); d != 0 {
			return d
		}
		return bytes.Compare(a.ID[:], b.ID[:])
	})
}

func (s *Store) tick() exchange.Stamp { return s.clock.Tick(s.opt.Now().UnixMilli()) }

// schemaRev is the revision of the record schema this device knows.
const schemaRev = 1
