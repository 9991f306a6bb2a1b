package rehearsal

import (
	"context"
	"errors"
	"time"

	"pondwright/client"
	"pondwright/proto/block"
)

// promised notes an acknowledgement that reached a boat.
func (w *world) promised(log block.ID, through uint64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.acked[log] = max(w.acked[log], through)
}

// sync lets one boat sync, or two at the same time, under their faults. What a
// sync returns is no promise: what counts is what is held afterwards.
func (w *world) sync(ctx context.Context, first, second *Step) error {
	steps := []*Step{first}
	if second != nil {
		steps = append(steps, second)
	}
	for _, s := range steps {
		if err := w.shore.prepare(s.Fault, s.At); err != nil {
			return err
		}
	}
	if err := w.run(ctx, steps); err != nil {
		return err
	}
	if w.shore.broken() { // nobody has noticed yet, and the boats try again
		for _, s := range steps {
			if err := w.run(ctx, []*Step{{Boat: s.Boat}}); err != nil {
				return err
			}
		}
	}
	restarted, err := w.shore.settle()
	if err != nil {
		return err
	}
	for _, s := range steps {
		b := w.boat(s.Boat)
		if err := w.follow(ctx, b); err != nil {
			return err
		}
		if b.died {
			w.tally.Crashes++
			b.died = false
			if err := b.swap(ctx, b.image); err != nil {
				return err
			}
			b.seen = 0
		}
	}
	if restarted {
		w.tally.Crashes++
		return w.reread(ctx)
	}
	return nil
}

// refused notes the writes in a block that the server will not take: the device
// keeps them, and they need not reach the server.
func (w *world) refused(frame []byte) {
	numbers := numbersIn(frame)
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, n := range numbers {
		w.parked[n] = true
	}
}

// run lets boats sync at the same time and waits until all have ended.
func (w *world) run(ctx context.Context, steps []*Step) error {
	done := make(chan error, len(steps))
	links := make([]*link, 0, len(steps))
	for _, s := range steps {
		b := w.boat(s.Boat)
		l, err := b.reach(w, s.Fault, s.At)
		if err != nil {
			return err
		}
		links = append(links, l)
		go func() {
			_, err := b.c.Sync(ctx, l)
			b.stale = b.stale && err != nil
			done <- err
		}()
	}
	err := w.await(ctx, done, len(steps))
	for _, l := range links {
		err = errors.Join(err, l.Close())
	}
	return err
}

// trickle lets a boat sync over a link that lets one flight of two packets through
// each minute: it may give up, but not for ever. Everything else is as it should be, so
// an end must come.
func (w *world) trickle(ctx context.Context, b *boat) error {
	if w.isOut(b) {
		return nil
	}
	for range trickleTries {
		l, err := b.reach(w, trickle, 0)
		if err != nil {
			return err
		}
		err = w.sail(ctx, b, l)
		if !errors.Is(err, client.ErrStalled) && !errors.Is(err, client.ErrUnavailable) {
			return w.follow(ctx, b)
		}
	}
	return broken("Inv33 an unsynced log comes to its end", "boat %d gave up %d times over a link of two packets a minute", b.id, trickleTries)
}

// trickleTries is how often a boat may give up: its patience doubles each time.
const trickleTries = 12

// sail lets one boat sync and returns how that ended.
func (w *world) sail(ctx context.Context, b *boat, l *link) error {
	done := make(chan error, 1)
	ended := make(chan error, 1)
	go func() {
		_, err := b.c.Sync(ctx, l)
		b.stale = b.stale && err != nil
		ended <- err
		done <- err
	}()
	if err := errors.Join(w.await(ctx, done, 1), l.Close()); err != nil {
		return err
	}
	return <-ended
}

// quiet is for how long nothing must move before time is let pass, so that whoever
// waits in vain finds out.
const quiet = 30 * time.Millisecond

// await waits for so many syncs.
func (w *world) await(ctx context.Context, done <-chan error, n int) error {
	tick := time.NewTicker(quiet / 3)
	defer tick.Stop()
	last, still := int64(-1), 0
	for n > 0 {
		select {
		case err := <-done:
			n--
			if err == nil {
				w.tally.Syncs++
			} else {
				w.tally.Failures++
			}
		case <-tick.C:
			now := w.alive.Load()
			if still++; now != last {
				last, still = now, 0
			}
			if still >= 3 {
				still = 0
				for _, b := range w.boats {
					b.clock.Advance(time.Minute)
				}
			}
		case <-ctx.Done():
			return broken("Inv33 a sync ends", "nothing moved for %v", patience)
		}
	}
	return nil
}

// follow notes the stamps that a boat has pulled and has to sort after.
func (w *world) follow(ctx context.Context, b *boat) error {
	limit := b.clock.Now().UnixMilli() - 30*60_000 // the clock may have moved during the sync
	for pond := range b.watches {
		held, err := b.c.Records(ctx, pond)
		if err != nil {
			return err
		}
		for _, r := range held {
			if hlc := r.Message.GetHlc(); r.Foreign && int64(hlc>>16) < limit {
				b.seen = max(b.seen, hlc)
			}
		}
	}
	return nil
}
