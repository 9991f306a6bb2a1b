package state

import (
	"encoding/binary"
	"errors"

	"github.com/golang/geo/s2"

	"pondwright/proto/block"
)

// Keys, with numbers big-endian, ids of 16 bytes and a tenant as its length (1
// byte) and its bytes:
//
//	c                                  format (1), chain (16) and journal position
//	p tenant pond                      summary
//	r tenant pond position index(2)    log, seq, received, stamp, the record
//	s tenant pond tile log first-seq   pass, author, sequence numbers, columns
//
// tile is the id of the S2 cell of level 16 that the soundings lie in, about 150 m
// wide; a block is cut into one segment per tile.
const (
	keyCursor    = 'c'
	keyPond      = 'p'
	keyRecord    = 'r'
	keySoundings = 's'

	tileLevel = 16
)

var errCutShort = errors.New("derived value is cut short; delete the state to rebuild it")

func pondKey(letter byte, tenant string, pond block.ID) []byte {
	b := append([]byte{letter, byte(len(tenant))}, tenant...)
	return append(b, pond[:]...)
}

func recordKey(tenant string, pond block.ID, pos uint64, i int) []byte {
	b := binary.BigEndian.AppendUint64(pondKey(keyRecord, tenant, pond), pos)
	return binary.BigEndian.AppendUint16(b, uint16(i))
}

func tileKey(tenant string, pond block.ID, tile s2.CellID) []byte {
	return binary.BigEndian.AppendUint64(pondKey(keySoundings, tenant, pond), uint64(tile))
}

func segmentKey(tenant string, pond block.ID, tile s2.CellID, log block.ID, first uint64) []byte {
	return binary.BigEndian.AppendUint64(append(tileKey(tenant, pond, tile), log[:]...), first)
}

// summary is the value of a pond's key.
type summary struct {
	version    uint64 // journal position of the last entry
	soundings  uint64
	records    uint64
	lastMs     int64 // newest time of a sounding, 0 if none is known
	unreadable uint64
}

func (s *summary) encode() []byte {
	b := binary.BigEndian.AppendUint64(nil, s.version)
	b = binary.BigEndian.AppendUint64(b, s.soundings)
	b = binary.BigEndian.AppendUint64(b, s.records)
	b = binary.BigEndian.AppendUint64(b, uint64(s.lastMs))
	return binary.BigEndian.AppendUint64(b, s.unreadable)
}

func decodeSummary(b []byte) (summary, error) {
	if len(b) != 40 {
		return summary{}, errCutShort
	}
	return summary{
		version:    binary.BigEndian.Uint64(b),
		soundings:  binary.BigEndian.Uint64(b[8:]),
		records:    binary.BigEndian.Uint64(b[16:]),
		lastMs:     int64(binary.BigEndian.Uint64(b[24:])),
		unreadable: binary.BigEndian.Uint64(b[32:]),
	}, nil
}

// segment is the soundings of one block that lie in one tile.
type segment struct {
	pass      block.ID
	author    string
	seqs      []uint64 // ascending
	soundings []block.Sounding
}

func (s *segment) encode() ([]byte, error) {
	b := append(make([]byte, 0, 64+8*len(s.seqs)), s.pass[:]...)
	b = append(b, byte(len(s.author)))
	b = append(b, s.author...)
	b = binary.AppendUvarint(b, uint64(len(s.seqs)))
	prev := uint64(0)
	for _, q := range s.seqs {
		b = binary.AppendUvarint(b, q-prev)
		prev = q
	}
	return block.AppendSoundings(b, s.soundings)
}

func decodeSegment(b []byte) (segment, error) {
	var s segment
	if len(b) < 17 || len(b) < 17+int(b[16]) {
		return s, errCutShort
	}
	s.pass = block.ID(b[:16])
	s.author = string(b[17 : 17+int(b[16])])
	b = b[17+int(b[16]):]
	count, n := binary.Uvarint(b)
	if n <= 0 || count > block.MaxCount {
		return s, errCutShort
	}
	b = b[n:]
	s.seqs = make([]uint64, count)
	prev := uint64(0)
	for i := range s.seqs {
		d, n := binary.Uvarint(b)
		if n <= 0 {
			return s, errCutShort
		}
		b = b[n:]
		prev += d
		s.seqs[i] = prev
	}
	var err error
	s.soundings, err = block.ParseSoundings(b, int(count))
	return s, err
}
