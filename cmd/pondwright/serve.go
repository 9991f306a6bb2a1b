package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"

	"github.com/spf13/cobra"

	"pondwright/server"
)

func (m *Main) serveCommand() *cobra.Command {
	var listen, data string
	var secure bool
	var keepAside int64
	c := &cobra.Command{
		Use:   "serve --listen HOST:PORT --data DIR [--tls]",
		Short: "Keep everybody's ponds: take what boats send, measure and plan",
		Long:  "Keep everybody's ponds: take what boats send, measure and plan.\n\nWithout --tls only this machine can call, and every caller is the operator. With it\nany address may be listened on, everything is encrypted, and only devices that joined\nmay call: let one in with 'pondwright invite'.",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			s, lis, err := m.openServer(c.Context(), listen, data, secure, keepAside<<20, server.Answers(nil))
			if err != nil {
				return err
			}
			fmt.Fprintf(m.Err, "serving %s on %s; stop with Ctrl-C\n", data, lis.Addr())
			return errors.Join(s.Serve(c.Context(), lis), s.Close())
		},
	}
	c.Flags().StringVar(&listen, "listen", "127.0.0.1:7443", "address to listen on; beyond this machine only with --tls")
	c.Flags().BoolVar(&secure, "tls", false, "encrypt everything and take calls only from devices that joined")
	c.Flags().StringVar(&data, "data", "", "folder for the journal; made if missing")
	c.Flags().Int64Var(&keepAside, "keep-aside", 256, "megabytes kept of what devices sent without the right to, such as after they were shut out")
	require(c, "data")
	return c
}

// openServer opens the listener and the server's folder. It keeps so many bytes aside, 0
// for the server's default.
func (m *Main) openServer(ctx context.Context, listen, data string, secure bool, keepAside int64, services server.Service) (*server.Server, net.Listener, error) {
	var lc net.ListenConfig
	lis, err := lc.Listen(ctx, "tcp", listen)
	if err != nil {
		return nil, nil, fmt.Errorf("listen on %s: %w", listen, err)
	}
	if err := server.CheckLoopback(lis.Addr()); err != nil && !secure {
		return nil, nil, errors.Join(fmt.Errorf("listen on %s: %w; add --tls and let devices in with 'pondwright invite'", listen, err), lis.Close())
	}
	s, err := server.Open(server.Config{
		Dir:        data,
		Secure:     secure,
		AsideBytes: keepAside,
		Services:   []server.Service{services},
		Logger:     slog.New(slog.NewTextHandler(m.Err, &slog.HandlerOptions{Level: slog.LevelWarn})),
	})
	if err != nil {
		return nil, nil, errors.Join(err, lis.Close())
	}
	return s, lis, nil
}
