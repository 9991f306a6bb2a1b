package rehearsal

import (
	"sync"
	"time"
)

// epoch is when every rehearsal begins.
var epoch = time.Date(2031, time.May, 4, 6, 0, 0, 0, time.UTC)

// clock is a device's clock: its wall may jump, its timers run on.
type clock struct {
	mu     sync.Mutex
	mono   time.Duration
	wall   time.Duration // what jumps added
	latest time.Time     // the latest the wall ever said
	timers map[*timer]struct{}
}

type timer struct {
	due time.Duration
	f   func()
}

func newClock() *clock { return &clock{timers: map[*timer]struct{}{}, latest: epoch} }

// Now returns what the wall says.
func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now()
}

func (c *clock) now() time.Time {
	now := epoch.Add(c.mono + c.wall)
	if now.After(c.latest) {
		c.latest = now
	}
	return now
}

// AfterFunc calls f after d of the time that Advance lets pass.
func (c *clock) AfterFunc(d time.Duration, f func()) func() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	t := &timer{c.mono + d, f}
	c.timers[t] = struct{}{}
	return func() bool {
		c.mu.Lock()
		defer c.mu.Unlock()
		_, pending := c.timers[t]
		delete(c.timers, t)
		return pending
	}
}

// Advance lets time pass and starts what is due.
func (c *clock) Advance(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.mono += d
	c.now()
	for t := range c.timers {
		if t.due <= c.mono {
			delete(c.timers, t)
			go t.f()
		}
	}
}

// Jump sets the wall forward or back; timers do not notice.
func (c *clock) Jump(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.wall += d
	c.now()
}

// Latest returns the latest time that the wall ever said.
func (c *clock) Latest() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.latest
}
