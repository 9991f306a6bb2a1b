package journal

import (
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/dgraph-io/badger/v4"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	"pondwright/proto/planted"
)

// Key letters; FORMAT.md describes keys and values.
const (
	keyEntry = 'e'
	keyIndex = 'i'
	keyAside = 'q'
	keyPond  = 'p'
)

func entryKey(pos uint64) []byte {
	return binary.BigEndian.AppendUint64([]byte{keyEntry}, pos)
}

func tenantKey(letter byte, tenant string) []byte {
	return append([]byte{letter, byte(len(tenant))}, tenant...)
}

func logKey(letter byte, tenant string, log block.ID) []byte {
	return append(tenantKey(letter, tenant), log[:]...)
}

func seqKey(letter byte, tenant string, log block.ID, first uint64) []byte {
	return binary.BigEndian.AppendUint64(logKey(letter, tenant, log), first)
}

func pondKey(tenant string, pond block.ID, pos uint64) []byte {
	return binary.BigEndian.AppendUint64(logKey(keyPond, tenant, pond), pos)
}

func (e *Entry) encode() []byte {
	b := append(make([]byte, 0, 80+len(e.Frame)), e.Chain[:]...)
	b = append(b, byte(len(e.Tenant)))
	b = append(b, e.Tenant...)
	b = binary.BigEndian.AppendUint64(b, uint64(e.ReceivedMs))
	b = append(b, e.Pond[:]...)
	b = append(b, e.Log[:]...)
	return append(b, e.Frame...)
}

func decodeEntry(pos uint64, b []byte) (Entry, error) {
	if len(b) < 17 || len(b) < 17+int(b[16])+8+32 {
		return Entry{}, fmt.Errorf("%w: position %d is cut short", ErrCorrupt, pos)
	}
	n := 17 + int(b[16])
	return Entry{
		Pos:        pos,
		Chain:      exchange.Chain(b[:16]),
		Tenant:     string(b[17:n]),
		ReceivedMs: int64(binary.BigEndian.Uint64(b[n:])),
		Pond:       block.ID(b[n+8 : n+24]),
		Log:        block.ID(b[n+24 : n+40]),
		Frame:      b[n+40:],
	}, nil
}

// span is an index value: a stored block without its bytes.
type span struct {
	pos, last uint64
	hash      block.Hash
}

func (s span) encode() []byte {
	b := binary.BigEndian.AppendUint64(nil, s.pos)
	b = binary.BigEndian.AppendUint64(b, s.last)
	return append(b, s.hash[:]...)
}

func decodeSpan(b []byte) (span, error) {
	if len(b) != 48 {
		return span{}, fmt.Errorf("%w: index value of %d bytes", ErrCorrupt, len(b))
	}
	return span{binary.BigEndian.Uint64(b), binary.BigEndian.Uint64(b[8:]), block.Hash(b[16:])}, nil
}

// indexAt returns the stored block that starts at first, and whether one does.
func indexAt(txn *badger.Txn, tenant string, log block.ID, first uint64) (s span, found bool, err error) {
	item, err := txn.Get(seqKey(keyIndex, tenant, log, first))
	if errors.Is(err, badger.ErrKeyNotFound) {
		return s, false, nil
	}
	if err != nil {
		return s, false, err
	}
	err = item.Value(func(v []byte) error {
		s, err = decodeSpan(v)
		return err
	})
	return s, err == nil, err
}

// spanBefore returns the last block of a log that starts at or before seq and lies
// at a position up to synced: what was written since is not there yet.
func spanBefore(txn *badger.Txn, tenant string, log block.ID, seq, synced uint64) (s span, found bool, err error) {
	it := txn.NewIterator(badger.IteratorOptions{Prefix: logKey(keyIndex, tenant, log), Reverse: true})
	defer it.Close()
	for it.Seek(seqKey(keyIndex, tenant, log, seq)); it.Valid(); it.Next() {
		err = it.Item().Value(func(v []byte) error {
			s, err = decodeSpan(v)
			return err
		})
		if err != nil || s.pos <= synced || planted.Is("head-before-sync") {
			return s, err == nil, err
		}
	}
	return span{}, false, nil
}

func headOf(txn *badger.Txn, tenant string, log block.ID, synced uint64) (exchange.Head, error) {
	s, _, err := spanBefore(txn, tenant, log, ^uint64(0), synced)
	return exchange.Head{Log: log, Last: s.last, Hash: s.hash}, err
}

// asideLead is the length of what comes before the frame: when it came.
const asideLead = 8

func asideKey(tenant string, log block.ID, first uint64, hash block.Hash) []byte {
	return append(seqKey(keyAside, tenant, log, first), hash[:]...)
}

func putAside(txn *badger.Txn, tenant string, log block.ID, first uint64, hash block.Hash, nowMs int64, frame []byte) error {
	return txn.Set(asideKey(tenant, log, first, hash), append(binary.BigEndian.AppendUint64(nil, uint64(nowMs)), frame...))
}

func decodeAside(key, value []byte) (Aside, error) {
	if len(key) != 16+8+32 || len(value) < 8 {
		return Aside{}, fmt.Errorf("%w: entry kept aside is cut short", ErrCorrupt)
	}
	return Aside{
		Log:        block.ID(key[:16]),
		FirstSeq:   binary.BigEndian.Uint64(key[16:]),
		ReceivedMs: int64(binary.BigEndian.Uint64(value)),
		Frame:      value[8:],
	}, nil
}
