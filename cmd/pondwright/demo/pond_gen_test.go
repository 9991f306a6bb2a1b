package demo

import (
	"math"

	"pondwright/geo/plane"
)

// The pond is a formula: depth is the sum of a few smooth hollows, a knoll and
// the ripples a digger leaves, less a constant, so that shore, volume and every sounding's true depth follow
// without a survey.

// Where the formula's zero point lies, in degrees: rural, and nothing there. The
// mapping is the generator's own, so that the files do not change with the
// program's, and the two check each other.
const (
	originLat = 37.0412
	originLon = -92.5873
)

// metersPerDegree returns the lengths of a degree of latitude and of longitude at
// the origin, from the radii of curvature of WGS 84 (Rapp, Geometric Geodesy Part
// I, 1991, section 3).
func metersPerDegree() (lat, lon float64) {
	const a, f = 6378137, 1 / 298.257223563
	const e2 = f * (2 - f)
	sin, cos := math.Sincos(originLat * math.Pi / 180)
	w := 1 - e2*sin*sin
	n := a / math.Sqrt(w)
	return n * (1 - e2) / w * math.Pi / 180, n * cos * math.Pi / 180
}

// toDegrees returns the position of a place of the formula.
func toDegrees(p plane.Point) (lat, lon float64) {
	perLat, perLon := metersPerDegree()
	return originLat + p.Y/perLat, originLon + p.X/perLon
}

// fromDegrees returns the place of a position in the formula.
func fromDegrees(lat, lon float64) plane.Point {
	perLat, perLon := metersPerDegree()
	return plane.Point{X: (lon - originLon) * perLon, Y: (lat - originLat) * perLat}
}

// hollow lowers the ground by depthM about a middle; a knoll has a negative
// depth. lengthM and widthM are the half axes at which it has fallen to 1/e, and
// bearing is the compass direction of its length in degrees.
type hollow struct {
	east, north, lengthM, widthM, bearing, depthM, power float64
}

var hollows = []hollow{
	{east: -4, north: -14, lengthM: 49, widthM: 41, bearing: 14, depthM: 3.2, power: 1.7},  // the main pit
	{east: 13, north: -27, lengthM: 24, widthM: 17, bearing: 35, depthM: 1.7, power: 1},    // its deepest part, toward the east bank
	{east: 0, north: 41, lengthM: 33, widthM: 30, bearing: 160, depthM: 2.05, power: 1.5},  // the upper pit
	{east: 52, north: 41, lengthM: 36, widthM: 11.5, bearing: 74, depthM: 2.2, power: 1.5}, // the arm
	{east: 88, north: 58, lengthM: 22, widthM: 9.5, bearing: 40, depthM: 1.7, power: 1.4},  // its head
	{east: -13, north: 25, lengthM: 11, widthM: 7.5, bearing: 35, depthM: -5.4, power: 1},  // the island
	{east: -44, north: -40, lengthM: 16, widthM: 10, bearing: 120, depthM: 0.7, power: 1},  // a cattle landing
}

// shoreM is how far the water stands below the hollows' upper edge.
const shoreM = 0.62

// depthM returns the true depth at a place, negative on land.
func depthM(p plane.Point) float64 {
	sum := -shoreM
	for _, h := range hollows {
		sin, cos := math.Sincos(h.bearing * math.Pi / 180)
		east, north := p.X-h.east, p.Y-h.north
		along := (east*sin + north*cos) / h.lengthM
		across := (east*cos - north*sin) / h.widthM
		sum += h.depthM * math.Exp(-math.Pow(along*along+across*across, h.power))
	}
	return sum + 0.09*math.Sin(p.X/6.3+1)*math.Sin(p.Y/7.7) + 0.05*math.Sin((p.X+0.6*p.Y)/3.7)
}

// slope returns the gradient of depthM, uphill being negative.
func slope(p plane.Point) plane.Point {
	const h = 1e-4
	return plane.Point{
		X: (depthM(plane.Point{X: p.X + h, Y: p.Y}) - depthM(plane.Point{X: p.X - h, Y: p.Y})) / (2 * h),
		Y: (depthM(plane.Point{X: p.X, Y: p.Y + h}) - depthM(plane.Point{X: p.X, Y: p.Y - h})) / (2 * h),
	}
}

// ontoShore moves a place near the shore onto it.
func ontoShore(p plane.Point) plane.Point {
	for range 20 {
		g := slope(p)
		p = p.Sub(g.Scale(depthM(p) / g.Dot(g)))
	}
	return p
}

// traceShore walks the shoreline near start in steps of stepM, water to the
// left, until it is back.
func traceShore(start plane.Point, stepM float64) []plane.Point {
	p := ontoShore(start)
	ring := []plane.Point{p}
	for len(ring) < 5000 {
		g := slope(p)
		along := plane.Point{X: g.Y, Y: -g.X} // deeper water lies to the left
		p = ontoShore(p.Add(along.Scale(stepM / along.Norm())))
		if len(ring) > 3 && p.Distance(ring[0]) < 0.75*stepM {
			break
		}
		ring = append(ring, p)
	}
	return ring
}

// truth is what a perfect survey would find.
type truth struct {
	AreaM2    float64 `json:"area_m2"`
	VolumeM3  float64 `json:"volume_m3"`
	MaxDepthM float64 `json:"max_depth_m"`
	DeepLat   float64 `json:"deepest_lat"`
	DeepLon   float64 `json:"deepest_lon"`
}

// integrate sums depths on a grid of cellM by the midpoint rule, over a box about
// the pond.
func integrate(cellM float64) (areaM2, volumeM3, maxM float64, deepest plane.Point) {
	lo, hi := plane.Point{X: -60, Y: -75}, plane.Point{X: 110, Y: 85}
	for j := range int(math.Round((hi.Y - lo.Y) / cellM)) {
		for i := range int(math.Round((hi.X - lo.X) / cellM)) {
			p := lo.Add(plane.Point{X: (float64(i) + 0.5) * cellM, Y: (float64(j) + 0.5) * cellM})
			d := depthM(p)
			if d <= 0 {
				continue
			}
			areaM2 += cellM * cellM
			volumeM3 += d * cellM * cellM
			if d > maxM {
				maxM, deepest = d, p
			}
		}
	}
	return areaM2, volumeM3, maxM, deepest
}
