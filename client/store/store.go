// Package store keeps a device's logs in Badger: what was recorded here, sealed
// into blocks, and what was pulled from a server. Whatever a call accepted is on
// disk, synced, when the call returns.
//
// An entry first rests as a row of its own. When a block is full, or pond, pass,
// kind or author change, or the store is closed or asked to, the rows become a
// block in one transaction. A log is never repaired: when the store is not the one
// this installation wrote last (a restored backup, a copied phone), its logs are
// closed and new ones begin before the first write.
//
// FORMAT.md describes the keys.
package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	"pondwright/proto/planted"
)

// ErrClosed is returned by every call after Close.
var ErrClosed = errors.New("store is closed")

// ErrCorrupt marks a stored block that no longer fits its checksum.
var ErrCorrupt = errors.New("stored block is corrupt")

// ErrNotFound says that no such block is stored.
var ErrNotFound = errors.New("no such block")

// ErrDiskFull says that the disk is nearly full: nothing was stored. What was stored
// before stays readable and can be sent.
var ErrDiskFull = errors.New("disk is nearly full")

// reserveBytes is what the disk must have left before an entry is taken: sealing and
// acknowledging what was taken needs room as well.
const reserveBytes = 32 << 20

// ErrTooLarge says that a record is above the size limit: nothing was stored.
var ErrTooLarge = errors.New("too large")

// ErrGap says that a pulled block does not follow the last one held of its log.
var ErrGap = errors.New("blocks before it are missing")

// ErrTooNew says that a later version of this program wrote the store.
var ErrTooNew = errors.New("store was written by a later version")

// Options says where the store lies and what it draws on. Every field but Free is
// required.
type Options struct {
	Dir  string           // a folder of its own; made if missing
	Now  func() time.Time // wall clock; may jump
	Rand io.Reader        // cryptographic randomness: ids are drawn from it

	// Free returns how many bytes the disk has left; nil asks the system.
	Free func() (uint64, error)
}

// Store is a device's store. It is safe for concurrent use.
type Store struct {
	opt Options
	db  *badger.DB

	mu     sync.Mutex
	closed bool
	device block.ID
	clock  *exchange.Clock
	logs   map[block.ID]*logState // by log
	open   map[block.ID]block.ID  // pond -> the log that grows
	recent block.ID               // pond of the last entry

	rebuilt []block.ID // logs derived from their entries when the store was opened
}

// logState is a log and its unsealed entries.
type logState struct {
	Log
	rows rows
}

// Open opens or makes the store in opt.Dir. One process at a time may hold it.
func Open(opt Options) (*Store, error) {
	if err := os.MkdirAll(opt.Dir, 0o700); err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	if opt.Free == nil {
		opt.Free = func() (uint64, error) { return freeBytes(opt.Dir) }
	}
	err := dropUnborn(filepath.Join(opt.Dir, "store"))
	if err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	db, err := badger.Open(profile(filepath.Join(opt.Dir, "store")))
	if err != nil {
		return nil, fmt.Errorf("store: open %s: %w", opt.Dir, err)
	}
	s := &Store{opt: opt, db: db, logs: map[block.ID]*logState{}, open: map[block.ID]block.ID{}}
	if err := s.load(); err != nil {
		return nil, errors.Join(fmt.Errorf("store: load %s: %w", opt.Dir, err), db.Close())
	}
	if err := errors.Join(s.claim(), s.keepRebuilt()); err != nil {
		return nil, errors.Join(fmt.Errorf("store: claim %s: %w", opt.Dir, err), db.Close())
	}
	return s, nil
}

// profile is Badger for a phone: every commit synced, 25 MB of files, and no value
// ever in the value log, whose loss on power cuts is the known way to lose data.
// The threshold lies above the largest frame and below the largest transaction.
func profile(dir string) badger.Options {
	return badger.DefaultOptions(dir).
		WithSyncWrites(true).
		WithDetectConflicts(false). // one writer
		WithMemTableSize(4 << 20).
		WithNumMemtables(2).
		WithNumLevelZeroTables(2).
		WithNumLevelZeroTablesStall(4).
		WithNumCompactors(2).
		WithBaseTableSize(1 << 20).
		WithBaseLevelSize(4 << 20).
		WithValueLogFileSize(8 << 20).
		WithValueThreshold(320 << 10).
		WithBlockCacheSize(0).
		WithCompression(options.None).
		WithMetricsEnabled(false).
		WithLogger(nil)
}

// Close seals what is unsealed and closes the store. Closing twice is fine.
func (s *Store) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return nil
	}
	if planted.Is("lost-last-block-on-close") {
		_, s.logs = s.db.DropPrefix([]byte{keyRow}), nil
	}
	err := s.sealAll()
	s.closed = true
	return errors.Join(err, s.db.Close())
}

// Device returns the id of this installation. It changes when the store is found
// to be a copy.
func (s *Store) Device() block.ID { return s.device }

// room returns ErrDiskFull if there is none for new entries.
func (s *Store) room() error {
	if free, err := s.opt.Free(); err == nil && free < reserveBytes {
		return ErrDiskFull
	}
	return nil
}

// newID draws a random id.
func (s *Store) newID() (block.ID, error) {
	var id block.ID
	_, err := io.ReadFull(s.opt.Rand, id[:])
	return id, err
}

// Keys: a letter, then binary parts of fixed size. FORMAT.md lists them.
const (
	keyMeta  = 'm'
	keyOpen  = 'o'
	keyLog   = 'l'
	keyRow   = 'r'
	keyBlock = 'b'
	keyAside = 'q'
	keyWatch = 'w'
)

func metaKey(name string) []byte { return append([]byte{keyMeta}, name...) }

func idKey(letter byte, id block.ID) []byte { return append([]byte{letter}, id[:]...) }

func seqKey(letter byte, log block.ID, seq uint64) []byte {
	return binary.BigEndian.AppendUint64(idKey(letter, log), seq)
}

// get returns a copy of the value at key, nil if there is none.
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

// each calls f for every key with the prefix, in order.
func each(txn *badger.Txn, prefix []byte, f func(key, value []byte) error) error {
	it := txn.NewIterator(badger.IteratorOptions{Prefix: prefix, PrefetchValues: true, PrefetchSize: 16})
	defer it.Close()
	for it.Rewind(); it.Valid(); it.Next() {
		item := it.Item()
		if err := item.Value(func(v []byte) error { return f(item.Key(), v) }); err != nil {
			return err
		}
	}
	return nil
}
