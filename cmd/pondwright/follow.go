package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/calc/unit"
	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

func (m *Main) followCommand() *cobra.Command {
	var dir, target, pond string
	var sparing, asJSON bool
	c := &cobra.Command{
		Use:   "follow --store DIR --server HOST:PORT [--pond NAME]",
		Short: "Stay connected: send what is taken here and show what others take, as they take it",
		Long: "Stay connected: send what is taken here and show what others take, as they take it.\n\n" +
			"It goes on until stopped with Ctrl-C and comes back by itself when the network was\naway. A depth taken on another boat that follows is here within about two seconds.",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			store, err := client.Open(c.Context(), dir)
			if err != nil {
				return err
			}
			f := follower{store: store, out: m.Out, err: m.Err, units: m.units, json: asJSON}
			return errors.Join(f.follow(c.Context(), target, pond, sparing), store.Close())
		},
	}
	c.Flags().StringVar(&dir, "store", "", "folder of the device's store; made if missing")
	c.Flags().StringVar(&target, "server", "", "address of the server, HOST:PORT")
	c.Flags().StringVar(&pond, "pond", "", "a pond of which nothing was taken here yet")
	c.Flags().BoolVar(&sparing, "sparing", false, "send in fewer, fuller blocks: within half a minute instead of two seconds")
	c.Flags().BoolVar(&asJSON, "json", false, "print what arrives as data, one message after the other")
	require(c, "store", "server")
	return c
}

// follower shows what arrives.
type follower struct {
	store *client.Client
	out   io.Writer
	err   io.Writer
	units unitSystem
	json  bool
}

func (f *follower) follow(ctx context.Context, target, pond string, sparing bool) error {
	if pond != "" {
		if err := f.store.Watch(ctx, block.PondID(pond)); err != nil {
			return err
		}
	}
	conn, err := f.store.Dial(target)
	if err != nil {
		return err
	}
	fmt.Fprintf(f.err, "following %s; stop with Ctrl-C\n", target)
	order := client.Following{SealAfter: client.LiveSealAfter, Tried: func(err error, wait time.Duration) {
		fmt.Fprintf(f.err, "%v; trying again in %v\n", err, wait.Round(time.Second))
	}}
	if sparing {
		order.SealAfter = client.SealAfter
	}
	var failed error
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	order.Arrived = func(a client.Arrival) {
		if failed = f.show(ctx, a); failed != nil {
			stop()
		}
	}
	err = f.store.Follow(ctx, conn, order)
	if errors.Is(err, context.Canceled) { // Ctrl-C is how it ends
		err = failed
	}
	return errors.Join(err, conn.Close())
}

func (f *follower) show(ctx context.Context, a client.Arrival) error {
	if f.json {
		return f.showData(a)
	}
	name, err := pondName(ctx, f.store, a.Pond)
	if err != nil {
		return err
	}
	if n := len(a.Soundings); n > 0 {
		low, high := math.Inf(1), math.Inf(-1)
		for _, s := range a.Soundings {
			low, high = min(low, float64(s.ReadingMM)/1000), max(high, float64(s.ReadingMM)/1000)
		}
		by := a.Soundings[0].Author
		if by == "" {
			by = "somebody"
		}
		fmt.Fprintf(f.out, "%s: %d soundings by %s, readings %s to %s\n", name, n, by,
			f.units.length(unit.Meters(low)), f.units.length(unit.Meters(high)))
	}
	for _, r := range a.Records {
		by := r.Message.GetAuthor()
		if by == "" {
			by = "somebody"
		}
		fmt.Fprintf(f.out, "%s: %s by %s\n", name, kindName(r.Message), by)
	}
	return nil
}

func (f *follower) showData(a client.Arrival) error {
	if len(a.Soundings) > 0 {
		m := &pb.ListSoundingsResponse{}
		for _, s := range a.Soundings {
			m.Soundings = append(m.Soundings, soundingMessage(s))
		}
		if err := writeJSON(f.out, m); err != nil {
			return err
		}
	}
	for _, r := range a.Records {
		if r.Message == nil {
			continue
		}
		if err := writeJSON(f.out, r.Message); err != nil {
			return err
		}
	}
	return nil
}

// soundingMessage is a sounding as others read it, but for what only a survey knows:
// its depth below the day's water and its flag.
func soundingMessage(s client.Sounding) *pb.Sounding {
	m := &pb.Sounding{LogId: s.Log[:], Seq: s.Seq, LatDeg: float64(s.LatE7) / 1e7, LonDeg: float64(s.LonE7) / 1e7,
		ReadingM: float64(s.ReadingMM) / 1000, Reference: pb.ReadingReference(s.Reference), Quality: uint32(s.Quality)}
	if !s.Pass.IsZero() {
		m.PassId = s.Pass[:]
	}
	if s.TimeMs != 0 {
		m.Time = timestamppb.New(time.UnixMilli(s.TimeMs))
	}
	if s.Has&block.HasTemp != 0 {
		t := float64(s.WaterTempCC) / 100
		m.WaterTempC = &t
	}
	return m
}

// kindName is what a record is about, as its field is called.
func kindName(r *pb.Record) string {
	if r == nil {
		return "a record of a later version"
	}
	kinds := r.ProtoReflect().Descriptor().Oneofs().ByName("kind")
	if field := r.ProtoReflect().WhichOneof(kinds); field != nil {
		return spaced(string(field.Name()))
	}
	return "a record of a later version"
}

// spaced turns a field's name into words.
func spaced(name string) string { return strings.ReplaceAll(name, "_", " ") }
