package site

// search looks for the best choice of k rows.
type search struct {
	c       *cover
	k       int
	rows    []int // the best choice found, in ascending order
	valueM3 float64
	bounder *bounder
}

const (
	restarts   = 4      // seeded starts
	provenGap  = 5e-4   // a bound this close is close enough
	priceSteps = 400    // of the bound
	wantedGap  = 9.5e-3 // a bound this far off is worth branching for
)

// find returns the search for k rows, run. Its rows are nil when no choice of k
// rows without a clash was found. Only a priced search can tell a bound.
func find(c *cover, k int, priced bool) *search {
	s := &search{c: c, k: k, bounder: newBounder(c, k)}
	grown := c.choose(nil)
	s.try(grown, grown.grow(k, nil))
	for seed := range restarts {
		part := c.choose(s.part(seed))
		s.try(part, part.grow(k, shaken(uint64(seed)<<32|uint64(k))))
	}
	if s.rows == nil {
		packed := c.choose(nil)
		s.try(packed, packed.grow(k, s.snug()))
	}
	if s.rows != nil && priced {
		s.price()
	}
	return s
}

// try improves a choice and keeps it if it is better than the best so far.
func (s *search) try(c *choice, room bool) {
	if !room {
		return
	}
	c.improve()
	if found := c.sorted(); s.rows == nil || better(found, c.valueM3, s.rows, s.valueM3) {
		s.rows, s.valueM3 = found, c.valueM3
	}
}

// price tightens the bound, and tries the choices that the prices suggest on the
// way. A cell's price lies between the best and the next best value it gets from a
// good choice, so it starts at the latter.
func (s *search) price() {
	copy(s.bounder.prices, s.c.choose(s.rows).next)
	s.bounder.tighten(s.k, s.valueM3, s.valueM3*(1+provenGap), priceSteps, func(leaders []int) float64 {
		c := s.c.choose(nil)
		for _, i := range leaders {
			if c.free(i) {
				c.set(append(c.rows, i))
			}
		}
		s.try(c, c.grow(s.k, nil))
		return s.valueM3
	})
}

// bound returns a bound on all choices of k rows.
func (s *search) bound() float64 {
	p := prover{reachedM3: s.valueM3, enoughM3: s.valueM3 * (1 + wantedGap), work: branchWork}
	return p.prove(s.c, s.bounder.prices, s.k, 0, s.bounder.best[s.k])
}

// part returns about two thirds of the best choice so far, others for each seed.
func (s *search) part(seed int) []int {
	var kept []int
	for i, r := range s.rows {
		if (i+seed+s.k)%3 != 0 {
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
