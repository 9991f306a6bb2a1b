package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"google.golang.org/grpc"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server"
	"pondwright/server/access"
)

func (m *Main) inviteCommand() *cobra.Command {
	var d door
	var g grantFlags
	c := &cobra.Command{
		Use:   "invite (--data DIR | --server HOST:PORT --store DIR) --role ROLE [--pond NAME]...",
		Short: "Print a code with which one device can join the server",
		Long:  "Print a code with which one device can join the server. It is good once and for 15\nminutes, and carries the server's key, by which the device knows the right server:\nhand it over whole. Whoever sees it can use it.",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			grant, err := g.message()
			if err != nil {
				return err
			}
			return d.open(c.Context(), func(ctx context.Context, k doorkeeper) error {
				i, err := k.Invite(ctx, &pb.InviteRequest{Grant: grant})
				if err != nil {
					return err
				}
				fmt.Fprintln(m.Out, i.GetText())
				fmt.Fprintf(m.Err, "good once, until %s, for a device that will be %s\n", i.GetExpiresAt().AsTime().Local().Format("15:04:05"), grantText(grant))
				fmt.Fprintln(m.Err, "on the device: pondwright join --store DIR --server HOST:PORT --code CODE")
				return nil
			})
		},
	}
	d.flags(c.Flags())
	g.flags(c.Flags())
	require(c, "role")
	return c
}

// doorkeeper lets devices in and out, here or on a server elsewhere.
type doorkeeper interface {
	Invite(context.Context, *pb.InviteRequest) (*pb.InviteResponse, error)
	Revoke(context.Context, *pb.RevokeRequest) (*pb.RevokeResponse, error)
	SetGrant(context.Context, *pb.SetGrantRequest) (*pb.SetGrantResponse, error)
	ListDevices(context.Context, *pb.ListDevicesRequest) (*pb.ListDevicesResponse, error)
}

// afar is a doorkeeper on a server elsewhere.
type afar struct{ api pb.DeviceServiceClient }

func answered[M any](m M, err error) (M, error) { return m, client.FromServer(err) }

func (a afar) Invite(ctx context.Context, r *pb.InviteRequest) (*pb.InviteResponse, error) {
	return answered(a.api.Invite(ctx, r))
}

func (a afar) Revoke(ctx context.Context, r *pb.RevokeRequest) (*pb.RevokeResponse, error) {
	return answered(a.api.Revoke(ctx, r))
}

func (a afar) SetGrant(ctx context.Context, r *pb.SetGrantRequest) (*pb.SetGrantResponse, error) {
	return answered(a.api.SetGrant(ctx, r))
}

func (a afar) ListDevices(ctx context.Context, r *pb.ListDevicesRequest) (*pb.ListDevicesResponse, error) {
	return answered(a.api.ListDevices(ctx, r))
}

// door is where the doorkeeper is found: in a server's folder, whether or not the
// server runs, or on a server that this device joined as an admin.
type door struct{ data, tenant, target, store string }

func (d *door) flags(f *pflag.FlagSet) {
	f.StringVar(&d.data, "data", "", "the server's folder; the server may run or not")
	f.StringVar(&d.tenant, "tenant", server.Tenant, "with --data: whose ponds, if the server keeps several tenants")
	f.StringVar(&d.target, "server", "", "instead of --data: address of the server, HOST:PORT")
	f.StringVar(&d.store, "store", "", "with --server: folder of a device's store that joined it as admin")
}

// open finds the doorkeeper for as long as work takes.
func (d *door) open(ctx context.Context, work func(context.Context, doorkeeper) error) error {
	switch {
	case d.data != "" && d.target == "" && d.store == "":
		return d.openHere(ctx, work)
	case d.data == "" && d.target != "":
		return d.openAfar(ctx, work)
	}
	return usagef("say where: either --data or --server")
}

func (d *door) openHere(ctx context.Context, work func(context.Context, doorkeeper) error) error {
	if info, err := os.Stat(d.data); err != nil || !info.IsDir() {
		return fmt.Errorf("no server in %s: start one first", d.data)
	}
	registry, err := server.OpenAccess(d.data, nil, nil)
	if err != nil {
		return err
	}
	operator := access.Local()
	operator.Tenant = d.tenant
	return work(access.With(ctx, operator), access.NewService(registry, access.NewGuard(registry, nil, true)))
}

func (d *door) openAfar(ctx context.Context, work func(context.Context, doorkeeper) error) (err error) {
	conn, done, err := d.connect(ctx)
	if err != nil {
		return err
	}
	if err = work(ctx, afar{pb.NewDeviceServiceClient(conn)}); err != nil {
		err = fmt.Errorf("server %s: %w", d.target, err)
	}
	return errors.Join(err, done())
}

// connect dials as the device, or without encryption on this machine.
func (d *door) connect(ctx context.Context) (conn *grpc.ClientConn, done func() error, err error) {
	if d.store == "" {
		conn, err = client.Dial(d.target)
		if err != nil {
			return nil, nil, err
		}
		return conn, conn.Close, nil
	}
	store, err := openStore(ctx, d.store)
	if err != nil {
		return nil, nil, err
	}
	if conn, err = store.Dial(d.target); err != nil {
		return nil, nil, errors.Join(err, store.Close())
	}
	return conn, func() error { return errors.Join(conn.Close(), store.Close()) }, nil
}

// grantFlags say what a device may do.
type grantFlags struct {
	role  string
	ponds []string
}

func (g *grantFlags) flags(f *pflag.FlagSet) {
	f.StringVar(&g.role, "role", "", "crew (records and reads), designer (and plans), reader (another app: reads and plans)\nor admin (everything, and lets others in and out)")
	f.StringArrayVar(&g.ponds, "pond", nil, "name of a pond it is for; may be repeated; without it, all ponds")
}

var roleNames = map[string]pb.Role{
	"crew": pb.Role_ROLE_CREW, "designer": pb.Role_ROLE_DESIGNER, "reader": pb.Role_ROLE_READER, "admin": pb.Role_ROLE_ADMIN,
}

func (g *grantFlags) message() (*pb.Grant, error) {
	role, ok := roleNames[g.role]
	if !ok {
		return nil, usagef("--role must be crew, designer, reader or admin, not %q", g.role)
	}
	m := &pb.Grant{Role: role, AllPonds: len(g.ponds) == 0}
	for _, name := range g.ponds {
		id := block.PondID(name)
		if id.IsZero() {
			return nil, usagef("--pond needs a name")
		}
		if !slices.ContainsFunc(m.GetPondIds(), func(b []byte) bool { return block.ID(b) == id }) {
			m.PondIds = append(m.PondIds, id[:])
		}
	}
	return m, nil
}

// grantText says a grant in a few words.
func grantText(g *pb.Grant) string {
	role := strings.ToLower(strings.TrimPrefix(g.GetRole().String(), "ROLE_"))
	switch n := len(g.GetPondIds()); {
	case g.GetAllPonds():
		return role + " on all ponds"
	case n == 1:
		return role + " on 1 pond"
	default:
		return fmt.Sprintf("%s on %d ponds", role, n)
	}
}
