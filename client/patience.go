package client

import (
	"context"
	"encoding/binary"
	"errors"
	"io"
	"sync"
	"time"

	"google.golang.org/grpc"
)

// watchdog gives a connection up when the server stays silent for too long; a
// blocked send counts as silence.
type watchdog struct {
	clock    Clock
	cancel   context.CancelCauseFunc
	patience time.Duration

	mu   sync.Mutex
	halt func() bool
}

func (c *Client) watchdog(cancel context.CancelCauseFunc) *watchdog {
	w := &watchdog{clock: c.clock, cancel: cancel, patience: c.patience()}
	w.feed()
	return w
}

// patience is how long a server may stay silent: twice as long after each sync that
// gave up, so that the slowest link comes to its end.
func (c *Client) patience() time.Duration { return ackPatience << c.stalls.Load() }

// mostStalls bounds the patience at about an hour.
const mostStalls = 7

// learn takes how a sync ended.
func (c *Client) learn(err error) {
	switch n := c.stalls.Load(); {
	case err == nil:
		c.stalls.Store(0)
	case errors.Is(err, ErrStalled) && n < mostStalls:
		c.stalls.Store(n + 1)
	}
}

// feed starts the wait anew.
func (w *watchdog) feed() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.halt != nil {
		w.halt()
	}
	w.halt = w.clock.AfterFunc(w.patience, func() { w.cancel(ErrStalled) })
}

// wait changes the patience from now on.
func (w *watchdog) wait(patience time.Duration) {
	w.patience = patience
	w.feed()
}

func (w *watchdog) stop() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.halt()
}

// Backoff is how long to wait between attempts: a random time between nothing and
// a bound that doubles with each attempt ("full jitter"), so that many devices do
// not come back at once. The zero Backoff starts at a second and ends at five
// minutes. It is not safe for concurrent use.
type Backoff struct {
	First time.Duration // bound of the first wait; 0 for one second
	Most  time.Duration // bound of every wait; 0 for five minutes
	tries int
}

// Next returns the next wait, drawn from 64 random bits.
func (b *Backoff) Next(random uint64) time.Duration {
	first, most := b.First, b.Most
	if first <= 0 {
		first = time.Second
	}
	if most <= 0 {
		most = 5 * time.Minute
	}
	bound := most
	if b.tries < 32 && first<<b.tries < most {
		bound = first << b.tries
	}
	b.tries++
	return time.Duration(random % uint64(bound+1))
}

// Reset starts the waits anew.
func (b *Backoff) Reset() { b.tries = 0 }

// SyncPatiently calls Sync until it comes to its end, and waits between attempts
// with a Backoff. A receive from wake (the network is back, a person tapped) ends
// a wait and starts the waits anew; wake may be nil. It gives up only when the
// context ends or trying again cannot help; tried, if not nil, hears every failure
// and the wait that follows.
func (c *Client) SyncPatiently(ctx context.Context, conn grpc.ClientConnInterface, wake <-chan struct{}, tried func(error, time.Duration)) (Result, error) {
	var backoff Backoff
	var sum Result
	for {
		r, err := c.Sync(ctx, conn)
		sum = sum.plus(r)
		if err == nil || ctx.Err() != nil || !mayPass(err) {
			return sum, err
		}
		if err := c.pause(ctx, &backoff, err, wake, tried); err != nil {
			return sum, err
		}
	}
}

// pause waits after a failure until it is time to try again.
func (c *Client) pause(ctx context.Context, backoff *Backoff, failed error, wake <-chan struct{}, tried func(error, time.Duration)) error {
	var random [8]byte
	if _, err := io.ReadFull(c.rand, random[:]); err != nil {
		return err
	}
	wait := backoff.Next(binary.BigEndian.Uint64(random[:]))
	if refused, ok := errors.AsType[*Error](failed); ok {
		wait = max(wait, refused.RetryAfter)
	}
	if tried != nil {
		tried(failed, wait)
	}
	over := make(chan struct{})
	stop := c.clock.AfterFunc(wait, func() { close(over) })
	defer stop()
	select {
	case <-over:
	case <-wake:
		backoff.Reset()
	case <-ctx.Done():
		return ctx.Err()
	}
	return nil
}

// mayPass reports whether trying again can help.
func mayPass(err error) bool {
	for _, final := range []error{ErrForked, ErrTooOld, ErrInvalid, ErrServerDamaged, ErrRevoked, ErrNotJoined, ErrPermission} {
		if errors.Is(err, final) {
			return false
		}
	}
	return errors.Is(err, ErrUnavailable) || errors.Is(err, ErrStalled) || errors.Is(err, ErrBusy) || errors.Is(err, ErrLogInUse) || errors.Is(err, ErrRefused)
}

func (r Result) plus(o Result) Result {
	return Result{r.PushedBlocks + o.PushedBlocks, r.PushedEntries + o.PushedEntries, r.PushedBytes + o.PushedBytes,
		r.PulledBlocks + o.PulledBlocks, r.PulledEntries + o.PulledEntries, r.PulledAside + o.PulledAside,
		r.PhotosSent + o.PhotosSent, r.PhotoBytes + o.PhotoBytes}
}
