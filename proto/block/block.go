package block

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"

	"pondwright/proto/planted"
)

// Version is the frame format this package writes and the only one it reads.
const Version = 1

// Codec says how the columns are stored in the frame. The hash does not depend
// on it.
type Codec uint8

// The codecs. Every reader must know Plain.
const (
	Plain     Codec = 0
	Zstd      Codec = 1
	Predicted Codec = 2 // of soundings: values by how much a guess missed them, range coded
)

// ErrCorrupt marks bytes that are not a sound block: cut short, flipped, over a
// limit, or against the format.
var ErrCorrupt = errors.New("block is corrupt")

// ErrUnknownCodec marks a sound frame whose columns this revision cannot unpack.
var ErrUnknownCodec = errors.New("block codec is unknown")

func corrupt(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrCorrupt, fmt.Sprintf(format, args...))
}

// domainTag keeps a block's hash apart from any other SHA-256 of ours.
const domainTag = "pondwright block 1\x00"

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// frame: version, codec, canonical header, length of the stored columns,
// stored columns, CRC-32C of all that.
const (
	frameLead  = 2
	frameTrail = 4
)

// Block is a parsed frame whose checksum holds.
type Block struct {
	Header
	Hash    Hash   // identity of the block, and what its successor names as Prev
	Frame   []byte // the bytes it was parsed from
	columns []byte // uncompressed
}

// Payload is what a block carries: the field that goes with its kind.
type Payload struct {
	Soundings []Sounding
	Records   [][]byte
}

// Count returns the number of entries.
func (p *Payload) Count() int { return len(p.Soundings) + len(p.Records) }

// Seal packs the payload under the header into a frame and returns it with its
// hash. It sets the header's Kind and Count from the payload. Predicted falls back to
// Zstd for what it cannot take, and each to Plain when that is no longer. It returns an error for a payload of
// mixed or no entries, for a value out of range and for anything over a limit.
func Seal(h Header, p Payload, codec Codec) ([]byte, Hash, error) {
	if (len(p.Soundings) > 0) == (len(p.Records) > 0) {
		return nil, Hash{}, errors.New("a block holds either soundings or records")
	}
	h.Kind, h.Count = KindSoundings, p.Count()
	if len(p.Records) > 0 {
		h.Kind = KindRecords
	}
	if err := h.validate(); err != nil {
		return nil, Hash{}, err
	}
	columns, err := p.appendColumns(nil)
	if err != nil {
		return nil, Hash{}, err
	}
	if len(columns) > MaxColumnsBytes {
		return nil, Hash{}, fmt.Errorf("columns are %d bytes long, at most %d", len(columns), MaxColumnsBytes)
	}
	return frameOf(h, columns, codec)
}

// SealUnder packs the entries of b once more under another header, of which Kind and
// Count are set from b. The columns stay as they are, those of a later revision
// included. It is for entries that have to move to another log.
func (b *Block) SealUnder(h Header, codec Codec) ([]byte, Hash, error) {
	h.Kind, h.Count = b.Kind, b.Count
	if err := h.validate(); err != nil {
		return nil, Hash{}, err
	}
	return frameOf(h, b.columns, codec)
}

// frameOf frames columns under a header that is valid.
func frameOf(h Header, columns []byte, codec Codec) ([]byte, Hash, error) {
	header := h.appendTo(nil)
	stored, codec, err := pack(h, columns, codec)
	if err != nil {
		return nil, Hash{}, err
	}
	frame := make([]byte, 0, frameLead+len(header)+4+len(stored)+frameTrail)
	frame = append(frame, Version, byte(codec))
	frame = append(frame, header...)
	frame = binary.BigEndian.AppendUint32(frame, uint32(len(stored)))
	frame = append(frame, stored...)
	frame = binary.BigEndian.AppendUint32(frame, crc32.Checksum(frame, castagnoli))
	return frame, hashOf(header, columns), nil
}

// pack returns the columns as the codec stores them, or another if that one does not
// take them or does not make them shorter.
func pack(h Header, columns []byte, codec Codec) ([]byte, Codec, error) {
	if codec > Predicted {
		return nil, codec, ErrUnknownCodec
	}
	var stored []byte
	taken := false
	if codec == Predicted && h.Kind == KindSoundings {
		stored, taken = predict(columns, h.Count)
	}
	if codec == Predicted && !taken {
		codec = Zstd
	}
	if codec == Zstd {
		stored = compress(columns)
	}
	if codec == Plain || len(stored) >= len(columns) {
		return columns, Plain, nil
	}
	return stored, codec, nil
}

// Parse checks a frame and computes its hash. The Block keeps the slice. The
// columns are decompressed but not yet unpacked: see Payload. The error wraps
// ErrCorrupt or ErrUnknownCodec.
func Parse(frame []byte) (*Block, error) {
	h, header, rest, err := open(frame)
	if err != nil {
		return nil, err
	}
	if len(rest) < 4 || int64(binary.BigEndian.Uint32(rest)) != int64(len(rest)-4) {
		return nil, corrupt("length of the columns does not match")
	}
	columns := rest[4:]
	switch Codec(frame[1]) {
	case Plain:
	case Zstd:
		if columns, err = decompress(columns); err != nil {
			return nil, corrupt("columns: %v", err)
		}
	case Predicted:
		if h.Kind != KindSoundings {
			return nil, corrupt("codec %d is for soundings", Predicted)
		}
		if columns, err = unpredict(columns, h.Count); err != nil {
			return nil, err
		}
	default:
		return nil, fmt.Errorf("%w: %d", ErrUnknownCodec, frame[1])
	}
	if len(columns) > MaxColumnsBytes {
		return nil, corrupt("columns are %d bytes long, at most %d", len(columns), MaxColumnsBytes)
	}
	return &Block{Header: h, Hash: hashOf(header, columns), Frame: frame, columns: columns}, nil
}

// ParseHeader checks a frame's checksum and reads its header; the columns stay
// packed. The error wraps ErrCorrupt.
func ParseHeader(frame []byte) (Header, error) {
	h, _, _, err := open(frame)
	return h, err
}

// open checks a frame's checksum and returns its header, as read and as bytes, and
// what follows it.
func open(frame []byte) (h Header, header, rest []byte, err error) {
	if len(frame) > MaxFrameBytes {
		return h, nil, nil, corrupt("frame is %d bytes long, at most %d", len(frame), MaxFrameBytes)
	}
	if len(frame) < frameLead+fixedHeaderBytes+4+frameTrail {
		return h, nil, nil, corrupt("frame is cut short")
	}
	body := frame[:len(frame)-frameTrail]
	if binary.BigEndian.Uint32(frame[len(body):]) != crc32.Checksum(body, castagnoli) && !planted.Is("checksum-unchecked") {
		return h, nil, nil, corrupt("checksum does not match")
	}
	if frame[0] != Version {
		return h, nil, nil, corrupt("format version %d is unknown", frame[0])
	}
	h, rest, err = parseHeader(body[frameLead:])
	return h, body[frameLead : len(body)-len(rest)], rest, err
}

// Payload unpacks the entries. A column of a later revision is skipped.
func (b *Block) Payload() (Payload, error) {
	if b.Kind == KindRecords {
		records, err := parseRecords(b.columns, b.Count)
		return Payload{Records: records}, err
	}
	soundings, err := ParseSoundings(b.columns, b.Count)
	return Payload{Soundings: soundings}, err
}

func (p *Payload) appendColumns(dst []byte) ([]byte, error) {
	if len(p.Records) > 0 {
		return appendRecords(dst, p.Records)
	}
	return AppendSoundings(dst, p.Soundings)
}

// hashOf covers the uncompressed columns, so that a block keeps its identity
// whatever codec carries it. The header is self-delimiting, so no two pairs of
// header and columns hash the same bytes.
func hashOf(header, columns []byte) Hash {
	d := sha256.New()
	d.Write([]byte(domainTag))
	d.Write(header)
	d.Write(columns)
	return Hash(d.Sum(nil))
}

// Peek reads the header of a frame without checking the checksum, so that a
// refusal can name what it refuses. Nothing else may be built on it.
func Peek(frame []byte) (Header, bool) {
	if len(frame) < frameLead || frame[0] != Version {
		return Header{}, false
	}
	h, _, err := parseHeader(frame[frameLead:])
	return h, err == nil
}
