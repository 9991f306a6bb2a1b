package site

import (
	"cmp"
	"math"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// Basin is a part of the pond that a sill parts from the rest. A pond without
// sills is one basin.
type Basin struct {
	Deepest int         // index of its deepest cell
	Depth   unit.Meters // there
	Sill    unit.Meters // depth of the lowest sill that parts it from another basin; 0 when alone
	Volume  unit.CubicMeters
}

// flood fills the cells from the deepest up. Each pool that starts is a basin
// until it meets another at a sill: there the two stay apart if both are deeper
// than the sill by more than sillM and hold more than leastM3 of water, else the
// one that fails is taken into the other.
type flood struct {
	cells   []Cell
	sillM   float64
	leastM3 float64
	label   []int // pool that a cell was taken into; -1 before
	parent  []int // union-find over pools that have met
	pools   []pool
}

// pool is one basin in the making. The pool at the root of a union also keeps
// the union's water and the basins that stand in it.
type pool struct {
	deepest  int   // cell
	cells    []int // labeled with this pool
	volumeM3 float64
	basins   []int
}

func (c Cell) volumeM3() float64 { return c.AreaM2 * c.DepthM }

// byDepth lists the cells deepest first, ties by index.
func byDepth(cells []Cell) []int {
	order := make([]int, len(cells))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(cells[b].DepthM, cells[a].DepthM), cmp.Compare(a, b))
	})
	return order
}

// findBasins returns the basins by depth, the basin of each cell, and the depth
// of the sill between each two: +Inf within one.
func findBasins(cells []Cell, neighbors [][]int, r Rules) (basins []Basin, of []int, sillsM [][]float64) {
	f := &flood{cells: cells, sillM: float64(r.SillDepth), label: make([]int, len(cells))}
	for i := range cells {
		f.label[i] = -1
		f.leastM3 += r.BasinShare * cells[i].volumeM3()
	}
	type meeting struct {
		a, b  int
		sillM float64
	}
	var met []meeting
	join := func(a, b, via int) {
		for _, p := range f.pools[f.root(a)].basins {
			for _, q := range f.pools[f.root(b)].basins {
				met = append(met, meeting{p, q, cells[via].DepthM})
			}
		}
		f.join(a, b, via)
	}
	for _, c := range byDepth(cells) {
		into := -1 // the deepest neighbor under water already
		for _, n := range neighbors[c] {
			if f.label[n] >= 0 && (into < 0 || cells[n].DepthM > cells[into].DepthM) {
				into = n
			}
		}
		f.take(c, into)
		for _, n := range neighbors[c] {
			if f.label[n] >= 0 && f.root(f.label[n]) != f.root(f.label[c]) {
				join(f.label[n], f.label[c], c)
			}
		}
	}
	// Patches that the grid fails to join meet at their nearest cells.
	for {
		a, b := f.apart()
		if b < 0 {
			break
		}
		via := a
		if cells[b].DepthM < cells[a].DepthM {
			via = b
		}
		join(f.label[a], f.label[b], via)
	}
	index := map[int]int{}
	alive := slices.Clone(f.pools[f.root(f.label[0])].basins)
	slices.SortFunc(alive, func(a, b int) int {
		return cmp.Or(cmp.Compare(cells[f.pools[b].deepest].DepthM, cells[f.pools[a].deepest].DepthM), cmp.Compare(a, b))
	})
	for k, p := range alive {
		index[p] = k
		basins = append(basins, Basin{Deepest: f.pools[p].deepest, Depth: unit.Meters(cells[f.pools[p].deepest].DepthM)})
		sillsM = append(sillsM, slices.Repeat([]float64{math.Inf(1)}, len(alive)))
	}
	of = make([]int, len(cells))
	for i := range cells {
		of[i] = index[f.label[i]]
		basins[of[i]].Volume += unit.CubicMeters(cells[i].volumeM3())
	}
	for _, m := range met {
		a, okA := index[m.a]
		b, okB := index[m.b]
		if !okA || !okB {
			continue
		}
		sillsM[a][b], sillsM[b][a] = m.sillM, m.sillM
		for _, k := range []int{a, b} {
			basins[k].Sill = max(basins[k].Sill, unit.Meters(m.sillM))
		}
	}
	return basins, of, sillsM
}

// root returns the union that pool p belongs to.
func (f *flood) root(p int) int {
	for f.parent[p] != p {
		f.parent[p] = f.parent[f.parent[p]]
		p = f.parent[p]
	}
	return p
}

// take puts cell c under water: into the pool of cell into, or a new one.
func (f *flood) take(c, into int) {
	p := len(f.pools)
	if into >= 0 {
		p = f.label[into]
	} else {
		f.pools = append(f.pools, pool{deepest: c, basins: []int{p}})
		f.parent = append(f.parent, p)
	}
	f.label[c] = p
	f.pools[p].cells = append(f.pools[p].cells, c)
	f.pools[f.root(p)].volumeM3 += f.cells[c].volumeM3()
}

// join lets the unions of pools p and q meet at cell via.
func (f *flood) join(p, q, via int) {
	a, b := f.root(p), f.root(q)
	if da, db := f.depthM(a), f.depthM(b); db > da || db == da && b < a {
		a, b, p, q = b, a, q, p
	}
	// a is the deeper one now.
	keepA, keepB := f.stands(a, via), f.stands(b, via)
	f.parent[b] = a
	f.pools[a].volumeM3 += f.pools[b].volumeM3
	switch {
	case keepA && keepB:
		f.pools[a].basins = append(f.pools[a].basins, f.pools[b].basins...)
	case keepB:
		// A deep hole with little water falls to its neighbor.
		f.absorb(p, q)
		f.pools[a].basins = f.pools[b].basins
	default:
		f.absorb(q, p)
	}
}

// depthM returns the greatest depth in the union at root p.
func (f *flood) depthM(p int) float64 {
	deepestM := 0.0
	for _, b := range f.pools[p].basins {
		deepestM = max(deepestM, f.cells[f.pools[b].deepest].DepthM)
	}
	return deepestM
}

// stands reports whether the union at root p remains a basin of its own beside
// a sill at cell via.
func (f *flood) stands(p, via int) bool {
	return len(f.pools[p].basins) > 1 ||
		f.depthM(p)-f.cells[via].DepthM > f.sillM && f.pools[p].volumeM3 > f.leastM3
}

// absorb gives the cells of pool p to pool q.
func (f *flood) absorb(p, q int) {
	for _, c := range f.pools[p].cells {
		f.label[c] = q
	}
	f.pools[q].cells = append(f.pools[q].cells, f.pools[p].cells...)
	f.pools[p].cells = nil
	if f.cells[f.pools[p].deepest].DepthM > f.cells[f.pools[q].deepest].DepthM {
		f.pools[q].deepest = f.pools[p].deepest
	}
}

// apart returns the nearest two cells in different unions, one of them that of
// cell 0, or b < 0 when there is one union only.
func (f *flood) apart() (a, b int) {
	var in, out []int
	for c := range f.cells {
		if f.root(f.label[c]) == f.root(f.label[0]) {
			in = append(in, c)
		} else {
			out = append(out, c)
		}
	}
	a, b = -1, -1
	bestM := math.Inf(1)
	for _, p := range in {
		for _, q := range out {
			if d := f.cells[p].At.Distance(f.cells[q].At); d < bestM {
				a, b, bestM = p, q, d
			}
		}
	}
	return a, b
}

// neighborsOf returns, for each cell, the cells that it touches: those within
// one and a half cell widths that it sees past the shore.
func neighborsOf(cells []Cell, crosses func(a, b plane.Point) bool) [][]int {
	widthM := 0.0
	for _, c := range cells {
		widthM = max(widthM, math.Sqrt(c.AreaM2))
	}
	reachM := 1.6 * widthM
	type key struct{ i, j int }
	at := func(p plane.Point) key { return key{int(math.Floor(p.X / reachM)), int(math.Floor(p.Y / reachM))} }
	bins := map[key][]int{}
	for i, c := range cells {
		bins[at(c.At)] = append(bins[at(c.At)], i)
	}
	list := make([][]int, len(cells))
	for i, c := range cells {
		k := at(c.At)
		for dj := -1; dj <= 1; dj++ {
			for di := -1; di <= 1; di++ {
				for _, n := range bins[key{k.i + di, k.j + dj}] {
					if n != i && c.At.Distance(cells[n].At) <= reachM && !crosses(c.At, cells[n].At) {
						list[i] = append(list[i], n)
					}
				}
			}
		}
	}
	return list
}
