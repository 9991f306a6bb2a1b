package block

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
)

// Limits of the format. A decoder refuses anything above them.
const (
	MaxCount        = 500       // entries in one block
	MaxColumnsBytes = 256 << 10 // uncompressed columns of one block
	MaxRecordBytes  = 128 << 10 // one opaque record
	MaxAuthorBytes  = 255       // author, UTF-8
	MaxFrameBytes   = MaxColumnsBytes + 8<<10
)

// ID is 16 bytes that name a log, a pond, a pass or an origin. The zero ID means
// "none".
type ID [16]byte

// IsZero reports whether the ID names nothing.
func (id ID) IsZero() bool { return id == ID{} }

// String returns the ID as 32 hexadecimal digits.
func (id ID) String() string { return hex.EncodeToString(id[:]) }

// MarshalText returns the hexadecimal digits of the ID.
func (id ID) MarshalText() ([]byte, error) { return hex.AppendEncode(nil, id[:]), nil }

// UnmarshalText reads 32 hexadecimal digits.
func (id *ID) UnmarshalText(text []byte) error { return unhex(id[:], text) }

func unhex(dst, text []byte) error {
	if hex.DecodedLen(len(text)) != len(dst) {
		return fmt.Errorf("%d hexadecimal digits, must be %d", len(text), 2*len(dst))
	}
	_, err := hex.Decode(dst, text)
	return err
}

// IDFromBytes returns the ID held in b, which must be 16 bytes long; an empty b
// is the zero ID.
func IDFromBytes(b []byte) (ID, error) {
	var id ID
	if len(b) == 0 {
		return id, nil
	}
	if len(b) != len(id) {
		return id, fmt.Errorf("id is %d bytes long, must be %d", len(b), len(id))
	}
	copy(id[:], b)
	return id, nil
}

// Hash is the SHA-256 that identifies a block and chains its successor. The zero
// Hash stands before the first block of a log.
type Hash [32]byte

// String returns the hash as 64 hexadecimal digits.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// MarshalText returns the hexadecimal digits of the hash.
func (h Hash) MarshalText() ([]byte, error) { return hex.AppendEncode(nil, h[:]), nil }

// UnmarshalText reads 64 hexadecimal digits.
func (h *Hash) UnmarshalText(text []byte) error { return unhex(h[:], text) }

// Kind says what the entries of a block are.
type Kind uint8

// The kinds of block.
const (
	KindSoundings Kind = 1 // packed soundings
	KindRecords   Kind = 2 // opaque records, one byte string each
)

// Header is what a block says about all its entries. It is covered by the hash.
type Header struct {
	Kind      Kind
	Log       ID     // the log the entries belong to; never zero
	Pond      ID     // the pond the log belongs to; never zero
	FirstSeq  uint64 // sequence number of the first entry, from 1
	Count     int    // number of entries, 1 to MaxCount
	HLCLast   uint64 // hybrid logical clock stamp of the last entry
	Prev      Hash   // hash of the block before, zero when FirstSeq is 1
	SchemaRev uint16 // revision of the record schema the writer knew

	Pass       ID     // the boat run the soundings belong to; zero for none
	Author     string // who made the entries; empty for unknown
	Device     ID     // the device that sealed the block; zero before enrolment
	OriginLog  ID     // for entries copied out of a forked log: where they came from
	OriginSeq  uint64 // sequence number of the first of them there; 0 for none
	CreatedHLC uint64 // in the first block of a log: when the log was made; else 0

	// Unknown holds tagged header fields of a later revision, kept as they came.
	Unknown []Field
}

// Field is a tagged header field that this revision does not know.
type Field struct {
	Tag   uint8
	Value []byte // at most 255 bytes
}

// LastSeq returns the sequence number of the block's last entry.
func (h *Header) LastSeq() uint64 { return h.FirstSeq + uint64(h.Count) - 1 }

// Tags of the header's optional fields, in the order in which they are written.
const (
	fieldPass    = 1
	fieldAuthor  = 2
	fieldDevice  = 3
	fieldOrigin  = 4
	fieldCreated = 5
	fieldKnown   = 5 // the highest tag this revision knows
)

const fixedHeaderBytes = 1 + 16 + 16 + 8 + 2 + 8 + 32 + 2 + 1

// validate checks what every header must satisfy, whoever wrote it.
func (h *Header) validate() error {
	switch {
	case h.Kind != KindSoundings && h.Kind != KindRecords:
		return corrupt("kind %d is unknown", h.Kind)
	case h.Log.IsZero():
		return corrupt("log id is missing")
	case h.Pond.IsZero():
		return corrupt("pond id is missing")
	case h.Count < 1 || h.Count > MaxCount:
		return corrupt("%d entries, must be 1 to %d", h.Count, MaxCount)
	case h.FirstSeq < 1 || h.FirstSeq > 1<<63:
		return corrupt("first sequence number %d is out of range", h.FirstSeq)
	case (h.FirstSeq == 1) != (h.Prev == Hash{}):
		return corrupt("a previous hash goes with every block but the first")
	case len(h.Author) > MaxAuthorBytes:
		return corrupt("author is %d bytes long, at most %d", len(h.Author), MaxAuthorBytes)
	case h.OriginLog.IsZero() != (h.OriginSeq == 0):
		return corrupt("origin needs both a log and a sequence number")
	case len(h.Unknown) > 255-fieldKnown:
		return corrupt("%d unknown header fields", len(h.Unknown))
	}
	last := uint8(fieldKnown)
	for _, f := range h.Unknown {
		if f.Tag <= last || len(f.Value) > 255 {
			return corrupt("unknown header field %d is out of order or too long", f.Tag)
		}
		last = f.Tag
	}
	return nil
}

// appendTo appends the canonical header: the bytes that are hashed and framed.
func (h *Header) appendTo(dst []byte) []byte {
	dst = append(dst, byte(h.Kind))
	dst = append(dst, h.Log[:]...)
	dst = append(dst, h.Pond[:]...)
	dst = binary.BigEndian.AppendUint64(dst, h.FirstSeq)
	dst = binary.BigEndian.AppendUint16(dst, uint16(h.Count))
	dst = binary.BigEndian.AppendUint64(dst, h.HLCLast)
	dst = append(dst, h.Prev[:]...)
	dst = binary.BigEndian.AppendUint16(dst, h.SchemaRev)

	at := len(dst)
	dst = append(dst, 0) // number of tagged fields
	add := func(tag uint8, value []byte) {
		dst[at]++
		dst = append(dst, tag, byte(len(value)))
		dst = append(dst, value...)
	}
	if !h.Pass.IsZero() {
		add(fieldPass, h.Pass[:])
	}
	if h.Author != "" {
		add(fieldAuthor, []byte(h.Author))
	}
	if !h.Device.IsZero() {
		add(fieldDevice, h.Device[:])
	}
	if h.OriginSeq != 0 {
		add(fieldOrigin, binary.BigEndian.AppendUint64(append([]byte(nil), h.OriginLog[:]...), h.OriginSeq))
	}
	if h.CreatedHLC != 0 {
		add(fieldCreated, binary.BigEndian.AppendUint64(nil, h.CreatedHLC))
	}
	for _, f := range h.Unknown {
		add(f.Tag, f.Value)
	}
	return dst
}

// parseHeader reads a canonical header from the front of b and returns the rest.
func parseHeader(b []byte) (Header, []byte, error) {
	var h Header
	if len(b) < fixedHeaderBytes {
		return h, nil, corrupt("header is cut short")
	}
	h.Kind = Kind(b[0])
	copy(h.Log[:], b[1:])
	copy(h.Pond[:], b[17:])
	h.FirstSeq = binary.BigEndian.Uint64(b[33:])
	h.Count = int(binary.BigEndian.Uint16(b[41:]))
	h.HLCLast = binary.BigEndian.Uint64(b[43:])
	copy(h.Prev[:], b[51:])
	h.SchemaRev = binary.BigEndian.Uint16(b[83:])
	fields := int(b[85])
	b = b[fixedHeaderBytes:]

	last := uint8(0)
	for range fields {
		if len(b) < 2 || len(b) < 2+int(b[1]) {
			return h, nil, corrupt("header field is cut short")
		}
		tag, value := b[0], b[2:2+int(b[1])]
		b = b[2+len(value):]
		if tag <= last {
			return h, nil, corrupt("header field %d is out of order", tag)
		}
		last = tag
		if err := h.setField(tag, value); err != nil {
			return h, nil, err
		}
	}
	return h, b, h.validate()
}

// setField takes one tagged field. A known field must hold a value that the
// canonical form would write, so that a header has exactly one spelling.
func (h *Header) setField(tag uint8, value []byte) error {
	want := map[uint8]int{fieldPass: 16, fieldDevice: 16, fieldOrigin: 24, fieldCreated: 8}[tag]
	if want != 0 && len(value) != want {
		return corrupt("header field %d is %d bytes long, must be %d", tag, len(value), want)
	}
	empty := false
	switch tag {
	case fieldPass:
		h.Pass = ID(value)
		empty = h.Pass.IsZero()
	case fieldAuthor:
		h.Author = string(value)
		empty = h.Author == ""
	case fieldDevice:
		h.Device = ID(value)
		empty = h.Device.IsZero()
	case fieldOrigin:
		h.OriginLog = ID(value[:16])
		h.OriginSeq = binary.BigEndian.Uint64(value[16:])
		empty = h.OriginSeq == 0
	case fieldCreated:
		h.CreatedHLC = binary.BigEndian.Uint64(value)
		empty = h.CreatedHLC == 0
	case 0:
		return corrupt("header field 0 is reserved")
	default:
		h.Unknown = append(h.Unknown, Field{Tag: tag, Value: append([]byte(nil), value...)})
	}
	if empty {
		return corrupt("header field %d is written but empty", tag)
	}
	return nil
}
