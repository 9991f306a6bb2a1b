// Package client is the boat: it records soundings and records on the device,
// whether or not there is a network, and brings them to a server and others' back
// when there is one.
//
//	c, err := client.Open(ctx, dir)
//	err = c.RecordSoundings(ctx, pond, pass, "crew", soundings) // on disk when it returns
//	conn, err := client.Dial("127.0.0.1:7878")
//	result, err := c.Sync(ctx, conn)                            // loses nothing if it fails
//	err = c.Follow(ctx, conn, client.Following{Arrived: show})  // the same, until ctx ends
//	status, err := c.Status(ctx)
//	err = c.Close()
//
// What was recorded stays on the device after it was sent. The package never logs.
package client

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"sync/atomic"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/client/store"
	"pondwright/proto/block"
	"pondwright/proto/planted"
	pb "pondwright/proto/pondwright/v1"
)

// Clock is the time a client lives by.
type Clock interface {
	Now() time.Time
	// AfterFunc calls f in a goroutine of its own after d, unless stopped before.
	AfterFunc(d time.Duration, f func()) (stop func() bool)
}

type systemClock struct{}

func (systemClock) Now() time.Time { return time.Now() }

func (systemClock) AfterFunc(d time.Duration, f func()) func() bool { return time.AfterFunc(d, f).Stop }

// Option changes how a client is opened.
type Option func(*Client)

// WithClock replaces the machine's clock.
func WithClock(c Clock) Option { return func(cl *Client) { cl.clock = c } }

// WithRand replaces the machine's cryptographic randomness, from which ids and
// waiting times are drawn.
func WithRand(r io.Reader) Option { return func(cl *Client) { cl.rand = r } }

// WithFreeSpace replaces the system's answer to how many bytes the disk has left.
func WithFreeSpace(free func() (uint64, error)) Option { return func(cl *Client) { cl.free = free } }

// Client is an open device. It is safe for concurrent use.
type Client struct {
	dir     string
	store   *store.Store
	clock   Clock
	rand    io.Reader
	free    func() (uint64, error) // nil for the system's answer
	stalls  atomic.Int32           // syncs in a row that gave up on a silent server
	syncing chan struct{}          // holds one token: one sync at a time
	handed  map[block.ID]uint64    // how far logs were handed over to be kept aside; of the sync
	heard   func(*block.Block)     // told of each block of others that a pull stored; of the sync

	photosHeld atomic.Bool
	recorded   chan time.Time // when the first entry was recorded that no Follow has looked at
}

// Open opens the device's folder, making it if it is missing. One process at a
// time may hold it.
func Open(ctx context.Context, dir string, opts ...Option) (*Client, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	c := &Client{dir: dir, clock: systemClock{}, rand: rand.Reader, syncing: make(chan struct{}, 1), recorded: make(chan time.Time, 1)}
	for _, o := range opts {
		o(c)
	}
	c.rand = &lockedReader{r: c.rand}
	s, err := store.Open(store.Options{Dir: dir, Now: c.clock.Now, Rand: c.rand, Free: c.free})
	if err != nil {
		return nil, fmt.Errorf("client: %w", err)
	}
	c.store = s
	return c, nil
}

// Close closes the device. What was recorded is on disk already; closing only
// packs it. Closing twice is fine.
func (c *Client) Close() error { return c.store.Close() }

// RecordSoundings stores soundings of a pond, taken in one pass (zero for none) by
// an author (empty for unknown). When it returns nil they are on disk for good. It
// returns a *block.ValueError for a sounding out of range, having stored none.
func (c *Client) RecordSoundings(ctx context.Context, pond, pass block.ID, author string, soundings []block.Sounding) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	_, _, err := c.store.Append(store.Batch{Pond: pond, Pass: pass, Author: author, Soundings: soundings})
	c.tellRecorded()
	return err
}

// somethingRecorded reports whether anything was recorded since a Follow or a sync
// looked.
func (c *Client) somethingRecorded() bool { return len(c.recorded) > 0 }

// tellRecorded wakes a Follow.
func (c *Client) tellRecorded() {
	select {
	case c.recorded <- c.clock.Now():
	default: // an earlier one has not been looked at yet
	}
}

// ErrRecordInvalid says that a record is about nothing or its id is malformed.
var ErrRecordInvalid = errors.New("record is not valid")

// Record stores a record of a pond and returns its place in this device's log, by
// which later versions name it as a parent. When it returns nil the record is on
// disk for good.
//
// It completes rec in place: hlc always, and where they are empty recorded_at,
// record_id and parents. What a pond has one of, its own record, its mast site and
// its equipment, bears the pond's id, so that two boats write versions of one thing;
// the id of any other record is drawn at random. The parents are the versions held
// on this device, unless they are in conflict: see Settle.
func (c *Client) Record(ctx context.Context, pond block.ID, rec *pb.Record) (*pb.EntryRef, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if rec.GetKind() == nil {
		return nil, fmt.Errorf("%w: it is about nothing", ErrRecordInvalid)
	}
	drawn := len(rec.GetRecordId()) == 0 && !onePerPond(rec)
	if len(rec.GetRecordId()) == 0 {
		id := pond
		if drawn {
			var err error
			if id, err = c.NewID(); err != nil {
				return nil, err
			}
		}
		rec.RecordId = id[:]
	}
	if _, err := block.IDFromBytes(rec.GetRecordId()); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrRecordInvalid, err)
	}
	if len(rec.GetParents()) == 0 && !drawn {
		var err error
		if rec.Parents, err = c.standing(ctx, pond, rec); err != nil {
			return nil, err
		}
	}
	if rec.GetRecordedAt() == nil {
		rec.RecordedAt = timestamppb.New(c.clock.Now())
	}
	rec.Hlc = uint64(c.store.Stamp())
	if planted.Is("unknown-fields-dropped") {
		rec.ProtoReflect().SetUnknown(nil)
	}
	bytes, err := proto.MarshalOptions{Deterministic: true}.Marshal(rec)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrRecordInvalid, err)
	}
	log, seq, err := c.store.Append(store.Batch{Pond: pond, Author: rec.GetAuthor(), Records: [][]byte{bytes}})
	c.tellRecorded()
	if err != nil {
		return nil, err
	}
	return &pb.EntryRef{LogId: log[:], Seq: seq}, nil
}

func onePerPond(rec *pb.Record) bool {
	return rec.GetPond() != nil || rec.GetMastSite() != nil || rec.GetEquipmentChoice() != nil
}

// NewID draws a random id, for instance of a pass.
func (c *Client) NewID() (block.ID, error) {
	var id block.ID
	_, err := io.ReadFull(c.rand, id[:])
	return id, err
}

// Watch makes the next sync ask for a pond of which nothing was recorded here.
func (c *Client) Watch(ctx context.Context, pond block.ID) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	return c.store.Watch(pond)
}

// Release removes from the device what it recorded and what is, as the server says, in
// a backup away from it. It returns how many soundings that were. Records stay.
func (c *Client) Release(ctx context.Context) (uint64, error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	return c.store.Release()
}
