package store

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var start = time.UnixMilli(1718000000000)

// seeded is deterministic randomness for ids.
type seeded struct{ *rand.ChaCha8 }

func newSeeded(n byte) io.Reader { return seeded{rand.NewChaCha8([32]byte{n})} }

func deviceOptions(dir string, seed byte) Options {
	return Options{Dir: dir, Now: func() time.Time { return start }, Rand: newSeeded(seed)}
}

func open(t testing.TB, opt Options) *Store {
	t.Helper()
	s, err := Open(opt)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func soundings(n int) []block.Sounding {
	out := make([]block.Sounding, n)
	for i := range out {
		out[i] = block.Sounding{TimeMs: start.UnixMilli() + int64(i)*1000, LatE7: 450000000 + int32(i)*90,
			LonE7: -930000000, ReadingMM: 2000 + int32(i%700), Reference: block.BelowTransducer, Quality: 4}
	}
	return out
}

// blocksOf returns the sealed blocks of a pond's logs and checks that each log is
// dense and chained.
func blocksOf(t testing.TB, s *Store, pond block.ID) []*block.Block {
	t.Helper()
	var out []*block.Block
	for _, l := range s.Logs() {
		if l.Pond != pond {
			continue
		}
		head := exchange.Head{Log: l.ID}
		for head.Last < l.Sealed {
			b, err := s.Block(l.ID, head.Last+1)
			if err != nil {
				t.Fatal(err)
			}
			if b.Prev != head.Hash {
				t.Fatalf("chain breaks at %d", b.FirstSeq)
			}
			head = exchange.After(b)
			if hash, ok := s.HashAt(l.ID, head.Last); !ok || hash != b.Hash {
				t.Fatalf("HashAt(%d) = %v, %v", head.Last, hash, ok)
			}
			out = append(out, b)
		}
		if head.Hash != l.Head {
			t.Fatal("the log's head is not its last block")
		}
	}
	return out
}

func readAll(t testing.TB, s *Store, pond block.ID) (all []block.Sounding, records []string) {
	t.Helper()
	for _, kind := range []block.Kind{block.KindSoundings, block.KindRecords} {
		for c, err := range s.Chunks(pond, kind) {
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, c.Soundings...)
			for _, r := range c.Records {
				records = append(records, string(r))
			}
		}
	}
	return all, records
}

// crashClone copies the files as a killed process leaves them and opens the copy.
func crashClone(t testing.TB, from string, seed byte, but ...string) *Store {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "copy")
	if err := os.CopyFS(dir, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	for _, name := range append(but, "store/LOCK") {
		if err := os.Remove(filepath.Join(dir, name)); err != nil && !os.IsNotExist(err) {
			t.Fatal(err)
		}
	}
	return open(t, deviceOptions(dir, seed))
}

func TestAppend_IsThereAfterACrash(t *testing.T) {
	t.Parallel()
	dir, pond := t.TempDir(), block.ID{1}
	s := open(t, deviceOptions(dir, 1))
	want := soundings(1234)
	for i := 0; i < len(want); i += 100 {
		if _, seq, err := s.Append(Batch{Pond: pond, Author: "crew", Soundings: want[i:min(i+100, len(want))]}); err != nil || seq != uint64(i+1) {
			t.Fatalf("append at %d: seq %d, %v", i, seq, err)
		}
	}
	after := crashClone(t, dir, 2)
	got, _ := readAll(t, after, pond)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Fatal(diff)
	}
	if n := len(blocksOf(t, after, pond)); n != 2 {
		t.Errorf("%d blocks sealed of 1234 entries, want 2", n)
	}
	if _, seq, err := after.Append(Batch{Pond: pond, Author: "crew", Soundings: want[:1]}); err != nil || seq != 1235 {
		t.Errorf("the log goes on at %d (%v), want 1235", seq, err)
	}
	if after.Device() != s.Device() {
		t.Error("a crash changed the device id")
	}
}

// TestInv01_OpensAfterAKillWhileAFileWasMade: the last file of the database has no
// length yet, or its length and nothing in it.
func TestInv01_OpensAfterAKillWhileAFileWasMade(t *testing.T) {
	t.Parallel()
	for _, length := range []int64{0, 8 << 20} {
		dir, pond := t.TempDir(), block.ID{1}
		opt := deviceOptions(dir, 1)
		s, err := Open(opt)
		if err != nil {
			t.Fatal(err)
		}
		if _, _, err := s.Append(Batch{Pond: pond, Soundings: soundings(10)}); err != nil {
			t.Fatal(err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		for _, name := range []string{"00077.mem", "000077.vlog"} {
			if err := os.WriteFile(filepath.Join(dir, "store", name), nil, 0o600); err != nil {
				t.Fatal(err)
			}
			if err := os.Truncate(filepath.Join(dir, "store", name), length); err != nil {
				t.Fatal(err)
			}
		}
		if got, _ := readAll(t, open(t, opt), pond); len(got) != 10 {
			t.Errorf("length %d: %d soundings, want 10", length, len(got))
		}
	}
}

func TestSealing(t *testing.T) {
	t.Parallel()
	a, b := block.ID{1}, block.ID{2}
	tests := []struct {
		name    string
		batches []Batch
		want    []int // entries per block of pond a, before Seal
	}{
		{"few stay unsealed", []Batch{{Pond: a, Soundings: soundings(499)}}, nil},
		{"500 are sealed", []Batch{{Pond: a, Soundings: soundings(500)}}, []int{500}},
		{"many", []Batch{{Pond: a, Soundings: soundings(4321)}}, []int{500, 500, 500, 500, 500, 500, 500, 500}},
		{"pass", []Batch{{Pond: a, Pass: b, Soundings: soundings(3)}, {Pond: a, Pass: a, Soundings: soundings(2)}}, []int{3}},
		{"author", []Batch{{Pond: a, Author: "x", Soundings: soundings(3)}, {Pond: a, Author: "y", Soundings: soundings(2)}}, []int{3}},
		{"kind", []Batch{{Pond: a, Soundings: soundings(3)}, {Pond: a, Records: [][]byte{{1}}}}, []int{3}},
		{"pond", []Batch{{Pond: a, Soundings: soundings(3)}, {Pond: b, Soundings: soundings(2)}}, []int{3}},
		{"large records", []Batch{{Pond: a, Records: [][]byte{make([]byte, 40<<10), make([]byte, 40<<10), make([]byte, 100<<10), {1}}}}, []int{1, 1, 1}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := open(t, deviceOptions(t.TempDir(), 1))
			for _, batch := range tt.batches {
				if _, _, err := s.Append(batch); err != nil {
					t.Fatal(err)
				}
			}
			var got []int
			for _, blk := range blocksOf(t, s, a) {
				got = append(got, blk.Count)
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("blocks (-want +got):\n%s", diff)
			}
			if err := s.Seal(); err != nil {
				t.Fatal(err)
			}
			for _, l := range s.Logs() {
				if l.Sealed != l.Last() {
					t.Errorf("log %v is sealed through %d of %d", l.ID, l.Sealed, l.Last())
				}
			}
		})
	}
}

func TestAppend_RefusesWhatCannotBeSealed(t *testing.T) {
	t.Parallel()
	s := open(t, deviceOptions(t.TempDir(), 1))
	bad := soundings(3)
	bad[2].LatE7 = 2e9
	for name, b := range map[string]Batch{
		"no pond":         {Soundings: soundings(1)},
		"both kinds":      {Pond: block.ID{1}, Soundings: soundings(1), Records: [][]byte{{1}}},
		"latitude":        {Pond: block.ID{1}, Soundings: bad},
		"author too long": {Pond: block.ID{1}, Author: string(make([]byte, 256)), Soundings: soundings(1)},
		"huge record":     {Pond: block.ID{1}, Records: [][]byte{make([]byte, block.MaxRecordBytes+1)}},
	} {
		if _, _, err := s.Append(b); err == nil {
			t.Errorf("%s was accepted", name)
		}
	}
	if n := len(s.Logs()); n != 0 {
		t.Errorf("%d logs after refusals only", n)
	}
}

func TestInv07_CopiedStoreStartsNewLogsBeforeTheFirstWrite(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		lose func(dir string) error
	}{
		{"marker lost", func(dir string) error { return os.Remove(filepath.Join(dir, markerName)) }},
		{"marker of another installation", func(dir string) error {
			return os.WriteFile(filepath.Join(dir, markerName), []byte("00112233445566778899aabbccddeeff"), 0o600)
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			dir, pond := t.TempDir(), block.ID{1}
			s, err := Open(deviceOptions(dir, 1))
			if err != nil {
				t.Fatal(err)
			}
			want := soundings(700)
			if _, _, err := s.Append(Batch{Pond: pond, Pass: block.ID{7}, Soundings: want}); err != nil {
				t.Fatal(err)
			}
			old, device := s.Logs()[0], s.Device()
			copied := filepath.Join(t.TempDir(), "copy") // 500 sealed, 200 rows
			if err := os.CopyFS(copied, os.DirFS(dir)); err != nil {
				t.Fatal(err)
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			if err := tt.lose(copied); err != nil {
				t.Fatal(err)
			}

			r := open(t, deviceOptions(copied, 2))
			if r.Device() == device {
				t.Error("the copy kept the device id")
			}
			log, seq, err := r.Append(Batch{Pond: pond, Soundings: soundings(1)})
			if err != nil || log == old.ID || seq != 201 {
				t.Fatalf("first write went to log %v seq %d (%v)", log, seq, err)
			}
			for _, l := range r.Logs() {
				if l.ID == old.ID && (l.State != Closed || l.Last() != 500) {
					t.Errorf("old log: %+v", l)
				}
			}
			moved, err := r.Block(log, 1)
			if err != nil {
				t.Fatal(err)
			}
			if moved.OriginLog != old.ID || moved.OriginSeq != 501 || moved.Count != 200 || moved.Pass != (block.ID{7}) {
				t.Errorf("unsealed entries moved as %+v", moved.Header)
			}
			got, _ := readAll(t, r, pond)
			if len(got) != 701 {
				t.Errorf("%d soundings after the copy, want 701", len(got))
			}
		})
	}
}

// TestInv32_ModelOfAppends compares random batches with a plain list.
func TestInv32_ModelOfAppends(t *testing.T) {
	t.Parallel()
	for seed := range uint64(4) {
		t.Run(fmt.Sprint("seed_", seed), func(t *testing.T) {
			t.Parallel()
			modelOfAppends(t, rand.New(rand.NewPCG(seed, 0)))
		})
	}
}

func modelOfAppends(t *testing.T, draw *rand.Rand) {
	dir := t.TempDir()
	s := open(t, deviceOptions(dir, 1))
	wantSoundings, wantRecords := map[block.ID][]block.Sounding{}, map[block.ID][]string{}
	for range 25 {
		pond := block.ID{byte(1 + draw.IntN(2))}
		batch := Batch{Pond: pond, Author: []string{"", "a"}[draw.IntN(2)]}
		switch draw.IntN(8) {
		case 0:
			r := fmt.Sprint("record ", draw.Uint64())
			batch.Records = [][]byte{[]byte(r)}
			wantRecords[pond] = append(wantRecords[pond], r)
		case 1:
			if err := s.Seal(); err != nil {
				t.Fatal(err)
			}
			continue
		case 2:
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			s = open(t, deviceOptions(dir, byte(draw.IntN(200))))
			continue
		default:
			batch.Soundings = soundings(1 + draw.IntN(700))
			batch.Pass = block.ID{byte(draw.IntN(2))}
			wantSoundings[pond] = append(wantSoundings[pond], batch.Soundings...)
		}
		if _, _, err := s.Append(batch); err != nil {
			t.Fatal(err)
		}
	}
	for _, pond := range []block.ID{{1}, {2}} {
		blocksOf(t, s, pond)
		gotSoundings, gotRecords := readAll(t, s, pond)
		if diff := cmp.Diff(wantSoundings[pond], gotSoundings) + cmp.Diff(wantRecords[pond], gotRecords); diff != "" {
			t.Fatal(diff)
		}
	}
}

func TestInv12_FlippedBitAtRestIsDetected(t *testing.T) {
	t.Parallel()
	s := open(t, deviceOptions(t.TempDir(), 1))
	log, _, err := s.Append(Batch{Pond: block.ID{1}, Soundings: soundings(500)})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.db.Update(func(txn *badger.Txn) error {
		key := seqKey(keyBlock, log, 1)
		frame, err := get(txn, key)
		frame[len(frame)/2] ^= 4
		return errors.Join(err, txn.Set(key, frame))
	}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Block(log, 1); !errors.Is(err, ErrCorrupt) {
		t.Errorf("Block: %v, want ErrCorrupt", err)
	}
	if _, ok := s.HashAt(log, 500); ok {
		t.Error("HashAt vouches for a corrupt block")
	}
	n := 0
	for _, err := range s.Chunks(block.ID{1}, block.KindSoundings) {
		if !errors.Is(err, ErrCorrupt) {
			t.Errorf("Chunks: %v, want ErrCorrupt", err)
		}
		n++
	}
	if n != 1 {
		t.Errorf("%d chunks, want the corrupt one", n)
	}
}

func TestReceive(t *testing.T) {
	t.Parallel()
	pond := block.ID{1}
	boat := open(t, deviceOptions(t.TempDir(), 1))
	log, _, err := boat.Append(Batch{Pond: pond, Author: "a", Soundings: soundings(1000)})
	if err != nil {
		t.Fatal(err)
	}
	blocks := blocksOf(t, boat, pond)
	reader := open(t, deviceOptions(t.TempDir(), 2))

	if _, _, err := reader.Receive(blocks[1:], []byte("x")); !errors.Is(err, ErrGap) {
		t.Errorf("a block without its predecessor: %v, want ErrGap", err)
	}
	if stored, aside, err := reader.Receive(blocks, []byte("cursor")); len(stored) != 2 || aside != 0 || err != nil {
		t.Fatalf("Receive = %d, %d, %v", len(stored), aside, err)
	}
	if stored, aside, err := reader.Receive(blocks, []byte("cursor")); len(stored) != 0 || aside != 0 || err != nil {
		t.Errorf("again: Receive = %d, %d, %v", len(stored), aside, err)
	}
	got, _ := readAll(t, reader, pond)
	if diff := cmp.Diff(soundings(1000), got); diff != "" {
		t.Error(diff)
	}
	if c, err := reader.Cursor(); err != nil || !bytes.Equal(c, []byte("cursor")) {
		t.Errorf("Cursor = %q, %v", c, err)
	}

	// Another content at the same place is kept, and nothing is overwritten.
	h := blocks[1].Header
	h.Author = "b"
	frame, _, err := block.Seal(h, block.Payload{Soundings: soundings(2)}, block.Plain)
	if err != nil {
		t.Fatal(err)
	}
	other, _ := block.Parse(frame)
	for range 2 {
		if _, aside, err := reader.Receive([]*block.Block{other}, []byte("c")); aside != 1 || err != nil {
			t.Errorf("fork: %d aside, %v", aside, err)
		}
	}
	kept, err := reader.KeptAside()
	if want := []Aside{{log, 501, other.Hash}}; err != nil || !cmp.Equal(kept, want) {
		t.Errorf("KeptAside = %v, %v", kept, err)
	}
	if b, err := reader.Block(log, 501); err != nil || b.Hash != blocks[1].Hash {
		t.Error("the fork replaced the block")
	}
}

// TestInv06_GiveWay sets aside what was pulled, also a block that can no longer be
// read, and takes what the server holds in its place.
func TestInv06_GiveWay(t *testing.T) {
	t.Parallel()
	pond := block.ID{1}
	writer := open(t, deviceOptions(t.TempDir(), 1))
	for _, batch := range []Batch{{Pond: pond, Soundings: soundings(1200)}, {Pond: pond, Records: [][]byte{{1}, {2}}}} {
		if _, _, err := writer.Append(batch); err != nil {
			t.Fatal(err)
		}
	}
	if err := writer.Seal(); err != nil {
		t.Fatal(err)
	}
	blocks := blocksOf(t, writer, pond) // 500, 500, 200, 2
	log := blocks[0].Log
	h := blocks[1].Header
	h.Author = "b"
	frame, _, err := block.Seal(h, block.Payload{Soundings: soundings(2)}, block.Plain)
	if err != nil {
		t.Fatal(err)
	}
	other, err := block.Parse(frame)
	if err != nil {
		t.Fatal(err)
	}
	for _, damaged := range []bool{false, true} {
		s := open(t, deviceOptions(t.TempDir(), 2))
		if _, _, err := s.Receive(blocks, []byte("x")); err != nil {
			t.Fatal(err)
		}
		if _, aside, err := s.Receive([]*block.Block{other}, []byte("x")); aside != 1 || err != nil {
			t.Fatalf("%d aside, %v", aside, err)
		}
		if damaged {
			if err := s.set(seqKey(keyBlock, log, 1001), []byte("no block")); err != nil {
				t.Fatal(err)
			}
		}
		if err := s.GiveWay(log, 500); err != nil {
			t.Fatal(err)
		}
		if l := s.Logs()[0]; l.Sealed != 500 || l.Last() != 500 || l.Records != 0 || l.Head != blocks[0].Hash {
			t.Errorf("damaged %v: left with %+v", damaged, l)
		}
		if stored, _, err := s.Receive([]*block.Block{other}, []byte("y")); len(stored) != 1 || err != nil {
			t.Errorf("damaged %v: %d stored, %v", damaged, len(stored), err)
		}
		kept, err := s.KeptAside()
		want := []Aside{{log, 501, blocks[1].Hash}, {log, 1001, blocks[2].Hash}, {log, 1201, blocks[3].Hash}}
		if damaged {
			want[1].Hash = block.Hash{}
		}
		if diff := cmp.Diff(want, kept); diff != "" || err != nil {
			t.Errorf("damaged %v, kept aside (-want +got):\n%s%v", damaged, diff, err)
		}
	}
	if err := writer.GiveWay(log, 0); err != nil {
		t.Fatal(err)
	}
	if l := writer.Logs()[0]; l.Sealed != 1202 {
		t.Errorf("the writer's own log gave way: %+v", l)
	}
}

func TestInv13_ClockSurvivesRestarts(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	now := start
	opt := deviceOptions(dir, 1)
	opt.Now = func() time.Time { return now }
	var last exchange.Stamp
	for i, at := range []time.Time{start, start.Add(-time.Hour), time.UnixMilli(0), start.Add(time.Hour), start} {
		now = at
		s, err := Open(opt)
		if err != nil {
			t.Fatal(err)
		}
		stamp := s.Stamp()
		if _, _, err := s.Append(Batch{Pond: block.ID{1}, Records: [][]byte{{byte(i)}}}); err != nil {
			t.Fatal(err)
		}
		if stamp <= last {
			t.Errorf("start %d: stamp %d after %d", i, stamp, last)
		}
		last = s.Stamp() // not stored, and so may come again, but not lower than stamp
		if last <= stamp {
			t.Errorf("stamp %d after %d", last, stamp)
		}
		last = stamp
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestStopped_ForkedLogTakesNoMoreEntries(t *testing.T) {
	t.Parallel()
	s := open(t, deviceOptions(t.TempDir(), 1))
	pond := block.ID{1}
	log, _, err := s.Append(Batch{Pond: pond, Soundings: soundings(3)})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Stopped(log, true, "forked"); err != nil {
		t.Fatal(err)
	}
	next, seq, err := s.Append(Batch{Pond: pond, Soundings: soundings(1)})
	if err != nil || next == log || seq != 1 {
		t.Errorf("after a fork: log %v seq %d, %v", next, seq, err)
	}
	if got, _ := readAll(t, s, pond); len(got) != 4 {
		t.Errorf("%d soundings, want 4", len(got))
	}
	if heads := s.Heads(Pushed); len(heads) != 0 {
		t.Errorf("a forked log is offered: %v", heads)
	}
}

func TestClosed(t *testing.T) {
	t.Parallel()
	s := open(t, deviceOptions(t.TempDir(), 1))
	if err := errors.Join(s.Close(), s.Close()); err != nil {
		t.Fatal(err)
	}
	if _, _, err := s.Append(Batch{Pond: block.ID{1}, Soundings: soundings(1)}); !errors.Is(err, ErrClosed) {
		t.Errorf("Append: %v", err)
	}
	if err := s.Seal(); !errors.Is(err, ErrClosed) {
		t.Errorf("Seal: %v", err)
	}
	if _, err := s.Ponds(); !errors.Is(err, ErrClosed) {
		t.Errorf("Ponds: %v", err)
	}
}

func BenchmarkAppend(b *testing.B) {
	for _, n := range []int{1, 100, 500} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			s := open(b, deviceOptions(b.TempDir(), 1))
			batch := Batch{Pond: block.ID{1}, Soundings: soundings(n)}
			for b.Loop() {
				if _, _, err := s.Append(batch); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N*n)/b.Elapsed().Seconds(), "soundings/s")
		})
	}
}
