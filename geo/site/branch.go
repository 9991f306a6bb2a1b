package site

import (
	"cmp"
	"slices"
)

// branchWork limits the effort of a prover, in values looked at: about half a
// second of one core.
const branchWork = 500e6

// prover lowers a bound that the prices alone leave too high, as they do where a
// pond is round and many layouts are equally good. It finds a family of rows
// without which the value wanted is out of reach; then any choice that is good
// enough holds one of them, and each is tried in turn: what it covers is taken
// off the others and the rest bounded as a smaller problem of its own. It spends
// a fixed amount of work, so the same input has the same bound everywhere.
type prover struct {
	reachedM3, enoughM3 float64
	work                float64
}

// prove returns a bound on baseM3 and k rows of c, at most boundM3 and no lower
// than it takes to be enough.
func (p *prover) prove(c *cover, prices []float64, k int, baseM3, boundM3 float64) float64 {
	if k == 0 || boundM3 <= p.enoughM3 || p.work <= 0 {
		return boundM3
	}
	c, leader := p.sift(c, prices, k, baseM3)
	family := c.family(leader)
	m, restM3 := p.needed(c, family, prices, k, baseM3)
	if m == 0 {
		return boundM3
	}
	worstM3 := max(restM3, p.enoughM3)
	for i, row := range family[:m] {
		rest, gainedM3 := c.without(family[:i]).given(row)
		b := newBounder(rest, max(k-1, 1))
		for j := range prices {
			b.prices[j] = max(0, prices[j]-rest.base[j])
		}
		childM3 := p.bound(b, k-1, baseM3+gainedM3)
		childM3 = p.prove(rest, b.prices, k-1, baseM3+gainedM3, childM3)
		if worstM3 = max(worstM3, childM3); worstM3 >= boundM3 || p.work <= 0 {
			return boundM3
		}
	}
	return worstM3
}

// sift takes out the rows that no choice good enough can hold: with such a row
// for one of the leading ones the bound is enough already. It also returns the
// row worth most above the prices.
func (p *prover) sift(c *cover, prices []float64, k int, baseM3 float64) (sifted *cover, leader int) {
	b := newBounder(c, k)
	copy(b.prices, prices)
	withoutLastM3 := baseM3 + b.evaluate(k)
	if len(b.leaders) >= k {
		withoutLastM3 -= b.rho[b.leaders[k-1]]
	}
	var out []int
	for i, rho := range b.rho {
		if !c.gone(i) && withoutLastM3+rho <= p.enoughM3 {
			out = append(out, i)
		}
	}
	p.spend(b)
	return c.without(out), b.order[0]
}

// bound tightens b for k rows beside baseM3.
func (p *prover) bound(b *bounder, k int, baseM3 float64) float64 {
	if k == 0 {
		return baseM3
	}
	const steps = 40
	b.tighten(k, p.reachedM3-baseM3, p.enoughM3-baseM3, steps, nil)
	p.spend(b)
	return baseM3 + b.best[k]
}

// spend counts the work that b has done.
func (p *prover) spend(b *bounder) {
	p.work -= float64(b.evaluations) * float64(b.c.size()+len(b.c.rows)*len(b.c.rows)/4)
}

// needed returns how many rows of the family must go before the others cannot
// reach enough, and the bound on the others; zero when even all of it is too
// little.
func (p *prover) needed(c *cover, family []int, prices []float64, k int, baseM3 float64) (m int, boundM3 float64) {
	for m = min(4, len(family)); p.work > 0; m = min(m+(m+1)/2, len(family)) {
		b := newBounder(c.without(family[:m]), k)
		copy(b.prices, prices)
		if boundM3 = p.bound(b, k, baseM3); boundM3 <= p.enoughM3 {
			return m, boundM3
		}
		if m == len(family) {
			break
		}
	}
	return 0, boundM3
}

// family lists all rows by how much of the water of row r they cover too, r
// first.
func (c *cover) family(r int) []int {
	own := make([]float64, c.cells)
	for _, v := range c.rows[r] {
		own[v.cell] = v.valueM3
	}
	common := make([]float64, len(c.rows))
	list := make([]int, 0, len(c.rows))
	for i, row := range c.rows {
		if c.gone(i) {
			continue
		}
		for _, v := range row {
			common[i] += min(v.valueM3, own[v.cell])
		}
		list = append(list, i)
	}
	slices.SortFunc(list, func(i, k int) int {
		return cmp.Or(cmp.Compare(common[k], common[i]), cmp.Compare(i, k))
	})
	return list
}

// size returns how many values there are.
func (c *cover) size() int {
	n := 0
	for _, row := range c.rows {
		n += len(row)
	}
	return n
}

// gone reports whether row i was taken out.
func (c *cover) gone(i int) bool { return c.rows[i] == nil }

// without returns c without the rows; the others keep their numbers.
func (c *cover) without(rows []int) *cover {
	rest := *c
	rest.rows = slices.Clone(c.rows)
	for _, i := range rows {
		rest.rows[i] = nil
	}
	return &rest
}

// given returns what is left to cover once row r is chosen: the other rows that
// do not clash with it, by what they add. It also returns what r covers.
func (c *cover) given(r int) (rest *cover, gainedM3 float64) {
	rest = &cover{cells: c.cells, clash: c.clash, base: make([]float64, c.cells), rows: make([][]share, len(c.rows))}
	for _, v := range c.rows[r] {
		rest.base[v.cell] = v.valueM3
		gainedM3 += v.valueM3
	}
	for i, row := range c.rows {
		if i == r || c.gone(i) || c.clashes(i, r) {
			continue
		}
		rest.rows[i] = above(row, rest.base)
	}
	return rest, gainedM3
}
