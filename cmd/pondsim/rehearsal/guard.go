package rehearsal

import (
	"context"
	"errors"
	"path/filepath"
	"time"

	"google.golang.org/grpc"

	"pondwright/client"
	"pondwright/server"
	"pondwright/server/access"
)

// registry opens who may do what, as the operator's program does while the server runs.
func (w *world) registry() (*access.Registry, error) {
	w.offices++
	return server.OpenAccess(w.shore.dir, w.shore.now.Now, randomness(w.script.Seed, "office", w.offices))
}

// openClerk lets in whoever reads all that a secure server has.
func (w *world) openClerk(ctx context.Context) error {
	if !w.script.Secure {
		return nil
	}
	c := &boat{id: -1, root: w.root, seed: w.script.Seed, clock: newClock(), secure: true}
	c.dir = filepath.Join(w.root, "clerk")
	if err := c.open(ctx); err != nil {
		return err
	}
	w.clerk = c
	return w.join(ctx, c)
}

// join lets a boat in, for the first time or once more.
func (w *world) join(ctx context.Context, b *boat) error {
	if !w.script.Secure {
		return nil
	}
	r, err := w.registry()
	if err != nil {
		return err
	}
	i, err := r.Invite(server.Tenant, access.Grant{Role: access.Crew, AllPonds: true})
	if err != nil {
		return err
	}
	w.pass(time.Minute) // a server listens to so many tries a minute
	m, err := b.c.Join(ctx, target, i.Text.String(), "boat", grpc.WithContextDialer(dialer(w.shore)))
	w.joined[m.Device] = true
	return err
}

// revoke shuts a boat out, and every copy of it. Streams that it has open end within a
// minute.
func (w *world) revoke(b *boat) error {
	if !w.script.Secure {
		return nil
	}
	m, _, err := b.c.Membership()
	if err != nil {
		return err
	}
	if !w.joined[m.Device] { // the server was put back to before it joined
		return nil
	}
	r, err := w.registry()
	if err != nil {
		return err
	}
	w.revoked[m.Device] = true
	w.pass(time.Minute)
	err = r.Revoke(server.Tenant, m.Device)
	w.shore.beats.beat()
	return err
}

// isOut reports whether the server refuses a boat: it was shut out, or the server was
// put back to before it joined.
func (w *world) isOut(b *boat) bool {
	m, joined, err := b.c.Membership()
	return err == nil && joined && (w.revoked[m.Device] || !w.joined[m.Device])
}

// season lets a hundred days pass, after which every certificate has expired.
func (w *world) season(ctx context.Context) error {
	w.pass(100 * 24 * time.Hour)
	if w.clerk == nil {
		return nil
	}
	conn, err := w.dialShore()
	if err != nil {
		return err
	}
	err = errors.Join(w.clerk.c.Renew(ctx, conn), conn.Close(), w.hangUp())
	w.shore.beats.beat()
	return err
}

// checkOutcasts checks that nothing a device recorded while it was shut out is in a
// log, unless another device that is not shut out holds it as well.
func (w *world) checkOutcasts() error {
	if !w.script.Secure {
		return nil
	}
	for _, b := range w.boats {
		if w.isOut(b) {
			continue
		}
		for n := range b.has {
			w.writes[n].outcast = false
		}
	}
	for n, wr := range w.writes {
		if wr.outcast && len(w.view.where[n]) > 0 {
			return broken("Inv29 what a revoked device sends is kept aside", "write %d is in a log", n)
		}
	}
	return nil
}

// readmit lets boats in again that are shut out, after it has seen that their sync is
// refused and that what they hold is safe with the server all the same.
func (w *world) readmit(ctx context.Context) error {
	for _, b := range w.boats {
		if !w.isOut(b) {
			continue
		}
		if err := b.reopen(ctx); err != nil { // what it handed over may be gone from the server
			return err
		}
		l, err := b.reach(w, "", 0)
		if err != nil {
			return err
		}
		_, refusal := b.c.Sync(ctx, l)
		if err := l.Close(); err != nil {
			return err
		}
		if len(b.watches) > 0 && !errors.Is(refusal, client.ErrRevoked) && !errors.Is(refusal, client.ErrNotJoined) { // else there was nothing to call for
			return broken("Inv29 a revoked device is refused", "boat %d: %v", b.id, refusal)
		}
		if err := w.checkShore(ctx); err != nil {
			return err
		}
		if err := w.checkBoat(ctx, b); err != nil {
			return err
		}
		if err := w.checkKept(ctx, b); err != nil {
			return err
		}
		if err := w.join(ctx, b); err != nil {
			return err
		}
	}
	return nil
}

// checkKept checks that the server has all of a boat that it refuses. One that was put
// back does not have what it had acknowledged before; that comes again later.
func (w *world) checkKept(ctx context.Context, b *boat) error {
	if w.rollbacks > 0 {
		return nil
	}
	missing := map[int32]bool{}
	for n := range b.has {
		if len(w.view.where[n]) == 0 && !w.parked[n] {
			missing[n] = true
		}
	}
	if err := w.findAside(ctx, missing); err != nil {
		return err
	}
	for _, n := range sortedWrites(missing) {
		return broken("Inv28 a refusal strands nothing", "write %d of boat %d is neither in a log of the server nor kept aside", n, b.id)
	}
	return nil
}

// findAside takes those writes out of the set that the server keeps aside.
func (w *world) findAside(ctx context.Context, missing map[int32]bool) error {
	if len(missing) == 0 {
		return nil
	}
	for a, err := range w.shore.srv.KeptAside(ctx, server.Tenant) {
		if err != nil {
			return err
		}
		for _, n := range numbersIn(a.Frame) {
			delete(missing, n)
		}
	}
	return nil
}
