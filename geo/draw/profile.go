package draw

import (
	"math"

	"pondwright/calc/unit"
)

// Profile is the way of one hose along the bed, seen from the side.
type Profile struct {
	Title string
	// Along is the distance from the shore entry and Depth the water there, point
	// by point in the order of the way.
	Along, Depth []unit.Meters
	// Deepest and Longest set the scales, so that profiles side by side compare; 0
	// takes the profile's own.
	Deepest, Longest unit.Meters
	OffBottom        unit.Meters // of the diffuser above the bed
	Feet             bool
}

// Picture draws the profile w by h millimeters. Depths are stretched, never the
// other way round; the scale of each is on its axis.
func (p Profile) Picture(w, h float64) *Picture {
	out := NewPicture(p.Title, w, h)
	out.Write(Text{At: Point{0, 3.4}, Size: Fit(p.Title, 3.4, w, true), Bold: true, Words: p.Title})
	n := min(len(p.Along), len(p.Depth))
	c := p.chart(n, w, h)
	if n < 2 || !(c.long < farthest && c.deep < farthest && c.perX > 0 && c.perY > 0) {
		return out
	}
	c.axes(out, p.Feet)
	bed := make([]Point, n)
	for i := range bed {
		bed[i] = c.at(p.Along[i], p.Depth[i])
	}
	c.fill(out, bed)
	out.Draw(Path{Lines: [][]Point{bed}, Stroke: Paper, Width: 1.2})
	out.Draw(Path{Lines: [][]Point{bed}, Stroke: Ink, Width: 0.6, Dash: []float64{2.4, 1}})
	last := c.at(p.Along[n-1], p.Depth[n-1]-p.OffBottom)
	out.Rule(bed[n-1], last, 0.5, Ink)
	out.Disc(last, 1.1, Paper, Ink, 0.45)
	return out
}

// chart is the field of a profile on the page.
type chart struct {
	x0, y0, x1, y1 float64
	perX, perY     float64 // mm per meter
	long, deep     float64 // m
}

func (p Profile) chart(n int, w, h float64) chart {
	c := chart{x0: 9, y0: 6, x1: w - 4, y1: h - 6, long: float64(p.Longest), deep: float64(p.Deepest)}
	for i := range n {
		c.long, c.deep = max(c.long, float64(p.Along[i])), max(c.deep, float64(p.Depth[i]))
	}
	c.deep = max(1.06*c.deep, 0.5)
	c.perX, c.perY = (c.x1-c.x0)/max(c.long, 1), (c.y1-c.y0)/c.deep
	return c
}

func (c chart) at(along, depth unit.Meters) Point {
	return Point{c.x0 + c.perX*float64(along), c.y0 + c.perY*max(0, float64(depth))}
}

// fill paints the water above the bed and the ground below it.
func (c chart) fill(p *Picture, bed []Point) {
	water, _ := Depth(0.25)
	ring := append([]Point{{bed[0].X, c.y0}}, bed...)
	p.Draw(Path{Lines: [][]Point{append(ring, Point{bed[len(bed)-1].X, c.y0})}, Closed: true, Fill: water})
	p.Rule(Point{c.x0, c.y0}, Point{c.x1, c.y0}, 0.4, Ink)
}

// axes draws round distances and depths.
func (c chart) axes(p *Picture, feet bool) {
	per, unitName := 1.0, "m"
	if feet {
		per, unitName = float64(unit.Feet(1)), "ft"
	}
	stepY := roundUp(5.5 / c.perY / per)
	for k := 0.0; k*stepY*per <= c.deep; k++ {
		y := c.y0 + c.perY*k*stepY*per
		p.Rule(Point{c.x0, y}, Point{c.x1, y}, 0.1, Hair)
		p.Write(Text{At: Point{c.x0 - 1, y + 0.9}, Size: 2.5, Align: Right, Words: trim(k*stepY, 2)})
	}
	stepX := roundUp(16 / c.perX / per)
	for k := 0.0; k*stepX*per <= c.long; k++ {
		x := c.x0 + c.perX*k*stepX*per
		p.Rule(Point{x, c.y0}, Point{x, c.y1}, 0.1, Hair)
		words, align := trim(k*stepX, 2), Middle
		if k == 0 {
			words = "0 " + unitName
		}
		p.Write(Text{At: Point{x, c.y1 + 3.2}, Size: 2.5, Align: align, Words: words})
	}
}

// roundUp returns the smallest of 1, 2, 5 times a power of ten that is ≥ v.
func roundUp(v float64) float64 {
	if !(v > 0) || math.IsInf(v, 0) {
		return 1
	}
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, k := range []float64{1, 2, 5} {
		if k*p >= v*(1-1e-9) {
			return k * p
		}
	}
	return 10 * p
}
