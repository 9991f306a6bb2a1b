package store

import (
	"encoding/binary"
	"fmt"

	"github.com/dgraph-io/badger/v4"

	"pondwright/proto/block"
)

// GiveWay sets aside what this device pulled of a log after an entry, the end of a
// block or 0, because the server has come to hold other entries there: the next pull
// then brings those. It goes from the end, a few blocks in each transaction, so that
// what is left of the log is whole at any time. A log of this device stays as it is.
func (s *Store) GiveWay(log block.ID, after uint64) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return ErrClosed
	}
	for {
		done, err := s.giveSomeWay(log, after)
		if err != nil {
			return fmt.Errorf("store: set the end of log %v aside: %w", log, err)
		}
		if done {
			return nil
		}
	}
}

func (s *Store) giveSomeWay(log block.ID, after uint64) (done bool, err error) {
	c := s.begin()
	defer c.discard()
	l := c.log(log)
	if l == nil || l.Own() || l.Sealed <= after {
		return true, nil
	}
	if err := c.shorten(l, after); err != nil {
		return false, err
	}
	return l.Sealed <= after, c.commit()
}

// shorten sets aside a few blocks at the end of a log, none that starts at or before
// an entry.
func (c *change) shorten(l *logState, after uint64) error {
	it := c.txn.NewIterator(badger.IteratorOptions{Prefix: idKey(keyBlock, l.ID), Reverse: true, PrefetchValues: true, PrefetchSize: 16})
	defer it.Close()
	size := 0
	for it.Seek(seqKey(keyBlock, l.ID, l.Sealed)); it.Valid(); it.Next() {
		key := it.Item().KeyCopy(nil)
		frame, err := it.Item().ValueCopy(nil)
		if err != nil {
			return err
		}
		b, err := parse(frame)
		first := binary.BigEndian.Uint64(key[17:])
		if first <= after || size > maxTxnBytes && err == nil {
			if err == nil {
				l.Sealed, l.Head = b.LastSeq(), b.Hash
			}
			return err
		}
		size += len(frame)
		if err := c.setAside(l, key, frame, b); err != nil {
			return err
		}
		l.Sealed = first - 1
	}
	l.Sealed, l.Head = 0, block.Hash{}
	return nil
}

// setAside moves the last block of a log, nil if it cannot be read, to where it is no
// part of the log.
func (c *change) setAside(l *logState, key, frame []byte, b *block.Block) error {
	hash := block.Hash{}
	n := l.Sealed - binary.BigEndian.Uint64(key[17:]) + 1
	records := n - min(n, l.Soundings) // of an unreadable block only the count is known
	if b != nil {
		hash, records = b.Hash, 0
		if b.Kind == block.KindRecords {
			records = n
		}
	}
	l.Records, l.Soundings = l.Records-records, l.Soundings-(n-records)
	if err := c.txn.Set(asideKey(key, hash), frame); err != nil {
		return err
	}
	return c.txn.Delete(key)
}
