package trial

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Rules of a cut pond.
const (
	cutTries     = 20000
	leastNodes   = 110  // of the terrain's own grid under water
	leastFill    = 0.15 // share of its box that a pond must fill
	mostDam      = 0.25 // share of its edge that may lie against the dam
	faceSteep    = 3    // slope of the dam's face, in mean slopes of the bed
	refinedCells = 200  // across the longer side of the box
)

// dam is a half-plane: water may stand where along·(p − foot) > 0. Its face
// falls away upstream.
type dam struct {
	footX, footY, alongX, alongY float64
	levelM, faceM                float64 // level, and fall of the face per cell
}

// raise returns the height at (x, y) with the dam built.
func (d *dam) raise(x, y, heightM float64) float64 {
	return max(heightM, d.levelM-d.faceM*d.upstream(x, y))
}

func (d *dam) upstream(x, y float64) float64 {
	return (x-d.footX)*d.alongX + (y-d.footY)*d.alongY
}

// cut dams and floods a random piece of the terrain until a pond with so many
// islands or more comes of it, and returns it refined, not yet to scale.
func cut(t *terrain, rng *rand.Rand, cubic bool, islands int) (*bottom, error) {
	for range cutTries {
		w := 40 + rng.IntN(80)
		i0, j0 := rng.IntN(max(1, t.nx-w)), rng.IntN(max(1, t.ny-w))
		w, h := min(w, t.nx), min(w, t.ny)
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		d := dam{
			footX: float64(i0) + float64(w)*(0.2+0.6*rng.Float64()), footY: float64(j0) + float64(h)*(0.2+0.6*rng.Float64()),
			alongX: cos, alongY: sin, levelM: t.at(i0+rng.IntN(w), j0+rng.IntN(h)) + 0.37,
		}
		if d.levelM >= t.below {
			continue
		}
		if b := d.refine(t, i0, j0, w, h, cubic); b != nil && len(b.rings()) > islands {
			return b, nil
		}
	}
	return nil, fmt.Errorf("no pond in %s after %d tries", t.name, cutTries)
}

// refine floods the window behind the dam and returns the pond on a finer grid,
// or nil where the rules are not met.
func (d *dam) refine(t *terrain, i0, j0, w, h int, cubic bool) *bottom {
	pool := d.pool(t, i0, j0, w, h)
	if len(pool) < leastNodes {
		return nil
	}
	loI, hiI, loJ, hiJ := t.nx, 0, t.ny, 0
	var slopes, edge, dammed float64
	for _, k := range pool {
		i, j := k%t.nx, k/t.nx
		loI, hiI, loJ, hiJ = min(loI, i), max(hiI, i), min(loJ, j), max(hiJ, j)
		slopes += math.Hypot(t.at(i+1, j)-t.at(i-1, j), t.at(i, j+1)-t.at(i, j-1)) / 2
		for _, n := range [4][2]int{{1, 0}, {0, 1}, {-1, 0}, {0, -1}} {
			i, j := i+n[0], j+n[1]
			behind := d.upstream(float64(i), float64(j)) <= 0
			if behind || t.at(i, j) >= d.levelM {
				edge++
			}
			if behind && t.at(i, j) < d.levelM {
				dammed++
			}
		}
	}
	if loI <= i0+1 || loJ <= j0+1 || hiI >= i0+w-2 || hiJ >= j0+h-2 || dammed > mostDam*edge {
		return nil
	}
	d.faceM = faceSteep * slopes / float64(len(pool))
	// A margin of two cells all round, then finer.
	loI, loJ, hiI, hiJ = loI-2, loJ-2, hiI+2, hiJ+2
	factor := math.Ceil(refinedCells / float64(max(hiI-loI, hiJ-loJ)-4))
	b := &bottom{nx: (hiI-loI)*int(factor) + 1, ny: (hiJ-loJ)*int(factor) + 1, cellM: 1}
	for j := range b.ny {
		for i := range b.nx {
			x, y := float64(loI)+float64(i)/factor, float64(loJ)+float64(j)/factor
			b.depthM = append(b.depthM, d.levelM-d.raise(x, y, t.between(x, y, cubic)))
		}
	}
	if !b.flood(b.deepest()) {
		return nil
	}
	area, _ := b.measure()
	if area < leastFill*b.box() {
		return nil
	}
	return b
}

// box returns the area of the box about the water.
func (b *bottom) box() float64 {
	loI, hiI, loJ, hiJ := b.nx, 0, b.ny, 0
	for k, d := range b.depthM {
		if d > 0 {
			i, j := k%b.nx, k/b.nx
			loI, hiI, loJ, hiJ = min(loI, i), max(hiI, i), min(loJ, j), max(hiJ, j)
		}
	}
	return float64(hiI-loI) * float64(hiJ-loJ) * b.cellM * b.cellM
}

// pool returns the nodes of the largest pool in the window behind the dam.
func (d *dam) pool(t *terrain, i0, j0, w, h int) []int {
	wet := func(i, j int) bool {
		return t.at(i, j) < d.levelM && d.upstream(float64(i), float64(j)) > 0
	}
	seen := make([]bool, w*h)
	var best []int
	for j := j0; j < j0+h; j++ {
		for i := i0; i < i0+w; i++ {
			if seen[(j-j0)*w+i-i0] || !wet(i, j) {
				continue
			}
			seen[(j-j0)*w+i-i0] = true
			pool := []int{j*t.nx + i}
			for n := 0; n < len(pool); n++ {
				i, j := pool[n]%t.nx, pool[n]/t.nx
				for _, s := range neighbors {
					i, j := i+s[0], j+s[1]
					if i < i0 || j < j0 || i >= i0+w || j >= j0+h || seen[(j-j0)*w+i-i0] || !wet(i, j) {
						continue
					}
					seen[(j-j0)*w+i-i0] = true
					pool = append(pool, j*t.nx+i)
				}
			}
			if len(pool) > len(best) {
				best = pool
			}
		}
	}
	return best
}

// between returns the height between the grid's nodes: bilinear, with kinks as
// in terrain that water has cut, or by Catmull-Rom cubics, smooth as a silted bed.
func (t *terrain) between(x, y float64, cubic bool) float64 {
	i, j := int(math.Floor(x)), int(math.Floor(y))
	wx, wy := weights(x-float64(i), cubic), weights(y-float64(j), cubic)
	var sum float64
	for b, v := range wy {
		for a, u := range wx {
			if u*v != 0 {
				sum += u * v * t.at(i+a-1, j+b-1)
			}
		}
	}
	return sum
}

// weights returns the weights of the nodes at −1, 0, 1 and 2 for the place s in
// [0, 1).
func weights(s float64, cubic bool) [4]float64 {
	if !cubic {
		return [4]float64{0, 1 - s, s, 0}
	}
	return [4]float64{
		s * (-1 + s*(2-s)) / 2,
		(2 + s*s*(-5+3*s)) / 2,
		s * (1 + s*(4-3*s)) / 2,
		s * s * (s - 1) / 2,
	}
}
