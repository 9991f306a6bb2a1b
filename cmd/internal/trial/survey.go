package trial

import (
	"math"
	"math/rand/v2"
	"time"

	"pondwright/geo/bed"
	"pondwright/geo/plane"
)

// Survey describes a simulated survey: parallel lines across the pond's long
// axis and one tie line along it. Lines run straight on and do not steer into
// side arms, as a crew would: sparse surveys are a hard test.
type Survey struct {
	Lines  int    // the spacing is the pond's length over this
	Turned bool   // a random heading instead of square to the long axis
	Seed   uint64 // of everything drawn
	Spikes float64
	LagS   float64 // by how much positions lag behind depths
	// Exact takes the errors of positions and depths away, Shoals lets the boat
	// sound right up to the shore in no depth at all: to see what each costs.
	Exact, Shoals bool
}

// What the boat and its instruments do.
const (
	speedMPS  = 1.5
	driftM    = 0.8  // standard deviation of the position error, per axis
	driftKeep = 0.97 // its share kept from one fix to the next
	noiseM    = 0.03 // standard deviation of a depth, and …
	noise     = 0.01 // … the part that grows with the depth
	wander    = 0.06 // helmsman's wander off the line, in spacings
	keepOffM  = 1.5  // from the shore
	rest      = 4    // fixes at rest where a line begins
)

// line is a way to sail: from a place outside the pond, in a direction.
type line struct{ from, dir plane.Point }

// Sound returns the soundings of a survey in the outline's frame. The same
// survey with other Spikes or LagS differs in nothing else.
func (p *Pond) Sound(s Survey) []bed.Sounding { return p.SoundMore(s, nil) }

// draw returns a source that gives the same numbers whenever seed and stream are
// the same.
func draw(seed, stream uint64) *rand.Rand {
	return rand.New(rand.NewPCG(seed, stream)) //nolint:gosec // a simulation must repeat
}

// Way is a straight way through the water in the outline's frame.
type Way struct{ From, To plane.Point }

// SoundMore returns the soundings of a survey, and then of some ways more.
func (p *Pond) SoundMore(s Survey, ways []Way) []bed.Sounding {
	rng := draw(s.Seed, 1)
	lines, reachM, spacingM := p.lines(s, rng)
	b := boat{
		pond: p, rng: rng, blunder: draw(s.Seed, 2), survey: s,
		stepM: max(1, spacingM/25), clock: time.Date(2026, 6, 9, 14, 0, 0, 0, time.UTC),
	}
	for _, l := range lines {
		b.sail(l, 2*reachM, wander*spacingM)
	}
	b.rng = draw(s.Seed, 3)
	for _, w := range ways {
		from, to := p.toBed(w.From), p.toBed(w.To)
		if long := from.Distance(to); long > 0 {
			b.sail(line{from, to.Sub(from).Scale(1 / long)}, long, min(2, wander*spacingM))
		}
	}
	return b.out
}

// RandomWays draws ways at random: each through a place drawn evenly over the
// water, at a heading drawn evenly, as far as the water goes.
func (p *Pond) RandomWays(n int, seed uint64) []Way {
	rng := draw(seed, 4)
	stepM := math.Sqrt(p.AreaM2) / 200
	out := make([]Way, n)
	for k := range out {
		through := p.Checks[rng.IntN(len(p.Checks))].At
		sin, cos := math.Sincos(math.Pi * rng.Float64())
		end := func(dir plane.Point) plane.Point {
			at := through
			for next := at.Add(dir); p.Shore.Contains(next) && !p.Shore.Crosses(at, next); next = at.Add(dir) {
				at = next
			}
			return at
		}
		dir := plane.Point{X: stepM * cos, Y: stepM * sin}
		out[k] = Way{end(dir), end(dir.Scale(-1))}
	}
	return out
}

// lines lays the survey's lines out in the bed's plane. Each is 2 reachM long.
func (p *Pond) lines(s Survey, rng *rand.Rand) (lines []line, reachM, spacingM float64) {
	along := p.axis
	if s.Turned {
		sin, cos := math.Sincos(math.Pi * rng.Float64())
		along = plane.Point{X: cos, Y: sin}
	}
	across := plane.Point{X: -along.Y, Y: along.X}
	lo, hi := math.Inf(1), math.Inf(-1)
	var middle, n float64
	for k, d := range p.bed.depthM {
		if d > 0 {
			q := p.bed.node(k)
			lo, hi = min(lo, q.Dot(along)), max(hi, q.Dot(along))
			middle, n = middle+q.Dot(across), n+1
			reachM = max(reachM, q.Norm())
		}
	}
	middle /= n
	spacingM = (hi - lo) / float64(s.Lines)
	way := 1.0
	for at := lo + rng.Float64()*spacingM; at < hi; at += spacingM {
		lines = append(lines, line{along.Scale(at).Add(across.Scale(-way * reachM)), across.Scale(way)})
		way = -way
	}
	return append(lines, line{across.Scale(middle).Add(along.Scale(-reachM)), along}), reachM, spacingM
}

// shoalM returns the depth under which the boat takes no sounding.
func (p *Pond) shoalM() float64 { return min(0.3, 0.1*p.MaxM) }

// boat sails lines and keeps the soundings.
type boat struct {
	pond         *Pond
	rng, blunder *rand.Rand
	survey       Survey
	stepM        float64
	clock        time.Time
	drift        plane.Point
	out          []bed.Sounding
}

// sail runs one line of the given length. The helm swings off it by two slow
// waves.
func (b *boat) sail(l line, lengthM, wanderM float64) {
	across := plane.Point{X: -l.dir.Y, Y: l.dir.X}
	phase, phase2 := 2*math.Pi*b.rng.Float64(), 2*math.Pi*b.rng.Float64()
	resting := rest
	for s := 0.0; s < lengthM; s += b.stepM {
		b.clock = b.clock.Add(time.Duration(b.stepM / speedMPS * float64(time.Second)))
		off := wanderM * (math.Sin(4*math.Pi*s/lengthM+phase) + 0.5*math.Sin(14*math.Pi*s/lengthM+phase2))
		at := l.from.Add(l.dir.Scale(s)).Add(across.Scale(off))
		if !b.fix(at, l.dir) {
			continue
		}
		for ; resting > 1; resting-- {
			b.clock = b.clock.Add(time.Second)
			b.fix(at, plane.Point{})
		}
	}
	b.clock = b.clock.Add(40 * time.Second)
}

// fix takes one sounding and reports whether there was water for it.
func (b *boat) fix(at, dir plane.Point) bool {
	keep := math.Sqrt(1 - driftKeep*driftKeep)
	b.drift = plane.Point{
		X: driftKeep*b.drift.X + driftM*keep*b.rng.NormFloat64(),
		Y: driftKeep*b.drift.Y + driftM*keep*b.rng.NormFloat64(),
	}
	depth := b.pond.bed.at(at)
	jitter, hit, how := b.rng.NormFloat64(), b.blunder.Float64(), b.blunder.Float64()
	if !b.survey.Shoals && depth < b.pond.shoalM() || depth < 0.001 {
		return false
	}
	place := b.pond.toShore(at)
	if away, _ := b.pond.Shore.Nearest(place); away < keepOffM && !b.survey.Shoals {
		return false
	}
	if b.survey.Exact {
		jitter, b.drift = 0, plane.Point{}
	}
	depth += (noiseM + noise*depth) * jitter
	if hit < b.survey.Spikes {
		if how < 0.5 { // weed or fish
			depth *= 0.1 + 1.4*how
		} else { // a second echo or noise
			depth *= 1.3 + 2.4*(how-0.5)
		}
	}
	seen := b.pond.toShore(at.Add(b.drift).Sub(dir.Scale(speedMPS * b.survey.LagS)))
	b.out = append(b.out, bed.Sounding{At: seen, DepthM: math.Round(depth*1000) / 1000, Time: b.clock, Seq: int64(len(b.out) + 1)})
	return true
}
