package sun

import (
	_ "embed" // the coefficients
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/golang/geo/s1"
	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
)

// wmm2025 is the file WMM.COF of the World Magnetic Model 2025 by NOAA NCEI and
// the British Geological Survey, released 2024-11-13, valid 2025.0 to 2030.0, a
// work of the US Government without copyright.
//
//go:embed data/WMM2025.COF
var wmm2025 string

const (
	magneticDegree    = 12
	magneticYears     = 5
	wgs84A            = 6378137.0
	wgs84F            = 1 / 298.257223563
	magneticRadiusM   = 6371200.0
	blackoutNT        = 2000
	minMagneticHeight = -1e3
	maxMagneticHeight = 850e3
)

// Magnetic is a model of the earth's main magnetic field. It does not change and
// may be shared.
type Magnetic struct {
	name           string
	epoch          float64 // decimal year from which it holds
	g, h, gDt, hDt [magneticDegree + 1][magneticDegree + 1]float64
}

// loadWMM2025 reads the embedded coefficients. Tests read them too, so a build
// whose file is broken does not pass; should one be made all the same, the empty
// model holds for no year and every question to it is refused.
var loadWMM2025 = sync.OnceValue(func() *Magnetic {
	m, err := ParseMagnetic(wmm2025)
	if err != nil {
		return &Magnetic{name: "unreadable", epoch: math.NaN()}
	}
	return m
})

// WMM2025 is the World Magnetic Model for 2025.0 to 2030.0.
func WMM2025() *Magnetic { return loadWMM2025() }

// Name reports the model's own name.
func (m *Magnetic) Name() string { return m.name }

// Valid reports the decimal years between which the model holds.
func (m *Magnetic) Valid() (from, to float64) { return m.epoch, m.epoch + magneticYears }

// CoefficientError says where a coefficient file is not what it should be.
type CoefficientError struct {
	Line   int
	Reason string
}

// Error names the line and the reason.
func (e *CoefficientError) Error() string {
	return fmt.Sprintf("magnetic coefficients: line %d: %s", e.Line, e.Reason)
}

// ParseMagnetic reads a coefficient file of the World Magnetic Model: a header of
// epoch, name and release date; one line per degree and order with g, h and their
// yearly changes in nT; a last line of nines. Every degree from 1 to 12 must be
// there once. It returns a *CoefficientError.
func ParseMagnetic(text string) (*Magnetic, error) {
	lines := strings.Split(text, "\n")
	header := strings.Fields(lines[0])
	if len(header) != 3 {
		return nil, &CoefficientError{1, "want epoch, name and date"}
	}
	epoch, err := strconv.ParseFloat(header[0], 64)
	if err != nil || !(epoch >= firstYear && epoch <= lastYear) {
		return nil, &CoefficientError{1, "epoch is not a year from 1900 to 2100"}
	}
	m := &Magnetic{name: header[1], epoch: epoch}
	var seen [magneticDegree + 1][magneticDegree + 1]bool
	count := 0
	for i, line := range lines[1:] {
		if strings.HasPrefix(line, "9999") {
			break
		}
		if err := m.addLine(i+2, line, &seen); err != nil {
			return nil, err
		}
		count++
	}
	if want := magneticDegree * (magneticDegree + 3) / 2; count != want {
		return nil, &CoefficientError{len(lines), fmt.Sprintf("%d coefficients, want %d", count, want)}
	}
	return m, nil
}

// addLine reads one line "n m g h gDot hDot".
func (m *Magnetic) addLine(number int, line string, seen *[magneticDegree + 1][magneticDegree + 1]bool) error {
	fields := strings.Fields(line)
	if len(fields) != 6 {
		return &CoefficientError{number, "want six figures"}
	}
	n, errN := strconv.Atoi(fields[0])
	k, errK := strconv.Atoi(fields[1])
	if errN != nil || errK != nil || n < 1 || n > magneticDegree || k < 0 || k > n {
		return &CoefficientError{number, "degree must be 1 to 12, order 0 to the degree"}
	}
	if seen[n][k] {
		return &CoefficientError{number, fmt.Sprintf("degree %d order %d comes twice", n, k)}
	}
	seen[n][k] = true
	for i, to := range []*float64{&m.g[n][k], &m.h[n][k], &m.gDt[n][k], &m.hDt[n][k]} {
		v, err := strconv.ParseFloat(fields[2+i], 64)
		if err != nil || !(math.Abs(v) <= 1e6) {
			return &CoefficientError{number, fmt.Sprintf("%q is not a field in nT", fields[2+i])}
		}
		*to = v
	}
	return nil
}

// Field is the earth's magnetic field at a place: X to true north, Y to the
// east, Z down.
type Field struct{ X, Y, Z unit.Teslas }

// Horizontal reports the strength of the level part of the field.
func (f Field) Horizontal() unit.Teslas { return unit.Teslas(math.Hypot(float64(f.X), float64(f.Y))) }

// Declination reports how far east of true north a compass points.
func (f Field) Declination() s1.Angle { return s1.Angle(math.Atan2(float64(f.Y), float64(f.X))) }

// Uncertainty reports one standard deviation of the declination,
// √(0.26² + (5417 nT/H)²) degrees, of the error model in the WMM2025 report;
// iron nearby, such as a steel mast, errs far more. It is at most 180°.
func (f Field) Uncertainty() s1.Angle {
	sigma := math.Hypot(0.26, 5417/math.Max(f.Horizontal().Nanoteslas(), 1))
	return s1.Angle(math.Min(sigma, 180)) * s1.Degree
}

// Compass reports what a compass shows, 0 to 360°, when it looks along a true
// bearing. It returns a *unit.RangeError where the level field is below 2000 nT,
// near the magnetic poles, where a compass is of no use, and for a bearing beyond
// 360° either way.
func (f Field) Compass(trueBearing s1.Angle) (s1.Angle, error) {
	if err := unit.CheckRange("bearing (degrees)", trueBearing.Degrees(), -360, 360, "definition"); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("horizontal field (nT)", f.Horizontal().Nanoteslas(), blackoutNT, 1e6, "World Magnetic Model, blackout zone"); err != nil {
		return 0, err
	}
	return s1.Angle(bearing((trueBearing - f.Declination()).Radians())), nil
}

// Field reports the main field at an instant, a place and a height above the
// WGS 84 ellipsoid. It returns a *unit.RangeError for an instant outside the
// model's five years, a place off the globe, or a height outside −1 to 850 km.
func (m *Magnetic) Field(t time.Time, at s2.LatLng, height unit.Meters) (Field, error) {
	year := decimalYear(t)
	if err := unit.CheckRange("date (decimal year)", year, m.epoch, m.epoch+magneticYears, m.name+", years of validity"); err != nil {
		return Field{}, err
	}
	if err := checkPlace(at); err != nil {
		return Field{}, err
	}
	if err := unit.CheckRange("height (m)", float64(height), minMagneticHeight, maxMagneticHeight, m.name+" report"); err != nil {
		return Field{}, err
	}
	return m.field(year-m.epoch, at.Lat.Radians(), at.Lng.Radians(), float64(height)), nil
}

// decimalYear is the year with the share of it that has passed.
func decimalYear(t time.Time) float64 {
	t = t.UTC()
	start := time.Date(t.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	end := time.Date(t.Year()+1, 1, 1, 0, 0, 0, 0, time.UTC)
	return float64(t.Year()) + float64(t.Sub(start))/float64(end.Sub(start))
}

// field sums the spherical harmonics of the WMM2025 report, eqs. 1 to 19:
// geodetic to geocentric latitude, Schmidt semi-normalized Legendre functions by
// recursion, and the turn back to the ellipsoid's vertical.
func (m *Magnetic) field(years, latRad, lonRad, heightM float64) Field {
	sinLat, cosLat := math.Sincos(latRad)
	e2 := wgs84F * (2 - wgs84F)
	across := wgs84A / math.Sqrt(1-e2*sinLat*sinLat)
	outM, upM := (across+heightM)*cosLat, (across*(1-e2)+heightM)*sinLat
	rM := math.Hypot(outM, upM)
	sinGeo, cosGeo := upM/rM, math.Max(outM/rM, 1e-12)
	p, dp := legendre(sinGeo, cosGeo)

	var x, y, z float64
	ratio := magneticRadiusM / rM
	scale := ratio * ratio
	for n := 1; n <= magneticDegree; n++ {
		scale *= ratio
		for k := 0; k <= n; k++ {
			sinK, cosK := math.Sincos(float64(k) * lonRad)
			g, h := m.g[n][k]+years*m.gDt[n][k], m.h[n][k]+years*m.hDt[n][k]
			along := g*cosK + h*sinK
			x -= scale * along * dp[n][k]
			y += scale * float64(k) * (g*sinK - h*cosK) * p[n][k] / cosGeo
			z -= scale * float64(n+1) * along * p[n][k]
		}
	}
	sinTurn := sinGeo*cosLat - cosGeo*sinLat // of geocentric minus geodetic latitude
	cosTurn := cosGeo*cosLat + sinGeo*sinLat
	return Field{
		X: unit.Nanoteslas(x*cosTurn - z*sinTurn),
		Y: unit.Nanoteslas(y),
		Z: unit.Nanoteslas(x*sinTurn + z*cosTurn),
	}
}

// legendre gives the Schmidt semi-normalized associated Legendre functions of
// the sine of latitude and their derivatives by latitude.
func legendre(sin, cos float64) (p, dp [magneticDegree + 1][magneticDegree + 1]float64) {
	p[0][0] = 1
	for n := 1; n <= magneticDegree; n++ {
		for k := 0; k <= n; k++ {
			if k == n {
				f := 1.0
				if n > 1 {
					f = math.Sqrt(1 - 1/float64(2*n))
				}
				p[n][n] = f * cos * p[n-1][n-1]
				dp[n][n] = f * (cos*dp[n-1][n-1] - sin*p[n-1][n-1])
				continue
			}
			norm := math.Sqrt(float64(n*n - k*k))
			lead := float64(2*n-1) / norm
			p[n][k] = lead * sin * p[n-1][k]
			dp[n][k] = lead * (sin*dp[n-1][k] + cos*p[n-1][k])
			if n-2 >= k {
				back := math.Sqrt(float64((n-1)*(n-1)-k*k)) / norm
				p[n][k] -= back * p[n-2][k]
				dp[n][k] -= back * dp[n-2][k]
			}
		}
	}
	return p, dp
}
