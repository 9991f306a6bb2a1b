package exchange

import (
	"errors"
	"time"

	"pondwright/proto/planted"
)

// Stamp is a hybrid logical clock reading: Unix milliseconds in the upper 48
// bits, a counter in the lower 16. Stamps compare as numbers. The clock follows
// S. Kulkarni, M. Demirbas, D. Madappa, B. Avva, M. Leone, "Logical Physical
// Clocks", 2014.
type Stamp uint64

const (
	counterBits = 16
	counterMax  = 1<<counterBits - 1
	msMax       = 1<<(64-counterBits) - 1
)

// StampAt returns the first stamp of a millisecond. Times before 1970 give 0 and
// times beyond 48 bits the last millisecond.
func StampAt(unixMs int64) Stamp {
	return Stamp(max(0, min(unixMs, msMax))) << counterBits
}

// UnixMs returns the stamp's millisecond.
func (s Stamp) UnixMs() int64 { return int64(s >> counterBits) }

// MaxAhead is how far a received stamp may lead the local clock and still move it.
// One device whose clock says 2030 must not drag the others there.
const MaxAhead = 60 * time.Second

// persistAhead is by how much a stored bound leads the clock, so that it is
// written about once a second and not for every entry.
const persistAhead = 1000 // ms

// ErrFarAhead says that a received stamp leads the local clock by more than
// MaxAhead. What carried it is stored all the same; only the clock stays.
var ErrFarAhead = errors.New("stamp is too far ahead of the local clock")

// Clock is a hybrid logical clock. It strictly increases over its whole life if
// whoever owns it stores Bound before using a stamp above the bound stored last,
// and starts from that bound again. The zero Clock has never ticked; it is not
// safe for concurrent use.
type Clock struct {
	last  Stamp
	bound Stamp
}

// NewClock returns a clock that goes on after bound, the one stored last.
func NewClock(bound Stamp) *Clock { return &Clock{last: bound, bound: bound} }

// Tick returns a new stamp, above every stamp ticked or merged before. nowMs is
// the wall clock and may jump at will.
func (c *Clock) Tick(nowMs int64) Stamp {
	c.last = max(StampAt(nowMs), c.last+1) // a full counter carries into the milliseconds
	return c.last
}

// Merge moves the clock past a received stamp, so that later ticks sort after it.
// It returns ErrFarAhead, and does nothing, for a stamp more than MaxAhead ahead of
// the wall clock.
func (c *Clock) Merge(received Stamp, nowMs int64) error {
	if received.UnixMs() > max(0, nowMs)+MaxAhead.Milliseconds() && !planted.Is("clock-follows-anything") {
		return ErrFarAhead
	}
	c.last = max(c.last, received)
	return nil
}

// Bound returns the bound to store before the last stamp is used, and whether it
// rose since it was asked for last.
func (c *Clock) Bound() (bound Stamp, rose bool) {
	if c.last <= c.bound || planted.Is("clock-forgotten") {
		return c.bound, false
	}
	c.bound = max(c.last, StampAt(c.last.UnixMs()+persistAhead))
	return c.bound, true
}

// Order returns the stamp by which a server sorts an entry that it received at
// receivedMs: the entry's own, unless that lies too far in the future.
func Order(s Stamp, receivedMs int64) Stamp {
	return min(s, StampAt(receivedMs+MaxAhead.Milliseconds()))
}
