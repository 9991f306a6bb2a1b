package scribe_test

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/journal"
	"pondwright/server/scribe"
)

func mac(b []byte) [32]byte { return sha256.Sum256(append([]byte("key"), b...)) }

func openJournal(t *testing.T) journal.Journal {
	t.Helper()
	j, err := journal.Open(journal.Options{Dir: t.TempDir(), Now: time.Now, Rand: rand.Reader})
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

func note(text string) *pb.Record {
	return &pb.Record{Author: "office", Kind: &pb.Record_Service{Service: &pb.Service{Note: text}}}
}

// What is written lies in the journal in order, each log without a hole; another
// scribe of the same journal begins logs of its own.
func TestScribe_Write(t *testing.T) {
	t.Parallel()
	j := openJournal(t)
	pond, other := block.ID{1}, block.ID{2}
	for range 2 {
		s := scribe.New(j, time.Now, rand.Reader, mac)
		for _, p := range []block.ID{pond, other, pond} {
			if err := s.Write(t.Context(), "t", p, note("a")); err != nil {
				t.Fatal(err)
			}
		}
	}
	logs, entries := map[block.ID]uint64{}, 0
	var last uint64
	for e, err := range j.Read(t.Context(), 0) {
		if err != nil {
			t.Fatal(err)
		}
		b, err := e.Parse()
		if err != nil {
			t.Fatal(err)
		}
		if b.FirstSeq != logs[b.Log]+1 || b.Author != "office" {
			t.Errorf("entry %d of log %v after %d", b.FirstSeq, b.Log, logs[b.Log])
		}
		p, err := b.Payload()
		if err != nil {
			t.Fatal(err)
		}
		v, err := exchange.ParseVersion(exchange.Ref{Log: b.Log, Seq: b.FirstSeq}, p.Records[0])
		if err != nil || v.ID.IsZero() || v.Order == 0 {
			t.Errorf("version %+v, %v", v, err)
		}
		if b.HLCLast != uint64(v.Order) {
			t.Errorf("block says %d, record %d", b.HLCLast, v.Order)
		}
		logs[b.Log] = b.LastSeq()
		entries++
		last = e.Pos
	}
	if len(logs) != 4 || entries != 6 || last != 6 {
		t.Errorf("%d logs, %d entries", len(logs), entries)
	}
}

func TestScribe_TooLarge(t *testing.T) {
	t.Parallel()
	s := scribe.New(openJournal(t), time.Now, rand.Reader, mac)
	err := s.Write(t.Context(), "t", block.ID{1}, note(strings.Repeat("x", block.MaxRecordBytes)))
	if big := (&scribe.TooLargeError{}); !errors.As(err, &big) || big.Most != block.MaxRecordBytes {
		t.Errorf("error %v", err)
	}
}

// lossy loses receipts.
type lossy struct {
	journal.Journal
	lose bool
}

func (l *lossy) Submit(ctx context.Context, tenant string, b *block.Block) (<-chan journal.Receipt, error) {
	r, err := l.Journal.Submit(ctx, tenant, b)
	if l.lose {
		return make(chan journal.Receipt), err
	}
	return r, err
}

// After a write whose fate is not known the next goes to a new log, so that a
// number is never used twice.
func TestScribe_NeverUsesANumberTwice(t *testing.T) {
	t.Parallel()
	j := openJournal(t)
	l := &lossy{Journal: j}
	s := scribe.New(l, time.Now, rand.Reader, mac)
	for i := range 6 {
		l.lose = i%2 == 1
		ctx, cancel := context.WithCancel(t.Context())
		if l.lose {
			ctx, cancel = context.WithTimeout(t.Context(), 20*time.Millisecond)
		}
		err := s.Write(ctx, "t", block.ID{1}, note("b"))
		cancel()
		if l.lose != (err != nil) {
			t.Fatalf("lost %v, error %v", l.lose, err)
		}
	}
	seen := map[exchange.Ref]bool{}
	for e, err := range j.Read(t.Context(), 0) {
		if err != nil {
			t.Fatal(err)
		}
		b, err := e.Parse()
		if err != nil {
			t.Fatal(err)
		}
		ref := exchange.Ref{Log: b.Log, Seq: b.FirstSeq}
		if seen[ref] {
			t.Errorf("%v twice", ref)
		}
		seen[ref] = true
	}
	for a, err := range j.Aside(t.Context(), "t") {
		t.Errorf("set aside %v, %v", a.Log, err)
	}
}

// A seal holds for its own words, record, pond and tenant and for nothing else.
func TestScribe_Seal(t *testing.T) {
	t.Parallel()
	s := scribe.New(openJournal(t), time.Now, rand.Reader, mac)
	pond, record := block.ID{1}, block.ID{2}
	a := &pb.PlanApproval{Person: "the designer", PlanRecordId: record[:]}
	s.Seal("t", pond, record, a)
	if !s.Sealed("t", pond, record, a) {
		t.Fatal("its own seal does not hold")
	}
	forged := proto.CloneOf(a)
	forged.Person = "somebody else"
	cut := proto.CloneOf(a)
	cut.Seal = a.GetSeal()[:16]
	foreign := scribe.New(openJournal(t), time.Now, rand.Reader, sha256.Sum256)
	for name, holds := range map[string]bool{
		"other words":  s.Sealed("t", pond, record, forged),
		"cut seal":     s.Sealed("t", pond, record, cut),
		"other pond":   s.Sealed("t", block.ID{3}, record, a),
		"other record": s.Sealed("t", pond, block.ID{3}, a),
		"other tenant": s.Sealed("u", pond, record, a),
		"other office": foreign.Sealed("t", pond, record, a),
		"no seal":      s.Sealed("t", pond, record, &pb.PlanApproval{Person: "the designer"}),
	} {
		if holds {
			t.Errorf("%s: the seal holds", name)
		}
	}
}
