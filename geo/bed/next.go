package bed

import (
	"math"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// Settings of the advice. The boat's are common practice, no source.
const (
	boatSpeedMPS  = 1.5
	turnMinutes   = 0.5 // to take up a line
	tripMinutes   = 10  // a line's share of launching, rigging and coming home
	headings      = 12
	offsets       = 20 // chords per heading
	samples       = 28 // places along a chord at which it is judged, at most
	leastSamples  = 4
	MaxAdvice     = 4 // lines advised at once
	adviceMarginM = 1.5
)

// Advice is a line worth sounding next.
type Advice struct {
	From, To plane.Point // in the outline's frame, both in the water
	Minutes  float64     // to run it, at walking pace
	// VolumeSDM3 is what the standard deviation of the volume may be expected to be
	// after this line and those advised before it.
	VolumeSDM3 float64
}

// chord is a straight way through the water.
type chord struct {
	from, to plane.Point
	rows     []observation
	noise    []float64
}

// NextLines advises up to n lines, at most MaxAdvice, the best first: of straight
// ways at several headings the one that takes most variance off the volume for each
// minute, the trip's share counted, then the best given that one, and so on. They
// keep off water shallower than the boat has sounded yet. Variance is that of
// the model weighted by the outline, which knows of arms and islands. The errors
// that no line cures stay as they are. A guess has no advice; it returns nil.
//
// With c = H P⁻¹a for a line's places H and S = H P⁻¹Hᵀ + R, the line takes cᵀS⁻¹c
// off aᵀP⁻¹a.
func (b *Bed) NextLines(n int) ([]Advice, error) {
	if len(b.doubtful) == 0 {
		return nil, nil
	}
	var t *fit
	for _, m := range b.doubtful {
		if m.name == weightedModel {
			t = m.coarse
		}
	}
	_, volume := b.curve.At(0)
	sd := b.volumeSDM3
	fixed := math.Min(sd, math.Hypot(volumeFloor*float64(volume), math.Hypot(b.commonM*b.grid.AreaM2, b.speedSD*float64(volume))))
	chords := b.chords(t)
	spread := t.factor.solve(t.share)
	first := dot(t.share, spread)
	var out []Advice
	var last *plane.Point
	for range min(n, MaxAdvice) {
		best := t.best(chords, spread, last)
		if best < 0 {
			break
		}
		c := chords[best]
		if last != nil && c.to.Distance(*last) < c.from.Distance(*last) {
			c.from, c.to = c.to, c.from
		}
		var err error
		if t, err = t.with(&c); err != nil {
			return nil, err
		}
		spread = t.factor.solve(t.share)
		left := min(1, max(0, dot(t.share, spread)/first))
		out = append(out, Advice{
			From: c.from, To: c.to, Minutes: c.minutes(last),
			VolumeSDM3: math.Sqrt(fixed*fixed + (sd*sd-fixed*fixed)*left),
		})
		last = &out[len(out)-1].To
	}
	return out, nil
}

// VolumeSD returns the standard deviation of the volume that its interval is made of.
func (b *Bed) VolumeSD() unit.CubicMeters { return unit.CubicMeters(b.volumeSDM3) }

// chords lays straight ways through the water.
func (b *Bed) chords(t *fit) []chord {
	lo, hi := b.shore.Bounds()
	mid, reach := lo.Lerp(hi, 0.5), lo.Distance(hi)/2
	step := max(t.grid.SpacingM, math.Sqrt(t.grid.AreaM2)/samples)
	// A bin's worth of fixes each grid spacing, averaged over a step.
	noise := floorShare * t.grid.SpacingM / step
	leastM := math.Inf(1)
	for k := range b.near.data {
		leastM = min(leastM, b.near.data[k].depthM)
	}
	var out []chord
	for h := range headings {
		sin, cos := math.Sincos(math.Pi * float64(h) / headings)
		along, across := plane.Point{X: cos, Y: sin}, plane.Point{X: -sin, Y: cos}
		for k := range offsets {
			start := mid.Add(across.Scale(reach * (2*(float64(k)+0.5)/offsets - 1))).Sub(along.Scale(reach))
			var c chord
			end := func() {
				if len(c.rows) >= leastSamples {
					out = append(out, c)
				}
				c = chord{}
			}
			for s := step / 2; s < 2*reach; s += step {
				p := start.Add(along.Scale(s))
				o, ok := t.observe(p)
				if ok {
					d, _ := b.shore.Nearest(p)
					ok = d >= adviceMarginM && b.Depth(p) >= leastM
				}
				if !ok || (len(c.rows) > 0 && b.shore.Crosses(c.to, p)) {
					end()
				}
				if !ok {
					continue
				}
				if len(c.rows) == 0 {
					c.from = p
				}
				c.to = p
				c.rows, c.noise = append(c.rows, o), append(c.noise, noise)
			}
			end()
		}
	}
	return out
}

// minutes returns the time to run the chord, and to get to it from last if that is
// known.
func (c *chord) minutes(last *plane.Point) float64 {
	way := c.from.Distance(c.to)
	if last != nil {
		way += min(c.from.Distance(*last), c.to.Distance(*last))
	}
	return turnMinutes + way/boatSpeedMPS/60
}

// best returns the chord that takes most variance off the volume a minute, or −1
// if none takes any; spread is P⁻¹a.
func (t *fit) best(chords []chord, spread []float64, last *plane.Point) int {
	scores := make([]float64, len(chords))
	inParallel(len(chords), func(k int) {
		c := &chords[k]
		m := len(c.rows)
		rows, miss := make([]sparseRow, m), make([]float64, m)
		for i := range c.rows {
			rows[i], miss[i] = t.row(&c.rows[i]), t.predict(&c.rows[i], spread)
		}
		s := t.factor.gram(rows)
		for i := range m {
			s[i*m+i] += c.noise[i]
		}
		x := append([]float64(nil), miss...)
		solveDense(s, x, m)
		scores[k] = dot(miss, x) / (tripMinutes + c.minutes(last))
	})
	best := -1
	for k, score := range scores {
		if score > 0 && (best < 0 || score > scores[best]) {
			best = k
		}
	}
	return best
}

// with returns the fit as it will be once the chord is sounded; what it will read
// does not matter to the variance.
func (t *fit) with(c *chord) (*fit, error) {
	out := &fit{field: t.field, scaleM: t.scaleM, logRatio: t.logRatio}
	out.data = append(out.data, t.data...)
	out.rows = append(append(out.rows, t.rows...), c.rows...)
	out.seen = append(out.seen, t.seen...)
	for i := range c.rows {
		out.data = append(out.data, datum{spread: c.noise[i], weight: 1, depthM: t.predict(&c.rows[i], t.x)})
		out.seen = append(out.seen, true)
	}
	return out, out.solve()
}
