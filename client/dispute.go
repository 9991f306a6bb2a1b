package client

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
)

// Dispute is a thing of which people say different things, for a person to settle.
type Dispute struct {
	Pond   block.ID
	Thing  Thing
	Points []Point // one for each of the thing's conflicts, in that order
}

// Point is one field in dispute.
type Point struct {
	Field  string // its name in the schema; empty for the thing as a whole
	Claims []Claim
}

// Claim is what one side says.
type Claim struct {
	Author  string
	At      time.Time  // by the clock of the side's device
	Deleted bool       // that the thing is no more
	Value   *pb.Record // of its fact the field in dispute, or all; nil if this version cannot read it
}

// Blocks reports whether nothing may be worked out until the dispute is settled: it
// is about something that can hurt.
func (d *Dispute) Blocks() bool { return d.Thing.Undecided }

// Disputes returns what is in dispute in a pond, by what is held on this device.
func (c *Client) Disputes(ctx context.Context, pond block.ID) ([]Dispute, error) {
	things, err := c.Things(ctx, pond)
	var out []Dispute
	for _, t := range things {
		if len(t.Conflicts) == 0 {
			continue
		}
		d := Dispute{Pond: pond, Thing: t}
		for _, conflict := range t.Conflicts {
			p := Point{Field: fieldName(t.Kind, conflict.Field)}
			for _, side := range conflict.Sides {
				p.Claims = append(p.Claims, claimOf(&t.Merged, side))
			}
			d.Points = append(d.Points, p)
		}
		out = append(out, d)
	}
	return out, err
}

func claimOf(m *exchange.Merged, side exchange.Side) Claim {
	v := side.Version
	claim := Claim{Author: v.Author, At: time.UnixMilli(v.Order.UnixMs()), Deleted: v.Deleted, Value: &pb.Record{}}
	shown := exchange.Merged{ID: m.ID, Kind: m.Kind, Body: side.Value, Newest: v}
	if proto.Unmarshal(shown.Marshal(), claim.Value) != nil {
		claim.Value = nil
	}
	return claim
}

// fieldName returns what the schema calls a field of a kind of record.
func fieldName(kind, field protowire.Number) string {
	if field == 0 {
		return ""
	}
	fact := (&pb.Record{}).ProtoReflect().Descriptor().Fields().ByNumber(kind)
	if fact != nil && fact.Message() != nil {
		if f := fact.Message().Fields().ByNumber(field); f != nil {
			return string(f.Name())
		}
	}
	return fmt.Sprintf("field %d of a later version", field)
}

// Decide settles a dispute: for each of its points it takes the claim with the given
// number, from 0. It stores a version that names all sides as what it replaces, and
// returns its place. It returns an error that wraps exchange.ErrPick unless every
// point is given a claim.
func (c *Client) Decide(ctx context.Context, d Dispute, author string, claims []int) (*pb.EntryRef, error) {
	body, deleted, err := d.Thing.Pick(claims)
	if err != nil {
		return nil, fmt.Errorf("client: decide: %w", err)
	}
	parents, _ := d.Thing.Draft(true)
	settled := d.Thing.Merged
	settled.Body = body
	rec := &pb.Record{}
	if err := proto.Unmarshal(settled.Marshal(), rec); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrRecordInvalid, err)
	}
	rec.Author, rec.RecordedAt, rec.Deleted = author, nil, deleted
	rec.Parents = refMessages(parents)
	return c.Record(ctx, d.Pond, rec)
}
