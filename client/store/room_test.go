package store

import (
	"errors"
	"math"
	"sync/atomic"
	"testing"

	"pondwright/proto/block"
)

// TestDiskFull_NothingIsTakenAndNothingIsLost runs out of room and gets it back.
func TestDiskFull_NothingIsTakenAndNothingIsLost(t *testing.T) {
	t.Parallel()
	var free atomic.Uint64
	free.Store(math.MaxUint64)
	opt := deviceOptions(t.TempDir(), 1)
	opt.Free = func() (uint64, error) { return free.Load(), nil }
	s := open(t, opt)
	pond := block.ID{1}
	if _, _, err := s.Append(Batch{Pond: pond, Soundings: soundings(700)}); err != nil {
		t.Fatal(err)
	}
	free.Store(1 << 20)
	if _, _, err := s.Append(Batch{Pond: pond, Soundings: soundings(1)}); !errors.Is(err, ErrDiskFull) {
		t.Errorf("Append: %v, want ErrDiskFull", err)
	}
	if err := s.Seal(); err != nil {
		t.Errorf("what was taken can no longer be sealed and sent: %v", err)
	}
	if all, _ := readAll(t, s, pond); len(all) != 700 {
		t.Errorf("%d soundings, want 700", len(all))
	}
	free.Store(math.MaxUint64)
	if _, seq, err := s.Append(Batch{Pond: pond, Soundings: soundings(1)}); err != nil || seq != 701 {
		t.Errorf("with room again: entry %d, %v", seq, err)
	}
}
