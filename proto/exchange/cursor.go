package exchange

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"slices"

	"pondwright/proto/block"
	"pondwright/proto/planted"
)

// ErrCursorInvalid marks a cursor that is damaged, of other ponds, ahead of the
// server, or of a journal that went on differently: another server's, or this one's
// before it was put back to an earlier day. The client starts anew from what it holds.
var ErrCursorInvalid = errors.New("cursor is not valid here")

// Chain is a fingerprint of a journal up to an entry: it changes with every entry
// before, so two journals that agree in it agree in all that came before it. The
// server's incarnation stands before the first entry.
type Chain [16]byte

// Next returns the fingerprint after another entry: the first 16 bytes of
// SHA-256("pondwright journal 1\x00" + chain + tenant + hash of the block).
func (c Chain) Next(tenant string, hash block.Hash) Chain {
	d := sha256.New()
	d.Write([]byte("pondwright journal 1\x00"))
	d.Write(c[:])
	d.Write([]byte(tenant))
	d.Write(hash[:])
	return Chain(d.Sum(nil)[:16])
}

// Cursor is where a pull goes on. A server that takes it holds everything that it
// held when it gave it out. Its bytes, opaque to clients: version 2, chain (16),
// position (8, big-endian), scope (8), CRC-32C of those (4).
type Cursor struct {
	Chain Chain   // of the journal up to Seq
	Seq   uint64  // position in the server's journal up to which all was sent
	Scope [8]byte // ScopeOf what was asked for
}

const (
	cursorVersion = 2
	cursorBytes   = 1 + 16 + 8 + 8 + 4
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Bytes returns the cursor in its opaque form.
func (c Cursor) Bytes() []byte {
	b := append([]byte{cursorVersion}, c.Chain[:]...)
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
		Chain: Chain(b[1:17]),
		Seq:   binary.BigEndian.Uint64(b[17:]),
		Scope: [8]byte(b[25:33]),
	}, nil
}

// Check returns ErrCursorInvalid unless the cursor is of these ponds and of a journal
// whose chain at the cursor's position is chain; found says whether it gets there.
func (c Cursor) Check(scope [8]byte, chain Chain, found bool) error {
	if c.Scope != scope || !found || c.Chain != chain && !planted.Is("same-server-after-restore") {
		return ErrCursorInvalid
	}
	return nil
}

// ScopeOf returns a short fingerprint of a server's incarnation, a tenant and a set of
// ponds, whatever their order.
func ScopeOf(incarnation block.ID, tenant string, ponds []block.ID) [8]byte {
	sorted := slices.Clone(ponds)
	slices.SortFunc(sorted, func(a, b block.ID) int { return bytes.Compare(a[:], b[:]) })
	d := sha256.New()
	d.Write([]byte("pondwright scope 2\x00" + tenant + "\x00"))
	d.Write(incarnation[:])
	for _, p := range slices.Compact(sorted) {
		d.Write(p[:])
	}
	return [8]byte(d.Sum(nil)[:8])
}
