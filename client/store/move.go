package store

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/dgraph-io/badger/v4"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	"pondwright/proto/planted"
)

// Forked returns the logs whose own entries wait to be moved, the newest first: what
// moves from an older one takes along what newer ones hold.
func (s *Store) Forked() []Log {
	out := slices.DeleteFunc(s.Logs(), func(l Log) bool { return l.State != Forked })
	slices.SortStableFunc(out, func(a, b Log) int { return cmp.Compare(b.CreatedHLC, a.CreatedHLC) })
	return out
}

// Parked returns how many blocks are parked.
func (s *Store) Parked() int {
	n := 0
	for _, l := range s.Logs() {
		if l.State == Parked {
			n++
		}
	}
	return n
}

// Marks returns the ends of all readable blocks of a log, in order. Search among them
// finds where a log forked.
func (s *Store) Marks(log block.ID) ([]exchange.Mark, error) {
	var out []exchange.Mark
	err := s.view(func(txn *badger.Txn) error {
		return each(txn, idKey(keyBlock, log), func(_, frame []byte) error {
			if b, err := parse(frame); err == nil {
				out = append(out, exchange.Mark{Last: b.LastSeq(), Hash: b.Hash})
			}
			return nil
		})
	})
	return out, err
}

// Fork moves what a forked log holds after its last common entry to a new log, which
// names the old one as the origin of every block. The old log is then ready to take
// what the server holds in its place. What this device wrote later in other logs of the
// pond, and the server does not hold, moves as well: it may name what moved. A move that
// was cut short goes on when Fork is called again.
func (s *Store) Fork(log block.ID, common uint64) error {
	return s.moveAfter(log, Move{After: common, Then: Parted}, "another copy of this device's store wrote to the same log; what this one wrote there went on in a new log")
}

// Park sets the block after the last acknowledged one aside, with the reason why the
// server cannot take it, and moves the rest of the log to a new one so that it is not
// held up. The block stays readable here.
func (s *Store) Park(log block.ID, durable uint64, why string) error {
	if err := s.setTime(metaOffered); err != nil {
		return err
	}
	if marks, err := s.Marks(log); err != nil {
		return err
	} else if len(marks) == 1 {
		return s.changeLog(log, func(l *Log) bool {
			l.State, l.Trouble = Parked, why
			return true
		})
	}
	return s.moveAfter(log, Move{After: durable, Then: Closed, Parks: true}, why)
}

// Unpark makes the next push offer every parked block once more.
func (s *Store) Unpark() error {
	for _, l := range s.Logs() {
		if l.State != Parked {
			continue
		}
		if err := s.changeLog(l.ID, func(l *Log) bool {
			l.State, l.Trouble = Closed, ""
			return true
		}); err != nil {
			return err
		}
	}
	return nil
}

// offerEvery is how often parked blocks are offered again by themselves: the server
// may have been brought up to date.
const offerEvery = 24 * time.Hour

// UnparkDue is Unpark once a day.
func (s *Store) UnparkDue(nowMs int64) error {
	if s.Parked() == 0 {
		return nil
	}
	at, err := s.time(metaOffered)
	if err != nil || 0 <= nowMs-at && nowMs-at < offerEvery.Milliseconds() {
		return err
	}
	return s.Unpark()
}

// moveAfter moves blocks, a few in each transaction: an entry is in one log or the
// other at any time, and never in both.
func (s *Store) moveAfter(log block.ID, m Move, why string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return ErrClosed
	}
	for !log.IsZero() {
		next, err := s.moveSome(log, m, why)
		if err != nil {
			return fmt.Errorf("store: move the end of log %v: %w", log, err)
		}
		log = next
	}
	return nil
}

// moveSome moves a few blocks and returns the log to go on with, zero when all is done.
func (s *Store) moveSome(log block.ID, m Move, why string) (next block.ID, err error) {
	c := s.begin()
	defer c.discard()
	l := c.log(log)
	if l == nil || !l.Own() || l.State == Parked {
		return next, nil
	}
	if l.Move == nil {
		if err := c.beginMove(l, m, why); err != nil {
			return next, err
		}
	}
	blocks, err := c.after(l, l.Move.Through)
	if err != nil {
		return next, err
	}
	for _, b := range blocks {
		if err := c.moveBlock(l, b); err != nil {
			return next, err
		}
	}
	next = log
	if l.Move.Through >= l.Sealed {
		if next, err = c.takeAlong(l); err != nil {
			return next, err
		}
		if err := c.endMove(l); err != nil {
			return next, err
		}
	}
	return next, c.commit()
}

// takeAlong begins to move the first log of the pond that was made after l, and of which
// the server does not hold all, behind what moved from l, and returns it: zero if there is
// none. Its records may name what moved, in a place that others have come to hold.
func (c *change) takeAlong(l *logState) (next block.ID, err error) {
	m := l.Move
	if len(m.Moved) == 0 || planted.Is("later-logs-stay") {
		return next, nil
	}
	var later *logState
	for id, o := range c.s.logs {
		if o.pushed() && o.Durable < o.Last() && o.Pond == l.Pond && id != m.To && o.CreatedHLC > l.CreatedHLC && (later == nil || o.CreatedHLC < later.CreatedHLC) {
			later = o
		}
	}
	if later == nil {
		return next, nil
	}
	return later.ID, c.beginMove(c.log(later.ID), Move{After: later.Durable, To: m.To, Then: Closed, Moved: m.Moved}, "")
}

// beginMove closes the log.
func (c *change) beginMove(l *logState, m Move, why string) error {
	if err := c.seal(l); err != nil {
		return err
	}
	if c.openOf(l.Pond) == l.ID {
		if err := c.closeLog(l, Forked); err != nil {
			return err
		}
	}
	m.Through = m.After
	l.State, l.Move, l.Trouble = Forked, &m, why
	return nil
}

// after returns a few blocks of a log that start after an entry. One that is corrupt
// is kept aside and passed over.
func (c *change) after(l *logState, seq uint64) ([]*block.Block, error) {
	it := c.txn.NewIterator(badger.IteratorOptions{Prefix: idKey(keyBlock, l.ID), PrefetchValues: true, PrefetchSize: 16})
	defer it.Close()
	var out []*block.Block
	size := 0
	for it.Seek(seqKey(keyBlock, l.ID, seq+1)); it.Valid() && size < maxTxnBytes; it.Next() {
		frame, err := it.Item().ValueCopy(nil)
		if err != nil {
			return nil, err
		}
		b, err := parse(frame)
		if err != nil {
			key := it.Item().KeyCopy(nil)
			if err := errors.Join(c.txn.Delete(key), c.txn.Set(asideKey(key, block.Hash{}), frame)); err != nil {
				return nil, err
			}
			continue
		}
		size += len(frame)
		out = append(out, b)
	}
	if size < maxTxnBytes {
		l.Move.Through = l.Sealed // whatever is left after these was corrupt
	}
	return out, nil
}

// asideKey returns the key under which the block at key is kept aside.
func asideKey(key []byte, hash block.Hash) []byte {
	out := append([]byte{keyAside}, key[1:]...)
	return append(out, hash[:]...)
}

// destination returns the log that the next block moves to, making it if need be.
func (c *change) destination(l *logState) (*logState, error) {
	if l.Move.Parks {
		parked, err := c.newLog(l.Pond, Parked)
		if err != nil {
			return nil, err
		}
		parked.Trouble, l.Trouble, l.Move.Parks = l.Trouble, "", false
		return parked, nil
	}
	if !l.Move.To.IsZero() {
		return c.log(l.Move.To), nil
	}
	to, err := c.newLog(l.Pond, Closed)
	if err == nil {
		l.Move.To = to.ID
	}
	return to, err
}

// moveBlock seals a block's entries under the log that it moves to.
func (c *change) moveBlock(l *logState, b *block.Block) error {
	to, err := c.destination(l)
	if err != nil {
		return err
	}
	h := b.Header
	h.Log, h.FirstSeq, h.Prev = to.ID, to.Sealed+1, to.Head
	h.OriginLog, h.OriginSeq, h.CreatedHLC = b.Log, b.FirstSeq, 0
	if h.FirstSeq == 1 {
		h.CreatedHLC = to.CreatedHLC
	}
	l.Move.note(moved{b.Log, b.FirstSeq, b.LastSeq(), to.ID, h.FirstSeq})
	frame, hash, err := sealMoved(b, h, l.Move)
	if err != nil {
		return err
	}
	to.Sealed, to.Head = to.Sealed+uint64(b.Count), hash
	if b.Kind == block.KindRecords {
		l.Records, to.Records = l.Records-uint64(b.Count), to.Records+uint64(b.Count)
	} else {
		l.Soundings, to.Soundings = l.Soundings-uint64(b.Count), to.Soundings+uint64(b.Count)
	}
	l.Move.Through = max(l.Move.Through, b.LastSeq())
	return errors.Join(c.txn.Delete(seqKey(keyBlock, l.ID, b.FirstSeq)), c.txn.Set(seqKey(keyBlock, to.ID, h.FirstSeq), frame))
}

// sealMoved seals a block's entries under another header. Records that name others
// which moved as well name them where they are now; all else stays as it is.
func sealMoved(b *block.Block, h block.Header, m *Move) ([]byte, block.Hash, error) {
	if b.Kind == block.KindRecords {
		p, err := b.Payload()
		if err != nil {
			return nil, block.Hash{}, err
		}
		if m.reparent(p.Records) {
			return block.Seal(h, p, block.Predicted)
		}
	}
	return b.SealUnder(h, block.Predicted)
}

// reparent makes records name those that moved where they are now, and reports whether
// any did.
func (m *Move) reparent(records [][]byte) (changed bool) {
	for i, r := range records {
		records[i] = exchange.Reparent(r, func(ref exchange.Ref) (exchange.Ref, bool) {
			to, ok := m.place(ref)
			changed = changed || ok
			return to, ok
		})
	}
	return changed
}

// endMove leaves the old log as both ends hold it. What the server sent of its side
// before, and was kept aside, comes again: the next pull starts from what is held.
func (c *change) endMove(l *logState) error {
	l.State, l.Sealed, l.Head, l.Move = l.Move.Then, l.Move.After, block.Hash{}, nil
	l.Durable = min(l.Durable, l.Sealed)
	if l.Sealed > 0 {
		b, err := c.endingAt(l.ID, l.Sealed)
		if err != nil {
			return err
		}
		l.Head = b.Hash
	}
	if l.State == Closed {
		return nil
	}
	var drop [][]byte
	if err := each(c.txn, idKey(keyAside, l.ID), func(k, _ []byte) error {
		if block.Hash(k[25:]) != (block.Hash{}) { // this device's own corrupt block stays
			drop = append(drop, append([]byte(nil), k...))
		}
		return nil
	}); err != nil {
		return err
	}
	for _, k := range drop {
		if err := c.txn.Delete(k); err != nil {
			return err
		}
	}
	return errors.Join(c.txn.Set(metaKey(metaCursor), nil), c.txn.Set(metaKey(metaGreeted), nil))
}

// endingAt returns the block of a log that ends at an entry.
func (c *change) endingAt(log block.ID, last uint64) (*block.Block, error) {
	it := c.txn.NewIterator(badger.IteratorOptions{Prefix: idKey(keyBlock, log), Reverse: true})
	defer it.Close()
	it.Seek(seqKey(keyBlock, log, last))
	if !it.Valid() {
		return nil, ErrNotFound
	}
	frame, err := it.Item().ValueCopy(nil)
	if err != nil {
		return nil, err
	}
	b, err := parse(frame)
	if err == nil && b.LastSeq() != last {
		err = ErrNotFound
	}
	return b, err
}
