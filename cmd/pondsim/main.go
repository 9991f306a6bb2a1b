// Command pondsim rehearses the meeting of boats and shore under every fault, from
// seeds, until the time or the seeds are used up. It stops at the first promise
// that is broken, prints the seed, and saves the shortest script that breaks it.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"
	"sync"
	"syscall"
	"time"

	"pondwright/cmd/pondsim/rehearsal"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

type options struct {
	seeds   uint64
	first   uint64
	seconds int
	steps   int
	workers int
	keep    string
	replay  string
	without string
	shrink  bool
}

// run executes the program and returns its exit status: 0 for promises kept, 1 for
// one broken, 2 for wrong usage.
func run(ctx context.Context, args []string, out, errs io.Writer) int {
	var o options
	f := flag.NewFlagSet("pondsim", flag.ContinueOnError)
	f.SetOutput(errs)
	f.Uint64Var(&o.seeds, "seeds", 0, "how many seeds to play; 0 for as many as the time allows")
	f.Uint64Var(&o.first, "first", 1, "the first seed")
	f.IntVar(&o.seconds, "seconds", 0, "how long to play; 0 for as long as the seeds take")
	f.IntVar(&o.steps, "steps", 40, "steps in each rehearsal")
	f.IntVar(&o.workers, "workers", runtime.GOMAXPROCS(0), "rehearsals played at the same time")
	f.StringVar(&o.keep, "keep", "cmd/pondsim/testdata/seeds", "folder for the script of a broken promise")
	f.StringVar(&o.replay, "replay", "", "play this saved script instead")
	f.StringVar(&o.without, "without", "", "actions and faults to leave out, separated by commas")
	f.BoolVar(&o.shrink, "shrink", true, "look for a shorter script that breaks the same promise")
	if err := f.Parse(args); err != nil {
		return 2
	}
	if f.NArg() > 0 || o.replay == "" && o.seeds == 0 && o.seconds == 0 || o.workers < 1 || o.steps < 1 {
		fmt.Fprintln(errs, "pondsim: say how much to play with -seeds or -seconds, or which script with -replay")
		return 2
	}
	if o.replay != "" {
		return replay(ctx, o.replay, out, errs)
	}
	return rehearse(ctx, &o, out, errs)
}

func replay(ctx context.Context, path string, out, errs io.Writer) int {
	script, err := rehearsal.Load(path)
	if err != nil {
		fmt.Fprintf(errs, "pondsim: %v\n", err)
		return 2
	}
	found, tally, err := rehearsal.Play(ctx, script)
	if ctx.Err() != nil { // what was cut off proves nothing
		fmt.Fprintln(errs, "pondsim: interrupted")
		return 1
	}
	if err == nil && found != nil {
		err = found
	}
	if err != nil {
		fmt.Fprintf(errs, "pondsim: %v\n", err)
		return 1
	}
	fmt.Fprintf(out, "%s: every promise kept, %+v\n", path, tally)
	return 0
}

// result is what became of one seed.
type result struct {
	script rehearsal.Script
	found  *rehearsal.Violation
	tally  rehearsal.Tally
	err    error
}

func rehearse(told context.Context, o *options, out, errs io.Writer) int {
	began := time.Now()
	debug.SetGCPercent(400) // stores come and go, and each is small
	ctx, cancel := context.WithCancel(told)
	defer cancel()
	without := strings.Split(o.without, ",")
	seeds := make(chan uint64)
	results := make(chan result)
	var workers sync.WaitGroup
	for range o.workers {
		workers.Go(func() {
			for seed := range seeds {
				r := result{script: rehearsal.Generate(seed, o.steps).Without(without)}
				r.found, r.tally, r.err = rehearsal.Play(ctx, r.script)
				results <- r
			}
		})
	}
	go func() {
		defer close(results)
		defer workers.Wait()
		defer close(seeds)
		for n := uint64(0); o.seeds == 0 || n < o.seeds; n++ {
			if o.seconds > 0 && time.Since(began) > time.Duration(o.seconds)*time.Second {
				return
			}
			select {
			case seeds <- o.first + n:
			case <-ctx.Done():
				return
			}
		}
	}()
	var sum rehearsal.Tally
	var bad *result
	played := 0
	for r := range results {
		if (r.found != nil || r.err != nil) && bad == nil && told.Err() == nil { // what an interrupt cut off proves nothing
			bad = &r
			cancel()
		}
		if r.found == nil && r.err == nil {
			played++
			sum = sum.Plus(r.tally)
		}
	}
	took := time.Since(began)
	fmt.Fprintf(out, "%d seeds from %d in %.0f s, %.1f a second: %d steps, %d syncs and %d that failed, %d crashes, %d entries\n",
		played, o.first, took.Seconds(), float64(played)/took.Seconds(), sum.Steps, sum.Syncs, sum.Failures, sum.Crashes, sum.Entries)
	if bad == nil {
		return 0
	}
	return report(bad, o, errs)
}

// shrinkFor bounds the search for a shorter script.
const shrinkFor = 2 * time.Minute

func report(bad *result, o *options, errs io.Writer) int {
	if bad.found == nil {
		fmt.Fprintf(errs, "pondsim: the rehearsal broke down: %v\n", bad.err)
		return 1
	}
	fmt.Fprintf(errs, "pondsim: seed %d: %v\n", bad.script.Seed, bad.found)
	if !o.shrink {
		return 1
	}
	ctx, cancel := context.WithTimeout(context.Background(), shrinkFor)
	defer cancel()
	script, found := rehearsal.Shrink(ctx, bad.script, bad.found)
	for _, s := range script.Steps {
		fmt.Fprintf(errs, "  %v\n", s)
	}
	path := filepath.Join(o.keep, fmt.Sprintf("%d.json", script.Seed))
	err := os.MkdirAll(o.keep, 0o750)
	if err == nil {
		err = rehearsal.Save(path, script)
	}
	if err != nil {
		fmt.Fprintf(errs, "pondsim: %v\n", err)
		return 1
	}
	fmt.Fprintf(errs, "%d of %d steps still break it: %v\nplay it again with: go run ./cmd/pondsim -replay %s\n",
		len(script.Steps), len(bad.script.Steps), found, path)
	return 1
}
