package bed

import (
	"cmp"
	"math"
	"slices"

	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// What the end of a line says of the water between it and the shore. The boat
// turned for want of water, and a bed rises to the shore about evenly: on 1,798 ends
// of simulated lines over drowned terrain the depth a quarter, half and three
// quarters of the way to the nearest shore was 0.76 ± 0.19, 0.51 ± 0.14 and
// 0.26 ± 0.09 of the last sounding. The outline's trend alone fills that water up by
// a tenth to a fifth too deep, and the more the wider it is.
const (
	endParts  = 3    // the way is cut into so many parts …
	endSD     = 0.4  // … between which a depth has this standard deviation, as a share
	endNoiseM = 0.05 // of the last sounding
	leastEndM = 3    // a shorter way says nothing: positions are not that good
	// A line that ends in less water than this was ended by the boat's draft. In
	// deeper water, and far from the shore, it may have ended for any reason, and
	// its end says less. Judgement, no source.
	draftEndM = 0.5
)

// lineEnds returns what the ends of the lines in fixes say, positions moved along
// the boat's way by lagS seconds.
func lineEnds(fixes []fix, s *shore.Shore, lagS float64) (data []datum) {
	far := math.Sqrt(float64(s.Area())) / 4
	add := func(f *fix) {
		at := f.after(lagS)
		way, ashore := s.Nearest(at)
		if way < leastEndM || !s.Contains(at) {
			return
		}
		share := endSD + way/far*f.depthM/draftEndM
		for k := 1; k < endParts; k++ {
			part := float64(k) / endParts
			depth := (1 - part) * f.depthM
			sd := whole(math.Hypot(share*depth, (1-part)*endNoiseM))
			place := at.Lerp(ashore, part)
			data = append(data, datum{
				line: f.line, at: plane.Point{X: whole(place.X), Y: whole(place.Y)}, depthM: depth,
				spread: sd * sd / (priorNoiseM * priorNoiseM), weight: 1, end: true,
			})
		}
	}
	for from := 0; from < len(fixes); {
		first, last, to := -1, -1, from
		for ; to < len(fixes) && fixes[to].line == fixes[from].line; to++ {
			if fixes[to].flagged || !fixes[to].ordered {
				continue
			}
			if last = to; first < 0 {
				first = to
			}
		}
		if first < last {
			add(&fixes[first])
			add(&fixes[last])
		}
		from = to
	}
	return data
}

// whole rounds to millimeters: the nearest place ashore may lie on two sides, which
// differ in the last bit.
func whole(m float64) float64 { return math.Round(1000*m) / 1000 }

// withEnds adds what the ends say to the bins, line by line.
func withEnds(bins, ends []datum) []datum {
	data := slices.Concat(bins, ends)
	slices.SortStableFunc(data, func(a, b datum) int { return cmp.Compare(a.line, b.line) })
	return data
}
