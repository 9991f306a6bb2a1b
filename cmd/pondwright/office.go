package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"pondwright/client"
	"pondwright/proto/block"
)

// officeFlags are the flags by which a command is told which pond of which office.
type officeFlags struct {
	server, store, pond string
	asJSON              bool
}

func (o *officeFlags) flags(c *cobra.Command) {
	f := c.PersistentFlags()
	f.StringVar(&o.server, "server", "", "address of the server, HOST:PORT")
	f.StringVar(&o.store, "store", "", "folder of the store of a device that joined; not needed on the server's own machine")
	f.StringVar(&o.pond, "pond", "", "name of the pond")
	f.BoolVar(&o.asJSON, "json", false, "print the answer as JSON, in SI units")
	for _, name := range []string{"server", "pond"} {
		if err := c.MarkPersistentFlagRequired(name); err != nil {
			panic(err) //nolint:forbidigo // names a flag that the command does not have: a bug, not input
		}
	}
}

// call connects to the office and lets f ask it about the pond.
func (o *officeFlags) call(ctx context.Context, f func(conn *grpc.ClientConn, pond []byte) error) error {
	if block.NormalizeName(o.pond) == "" {
		return usagef("--pond: a pond needs a name")
	}
	dial := func(target string) (*grpc.ClientConn, error) { return client.Dial(target) }
	closeStore := func() error { return nil }
	if o.store != "" {
		store, err := openStore(ctx, o.store)
		if err != nil {
			return err
		}
		dial = func(target string) (*grpc.ClientConn, error) { return store.Dial(target) }
		closeStore = store.Close
	}
	conn, err := dial(o.server)
	if err != nil {
		return errors.Join(err, closeStore())
	}
	id := block.PondID(o.pond)
	err = client.FromServer(f(conn, id[:]))
	if err != nil {
		err = fmt.Errorf("server %s: %w", o.server, err)
	}
	return errors.Join(err, conn.Close(), closeStore())
}
