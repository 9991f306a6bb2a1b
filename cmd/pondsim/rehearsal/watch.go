package rehearsal

import (
	"context"
	"errors"
	"slices"
	"sync"

	"google.golang.org/grpc"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// watcher is a reader that stays and gets what arrives.
type watcher struct {
	ponds []block.ID
	life  int // of the server, when it connected
	conn  *grpc.ClientConn
	stop  context.CancelFunc
	done  chan struct{}
	moved chan struct{} // something has changed

	mu     sync.Mutex
	gate   chan struct{} // closed: it reads on
	cursor []byte
	got    []block.Hash
	heard  bool // the server has taken the cursor
	ended  bool
}

const maxWatchers = 2

// followOn lets a reader begin to watch some ponds, or one that does stop reading, or
// go on.
func (w *world) followOn(n int) error {
	if len(w.watchers) == maxWatchers {
		w.watchers[n%maxWatchers].stallOrGoOn()
		return nil
	}
	wt := &watcher{moved: make(chan struct{}, 1), gate: make(chan struct{})}
	close(wt.gate)
	for i, p := range w.ponds {
		if i == n%len(w.ponds) || n>>i&1 == 1 {
			wt.ponds = append(wt.ponds, p)
		}
	}
	w.watchers = append(w.watchers, wt)
	return w.connect(wt)
}

func (wt *watcher) stallOrGoOn() {
	wt.mu.Lock()
	defer wt.mu.Unlock()
	if wt.stalled() {
		close(wt.gate)
	} else {
		wt.gate = make(chan struct{})
	}
}

// stalled needs the lock.
func (wt *watcher) stalled() bool {
	select {
	case <-wt.gate:
		return false
	default:
		return true
	}
}

// connect begins a stream from the watcher's cursor.
func (w *world) connect(wt *watcher) error {
	if err := wt.hangUp(); err != nil {
		return err
	}
	conn, err := w.dialShore()
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(context.Background())
	wt.conn, wt.stop, wt.done, wt.life = conn, stop, make(chan struct{}), w.shore.lives
	wt.heard, wt.ended = false, false
	go wt.read(ctx)
	return nil
}

func (wt *watcher) hangUp() error {
	if wt.conn == nil {
		return nil
	}
	wt.stop()
	<-wt.done
	conn := wt.conn
	wt.conn = nil
	return conn.Close()
}

// read takes what comes until the stream ends.
func (wt *watcher) read(ctx context.Context) {
	defer close(wt.done)
	err := wt.readAll(ctx)
	wt.mu.Lock()
	wt.ended = true
	if errors.Is(client.FromServer(err), client.ErrCursorInvalid) { // another server: from the start
		wt.cursor, wt.got = nil, nil
	}
	wt.mu.Unlock()
	wt.note()
}

func (wt *watcher) note() {
	select {
	case wt.moved <- struct{}{}:
	default:
	}
}

func (wt *watcher) readAll(ctx context.Context) error {
	wt.mu.Lock()
	req := &pb.PullRequest{Cursor: wt.cursor, Follow: true}
	wt.mu.Unlock()
	for _, p := range wt.ponds {
		req.PondIds = append(req.PondIds, p[:])
	}
	stream, err := pb.NewSyncServiceClient(wt.conn).Pull(ctx, req)
	for err == nil {
		wt.mu.Lock()
		gate := wt.gate
		wt.mu.Unlock()
		select {
		case <-gate:
		case <-ctx.Done():
			return ctx.Err()
		}
		var m *pb.PullResponse
		if m, err = stream.Recv(); err == nil {
			err = wt.take(m)
		}
	}
	return err
}

func (wt *watcher) take(m *pb.PullResponse) error {
	wt.mu.Lock()
	defer wt.mu.Unlock()
	wt.heard, wt.cursor = true, m.GetCursor()
	if frame := m.GetBlock().GetFrame(); frame != nil {
		b, err := block.Parse(frame)
		if err != nil {
			return err
		}
		wt.got = append(wt.got, b.Hash)
	}
	wt.note()
	return nil
}

// checkWatchers waits until every watcher that reads has got all there is, and checks
// that none got anything else or in another order.
func (w *world) checkWatchers(ctx context.Context) error {
	for _, wt := range w.watchers {
		for {
			done, again, err := w.checkWatcher(ctx, wt)
			if err != nil {
				return err
			}
			if done {
				break
			}
			if again {
				continue
			}
			select {
			case <-wt.moved:
			case <-ctx.Done():
				return broken("Inv25 a watcher loses nothing", "it waits for %d blocks", len(w.view.blocks))
			}
		}
	}
	return nil
}

func (w *world) checkWatcher(ctx context.Context, wt *watcher) (done, again bool, err error) {
	wt.mu.Lock()
	stalled, heard, ended, got := wt.stalled(), wt.heard, wt.ended, slices.Clone(wt.got)
	wt.mu.Unlock()
	if stalled && (ended || !heard || wt.life != w.shore.lives) {
		return true, false, nil // it finds out when it reads on
	}
	if ended || wt.life != w.shore.lives {
		return false, true, w.connect(wt)
	}
	if !heard {
		return false, false, nil
	}
	want := w.view.of(wt.ponds)
	if len(got) > len(want) { // it came since the last look
		if err := w.view.pull(ctx, w); err != nil {
			return false, false, err
		}
		want = w.view.of(wt.ponds)
	}
	if len(got) > len(want) || !slices.Equal(got, want[:len(got)]) {
		return false, false, broken("Inv23 a reader gets each block once and in order", "a watcher got %d blocks of %d, and others", len(got), len(want))
	}
	return stalled || len(got) == len(want), false, nil
}

// of returns the blocks of some ponds, in the order served.
func (v *view) of(ponds []block.ID) []block.Hash {
	var out []block.Hash
	for i, h := range v.blocks {
		if slices.Contains(ponds, v.ponds[i]) {
			out = append(out, h)
		}
	}
	return out
}

// wake lets every watcher read on.
func (w *world) wake() {
	for _, wt := range w.watchers {
		wt.mu.Lock()
		stalled := wt.stalled()
		wt.mu.Unlock()
		if stalled {
			wt.stallOrGoOn()
		}
	}
}

// dismiss ends all watchers.
func (w *world) dismiss() error {
	var err error
	for _, wt := range w.watchers {
		err = errors.Join(err, wt.hangUp())
	}
	w.watchers = nil
	return err
}
