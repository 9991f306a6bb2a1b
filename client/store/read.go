package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"iter"
	"slices"

	"github.com/dgraph-io/badger/v4"

	"pondwright/proto/block"
)

// Block returns the block of log that starts at first, checked against its
// checksum. The error is ErrNotFound, or wraps ErrCorrupt.
func (s *Store) Block(log block.ID, first uint64) (*block.Block, error) {
	var b *block.Block
	err := s.view(func(txn *badger.Txn) error {
		frame, err := get(txn, seqKey(keyBlock, log, first))
		if err != nil {
			return err
		}
		if frame == nil {
			return ErrNotFound
		}
		b, err = parse(frame)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("store: block %d of log %v: %w", first, log, err)
	}
	return b, nil
}

// Frame returns the frame of the block of log that starts at first, with its header, as
// a push sends it: checked against its checksum, not unpacked. The error is
// ErrNotFound, or wraps ErrCorrupt.
func (s *Store) Frame(log block.ID, first uint64) (frame []byte, h block.Header, err error) {
	err = s.view(func(txn *badger.Txn) (err error) {
		frame, err = get(txn, seqKey(keyBlock, log, first))
		return err
	})
	if err == nil && frame == nil {
		err = ErrNotFound
	}
	if err == nil {
		if h, err = block.ParseHeader(frame); err != nil {
			err = fmt.Errorf("%w: %w", ErrCorrupt, err)
		}
	}
	if err != nil {
		return nil, h, fmt.Errorf("store: block %d of log %v: %w", first, log, err)
	}
	return frame, h, nil
}

func parse(frame []byte) (*block.Block, error) {
	b, err := block.Parse(frame)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrCorrupt, err)
	}
	return b, nil
}

// HashAt returns the hash of the block of log that ends at last, and whether one
// does.
func (s *Store) HashAt(log block.ID, last uint64) (block.Hash, bool) {
	var hash block.Hash
	found := false
	err := s.view(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: idKey(keyBlock, log), Reverse: true})
		defer it.Close()
		it.Seek(seqKey(keyBlock, log, last))
		if !it.Valid() {
			return nil
		}
		return it.Item().Value(func(frame []byte) error {
			b, err := parse(frame)
			if err == nil && b.LastSeq() == last {
				hash, found = b.Hash, true
			}
			return err
		})
	})
	return hash, found && err == nil
}

func (s *Store) view(f func(*badger.Txn) error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return ErrClosed
	}
	return s.db.View(f)
}

// Chunk is a run of entries of one log as they were recorded.
type Chunk struct {
	block.Header
	block.Payload
	Foreign bool // pulled from the server
}

// Chunks yields everything of one kind held of a pond, sealed or not, log by log and
// in sequence. An error ends the sequence, except one that wraps ErrCorrupt: the
// chunk it stands for is skipped.
func (s *Store) Chunks(pond block.ID, kind block.Kind) iter.Seq2[Chunk, error] {
	return func(yield func(Chunk, error) bool) {
		for _, l := range s.Logs() {
			if l.Pond != pond {
				continue
			}
			next := uint64(0)
			for {
				c, err := s.chunkFrom(l.ID, next, kind)
				if errors.Is(err, ErrNotFound) {
					break
				}
				if !yield(c, err) || err != nil && !errors.Is(err, ErrCorrupt) {
					return
				}
				next = c.FirstSeq + 1
			}
		}
	}
}

// chunkFrom returns the first chunk of a log and kind that starts at or after first. Even
// with an error that wraps ErrCorrupt its FirstSeq is set.
func (s *Store) chunkFrom(log block.ID, first uint64, kind block.Kind) (Chunk, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return Chunk{}, ErrClosed
	}
	l := s.logs[log]
	c := Chunk{Foreign: l.State == Foreign}
	found := false
	err := s.db.View(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: idKey(keyBlock, log)})
		defer it.Close()
		var b *block.Block
		for it.Seek(seqKey(keyBlock, log, first)); ; it.Next() {
			if !it.Valid() {
				return nil
			}
			frame, err := it.Item().ValueCopy(nil)
			if err != nil {
				return err
			}
			c.FirstSeq = binary.BigEndian.Uint64(it.Item().Key()[17:])
			if h, err := block.ParseHeader(frame); err == nil && h.Kind != kind {
				continue // sound as far as it has been looked at, and not unpacked
			}
			if b, err = parse(frame); err != nil {
				return err
			}
			break
		}
		found = true
		c.Header = b.Header
		var err error
		if c.Payload, err = b.Payload(); err != nil {
			return fmt.Errorf("%w: %w", ErrCorrupt, err)
		}
		return nil
	})
	if err != nil || found {
		return c, err
	}
	if first > l.Sealed+1 || kind == block.KindRecords && len(l.rows.payload.Records) == 0 ||
		kind == block.KindSoundings && len(l.rows.payload.Soundings) == 0 {
		return c, ErrNotFound
	}
	c.Header = block.Header{Log: log, Pond: l.Pond, FirstSeq: l.Sealed + 1, Count: l.rows.count(),
		HLCLast: l.rows.hlc, Pass: l.rows.pass, Author: l.rows.author}
	c.Payload = block.Payload{Soundings: slices.Clone(l.rows.payload.Soundings), Records: slices.Clone(l.rows.payload.Records)}
	return c, nil
}

// Ponds returns the ponds the device knows, in order: those it recorded, pulled
// or watches.
func (s *Store) Ponds() ([]block.ID, error) {
	seen := map[block.ID]bool{}
	for _, l := range s.Logs() {
		seen[l.Pond] = true
	}
	err := s.view(func(txn *badger.Txn) error {
		return each(txn, []byte{keyWatch}, func(k, _ []byte) error {
			seen[block.ID(k[1:])] = true
			return nil
		})
	})
	out := make([]block.ID, 0, len(seen))
	for id := range seen {
		out = append(out, id)
	}
	slices.SortFunc(out, func(a, b block.ID) int { return bytes.Compare(a[:], b[:]) })
	return out, err
}

// Watch adds a pond to those that a pull asks for.
func (s *Store) Watch(pond block.ID) error {
	return s.set(idKey(keyWatch, pond), nil)
}

func (s *Store) set(key, value []byte) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return ErrClosed
	}
	return s.db.Update(func(txn *badger.Txn) error { return txn.Set(key, value) })
}
