package rehearsal

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"maps"
	"slices"

	"pondwright/proto/block"
)

// contents is what somebody holds of a pond: by place, the bytes of the entry.
type contents map[place][]byte

// digest returns a fingerprint: two who hold the same have the same.
func (c contents) digest() [32]byte {
	d := sha256.New()
	for _, at := range slices.SortedFunc(maps.Keys(c), func(a, b place) int {
		return cmp.Or(bytes.Compare(a.log[:], b.log[:]), cmp.Compare(a.seq, b.seq))
	}) {
		d.Write(at.log[:])
		d.Write(binary.BigEndian.AppendUint64(nil, at.seq))
		d.Write(binary.BigEndian.AppendUint64(nil, uint64(len(c[at]))))
		d.Write(c[at])
	}
	return [32]byte(d.Sum(nil))
}

// contentsOfBoat reads what a boat holds of a pond.
func contentsOfBoat(ctx context.Context, b *boat, pond block.ID) (contents, error) {
	out := contents{}
	soundings, err := b.c.Soundings(ctx, pond)
	if err != nil {
		return nil, err
	}
	for _, s := range soundings {
		if out[place{s.Log, s.Seq}], err = block.AppendSoundings(nil, []block.Sounding{s.Sounding}); err != nil {
			return nil, err
		}
	}
	records, err := b.c.Records(ctx, pond)
	if err != nil {
		return nil, err
	}
	for _, r := range records {
		if out[place{r.Log, r.Seq}], err = marshal(r.Message); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// contents returns what the reader has pulled of a pond.
func (w *world) contents(pond block.ID) (contents, error) {
	out := contents{}
	for at, n := range w.view.what {
		wr := w.writes[n]
		if wr.pond != pond || wr.sounding == nil {
			continue
		}
		entry, err := block.AppendSoundings(nil, []block.Sounding{*wr.sounding}) // as served, which was checked
		if err != nil {
			return nil, err
		}
		out[at] = entry
	}
	for _, r := range w.view.recs {
		if r.pond != pond {
			continue
		}
		entry, err := marshal(r.rec)
		if err != nil {
			return nil, err
		}
		out[r.at] = entry
	}
	return out, nil
}

// checkDigests checks that the server and all who watch a pond hold the same bytes. A
// pond of which the server will not take something is left out.
func (w *world) checkDigests(ctx context.Context) error {
	for _, pond := range w.ponds {
		if w.parkedIn(pond, false) {
			continue
		}
		ashore, err := w.contents(pond)
		if err != nil {
			return err
		}
		want := ashore.digest()
		for _, b := range w.boats {
			if !b.watches[pond] {
				continue
			}
			aboard, err := contentsOfBoat(ctx, b, pond)
			if err != nil {
				return err
			}
			if aboard.digest() != want {
				return broken("Inv17 all hold the same", "boat %d holds %d entries of a pond, the server %d, and not the same", b.id, len(aboard), len(ashore))
			}
			w.tally.Alike++
		}
	}
	return nil
}

// parkedIn reports whether an entry of a pond, or a record, was refused for good.
func (w *world) parkedIn(pond block.ID, record bool) bool {
	for n := range w.parked {
		if wr := w.writes[n]; wr != nil && wr.pond == pond && (!record || wr.record != nil) {
			return true
		}
	}
	return false
}
