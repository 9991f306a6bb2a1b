package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"pondwright/client"
	"pondwright/proto/block"
)

func (m *Main) statusCommand() *cobra.Command {
	var dir string
	c := &cobra.Command{
		Use:   "status --store DIR",
		Short: "What this device holds, what still waits to be sent and what needs a look",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			store, err := openStore(c.Context(), dir)
			if err != nil {
				return err
			}
			return errors.Join(printStatus(c.Context(), m.Out, store), store.Close())
		},
	}
	c.Flags().StringVar(&dir, "store", "", "folder of the device's store")
	require(c, "store")
	return c
}

func printStatus(ctx context.Context, w io.Writer, store *client.Client) error {
	status, err := store.Status(ctx)
	if err != nil {
		return err
	}
	if len(status.Ponds) == 0 {
		fmt.Fprintln(w, "nothing recorded yet")
	}
	for _, p := range status.Ponds {
		name, err := pondName(ctx, store, p.Pond)
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%s: %s soundings and %s records taken here, %s entries fetched from others\n", name,
			number(float64(p.Soundings), 0), number(float64(p.Records), 0), number(float64(p.Pulled), 0))
	}
	switch {
	case status.Waiting > 0:
		fmt.Fprintf(w, "%s entries wait to be sent; they are safe on this device\n", number(float64(status.Waiting), 0))
	case len(status.Ponds) > 0:
		fmt.Fprintln(w, "everything taken here is on the server")
	}
	if status.LastSync.IsZero() {
		fmt.Fprintln(w, "never synced")
	} else {
		fmt.Fprintf(w, "last synced %s\n", status.LastSync.Local().Format("2006-01-02 15:04:05 -0700"))
	}
	if member, joined, err := store.Membership(); err != nil {
		return err
	} else if joined {
		fmt.Fprintf(w, "joined its server as device %s; the certificate holds until %s and renews itself on sync\n",
			shortID(member.Device[:]), member.Expires.Local().Format("2006-01-02"))
	}
	for _, q := range status.Quarantined {
		fmt.Fprintf(w, "needs a look: up to %d entries of log %s were set aside: %s\n", q.Entries, q.Log, q.Reason)
	}
	return nil
}

// pondName is what people call a pond, or its id where nobody said.
func pondName(ctx context.Context, store *client.Client, pond block.ID) (string, error) {
	records, err := store.Records(ctx, pond)
	if err != nil {
		return "", err
	}
	name := "pond " + pond.String()
	for _, r := range records {
		if p := r.Message.GetPond(); p != nil {
			name = p.GetName()
		}
	}
	return name, nil
}
