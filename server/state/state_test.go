package state

import (
	"cmp"
	"context"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/golang/geo/s2"
	gocmp "github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"
	"google.golang.org/protobuf/proto"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/journal"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const tenant = "default"

func openJournal(t testing.TB, dir string, seed byte) *journal.Badger {
	t.Helper()
	j, err := journal.Open(journal.Options{Dir: dir, Rand: rand.NewChaCha8([32]byte{seed}),
		Now: func() time.Time { return time.UnixMilli(1718000000000) }})
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

func openState(t testing.TB, dir string, j journal.Journal) *State {
	t.Helper()
	s, err := Open(dir, j)
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

// feeder seals blocks of one log and submits them.
type feeder struct {
	t    testing.TB
	j    journal.Journal
	pond block.ID
	head exchange.Head
}

func (f *feeder) put(h block.Header, p block.Payload) {
	f.t.Helper()
	h.Log, h.Pond, h.FirstSeq, h.Prev = f.head.Log, f.pond, f.head.Last+1, f.head.Hash
	frame, _, err := block.Seal(h, p, block.Zstd)
	if err != nil {
		f.t.Fatal(err)
	}
	b, err := block.Parse(frame)
	if err != nil {
		f.t.Fatal(err)
	}
	ch, err := f.j.Submit(f.t.Context(), tenant, b)
	if err != nil {
		f.t.Fatal(err)
	}
	if r := <-ch; r.Err != nil || r.Verdict != exchange.Append {
		f.t.Fatalf("receipt %+v", r)
	}
	f.head = exchange.After(b)
}

// scatter makes soundings over about a kilometer, so that they fall into many
// tiles.
func scatter(draw *rand.Rand, n int) []block.Sounding {
	out := make([]block.Sounding, n)
	for i := range out {
		out[i] = block.Sounding{TimeMs: int64(draw.IntN(1e9)), LatE7: 450000000 + int32(draw.IntN(100000)),
			LonE7: -930000000 + int32(draw.IntN(100000)), ReadingMM: int32(draw.IntN(9000)), Reference: block.BelowSurface}
	}
	return out
}

func byName(a, b Sounding) int {
	return cmp.Or(slices.Compare(a.Log[:], b.Log[:]), cmp.Compare(a.Seq, b.Seq))
}

// fill feeds two logs and returns what was fed, as readers should see it.
func fill(t testing.TB, j journal.Journal, pond block.ID) []Sounding {
	draw := rand.New(rand.NewPCG(5, 0))
	var all []Sounding
	for log := byte(1); log <= 2; log++ {
		f := &feeder{t: t, j: j, pond: pond, head: exchange.Head{Log: block.ID{log}}}
		for pass := byte(1); pass <= 3; pass++ {
			soundings := scatter(draw, 100+draw.IntN(400))
			for i, s := range soundings {
				all = append(all, Sounding{Log: f.head.Log, Seq: f.head.Last + 1 + uint64(i), Pass: block.ID{pass}, Author: "crew", Sounding: s})
			}
			f.put(block.Header{Pass: block.ID{pass}, Author: "crew"}, block.Payload{Soundings: soundings})
		}
	}
	slices.SortFunc(all, byName)
	return all
}

func read(t testing.TB, s *State, pond block.ID, region s2.CellUnion) []Sounding {
	t.Helper()
	if err := s.WaitCurrent(t.Context()); err != nil {
		t.Fatal(err)
	}
	got, err := s.Soundings(t.Context(), tenant, pond, region)
	if err != nil {
		t.Fatal(err)
	}
	slices.SortFunc(got, byName)
	return got
}

func TestSoundings_ByRegionEqualsBruteForce(t *testing.T) {
	t.Parallel()
	j := openJournal(t, t.TempDir(), 1)
	s := openState(t, t.TempDir(), j)
	pond := block.ID{9}
	all := fill(t, j, pond)
	(&feeder{t: t, j: j, pond: block.ID{8}, head: exchange.Head{Log: block.ID{8}}}).
		put(block.Header{}, block.Payload{Soundings: scatter(rand.New(rand.NewPCG(1, 1)), 10)})

	if diff := gocmp.Diff(all, read(t, s, pond, nil)); diff != "" {
		t.Fatalf("the whole pond (-want +got):\n%s", diff)
	}
	center := s2.CellIDFromLatLng(s2.LatLngFromDegrees(45.005, -92.995))
	regions := map[string]s2.CellUnion{
		"coarse":            {center.Parent(12)},
		"one tile":          {center.Parent(tileLevel)},
		"fine":              {center.Parent(20), cellOf(&all[0].Sounding).Parent(22)},
		"two in one tile":   {center.Parent(19).Next(), center.Parent(19)},
		"mixed and overlap": {center.Parent(14), center.Parent(18), cellOf(&all[7].Sounding)},
		"nothing":           {},
		"elsewhere":         {s2.CellIDFromLatLng(s2.LatLngFromDegrees(-33, 151)).Parent(10)},
	}
	for name, region := range regions {
		var want []Sounding
		for _, x := range all {
			leaf := cellOf(&x.Sounding)
			if slices.ContainsFunc(region, func(c s2.CellID) bool { return c.Contains(leaf) }) {
				want = append(want, x)
			}
		}
		if diff := gocmp.Diff(want, read(t, s, pond, region)); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
}

func TestState_IsRebuiltWhenMissingOrForeign(t *testing.T) {
	t.Parallel()
	j, dir, pond := openJournal(t, t.TempDir(), 1), t.TempDir(), block.ID{9}
	want := fill(t, j, pond)
	digest := func(s *State) []any {
		soundings := read(t, s, pond, nil)
		p, err := s.Pond(tenant, pond)
		if err != nil {
			t.Fatal(err)
		}
		return []any{soundings, p}
	}
	first := openState(t, dir, j)
	before := digest(first)
	if diff := gocmp.Diff(want, before[0]); diff != "" {
		t.Fatal(diff)
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name string
		do   func()
	}{
		{"reopened", func() {}},
		{"deleted", func() {
			if err := os.RemoveAll(dir); err != nil {
				t.Fatal(err)
			}
		}},
		{"of another journal", func() {
			other := openJournal(t, t.TempDir(), 2)
			fill(t, other, block.ID{7})
			s, err := Open(dir, other)
			if err != nil {
				t.Fatal(err)
			}
			if err := errors.Join(s.WaitCurrent(t.Context()), s.Close()); err != nil {
				t.Fatal(err)
			}
		}},
	} {
		tt.do()
		s, err := Open(dir, j)
		if err != nil {
			t.Fatal(err)
		}
		if diff := gocmp.Diff(before, digest(s)); diff != "" {
			t.Errorf("%s (-want +got):\n%s", tt.name, diff)
		}
		ponds, err := s.Ponds(t.Context(), tenant)
		if err != nil || len(ponds) != 1 {
			t.Errorf("%s: ponds %v, %v", tt.name, ponds, err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestRecords(t *testing.T) {
	t.Parallel()
	j := openJournal(t, t.TempDir(), 1)
	s := openState(t, filepath.Join(t.TempDir(), "state"), j)
	f := &feeder{t: t, j: j, pond: block.ID{9}, head: exchange.Head{Log: block.ID{1}}}
	msg := &pb.Record{RecordId: make([]byte, 16), Author: "R.", Kind: &pb.Record_Pond{Pond: &pb.Pond{Name: "Low Meadow"}}}
	raw, err := proto.Marshal(msg)
	if err != nil {
		t.Fatal(err)
	}
	farAhead := exchange.StampAt(4.1e12) // the year 2099
	f.put(block.Header{HLCLast: uint64(farAhead)}, block.Payload{Records: [][]byte{raw, []byte("no message \xff")}})
	if err := s.WaitCurrent(t.Context()); err != nil {
		t.Fatal(err)
	}
	got, err := s.Records(t.Context(), tenant, f.pond)
	if err != nil || len(got) != 2 {
		t.Fatalf("%d records, %v", len(got), err)
	}
	if !proto.Equal(got[0].Message, msg) || got[0].Seq != 1 || got[0].Log != f.head.Log {
		t.Errorf("record %+v", got[0])
	}
	if got[1].Message != nil || string(got[1].Bytes) != "no message \xff" || got[1].Seq != 2 {
		t.Errorf("unreadable record %+v", got[1])
	}
	if ahead := got[0].Order.UnixMs() - got[0].ReceivedMs; ahead != exchange.MaxAhead.Milliseconds() {
		t.Errorf("a stamp of 2099 sorts %d ms after it was received", ahead)
	}

	v1, err := s.Version(tenant, f.pond)
	if err != nil || v1 == 0 {
		t.Errorf("version %d, %v", v1, err)
	}
	f.put(block.Header{}, block.Payload{Records: [][]byte{raw}})
	if err := s.WaitFor(t.Context(), j.Last()); err != nil {
		t.Fatal(err)
	}
	if v2, err := s.Version(tenant, f.pond); err != nil || v2 <= v1 {
		t.Errorf("version %d after %d, %v", v2, v1, err)
	}
	if p, err := s.Pond(tenant, f.pond); err != nil || p.Records != 3 {
		t.Errorf("pond %+v, %v", p, err)
	}
	if _, err := s.Pond("other", f.pond); !errors.Is(err, ErrPondNotFound) {
		t.Errorf("another tenant's pond: %v", err)
	}
}

func TestClosed(t *testing.T) {
	t.Parallel()
	j := openJournal(t, t.TempDir(), 1)
	s := openState(t, t.TempDir(), j)
	waiting := make(chan error)
	go func() { waiting <- s.WaitFor(context.Background(), 5) }()
	if err := errors.Join(s.Close(), s.Close()); err != nil {
		t.Fatal(err)
	}
	if err := <-waiting; !errors.Is(err, ErrClosed) {
		t.Errorf("WaitFor: %v", err)
	}
	if _, err := s.Ponds(t.Context(), tenant); !errors.Is(err, ErrClosed) {
		t.Errorf("Ponds: %v", err)
	}
}

func BenchmarkSoundings(b *testing.B) {
	j := openJournal(b, b.TempDir(), 1)
	s := openState(b, b.TempDir(), j)
	pond := block.ID{9}
	n := len(fill(b, j, pond))
	read(b, s, pond, nil)
	for b.Loop() {
		if _, err := s.Soundings(b.Context(), tenant, pond, nil); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*n), "ns/sounding")
}
