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

// evaluate works out ρ, the cliques and the bounds at the present prices, and
// returns the bound on k rows.
func (b *bounder) evaluate(k int) (boundM3 float64) {
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
	for n := 1; n <= b.most; n++ {
		if n <= len(b.leaders) {
			sum += b.rho[b.leaders[n-1]]
		}
		b.best[n] = min(b.best[n], sum)
		if n == k {
			boundM3 = sum
		}
	}
	return boundM3
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
// reached since. The prices end at the best met.
func (b *bounder) tighten(k int, reachedM3, enoughM3 float64, steps int, visit func(leaders []int) float64) {
	met := slices.Clone(b.prices)
	leastM3, pace, stale := math.Inf(1), 1.0, 0
	for step := range steps {
		boundM3 := b.evaluate(k)
		if boundM3 < leastM3*(1-1e-6) {
			stale = 0
		} else if stale++; stale >= 8 {
			pace, stale = pace/2, 0
		}
		if boundM3 < leastM3 {
			leastM3 = boundM3
			copy(met, b.prices)
		}
		if leastM3 <= enoughM3 || pace < 1e-3 {
			break
		}
		if visit != nil && step%10 == 9 {
			reachedM3 = max(reachedM3, visit(b.leaders[:min(k, len(b.leaders))]))
		}
		if !b.step(k, pace*(boundM3-reachedM3)) {
			break
		}
	}
	copy(b.prices, met)
}

// step moves the prices against the subgradient, so far that the bound would
// fall by fallM3 if nothing else changed: a cell's price rises when more than one
// of the leading rows would credit it, and falls when none does. It reports
// whether there was anything to move.
func (b *bounder) step(k int, fallM3 float64) bool {
	clear(b.credited)
	for _, i := range b.leaders[:min(k, len(b.leaders))] {
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
	if norm == 0 || fallM3 <= 0 {
		return false
	}
	for j, n := range b.credited {
		b.prices[j] = max(0, b.prices[j]-fallM3/norm*float64(1-n))
	}
	return true
}
