package site

import (
	"cmp"
	"math"
	"slices"
)

// bounder lowers upper bounds on what k rows can cover. With a price λ ≥ 0 on
// crediting each cell once, and ρ the sum over cells of what a row is worth above
// the prices,
//
//	Σ λ + the k greatest ρ
//
// bounds every choice of k rows, whatever the prices. Rows that all clash with
// one another are one pick, so only the greatest ρ of such a clique counts. The
// prices are lowered by subgradients (Held, Wolfe and Crowder, 1974, "Validation
// of subgradient optimization").
type bounder struct {
	c        *cover
	most     int       // greatest k of interest
	prices   []float64 // λ
	best     []float64 // least bound found for k rows, index k
	rho      []float64
	order    []int
	leaders  []int   // of the cliques, by falling ρ
	cliques  [][]int // rows in each, the leader first
	credited []int32

	evaluations int // so far
}

func newBounder(c *cover, most int) *bounder {
	b := &bounder{
		c: c, most: most,
		prices: make([]float64, c.cells), best: slices.Repeat([]float64{math.Inf(1)}, most+1),
		rho: make([]float64, len(c.rows)), order: make([]int, len(c.rows)), credited: make([]int32, c.cells),
	}
	return b
}

// evaluate works out ρ, the cliques and the bounds at the present prices.
func (b *bounder) evaluate() {
	b.evaluations++
	var sum float64
	for _, p := range b.prices {
		sum += p
	}
	for i, row := range b.c.rows {
		var rho float64
		for _, v := range row {
			if d := v.valueM3 - b.prices[v.cell]; d > 0 {
				rho += d
			}
		}
		b.rho[i], b.order[i] = rho, i
	}
	slices.SortFunc(b.order, func(i, k int) int {
		return cmp.Or(cmp.Compare(b.rho[k], b.rho[i]), cmp.Compare(i, k))
	})
	b.group()
	for k := 1; k <= b.most; k++ {
		if k <= len(b.leaders) {
			sum += b.rho[b.leaders[k-1]]
		}
		b.best[k] = min(b.best[k], sum)
	}
}

// group splits the rows into cliques in order of falling ρ, as many as are
// needed: each row joins the first clique it clashes with all of, or leads a new
// one.
func (b *bounder) group() {
	b.leaders, b.cliques = b.leaders[:0], b.cliques[:0]
next:
	for _, i := range b.order {
		if b.rho[i] <= 0 {
			break
		}
		for q, clique := range b.cliques {
			if !slices.ContainsFunc(clique, func(k int) bool { return !b.c.clashes(i, k) }) {
				b.cliques[q] = append(clique, i)
				continue next
			}
		}
		if len(b.leaders) == b.most {
			break
		}
		b.leaders = append(b.leaders, i)
		b.cliques = append(b.cliques, []int{i})
	}
}

// tighten lowers the bound on k rows toward the value that a choice reached, in
// at most so many steps, or until it is no more than enoughM3. It calls visit,
// when not nil, every few steps with the leading rows; visit returns the value
// reached since.
func (b *bounder) tighten(k int, reachedM3, enoughM3 float64, steps int, visit func(leaders []int) float64) {
	pace, stale := 1.0, 0
	for step := range steps {
		before := b.best[k]
		b.evaluate()
		if b.best[k] <= enoughM3 {
			return
		}
		if b.best[k] < before*(1-1e-6) {
			stale = 0
		} else if stale++; stale >= 8 {
			pace, stale = pace/2, 0
			if pace < 1e-3 {
				return
			}
		}
		if visit != nil && step%10 == 9 {
			reachedM3 = max(reachedM3, visit(b.leaders[:min(k, len(b.leaders))]))
		}
		if !b.step(k, pace, reachedM3) {
			return
		}
	}
}

// step moves the prices against the subgradient: a cell's price rises when more
// than one of the leading rows would credit it, and falls when none does.
func (b *bounder) step(k int, pace, reachedM3 float64) bool {
	leaders := b.leaders[:min(k, len(b.leaders))]
	boundM3 := 0.0
	for _, p := range b.prices {
		boundM3 += p
	}
	clear(b.credited)
	for _, i := range leaders {
		boundM3 += b.rho[i]
		for _, v := range b.c.rows[i] {
			if v.valueM3 > b.prices[v.cell] {
				b.credited[v.cell]++
			}
		}
	}
	var norm float64
	for j, n := range b.credited {
		if g := float64(1 - n); b.prices[j] > 0 || g < 0 {
			norm += g * g
		}
	}
	if norm == 0 || boundM3 <= reachedM3 {
		return false
	}
	length := pace * (boundM3 - reachedM3) / norm
	for j, n := range b.credited {
		b.prices[j] = max(0, b.prices[j]-length*float64(1-n))
	}
	return true
}
