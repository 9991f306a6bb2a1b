package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"pondwright/client"
)

func (m *Main) joinCommand() *cobra.Command {
	var dir, target, code, name string
	c := &cobra.Command{
		Use:   "join --store DIR --server HOST:PORT --code CODE [--name NAME]",
		Short: "Make this device known to a server with a code from 'pondwright invite'",
		Long:  "Make this device known to a server with a code from 'pondwright invite'. The device\nmakes a key that never leaves it, checks that the server is the one the code names,\nand gets a certificate for 90 days that renews itself on sync. Case, blanks and\nhyphens of the code do not matter. If no answer came, the same code may be tried again.",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			store, err := client.Open(c.Context(), dir)
			if err != nil {
				return err
			}
			membership, err := store.Join(c.Context(), target, code, name)
			if err == nil {
				fmt.Fprintf(m.Out, "joined %s as device %s; the certificate holds until %s and renews itself on sync\n",
					target, shortID(membership.Device[:]), membership.Expires.Local().Format("2006-01-02"))
			} else {
				err = fmt.Errorf("server %s: %w", target, err)
			}
			return errors.Join(err, store.Close())
		},
	}
	c.Flags().StringVar(&dir, "store", "", "folder of the device's store; made if missing")
	c.Flags().StringVar(&target, "server", "", "address of the server, HOST:PORT")
	c.Flags().StringVar(&code, "code", "", "the code as it was printed")
	c.Flags().StringVar(&name, "name", "", "what people call this device, such as \"boat 2\"")
	require(c, "store", "server", "code")
	return c
}

// shortID is enough of an id for people to tell devices apart.
func shortID(id []byte) string { return fmt.Sprintf("%.4x", id) }
