package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"pondwright/calc/unit"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/sheet"
)

func (m *Main) printCommand(o *officeFlags) *cobra.Command {
	var out string
	var paper paperSize
	var start startFlags
	c := &cobra.Command{
		Use:   "print --server HOST:PORT --pond NAME --out DIR [PLAN]",
		Short: "The sheets of a saved plan: the one named, the approved one, or else the newest",
		Long: "The sheets of a saved plan, with what it is worth on every page: the one named, the\n" +
			"approved one, or else the newest. With --timer or --person the first start is laid out\n" +
			"from what is on record today, and printed with them.",
		Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			first, err := start.request(c, m)
			if err != nil {
				return err
			}
			if !first.GetTimer() && first.GetPerson() == "" {
				first = nil
			}
			req := &pb.PrintSheetsRequest{PlanId: strings.Join(args, ""), Paper: paper.message(), SiUnits: unit.System(m.units) == unit.SI, FirstStart: first}
			return o.call(c.Context(), func(conn *grpc.ClientConn, pond []byte) error {
				req.PondId = pond
				if first != nil {
					first.PondId = pond
				}
				stream, err := pb.NewSheetServiceClient(conn).PrintSheets(c.Context(), req)
				if err != nil {
					return err
				}
				files, err := receivePapers(stream)
				if err != nil {
					return err
				}
				if err := writePapers(out, files); err != nil {
					return err
				}
				fmt.Fprintln(m.Out, "Sheets:", filepath.Join(out, sheet.SheetsName))
				return nil
			})
		},
	}
	f := c.Flags()
	f.StringVar(&out, "out", "", "folder for the sheets; made if missing")
	f.Var(&paper, "paper", "size of the sheets")
	start.flags(c)
	require(c, "out")
	return c
}

var errNamelessPaper = errors.New("the server sent a paper without a name, or with a path for one")

// receivePapers puts the pieces of all papers together.
func receivePapers(stream grpc.ServerStreamingClient[pb.PrintSheetsResponse]) ([]sheet.File, error) {
	var files []sheet.File
	for {
		r, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return files, nil
		}
		if err != nil {
			return nil, err
		}
		if name := r.GetName(); name != "" {
			files = append(files, sheet.File{Name: name})
		}
		if len(files) == 0 || !filepath.IsLocal(files[len(files)-1].Name) || filepath.Base(files[len(files)-1].Name) != files[len(files)-1].Name {
			return nil, errNamelessPaper
		}
		last := &files[len(files)-1]
		last.Data = append(last.Data, r.GetPiece()...)
	}
}
