package site

import (
	"cmp"
	"slices"
)

// share is the water of one cell that a candidate serves.
type share struct {
	cell    int32
	valueM3 float64
}

// cover is the bare problem: choose so many rows, no two of which clash, that
// the sum over cells of the greatest value among them is greatest.
type cover struct {
	cells int
	rows  [][]share
	clash [][]bool  // nil when none does
	base  []float64 // already covered in each cell and taken off the rows; nil for none
}

func (c *cover) add(row []share) { c.rows = append(c.rows, row) }

func (c *cover) clashes(i, k int) bool { return c.clash != nil && c.clash[i][k] }

// beside returns what is left to cover once the given rows are taken, and what
// those cover.
func (c *cover) beside(taken [][]share) (rest *cover, takenM3 float64) {
	if len(taken) == 0 {
		return c, 0
	}
	rest = &cover{cells: c.cells, clash: c.clash, base: make([]float64, c.cells)}
	for _, row := range taken {
		for _, v := range row {
			rest.base[v.cell] = max(rest.base[v.cell], v.valueM3)
		}
	}
	for _, v := range rest.base {
		takenM3 += v
	}
	for _, row := range c.rows {
		rest.add(above(row, rest.base))
	}
	return rest, takenM3
}

// above returns what a row holds above the base.
func above(row []share, base []float64) []share {
	left := make([]share, 0, len(row))
	for _, v := range row {
		if d := v.valueM3 - base[v.cell]; d > 0 {
			left = append(left, share{v.cell, d})
		}
	}
	return left
}

// choice is a set of rows with what they cover. best and next are the greatest
// and second greatest value in each cell, owner the position in rows of the
// former; what no row covers has owner -1.
type choice struct {
	c          *cover
	rows       []int
	best, next []float64
	owner      []int32
	valueM3    float64
}

func (c *cover) choose(rows []int) *choice {
	s := &choice{c: c, best: make([]float64, c.cells), next: make([]float64, c.cells), owner: make([]int32, c.cells)}
	s.set(rows)
	return s
}

// set replaces the rows.
func (s *choice) set(rows []int) {
	s.rows = append(s.rows[:0], rows...)
	clear(s.best)
	clear(s.next)
	for j := range s.owner {
		s.owner[j] = -1
	}
	for k, i := range s.rows {
		for _, v := range s.c.rows[i] {
			switch j := v.cell; {
			case v.valueM3 > s.best[j]:
				s.next[j], s.best[j], s.owner[j] = s.best[j], v.valueM3, int32(k)
			case v.valueM3 > s.next[j]:
				s.next[j] = v.valueM3
			}
		}
	}
	s.valueM3 = 0
	for _, v := range s.best {
		s.valueM3 += v
	}
}

// gainM3 returns what row i would add.
func (s *choice) gainM3(i int) float64 {
	var sum float64
	for _, v := range s.c.rows[i] {
		if d := v.valueM3 - s.best[v.cell]; d > 0 {
			sum += d
		}
	}
	return sum
}

// free reports whether row i clashes with none of the chosen and is not one.
func (s *choice) free(i int) bool {
	for _, k := range s.rows {
		if k == i || s.c.clashes(i, k) {
			return false
		}
	}
	return true
}

// grow adds rows, always the one that gains most after weighing, until there
// are k. A nil weigh weighs nothing. It reports whether there was room.
func (s *choice) grow(k int, weigh func(i int, gainM3 float64) float64) bool {
	for len(s.rows) < k {
		at, most := -1, 0.0
		for i := range s.c.rows {
			if !s.free(i) {
				continue
			}
			g := s.gainM3(i)
			if weigh != nil {
				g = weigh(i, g)
			}
			if at < 0 || g > most {
				at, most = i, g
			}
		}
		if at < 0 {
			return false
		}
		s.set(append(s.rows, at))
	}
	return true
}

// improve exchanges one row for another, always the pair that gains most, until
// none gains (Whitaker, 1983, "A fast algorithm for the greedy interchange for
// large-scale clustering and median location problems").
func (s *choice) improve() {
	loss, kept := make([]float64, len(s.rows)), make([]float64, len(s.rows))
	for {
		clear(loss)
		for j, k := range s.owner {
			if k >= 0 {
				loss[k] += s.best[j] - s.next[j]
			}
		}
		in, out, most := -1, -1, 1e-9*s.valueM3
		for i := range s.c.rows {
			only, ok := s.exchange(i)
			if !ok {
				continue
			}
			gain := s.offer(i, kept)
			for k := range s.rows {
				if only >= 0 && k != only {
					continue
				}
				if d := gain - loss[k] + kept[k]; d > most {
					in, out, most = i, k, d
				}
			}
		}
		if in < 0 {
			return
		}
		rows := slices.Clone(s.rows)
		rows[out] = in
		s.set(rows)
	}
}

// exchange reports whether row i may replace a chosen row, and which one it
// must be if it clashes with that one; -1 means any.
func (s *choice) exchange(i int) (only int, ok bool) {
	only = -1
	for k, r := range s.rows {
		switch {
		case r == i:
			return 0, false
		case !s.c.clashes(i, r):
		case only >= 0:
			return 0, false
		default:
			only = k
		}
	}
	return only, true
}

// offer returns what row i would add, and in kept[k] how much of the loss of
// row k it would make good.
func (s *choice) offer(i int, kept []float64) (gainM3 float64) {
	clear(kept)
	for _, v := range s.c.rows[i] {
		best, k := s.best[v.cell], s.owner[v.cell]
		if v.valueM3 > best {
			gainM3 += v.valueM3 - best
			if k >= 0 {
				kept[k] += best - s.next[v.cell]
			}
		} else if v.valueM3 > s.next[v.cell] {
			kept[k] += v.valueM3 - s.next[v.cell]
		}
	}
	return gainM3
}

// sorted returns the chosen rows in ascending order.
func (s *choice) sorted() []int { return slices.Sorted(slices.Values(s.rows)) }

// better reports whether a of value va is to be preferred to b of value vb: by
// value, then by the lower rows. Values closer than rounding tie.
func better(a []int, va float64, b []int, vb float64) bool {
	if d := va - vb; d > 1e-9*va || d < -1e-9*va {
		return d > 0
	}
	return slices.CompareFunc(a, b, cmp.Compare[int]) < 0
}
