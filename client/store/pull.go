package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/dgraph-io/badger/v4"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
)

// Receive stores pulled blocks and the cursor behind them in one transaction, and
// returns those that it stored. A block that is held already is skipped; one that contradicts what is held is kept
// aside and reported, never written over it. The device's clock moves past the
// stamps it sees.
func (s *Store) Receive(blocks []*block.Block, cursor []byte) (stored []*block.Block, aside int, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return nil, 0, ErrClosed
	}
	if len(blocks) > 0 {
		if err := s.room(); err != nil {
			return nil, 0, fmt.Errorf("store: receive: %w", err)
		}
	}
	c := s.begin()
	defer c.discard()
	for _, b := range blocks {
		verdict, err := c.receive(b)
		if err != nil {
			return nil, 0, fmt.Errorf("store: receive block %d of log %v: %w", b.FirstSeq, b.Log, err)
		}
		switch verdict {
		case exchange.Append:
			stored = append(stored, b)
		case exchange.Gap:
			return nil, 0, fmt.Errorf("store: block %d of log %v: %w", b.FirstSeq, b.Log, ErrGap)
		case exchange.Forked:
			aside++
		case exchange.Duplicate:
		}
	}
	if err := c.txn.Set(metaKey(metaCursor), cursor); err != nil {
		return nil, 0, err
	}
	if err := c.commit(); err != nil {
		return nil, 0, fmt.Errorf("store: receive: %w", err)
	}
	return stored, aside, nil
}

func (c *change) receive(b *block.Block) (exchange.Verdict, error) {
	// A stamp too far ahead does not move the clock and does not refuse the block.
	_ = c.s.clock.Merge(exchange.Stamp(b.HLCLast), c.s.opt.Now().UnixMilli())

	l := c.log(b.Log)
	if l == nil {
		l = &logState{Log: Log{ID: b.Log, Pond: b.Pond, State: Foreign, CreatedHLC: b.CreatedHLC}}
	}
	head := exchange.Head{Log: b.Log, Last: l.Sealed, Hash: l.Head}
	verdict := exchange.Judge(head, b, func(first uint64) (block.Hash, bool) {
		frame, err := get(c.txn, seqKey(keyBlock, b.Log, first))
		if err != nil || frame == nil {
			return block.Hash{}, false
		}
		held, err := parse(frame)
		if err != nil {
			return block.Hash{}, false
		}
		return held.Hash, true
	})
	if verdict == exchange.Append && l.pushed() {
		if err := c.yield(l); err != nil {
			return 0, err
		}
	}
	switch {
	case verdict == exchange.Duplicate:
		return verdict, nil
	case verdict == exchange.Append && !l.Own():
		c.logs[b.Log] = l
		l.Sealed, l.Head = b.LastSeq(), b.Hash
		if b.Kind == block.KindRecords {
			l.Records += uint64(b.Count)
		} else {
			l.Soundings += uint64(b.Count)
		}
		key := seqKey(keyBlock, b.Log, b.FirstSeq)
		return verdict, errors.Join(c.unset(asideKey(key, b.Hash)), c.txn.Set(key, b.Frame))
	}
	if l.State == Parked {
		// The server has come to hold other entries in place of the parked block,
		// from a copy of this device: the block goes on in a new log.
		l.State, l.Trouble = Forked, "another copy of this device's store wrote to the same log; what was parked here is offered in a new log"
		c.logs[b.Log] = l
	}
	if verdict == exchange.Gap && l.State != Forked {
		return verdict, nil
	}
	// Other entries, or ones this device wrote before it was restored: kept under
	// their hash, so that two of them never meet.
	return exchange.Forked, c.txn.Set(append(seqKey(keyAside, b.Log, b.FirstSeq), b.Hash[:]...), b.Frame)
}

// yield leaves one of this device's own logs to the server, which holds entries after
// the last one here: this store was put back to an earlier day, or copied. What is
// not sealed yet moves to a new log.
func (c *change) yield(l *logState) error {
	if c.openOf(l.Pond) == l.ID {
		if err := c.moveOut(l); err != nil {
			return err
		}
	}
	l.State, l.Trouble = Parted, "this device's store was put back to an earlier day, or copied; what had been recorded since came back from the server"
	return nil
}

// Aside is a pulled block that was kept aside because it contradicts what the
// device holds.
type Aside struct {
	Log   block.ID
	First uint64
	Hash  block.Hash
}

// KeptAside lists the blocks kept aside, in order.
func (s *Store) KeptAside() ([]Aside, error) {
	var out []Aside
	err := s.view(func(txn *badger.Txn) error {
		return each(txn, []byte{keyAside}, func(k, _ []byte) error {
			out = append(out, Aside{block.ID(k[1:17]), binary.BigEndian.Uint64(k[17:25]), block.Hash(k[25:])})
			return nil
		})
	})
	return out, err
}

// Cursor returns where the next pull goes on, nil for the start.
func (s *Store) Cursor() ([]byte, error) { return s.meta(metaCursor) }

// ForgetCursor makes the next pull start from what is held.
func (s *Store) ForgetCursor() error {
	return errors.Join(s.Unvouch(), s.set(metaKey(metaCursor), nil))
}

// vouchFor is how long a cursor may speak for the server before it is greeted anew.
const vouchFor = 24 * time.Hour

// Vouched reports whether a server that takes the cursor holds everything of this
// device: nothing waits, and since the last sync that came to its end, less than a
// day ago, nothing was pushed.
func (s *Store) Vouched(nowMs int64) (bool, error) {
	if s.Waiting() {
		return false, nil
	}
	cursor, err := s.Cursor()
	if err != nil || len(cursor) == 0 {
		return false, err
	}
	at, err := s.time(metaGreeted)
	age := nowMs - at
	return at != 0 && 0 <= age && age < vouchFor.Milliseconds(), err
}

// Waiting reports whether the server has not acknowledged all that a push would send.
func (s *Store) Waiting() bool {
	return slices.ContainsFunc(s.Logs(), func(l Log) bool {
		return l.Own() && l.State != Parked && (l.Durable < l.Last() || l.State == Forked)
	})
}

// Unvouch makes the next sync greet the server, whatever waits.
func (s *Store) Unvouch() error {
	if v, err := s.meta(metaGreeted); err != nil || len(v) == 0 {
		return err
	}
	return s.set(metaKey(metaGreeted), nil)
}

// SetSynced notes the time of a complete sync, Unix ms, and whether the server was
// greeted and told of everything: from then on its cursor vouches for it.
func (s *Store) SetSynced(unixMs int64, greeted bool) error {
	at := binary.BigEndian.AppendUint64(nil, uint64(unixMs))
	err := s.set(metaKey(metaSynced), at)
	if err == nil && greeted {
		err = s.set(metaKey(metaGreeted), at)
	}
	return err
}

// Synced returns the time of the last complete sync, Unix ms, 0 for never.
func (s *Store) Synced() (int64, error) { return s.time(metaSynced) }

// time returns a time, Unix ms, 0 if there is none.
func (s *Store) time(name string) (int64, error) {
	v, err := s.meta(name)
	if err != nil || len(v) != 8 {
		return 0, err
	}
	return int64(binary.BigEndian.Uint64(v)), nil
}

// setTime notes the present time.
func (s *Store) setTime(name string) error {
	now := s.opt.Now().UnixMilli()
	return s.set(metaKey(name), binary.BigEndian.AppendUint64(nil, uint64(now)))
}

func (s *Store) meta(name string) ([]byte, error) {
	var v []byte
	err := s.view(func(txn *badger.Txn) (err error) {
		v, err = get(txn, metaKey(name))
		return err
	})
	return v, err
}
