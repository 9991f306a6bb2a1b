package server

import (
	"sync"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
)

// leases says which connection pushes a log. A newer one takes over: the older is
// most often the half of a broken link that has not noticed, and the journal keeps
// two clones from harming each other.
type leases struct {
	mu    sync.Mutex
	holds map[leaseKey]*lease
}

type leaseKey struct {
	tenant string
	log    block.ID
}

// lease is one connection's claim on its logs.
type lease struct {
	once sync.Once
	lost chan struct{} // closed when another connection took one of the logs
}

func newLeases() *leases { return &leases{holds: map[leaseKey]*lease{}} }

// take claims the logs. The caller gives them back with release.
func (l *leases) take(tenant string, heads []exchange.Head) (mine *lease, release func()) {
	mine = &lease{lost: make(chan struct{})}
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, h := range heads {
		key := leaseKey{tenant, h.Log}
		if old := l.holds[key]; old != nil && old != mine {
			old.once.Do(func() { close(old.lost) })
		}
		l.holds[key] = mine
	}
	return mine, func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		for _, h := range heads {
			if key := (leaseKey{tenant, h.Log}); l.holds[key] == mine {
				delete(l.holds, key)
			}
		}
	}
}
