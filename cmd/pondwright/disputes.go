package main

import (
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"

	"pondwright/client"
)

func (m *Main) disputesCommand() *cobra.Command {
	var dir string
	var asJSON bool
	c := &cobra.Command{
		Use:   "disputes --store DIR",
		Short: "List what people wrote about one thing without knowing of each other; settle one",
		Long: "List what people wrote about one thing without knowing of each other: both values,\n" +
			"who and when. Nothing is worked out from a disputed mast site, machine or profile\n" +
			"until a person has settled it with 'pondwright disputes settle'. Sync first: what\n" +
			"others wrote, and whether it is settled already, is known only then.",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return withStore(c.Context(), dir, func(store *client.Client) error {
				all, err := disputes(c.Context(), store)
				if err != nil {
					return err
				}
				if asJSON {
					return printDisputesData(m.Out, all)
				}
				return printDisputes(c.Context(), m.Out, store, all)
			})
		},
	}
	c.PersistentFlags().StringVar(&dir, "store", "", "folder of the device's store")
	c.Flags().BoolVar(&asJSON, "json", false, "print them as data")
	if err := c.MarkPersistentFlagRequired("store"); err != nil {
		panic(err) //nolint:forbidigo // names a flag that the command does not have: a bug, not input
	}
	c.AddCommand(failing(m.settleCommand(&dir)))
	return c
}

func (m *Main) settleCommand(dir *string) *cobra.Command {
	var author string
	c := &cobra.Command{
		Use:   "settle --store DIR --by NAME THING SIDE | THING FIELD=SIDE…",
		Short: "Say which side of a dispute holds",
		Long: "Say which side of a dispute holds. THING and SIDE are as 'pondwright disputes' lists\n" +
			"them: a side for each field in dispute. What the others wrote stays in the record's\n" +
			"history. It is settled for everybody once this device and theirs have synced.",
		Args: cobra.MinimumNArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			return withStore(c.Context(), *dir, func(store *client.Client) error {
				d, err := findDispute(c.Context(), store, args[0])
				if err != nil {
					return err
				}
				sides, err := pickSides(d, args[1:])
				if err != nil {
					return err
				}
				if _, err := store.Decide(c.Context(), d, author, sides); err != nil {
					return err
				}
				fmt.Fprintf(m.Out, "%s is settled here, and for the others after a sync\n", thingCode(d))
				return nil
			})
		},
	}
	c.Flags().StringVar(&author, "by", "", "who decides")
	require(c, "by")
	return c
}

// withStore runs f on a store that exists and closes it.
func withStore(ctx context.Context, dir string, f func(*client.Client) error) error {
	store, err := openStore(ctx, dir)
	if err != nil {
		return err
	}
	return errors.Join(f(store), store.Close())
}

// disputes returns those of every pond on the device.
func disputes(ctx context.Context, store *client.Client) ([]client.Dispute, error) {
	status, err := store.Status(ctx)
	if err != nil {
		return nil, err
	}
	var all []client.Dispute
	for _, p := range status.Ponds {
		some, err := store.Disputes(ctx, p.Pond)
		if err != nil {
			return nil, err
		}
		all = append(all, some...)
	}
	return all, nil
}

// thingCode names a thing on a command line: what it is and the start of its id.
func thingCode(d client.Dispute) string {
	kind := "thing"
	if r := d.Thing.Message; r != nil {
		kinds := r.ProtoReflect().Descriptor().Oneofs().ByName("kind")
		if field := r.ProtoReflect().WhichOneof(kinds); field != nil {
			kind = string(field.Name())
		}
	}
	return kind + "-" + hex.EncodeToString(d.Thing.ID[:4])
}

func findDispute(ctx context.Context, store *client.Client, code string) (client.Dispute, error) {
	all, err := disputes(ctx, store)
	if err != nil {
		return client.Dispute{}, err
	}
	i := slices.IndexFunc(all, func(d client.Dispute) bool { return thingCode(d) == code })
	if i < 0 {
		return client.Dispute{}, fmt.Errorf("nothing called %q is in dispute here: see 'pondwright disputes'", code)
	}
	return all[i], nil
}

// sideName names the sides of a point by letters.
func sideName(i int) string { return string(rune('a' + i%26)) }

// pickSides reads SIDE, or FIELD=SIDE for each point.
func pickSides(d client.Dispute, words []string) ([]int, error) {
	picked := map[string]string{}
	for _, w := range words {
		field, side, named := strings.Cut(w, "=")
		if !named {
			field, side = "", w
		}
		if !named && len(d.Points) == 1 {
			field = d.Points[0].Field
		}
		picked[field] = side
	}
	sides := make([]int, len(d.Points))
	for i, p := range d.Points {
		n := 0
		for n < len(p.Claims) && sideName(n) != picked[p.Field] {
			n++
		}
		if n == len(p.Claims) {
			return nil, usagef("%s has sides a to %s: pick one", pointName(p), sideName(len(p.Claims)-1))
		}
		sides[i] = n
		delete(picked, p.Field)
	}
	for field := range picked {
		return nil, usagef("%s is not in dispute", field)
	}
	return sides, nil
}

func pointName(p client.Point) string {
	if p.Field == "" {
		return "all of it"
	}
	return p.Field
}

func printDisputes(ctx context.Context, w io.Writer, store *client.Client, all []client.Dispute) error {
	if len(all) == 0 {
		fmt.Fprintln(w, "nothing is in dispute, by what this device holds")
	}
	for _, d := range all {
		name, err := pondName(ctx, store, d.Pond)
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%s, %s", name, thingCode(d))
		if d.Blocks() {
			fmt.Fprint(w, ": nothing is worked out from it until it is settled")
		}
		fmt.Fprintln(w)
		for _, p := range d.Points {
			fmt.Fprintf(w, "  %s\n", pointName(p))
			for i, claim := range p.Claims {
				by := claim.Author
				if by == "" {
					by = "somebody"
				}
				fmt.Fprintf(w, "    %s  %s, %s: %s\n", sideName(i), by, claim.At.Local().Format("2006-01-02 15:04 -0700"), clip(claimText(claim, p.Field), 200))
			}
		}
	}
	return nil
}

// claimText is what a claim says, in the spelling of the data.
func claimText(c client.Claim, field string) string {
	if c.Deleted {
		return "it is no more"
	}
	raw, err := claimData(c, field)
	if err != nil || raw == nil {
		return "written by a later version"
	}
	return string(raw)
}

// claimData is the value of a claim as JSON, nil if this version cannot read it.
func claimData(c client.Claim, field string) (json.RawMessage, error) {
	if c.Value == nil {
		return nil, nil
	}
	kinds := c.Value.ProtoReflect().Descriptor().Oneofs().ByName("kind")
	kind := c.Value.ProtoReflect().WhichOneof(kinds)
	if kind == nil {
		return nil, nil
	}
	fact := c.Value.ProtoReflect().Get(kind).Message().Interface()
	raw, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(fact)
	if err != nil {
		return nil, err
	}
	if field != "" {
		var fields map[string]json.RawMessage
		if err := json.Unmarshal(raw, &fields); err != nil {
			return nil, err
		}
		if raw = fields[field]; raw == nil {
			return json.RawMessage(`""`), nil // cleared
		}
	}
	var b bytes.Buffer
	if err := json.Compact(&b, raw); err != nil { // protojson varies its spaces on purpose
		return nil, err
	}
	return b.Bytes(), nil
}

// The data of disputes: not in the contract, since they are a device's own view.
type (
	disputeData struct {
		Thing  string      `json:"thing"`
		PondID string      `json:"pondId"`
		Blocks bool        `json:"blocks"`
		Points []pointData `json:"points"`
	}
	pointData struct {
		Field  string      `json:"field"`
		Claims []claimJSON `json:"claims"`
	}
	claimJSON struct {
		Side    string          `json:"side"`
		Author  string          `json:"author"`
		At      time.Time       `json:"at"`
		Deleted bool            `json:"deleted"`
		Value   json.RawMessage `json:"value"`
	}
)

func printDisputesData(w io.Writer, all []client.Dispute) error {
	out := make([]disputeData, 0, len(all))
	for _, d := range all {
		data := disputeData{Thing: thingCode(d), PondID: d.Pond.String(), Blocks: d.Blocks()}
		for _, p := range d.Points {
			point := pointData{Field: p.Field}
			for i, c := range p.Claims {
				value, err := claimData(c, p.Field)
				if err != nil {
					return err
				}
				point.Claims = append(point.Claims, claimJSON{sideName(i), c.Author, c.At.UTC(), c.Deleted, value})
			}
			data.Points = append(data.Points, point)
		}
		out = append(out, data)
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(out)
}
