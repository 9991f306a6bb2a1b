package store

import (
	"errors"
	"fmt"
	"maps"
	"unicode/utf8"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
)

// Batch is what one call to Append stores: soundings, or records, of one pond,
// pass and author.
type Batch struct {
	Pond      block.ID // required
	Pass      block.ID // of soundings; zero for none
	Author    string   // at most block.MaxAuthorBytes of UTF-8; empty for unknown
	Soundings []block.Sounding
	Records   [][]byte // at most block.MaxRecordBytes each
}

// check refuses what could never be sealed, before anything is written.
func (b *Batch) check() error {
	switch {
	case b.Pond.IsZero():
		return errors.New("pond is missing")
	case len(b.Soundings) > 0 && len(b.Records) > 0:
		return errors.New("a batch holds either soundings or records")
	case len(b.Author) > block.MaxAuthorBytes || !utf8.ValidString(b.Author):
		return fmt.Errorf("author must be at most %d bytes of UTF-8", block.MaxAuthorBytes)
	}
	for i := range b.Soundings {
		if err := b.Soundings[i].Check(); err != nil {
			return fmt.Errorf("sounding %d: %w", i, err)
		}
	}
	for i, r := range b.Records {
		if len(r) > block.MaxRecordBytes {
			return fmt.Errorf("%w: record %d is %d bytes long, at most %d: record it in parts", ErrTooLarge, i, len(r), block.MaxRecordBytes)
		}
	}
	return nil
}

// One transaction takes so many entries and bytes of records, well below what
// Badger allows.
const (
	maxPerTxn   = 4 * block.MaxCount
	maxTxnBytes = 128 << 10
)

// Append stores a batch and returns the log and the sequence number of its first
// entry; the others follow without a gap. When it returns nil everything is synced
// to disk. A batch larger than one transaction may be stored in part when an error
// is returned: seq then tells nothing, Logs does.
func (s *Store) Append(b Batch) (log block.ID, seq uint64, err error) {
	if err := b.check(); err != nil {
		return log, 0, fmt.Errorf("store: append: %w", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return log, 0, ErrClosed
	}
	if err := s.room(); err != nil {
		return log, 0, fmt.Errorf("store: append to pond %v: %w", b.Pond, err)
	}
	for done, total := 0, len(b.Soundings)+len(b.Records); done < total; {
		id, first, n, err := s.appendSome(&b, done)
		if err != nil {
			return log, 0, fmt.Errorf("store: append to pond %v: %w", b.Pond, err)
		}
		if done == 0 {
			log, seq = id, first
		}
		done += n
	}
	return log, seq, nil
}

// appendSome stores entries of the batch from the given one on, as many as go into
// one transaction.
func (s *Store) appendSome(b *Batch, from int) (log block.ID, seq uint64, n int, err error) {
	c := s.begin()
	defer c.discard()
	if s.recent != b.Pond {
		if id, ok := s.open[s.recent]; ok {
			if err := c.seal(c.log(id)); err != nil {
				return log, 0, 0, err
			}
		}
	}
	l, err := c.openLog(b.Pond)
	if err != nil {
		return log, 0, 0, err
	}
	first := l.Last() + 1
	isRecord := len(b.Records) > 0
	for size := 0; from+n < len(b.Soundings)+len(b.Records) && n < maxPerTxn; n++ {
		one := 0
		if isRecord {
			one = len(b.Records[from+n])
		}
		if n > 0 && size+one > maxTxnBytes {
			break
		}
		size += one
		if !l.rows.takes(b, isRecord, one) {
			if err := c.seal(l); err != nil {
				return log, 0, 0, err
			}
		}
		l.add(b, from+n, isRecord)
		l.rows.hlc = uint64(s.tick())
	}
	if l.rows.count() == block.MaxCount {
		if err := c.seal(l); err != nil {
			return log, 0, 0, err
		}
	}
	if err := c.commit(); err != nil {
		return log, 0, 0, err
	}
	s.recent = b.Pond
	return l.ID, first, n, nil
}

func (l *logState) add(b *Batch, i int, isRecord bool) {
	r := &l.rows
	r.pass, r.author = b.Pass, b.Author
	if isRecord {
		r.payload.Records = append(r.payload.Records, b.Records[i])
		r.bytes += len(b.Records[i])
		l.Records++
		return
	}
	r.payload.Soundings = append(r.payload.Soundings, b.Soundings[i])
	l.Soundings++
}

// Seal turns every unsealed entry into a block, so that a push can send it.
func (s *Store) Seal() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return ErrClosed
	}
	return s.sealAll()
}

func (s *Store) sealAll() error {
	c := s.begin()
	defer c.discard()
	for _, id := range sortedIDs(maps.Keys(s.logs)) {
		if s.logs[id].rows.count() > 0 {
			if err := c.seal(c.log(id)); err != nil {
				return fmt.Errorf("store: %w", err)
			}
		}
	}
	if len(c.logs) == 0 {
		return nil
	}
	if err := c.commit(); err != nil {
		return fmt.Errorf("store: seal: %w", err)
	}
	return nil
}

// Stamp returns a new reading of the device's clock for a record that Append will
// store. It counts as used only once Append has returned.
func (s *Store) Stamp() exchange.Stamp {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.tick()
}
