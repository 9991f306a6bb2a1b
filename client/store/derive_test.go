package store

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
)

// forgetDerived deletes every derived key of a closed store.
func forgetDerived(t testing.TB, dir string) {
	t.Helper()
	db, err := badger.Open(profile(filepath.Join(dir, "store")))
	if err != nil {
		t.Fatal(err)
	}
	if err := db.DropPrefix([]byte{keyLog}); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// sealedHeads returns how far each log is sealed, with its pond.
func sealedHeads(s *Store) map[block.ID]string {
	out := map[block.ID]string{}
	for _, l := range s.Logs() {
		if l.Sealed > 0 {
			out[l.ID] = fmt.Sprint(l.Pond, l.Sealed, l.Head, l.Soundings, l.Records)
		}
	}
	return out
}

func TestInv31_RebuiltFromTheBlocksAlone(t *testing.T) {
	t.Parallel()
	for _, closed := range []bool{true, false} {
		t.Run(fmt.Sprint("closed_", closed), func(t *testing.T) {
			t.Parallel()
			other := open(t, deviceOptions(t.TempDir(), 9))
			pond, second := block.ID{1}, block.ID{2}
			if _, _, err := other.Append(Batch{Pond: pond, Author: "other", Soundings: soundings(700)}); err != nil {
				t.Fatal(err)
			}
			if err := other.Seal(); err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			s, err := Open(deviceOptions(dir, 1))
			if err != nil {
				t.Fatal(err)
			}
			if _, _, err := s.Receive(blocksOf(t, other, pond), []byte("cursor")); err != nil {
				t.Fatal(err)
			}
			for i, b := range []Batch{
				{Pond: pond, Author: "crew", Soundings: soundings(1200)},
				{Pond: pond, Records: [][]byte{[]byte("a"), []byte("b")}},
				{Pond: second, Soundings: soundings(3)},
				{Pond: pond, Pass: block.ID{5}, Soundings: soundings(20)},
			} {
				if _, _, err := s.Append(b); err != nil {
					t.Fatal(i, err)
				}
			}
			type held struct {
				Soundings []block.Sounding
				Records   []string
			}
			look := func(s *Store) (out map[byte]held) {
				out = map[byte]held{}
				for _, p := range []block.ID{pond, second} {
					all, records := readAll(t, s, p)
					out[p[0]] = held{all, records}
				}
				return out
			}
			var want map[byte]held
			var heads map[block.ID]string
			if closed {
				if err := s.Seal(); err != nil {
					t.Fatal(err)
				}
				heads = sealedHeads(s)
			}
			want = look(s)
			copied := dir
			if closed {
				if err := s.Close(); err != nil {
					t.Fatal(err)
				}
			} else { // rows that a crash left unsealed
				c := crashClone(t, dir, 2)
				copied = c.opt.Dir
				if err := c.db.Close(); err != nil {
					t.Fatal(err)
				}
				c.closed = true
				if err := s.Close(); err != nil {
					t.Fatal(err)
				}
			}
			forgetDerived(t, copied)
			s = open(t, deviceOptions(copied, 3))
			got := look(s)
			count := func(m map[byte]held) (n int) {
				for _, h := range m {
					n += len(h.Soundings) + len(h.Records)
				}
				return n
			}
			if closed {
				if diff := cmp.Diff(heads, sealedHeads(s)); diff != "" {
					t.Errorf("heads:\n%s", diff)
				}
				if diff := cmp.Diff(want, got); diff != "" {
					t.Errorf("entries:\n%s", diff)
				}
			} else if count(got) != count(want) {
				t.Errorf("%d entries, want %d", count(got), count(want))
			}
			for _, l := range s.Logs() {
				if l.Last() < l.Sealed {
					t.Errorf("log %v counts %d entries and is sealed to %d", l.ID, l.Last(), l.Sealed)
				}
			}
			before := s.Heads(Held)
			log, seq, err := s.Append(Batch{Pond: pond, Soundings: soundings(1)})
			if err != nil {
				t.Fatal(err)
			}
			for _, h := range before {
				if h.Log == log && seq <= h.Last || closed && h.Log == log {
					t.Errorf("log %v goes on at %d, it was sealed to %d", log, seq, h.Last)
				}
			}
		})
	}
}

// TestInv10_NothingAboveTheArchiveIsDeleted lets a server say anything about its
// backups and the device release what it may.
func TestInv10_NothingAboveTheArchiveIsDeleted(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	round := 0
	rapid.Check(t, func(rt *rapid.T) {
		if round++; round > 20 { // each opens a database
			return
		}
		s, err := Open(deviceOptions(filepath.Join(dir, fmt.Sprint(round)), byte(round)))
		if err != nil {
			rt.Fatal(err)
		}
		defer func() {
			if err := s.Close(); err != nil {
				rt.Fatal(err)
			}
		}()
		pond := block.ID{1}
		kept := map[exchange.Ref]bool{} // all that may not be deleted
		for range rapid.IntRange(1, 8).Draw(rt, "steps") {
			b := Batch{Pond: pond, Soundings: soundings(rapid.IntRange(1, 900).Draw(rt, "n"))}
			if rapid.IntRange(0, 3).Draw(rt, "records") == 0 {
				b = Batch{Pond: pond, Records: [][]byte{{1}, {2}}}
			}
			log, first, err := s.Append(b)
			if err != nil {
				rt.Fatal(err)
			}
			for i := range len(b.Soundings) + len(b.Records) {
				kept[exchange.Ref{Log: log, Seq: first + uint64(i)}] = true
			}
			if rapid.Bool().Draw(rt, "seal") {
				if err := s.Seal(); err != nil {
					rt.Fatal(err)
				}
			}
			l := s.Logs()[0]
			durable := rapid.Uint64Range(0, l.Sealed).Draw(rt, "durable")
			archived := rapid.Uint64Range(0, 2*l.Sealed+1).Draw(rt, "archived")
			if err := s.Acknowledged(log, durable, archived); err != nil {
				rt.Fatal(err)
			}
			released, err := s.Release()
			if err != nil {
				rt.Fatal(err)
			}
			held := places(rt, s, pond)
			gone := uint64(0)
			for r := range kept {
				if held[r] {
					continue
				}
				if gone++; r.Seq > archived {
					rt.Fatalf("entry %d is gone, archived are %d", r.Seq, archived)
				}
				delete(kept, r)
			}
			if gone != released {
				rt.Fatalf("%d gone, %d released", gone, released)
			}
			if hash, ok := s.HashAt(log, l.Sealed); l.Sealed > 0 && (!ok || hash != l.Head) {
				rt.Fatal("the log's last block is gone")
			}
		}
	})
}

func places(t interface{ Fatal(...any) }, s *Store, pond block.ID) map[exchange.Ref]bool {
	out := map[exchange.Ref]bool{}
	for _, kind := range []block.Kind{block.KindSoundings, block.KindRecords} {
		for c, err := range s.Chunks(pond, kind) {
			if err != nil {
				t.Fatal(err)
			}
			for i := range c.Payload.Count() {
				out[exchange.Ref{Log: c.Log, Seq: c.FirstSeq + uint64(i)}] = true
			}
		}
	}
	return out
}

func TestRelease_FreesWhatIsArchived(t *testing.T) {
	t.Parallel()
	s := open(t, deviceOptions(t.TempDir(), 1))
	pond := block.ID{1}
	log, _, err := s.Append(Batch{Pond: pond, Soundings: soundings(2000)})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Acknowledged(log, 2000, 1700); err != nil {
		t.Fatal(err)
	}
	if n, err := s.Release(); n != 1500 || err != nil {
		t.Errorf("released %d, %v, want the three blocks that end at 1500", n, err)
	}
	if n, err := s.Release(); n != 0 || err != nil {
		t.Errorf("released %d more, %v", n, err)
	}
}

// TestFork_MoveCutShortGoesOn stops a move after every transaction.
func TestFork_MoveCutShortGoesOn(t *testing.T) {
	t.Parallel()
	draw := rand.New(rand.NewPCG(3, 0))
	pond := block.ID{1}
	dir := t.TempDir()
	s, err := Open(deviceOptions(dir, 1))
	if err != nil {
		t.Fatal(err)
	}
	want := soundings(60_000)
	for i := range want { // hard to compress, so that it takes several transactions
		want[i].LatE7 += int32(draw.IntN(1 << 20))
		want[i].LonE7 += int32(draw.IntN(1 << 20))
		want[i].ReadingMM = int32(draw.IntN(20_000))
	}
	log, _, err := s.Append(Batch{Pond: pond, Soundings: want})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Stopped(log, true, "forked"); err != nil {
		t.Fatal(err)
	}
	steps := 0
	for next := log; !next.IsZero(); steps++ {
		s.mu.Lock()
		next, err = s.moveSome(next, Move{After: 5000, Then: Parted}, "test")
		s.mu.Unlock()
		if err != nil {
			t.Fatal(err)
		}
		if got := len(places(t, s, pond)); got != len(want) {
			t.Fatalf("%d entries after step %d, want %d", got, steps, len(want))
		}
		if steps == 1 { // and once with nothing but the entries left
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			forgetDerived(t, dir)
			if s, err = Open(deviceOptions(dir, 2)); err != nil {
				t.Fatal(err)
			}
			if got := len(places(t, s, pond)); got != len(want) {
				t.Fatalf("%d entries after a rebuild, want %d", got, len(want))
			}
		}
	}
	if steps < 3 {
		t.Errorf("moved in %d steps, which tests little", steps)
	}
	got, _ := readAll(t, s, pond)
	if len(got) != len(want) {
		t.Errorf("%d entries at the end, want %d", len(got), len(want))
	}
	for _, l := range s.Logs() {
		if l.ID == log && (l.State != Parted || l.Sealed != 5000 || l.Last() != 5000) {
			t.Errorf("the old log is %+v", l)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestInv19_WhatIsWrittenAfterAForkNamesItsParents: another copy of the store wrote to the
// log, and before this one could move what it had written there it went on, in two more
// logs. Every record must still name the record it replaced, wherever that has gone.
func TestInv19_WhatIsWrittenAfterAForkNamesItsParents(t *testing.T) {
	t.Parallel()
	for _, cutShort := range []bool{false, true} {
		t.Run(fmt.Sprint("cut_short_", cutShort), func(t *testing.T) {
			t.Parallel()
			pond, dir := block.ID{1}, t.TempDir()
			s, err := Open(deviceOptions(dir, 1))
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() {
				if err := s.Close(); err != nil {
					t.Error(err)
				}
			})
			last := ""
			var logs []block.ID
			write := func(name string) {
				t.Helper()
				rec := &pb.Record{Author: name}
				if last != "" {
					at := whereIs(t, s, pond)[last]
					rec.Parents = []*pb.EntryRef{{LogId: at.Log[:], Seq: at.Seq}}
				}
				raw, err := proto.Marshal(rec)
				if err != nil {
					t.Fatal(err)
				}
				log, _, err := s.Append(Batch{Pond: pond, Records: [][]byte{raw}})
				if err != nil {
					t.Fatal(err)
				}
				if last = name; !slices.Contains(logs, log) {
					logs = append(logs, log)
				}
			}
			write("first")
			if err := s.Seal(); err != nil {
				t.Fatal(err)
			}
			write("second")
			write("third")
			if err := s.Stopped(logs[0], true, "forked"); err != nil {
				t.Fatal(err)
			}
			write("fourth")
			if _, _, err := s.Append(Batch{Pond: pond, Soundings: soundings(700)}); err != nil {
				t.Fatal(err)
			}
			write("fifth") // in a block after others
			if err := s.changeLog(logs[1], func(l *Log) bool { l.State = Closed; return true }); err != nil {
				t.Fatal(err)
			}
			write("sixth")
			if len(logs) != 3 {
				t.Fatalf("wrote to %d logs", len(logs))
			}
			if cutShort { // between one log and the next
				s.mu.Lock()
				_, err := s.moveSome(logs[0], Move{After: 1, Then: Parted}, "test")
				s.mu.Unlock()
				if err = errors.Join(err, s.Close()); err != nil {
					t.Fatal(err)
				}
				if s, err = Open(deviceOptions(dir, 2)); err != nil {
					t.Fatal(err)
				}
				write("seventh")
			}
			for _, l := range append(s.Forked(), Log{ID: logs[0]}) {
				if err := s.Fork(l.ID, 1); err != nil {
					t.Fatal(err)
				}
			}
			for _, l := range s.Logs() {
				if l.ID == logs[0] && (l.State != Parted || l.Last() != 1) || l.ID != logs[0] && l.State == Forked {
					t.Errorf("left behind: %+v", l)
				}
			}
			at := whereIs(t, s, pond)
			got := ""
			for name := last; name != ""; {
				got = name + " " + got
				parents := at[name].parents
				name = ""
				for other, p := range at {
					if len(parents) == 1 && p.Ref == parents[0] {
						name = other
					}
				}
			}
			want := "first second third fourth fifth sixth "
			if cutShort {
				want += "seventh "
			}
			if got != want {
				t.Errorf("the last names, and so on: %q, want %q", got, want)
			}
			if got, _ := readAll(t, s, pond); len(got) != 700 {
				t.Errorf("%d soundings", len(got))
			}
		})
	}
}

// written is where a record lies and which ones it names.
type written struct {
	exchange.Ref
	parents []exchange.Ref
}

// whereIs returns the records of a pond by their authors.
func whereIs(t testing.TB, s *Store, pond block.ID) map[string]written {
	t.Helper()
	out := map[string]written{}
	for c, err := range s.Chunks(pond, block.KindRecords) {
		if err != nil {
			t.Fatal(err)
		}
		for i, raw := range c.Records {
			rec := &pb.Record{}
			if err := proto.Unmarshal(raw, rec); err != nil {
				t.Fatal(err)
			}
			w := written{Ref: exchange.Ref{Log: c.Log, Seq: c.FirstSeq + uint64(i)}}
			for _, p := range rec.GetParents() {
				w.parents = append(w.parents, exchange.Ref{Log: block.ID(p.GetLogId()), Seq: p.GetSeq()})
			}
			if _, twice := out[rec.GetAuthor()]; twice {
				t.Errorf("%s is there twice", rec.GetAuthor())
			}
			out[rec.GetAuthor()] = w
		}
	}
	return out
}
