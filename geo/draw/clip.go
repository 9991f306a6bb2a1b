package draw

import (
	"math"
	"slices"
)

// clipLine returns the pieces of a line that lie in the box (Liang and Barsky, "A
// new concept and method for line clipping", 1984).
func clipLine(line []Point, b box) [][]Point {
	var out [][]Point
	var piece []Point
	for i := 1; i < len(line); i++ {
		p, q, ok := clipSegment(line[i-1], line[i], b)
		if !ok {
			if len(piece) > 0 {
				out, piece = append(out, piece), nil
			}
			continue
		}
		if len(piece) == 0 || piece[len(piece)-1] != p {
			if len(piece) > 0 {
				out = append(out, piece)
			}
			piece = []Point{p}
		}
		piece = append(piece, q)
	}
	if len(piece) > 0 {
		out = append(out, piece)
	}
	return out
}

func clipSegment(p, q Point, b box) (Point, Point, bool) {
	if !finite(p) || !finite(q) {
		return p, q, false
	}
	dx, dy := q.X-p.X, q.Y-p.Y
	from, to := 0.0, 1.0
	for _, side := range [4][2]float64{{-dx, p.X - b.x0}, {dx, b.x1 - p.X}, {-dy, p.Y - b.y0}, {dy, b.y1 - p.Y}} {
		switch {
		case side[0] == 0 && side[1] < 0:
			return p, q, false
		case side[0] < 0:
			from = max(from, side[1]/side[0])
		case side[0] > 0:
			to = min(to, side[1]/side[0])
		}
	}
	if from > to {
		return p, q, false
	}
	a, c := p, q
	if from > 0 {
		a = Point{p.X + from*dx, p.Y + from*dy}
	}
	if to < 1 {
		c = Point{p.X + to*dx, p.Y + to*dy}
	}
	return a, c, true
}

// clipRing returns the part of a ring in the box, along the box's sides where it
// leaves (Sutherland and Hodgman, "Reentrant polygon clipping", 1974).
func clipRing(ring []Point, b box) []Point {
	for side := range 4 {
		ring = clipSide(ring, b, side)
	}
	return ring
}

// clipSide cuts a ring at one side of the box: left, right, top, bottom.
func clipSide(ring []Point, b box, side int) []Point {
	inside := func(p Point) float64 {
		return [4]float64{p.X - b.x0, b.x1 - p.X, p.Y - b.y0, b.y1 - p.Y}[side]
	}
	var out []Point
	for i, p := range ring {
		last := ring[(i+len(ring)-1)%len(ring)]
		a, c := inside(last), inside(p)
		if math.IsNaN(a) || math.IsNaN(c) {
			continue
		}
		if (a < 0) != (c < 0) {
			t := a / (a - c)
			out = append(out, Point{last.X + t*(p.X-last.X), last.Y + t*(p.Y-last.Y)})
		}
		if c >= 0 {
			out = append(out, p)
		}
	}
	return out
}

// hatch returns slanted lines, apart mm from one another, that fill a ring.
func hatch(ring []Point, apart float64) [][]Point {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range ring {
		lo, hi = min(lo, p.X+p.Y), max(hi, p.X+p.Y)
	}
	var out [][]Point
	const most = 2000
	for k := math.Ceil(lo / apart); k*apart < hi && len(out) < most; k++ {
		cuts := crossings(ring, k*apart)
		for i := 0; i+1 < len(cuts); i += 2 {
			out = append(out, []Point{{cuts[i], k*apart - cuts[i]}, {cuts[i+1], k*apart - cuts[i+1]}})
		}
	}
	return out
}

// crossings returns where the line x + y = c crosses a ring, by x.
func crossings(ring []Point, c float64) []float64 {
	var xs []float64
	for i, p := range ring {
		last := ring[(i+len(ring)-1)%len(ring)]
		a, b := last.X+last.Y-c, p.X+p.Y-c
		if (a < 0) != (b < 0) {
			xs = append(xs, last.X+a/(a-b)*(p.X-last.X))
		}
	}
	slices.Sort(xs)
	return xs
}
