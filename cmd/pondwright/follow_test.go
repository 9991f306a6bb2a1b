package main

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestFollow_ShowsWhatOthersTake runs follow beside a boat that adds and syncs.
func TestFollow_ShowsWhatOthersTake(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name  string
		flags []string
		want  []string
	}{
		{"prose", []string{"--units", "si"}, []string{"Mill Bottom: 2 soundings by Ann, readings 1.2 m to 1.5 m", "Mill Bottom: pond by Ann", "pass by Ann"}},
		{"data", []string{"--json"}, []string{`"latDeg": 38.3002`, `"name": "Mill Bottom"`, `"readingM": 1.25`}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			addr, _ := startServer(t, filepath.Join(dir, "office"))
			boat := filepath.Join(dir, "boat")
			ctx, stop := context.WithCancel(t.Context())
			var out, errs lockedBuffer
			done := make(chan int, 1)
			go func() {
				m := Main{Out: &out, Err: &errs}
				done <- m.Run(ctx, append([]string{"follow", "--store", filepath.Join(dir, "desk"), "--server", addr, "--pond", "mill bottom"}, tt.flags...))
			}()
			mustRun(t, "add", "--store", boat, "--pond", "Mill Bottom", "--by", "Ann",
				write(t, "day.csv", "lat,lon,depth_m\n38.3002,-93.3995,1.25\n38.3003,-93.3995,1.5\n"))
			mustRun(t, "sync", "--store", boat, "--server", addr)
			tick := time.NewTicker(5 * time.Millisecond)
			defer tick.Stop()
			deadline := time.After(20 * time.Second)
			for _, want := range tt.want {
				for !strings.Contains(out.String(), want) {
					select {
					case <-deadline:
						t.Fatalf("never shows %q:\n%s\n%s", want, out.String(), errs.String())
					case <-tick.C:
					}
				}
			}
			stop()
			if status := <-done; status != exitDone {
				t.Errorf("status %d: %s", status, errs.String())
			}
		})
	}
}
