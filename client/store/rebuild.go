package store

import (
	"errors"
	"maps"

	"github.com/dgraph-io/badger/v4"

	"pondwright/proto/block"
)

// rebuild derives the logs of which only the entries are left. Blocks say of which
// log and pond they are, who sealed them and what came before; rows lie in the log
// that grows for a pond. Nothing is derived twice: a log that has its key keeps it.
func (s *Store) rebuild(txn *badger.Txn) error {
	it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte{keyBlock}, PrefetchValues: false})
	defer it.Close()
	for it.Rewind(); it.Valid(); it.Next() {
		log := block.ID(it.Item().Key()[1:17])
		l := s.logs[log]
		if l == nil {
			l = &logState{Log: Log{ID: log}}
			s.logs[log] = l
			s.rebuilt = append(s.rebuilt, log)
		} else if !s.isRebuilt(log) {
			continue
		}
		frame, err := it.Item().ValueCopy(nil)
		if err != nil {
			return err
		}
		b, err := parse(frame)
		if err != nil {
			continue // readers report it
		}
		l.derive(b, s.device)
	}
	for _, pond := range sortedIDs(maps.Keys(s.open)) {
		if log := s.open[pond]; s.logs[log] == nil { // nothing sealed yet
			s.logs[log] = &logState{Log: Log{ID: log, Pond: pond, State: Growing}}
			s.rebuilt = append(s.rebuilt, log)
		}
	}
	return nil
}

func (s *Store) isRebuilt(log block.ID) bool {
	return len(s.rebuilt) > 0 && s.rebuilt[len(s.rebuilt)-1] == log // blocks come log by log
}

// derive takes the next block of a log.
func (l *Log) derive(b *block.Block, device block.ID) {
	gap := b.FirstSeq - l.Sealed - 1
	switch {
	case l.Sealed == 0: // whatever came before was released
		l.Pond, l.CreatedHLC, l.Released = b.Pond, b.CreatedHLC, gap
		l.Soundings += gap
		l.State = Foreign
		if b.Device == device && !device.IsZero() {
			l.State = Closed
		}
	case gap > 0 && l.Move == nil: // what is missing has moved
		l.State, l.Move = Forked, &Move{After: l.Sealed, Through: b.FirstSeq - 1, Then: Parted}
	}
	l.Sealed, l.Head = b.LastSeq(), b.Hash
	if b.Kind == block.KindRecords {
		l.Records += uint64(b.Count)
	} else {
		l.Soundings += uint64(b.Count)
	}
}

// countRow counts an entry that is not sealed yet.
func (l *Log) countRow(row []byte) {
	if len(row) > 0 && block.Kind(row[0]) == block.KindRecords {
		l.Records++
	} else {
		l.Soundings++
	}
}

// keepRebuilt stores the logs that were derived. How far they had been given out is
// not known for sure, so none of them grows any more.
func (s *Store) keepRebuilt() error {
	if len(s.rebuilt) == 0 {
		return nil
	}
	c := s.begin()
	defer c.discard()
	for _, id := range s.rebuilt {
		l := c.log(id)
		if c.openOf(l.Pond) != id {
			continue
		}
		if err := c.moveOut(l); err != nil {
			return err
		}
	}
	s.rebuilt = nil
	return errors.Join(c.txn.Set(metaKey(metaCursor), nil), c.txn.Set(metaKey(metaGreeted), nil), c.commit())
}
