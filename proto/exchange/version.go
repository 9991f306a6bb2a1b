package exchange

import (
	"errors"
	"fmt"
	"slices"

	"google.golang.org/protobuf/encoding/protowire"

	"pondwright/proto/block"
)

// ErrRecord marks bytes that are no record.
var ErrRecord = errors.New("record cannot be read")

// Field numbers of the message Record and of its EntryRef; a test holds them
// against the schema.
const (
	fieldRecordID = 1
	fieldHLC      = 2
	fieldAuthor   = 3
	fieldParents  = 5
	fieldDeleted  = 6
	firstKind     = 16

	fieldRefLog = 1
	fieldRefSeq = 2

	kindPond  = 16
	kindVisit = 18

	kindShoreline  = 17
	kindPass       = 19
	kindCorrection = 20
	kindPlan       = 23
	kindTransect   = 28

	kindPhoto   = 40
	kindReading = 33
	kindService = 34
	kindAsBuilt = 35
)

// Rule says how the versions of a kind of record come together.
type Rule struct {
	ByField  bool // fields stand by themselves; else the record is one value
	NoWinner bool // safety-relevant: in a conflict nothing may be worked out from it
}

// RuleOf returns the rule of a kind. A pond, a visit and what is said of a photo are
// lists of facts that stand by themselves. All others are one value: half of one position and half of
// another is a place where nobody stood. Where the panels and the compressor stand
// and what machines there are can hurt someone, a profile and an approval decide
// what is switched on, and a kind that this revision does not know might.
func RuleOf(kind protowire.Number) Rule {
	switch kind {
	case kindPond, kindVisit, kindPhoto:
		return Rule{ByField: true}
	case kindShoreline, kindPass, kindCorrection, kindPlan, kindTransect, kindReading, kindService, kindAsBuilt:
		return Rule{}
	default:
		return Rule{NoWinner: true}
	}
}

// split returns a version's registers and their values. A deletion carries the
// values last seen.
func (r Rule) split(v *Version) map[protowire.Number][]byte {
	if !r.ByField {
		return map[protowire.Number][]byte{whole: v.Body}
	}
	out := map[protowire.Number][]byte{whole: nil}
	_ = eachField(v.Body, func(number protowire.Number, _ protowire.Type, _, raw []byte) error {
		out[number] = append(out[number], raw...)
		return nil
	}) // ParseVersion has read it before
	return out
}

// ParseVersion reads a marshaled Record, its kind left as bytes, so that nothing
// that this revision does not know is lost. The Version keeps slices of b. Order is
// the record's own stamp, which Order may bound. The error wraps ErrRecord.
func ParseVersion(ref Ref, b []byte) (Version, error) {
	v := Version{Ref: ref}
	err := eachField(b, func(number protowire.Number, wire protowire.Type, value, _ []byte) error {
		return v.set(number, wire, value)
	})
	if err == nil && (v.Kind == 0 || v.ID.IsZero()) {
		err = errors.New("it is about nothing")
	}
	if err == nil {
		err = eachField(v.Body, func(protowire.Number, protowire.Type, []byte, []byte) error { return nil })
	}
	if err != nil {
		return Version{}, fmt.Errorf("%w: %w", ErrRecord, err)
	}
	return v, nil
}

func (v *Version) set(number protowire.Number, wire protowire.Type, value []byte) (err error) {
	switch {
	case number == fieldRecordID && wire == protowire.BytesType:
		v.ID, err = block.IDFromBytes(value)
	case number == fieldHLC && wire == protowire.VarintType:
		v.Order = Stamp(varint(value))
	case number == fieldAuthor && wire == protowire.BytesType:
		v.Author = string(value)
	case number == fieldParents && wire == protowire.BytesType:
		var p Ref
		p, err = parseRef(value)
		v.Parents = append(v.Parents, p)
	case number == fieldDeleted && wire == protowire.VarintType:
		v.Deleted = varint(value) != 0
	case number >= firstKind && wire == protowire.BytesType:
		if number == v.Kind { // a message in two parts
			value = append(slices.Clip(v.Body), value...)
		}
		v.Kind, v.Body = number, value
	}
	return err
}

func parseRef(b []byte) (Ref, error) {
	var r Ref
	err := eachField(b, func(number protowire.Number, wire protowire.Type, value, _ []byte) (err error) {
		switch {
		case number == fieldRefLog && wire == protowire.BytesType:
			r.Log, err = block.IDFromBytes(value)
		case number == fieldRefSeq && wire == protowire.VarintType:
			r.Seq = varint(value)
		}
		return err
	})
	return r, err
}

func varint(b []byte) uint64 {
	v, _ := protowire.ConsumeVarint(b) // whole: eachField has cut it out
	return v
}

// eachField calls f for every field of a marshaled message: with its value (of a
// message, bytes or string what is inside) and with the raw bytes of tag and value.
func eachField(b []byte, f func(number protowire.Number, wire protowire.Type, value, raw []byte) error) error {
	for len(b) > 0 {
		number, wire, n := protowire.ConsumeTag(b)
		if n < 0 {
			return protowire.ParseError(n)
		}
		m := protowire.ConsumeFieldValue(number, wire, b[n:])
		if m < 0 {
			return protowire.ParseError(m)
		}
		value := b[n : n+m]
		if wire == protowire.BytesType {
			value, _ = protowire.ConsumeBytes(value)
		}
		if err := f(number, wire, value, b[:n+m]); err != nil {
			return err
		}
		b = b[n+m:]
	}
	return nil
}

// Marshal returns the record to show as a marshaled Record: its fact with the stamp
// and author of the newest side.
func (m *Merged) Marshal() []byte {
	b := protowire.AppendBytes(protowire.AppendTag(nil, fieldRecordID, protowire.BytesType), m.ID[:])
	b = protowire.AppendVarint(protowire.AppendTag(b, fieldHLC, protowire.VarintType), uint64(m.Newest.Order))
	if m.Newest.Author != "" {
		b = protowire.AppendString(protowire.AppendTag(b, fieldAuthor, protowire.BytesType), m.Newest.Author)
	}
	if m.Deleted {
		b = protowire.AppendVarint(protowire.AppendTag(b, fieldDeleted, protowire.VarintType), 1)
	}
	return protowire.AppendBytes(protowire.AppendTag(b, m.Kind, protowire.BytesType), m.Body)
}

// Reparent returns a marshaled Record in which every parent that moved is named by
// its new place. All else stays bit for bit, and so does what is no Record.
func Reparent(record []byte, moved func(Ref) (Ref, bool)) []byte {
	var out []byte
	changed := false
	err := eachField(record, func(number protowire.Number, wire protowire.Type, value, raw []byte) error {
		if number == fieldParents && wire == protowire.BytesType {
			r, err := parseRef(value)
			if err != nil {
				return err
			}
			if to, ok := moved(r); ok {
				changed = true
				ref := protowire.AppendBytes(protowire.AppendTag(nil, fieldRefLog, protowire.BytesType), to.Log[:])
				ref = protowire.AppendVarint(protowire.AppendTag(ref, fieldRefSeq, protowire.VarintType), to.Seq)
				out = protowire.AppendBytes(protowire.AppendTag(out, fieldParents, protowire.BytesType), ref)
				return nil
			}
		}
		out = append(out, raw...)
		return nil
	})
	if err != nil || !changed {
		return record
	}
	return out
}
