package journal

import (
	"context"
	"sync"
)

// Watermark is a position that only rises and that goroutines can wait for. The
// zero Watermark stands at 0. It is safe for concurrent use.
type Watermark struct {
	mu     sync.Mutex
	pos    uint64
	raised chan struct{} // closed and replaced when pos rises; nil until needed
}

// Pos returns the position.
func (w *Watermark) Pos() uint64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.pos
}

// Raise moves the position up to pos and wakes who waits; a lower pos does nothing.
func (w *Watermark) Raise(pos uint64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if pos <= w.pos {
		return
	}
	w.pos = pos
	if w.raised != nil {
		close(w.raised)
		w.raised = nil
	}
}

// Wait returns nil once the position has reached pos. It returns the context's
// error, or ErrClosed once quit is closed.
func (w *Watermark) Wait(ctx context.Context, pos uint64, quit <-chan struct{}) error {
	for {
		w.mu.Lock()
		if w.pos >= pos {
			w.mu.Unlock()
			return nil
		}
		if w.raised == nil {
			w.raised = make(chan struct{})
		}
		raised := w.raised
		w.mu.Unlock()
		select {
		case <-raised:
		case <-ctx.Done():
			return ctx.Err()
		case <-quit:
			return ErrClosed
		}
	}
}
