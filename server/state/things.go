package state

import (
	"cmp"
	"context"
	"slices"

	"google.golang.org/protobuf/proto"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
)

// Thing is what a record's versions come to, with the conflicts that a person has
// to settle.
type Thing struct {
	exchange.Merged
	Message *pb.Record // what to show; nil if this version cannot read it
}

// Things returns what the records of a pond come to, the newest last; none for a
// pond that is not known. Records that this version cannot read at all are left out:
// see Records.
func (s *State) Things(ctx context.Context, tenant string, pond block.ID) ([]Thing, error) {
	records, err := s.Records(ctx, tenant, pond)
	if err != nil {
		return nil, err
	}
	var versions []exchange.Version
	for _, r := range records {
		v, err := exchange.ParseVersion(exchange.Ref{Log: r.Log, Seq: r.Seq}, r.Bytes)
		if err != nil {
			continue
		}
		v.Order = exchange.Order(v.Order, r.ReceivedMs)
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
	return out, nil
}
