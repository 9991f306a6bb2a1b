package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"time"

	"pondwright/geo/plane"
)

// The survey is two boats that follow a plan of lines as well as a person steers
// and log what their instruments make of it.

const (
	turnM       = 0.55 // depth at which a boat turns back
	lineM       = 10   // distance between lines
	speedMPS    = 1.2
	antennaM    = 0.8  // of fixes from the true place, each way
	fixMemory   = 0.97 // of that error from one second to the next
	steerM      = 0.5  // of the boat from its line, each way
	steerMemory = 0.9
	waterTempC  = 21.6
	soundMPS    = 1487.19 // at that temperature: Marczak, JASA 102, 2776, 1997; recomputed
	soundSetMPS = 1500    // what an untouched sounder reckons with: common practice, no source
	deadM       = 0.22    // nothing is heard nearer to the transducer than this
)

// stretch returns the ends of the water deeper than turnM through p, backward and
// forward along direction d.
func stretch(p, d plane.Point) (back, fore plane.Point) {
	reach := func(d plane.Point) plane.Point {
		q := p
		for depthM(q.Add(d)) > turnM {
			q = q.Add(d)
		}
		return q
	}
	d = d.Scale(0.25 / d.Norm())
	return reach(d.Scale(-1)), reach(d)
}

// sweep runs lines from west to east and back, one for each place given.
func sweep(eastward bool, through ...plane.Point) []plane.Point {
	var route []plane.Point
	for _, p := range through {
		west, east := stretch(p, plane.Point{X: 1})
		if !eastward {
			west, east = east, west
		}
		route = append(route, west, east)
		eastward = !eastward
	}
	return route
}

// landing is where both boats put in.
var landing = plane.Point{X: -43, Y: -36}

// routeSouth covers the main pit, then runs a tie line down the whole pond.
func routeSouth() []plane.Point {
	var lines []plane.Point
	for y := -65.0; y <= 6; y += lineM {
		lines = append(lines, plane.Point{X: 0, Y: y})
	}
	route := append([]plane.Point{landing, {X: -34, Y: -50}}, sweep(true, lines...)...)
	return append(route, plane.Point{X: 4, Y: 16}, plane.Point{X: 2, Y: 66}, plane.Point{X: 9, Y: -28}, plane.Point{X: 2, Y: -63})
}

// routeNorth goes round the island, covers the upper pit and runs up the arm and
// back across it.
func routeNorth() []plane.Point {
	route := []plane.Point{landing, {X: -43, Y: -12}, {X: -33, Y: 12}, {X: -27, Y: 32}, {X: -23, Y: 46}}
	route = append(route, sweep(true, plane.Point{X: 0, Y: 66}, plane.Point{X: 0, Y: 56})...)
	// Here lines would run on into the arm: they end at its mouth.
	route = append(route, plane.Point{X: -22, Y: 46}, plane.Point{X: 33, Y: 45}, plane.Point{X: 32, Y: 36}, plane.Point{X: -2, Y: 36})
	route = append(route, plane.Point{X: -3, Y: 25}, plane.Point{X: 34, Y: 25}, plane.Point{X: 34, Y: 15}, plane.Point{X: -34, Y: 14})
	route = append(route, plane.Point{X: -8, Y: 10}, plane.Point{X: 22, Y: 33})
	arm := []plane.Point{{X: 34, Y: 40.5}, {X: 44, Y: 42}, {X: 54, Y: 43.5}, {X: 64, Y: 46}, {X: 73, Y: 48}, {X: 81, Y: 51.5}, {X: 87, Y: 57}, {X: 93, Y: 64}, {X: 96.5, Y: 71}}
	route = append(route, arm...)
	for i := len(arm) - 2; i > 0; i-- {
		along := arm[i-1].Sub(arm[i+1])
		left, right := stretch(arm[i], plane.Point{X: along.Y, Y: -along.X})
		if i%2 == 0 {
			left = right
		}
		route = append(route, left)
	}
	return append(route, arm[0])
}

// boat is one crew and its instruments.
type boat struct {
	talker   string
	seed     uint64
	start    time.Time
	route    []plane.Point
	offsetM  float64 // transducer below the water line
	noFix    []span  // when the receiver has no position
	cutAt    int     // second at which the logger breaks off a line
	noBottom span    // when the transducer is in weeds
}

// span is a stretch of a log in seconds from its start.
type span struct{ from, to int }

func (s span) has(second int) bool { return second >= s.from && second < s.to }

func boats() []boat {
	return []boat{
		{
			talker: "GP", seed: 11, start: time.Date(2026, 5, 19, 13, 40, 0, 0, time.UTC), route: routeSouth(), offsetM: 0.25,
			noFix: []span{{211, 217}, {640, 641}}, cutAt: 402, noBottom: span{95, 99},
		},
		{
			talker: "GN", seed: 23, start: time.Date(2026, 5, 19, 13, 46, 0, 0, time.UTC), route: routeNorth(), offsetM: 0.30,
			noFix: []span{{330, 339}}, cutAt: 151, noBottom: span{420, 426},
		},
	}
}

// drift is noise that remembers itself: a first-order autoregression.
type drift struct{ sigma, memory, v float64 }

func (d *drift) next(r *rand.Rand) float64 {
	d.v = d.memory*d.v + d.sigma*math.Sqrt(1-d.memory*d.memory)*r.NormFloat64()
	return d.v
}

// along returns the place, so many meters along a route, and the direction there;
// false beyond its end.
func along(route []plane.Point, m float64) (p, d plane.Point, ok bool) {
	for i := 1; i < len(route); i++ {
		leg := route[i].Sub(route[i-1])
		length := leg.Norm()
		if m <= length && length > 0 {
			d = leg.Scale(1 / length)
			return route[i-1].Add(d.Scale(m)), d, true
		}
		m -= length
	}
	return p, d, false
}

// log returns what the boat's logger wrote.
func (b boat) log() string {
	r := rand.New(rand.NewPCG(b.seed, 1))
	east, north := drift{sigma: antennaM, memory: fixMemory}, drift{sigma: antennaM, memory: fixMemory}
	steer, warm := drift{sigma: steerM, memory: steerMemory}, drift{sigma: 0.15, memory: 0.995}
	var out strings.Builder
	for second := 0; ; second++ {
		onLine, d, ok := along(b.route, speedMPS*float64(second))
		if !ok {
			return out.String()
		}
		place := onLine.Add(plane.Point{X: -d.Y, Y: d.X}.Scale(steer.next(r)))
		seen := place.Add(plane.Point{X: east.next(r), Y: north.next(r)})
		at := b.start.Add(time.Duration(second) * time.Second)
		fixed := true
		for _, s := range b.noFix {
			fixed = fixed && !s.has(second)
		}
		text := b.gga(r, at, seen, fixed) + b.rmc(r, at, seen, d, fixed) +
			b.dpt(r, place, b.noBottom.has(second)) + frameSentence(fmt.Sprintf("YXMTW,%.1f,C", waterTempC+warm.next(r)))
		text = damage(r, text)
		if second == b.cutAt {
			text = text[:len(text)/3] // the battery clip came off
		}
		out.WriteString(text)
	}
}

// frameSentence adds dollar sign, checksum and line end.
func frameSentence(body string) string {
	var sum byte
	for i := range len(body) {
		sum ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, sum)
}

// damage breaks a character now and then, as a loose plug does.
func damage(r *rand.Rand, text string) string {
	if r.Float64() >= 0.008 {
		return text
	}
	b := []byte(text)
	i := r.IntN(len(b) - 2)
	for b[i] < '0' || b[i] > '9' {
		i = (i + 1) % len(b)
	}
	b[i] ^= 4 // another digit or a sign next to them
	return string(b)
}

func (b boat) gga(r *rand.Rand, at time.Time, seen plane.Point, fixed bool) string {
	clock := at.Format("150405.00")
	satellites, hdop, height := 9+r.IntN(4), 0.8+0.1*float64(r.IntN(5)), 331.4+0.3*r.NormFloat64()
	if !fixed {
		return frameSentence(fmt.Sprintf("%sGGA,%s,,,,,0,%02d,,,M,,M,,", b.talker, clock, r.IntN(4)))
	}
	return frameSentence(fmt.Sprintf("%sGGA,%s,%s,1,%02d,%.1f,%.1f,M,-30.2,M,,", b.talker, clock, position(seen), satellites, hdop, height))
}

func (b boat) rmc(r *rand.Rand, at time.Time, seen, d plane.Point, fixed bool) string {
	const knotsPerMPS = 3600.0 / 1852
	clock, day := at.Format("150405.00"), at.Format("020106")
	course := math.Mod(math.Atan2(d.X, d.Y)*180/math.Pi+5*r.NormFloat64()+720, 360)
	knots := speedMPS*knotsPerMPS + 0.1*r.NormFloat64()
	if !fixed {
		return frameSentence(fmt.Sprintf("%sRMC,%s,V,,,,,,,%s,,,N", b.talker, clock, day))
	}
	return frameSentence(fmt.Sprintf("%sRMC,%s,A,%s,%.1f,%05.1f,%s,,,A", b.talker, clock, position(seen), knots, math.Min(course, 359.9), day))
}

// dpt sounds at a place: noise of 3 cm and 1 %, three spikes in a hundred, and a
// sounder that takes the water for faster than it is.
func (b boat) dpt(r *rand.Rand, place plane.Point, weeds bool) string {
	d := depthM(place)
	d += math.Hypot(0.03, 0.01*d) * r.NormFloat64()
	spike, kind := r.Float64() < 0.03, r.Float64()
	switch {
	case spike && kind < 0.35:
		d *= 2 // heard again by way of the surface
	case spike && kind < 0.75:
		d *= 0.3 + 0.4*r.Float64() // a fish, a weed
	case spike:
		d += 1 + 5*r.Float64()
	}
	heard := (d - b.offsetM) * soundSetMPS / soundMPS
	if lost := r.Float64() < 0.006; lost || weeds || heard < deadM {
		return frameSentence(fmt.Sprintf("SDDPT,,%.2f", b.offsetM))
	}
	return frameSentence(fmt.Sprintf("SDDPT,%.2f,%.2f", heard, b.offsetM))
}

// position writes a place as ddmm.mmmmm with hemispheres.
func position(p plane.Point) string {
	lat, lon := toDegrees(p)
	part := func(degrees float64, width int, positive, negative string) string {
		hemisphere := positive
		if degrees < 0 {
			degrees, hemisphere = -degrees, negative
		}
		minutes := int(math.Round(degrees * 60 * 1e5)) // whole, so that 59.999996 carries
		return fmt.Sprintf("%0*d%02d.%05d,%s", width, minutes/6000000, minutes/100000%60, minutes%100000, hemisphere)
	}
	return part(lat, 2, "N", "S") + "," + part(lon, 3, "E", "W")
}
