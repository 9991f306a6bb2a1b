package main

import (
	"bytes"
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pondwright/cmd/pondsim/rehearsal"
)

func runMain(t *testing.T, args ...string) (status int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	status = run(t.Context(), args, &o, &e)
	return status, o.String(), e.String()
}

func TestRun_WrongUsage(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{{}, {"-nonsense"}, {"-seeds", "1", "more"}, {"-seeds", "1", "-workers", "0"}, {"-replay", "no such file"}} {
		if status, _, errs := runMain(t, args...); status != 2 || errs == "" {
			t.Errorf("%v: status %d, %q", args, status, errs)
		}
	}
}

func TestRun_Seeds(t *testing.T) {
	t.Parallel()
	status, out, errs := runMain(t, "-seeds", "2", "-first", "77", "-steps", "6", "-keep", t.TempDir())
	if status != 0 || !strings.HasPrefix(out, "2 seeds from 77 in ") || errs != "" {
		t.Errorf("status %d, %q, %q", status, out, errs)
	}
}

func TestRun_Replay(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "s.json")
	if err := rehearsal.Save(path, rehearsal.Generate(5, 4)); err != nil {
		t.Fatal(err)
	}
	if status, out, errs := runMain(t, "-replay", path); status != 0 || !strings.Contains(out, "every promise kept") {
		t.Errorf("status %d, %q, %q", status, out, errs)
	}
}

// TestReport_SavesAScriptThatCanBePlayed hands over a broken promise, as a worker
// would.
func TestReport_SavesAScriptThatCanBePlayed(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	var errs bytes.Buffer
	bad := result{script: rehearsal.Generate(9, 3), found: &rehearsal.Violation{Promise: "none such", Step: 1, Detail: "by hand"}}
	if status := report(&bad, &options{keep: dir, shrink: true}, &errs); status != 1 {
		t.Errorf("status %d", status)
	}
	s, err := rehearsal.Load(filepath.Join(dir, "9.json"))
	if err != nil || s.Seed != 9 || len(s.Steps) != 2 || !strings.Contains(s.Found, "none such broken at step 1") {
		t.Errorf("%+v, %v", s, err)
	}
	if !strings.Contains(errs.String(), "seed 9: none such broken at step 1") {
		t.Errorf("%q", errs.String())
	}
}

// TestRehearse_StopsWhenTold: an interrupt, before the first step or amid one, is no
// broken promise.
func TestRehearse_StopsWhenTold(t *testing.T) {
	t.Parallel()
	for _, after := range []time.Duration{0, 200 * time.Millisecond} {
		ctx, cancel := context.WithTimeout(t.Context(), after)
		defer cancel()
		var out, errs bytes.Buffer
		if status := run(ctx, []string{"-seconds", "600", "-workers", "1"}, &out, &errs); status != 0 || errs.Len() > 0 {
			t.Errorf("after %v: status %d, %q", after, status, errs.String())
		}
	}
}
