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
	err := c.chunks(ctx, pond, func(ch store.Chunk) {
		for i, s := range ch.Soundings {
			out = append(out, Sounding{Log: ch.Log, Seq: ch.FirstSeq + uint64(i), Pass: ch.Pass,
				Author: ch.Author, Foreign: ch.Foreign, Sounding: s})
		}
	})
	return out, err
}

// Record is a record held on the device.
type Record struct {
	Log     block.ID
	Seq     uint64
	Foreign bool       // pulled from the server
	Message *pb.Record // nil if this version cannot read it
}

// Records returns the records held of a pond, log by log and in the order in which
// they were recorded.
func (c *Client) Records(ctx context.Context, pond block.ID) ([]Record, error) {
	var out []Record
	err := c.chunks(ctx, pond, func(ch store.Chunk) {
		for i, b := range ch.Records {
			r := Record{Log: ch.Log, Seq: ch.FirstSeq + uint64(i), Foreign: ch.Foreign, Message: &pb.Record{}}
			if proto.Unmarshal(b, r.Message) != nil {
				r.Message = nil
			}
			out = append(out, r)
		}
	})
	return out, err
}

// chunks calls f for every readable chunk of a pond. A corrupt one is reported at
// the end, after all that can be read was.
func (c *Client) chunks(ctx context.Context, pond block.ID, f func(store.Chunk)) error {
	var corrupt error
	for ch, err := range c.store.Chunks(pond) {
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
