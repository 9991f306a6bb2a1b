package client

import (
	"context"
	"errors"

	"google.golang.org/protobuf/proto"

	"pondwright/client/store"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// Sounding is a sounding held on the device, with its name and its pass.
type Sounding struct {
	Log     block.ID
	Seq     uint64
	Pass    block.ID // zero for none
	Author  string
	Foreign bool // pulled from the server
	block.Sounding
}

// Soundings returns the soundings held of a pond, log by log and in the order in
// which they were recorded.
func (c *Client) Soundings(ctx context.Context, pond block.ID) ([]Sounding, error) {
	var out []Sounding
	err := c.chunks(ctx, pond, block.KindSoundings, func(ch store.Chunk) {
		out = append(out, soundingsOf(ch)...)
	})
	return out, err
}

func soundingsOf(ch store.Chunk) []Sounding {
	out := make([]Sounding, len(ch.Soundings))
	for i, s := range ch.Soundings {
		out[i] = Sounding{Log: ch.Log, Seq: ch.FirstSeq + uint64(i), Pass: ch.Pass,
			Author: ch.Author, Foreign: ch.Foreign, Sounding: s}
	}
	return out
}

// Record is a record held on the device.
type Record struct {
	Log     block.ID
	Seq     uint64
	Foreign bool       // pulled from the server
	Message *pb.Record // nil if this version cannot read it
}

// Records returns the records held of a pond as they were written, log by log and in
// that order; Things returns what they come to.
func (c *Client) Records(ctx context.Context, pond block.ID) ([]Record, error) {
	records, err := c.records(ctx, pond)
	var out []Record
	for _, r := range records {
		r.Message = &pb.Record{}
		if proto.Unmarshal(r.bytes, r.Message) != nil {
			r.Message = nil
		}
		out = append(out, r.Record)
	}
	return out, err
}

type rawRecord struct {
	Record
	bytes []byte
}

func (c *Client) records(ctx context.Context, pond block.ID) ([]rawRecord, error) {
	var out []rawRecord
	err := c.chunks(ctx, pond, block.KindRecords, func(ch store.Chunk) {
		for i, b := range ch.Records {
			out = append(out, rawRecord{Record{Log: ch.Log, Seq: ch.FirstSeq + uint64(i), Foreign: ch.Foreign}, b})
		}
	})
	return out, err
}

// chunks calls f for every readable chunk of a pond and kind. A corrupt one is
// reported at the end, after all that can be read was.
func (c *Client) chunks(ctx context.Context, pond block.ID, kind block.Kind, f func(store.Chunk)) error {
	var corrupt error
	for ch, err := range c.store.Chunks(pond, kind) {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if errors.Is(err, store.ErrCorrupt) {
			corrupt = errors.Join(corrupt, err)
			continue
		}
		if err != nil {
			return err
		}
		f(ch)
	}
	return corrupt
}
