package store

import (
	"encoding/binary"
	"fmt"
	"slices"

	"pondwright/proto/block"
)

// rows are the unsealed entries of a log: all of one kind, pass and author, so
// that they can become one block.
type rows struct {
	pass    block.ID
	author  string
	hlc     uint64 // stamp of the last
	payload block.Payload
	bytes   int // of the records
	written int // how many of them have a key in the database
}

// sealBytes is when a block of records is full although it holds fewer than
// block.MaxCount: what a bad link has to carry in one piece.
const sealBytes = 48 << 10

func (r *rows) count() int { return r.payload.Count() }

func (r *rows) clone() rows {
	c := *r
	c.payload.Soundings = slices.Clip(r.payload.Soundings) // appending copies
	c.payload.Records = slices.Clip(r.payload.Records)
	return c
}

// takes reports whether an entry can join the rows.
func (r *rows) takes(e *Batch, isRecord bool, size int) bool {
	n := r.count()
	if n == 0 {
		return true
	}
	return n < block.MaxCount && r.pass == e.Pass && r.author == e.Author &&
		isRecord == (len(r.payload.Records) > 0) && r.bytes+size <= sealBytes
}

// A row is: kind (1), stamp (8), pass (16), length of the author (1), author, then
// the record, or the columns of one sounding.
const rowLead = 1 + 8 + 16 + 1

func (r *rows) encode(i int) ([]byte, error) {
	kind := block.KindSoundings
	if len(r.payload.Records) > 0 {
		kind = block.KindRecords
	}
	b := append(make([]byte, 0, 96), byte(kind))
	b = binary.BigEndian.AppendUint64(b, r.hlc)
	b = append(b, r.pass[:]...)
	b = append(b, byte(len(r.author)))
	b = append(b, r.author...)
	if kind == block.KindRecords {
		return append(b, r.payload.Records[i]...), nil
	}
	return block.AppendSoundings(b, r.payload.Soundings[i:i+1])
}

// decode appends a stored row to the rows.
func (r *rows) decode(b []byte) error {
	if len(b) < rowLead || len(b) < rowLead+int(b[rowLead-1]) {
		return fmt.Errorf("%w: row is cut short", ErrCorrupt)
	}
	kind := block.Kind(b[0])
	r.hlc = binary.BigEndian.Uint64(b[1:])
	r.pass = block.ID(b[9:25])
	n := rowLead + int(b[rowLead-1])
	r.author = string(b[rowLead:n])
	b = b[n:]
	r.written++
	if kind == block.KindRecords {
		r.payload.Records = append(r.payload.Records, append([]byte{}, b...))
		r.bytes += len(b)
		return nil
	}
	soundings, err := block.ParseSoundings(b, 1)
	if err != nil {
		return fmt.Errorf("%w: row: %w", ErrCorrupt, err)
	}
	r.payload.Soundings = append(r.payload.Soundings, soundings...)
	return nil
}
