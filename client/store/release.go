package store

import (
	"fmt"

	"github.com/dgraph-io/badger/v4"

	"pondwright/proto/block"
)

// Release removes soundings of this device that are in a backup away from the server,
// and returns how many. Records stay, and so does the last block of each log, by
// which the server knows it.
func (s *Store) Release() (uint64, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return 0, ErrClosed
	}
	total := uint64(0)
	for id := range s.logs {
		for {
			n, err := s.releaseSome(id)
			if err != nil {
				return total, fmt.Errorf("store: release log %v: %w", id, err)
			}
			if total += n; n == 0 {
				break
			}
		}
	}
	return total, nil
}

func (s *Store) releaseSome(id block.ID) (uint64, error) {
	c := s.begin()
	defer c.discard()
	l := c.log(id)
	safe := min(l.Archived, l.Durable)
	if !l.pushed() || l.Released >= safe {
		return 0, nil
	}
	keys, last, n, err := c.releasable(l, safe)
	if err != nil || last == l.Released {
		return 0, err
	}
	for _, k := range keys {
		if err := c.txn.Delete(k); err != nil {
			return 0, err
		}
	}
	l.Released = last
	return n, c.commit()
}

// releasable returns the keys of some blocks of soundings that end at or before safe,
// up to which entry the log was looked at, and how many soundings the blocks hold.
func (c *change) releasable(l *logState, safe uint64) (keys [][]byte, last, n uint64, err error) {
	it := c.txn.NewIterator(badger.IteratorOptions{Prefix: idKey(keyBlock, l.ID), PrefetchValues: true, PrefetchSize: 16})
	defer it.Close()
	last = l.Released
	for it.Seek(seqKey(keyBlock, l.ID, l.Released+1)); it.Valid() && len(keys) < 100; it.Next() {
		frame, err := it.Item().ValueCopy(nil)
		if err != nil {
			return nil, 0, 0, err
		}
		b, err := parse(frame)
		if err != nil || b.LastSeq() > safe || b.LastSeq() == l.Sealed {
			break // a corrupt block stays for people to look at
		}
		last = b.LastSeq()
		if b.Kind == block.KindSoundings {
			keys = append(keys, it.Item().KeyCopy(nil))
			n += uint64(b.Count)
		}
	}
	return keys, last, n, nil
}
