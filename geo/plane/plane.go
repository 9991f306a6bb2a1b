// Package plane is the ruler of a pond: a local east-north plane in meters on
// the WGS 84 ellipsoid.
//
// S2 works on a sphere, whose areas differ from the ellipsoid's by up to half a
// percent, so every length, area and volume is taken here and S2 only indexes.
// A frame is a transverse Mercator projection about its origin, cut off after
// the third order (Snyder, 1987, "Map projections: a working manual", U.S.
// Geological Survey Professional Paper 1395, equations 8-9 to 8-15):
//
//	east  = N cos φ · Δλ · (1 + Δλ² (cos² φ − sin² φ + e'² cos⁴ φ) / 6)
//	north = ∫ M dφ + N sin φ cos φ · Δλ² / 2
//
// with M the meridian and N the prime-vertical radius of curvature. Lengths grow
// with the distance east or west of the origin, by (east/R)²/2: 3·10⁻⁸ at the rim
// of a pond of 3 km, 10⁻⁶ at 10 km from the origin.
package plane

import (
	"math"

	"github.com/golang/geo/s1"
	"github.com/golang/geo/s2"
)

// WGS 84 defining constants (NGA.STND.0036, version 1.0.0, 2014).
const (
	semiMajorAxisM = 6378137.0
	flattening     = 1 / 298.257223563
	eccentricity2  = flattening * (2 - flattening)
)

// Point is a place in a Frame: meters east and north of its origin.
type Point struct{ X, Y float64 }

// Sub returns the vector from q to p.
func (p Point) Sub(q Point) Point { return Point{p.X - q.X, p.Y - q.Y} }

// Add returns p moved by the vector v.
func (p Point) Add(v Point) Point { return Point{p.X + v.X, p.Y + v.Y} }

// Scale returns the vector p times k.
func (p Point) Scale(k float64) Point { return Point{p.X * k, p.Y * k} }

// Dot returns the scalar product of two vectors.
func (p Point) Dot(q Point) float64 { return p.X*q.X + p.Y*q.Y }

// Cross returns the z component of the vector product of two vectors: positive
// when q lies counter-clockwise of p.
func (p Point) Cross(q Point) float64 { return p.X*q.Y - p.Y*q.X }

// Norm returns the length of the vector p in meters.
func (p Point) Norm() float64 { return math.Hypot(p.X, p.Y) }

// Distance returns the straight distance from p to q in meters.
func (p Point) Distance(q Point) float64 { return p.Sub(q).Norm() }

// Lerp returns the point a share t of the way from p to q.
func (p Point) Lerp(q Point, t float64) Point {
	return Point{p.X + t*(q.X-p.X), p.Y + t*(q.Y-p.Y)}
}

// Frame maps geographic positions to a local plane and back. The zero Frame is
// not usable; make one with NewFrame. It is a value and safe to share.
type Frame struct {
	origin s2.LatLng
	eastM  float64 // meters per radian of longitude at the origin
	// The meridian's arc from the origin is northM·Δφ + northM2·Δφ², to 0.1 mm
	// at 10 km.
	northM, northM2 float64
}

// NewFrame returns the frame about origin, which must not be a pole.
func NewFrame(origin s2.LatLng) Frame {
	meridianM, primeVerticalM := Radii(origin.Lat)
	sin, cos := math.Sincos(origin.Lat.Radians())
	w := 1 - eccentricity2*sin*sin
	slope := 3 * eccentricity2 * sin * cos / w // of M, as a share of it
	return Frame{
		origin:  origin,
		eastM:   primeVerticalM * cos,
		northM:  meridianM,
		northM2: meridianM * slope / 2,
	}
}

// Radii returns the ellipsoid's meridian and prime-vertical radii of curvature
// in meters at latitude lat.
func Radii(lat s1.Angle) (meridianM, primeVerticalM float64) {
	sin := math.Sin(lat.Radians())
	w := 1 - eccentricity2*sin*sin
	primeVerticalM = semiMajorAxisM / math.Sqrt(w)
	return primeVerticalM * (1 - eccentricity2) / w, primeVerticalM
}

// Origin returns the position at the frame's zero point.
func (f Frame) Origin() s2.LatLng { return f.origin }

// ToPlane returns the place of ll in the frame. Longitudes are taken the short
// way round, so a pond may straddle the antimeridian.
func (f Frame) ToPlane(ll s2.LatLng) Point {
	return f.project(
		ll.Lat.Radians()-f.origin.Lat.Radians(),
		math.Remainder(ll.Lng.Radians()-f.origin.Lng.Radians(), 2*math.Pi))
}

// project returns the place at differences in latitude and longitude from the
// origin, in radians.
func (f Frame) project(dLat, dLng float64) Point {
	lat := f.origin.Lat.Radians() + dLat
	sin, cos := math.Sincos(lat)
	primeVerticalM := semiMajorAxisM / math.Sqrt(1-eccentricity2*sin*sin)
	const second2 = eccentricity2 / (1 - eccentricity2) // e'²
	curve := (cos*cos - sin*sin + second2*cos*cos*cos*cos) / 6
	return Point{
		X: primeVerticalM * cos * dLng * (1 + dLng*dLng*curve),
		Y: dLat*(f.northM+dLat*f.northM2) + primeVerticalM*sin*cos*dLng*dLng/2,
	}
}

// ToLatLng returns the position of p; it inverts ToPlane to better than a
// micrometer.
func (f Frame) ToLatLng(p Point) s2.LatLng {
	dLat, dLng := p.Y/f.northM, p.X/f.eastM
	// Newton's method with the derivatives at the origin: a step gains three
	// digits or more over a pond.
	for range 20 {
		miss := p.Sub(f.project(dLat, dLng))
		dLat, dLng = dLat+miss.Y/f.northM, dLng+miss.X/f.eastM
		if !(math.Abs(miss.X)+math.Abs(miss.Y) > 1e-9) {
			break
		}
	}
	lng := math.Remainder(f.origin.Lng.Radians()+dLng, 2*math.Pi)
	return s2.LatLng{Lat: f.origin.Lat + s1.Angle(dLat), Lng: s1.Angle(lng)}
}

// RingArea returns the signed area of a ring in m², positive when it runs
// counter-clockwise. The ring is closed implicitly.
func RingArea(ring []Point) float64 {
	if len(ring) < 3 {
		return 0
	}
	// Coordinates relative to the first vertex keep the terms small.
	var twice float64
	for i := 1; i+1 < len(ring); i++ {
		twice += ring[i].Sub(ring[0]).Cross(ring[i+1].Sub(ring[0]))
	}
	return twice / 2
}

// RingLength returns the length of a ring in meters, its closing side included.
func RingLength(ring []Point) float64 {
	var sum float64
	for i, p := range ring {
		sum += p.Distance(ring[(i+1)%len(ring)])
	}
	return sum
}

// RingContains reports whether p lies inside the ring, by the crossing-number
// rule. A point on the ring may go either way.
func RingContains(ring []Point, p Point) bool {
	in := false
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

// Orient reports on which side of the line from a to b the point c lies: +1
// left, −1 right, 0 on the line to within rounding.
func Orient(a, b, c Point) int {
	left, right := (b.X-a.X)*(c.Y-a.Y), (b.Y-a.Y)*(c.X-a.X)
	det := left - right
	// Error bound of the difference of two rounded products (Shewchuk, 1997,
	// "Adaptive precision floating-point arithmetic and fast robust geometric
	// predicates", section 4.3).
	const bound = (3 + 16*0x1p-53) * 0x1p-53
	switch limit := bound * (math.Abs(left) + math.Abs(right)); {
	case det > limit:
		return 1
	case det < -limit:
		return -1
	}
	return 0
}

// SegmentDistance returns the distance from p to the segment ab and the nearest
// point on it.
func SegmentDistance(p, a, b Point) (float64, Point) {
	d := b.Sub(a)
	t := 0.0
	if l2 := d.Dot(d); l2 > 0 {
		t = min(1, max(0, p.Sub(a).Dot(d)/l2))
	}
	q := a.Lerp(b, t)
	return p.Distance(q), q
}
