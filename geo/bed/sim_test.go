package bed_test

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/geo/bed"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// basin is a pond in closed form: in the direction θ from its middle the water
// reaches from the island's rim, if any, to rimM(θ), and shape gives the depth
// at the share ρ of the way from the middle to the rim.
type basin struct {
	name   string
	rimM   func(theta float64) float64
	island float64 // share of rimM taken by an island in the middle
	depthM func(rho, theta float64) float64
}

func lobes(rM, a float64, n int, turn float64) func(float64) float64 {
	return func(theta float64) float64 { return rM * (1 + a*math.Cos(float64(n)*(theta-turn))) }
}

var basins = []basin{
	{name: "paraboloid", rimM: lobes(80, 0, 1, 0), depthM: func(rho, _ float64) float64 { return 4 * (1 - rho*rho) }},
	{name: "cone", rimM: lobes(70, 0, 1, 0), depthM: func(rho, _ float64) float64 { return 3 * (1 - rho) }},
	{name: "three arms, flat floor", rimM: lobes(110, 0.45, 3, 0.3), depthM: func(rho, _ float64) float64 { return 3.5 * (1 - math.Pow(rho, 5)) }},
	{name: "oval against a dam", rimM: lobes(120, 0.3, 2, 1), depthM: func(rho, theta float64) float64 {
		return 5 * (1 - rho*rho) * (1 + 0.5*rho*math.Cos(theta-0.4)) / 1.2
	}},
	{name: "ring about an island", rimM: lobes(90, 0.1, 4, 0), island: 0.3, depthM: func(rho, _ float64) float64 { return 14 * (1 - rho) * (rho - 0.3) * (1 + rho) }},
	{name: "five arms, steep banks", rimM: lobes(140, 0.3, 5, 0.7), depthM: func(rho, theta float64) float64 {
		return 4 * math.Sqrt(1-rho*rho) * (1 + 0.3*rho*math.Sin(theta))
	}},
}

// polar returns the depth at p, zero ashore.
func (b *basin) depthAt(p plane.Point) float64 {
	theta := math.Atan2(p.Y, p.X)
	rho := p.Norm() / b.rimM(theta)
	if rho >= 1 || rho <= b.island {
		return 0
	}
	return max(0, b.depthM(rho, theta))
}

// volumeM3 integrates depth × r dr dθ by the midpoint rule, good to 3e-5.
func (b *basin) volumeM3() float64 {
	const n = 500
	var sum float64
	for i := range n {
		theta := 2 * math.Pi * (float64(i) + 0.5) / n
		rim := b.rimM(theta)
		for j := range n {
			rho := b.island + (1-b.island)*(float64(j)+0.5)/n
			sum += max(0, b.depthM(rho, theta)) * rho * rim * rim
		}
	}
	return sum * (1 - b.island) / n * 2 * math.Pi / n
}

func (b *basin) ring(share float64, n int) []plane.Point {
	var out []plane.Point
	for k := range n {
		theta := 2 * math.Pi * float64(k) / float64(n)
		sin, cos := math.Sincos(theta)
		r := share * b.rimM(theta)
		out = append(out, plane.Point{X: r * cos, Y: r * sin})
	}
	return out
}

// shoreAt puts the outline on the earth; toFrame maps the basin's plane to the
// outline's.
func (b *basin) shoreAt(t testing.TB, at s2.LatLng) (s *shore.Shore, toFrame func(plane.Point) plane.Point) {
	t.Helper()
	f := plane.NewFrame(at)
	place := func(pts []plane.Point) (out []s2.LatLng) {
		for _, p := range pts {
			out = append(out, f.ToLatLng(p))
		}
		return out
	}
	var islands [][]s2.LatLng
	if b.island > 0 {
		islands = append(islands, place(b.ring(b.island, 120)))
	}
	s, err := shore.New(place(b.ring(1, 360)), islands)
	if err != nil {
		t.Fatal(err)
	}
	return s, func(p plane.Point) plane.Point { return s.Frame().ToPlane(f.ToLatLng(p)) }
}

// survey sails parallel lines over the basin: position error of 0.8 m that
// drifts (AR(1), 0.97 a second), depth noise of 0.03 m and 1 %, a share of gross
// errors, one fix a second at 1.5 m/s, none within 1.5 m of the shore.
func (b *basin) survey(rng *rand.Rand, lines int, blunders float64, toFrame func(plane.Point) plane.Point) []bed.Sounding {
	heading := rng.Float64() * math.Pi
	along := plane.Point{X: math.Cos(heading), Y: math.Sin(heading)}
	across := plane.Point{X: -along.Y, Y: along.X}
	var reach float64
	for _, p := range b.ring(1, 360) {
		reach = max(reach, p.Norm())
	}
	spacing := 2 * reach / float64(lines)
	offset := rng.Float64() * spacing
	clock := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	drift := plane.Point{}
	var out []bed.Sounding
	sail := func(from, dir plane.Point) {
		for s := 0.0; s < 2*reach; s += 1.5 {
			clock = clock.Add(time.Second)
			drift = plane.Point{X: 0.97*drift.X + 0.8*0.2431*rng.NormFloat64(), Y: 0.97*drift.Y + 0.8*0.2431*rng.NormFloat64()}
			p := from.Add(dir.Scale(s))
			theta := math.Atan2(p.Y, p.X)
			if r, rim := p.Norm(), b.rimM(theta); r > rim-1.5 || (b.island > 0 && r < b.island*rim+1.5) {
				continue
			}
			d := b.depthAt(p)
			if d < 0.3 {
				continue
			}
			d += (0.03 + 0.01*d) * rng.NormFloat64()
			if rng.Float64() < blunders {
				d *= 0.3 + 2*rng.Float64()
			}
			out = append(out, bed.Sounding{At: toFrame(p.Add(drift)), DepthM: math.Round(d*1000) / 1000, Time: clock, Seq: int64(len(out) + 1)})
		}
		clock = clock.Add(30 * time.Second)
	}
	back := 1.0
	for v := -reach + offset; v < reach; v += spacing {
		sail(across.Scale(v).Add(along.Scale(-back*reach)), along.Scale(back))
		back = -back
	}
	sail(across.Scale(-reach), across)
	return out
}

// The published test of such an interval is whether it holds the truth as often
// as it says: 24 surveys of six basins, four each.
func TestEstimate_SimulatedSurveysHoldTheirPromise(t *testing.T) {
	t.Parallel()
	const perBasin = 4
	type result struct {
		err          float64
		held, held80 bool
		half         float64
		name         string
		lagS, lagSDS float64
	}
	results := make([]result, len(basins)*perBasin)
	var wait sync.WaitGroup
	for i := range basins {
		b := &basins[i]
		s, toFrame := b.shoreAt(t, s2.LatLngFromDegrees(38, -95))
		truth := b.volumeM3()
		wait.Go(func() {
			for k := range perBasin {
				rng := rand.New(rand.NewPCG(uint64(i), uint64(k)))
				soundings := b.survey(rng, []int{8, 10, 14, 20}[k], 0.03, toFrame)
				est, err := bed.Estimate(s, soundings, bed.Options{SpacingM: math.Sqrt(float64(s.Area())) / 48})
				if err != nil {
					t.Error(err)
					return
				}
				v := est.Volume()
				results[i*perBasin+k] = result{
					name: b.name, lagS: est.Diagnostics().LagS, lagSDS: est.Diagnostics().LagSDS, err: float64(v.Value)/truth - 1, half: float64(v.High-v.Low) / 2 / truth,
					held:   float64(v.Low) <= truth && truth <= float64(v.High),
					held80: float64(v.Low80) <= truth && truth <= float64(v.High80),
				}
			}
		})
	}
	wait.Wait()
	var sum, worst float64
	held, held80 := 0, 0
	for _, r := range results {
		t.Logf("%-24s error %+.2f %%, 95 %% half-width %.2f %%, held %v, lag %.2f ± %.2f s", r.name, 100*r.err, 100*r.half, r.held, r.lagS, r.lagSDS)
		sum += math.Abs(r.err)
		worst = max(worst, math.Abs(r.err))
		if r.held {
			held++
		}
		if r.held80 {
			held80++
		}
	}
	mean := sum / float64(len(results))
	t.Logf("mean |error| %.2f %%, worst %.2f %%, 95 %% interval held %d, 80 %% %d of %d", 100*mean, 100*worst, held, held80, len(results))
	if held < 21 {
		t.Errorf("the 95 %% interval held the truth %d times of %d, want at least 21", held, len(results))
	}
}
