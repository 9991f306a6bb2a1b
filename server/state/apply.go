package state

import (
	"cmp"
	"context"
	"encoding/binary"
	"slices"

	"github.com/dgraph-io/badger/v4"
	"github.com/golang/geo/s2"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	"pondwright/server/journal"
)

// One transaction takes so much, and at most an entry of the journal more: well below
// what Badger allows.
const (
	maxTxnKeys  = 8000
	maxTxnBytes = 640 << 10
)

// follow applies the journal until the context ends or something fails.
func (s *State) follow(ctx context.Context) {
	defer close(s.done)
	for {
		if err := s.catchUp(ctx); err != nil {
			if ctx.Err() == nil {
				s.ended = err
			}
			return
		}
		if s.journal.Wait(ctx, s.applied.Pos()) != nil {
			return
		}
	}
}

// catchUp applies all that the journal holds.
func (s *State) catchUp(ctx context.Context) error {
	b := s.newBatch()
	defer func() { b.txn.Discard() }()
	for e, err := range s.journal.Read(ctx, s.applied.Pos()) {
		if err != nil {
			return err
		}
		if err := b.apply(&e); err != nil {
			return err
		}
		if b.keys >= maxTxnKeys || b.bytes >= maxTxnBytes {
			if err := s.commit(b); err != nil {
				return err
			}
			b = s.newBatch()
		}
	}
	return s.commit(b)
}

// batch is one transaction: entries applied and the cursor behind them.
type batch struct {
	txn   *badger.Txn
	ponds map[string]*summary // by pond key
	pos   uint64
	chain exchange.Chain // of the journal up to pos
	keys  int
	bytes int
}

func (s *State) newBatch() *batch {
	return &batch{txn: s.db.NewTransaction(true), ponds: map[string]*summary{}}
}

func (s *State) commit(b *batch) error {
	if b.pos == 0 {
		return nil
	}
	for key, sum := range b.ponds {
		if err := b.txn.Set([]byte(key), sum.encode()); err != nil {
			return err
		}
	}
	if err := b.txn.Set([]byte{keyCursor}, cursorValue(b.pos, b.chain)); err != nil {
		return err
	}
	if err := b.txn.Commit(); err != nil {
		return err
	}
	s.applied.Raise(b.pos)
	return nil
}

func (b *batch) set(key, value []byte) error {
	b.keys++
	b.bytes += len(key) + len(value)
	return b.txn.Set(key, value)
}

// apply adds one journal entry. One that cannot be read is counted, not dropped:
// its bytes stay in the journal, and a later version may read them.
func (b *batch) apply(e *journal.Entry) error {
	sum, err := b.pond(e.Tenant, e.Pond)
	if err != nil {
		return err
	}
	b.pos, b.chain, sum.version = e.Pos, e.Chain, e.Pos
	blk, err := e.Parse()
	if err != nil {
		sum.unreadable++
		return nil //nolint:nilerr // one bad block must not keep the rest out
	}
	payload, err := blk.Payload()
	if err != nil {
		sum.unreadable++
		return nil //nolint:nilerr // as above
	}
	if blk.Kind == block.KindRecords {
		return b.applyRecords(e, blk, payload.Records, sum)
	}
	return b.applySoundings(e, blk, payload.Soundings, sum)
}

func (b *batch) pond(tenant string, pond block.ID) (*summary, error) {
	key := pondKey(keyPond, tenant, pond)
	if sum := b.ponds[string(key)]; sum != nil {
		return sum, nil
	}
	value, err := get(b.txn, key)
	if err != nil {
		return nil, err
	}
	sum := &summary{}
	if value != nil {
		if *sum, err = decodeSummary(value); err != nil {
			return nil, err
		}
	}
	b.ponds[string(key)] = sum
	return sum, nil
}

func (b *batch) applyRecords(e *journal.Entry, blk *block.Block, records [][]byte, sum *summary) error {
	stamp := exchange.Order(exchange.Stamp(blk.HLCLast), e.ReceivedMs)
	for i, r := range records {
		v := append(make([]byte, 0, recordLead+len(r)), blk.Log[:]...)
		v = binary.BigEndian.AppendUint64(v, blk.FirstSeq+uint64(i))
		v = binary.BigEndian.AppendUint64(v, uint64(e.ReceivedMs))
		v = binary.BigEndian.AppendUint64(v, uint64(stamp))
		if err := b.set(recordKey(e.Tenant, e.Pond, e.Pos, i), append(v, r...)); err != nil {
			return err
		}
	}
	sum.records += uint64(len(records))
	return nil
}

func (b *batch) applySoundings(e *journal.Entry, blk *block.Block, soundings []block.Sounding, sum *summary) error {
	tiles := make([]s2.CellID, len(soundings))
	order := make([]int, len(soundings))
	for i := range soundings {
		tiles[i], order[i] = cellOf(&soundings[i]).Parent(tileLevel), i
		sum.lastMs = max(sum.lastMs, soundings[i].TimeMs)
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(tiles[i], tiles[j]) })
	for len(order) > 0 {
		tile := tiles[order[0]]
		seg := segment{pass: blk.Pass, author: blk.Author}
		n := 0
		for n < len(order) && tiles[order[n]] == tile {
			seg.seqs = append(seg.seqs, blk.FirstSeq+uint64(order[n]))
			seg.soundings = append(seg.soundings, soundings[order[n]])
			n++
		}
		order = order[n:]
		value, err := seg.encode()
		if err != nil {
			return err
		}
		if err := b.set(segmentKey(e.Tenant, e.Pond, tile, blk.Log, seg.seqs[0]), value); err != nil {
			return err
		}
	}
	sum.soundings += uint64(len(soundings))
	return nil
}

// cellOf returns the leaf cell a sounding lies in.
func cellOf(s *block.Sounding) s2.CellID {
	return s2.CellIDFromLatLng(s2.LatLngFromDegrees(float64(s.LatE7)/1e7, float64(s.LonE7)/1e7))
}
