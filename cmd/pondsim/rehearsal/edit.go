package rehearsal

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"slices"

	"google.golang.org/protobuf/encoding/protowire"

	"pondwright/client"
	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server"
)

// unknownField is a field of a record that no version here knows; from 16 on each is a
// kind.
const unknownField = 15

// edit records a new version of the pond: one that replaces all versions the boat
// holds, one that leaves a conflict open, one that settles it, or one that deletes the
// pond. A field of a later version may ride along.
func (w *world) edit(ctx context.Context, b *boat, pond block.ID, s *Step) error {
	held, err := b.c.Records(ctx, pond)
	if err != nil {
		return err
	}
	things, err := b.c.Things(ctx, pond)
	if err != nil {
		return err
	}
	w.next++
	var made *pb.Record
	var unknown []byte // taken before the boat has its hands on the record
	change := func(rec *pb.Record) {
		made = rec
		if rec.GetPond() == nil {
			rec.Kind = &pb.Record_Pond{Pond: &pb.Pond{Name: "Pond"}}
		}
		rec.GetPond().Place = fmt.Sprint(w.next)
		rec.Author, rec.Deleted = "crew", s.Do == doDelete
		if s.N%2 == 0 {
			tag := protowire.AppendTag(nil, unknownField, protowire.BytesType)
			rec.ProtoReflect().SetUnknown(protowire.AppendString(tag, fmt.Sprint("later ", w.next)))
		}
		unknown = bytes.Clone(rec.ProtoReflect().GetUnknown())
	}
	switch {
	case s.Do == doEdit || len(things) == 0:
		rec := &pb.Record{}
		change(rec)
		rec.Parents = refsOf(headsOf(held))
		_, err = b.c.Record(ctx, pond, rec)
	case s.Do == doSide:
		_, err = b.c.Edit(ctx, pond, things[0], "crew", change)
	default:
		_, err = b.c.Settle(ctx, pond, things[0], "crew", change)
	}
	if err != nil {
		return err
	}
	if err := b.stamped(made.GetHlc()); err != nil {
		return err
	}
	parents, err := parentsOf(made, held)
	if err != nil {
		return err
	}
	w.accepted(b, w.next, &write{pond: pond, record: made, unknown: unknown, parents: parents})
	return nil
}

// stamped checks the stamp of a record that the boat has made.
func (b *boat) stamped(hlc uint64) error {
	if hlc <= b.hlc {
		return broken("Inv13 a device's clock strictly increases", "boat %d: %x after %x", b.id, hlc, b.hlc)
	}
	if hlc <= b.seen {
		return broken("Inv14 what is made after seeing sorts after it", "boat %d: %x after it saw %x", b.id, hlc, b.seen)
	}
	// Each start may lead by a second.
	if ahead := int64(hlc>>16) - b.clock.Latest().UnixMilli(); ahead > 60_000+1000*int64(b.lives+1) {
		return broken("Inv15 no clock is dragged ahead", "boat %d: %d ms ahead of the latest its own clock ever said", b.id, ahead)
	}
	b.hlc = hlc
	return nil
}

// headsOf returns the versions that none of the others replaces, as many as one
// version may name.
func headsOf(held []client.Record) []client.Record {
	replaced := map[place]bool{}
	for _, r := range held {
		for _, p := range r.Message.GetParents() {
			replaced[placeOf(p)] = true
		}
	}
	heads := slices.DeleteFunc(slices.Clone(held), func(r client.Record) bool { return replaced[place{r.Log, r.Seq}] })
	return heads[:min(len(heads), exchange.MaxParents)]
}

func placeOf(ref *pb.EntryRef) place { return place{block.ID(ref.GetLogId()), ref.GetSeq()} }

func refsOf(records []client.Record) []*pb.EntryRef {
	var out []*pb.EntryRef
	for _, r := range records {
		out = append(out, &pb.EntryRef{LogId: r.Log[:], Seq: r.Seq})
	}
	return out
}

// parentsOf returns which writes a version replaces.
func parentsOf(made *pb.Record, held []client.Record) (map[int32]bool, error) {
	at := map[place]int32{}
	for _, r := range held {
		n, err := numberOf(r.Message)
		if err != nil {
			return nil, err
		}
		at[place{r.Log, r.Seq}] = n
	}
	parents := map[int32]bool{}
	for _, p := range made.GetParents() {
		n, ok := at[placeOf(p)]
		if !ok {
			return nil, broken("Inv19 a version replaces what its writer held", "%v names %v", made, p)
		}
		parents[n] = true
	}
	return parents, nil
}

// served is a record as the server serves it.
type served struct {
	at   place
	pond block.ID
	rec  *pb.Record
}

// checkThings compares what the versions of each pond come to, here and on every boat
// that watches it, with what follows from the versions alone: all that nobody replaced
// is shown, and it is in conflict if it says different things.
func (w *world) checkThings(ctx context.Context) error {
	for _, pond := range w.ponds {
		if w.parkedIn(pond, true) {
			continue // a device shows a version that the server will not take
		}
		things, err := w.shore.srv.State().Things(ctx, server.Tenant, pond)
		if err != nil {
			return err
		}
		var all []exchange.Merged
		for _, t := range things {
			all = append(all, t.Merged)
		}
		heads := w.heads(pond)
		if err := w.checkMerged("the server", all, heads); err != nil {
			return err
		}
		for _, b := range w.boats {
			if !b.watches[pond] {
				continue
			}
			things, err := b.c.Things(ctx, pond)
			if err != nil {
				return err
			}
			all = nil
			for _, t := range things {
				all = append(all, t.Merged)
			}
			if err := w.checkMerged(fmt.Sprint("boat ", b.id), all, heads); err != nil {
				return err
			}
		}
	}
	return nil
}

// heads returns the versions of a pond that no other replaces, in order.
func (w *world) heads(pond block.ID) []served {
	replaced := map[place]bool{}
	for _, r := range w.view.recs {
		for _, p := range r.rec.GetParents() {
			replaced[placeOf(p)] = true
		}
	}
	var out []served
	for _, r := range w.view.recs {
		if r.pond == pond && !replaced[r.at] {
			out = append(out, r)
		}
	}
	slices.SortFunc(out, func(a, b served) int {
		return cmp.Or(bytes.Compare(a.at.log[:], b.at.log[:]), cmp.Compare(a.at.seq, b.at.seq))
	})
	return out
}

// checkMerged checks what somebody shows of a pond against its heads.
func (w *world) checkMerged(who string, things []exchange.Merged, heads []served) error {
	if len(heads) == 0 {
		if len(things) != 0 {
			return broken("Inv19 what was written is shown", "%s shows %d things of a pond without records", who, len(things))
		}
		return nil
	}
	if len(things) != 1 {
		return broken("Inv19 what was written is shown", "%s shows %d things of one pond", who, len(things))
	}
	t := things[0]
	same := slices.EqualFunc(t.Heads, heads, func(a exchange.Ref, b served) bool { return (place{a.Log, a.Seq}) == b.at })
	if !same {
		return broken("Inv17 all show the same heads", "%s shows %v of %d", who, t.Heads, len(heads))
	}
	alive, said := 0, map[string]bool{}
	for _, h := range heads {
		said[h.rec.GetPond().GetPlace()] = true
		if !h.rec.GetDeleted() {
			alive++
		}
	}
	switch {
	case len(said) == 1 && len(t.Conflicts) > 0:
		return broken("Inv20 a conflict ends with the edit that names all its sides", "%s shows %v", who, t.Conflicts)
	case len(said) > 1 && alive > 0 && len(t.Conflicts) == 0:
		return broken("Inv19 what nobody replaced is shown", "%s hides one of %d heads", who, len(heads))
	case alive > 0 && t.Deleted:
		return broken("Inv21 a deletion does not hide an edit", "%s shows nothing of %d heads", who, len(heads))
	case alive == 0 && !t.Deleted:
		return broken("Inv21 what everybody deleted is gone", "%s shows it", who)
	}
	return nil
}
