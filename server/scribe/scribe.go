// Package scribe writes the office's own facts into the journal, as any device
// writes its own: sealed blocks of a log, one log for each pond.
//
//	s := scribe.New(journal, now, rand, registry.Seal)
//	err := s.Write(ctx, tenant, pond, record) // on disk when it returns
//
// A log lives no longer than the process that began it and is given up after any
// write whose fate is not known: no sequence number is ever used twice, whatever was
// restored. What must not be forged bears a seal that only this office can make.
package scribe

import (
	"context"
	"crypto/hmac"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/proto/block"
	"pondwright/proto/digest"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/journal"
)

// schemaRev is the revision of the record schema this server knows.
const schemaRev = 1

// Journal is where the scribe writes.
type Journal interface {
	Submit(ctx context.Context, tenant string, b *block.Block) (<-chan journal.Receipt, error)
}

// TooLargeError says that a record does not fit into a block.
type TooLargeError struct{ Bytes, Most int }

// Error gives the sizes.
func (e *TooLargeError) Error() string {
	return fmt.Sprintf("record is %d bytes long, at most %d", e.Bytes, e.Most)
}

// errNotTaken says that the journal did not append a block of a log of our own.
var errNotTaken = errors.New("the journal did not take an entry of the office's own log")

// Scribe writes records. It is safe for concurrent use.
type Scribe struct {
	journal Journal
	now     func() time.Time
	rand    io.Reader
	mac     func([]byte) [32]byte

	mu    sync.Mutex
	clock exchange.Clock
	heads map[logKey]exchange.Head
}

type logKey struct {
	tenant string
	pond   block.ID
}

// New returns a scribe. Now is the wall clock, random the source of ids, and mac a
// code over bytes that nobody else can make.
func New(j Journal, now func() time.Time, random io.Reader, mac func([]byte) [32]byte) *Scribe {
	return &Scribe{journal: j, now: now, rand: random, mac: mac, heads: make(map[logKey]exchange.Head)}
}

// Now returns the wall clock's time.
func (s *Scribe) Now() time.Time { return s.now() }

// NewID draws an id.
func (s *Scribe) NewID() (block.ID, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.newID()
}

func (s *Scribe) newID() (block.ID, error) {
	var id block.ID
	_, err := io.ReadFull(s.rand, id[:])
	return id, err
}

// Write stores a record of a pond, synced when it returns nil. It completes rec in
// place: its clock and, where they are empty, its time and id. It returns a
// *TooLargeError, or the journal's errors.
func (s *Scribe) Write(ctx context.Context, tenant string, pond block.ID, rec *pb.Record) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(rec.GetRecordId()) == 0 {
		id, err := s.newID()
		if err != nil {
			return err
		}
		rec.RecordId = id[:]
	}
	now := s.now()
	if rec.GetRecordedAt() == nil {
		rec.RecordedAt = timestamppb.New(now)
	}
	rec.Hlc = uint64(s.clock.Tick(now.UnixMilli()))
	data, err := proto.MarshalOptions{Deterministic: true}.Marshal(rec)
	if err != nil {
		return fmt.Errorf("scribe: %w", err)
	}
	if len(data) > block.MaxRecordBytes {
		return &TooLargeError{len(data), block.MaxRecordBytes}
	}
	if err := s.append(ctx, logKey{tenant, pond}, rec, data); err != nil {
		return fmt.Errorf("scribe: write to pond %v: %w", pond, err)
	}
	return nil
}

// append seals one record and waits until it is stored.
func (s *Scribe) append(ctx context.Context, key logKey, rec *pb.Record, data []byte) error {
	head, ok := s.heads[key]
	if !ok {
		id, err := s.newID()
		if err != nil {
			return err
		}
		head = exchange.Head{Log: id}
	}
	h := block.Header{Log: head.Log, Pond: key.pond, FirstSeq: head.Last + 1, Prev: head.Hash, HLCLast: rec.GetHlc(), SchemaRev: schemaRev, Author: rec.GetAuthor()}
	if head.Last == 0 {
		h.CreatedHLC = rec.GetHlc()
	}
	frame, _, err := block.Seal(h, block.Payload{Records: [][]byte{data}}, block.Plain)
	if err != nil {
		return err
	}
	b, err := block.Parse(frame)
	if err != nil {
		return err
	}
	delete(s.heads, key) // until its fate is known
	receipts, err := s.journal.Submit(ctx, key.tenant, b)
	if err != nil {
		return err
	}
	select {
	case r := <-receipts:
		if r.Err != nil {
			return r.Err
		}
		if r.Verdict != exchange.Append {
			return errNotTaken
		}
	case <-ctx.Done():
		return ctx.Err()
	}
	s.heads[key] = exchange.After(b)
	return nil
}

// Seal fills in the seal of an approval of a pond, under the id of its record.
func (s *Scribe) Seal(tenant string, pond, record block.ID, a *pb.PlanApproval) {
	seal := s.sealOf(tenant, pond, record, a)
	a.Seal = seal[:]
}

// Sealed reports whether this office made an approval for that pond and record.
func (s *Scribe) Sealed(tenant string, pond, record block.ID, a *pb.PlanApproval) bool {
	seal := s.sealOf(tenant, pond, record, a)
	return hmac.Equal(seal[:], a.GetSeal())
}

func (s *Scribe) sealOf(tenant string, pond, record block.ID, a *pb.PlanApproval) [32]byte {
	bare := proto.CloneOf(a)
	bare.Seal = nil
	d := digest.Of(bare)
	what := append([]byte("pondwright approval 1\x00"), tenant...)
	what = append(what, 0)
	what = append(what, pond[:]...)
	what = append(what, record[:]...)
	return s.mac(append(what, d[:]...))
}
