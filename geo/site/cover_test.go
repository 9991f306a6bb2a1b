package site

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// drawCover draws a small problem: some rows are alike, some clash.
func drawCover(t *rapid.T) *cover {
	seed := rapid.Uint64().Draw(t, "seed")
	next := func(n int) int {
		seed += 0x9e3779b97f4a7c15
		return int(mix(seed) % uint64(n))
	}
	n, cells := rapid.IntRange(1, 11).Draw(t, "rows"), rapid.IntRange(1, 14).Draw(t, "cells")
	c := &cover{cells: cells}
	for range n {
		var row []share
		for j := range cells {
			if v := next(9) - 4; v > 0 {
				row = append(row, share{int32(j), float64(v)})
			}
		}
		c.add(row)
	}
	if rapid.Bool().Draw(t, "some clash") {
		c.clash = make([][]bool, n)
		for i := range c.clash {
			c.clash[i] = make([]bool, n)
			for k := range i {
				near := next(4) == 0
				c.clash[i][k], c.clash[k][i] = near, near
			}
		}
	}
	return c
}

// plainValue adds up what the rows cover, cell by cell.
func plainValue(c *cover, rows []int) float64 {
	var sum float64
	for j := range c.cells {
		best := 0.0
		for _, i := range rows {
			for _, v := range c.rows[i] {
				if int(v.cell) == j {
					best = max(best, v.valueM3)
				}
			}
		}
		sum += best
	}
	return sum
}

func plainClash(c *cover, rows []int) bool {
	for a, i := range rows {
		for _, k := range rows[:a] {
			if i == k || c.clashes(i, k) {
				return true
			}
		}
	}
	return false
}

// optimum tries every choice of k rows; it returns false when each has a clash.
func optimum(c *cover, k int) (bestM3 float64, ok bool) {
	var rows []int
	var try func(from int)
	try = func(from int) {
		if len(rows) == k {
			if !plainClash(c, rows) {
				bestM3, ok = max(bestM3, plainValue(c, rows)), true
			}
			return
		}
		for i := from; i < len(c.rows); i++ {
			rows = append(rows, i)
			try(i + 1)
			rows = rows[:len(rows)-1]
		}
	}
	try(0)
	return bestM3, ok
}

const rounding = 1e-9

func TestSearch_LiesBetweenNothingAndTheOptimum(t *testing.T) {
	t.Parallel()
	optimal, all := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		c := drawCover(t)
		most := min(4, len(c.rows))
		for k := 1; k <= most; k++ {
			s := find(c, k, true)
			rows, ok := s.rows, s.rows != nil
			bestM3, fits := optimum(c, k)
			if ok && !fits {
				t.Fatalf("%v chosen, but no %d rows are without a clash", rows, k)
			}
			if !ok {
				break // the heuristic may miss a tight packing
			}
			got := plainValue(c, rows)
			if len(rows) != k || !slices.IsSorted(rows) || plainClash(c, rows) {
				t.Fatalf("bad choice %v of %d rows", rows, k)
			}
			if got > bestM3+rounding {
				t.Fatalf("chosen %v are worth %g, the optimum %g", rows, got, bestM3)
			}
			if bound := s.bound(); bound < bestM3-rounding {
				t.Fatalf("bound %g below the optimum %g", bound, bestM3)
			}
			all++
			if got >= bestM3-rounding {
				optimal++
			}
		}
	})
	if optimal < all*9/10 {
		t.Errorf("only %d of %d small problems were solved to the optimum", optimal, all)
	}
}

// TestProver_NeverGoesBelowTheOptimum makes it branch as deep as it can.
func TestProver_NeverGoesBelowTheOptimum(t *testing.T) {
	t.Parallel()
	tight, all := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		c := drawCover(t)
		k := rapid.IntRange(1, min(4, len(c.rows))).Draw(t, "k")
		bestM3, ok := optimum(c, k)
		if !ok || bestM3 == 0 {
			t.Skip("nothing to choose")
		}
		b := newBounder(c, k)
		b.tighten(k, bestM3, 0, rapid.IntRange(1, 30).Draw(t, "steps"), nil)
		// With slack the family may leave the optimum out.
		slack := rapid.SampledFrom([]float64{0, 0.02, 0.1}).Draw(t, "slack")
		p := prover{reachedM3: bestM3, enoughM3: bestM3 * (1 + slack), work: 1e7}
		got := p.prove(c, b.prices, k, 0, b.best[k])
		if got < bestM3-rounding || b.best[k] < bestM3-rounding {
			t.Fatalf("bounds %g and %g, the optimum is %g", b.best[k], got, bestM3)
		}
		if got > b.best[k] {
			t.Fatalf("branching raised the bound from %g to %g", b.best[k], got)
		}
		// It must branch when it is told nothing of a bound.
		p = prover{reachedM3: bestM3, enoughM3: bestM3 * (1 + slack), work: 1e7}
		if forced := p.prove(c, b.prices, k, 0, math.Inf(1)); forced < bestM3-rounding {
			t.Fatalf("branching gave %g, the optimum is %g", forced, bestM3)
		}
		all++
		if got <= bestM3*(1+slack+1e-6) {
			tight++
		}
	})
	if tight < all/2 {
		t.Errorf("only %d of %d bounds were closed", tight, all)
	}
}

func TestChoice_ImproveEndsAtALocalOptimum(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		c := drawCover(t)
		s := c.choose(nil)
		s.grow(rapid.IntRange(1, 3).Draw(t, "k"), nil)
		before := s.valueM3
		s.improve()
		if s.valueM3 < before || s.valueM3 != plainValue(c, s.rows) || plainClash(c, s.rows) {
			t.Fatalf("value %g before, %g after, %g by adding up; rows %v", before, s.valueM3, plainValue(c, s.rows), s.rows)
		}
		for out := range s.rows {
			for in := range c.rows {
				rows := slices.Clone(s.rows)
				rows[out] = in
				if !plainClash(c, rows) && plainValue(c, rows) > s.valueM3+1e-6 {
					t.Errorf("%v is worth %g, more than %v at %g", rows, plainValue(c, rows), s.rows, s.valueM3)
				}
			}
		}
	})
}
