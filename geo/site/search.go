package site

import "slices"

// search goes through the numbers of sites in turn; each starts from what the
// one before found.
type search struct {
	c       *cover
	most    int
	greedy  []int // grown one by one, never improved
	last    []int // the best choice of the number before
	lastM3  float64
	bounder *bounder
}

const (
	restarts   = 4      // seeded starts for each number of sites
	provenGap  = 5e-4   // a bound this close is close enough
	priceSteps = 200    // of the bound for each number of sites
	wantedGap  = 9.5e-3 // a bound this far off is worth branching for
)

func newSearch(c *cover, most int) *search {
	return &search{c: c, most: most, bounder: newBounder(c, most)}
}

// next returns the best choice of k rows found, in ascending order. It must be
// called with k = 1, 2, 3 … It reports false when no choice of k rows without a
// clash was found.
func (s *search) next(k int) (rows []int, ok bool) {
	var bestM3 float64
	try := func(c *choice, room bool) {
		if !room {
			return
		}
		c.improve()
		if found := c.sorted(); rows == nil || better(found, c.valueM3, rows, bestM3) {
			rows, bestM3 = found, c.valueM3
		}
	}
	grown := s.c.choose(s.greedy)
	room := grown.grow(k, nil)
	if room {
		s.greedy = slices.Clone(grown.rows)
	}
	try(grown, room)
	next := s.c.choose(s.last)
	try(next, next.grow(k, nil))
	for seed := range restarts {
		c := s.c.choose(s.part(seed, k))
		try(c, c.grow(k, shaken(uint64(seed)<<32|uint64(k))))
	}
	if rows == nil {
		packed := s.c.choose(nil)
		try(packed, packed.grow(k, s.snug()))
	}
	if rows == nil {
		return nil, false
	}
	if k == 1 {
		copy(s.bounder.prices, s.c.choose(rows).best)
	}
	s.bounder.tighten(k, bestM3, bestM3*(1+provenGap), priceSteps, func(leaders []int) float64 {
		c := s.c.choose(nil)
		for _, i := range leaders {
			if c.free(i) {
				c.set(append(c.rows, i))
			}
		}
		try(c, c.grow(k, nil))
		return bestM3
	})
	s.last, s.lastM3 = rows, bestM3
	return rows, true
}

// bound returns a bound on all choices of as many rows as the last one.
func (s *search) bound() float64 {
	k := len(s.last)
	p := prover{reachedM3: s.lastM3, enoughM3: s.lastM3 * (1 + wantedGap), work: branchWork}
	return p.prove(s.c, s.bounder.prices, k, 0, s.bounder.best[k])
}

// part returns about two thirds of the last choice, others for each seed.
func (s *search) part(seed, k int) []int {
	var kept []int
	for i, r := range s.last {
		if (i+seed+k)%3 != 0 {
			kept = append(kept, r)
		}
	}
	return kept
}

// shaken returns a weighing that moves gains up and down by half, in a pattern
// fixed by the seed.
func shaken(seed uint64) func(i int, gainM3 float64) float64 {
	return func(i int, gainM3 float64) float64 {
		return gainM3 * (0.5 + float64(mix(seed^uint64(i+1)*0x9e3779b97f4a7c15)>>11)/(1<<53))
	}
}

// mix scatters the bits of z (Steele, Lea and Flood, 2014, "Fast splittable
// pseudorandom number generators").
func mix(z uint64) uint64 {
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// snug returns a weighing that ignores gains and prefers rows that clash with
// few others, to fit in as many as possible.
func (s *search) snug() func(i int, gainM3 float64) float64 {
	return func(i int, _ float64) float64 {
		free := 0.0
		for k := range s.c.rows {
			if !s.c.clashes(i, k) {
				free++
			}
		}
		return free
	}
}
