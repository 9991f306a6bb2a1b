package access

import (
	"net"
	"net/netip"
	"sync"
	"time"
)

// What one address may try.
const (
	triesPerMinute = 5
	crowd          = 1000 // addresses on the list before it is cleaned
)

// tries counts what each address tried in the last minute.
type tries struct {
	mu sync.Mutex
	at map[string][]time.Time
}

func newTries() *tries { return &tries{at: map[string][]time.Time{}} }

// try counts one try and returns how long to wait if it is one too many, which is
// then not counted.
func (t *tries) try(addr net.Addr, now time.Time) (wait time.Duration) {
	t.mu.Lock()
	defer t.mu.Unlock()
	who := placeOf(addr)
	if len(t.at) >= crowd {
		for a := range t.at {
			if t.at[a] = recent(t.at[a], now); len(t.at[a]) == 0 {
				delete(t.at, a)
			}
		}
	}
	last := recent(t.at[who], now)
	if len(last) >= triesPerMinute {
		t.at[who] = last
		return last[0].Add(time.Minute).Sub(now)
	}
	t.at[who] = append(last, now)
	return 0
}

// recent returns the tries of the last minute. A clock that was set back forgets.
func recent(at []time.Time, now time.Time) []time.Time {
	kept := at[:0]
	for _, a := range at {
		if age := now.Sub(a); age >= 0 && age < time.Minute {
			kept = append(kept, a)
		}
	}
	return kept
}

// placeOf names where a connection comes from: the IPv4 address, or the 64 bits of
// an IPv6 address that are one household's.
func placeOf(addr net.Addr) string {
	if addr == nil {
		return ""
	}
	ap, err := netip.ParseAddrPort(addr.String())
	if err != nil {
		return addr.String()
	}
	ip := ap.Addr().Unmap().WithZone("")
	if ip.Is4() {
		return ip.String()
	}
	net, err := ip.Prefix(64)
	if err != nil {
		return ip.String()
	}
	return net.String()
}
