package state

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"

	"github.com/dgraph-io/badger/v4"
	"github.com/golang/geo/s2"
	"google.golang.org/protobuf/proto"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
)

// Pond is what is known of a pond in numbers.
type Pond struct {
	ID             block.ID
	Version        uint64 // rises with every entry of the pond; see Version
	Soundings      uint64
	Records        uint64
	LastSoundingMs int64  // newest time of a sounding, Unix ms; 0 = not known
	Unreadable     uint64 // blocks that this version cannot read
}

// Ponds returns a tenant's ponds in order of id.
func (s *State) Ponds(ctx context.Context, tenant string) ([]Pond, error) {
	var out []Pond
	err := s.view(func(txn *badger.Txn) error {
		prefix := pondKey(keyPond, tenant, block.ID{})
		prefix = prefix[:len(prefix)-len(block.ID{})]
		return each(ctx, txn, prefix, prefix, func(key, value []byte) (bool, error) {
			p, err := pondOf(block.ID(key[len(prefix):]), value)
			out = append(out, p)
			return true, err
		})
	})
	if err != nil {
		return nil, fmt.Errorf("state: ponds: %w", err)
	}
	return out, nil
}

func pondOf(id block.ID, value []byte) (Pond, error) {
	sum, err := decodeSummary(value)
	return Pond{ID: id, Version: sum.version, Soundings: sum.soundings, Records: sum.records,
		LastSoundingMs: sum.lastMs, Unreadable: sum.unreadable}, err
}

// Pond returns one pond, or ErrPondNotFound.
func (s *State) Pond(tenant string, pond block.ID) (Pond, error) {
	var out Pond
	err := s.view(func(txn *badger.Txn) error {
		value, err := get(txn, pondKey(keyPond, tenant, pond))
		if err != nil {
			return err
		}
		if value == nil {
			return ErrPondNotFound
		}
		out, err = pondOf(pond, value)
		return err
	})
	if err != nil {
		return Pond{}, fmt.Errorf("state: pond %v: %w", pond, err)
	}
	return out, nil
}

// Version returns a number that changes whenever anything is added to a pond, so
// that what was worked out from it can be kept as long as the number stays. It is
// 0 for a pond that is not known. It means nothing across a restore of the server.
func (s *State) Version(tenant string, pond block.ID) (uint64, error) {
	var version uint64
	err := s.view(func(txn *badger.Txn) error {
		value, err := get(txn, pondKey(keyPond, tenant, pond))
		if err != nil || value == nil {
			return err
		}
		sum, err := decodeSummary(value)
		version = sum.version
		return err
	})
	return version, err
}

// Record is a record as it was received.
type Record struct {
	Log        block.ID
	Seq        uint64
	ReceivedMs int64          // Unix ms, by the server's clock
	Order      exchange.Stamp // by which versions are shown; never far in the future
	Message    *pb.Record     // nil if this version cannot read Bytes
	Bytes      []byte         // as its writer marshaled it
}

const recordLead = 16 + 8 + 8 + 8

// Records returns a pond's records in the order in which the server stored them;
// none for a pond that is not known.
func (s *State) Records(ctx context.Context, tenant string, pond block.ID) ([]Record, error) {
	var out []Record
	err := s.view(func(txn *badger.Txn) error {
		prefix := pondKey(keyRecord, tenant, pond)
		return each(ctx, txn, prefix, prefix, func(_, v []byte) (bool, error) {
			if len(v) < recordLead {
				return false, errCutShort
			}
			r := Record{
				Log:        block.ID(v[:16]),
				Seq:        binary.BigEndian.Uint64(v[16:]),
				ReceivedMs: int64(binary.BigEndian.Uint64(v[24:])),
				Order:      exchange.Stamp(binary.BigEndian.Uint64(v[32:])),
				Message:    &pb.Record{},
				Bytes:      bytes.Clone(v[recordLead:]),
			}
			if proto.Unmarshal(r.Bytes, r.Message) != nil {
				r.Message = nil
			}
			out = append(out, r)
			return true, nil
		})
	})
	if err != nil {
		return nil, fmt.Errorf("state: records of pond %v: %w", pond, err)
	}
	return out, nil
}

// Sounding is a sounding as it was received, with its name and its pass.
type Sounding struct {
	Log    block.ID
	Seq    uint64
	Pass   block.ID // zero for none
	Author string
	block.Sounding
}

// Soundings returns a pond's soundings inside region, or all of them if region is
// nil, in order of tile, log and sequence number; none for a pond that is not
// known. A cell of region may be of any level.
func (s *State) Soundings(ctx context.Context, tenant string, pond block.ID, region s2.CellUnion) ([]Sounding, error) {
	var out []Sounding
	err := s.view(func(txn *badger.Txn) error {
		if region == nil {
			return scanTiles(ctx, txn, tenant, pond, 0, ^s2.CellID(0), nil, &out)
		}
		wanted := append(s2.CellUnion(nil), region...)
		wanted.Normalize()
		tiles := append(s2.CellUnion(nil), wanted...)
		for i, c := range tiles {
			if c.Level() > tileLevel {
				tiles[i] = c.Parent(tileLevel)
			}
		}
		tiles.Normalize()
		for _, c := range tiles {
			if err := scanTiles(ctx, txn, tenant, pond, c.RangeMin(), c.RangeMax(), wanted, &out); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("state: soundings of pond %v: %w", pond, err)
	}
	return out, nil
}

// scanTiles appends the soundings of the tiles from lo to hi that lie in wanted.
func scanTiles(ctx context.Context, txn *badger.Txn, tenant string, pond block.ID, lo, hi s2.CellID, wanted s2.CellUnion, out *[]Sounding) error {
	prefix := pondKey(keySoundings, tenant, pond)
	return each(ctx, txn, prefix, tileKey(tenant, pond, lo), func(key, value []byte) (bool, error) {
		rest := key[len(prefix):]
		tile := s2.CellID(binary.BigEndian.Uint64(rest))
		if tile > hi {
			return false, nil
		}
		seg, err := decodeSegment(value)
		if err != nil {
			return false, err
		}
		whole := wanted == nil || wanted.ContainsCellID(tile)
		for i := range seg.soundings {
			if whole || wanted.ContainsCellID(cellOf(&seg.soundings[i])) {
				*out = append(*out, Sounding{Log: block.ID(rest[8:24]), Seq: seg.seqs[i],
					Pass: seg.pass, Author: seg.author, Sounding: seg.soundings[i]})
			}
		}
		return true, nil
	})
}

// each calls f for the keys with the prefix from start on, until it returns false.
func each(ctx context.Context, txn *badger.Txn, prefix, start []byte, f func(key, value []byte) (more bool, err error)) error {
	it := txn.NewIterator(badger.IteratorOptions{Prefix: prefix, PrefetchValues: true, PrefetchSize: 64})
	defer it.Close()
	for it.Seek(start); it.Valid(); it.Next() {
		if err := ctx.Err(); err != nil {
			return err
		}
		more := false
		err := it.Item().Value(func(v []byte) (err error) {
			more, err = f(it.Item().Key(), v)
			return err
		})
		if err != nil || !more {
			return err
		}
	}
	return nil
}
