package main

import (
	"context"
	"fmt"
	"io"
	"os"
)

// progress tells a person how far long work is: a line that rewrites itself on a
// terminal, one line a stage elsewhere.
type progress struct {
	w        io.Writer
	terminal bool
	stage    string
	percent  int
}

func newProgress(w io.Writer) *progress {
	p := &progress{w: w}
	if f, ok := w.(*os.File); ok {
		if info, err := f.Stat(); err == nil {
			p.terminal = info.Mode()&os.ModeCharDevice != 0
		}
	}
	return p
}

// show says that a share of a stage is done.
func (p *progress) show(stage string, share float64) {
	percent := int(100 * share)
	if stage == p.stage && percent == p.percent {
		return
	}
	fresh := stage != p.stage
	p.stage, p.percent = stage, percent
	switch {
	case p.terminal:
		fmt.Fprintf(p.w, "\r\x1b[K%s … %d %%", stage, percent)
	case fresh:
		fmt.Fprintf(p.w, "%s …\n", stage)
	}
}

// done clears the line.
func (p *progress) done() {
	if p.terminal && p.stage != "" {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
	p.stage = ""
}

// share returns a callback for work that reports a share and may be canceled.
func (p *progress) share(ctx context.Context, stage string) func(float64) bool {
	return func(done float64) bool {
		p.show(stage, done)
		return ctx.Err() == nil
	}
}
