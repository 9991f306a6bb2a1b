// Package journal is the server's memory: every block that a device was told is
// safe, in the order in which it became so, as the bytes that were received.
//
// An entry has a position, counted from 1 in commit order and without holes. A
// block is stored once for ever: the same block again is acknowledged and not
// written, another block in its place is kept aside and nothing is overwritten.
package journal

import (
	"context"
	"errors"
	"iter"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
)

// ErrClosed is returned once the journal is closed or closing.
var ErrClosed = errors.New("journal is closed")

// ErrBroken is returned after a write or a sync has failed: what is on disk is no
// longer known, so nothing is acknowledged until the journal has been opened anew.
var ErrBroken = errors.New("journal cannot write")

// ErrDiskFull says that the disk is nearly full: nothing was stored, and reading goes
// on. Writing goes on, too, once there is room.
var ErrDiskFull = errors.New("disk of the journal is nearly full")

// ErrCorrupt marks a stored entry that no longer fits its checksum.
var ErrCorrupt = errors.New("journal entry is corrupt")

// Entry is one stored block.
type Entry struct {
	Pos        uint64         // place in the journal, from 1
	Chain      exchange.Chain // fingerprint of this entry and all before it
	Tenant     string
	ReceivedMs int64 // Unix ms, by the server's clock
	Pond       block.ID
	Log        block.ID
	Frame      []byte // as received
}

// Parse checks the frame. The error wraps ErrCorrupt.
func (e *Entry) Parse() (*block.Block, error) {
	b, err := block.Parse(e.Frame)
	if err != nil {
		return nil, errors.Join(ErrCorrupt, err)
	}
	return b, nil
}

// Header checks the frame's checksum and reads its header, which is enough for who
// passes it on. The error wraps ErrCorrupt.
func (e *Entry) Header() (block.Header, error) {
	h, err := block.ParseHeader(e.Frame)
	if err != nil {
		return h, errors.Join(ErrCorrupt, err)
	}
	return h, nil
}

// Receipt tells what became of a block. For Append and Duplicate everything in
// its log up to its end is synced to disk; for Forked it is kept aside, as surely,
// if Kept says so; for Gap nothing was stored.
type Receipt struct {
	Verdict exchange.Verdict
	Kept    bool // aside: there is a limit to that
	Err     error
}

// Journal is what the rest of the server needs of a journal. It is safe for
// concurrent use.
type Journal interface {
	// Incarnation names this journal: another one when it was begun anew.
	Incarnation() block.ID
	// Chain returns the fingerprint of everything up to a position, and whether
	// there is one. Journals that agree in it agree in all before it.
	Chain(pos uint64) (exchange.Chain, bool, error)
	// Submit queues a block and returns where its receipt will come. It blocks
	// while the queue is full. Blocks of one log must be submitted in order.
	Submit(ctx context.Context, tenant string, b *block.Block) (<-chan Receipt, error)
	// KeepAside stores bytes that are no block this server can read, synced, or returns
	// ErrAsideFull.
	KeepAside(ctx context.Context, tenant string, frame []byte) error
	// Head returns how far a log is held; the zero Last if not at all.
	Head(tenant string, log block.ID) (exchange.Head, error)
	// HeadAt is Head as it was when the journal ended at a position.
	HeadAt(tenant string, log block.ID, pos uint64) (exchange.Head, error)
	// HashAt returns the hash of the block of log that ends at last, and whether
	// one does.
	HashAt(tenant string, log block.ID, last uint64) (block.Hash, bool, error)
	// Writer returns the installation that began a log, and whether the log is held.
	Writer(tenant string, log block.ID) (block.ID, bool, error)
	// Last returns the position of the newest entry, 0 if there is none.
	Last() uint64
	// Read yields the synced entries after a position, in order.
	Read(ctx context.Context, after uint64) iter.Seq2[Entry, error]
	// ReadPonds yields those entries after a position and up to another that belong
	// to some of a tenant's ponds, in order, without touching the others.
	ReadPonds(ctx context.Context, tenant string, ponds []block.ID, after, through uint64) iter.Seq2[Entry, error]
	// Wait returns once Last is above after, or with the context's error or
	// ErrClosed.
	Wait(ctx context.Context, after uint64) error
	// Aside yields what was kept aside for a tenant.
	Aside(ctx context.Context, tenant string) iter.Seq2[Aside, error]
	// Close waits for what is being written and closes the journal.
	Close() error
}

// Aside is a block that was not taken into its log: it contradicts one that was,
// or it cannot be read.
type Aside struct {
	Log        block.ID // zero if the frame cannot be read
	FirstSeq   uint64
	ReceivedMs int64
	Frame      []byte
}
