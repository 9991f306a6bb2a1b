package rehearsal

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"

	"pondwright/proto/block"
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

// TestInv17_AllHoldTheSame lets three devices write, one of them from a copy of
// another's store, over links that break and a server that dies; once they have met,
// all must hold the same bytes.
func TestInv17_AllHoldTheSame(t *testing.T) {
	t.Parallel()
	s := Script{Seed: 17, Boats: 3, Ponds: 2}
	for round := range 3 {
		for boat := range 4 {
			s.Steps = append(s.Steps,
				Step{Do: doAppend, Boat: boat, Pond: boat, N: 30 + 300*round},
				Step{Do: doSide, Boat: boat, Pond: round, N: boat},
				Step{Do: doSync, Boat: boat, Fault: []string{cutUp, cutDown, killWrite, dieDown}[boat], At: 700 * round % 4})
		}
		s.Steps = append(s.Steps, Step{Do: doClone, Boat: round}, Step{Do: doDelete, Boat: 1}, Step{Do: doSettle, Boat: 2})
	}
	for boat := range 3 {
		for pond := range 2 {
			s.Steps = append(s.Steps, Step{Do: doWatch, Boat: boat, Pond: pond})
		}
	}
	if tally := mustKeep(t, s); tally.Alike < 6 || tally.Entries < 1000 {
		t.Errorf("too little was compared: %+v", tally)
	}
}

// TestInv17_DigestTellsWhatDiffers: one entry more, elsewhere or other makes another
// digest.
func TestInv17_DigestTellsWhatDiffers(t *testing.T) {
	t.Parallel()
	a, b := block.ID{1}, block.ID{2}
	seen := map[[32]byte]int{}
	for i, c := range []contents{
		{}, {{a, 1}: {7}}, {{a, 1}: {8}}, {{a, 2}: {7}}, {{b, 1}: {7}}, {{a, 1}: {7, 7}}, {{a, 1}: {7}, {a, 2}: {7}}, {{a, 1}: {7}, {b, 1}: {7}},
	} {
		if other, there := seen[c.digest()]; there {
			t.Errorf("contents %d and %d have one digest", i, other)
		}
		seen[c.digest()] = i
	}
}

// TestInv33_TwoPacketsAMinute syncs over a link that lets one flight of two packets
// through each minute, on a clock that the link drives.
func TestInv33_TwoPacketsAMinute(t *testing.T) {
	t.Parallel()
	for _, secure := range []bool{false, true} {
		s := Script{Seed: 33, Boats: 2, Ponds: 1, Secure: secure, Steps: []Step{
			{Do: doAppend, N: 1300}, {Do: doEdit}, {Do: doTrickle}, // 1,300 soundings and a record
			{Do: doWatch, Boat: 1}, {Do: doTrickle, Boat: 1}, // … and the other boat pulls them
		}}
		if tally := mustKeep(t, s); tally.Entries != 1301 || tally.Failures == 0 {
			t.Errorf("secure %v: %+v; a device that never had to wait longer proves nothing", secure, tally)
		}
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
