// Package digest names a message by what it says.
//
//	d := digest.Of(plan)
//	id := digest.Short("P", d) // P-7K3M-9QXD, for people and sheets
//
// Marshaled bytes may differ between versions of the protobuf library, so the
// digest is taken over the fields themselves: see Of.
package digest

import (
	"cmp"
	"crypto/sha256"
	"encoding/base32"
	"encoding/binary"
	"hash"
	"math"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Digest is the SHA-256 of a message's content.
type Digest [sha256.Size]byte

// Of returns the digest of a message: of its set fields in order of number, each
// as its number and its value, lists and messages with their lengths. Fields that
// this program does not know count as the bytes they came in. Two messages of one
// type have one digest exactly if they are equal, floating zeros of both signs
// told apart. A message with a map has none: it panics, for no message of the
// contract has one.
func Of(m proto.Message) Digest {
	h := sha256.New()
	h.Write([]byte("pondwright digest 1\x00"))
	h.Write([]byte(m.ProtoReflect().Descriptor().FullName()))
	message(h, m.ProtoReflect())
	return Digest(h.Sum(nil))
}

// Short returns the first 40 bits of a digest behind a letter, in digits and
// letters that nobody confuses (Crockford's base 32).
func Short(letter string, d Digest) string {
	text := crockford.EncodeToString(d[:5])
	return letter + "-" + text[:4] + "-" + text[4:]
}

var crockford = base32.NewEncoding("0123456789ABCDEFGHJKMNPQRSTVWXYZ").WithPadding(base32.NoPadding)

func message(h hash.Hash, m protoreflect.Message) {
	type field struct {
		f protoreflect.FieldDescriptor
		v protoreflect.Value
	}
	var set []field
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		set = append(set, field{f, v})
		return true
	})
	slices.SortFunc(set, func(a, b field) int { return cmp.Compare(a.f.Number(), b.f.Number()) })
	number(h, uint64(len(set)))
	for _, s := range set {
		number(h, uint64(s.f.Number()))
		if !s.f.IsList() {
			value(h, s.f, s.v)
			continue
		}
		list := s.v.List()
		number(h, uint64(list.Len()))
		for i := range list.Len() {
			value(h, s.f, list.Get(i))
		}
	}
	text(h, m.GetUnknown())
}

func value(h hash.Hash, f protoreflect.FieldDescriptor, v protoreflect.Value) {
	switch x := v.Interface().(type) {
	case protoreflect.Message:
		message(h, x)
	case string:
		text(h, []byte(x))
	case []byte:
		text(h, x)
	case bool:
		number(h, map[bool]uint64{true: 1}[x])
	case float64:
		number(h, math.Float64bits(x))
	case float32:
		number(h, uint64(math.Float32bits(x)))
	case protoreflect.EnumNumber:
		number(h, uint64(x))
	case int32:
		number(h, uint64(x))
	case int64:
		number(h, uint64(x))
	case uint32:
		number(h, uint64(x))
	case uint64:
		number(h, x)
	default:
		panic("digest: " + string(f.FullName()) + " is a map") //nolint:forbidigo // a bug in the schema, not input
	}
}

func number(h hash.Hash, v uint64) { h.Write(binary.BigEndian.AppendUint64(nil, v)) }

func text(h hash.Hash, b []byte) {
	number(h, uint64(len(b)))
	h.Write(b)
}
