package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"pondwright/client"
)

func (m *Main) syncCommand() *cobra.Command {
	var dir, target string
	var hold bool
	c := &cobra.Command{
		Use:   "sync --store DIR --server HOST:PORT",
		Short: "Send what this device holds and fetch what others sent",
		Long:  "Send what this device holds and fetch what others sent. A server beyond this machine\nneeds 'pondwright join' first. The device's certificate renews itself here.",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			store, err := openStore(c.Context(), dir)
			if err != nil {
				return err
			}
			store.HoldPhotos(hold)
			return errors.Join(m.sync(c, store, target), store.Close())
		},
	}
	c.Flags().StringVar(&dir, "store", "", "folder of the device's store")
	c.Flags().StringVar(&target, "server", "", "address of the server, HOST:PORT")
	c.Flags().BoolVar(&hold, "hold-photos", false, "keep pictures here for now, for instance on a metered network")
	require(c, "store", "server")
	return c
}

// openStore opens a store that exists; a mistyped folder is not made into one.
func openStore(ctx context.Context, dir string) (*client.Client, error) {
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return nil, fmt.Errorf("no store in %s: add something first", dir)
	}
	return client.Open(ctx, dir)
}

func (m *Main) sync(c *cobra.Command, store *client.Client, target string) error {
	conn, err := store.Dial(target)
	if err != nil {
		return err
	}
	result, err := store.Sync(c.Context(), conn)
	printResult(m.Out, result)
	if err != nil {
		err = fmt.Errorf("server %s: %w; nothing is lost, sync again when you can", target, err)
	}
	return errors.Join(err, conn.Close())
}

// printResult says what a sync moved.
func printResult(w io.Writer, r client.Result) {
	fmt.Fprintf(w, "sent %s entries in %s bytes, fetched %s entries of others\n",
		number(float64(r.PushedEntries), 0), number(float64(r.PushedBytes), 0), number(float64(r.PulledEntries), 0))
	if r.PhotosSent > 0 {
		fmt.Fprintf(w, "sent %d pictures, %s bytes\n", r.PhotosSent, number(float64(r.PhotoBytes), 0))
	}
	if r.PulledAside > 0 {
		fmt.Fprintf(w, "%d blocks contradict what this device holds; see status\n", r.PulledAside)
	}
}
