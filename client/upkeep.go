package client

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"pondwright/proto/block"
	"pondwright/proto/digest"
	pb "pondwright/proto/pondwright/v1"
)

// RecordProfile stores temperature and oxygen against depth. The same profile
// stored again adds nothing. It returns ErrRecordInvalid for one without a time or
// readings.
func (c *Client) RecordProfile(ctx context.Context, pond block.ID, author string, p *pb.Profile) error {
	if p.GetTakenAt() == nil || len(p.GetReadings()) == 0 {
		return fmt.Errorf("%w: a profile needs a time and readings", ErrRecordInvalid)
	}
	return c.once(ctx, pond, author, p, &pb.Record{Kind: &pb.Record_Profile{Profile: p}})
}

// RecordReading stores a look at the running equipment. The same one stored again
// adds nothing. It returns ErrRecordInvalid for one without a time.
func (c *Client) RecordReading(ctx context.Context, pond block.ID, author string, r *pb.Reading) error {
	if r.GetTakenAt() == nil {
		return fmt.Errorf("%w: a reading needs a time", ErrRecordInvalid)
	}
	return c.once(ctx, pond, author, r, &pb.Record{Kind: &pb.Record_Reading{Reading: r}})
}

// RecordService stores work done on the equipment. The same one stored again adds
// nothing. It returns ErrRecordInvalid for one without a time or kind of work.
func (c *Client) RecordService(ctx context.Context, pond block.ID, author string, s *pb.Service) error {
	if s.GetDoneAt() == nil || s.GetWork() == pb.ServiceWork_SERVICE_WORK_UNSPECIFIED {
		return fmt.Errorf("%w: a service needs a time and what was done", ErrRecordInvalid)
	}
	return c.once(ctx, pond, author, s, &pb.Record{Kind: &pb.Record_Service{Service: s}})
}

// RecordAsBuilt stores where a diffuser was really set; the newest of a label
// holds. It returns ErrRecordInvalid for one without a time or label.
func (c *Client) RecordAsBuilt(ctx context.Context, pond block.ID, author string, a *pb.AsBuilt) error {
	if a.GetSetAt() == nil || a.GetLabel() == "" {
		return fmt.Errorf("%w: a diffuser set needs a time and a label", ErrRecordInvalid)
	}
	id := named(pond, "as built", []byte(a.GetLabel()))
	_, err := c.Record(ctx, pond, &pb.Record{RecordId: id[:], Author: author, Kind: &pb.Record_AsBuilt{AsBuilt: a}})
	return err
}

// named makes the id of a record from what it is about, so that devices that never
// met write versions of one thing.
func named(pond block.ID, kind string, what []byte) block.ID {
	h := sha256.New()
	h.Write([]byte("pondwright " + kind + " 1\x00"))
	h.Write(pond[:])
	h.Write(what)
	return block.ID(h.Sum(nil)[:16])
}

// once stores a record named for its content unless the device holds it.
func (c *Client) once(ctx context.Context, pond block.ID, author string, fact proto.Message, rec *pb.Record) error {
	d := digest.Of(fact)
	id := named(pond, "fact", d[:])
	held, err := c.Records(ctx, pond)
	if err != nil {
		return err
	}
	for _, r := range held {
		if bytes.Equal(r.Message.GetRecordId(), id[:]) {
			return nil
		}
	}
	rec.RecordId, rec.Author = id[:], author
	_, err = c.Record(ctx, pond, rec)
	return err
}

// Upkeep is what is on record of a pond's life with its equipment, each kind in
// order of time.
type Upkeep struct {
	Profiles []*pb.Profile
	Readings []*pb.Reading
	Services []*pb.Service
	AsBuilt  []*pb.AsBuilt // one for each label, in order of label
}

// Upkeep returns what the device holds of a pond's life with its equipment.
func (c *Client) Upkeep(ctx context.Context, pond block.ID) (Upkeep, error) {
	things, err := c.Things(ctx, pond)
	var u Upkeep
	for _, t := range things {
		if t.Deleted {
			continue
		}
		switch kind := t.Message.GetKind().(type) {
		case *pb.Record_Profile:
			u.Profiles = append(u.Profiles, kind.Profile)
		case *pb.Record_Reading:
			u.Readings = append(u.Readings, kind.Reading)
		case *pb.Record_Service:
			u.Services = append(u.Services, kind.Service)
		case *pb.Record_AsBuilt:
			u.AsBuilt = append(u.AsBuilt, kind.AsBuilt)
		}
	}
	slices.SortStableFunc(u.Profiles, func(a, b *pb.Profile) int { return a.GetTakenAt().AsTime().Compare(b.GetTakenAt().AsTime()) })
	slices.SortStableFunc(u.Readings, func(a, b *pb.Reading) int { return a.GetTakenAt().AsTime().Compare(b.GetTakenAt().AsTime()) })
	slices.SortStableFunc(u.Services, func(a, b *pb.Service) int { return a.GetDoneAt().AsTime().Compare(b.GetDoneAt().AsTime()) })
	slices.SortStableFunc(u.AsBuilt, func(a, b *pb.AsBuilt) int { return cmp.Compare(a.GetLabel(), b.GetLabel()) })
	return u, err
}
