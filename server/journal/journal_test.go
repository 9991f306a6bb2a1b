package journal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/dgraph-io/badger/v4"
	"go.uber.org/goleak"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const tenant = "default"

func testOptions(dir string) Options {
	return Options{Dir: dir, Now: func() time.Time { return time.UnixMilli(1718000000000) },
		Rand: rand.NewChaCha8([32]byte{1})}
}

func open(t testing.TB, opt Options) *Badger {
	t.Helper()
	j, err := Open(opt)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := j.Close(); err != nil {
			t.Error(err)
		}
	})
	return j
}

// chain makes n blocks of a log that follow one another after head.
func chain(t testing.TB, head exchange.Head, text string, n int) []*block.Block {
	t.Helper()
	var out []*block.Block
	for i := range n {
		frame, _, err := block.Seal(block.Header{Log: head.Log, Pond: block.ID{9}, FirstSeq: head.Last + 1, Prev: head.Hash},
			block.Payload{Records: [][]byte{fmt.Appendf(nil, "%s %d", text, i), {1}}}, block.Plain)
		if err != nil {
			t.Fatal(err)
		}
		b, err := block.Parse(frame)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, b)
		head = exchange.After(b)
	}
	return out
}

func put(t testing.TB, j Journal, b *block.Block) exchange.Verdict {
	t.Helper()
	ch, err := j.Submit(t.Context(), tenant, b)
	if err != nil {
		t.Fatal(err)
	}
	r := <-ch
	if r.Err != nil {
		t.Fatal(r.Err)
	}
	return r.Verdict
}

func entries(t testing.TB, j Journal, after uint64) []Entry {
	t.Helper()
	var out []Entry
	for e, err := range j.Read(t.Context(), after) {
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, e)
	}
	return out
}

// TestInv01_OpensAfterAKillWhileAFileWasMade: the last file of the database has no
// length yet.
func TestInv01_OpensAfterAKillWhileAFileWasMade(t *testing.T) {
	t.Parallel()
	opt := testOptions(t.TempDir())
	j := open(t, opt)
	put(t, j, chain(t, exchange.Head{Log: block.ID{1}}, "a", 1)[0])
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"00077.mem", "000077.vlog"} {
		if err := os.WriteFile(filepath.Join(opt.Dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if got := entries(t, open(t, opt), 0); len(got) != 1 {
		t.Errorf("%d entries, want 1", len(got))
	}
}

// TestAsideIsBounded fills what is kept aside for one tenant: what is there stays and
// may come again, another tenant has its own, and logs go on.
func TestAsideIsBounded(t *testing.T) {
	t.Parallel()
	opt := testOptions(t.TempDir())
	opt.AsideBytes = 1000
	frame := func(i int) []byte { return bytes.Repeat([]byte{byte(i)}, 300) }
	for life := range 2 { // what was kept is counted again after a restart
		j := open(t, opt)
		for i := range 5 {
			want := error(nil)
			if i >= 3 {
				want = ErrAsideFull
			}
			if err := j.KeepAside(t.Context(), tenant, frame(i)); !errors.Is(err, want) {
				t.Errorf("life %d, frame %d: %v, want %v", life, i, err, want)
			}
		}
		if err := j.KeepAside(t.Context(), "other", frame(9)); err != nil {
			t.Errorf("another tenant: %v", err)
		}
		blocks, other := chain(t, exchange.Head{Log: block.ID{1}}, "a", 2), chain(t, exchange.Head{Log: block.ID{1}}, "b", 1)
		for _, b := range blocks {
			if got := put(t, j, b); got != exchange.Append && life == 0 {
				t.Errorf("a log's block: %v", got)
			}
		}
		ch, err := j.Submit(t.Context(), tenant, other[0])
		if err != nil {
			t.Fatal(err)
		}
		if r := <-ch; r.Verdict != exchange.Forked || r.Kept || r.Err != nil {
			t.Errorf("a block that contradicts: %+v", r)
		}
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestInv02_03_04_ResendsStoreNothingTwice(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	j := open(t, testOptions(dir))
	draw := rand.New(rand.NewPCG(3, 0))
	logs := [][]*block.Block{
		chain(t, exchange.Head{Log: block.ID{1}}, "a", 40),
		chain(t, exchange.Head{Log: block.ID{2}}, "b", 40),
		chain(t, exchange.Head{Log: block.ID{3}}, "c", 40),
	}
	reached := make([]int, len(logs)) // blocks held of each log
	for range 400 {
		l := draw.IntN(len(logs))
		i := draw.IntN(min(reached[l]+3, 40))
		want := exchange.Duplicate
		if i == reached[l] {
			want = exchange.Append
		} else if i > reached[l] {
			want = exchange.Gap
		}
		if got := put(t, j, logs[l][i]); got != want {
			t.Fatalf("block %d of log %d with %d held: %v, want %v", i, l, reached[l], got, want)
		}
		if want == exchange.Append {
			reached[l]++
		}
	}
	check := func(j Journal) {
		t.Helper()
		heads := map[block.ID]exchange.Head{}
		pos := uint64(0)
		for _, e := range entries(t, j, 0) {
			b, err := e.Parse()
			if err != nil {
				t.Fatal(err)
			}
			pos++
			head := heads[b.Log]
			if e.Pos != pos || b.FirstSeq != head.Last+1 || b.Prev != head.Hash {
				t.Fatalf("position %d (%d): entry %d of log %v after %d", e.Pos, pos, b.FirstSeq, b.Log, head.Last)
			}
			if !bytes.Equal(e.Frame, logs[b.Log[0]-1][(b.FirstSeq-1)/2].Frame) {
				t.Fatal("stored bytes differ from those received")
			}
			heads[b.Log] = exchange.After(b)
		}
		for l, n := range reached {
			last := logs[l][n-1]
			head, err := j.Head(tenant, last.Log)
			if err != nil || head != exchange.After(last) || heads[last.Log] != head {
				t.Errorf("head of log %d is %+v (%v), want %+v", l, head, err, exchange.After(last))
			}
			if hash, ok, err := j.HashAt(tenant, last.Log, logs[l][0].LastSeq()); !ok || err != nil || hash != logs[l][0].Hash {
				t.Errorf("HashAt first block of log %d: %v %v", l, ok, err)
			}
			if _, ok, err := j.HashAt(tenant, last.Log, 1); ok || err != nil {
				t.Errorf("HashAt inside a block: %v %v", ok, err)
			}
		}
	}
	check(j)
	incarnation := j.Incarnation()
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	again := open(t, testOptions(dir))
	check(again)
	if again.Incarnation() != incarnation || incarnation.IsZero() {
		t.Errorf("incarnation %v after reopening, was %v", again.Incarnation(), incarnation)
	}
}

func TestInv05_ReceiptComesAfterTheSync(t *testing.T) {
	t.Parallel()
	var mu sync.Mutex
	var seen []string
	note := func(s string) {
		mu.Lock()
		defer mu.Unlock()
		seen = append(seen, s)
	}
	opt := testOptions(t.TempDir())
	var j *Badger
	opt.Faults = func(point string) error {
		// Before the sync nobody may see the entry, after it everybody must.
		note(fmt.Sprint(point, " last=", j.Last()))
		// What a device is told at its next greeting counts as an acknowledgement.
		head, err := j.Head(tenant, block.ID{1})
		if err != nil || (point == FaultAfterSync) != (head.Last > 0) {
			t.Errorf("%s: head at %d, %v", point, head.Last, err)
		}
		return nil
	}
	j = open(t, opt)
	j.sync = func() error { note("sync"); return j.db.Sync() }
	if v := put(t, j, chain(t, exchange.Head{Log: block.ID{1}}, "a", 1)[0]); v != exchange.Append {
		t.Fatal(v)
	}
	note("receipt")
	want := []string{FaultBeforeWrite + " last=0", FaultAfterWrite + " last=0", "sync", FaultAfterSync + " last=1", "receipt"}
	if !slices.Equal(seen, want) {
		t.Errorf("order %q, want %q", seen, want)
	}
}

func TestSyncFailure_NothingIsAcknowledgedAgain(t *testing.T) {
	t.Parallel()
	j := open(t, testOptions(t.TempDir()))
	blocks := chain(t, exchange.Head{Log: block.ID{1}}, "a", 2)
	put(t, j, blocks[0])
	fail := errors.New("no such sector")
	j.sync = func() error { return fail }
	for range 2 {
		ch, err := j.Submit(t.Context(), tenant, blocks[1])
		if err != nil {
			t.Fatal(err)
		}
		if r := <-ch; !errors.Is(r.Err, ErrBroken) || !errors.Is(r.Err, fail) {
			t.Errorf("receipt %v, want ErrBroken", r.Err)
		}
		j.sync = j.db.Sync // too late: what is on disk is unknown
	}
	if j.Last() != 1 {
		t.Errorf("an entry whose sync failed is visible")
	}
}

func TestInv06_ForksAreKeptAside(t *testing.T) {
	t.Parallel()
	j := open(t, testOptions(t.TempDir()))
	ours := chain(t, exchange.Head{Log: block.ID{1}}, "ours", 3)
	theirs := chain(t, exchange.After(ours[0]), "theirs", 2)
	for _, b := range ours {
		put(t, j, b)
	}
	for range 2 {
		if v := put(t, j, theirs[0]); v != exchange.Forked {
			t.Fatalf("%v, want forked", v)
		}
	}
	if err := j.KeepAside(t.Context(), tenant, []byte("unreadable")); err != nil {
		t.Fatal(err)
	}
	var kept []string
	for a, err := range j.Aside(t.Context(), tenant) {
		if err != nil {
			t.Fatal(err)
		}
		kept = append(kept, string(a.Frame))
	}
	want := []string{"unreadable", string(theirs[0].Frame)}
	if !slices.Equal(kept, want) {
		t.Errorf("kept aside %q, want %q", kept, want)
	}
	for i, e := range entries(t, j, 0) {
		if !bytes.Equal(e.Frame, ours[i].Frame) {
			t.Errorf("entry %d was overwritten", e.Pos)
		}
	}
	for a, err := range j.Aside(t.Context(), "other") {
		t.Errorf("another tenant sees %v, %v", a, err)
	}
}

// TestInv23_ReaderSeesEveryPositionInOrder reads while several devices write.
func TestInv23_ReaderSeesEveryPositionInOrder(t *testing.T) {
	t.Parallel()
	const writers, each = 4, 30
	j := open(t, testOptions(t.TempDir()))
	var wg sync.WaitGroup
	for w := range writers {
		blocks := chain(t, exchange.Head{Log: block.ID{byte(w + 1)}}, "x", each)
		wg.Go(func() {
			var receipts []<-chan Receipt
			for _, b := range blocks {
				ch, err := j.Submit(t.Context(), tenant, b)
				if err != nil {
					t.Error(err)
					return
				}
				receipts = append(receipts, ch)
			}
			for _, ch := range receipts {
				if r := <-ch; r.Err != nil || r.Verdict != exchange.Append {
					t.Errorf("receipt %+v", r)
				}
			}
		})
	}
	at := uint64(0)
	for at < writers*each {
		if err := j.Wait(t.Context(), at); err != nil {
			t.Fatal(err)
		}
		for _, e := range entries(t, j, at) {
			if e.Pos != at+1 {
				t.Fatalf("position %d after %d", e.Pos, at)
			}
			at = e.Pos
		}
	}
	wg.Wait()
}

func TestInv12_CorruptEntryIsNotServed(t *testing.T) {
	t.Parallel()
	j := open(t, testOptions(t.TempDir()))
	put(t, j, chain(t, exchange.Head{Log: block.ID{1}}, "a", 1)[0])
	e := entries(t, j, 0)[0]
	e.Frame[40] ^= 1
	if err := j.db.Update(func(txn *badger.Txn) error { return txn.Set(entryKey(1), e.encode()) }); err != nil {
		t.Fatal(err)
	}
	if _, err := entries(t, j, 0)[0].Parse(); !errors.Is(err, ErrCorrupt) {
		t.Errorf("Parse: %v, want ErrCorrupt", err)
	}
}

// TestInv01_AcknowledgedBlocksSurviveACrash copies the files at the moment between write and sync, as a
// killed process leaves them, and finds every acknowledged block.
func TestInv01_AcknowledgedBlocksSurviveACrash(t *testing.T) {
	t.Parallel()
	dir, copies := t.TempDir(), t.TempDir()
	opt := testOptions(dir)
	n := 0
	opt.Faults = func(point string) error {
		if point == FaultAfterWrite {
			n++
			if n == 5 {
				if err := os.CopyFS(filepath.Join(copies, "at5"), os.DirFS(dir)); err != nil {
					t.Error(err)
				}
			}
		}
		return nil
	}
	j := open(t, opt)
	blocks := chain(t, exchange.Head{Log: block.ID{1}}, "a", 8)
	for _, b := range blocks {
		put(t, j, b)
	}
	if err := os.Remove(filepath.Join(copies, "at5", "LOCK")); err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	crashed := open(t, testOptions(filepath.Join(copies, "at5")))
	if got := len(entries(t, crashed, 0)); got != 4 && got != 5 {
		t.Errorf("%d entries, want the 4 acknowledged and perhaps the one being written", got)
	}
	for _, b := range blocks {
		put(t, crashed, b)
	}
	if got := len(entries(t, crashed, 0)); got != 8 {
		t.Errorf("%d entries after sending all again, want 8", got)
	}
}

func TestClosed(t *testing.T) {
	t.Parallel()
	j := open(t, testOptions(t.TempDir()))
	waiting := make(chan error)
	go func() { waiting <- j.Wait(context.Background(), 0) }()
	if err := errors.Join(j.Close(), j.Close()); err != nil {
		t.Fatal(err)
	}
	if err := <-waiting; !errors.Is(err, ErrClosed) {
		t.Errorf("Wait: %v", err)
	}
	if _, err := j.Submit(t.Context(), tenant, chain(t, exchange.Head{Log: block.ID{1}}, "a", 1)[0]); !errors.Is(err, ErrClosed) {
		t.Errorf("Submit: %v", err)
	}
	if _, err := j.Head(tenant, block.ID{1}); !errors.Is(err, ErrClosed) {
		t.Errorf("Head: %v", err)
	}
	for _, err := range j.Read(t.Context(), 0) {
		if !errors.Is(err, ErrClosed) {
			t.Errorf("Read: %v", err)
		}
	}
}

func TestOpen_WithoutRandomnessIsRefused(t *testing.T) {
	t.Parallel()
	opt := testOptions(t.TempDir())
	opt.Rand = bytes.NewReader(nil)
	if _, err := Open(opt); !errors.Is(err, io.EOF) {
		t.Errorf("Open: %v, want io.EOF", err)
	}
}

func BenchmarkSubmit(b *testing.B) {
	j := open(b, testOptions(b.TempDir()))
	head := exchange.Head{Log: block.ID{1}}
	var receipts []<-chan Receipt
	for i := 0; b.Loop(); i++ {
		blk := chain(b, head, "a", 1)[0]
		head = exchange.After(blk)
		ch, err := j.Submit(b.Context(), tenant, blk)
		if err != nil {
			b.Fatal(err)
		}
		receipts = append(receipts, ch)
	}
	for _, ch := range receipts {
		if r := <-ch; r.Err != nil {
			b.Fatal(r.Err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "blocks/s")
}
