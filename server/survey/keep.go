package survey

import (
	"math"
	"sync"
)

// usualBudget is the estimated memory in bytes that measured ponds may hold on to.
const usualBudget = 512 << 20

// keep holds the last measurement of ponds, within a budget of memory: those asked
// for longest ago go first. A pond that is being measured or asked for stays with
// whoever does so.
type keep struct {
	budget int64

	mu    sync.Mutex
	known map[pondKey]*answer
	bytes int64
	tick  uint64
}

// take returns the answer of a pond and notes that it was asked for.
func (k *keep) take(key pondKey) *answer {
	k.mu.Lock()
	defer k.mu.Unlock()
	a, ok := k.known[key]
	if !ok {
		a = newAnswer()
		if k.known == nil {
			k.known = make(map[pondKey]*answer)
		}
		k.known[key] = a
	}
	k.tick++
	a.asked = k.tick
	return a
}

// weigh notes what an answer holds on to now, and lets go of the ponds asked for
// longest ago until the rest fit. The answer itself stays even if it alone does not.
func (k *keep) weigh(key pondKey, a *answer, bytes int64) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.known[key] != a {
		return // let go of meanwhile: whoever holds it is the last
	}
	k.bytes += bytes - a.bytes
	a.bytes = bytes
	for k.bytes > k.budget {
		oldest, at := key, uint64(math.MaxUint64)
		for other, b := range k.known {
			if b != a && b.bytes > 0 && b.asked < at {
				oldest, at = other, b.asked
			}
		}
		if oldest == key {
			return
		}
		k.bytes -= k.known[oldest].bytes
		delete(k.known, oldest)
	}
}

// bytes estimates the memory that a measured pond holds on to.
func (p *Pond) bytes() int64 {
	const perReading = 400 // reading, depth, flags and what is stored of it
	sum := p.Report.Bed.Bytes() + perReading*int64(len(p.Input.Readings))
	if p.Report.Muck != nil {
		sum += p.Report.Muck.Bytes()
	}
	return sum
}
