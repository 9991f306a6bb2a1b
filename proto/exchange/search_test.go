package exchange

import (
	"errors"
	"testing"

	"pgregory.net/rapid"

	"pondwright/proto/block"
)

func TestSearch_FindsTheForkInFewQuestions(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var mine []Mark
		last := uint64(0)
		for i := range rapid.OneOf(rapid.IntRange(0, 200), rapid.IntRange(0, 5000)).Draw(t, "blocks") {
			last += uint64(1 + i%7)
			mine = append(mine, Mark{last, block.Hash{1, byte(i), byte(i >> 8)}})
		}
		shared := rapid.IntRange(0, len(mine)).Draw(t, "shared")
		theirs := func(last uint64) (block.Hash, bool) {
			for i, m := range mine {
				if m.Last == last {
					return map[bool]block.Hash{true: m.Hash, false: {2}}[i < shared], i < shared || i%2 == 0
				}
			}
			return block.Hash{}, false
		}
		s := NewSearch(mine)
		questions := 0
		for ask := s.Next(); len(ask) > 0; ask = s.Next() {
			if questions++; questions > 3 || len(ask) > MaxMarks {
				t.Fatalf("question %d with %d marks for %d blocks", questions, len(ask), len(mine))
			}
			if err := s.Answer(Common(ask, theirs).Last); err != nil {
				t.Fatal(err)
			}
		}
		want := Mark{}
		if shared > 0 {
			want = mine[shared-1]
		}
		if s.Common() != want {
			t.Fatalf("common %v, want %v", s.Common(), want)
		}
	})
}

func TestSearch_AnswerThatWasNotAskedFor(t *testing.T) {
	t.Parallel()
	s := NewSearch([]Mark{{Last: 5}, {Last: 9}})
	s.Next()
	if err := s.Answer(7); !errors.Is(err, ErrProtocol) {
		t.Errorf("%v, want ErrProtocol", err)
	}
}
