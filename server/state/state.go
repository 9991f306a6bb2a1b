// Package state is what the server's readers ask: the ponds, their records, and
// their soundings by place. All of it is derived from the journal, in journal
// order, and may be deleted: it is rebuilt when it is missing or belongs to
// another journal.
//
// It follows the journal a moment behind the acknowledgement. A reader that must
// see what was acknowledged calls WaitCurrent first.
package state

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"sync"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"

	"pondwright/proto/exchange"
	"pondwright/proto/planted"
	"pondwright/server/journal"
)

// ErrPondNotFound says that nothing was ever recorded of a pond.
var ErrPondNotFound = errors.New("pond is not known")

// ErrClosed is returned by every call after Close.
var ErrClosed = errors.New("state is closed")

// State is the derived state in a Badger database of its own. It is safe for
// concurrent use.
type State struct {
	db      *badger.DB
	journal journal.Journal
	applied journal.Watermark
	stop    context.CancelFunc
	done    chan struct{} // closed when following has ended
	ended   error         // why it ended, set before done is closed

	use    sync.RWMutex // held for reading by readers
	closed bool
}

// format is the version of the keys; another one on disk means rebuilding.
const format = 2

// Open opens the state in the folder dir, making or rebuilding it as needed, and
// follows the journal until Close. Close the state before the journal.
func Open(dir string, j journal.Journal) (*State, error) {
	if err := journal.DropUnborn(dir); err != nil {
		return nil, fmt.Errorf("state: %w", err)
	}
	db, err := badger.Open(profile(dir))
	if err != nil {
		return nil, fmt.Errorf("state: open %s (it may be deleted, it is derived): %w", dir, err)
	}
	ctx, stop := context.WithCancel(context.Background())
	s := &State{db: db, journal: j, stop: stop, done: make(chan struct{})}
	if err := s.resume(); err != nil {
		stop()
		return nil, errors.Join(fmt.Errorf("state: resume %s: %w", dir, err), db.Close())
	}
	go s.follow(ctx)
	return s, nil
}

// profile does not sync: what a power cut takes is read from the journal again. A table
// in memory is as small as the largest transaction allows: it is cleared on each start.
func profile(dir string) badger.Options {
	return badger.DefaultOptions(dir).
		WithSyncWrites(false).
		WithDetectConflicts(false). // one writer
		WithMemTableSize(8 << 20).
		WithNumMemtables(3).
		WithValueLogFileSize(64 << 20).
		WithValueThreshold(1 << 20).
		WithBlockCacheSize(32 << 20).
		WithCompression(options.Snappy).
		WithMetricsEnabled(false).
		WithLogger(nil)
}

// resume finds where the state stands, and empties it unless it is of this journal
// and of this format.
func (s *State) resume() error {
	var cursor []byte
	err := s.db.View(func(txn *badger.Txn) (err error) {
		cursor, err = get(txn, []byte{keyCursor})
		return err
	})
	if err != nil {
		return err
	}
	if len(cursor) == 25 && cursor[0] == format {
		pos := binary.BigEndian.Uint64(cursor[17:])
		chain, found, err := s.journal.Chain(pos)
		if err != nil {
			return err
		}
		if found && chain == exchange.Chain(cursor[1:17]) {
			if planted.Is("state-applies-twice") && pos > 0 {
				pos--
			}
			s.applied.Raise(pos)
			return nil
		}
	}
	if empty, err := s.empty(); empty || err != nil {
		return err
	}
	return s.db.DropAll()
}

// empty reports whether the database holds nothing at all.
func (s *State) empty() (empty bool, err error) {
	err = s.db.View(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{})
		defer it.Close()
		it.Rewind()
		empty = !it.Valid()
		return nil
	})
	return empty, err
}

func cursorValue(pos uint64, chain exchange.Chain) []byte {
	return binary.BigEndian.AppendUint64(append([]byte{format}, chain[:]...), pos)
}

// Applied returns the journal position up to which the state has followed.
func (s *State) Applied() uint64 { return s.applied.Pos() }

// WaitFor returns once the state has followed the journal up to pos.
func (s *State) WaitFor(ctx context.Context, pos uint64) error {
	err := s.applied.Wait(ctx, pos, s.done)
	if errors.Is(err, journal.ErrClosed) {
		if s.ended != nil {
			return fmt.Errorf("state: %w", s.ended)
		}
		return ErrClosed
	}
	return err
}

// WaitCurrent returns once the state holds everything that the journal held when
// it was called.
func (s *State) WaitCurrent(ctx context.Context) error {
	return s.WaitFor(ctx, s.journal.Last())
}

// Close stops following and closes the database. Closing twice is fine.
func (s *State) Close() error {
	s.stop()
	<-s.done
	s.use.Lock()
	defer s.use.Unlock()
	if s.closed {
		return nil
	}
	s.closed = true
	return s.db.Close()
}

func (s *State) view(f func(*badger.Txn) error) error {
	s.use.RLock()
	defer s.use.RUnlock()
	if s.closed {
		return ErrClosed
	}
	return s.db.View(f)
}

func get(txn *badger.Txn, key []byte) ([]byte, error) {
	item, err := txn.Get(key)
	if errors.Is(err, badger.ErrKeyNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return item.ValueCopy(nil)
}
