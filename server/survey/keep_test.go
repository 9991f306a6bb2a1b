package survey_test

import (
	"sync"
	"testing"

	"pondwright/proto/block"
	"pondwright/server/survey"
)

// A service keeps as many ponds as its budget holds, and lets go of the one asked for
// longest ago.
func TestService_KeepsWithinItsBudget(t *testing.T) {
	t.Parallel()
	m := newMemory()
	var ids []block.ID
	for k := range 5 {
		ids = append(ids, block.ID{100 + byte(k)})
		m.put(ids[k], sounded(), shoreline(circle(20)))
	}
	s := survey.NewService(m, "")
	measured := func(k int) *survey.Pond {
		t.Helper()
		p, err := s.Measured(t.Context(), ids[k], nil)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	first := measured(0)
	_, each := s.Kept()
	if each < 100_000 {
		t.Fatalf("a pond is said to hold %d bytes", each)
	}
	s.SetBudget(2*each + each/2)
	second := measured(1)
	if measured(0) != first {
		t.Error("a pond within the budget was measured again")
	}
	measured(2) // 1 was asked for longest ago
	if n, held := s.Kept(); n != 2 || held > 2*each+each/2 {
		t.Errorf("%d ponds kept with %d bytes, of %d each", n, held, each)
	}
	if measured(0) != first {
		t.Error("the pond asked for last was let go")
	}
	if measured(1) == second {
		t.Error("the pond asked for longest ago was kept")
	}
	s.SetBudget(1)
	last := measured(3)
	if n, _ := s.Kept(); n != 1 || measured(3) != last {
		t.Errorf("%d ponds kept beyond the budget; the last one stays", n)
	}
}

// Many callers over a small budget get right answers.
func TestService_KeepUnderLoad(t *testing.T) {
	t.Parallel()
	m := newMemory()
	var ids []block.ID
	for k := range 3 {
		ids = append(ids, block.ID{200 + byte(k)})
		m.put(ids[k], sounded(), shoreline(circle(20)))
	}
	s := survey.NewService(m, "")
	s.SetBudget(1)
	p, err := s.Measured(t.Context(), ids[0], nil)
	if err != nil {
		t.Fatal(err)
	}
	want := p.Report.Volume
	var wait sync.WaitGroup
	for k := range 6 {
		wait.Go(func() {
			p, err := s.Measured(t.Context(), ids[k%3], nil)
			if err != nil || p.Report.Volume != want {
				t.Errorf("pond %d: %v", k%3, err)
			}
		})
	}
	wait.Wait()
	if n, held := s.Kept(); n > 3 || held < 0 {
		t.Errorf("%d ponds, %d bytes", n, held)
	}
}
