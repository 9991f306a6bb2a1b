package exchange

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"slices"

	"pondwright/proto/block"
)

// ErrCursorInvalid marks a cursor that is damaged, of another server incarnation,
// of other ponds, or ahead of the server. The client starts anew from what it
// holds.
var ErrCursorInvalid = errors.New("cursor is not valid here")

// Cursor is where a pull goes on. Its bytes, opaque to clients: version 1, server
// incarnation (16), position (8, big-endian), scope (8), CRC-32C of those (4).
type Cursor struct {
	Incarnation block.ID // the server's; another one after a restore
	Seq         uint64   // position in the server's journal of the last block sent
	Scope       [8]byte  // ScopeOf the ponds asked for
}

const (
	cursorVersion = 1
	cursorBytes   = 1 + 16 + 8 + 8 + 4
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Bytes returns the cursor in its opaque form.
func (c Cursor) Bytes() []byte {
	b := append([]byte{cursorVersion}, c.Incarnation[:]...)
	b = binary.BigEndian.AppendUint64(b, c.Seq)
	b = append(b, c.Scope[:]...)
	return binary.BigEndian.AppendUint32(b, crc32.Checksum(b, castagnoli))
}

// ParseCursor reads an opaque cursor. The error is ErrCursorInvalid.
func ParseCursor(b []byte) (Cursor, error) {
	if len(b) != cursorBytes || b[0] != cursorVersion ||
		binary.BigEndian.Uint32(b[cursorBytes-4:]) != crc32.Checksum(b[:cursorBytes-4], castagnoli) {
		return Cursor{}, ErrCursorInvalid
	}
	return Cursor{
		Incarnation: block.ID(b[1:17]),
		Seq:         binary.BigEndian.Uint64(b[17:]),
		Scope:       [8]byte(b[25:33]),
	}, nil
}

// Check returns ErrCursorInvalid unless the cursor belongs to this incarnation and
// scope and lies within a journal that ends at last.
func (c Cursor) Check(incarnation block.ID, scope [8]byte, last uint64) error {
	if c.Incarnation != incarnation || c.Scope != scope || c.Seq > last {
		return ErrCursorInvalid
	}
	return nil
}

// ScopeOf returns a short fingerprint of a set of ponds, whatever their order.
func ScopeOf(tenant string, ponds []block.ID) [8]byte {
	sorted := slices.Clone(ponds)
	slices.SortFunc(sorted, func(a, b block.ID) int { return bytes.Compare(a[:], b[:]) })
	d := sha256.New()
	d.Write([]byte("pondwright scope 1\x00" + tenant + "\x00"))
	for _, p := range slices.Compact(sorted) {
		d.Write(p[:])
	}
	return [8]byte(d.Sum(nil)[:8])
}
