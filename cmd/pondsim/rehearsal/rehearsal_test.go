package rehearsal

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func mustKeep(t *testing.T, s Script) Tally {
	t.Helper()
	found, tally, err := Play(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	if found != nil {
		for i, step := range s.Steps {
			t.Logf("%d: %v", i, step)
		}
		t.Fatalf("seed %d: %v", s.Seed, found)
	}
	return tally
}

// TestPlay_KeepsEveryPromise is the short version of what the program does for as
// long as it is told.
func TestPlay_KeepsEveryPromise(t *testing.T) {
	t.Parallel()
	seeds := uint64(6)
	if testing.Short() {
		seeds = 2
	}
	var sum Tally
	for seed := range seeds {
		sum = sum.Plus(mustKeep(t, Generate(1_000_000+seed, 30)))
	}
	t.Logf("%+v", sum)
	if sum.Syncs == 0 || sum.Entries == 0 {
		t.Errorf("nothing happened: %+v", sum)
	}
}

// TestPlay_SavedSeeds plays what once broke a promise.
func TestPlay_SavedSeeds(t *testing.T) {
	t.Parallel()
	paths, err := filepath.Glob("../testdata/seeds/*.json")
	if err != nil || len(paths) == 0 {
		t.Fatal("no seeds", err)
	}
	for _, path := range paths {
		t.Run(filepath.Base(path), func(t *testing.T) {
			t.Parallel()
			s, err := Load(path)
			if err != nil {
				t.Fatal(err)
			}
			mustKeep(t, s)
		})
	}
}

func TestGenerate_SameSeedSameScript(t *testing.T) {
	t.Parallel()
	if diff := cmp.Diff(Generate(7, 200), Generate(7, 200)); diff != "" {
		t.Error(diff)
	}
	if cmp.Equal(Generate(7, 200).Steps, Generate(8, 200).Steps) {
		t.Error("two seeds give one script")
	}
}

// TestGenerate_DrawsEverything: every action and every fault comes up.
func TestGenerate_DrawsEverything(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, s := range Generate(1, 5000).Steps {
		seen[s.Do], seen[s.Fault] = true, true
	}
	for _, a := range actions {
		if !seen[a.name] {
			t.Errorf("%s never comes up", a.name)
		}
	}
	for _, f := range faults {
		if !seen[f.name] {
			t.Errorf("%s never comes up", f.name)
		}
	}
}

func TestKeep_WhatWasSavedIsLoaded(t *testing.T) {
	t.Parallel()
	want := Generate(3, 50)
	path := filepath.Join(t.TempDir(), "s.json")
	if err := Save(path, want); err != nil {
		t.Fatal(err)
	}
	got, err := Load(path)
	if diff := cmp.Diff(want, got); diff != "" || err != nil {
		t.Error(diff, err)
	}
}

// TestCopyFolder_KeepsHolesAndBytes: a sparse file arrives with its length and
// its bytes.
func TestCopyFolder_KeepsHolesAndBytes(t *testing.T) {
	t.Parallel()
	from, to := t.TempDir(), filepath.Join(t.TempDir(), "to")
	f, err := os.Create(filepath.Join(from, "sparse"))
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range []int64{0, 1 << 20, 3<<20 - 1} {
		if _, err := f.WriteAt([]byte{7}, at); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.Truncate(5 << 20); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Join(from, "left/out"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := copyFolder(to, from, "left"); err != nil {
		t.Fatal(err)
	}
	want, err := os.ReadFile(filepath.Join(from, "sparse"))
	if err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(filepath.Join(to, "sparse"))
	if err != nil {
		t.Fatal(err)
	}
	if !cmp.Equal(want, got) {
		t.Error("bytes differ")
	}
	if _, err := os.Stat(filepath.Join(to, "left")); !os.IsNotExist(err) {
		t.Errorf("what was to be left out came along: %v", err)
	}
}
