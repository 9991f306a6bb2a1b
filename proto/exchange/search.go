package exchange

import (
	"fmt"
	"slices"
)

// MaxMarks is how many blocks one Hello may name of a log: each answer cuts what is
// left to search to a sixty-fifth.
const MaxMarks = 64

// Search finds the last block that the two ends of a forked log share, by the hashes
// of a few blocks at a time:
//
//	s := NewSearch(marks)
//	for ask := s.Next(); len(ask) > 0; ask = s.Next() {
//		err := s.Answer(…) // the last of those asked that the other end holds
//	}
//	common := s.Common()
type Search struct {
	marks  []Mark // of this end's blocks, in order
	shared int    // so many are known to be shared
	bound  int    // none from here on is
	asked  []int
}

// NewSearch returns a Search among the blocks of this end, which are in order.
func NewSearch(marks []Mark) *Search { return &Search{marks: marks, bound: len(marks)} }

// Next returns the blocks to ask for, none once the search is over.
func (s *Search) Next() []Mark {
	s.asked = s.asked[:0]
	var out []Mark
	left := s.bound - s.shared
	n := min(left, MaxMarks)
	for i := range n {
		at := s.shared + (i+1)*(left+1)/(n+1) - 1
		s.asked = append(s.asked, at)
		out = append(out, s.marks[at])
	}
	return out
}

// Answer takes the end of the last block of those asked that the other end holds, 0
// for none. The error is ErrProtocol.
func (s *Search) Answer(common uint64) error {
	bound := s.bound
	for _, at := range slices.Backward(s.asked) {
		if s.marks[at].Last == common {
			s.shared, s.bound = at+1, bound
			return nil
		}
		bound = at
	}
	if common != 0 {
		return fmt.Errorf("%w: entry %d is common, but was not asked for", ErrProtocol, common)
	}
	s.bound = bound
	return nil
}

// Common returns the last shared block found so far, the zero Mark if there is none.
func (s *Search) Common() Mark {
	if s.shared == 0 {
		return Mark{}
	}
	return s.marks[s.shared-1]
}
