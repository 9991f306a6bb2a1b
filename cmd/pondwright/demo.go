package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"pondwright/client"
	"pondwright/cmd/pondwright/demo"
	"pondwright/geo/survey"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server"
	"pondwright/server/sheet"
	surveyservice "pondwright/server/survey"
)

func (m *Main) demoCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "demo [--out DIR]",
		Short: "The whole job on an invented pond: two boats without a signal, an office, a plan",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			work, err := os.MkdirTemp("", "pondwright-demo-")
			if err != nil {
				return fmt.Errorf("temporary folder: %w", err)
			}
			r := rehearsal{m: m, work: work, out: out, pond: block.PondID(demo.Pond)}
			return errors.Join(r.run(c.Context()), os.RemoveAll(work))
		},
	}
	c.Flags().StringVar(&out, "out", "pondwright-demo", "folder for the sheets and the plan; made if missing")
	return c
}

// rehearsal is one run of the demo. It uses the SDK and the services as any other
// program would; only the drawing is made beside the server.
type rehearsal struct {
	m      *Main
	work   string
	out    string
	pond   block.ID
	stores []*client.Client
}

func (r *rehearsal) sayf(format string, args ...any) { fmt.Fprintf(r.m.Out, format+"\n", args...) }

func (r *rehearsal) run(ctx context.Context) error {
	r.sayf("%s, %s, %s: an invented pond.\n", demo.Pond, demo.Owner, demo.Place)
	err := r.log(ctx)
	if err == nil {
		err = r.office(ctx)
	}
	for _, s := range r.stores {
		err = errors.Join(err, s.Close())
	}
	return err
}

// log puts each boat's log into a store of its own while no server runs.
func (r *rehearsal) log(ctx context.Context) error {
	r.sayf("On the water, no signal:")
	for i, file := range demo.Logs() {
		store, err := client.Open(ctx, filepath.Join(r.work, fmt.Sprint("boat-", i+1)))
		if err != nil {
			return err
		}
		r.stores = append(r.stores, store)
		var quiet problemCount
		a := adder{store: store, pond: r.pond, name: demo.Pond, author: fmt.Sprint("boat ", i+1), out: r.m.Out, err: &quiet}
		if err := a.recordPond(ctx, &pb.Pond{Name: demo.Pond, Owner: demo.Owner, Place: demo.Place, Uses: []pb.PondUse{pb.PondUse_POND_USE_WARM_WATER_FISH}, Dam: pb.ZoneAnswer_ZONE_ANSWER_NONE}); err != nil {
			return err
		}
		files := []demo.File{file}
		if i == 0 {
			files = append(files, demo.Shoreline())
		}
		for _, f := range files {
			if err := a.addFile(ctx, f.Name, []byte(f.Data), nil); err != nil {
				return err
			}
		}
		if i == 0 {
			site := replacing(&pb.MastSite{LatDeg: demo.MastLat, LonDeg: demo.MastLon})
			if err := put(ctx, &a, "mast site", r.pond, (*pb.Record).GetMastSite, &pb.Record{Kind: &pb.Record_MastSite{MastSite: &pb.MastSite{}}}, site); err != nil {
				return err
			}
		}
		if quiet.lines > 0 {
			r.sayf("  %d sentences or fixes of that log were unusable; the rest survives", quiet.lines)
		}
	}
	for i, s := range r.stores {
		status, err := s.Status(ctx)
		if err != nil {
			return err
		}
		r.sayf("  boat %d: %s entries wait to be sent", i+1, number(float64(status.Waiting), 0))
	}
	return nil
}

// problemCount counts warnings instead of showing them.
type problemCount struct{ lines int }

func (p *problemCount) Write(b []byte) (int, error) {
	p.lines++
	return len(b), nil
}

var _ io.Writer = (*problemCount)(nil)

// office brings the server up, lets the boats sync, measures and plans.
func (r *rehearsal) office(ctx context.Context) error {
	var ponds *surveyservice.Service
	srv, lis, err := r.m.openServer(ctx, "127.0.0.1:0", filepath.Join(r.work, "office"), false, 0, server.Answers(func(s *surveyservice.Service) { ponds = s }))
	if err != nil {
		return err
	}
	serving, stop := context.WithCancel(ctx)
	var running sync.WaitGroup
	var served error
	running.Go(func() { served = srv.Serve(serving, lis) })
	err = r.visit(ctx, lis.Addr().String(), ponds)
	stop()
	running.Wait()
	return errors.Join(err, served, srv.Close())
}

func (r *rehearsal) visit(ctx context.Context, addr string, ponds *surveyservice.Service) error {
	conn, err := client.Dial(addr)
	if err != nil {
		return err
	}
	err = r.syncAll(ctx, conn, addr)
	if err == nil {
		err = r.answers(ctx, conn, ponds)
	}
	return errors.Join(err, conn.Close())
}

func (r *rehearsal) syncAll(ctx context.Context, conn grpc.ClientConnInterface, addr string) error {
	r.sayf("\nBack at the office, a server on %s:", addr)
	for i, s := range r.stores {
		result, err := s.Sync(ctx, conn)
		if err != nil {
			return err
		}
		fmt.Fprintf(r.m.Out, "  boat %d: ", i+1)
		printResult(r.m.Out, result)
	}
	return nil
}

// answers asks the services what any program may ask them.
func (r *rehearsal) answers(ctx context.Context, conn grpc.ClientConnInterface, ponds *surveyservice.Service) error {
	r.sayf("\nHow much water there is:")
	measured, err := pb.NewSurveyServiceClient(conn).Measure(ctx, &pb.MeasureRequest{PondId: r.pond[:]})
	if err != nil {
		return client.FromServer(err)
	}
	r.m.printWarnings(measured.GetReport().GetWarnings())
	r.m.printReport(r.m.Out, measured.GetReport(), survey.Bias{})

	plan, err := r.propose(ctx, conn)
	if err != nil {
		return err
	}
	r.sayf("\nWhat to build, with one generic compressor:")
	r.m.printPlan(r.m.Out, plan)

	pond, err := ponds.Measured(ctx, r.pond, nil)
	if err != nil {
		return err
	}
	written, err := r.m.writePlan(r.out, sheet.Job{
		Name: demo.Pond, Owner: demo.Owner, Place: demo.Place + " (invented)",
		Plan: plan, Survey: pond.Report, Shore: pond.Input.Shore, Surveyed: sheet.Surveyed(pond.Input.Readings),
	})
	if err != nil {
		return err
	}
	if full, err := filepath.Abs(written); err == nil {
		written = full
	}
	r.sayf("\nSheets: %s", written)
	return nil
}

// propose asks for a plan and shows how far it is.
func (r *rehearsal) propose(ctx context.Context, conn grpc.ClientConnInterface) (*pb.Plan, error) {
	stream, err := pb.NewPlanServiceClient(conn).Propose(ctx, &pb.ProposeRequest{Pond: &pb.ProposeRequest_PondId{PondId: r.pond[:]}})
	if err != nil {
		return nil, client.FromServer(err)
	}
	show := newProgress(r.m.Err)
	defer show.done()
	for {
		step, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil, errors.New("the server ended without a plan")
		}
		if err != nil {
			return nil, client.FromServer(err)
		}
		if p := step.GetPlan(); p != nil {
			return p, nil
		}
		show.show(step.GetProgress().GetStage(), step.GetProgress().GetShare())
	}
}
