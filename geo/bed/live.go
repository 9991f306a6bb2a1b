package bed

import (
	"math"
	"slices"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/grid"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

const (
	// foldRows is the number of changed bins beyond which it is cheaper to condition
	// the coarse fields anew than to correct them.
	foldRows = 128
	// tileChangeM is the change of depth that makes a tile dirty.
	tileChangeM = 0.001
)

// Live keeps an estimate up to date while soundings arrive, in tens of
// milliseconds a batch. Between settlings noise, smoothness and weights stay as
// they were and only the coarse grid is solved, so its answers are previews;
// Settle gives the estimate itself. Make one with NewLive; it is not safe for use
// by several goroutines at once.
type Live struct {
	shore  *shore.Shore
	opt    Options
	passes map[string]*livePass
	names  []string // of the passes, sorted
	bed    *Bed     // last settled; nil before
	level  int
	tiles  []s2.CellID // of the coarse nodes
	base   []liveModel
	index  map[content]int // of the base's data
}

// livePass is one boat run: its soundings, its bins now, and those the base has.
type livePass struct {
	soundings   []Sounding
	data, based []datum
}

// liveModel is a model on the coarse grid and what has changed since it was solved.
type liveModel struct {
	weight   float64
	fit      *fit
	spread   []float64 // P⁻¹a: what a datum does to the volume
	shiftM3  float64   // volume of fit less that of the settled one
	settledX []float64
	shift    []float64 // of the unknowns from the settled ones
}

// content tells bins apart by what they hold, because a line's number moves when
// an earlier line arrives late.
type content struct {
	at             plane.Point
	depthM, spread float64
}

func (d *datum) holds() content { return content{d.at, d.depthM, d.spread} }

// Update is what a batch of soundings changed.
type Update struct {
	Volume  unit.CubicMeters
	Changed int         // bins added, altered or taken away since the last settling
	Tiles   []s2.CellID // whose depths moved by more than a millimeter with this batch, in order of id
}

// NewLive returns a Live without soundings. Errors are those of Options.Validate.
func NewLive(s *shore.Shore, opt Options) (*Live, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	return &Live{shore: s, opt: opt, passes: make(map[string]*livePass)}, nil
}

// Settle estimates the bed from all soundings added so far. The result is that of
// Estimate, to the last bit, in whatever batches and order they came. Errors are
// those of Estimate; after one the Live goes on from the bed settled before.
func (l *Live) Settle() (*Bed, error) {
	var all []Sounding
	for _, name := range l.names {
		all = append(all, l.passes[name].soundings...)
	}
	b, err := Estimate(l.shore, all, l.opt)
	if err != nil {
		return nil, err
	}
	l.bed, l.base = b, nil
	if b.diag.Guess {
		return b, nil
	}
	frame := l.shore.Frame()
	l.level = binLevel(frame, b.grid)
	for _, name := range l.names {
		p := l.passes[name]
		p.data = l.binsOf(p)
		p.based = p.data
	}
	for _, m := range b.doubtful {
		l.base = append(l.base, liveModel{weight: m.weight, fit: m.coarse, settledX: m.coarse.x, shift: make([]float64, len(m.coarse.x))})
	}
	l.rebase()
	l.tiles = l.tiles[:0]
	for _, n := range l.base[0].fit.grid.Nodes {
		l.tiles = append(l.tiles, grid.Tile(frame.ToLatLng(n.At)))
	}
	return b, nil
}

// rebase notes what the models' present data do to the volume.
func (l *Live) rebase() {
	inParallel(len(l.base), func(k int) {
		m := &l.base[k]
		m.spread = m.fit.factor.solve(m.fit.share)
		m.shiftM3 = dot(m.fit.share, m.fit.x) - dot(m.fit.share, m.settledX)
	})
	l.index = make(map[content]int)
	for k := range l.base[0].fit.data {
		l.index[l.base[0].fit.data[k].holds()] = k
	}
}

// binsOf cleans a pass and merges its soundings.
func (l *Live) binsOf(p *livePass) []datum {
	var lagS float64
	if l.bed.diag.LagApplied {
		lagS = l.bed.diag.LagS
	}
	fixes, _ := prepare(l.shore, p.soundings, make([][]Flag, len(p.soundings)))
	return withEnds(binned(fixes, l.shore.Frame(), l.level, lagS), lineEnds(fixes, l.shore, lagS))
}

// Add takes a batch of new soundings in. The first usable ones are settled at
// once. Errors are those of Estimate.
func (l *Live) Add(batch []Sounding) (Update, error) {
	var touched []string
	for _, s := range batch {
		p, ok := l.passes[s.Pass]
		if !ok {
			p = &livePass{}
			l.passes[s.Pass] = p
			at, _ := slices.BinarySearch(l.names, s.Pass)
			l.names = slices.Insert(l.names, at, s.Pass)
		}
		p.soundings = append(p.soundings, s)
		touched = append(touched, s.Pass)
	}
	if len(l.base) == 0 {
		b, err := l.Settle()
		if err != nil {
			return Update{}, err
		}
		return Update{Volume: b.volume.Value, Tiles: slices.Compact(slices.Sorted(slices.Values(l.tiles)))}, nil
	}
	slices.Sort(touched)
	for _, name := range slices.Compact(touched) {
		p := l.passes[name]
		p.data = l.binsOf(p)
	}
	return l.update()
}

// update brings the models' coarse fields up to the passes' present bins.
func (l *Live) update() (Update, error) {
	added, removed := l.changes()
	u := Update{Changed: len(added) + len(removed)}
	shifts, volumes, failed := make([][]float64, len(l.base)), make([]float64, len(l.base)), make([]error, len(l.base))
	fold := u.Changed > foldRows
	inParallel(len(l.base), func(k int) {
		if m := &l.base[k]; fold {
			shifts[k], failed[k] = m.resolve(l)
		} else {
			shifts[k], volumes[k] = m.correct(added, removed)
		}
	})
	for _, err := range failed {
		if err != nil {
			return Update{}, err
		}
	}
	if fold {
		for _, p := range l.passes {
			p.based = p.data
		}
		l.rebase()
	}
	nodes := len(l.tiles)
	moved := make([]float64, nodes)
	for k := range l.base {
		m := &l.base[k]
		for i, d := range m.fit.surface(shifts[k]) {
			moved[i] += m.weight * d
		}
		for i, d := range m.fit.surface(m.shift) {
			moved[i] -= m.weight * d
		}
		m.shift = shifts[k]
		u.Volume += unit.CubicMeters(m.weight * (m.shiftM3 + volumes[k]))
	}
	u.Volume = max(0, u.Volume+l.bed.volume.Value)
	for i, d := range moved {
		if math.Abs(d) > tileChangeM {
			u.Tiles = append(u.Tiles, l.tiles[i])
		}
	}
	slices.Sort(u.Tiles)
	u.Tiles = slices.Compact(u.Tiles)
	return u, nil
}

// changes compares the passes' bins with those of the base: the data that came and
// the places in the base's data of those that went.
func (l *Live) changes() (added []datum, removed []int) {
	for _, name := range l.names {
		p := l.passes[name]
		count := make(map[content]int)
		for k := range p.based {
			count[p.based[k].holds()]++
		}
		for k := range p.data {
			if c := p.data[k].holds(); count[c] > 0 {
				count[c]--
			} else {
				added = append(added, p.data[k])
			}
		}
		for k := range p.based {
			c := p.based[k].holds()
			if count[c] == 0 {
				continue
			}
			count[c]--
			if at, ok := l.index[c]; ok {
				removed = append(removed, at)
			}
		}
	}
	return added, removed
}

// correct returns the unknowns' and the volume's shift for data that came and went
// by the formula of Sherman, Morrison & Woodbury: with U the changed rows, D their
// weights, negative for those that went, and r their misses,
//
//	x' = x + P⁻¹U (D⁻¹ + UᵀP⁻¹U)⁻¹ r.
func (m *liveModel) correct(added []datum, removed []int) (shift []float64, volumeM3 float64) {
	t := m.fit
	var rows []sparseRow
	var seen []observation
	var of []*datum
	var miss []float64
	take := func(o observation, d *datum) {
		seen, rows = append(seen, o), append(rows, t.row(&o))
		of, miss = append(of, d), append(miss, d.depthM-t.predict(&o, t.x))
	}
	for _, k := range removed {
		if t.seen[k] {
			take(t.rows[k], &t.data[k])
		}
	}
	went := len(of)
	for k := range added {
		if o, ok := t.observe(added[k].at); ok {
			take(o, &added[k])
		}
	}
	n := len(rows)
	gram := t.factor.gram(rows)
	for i, d := range of {
		if i < went {
			gram[i*n+i] -= d.spread / d.weight
			continue
		}
		// Weigh a new datum by what was to be expected of it.
		gram[i*n+i] += d.spread / t.weigh(d, miss[i]*miss[i], d.spread+gram[i*n+i])
	}
	solveGeneral(gram, miss, n)
	right := make([]float64, len(t.x))
	for i := range seen {
		t.addTo(right, &seen[i], miss[i])
		volumeM3 += miss[i] * t.predict(&seen[i], m.spread)
	}
	shift = t.factor.solve(right)
	for i := range shift {
		shift[i] += t.x[i] - m.settledX[i]
	}
	return shift, volumeM3
}

// resolve conditions the model on all present bins and returns the unknowns' shift.
func (m *liveModel) resolve(l *Live) ([]float64, error) {
	var data []datum
	for _, name := range l.names {
		for _, d := range l.passes[name].data {
			if k, ok := l.index[d.holds()]; ok {
				d.weight = m.fit.data[k].weight
			} else if o, ok := m.fit.observe(d.at); ok {
				miss := d.depthM - m.fit.predict(&o, m.fit.x)
				// Its own doubt is not known here; the field's is taken as the noise's.
				d.weight = m.fit.weigh(&d, miss*miss, 1+d.spread)
			}
			data = append(data, d)
		}
	}
	t := newFit(m.fit.field, data, m.fit.scaleM)
	t.logRatio = m.fit.logRatio
	if err := t.solve(); err != nil {
		return nil, err
	}
	m.fit = t
	shift := make([]float64, len(t.x))
	for i := range shift {
		shift[i] = t.x[i] - m.settledX[i]
	}
	return shift, nil
}

// Depth returns the depth in meters at p as the soundings so far have it; zero
// ashore and before the first soundings.
func (l *Live) Depth(p plane.Point) float64 {
	if l.bed == nil {
		return 0
	}
	depth := l.bed.Depth(p)
	for k := range l.base {
		if o, ok := l.base[k].fit.observe(p); ok {
			depth += l.base[k].weight * l.base[k].fit.predict(&o, l.base[k].shift)
		}
	}
	return max(0, depth)
}

// solveGeneral replaces x by A⁻¹x by elimination with row exchanges; A, of order
// n, is overwritten. A pivot of zero leaves its unknown at zero.
func solveGeneral(a, x []float64, n int) {
	for c := range n {
		best := c
		for r := c + 1; r < n; r++ {
			if math.Abs(a[r*n+c]) > math.Abs(a[best*n+c]) {
				best = r
			}
		}
		if best != c {
			for k := range n {
				a[c*n+k], a[best*n+k] = a[best*n+k], a[c*n+k]
			}
			x[c], x[best] = x[best], x[c]
		}
		if a[c*n+c] == 0 {
			continue
		}
		for r := c + 1; r < n; r++ {
			f := a[r*n+c] / a[c*n+c]
			if f == 0 {
				continue
			}
			from, to := a[c*n+c:c*n+n], a[r*n+c:r*n+n]
			for k, v := range from {
				to[k] -= f * v
			}
			x[r] -= f * x[c]
		}
	}
	for c := n - 1; c >= 0; c-- {
		if a[c*n+c] == 0 {
			x[c] = 0
			continue
		}
		for k := c + 1; k < n; k++ {
			x[c] -= a[c*n+k] * x[k]
		}
		x[c] /= a[c*n+c]
	}
}
