package client

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
)

// Thing is what the versions of a record held on the device come to, with the
// conflicts that a person has to settle.
type Thing struct {
	exchange.Merged
	Message *pb.Record // what to show; nil if this version cannot read it
}

// Things returns what the records held of a pond come to, the newest last. Records
// that this version cannot read at all are left out: see Records.
func (c *Client) Things(ctx context.Context, pond block.ID) ([]Thing, error) {
	records, err := c.records(ctx, pond)
	var versions []exchange.Version
	nowMs := c.clock.Now().UnixMilli()
	for _, r := range records {
		v, err := exchange.ParseVersion(exchange.Ref{Log: r.Log, Seq: r.Seq}, r.bytes)
		if err != nil {
			continue
		}
		v.Order = exchange.Order(v.Order, nowMs)
		versions = append(versions, v)
	}
	var out []Thing
	for _, m := range exchange.Resolve(versions) {
		t := Thing{Merged: m, Message: &pb.Record{}}
		if proto.Unmarshal(m.Marshal(), t.Message) != nil {
			t.Message = nil
		}
		out = append(out, t)
	}
	slices.SortStableFunc(out, func(a, b Thing) int { return cmp.Compare(a.Newest.Order, b.Newest.Order) })
	return out, err
}

// Edit stores a new version of a thing: change gets the record to change, with the
// fields that this version does not know. A conflict that the thing stands in stays
// open; Settle ends it. The result is that of Record.
func (c *Client) Edit(ctx context.Context, pond block.ID, t Thing, author string, change func(*pb.Record)) (*pb.EntryRef, error) {
	return c.edit(ctx, pond, t, false, author, change)
}

// Settle is Edit by a person who has seen all sides of a thing's conflicts: change
// gets what the thing shows, and what it leaves holds.
func (c *Client) Settle(ctx context.Context, pond block.ID, t Thing, author string, change func(*pb.Record)) (*pb.EntryRef, error) {
	return c.edit(ctx, pond, t, true, author, change)
}

func (c *Client) edit(ctx context.Context, pond block.ID, t Thing, settles bool, author string, change func(*pb.Record)) (*pb.EntryRef, error) {
	parents, body := t.Draft(settles)
	draft := t.Merged
	draft.Body = body
	rec := &pb.Record{}
	if err := proto.Unmarshal(draft.Marshal(), rec); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrRecordInvalid, err)
	}
	rec.Author, rec.RecordedAt = author, nil
	change(rec)
	rec.Parents = refMessages(parents)
	return c.Record(ctx, pond, rec)
}

// standing returns the parents for a record written anew: the versions held of it,
// or none while they are in conflict, which is then not settled by the way.
func (c *Client) standing(ctx context.Context, pond block.ID, rec *pb.Record) ([]*pb.EntryRef, error) {
	things, err := c.Things(ctx, pond)
	if err != nil {
		return nil, err
	}
	for _, t := range things {
		if bytes.Equal(t.ID[:], rec.GetRecordId()) && sameKind(t.Message, rec) && len(t.Conflicts) == 0 {
			parents, _ := t.Draft(false)
			return refMessages(parents), nil
		}
	}
	return nil, nil
}

func sameKind(a, b *pb.Record) bool {
	kinds := a.ProtoReflect().Descriptor().Oneofs().ByName("kind")
	return a.ProtoReflect().WhichOneof(kinds) == b.ProtoReflect().WhichOneof(kinds)
}

func refMessages(refs []exchange.Ref) []*pb.EntryRef {
	var out []*pb.EntryRef
	for _, r := range refs {
		out = append(out, &pb.EntryRef{LogId: r.Log[:], Seq: r.Seq})
	}
	return out
}
