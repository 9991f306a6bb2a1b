package exchange

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestInv13_ClockStrictlyIncreasesAcrossRestarts(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		clock, stored, last := NewClock(0), Stamp(0), Stamp(0)
		nowMs := int64(1.7e12)
		t.Repeat(map[string]func(*rapid.T){
			"time passes": func(t *rapid.T) { nowMs += rapid.Int64Range(0, 5000).Draw(t, "ms") },
			"wall clock jumps": func(t *rapid.T) {
				nowMs = rapid.OneOf(rapid.Just(int64(0)), rapid.Int64Range(1.6e12, 1.8e12)).Draw(t, "now")
			},
			"tick": func(t *rapid.T) {
				got := clock.Tick(nowMs)
				if got <= last {
					t.Fatalf("ticked %d after %d", got, last)
				}
				last = got
				if bound, rose := clock.Bound(); rose {
					stored = bound
				}
				if stored < got {
					t.Fatalf("stamp %d is above the stored bound %d", got, stored)
				}
			},
			"restart": func(*rapid.T) { clock = NewClock(stored) },
		})
	})
}

// Several devices with skewed clocks exchange stamps; a hostile one sends any
// stamp at all.
func TestInv14_15_CausalityAndBound(t *testing.T) {
	t.Parallel()
	type message struct{ stamp Stamp }
	rapid.Check(t, func(t *rapid.T) {
		skewsMs := []int64{-3_600_000, 0, 50_000}
		trueMs := int64(1.7e12)
		clocks := []*Clock{NewClock(0), NewClock(0), NewClock(0)}
		seen := make([]Stamp, len(clocks)) // the highest stamp each has seen and taken
		var mail []message
		who := rapid.IntRange(0, len(clocks)-1)
		t.Repeat(map[string]func(*rapid.T){
			"time passes": func(t *rapid.T) { trueMs += rapid.Int64Range(0, 100_000).Draw(t, "ms") },
			"send": func(t *rapid.T) {
				i := who.Draw(t, "who")
				s := clocks[i].Tick(trueMs + skewsMs[i])
				if s <= seen[i] {
					t.Fatalf("clock %d made %d after seeing %d", i, s, seen[i])
				}
				seen[i] = s
				mail = append(mail, message{s})
			},
			"receive": func(t *rapid.T) {
				if len(mail) == 0 {
					t.Skip("no mail")
				}
				i, s := who.Draw(t, "who"), rapid.SampledFrom(mail).Draw(t, "message").stamp
				if clocks[i].Merge(s, trueMs+skewsMs[i]) == nil {
					seen[i] = max(seen[i], s)
				}
			},
			"hostile stamp": func(t *rapid.T) {
				mail = append(mail, message{Stamp(rapid.OneOf(rapid.Just(uint64(math.MaxUint64)), rapid.Uint64()).Draw(t, "stamp"))})
			},
			"": func(t *rapid.T) {
				honest := trueMs + slices.Max(skewsMs)
				for i, c := range clocks {
					// Ticks without time passing move the counter, not the bound.
					if ahead := c.last.UnixMs() - honest; ahead > MaxAhead.Milliseconds() {
						t.Fatalf("clock %d runs %d ms ahead of every honest clock", i, ahead)
					}
				}
			},
		})
	})
}

func TestInv16_AnyStampIsOrderedWithoutMovingOthers(t *testing.T) {
	t.Parallel()
	const receivedMs = int64(1.7e12)
	good := StampAt(receivedMs - 10)
	for _, s := range []Stamp{0, StampAt(0), StampAt(4.1e12), math.MaxUint64} {
		got := Order(s, receivedMs)
		if got > StampAt(receivedMs+MaxAhead.Milliseconds()) {
			t.Errorf("Order(%d) = %d, beyond the bound", s, got)
		}
		if Order(good, receivedMs) != good {
			t.Errorf("an honest stamp was changed")
		}
		clock := NewClock(good)
		if err := clock.Merge(s, receivedMs); s > StampAt(receivedMs+MaxAhead.Milliseconds()) != errors.Is(err, ErrFarAhead) {
			t.Errorf("Merge(%d) = %v", s, err)
		}
		if next := clock.Tick(receivedMs); next.UnixMs() > receivedMs {
			t.Errorf("stamp %d dragged the clock to %d ms", s, next.UnixMs())
		}
	}
}

func TestStampAt(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		ms   int64
		want Stamp
	}{{-5, 0}, {0, 0}, {1, 65536}, {1 << 60, Stamp(msMax << counterBits)}} {
		if got := StampAt(tt.ms); got != tt.want {
			t.Errorf("StampAt(%d) = %d, want %d", tt.ms, got, tt.want)
		}
	}
	full := NewClock(StampAt(7) | counterMax)
	if got := full.Tick(7); got != StampAt(8) {
		t.Errorf("a full counter gave %d, want the next millisecond", got)
	}
}
