package main

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

func (m *Main) photosCommand() *cobra.Command {
	var dir, target, out string
	c := &cobra.Command{
		Use:   "photos --store DIR [--out FOLDER [--server HOST:PORT]]",
		Short: "List the pictures of this device's ponds; put them into a folder",
		Long: "List the pictures of this device's ponds; put them into a folder.\n\n" +
			"With --server, those that others took are fetched first; one that was cut off goes on\nwhere it was.",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if target != "" && out == "" {
				return usagef("--server: give --out as well, the folder for what is fetched")
			}
			return withStore(c.Context(), dir, func(store *client.Client) (err error) {
				var conn *grpc.ClientConn
				if target != "" {
					if conn, err = store.Dial(target); err != nil {
						return err
					}
					defer func() { err = errors.Join(err, conn.Close()) }()
				}
				return m.photos(c.Context(), store, conn, out)
			})
		},
	}
	c.Flags().StringVar(&dir, "store", "", "folder of the device's store")
	c.Flags().StringVar(&out, "out", "", "folder to put the pictures into; made if missing")
	c.Flags().StringVar(&target, "server", "", "address of the server to fetch from, HOST:PORT")
	require(c, "store")
	return c
}

// photos lists every picture and puts it into a folder if there is one.
func (m *Main) photos(ctx context.Context, store *client.Client, conn *grpc.ClientConn, out string) error {
	status, err := store.Status(ctx)
	if err != nil {
		return err
	}
	n := 0
	var failed error
	for _, p := range status.Ponds {
		things, err := store.Things(ctx, p.Pond)
		if err != nil {
			return err
		}
		for _, t := range things {
			if picture := t.Message.GetPhoto(); picture != nil && !t.Deleted {
				n++
				failed = errors.Join(failed, m.photo(ctx, store, conn, p.Pond, t.Message, out))
			}
		}
	}
	if n == 0 {
		fmt.Fprintln(m.Out, "no pictures")
	}
	return failed
}

func (m *Main) photo(ctx context.Context, store *client.Client, conn *grpc.ClientConn, pond block.ID, r *pb.Record, out string) error {
	picture := r.GetPhoto()
	hash := client.PhotoHash(picture.GetSha256())
	name := hex.EncodeToString(hash[:4]) + ".jpg"
	file, err := store.Photo(hash)
	if errors.Is(err, client.ErrNotFound) && conn != nil {
		file, err = store.FetchPhoto(ctx, conn, pond, hash)
	}
	where := "here"
	switch {
	case errors.Is(err, client.ErrNotFound):
		where = "not here"
		if conn != nil {
			where = "not on the server yet"
		}
	case err != nil:
		return fmt.Errorf("picture %s: %w", name, err)
	case out != "":
		where = filepath.Join(out, name)
		if err := errors.Join(os.MkdirAll(out, 0o750), os.WriteFile(where, file, 0o600)); err != nil {
			return err
		}
	}
	by := r.GetAuthor()
	if by == "" {
		by = "somebody"
	}
	fmt.Fprintf(m.Out, "%s  %d x %d, %s bytes, by %s: %s (%s)\n", name, picture.GetWidthPx(), picture.GetHeightPx(),
		number(float64(picture.GetSizeBytes()), 0), by, picture.GetCaption(), where)
	return nil
}
