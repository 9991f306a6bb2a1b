package sun

import (
	"math"
	"time"

	"github.com/golang/geo/s1"
	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
)

const (
	firstYear    = 1900
	lastYear     = 2100
	deltaTS      = 69.0 // terrestrial minus universal time in the 2020s
	julianUnix   = 2440587.5
	julian2000   = 2451545.0
	daySeconds   = 86400.0
	daysCentury  = 36525.0
	parallaxDeg  = 8.794 / 3600
	standardAirK = 288.15
)

const meeusSource = "Meeus, Astronomical Algorithms, 2nd ed., 1998, ch. 25 (low accuracy, 0.01 degree)"

// Air is the state of the air that bends the light of a low sun. The zero Air is
// one standard atmosphere at 15 °C.
type Air struct {
	Pressure    unit.Pascals // 0, or 30 to 110 kPa
	Temperature unit.Kelvin  // 0, or 200 to 340 K
}

func (a Air) check() (pPa, tK float64, err error) {
	pPa, tK = float64(a.Pressure), float64(a.Temperature)
	if pPa == 0 {
		pPa = float64(unit.StandardPressure)
	}
	if tK == 0 {
		tK = standardAirK
	}
	if err := unit.CheckRange("air pressure (Pa)", pPa, 3e4, 1.1e5, "inhabited heights"); err != nil {
		return 0, 0, err
	}
	return pPa, tK, unit.CheckRange("air temperature (K)", tK, 200, 340, "inhabited places")
}

// Position is where the sun stands in the sky of a place.
type Position struct {
	Elevation   s1.Angle // of the center of the disc above the level horizon, as seen through the air
	Azimuth     s1.Angle // true bearing, 0 to 360°
	Declination s1.Angle // north of the equator
	HourAngle   s1.Angle // past the meridian, −180° to 180°, afternoon positive
	DistanceAU  float64  // from the earth, in astronomical units
}

// Zenith reports the angle from straight up.
func (p Position) Zenith() s1.Angle { return 90*s1.Degree - p.Elevation }

// Beyond reports the irradiance square to the sun outside the air, the solar
// constant over the squared distance. A zero Position gives the solar constant.
func (p Position) Beyond() unit.WattsPerSquareMeter {
	if p.DistanceAU == 0 {
		return solarConstantWM2
	}
	return unit.WattsPerSquareMeter(solarConstantWM2 / (p.DistanceAU * p.DistanceAU))
}

// PositionAt reports where the sun stands at an instant over a place, to 0.01°.
// It follows the low-accuracy sun of Meeus, Astronomical Algorithms, chapter 25,
// with aberration, the main term of nutation, parallax, and refraction after
// Saemundsson (same book, chapter 16). It returns a *unit.RangeError for a year
// outside 1900 to 2100, a place off the globe, or unfit air.
func PositionAt(t time.Time, at s2.LatLng, air Air) (Position, error) {
	if err := checkPlace(at); err != nil {
		return Position{}, err
	}
	if err := checkYear(t); err != nil {
		return Position{}, err
	}
	pPa, tK, err := air.check()
	if err != nil {
		return Position{}, err
	}
	p := eclipticSun(t).over(at.Lat.Radians(), at.Lng.Radians())
	p.Elevation += s1.Angle(refraction(p.Elevation.Degrees(), pPa, tK)) * s1.Degree
	return p, nil
}

func checkPlace(at s2.LatLng) error {
	if err := checkLatitude(at.Lat); err != nil {
		return err
	}
	return unit.CheckRange("longitude (degrees)", at.Lng.Degrees(), -180, 180, "definition")
}

func checkLatitude(lat s1.Angle) error {
	return unit.CheckRange("latitude (degrees)", lat.Degrees(), -90, 90, "definition")
}

func checkYear(t time.Time) error {
	return unit.CheckRange("year", float64(t.UTC().Year()), firstYear, lastYear, meeusSource)
}

// equatorial is the sun in the sky of no place yet.
type equatorial struct {
	alphaRad, sinDecl, cosDecl float64 // right ascension and declination
	declRad                    float64
	siderealRad                float64 // at Greenwich
	distanceAU                 float64
}

// eclipticSun evaluates the series for an instant; t must be within the years
// checked by its callers.
func eclipticSun(t time.Time) equatorial {
	jd := julianUnix + (float64(t.Unix())+float64(t.Nanosecond())*1e-9)/daySeconds
	d := jd - julian2000
	c := (d + deltaTS/daySeconds) / daysCentury
	meanLonDeg := 280.46646 + c*(36000.76983+c*0.0003032)
	anomaly := rad(357.52911 + c*(35999.05029-c*0.0001537))
	ecc := 0.016708634 - c*(0.000042037+c*0.0000001267)
	sinM, cosM := math.Sincos(anomaly)
	sin2M := 2 * sinM * cosM
	sin3M := sinM * (3 - 4*sinM*sinM)
	centerDeg := (1.914602-c*(0.004817+c*0.000014))*sinM + (0.019993-c*0.000101)*sin2M + 0.000289*sin3M
	sinNode, cosNode := math.Sincos(rad(125.04 - 1934.136*c))
	lon := rad(meanLonDeg + centerDeg - 0.00569 - 0.00478*sinNode)
	obliquity := rad(23.43929111 - c*(0.013004167+c*(1.6389e-7-c*5.0361e-7)) + 0.00256*cosNode)
	sinEps, cosEps := math.Sincos(obliquity)
	sinLon, cosLon := math.Sincos(lon)
	sinDecl := sinEps * sinLon
	ut := d / daysCentury
	siderealDeg := 280.46061837 + 360.98564736629*d + 0.000387933*ut*ut - 0.00478*sinNode*cosEps
	return equatorial{
		alphaRad: math.Atan2(cosEps*sinLon, cosLon),
		sinDecl:  sinDecl, cosDecl: math.Sqrt(1 - sinDecl*sinDecl), declRad: math.Asin(sinDecl),
		siderealRad: rad(math.Mod(siderealDeg, 360)),
		distanceAU:  1.000001018 * (1 - ecc*ecc) / (1 + ecc*math.Cos(anomaly+rad(centerDeg))),
	}
}

// over places the sun in the sky of a place, parallax taken, air not.
func (e equatorial) over(latRad, lonRad float64) Position {
	hourRad := math.Remainder(e.siderealRad+lonRad-e.alphaRad, 2*math.Pi)
	sinLat, cosLat := math.Sincos(latRad)
	el, az := horizontal(sinLat, cosLat, e.sinDecl, e.cosDecl, hourRad)
	el -= rad(parallaxDeg/e.distanceAU) * math.Cos(el)
	return Position{
		Elevation: s1.Angle(el), Azimuth: s1.Angle(az), Declination: s1.Angle(e.declRad),
		HourAngle: s1.Angle(hourRad), DistanceAU: e.distanceAU,
	}
}

// horizontal turns declination and hour angle into elevation and true bearing
// [0, 2π), in radians.
func horizontal(sinLat, cosLat, sinDecl, cosDecl, hourRad float64) (elRad, azRad float64) {
	sinH, cosH := math.Sincos(hourRad)
	elRad = math.Asin(clamp(sinLat*sinDecl+cosLat*cosDecl*cosH, -1, 1))
	azRad = math.Atan2(-cosDecl*sinH, sinDecl*cosLat-cosDecl*sinLat*cosH)
	if azRad < 0 {
		azRad += 2 * math.Pi
	}
	return elRad, azRad
}

// refraction is the lift of a body by the air in degrees; none where the disc is
// wholly below the horizon.
func refraction(elDeg, pPa, tK float64) float64 {
	if elDeg < -0.83 {
		return 0
	}
	return pPa / 101000 * 283 / tK * 1.02 / 60 / math.Tan(rad(elDeg+10.3/(elDeg+5.11)))
}

// Horizontal reports elevation and true bearing of a body at a declination and
// an hour angle past the meridian, no air in between (Duffie and Beckman, eqs.
// 1.6.5 and 1.6.6 turned to bearings from north). It returns a *unit.RangeError
// for a latitude or declination beyond 90° or an hour angle beyond 180°.
func Horizontal(lat, declination, hourAngle s1.Angle) (elevation, azimuth s1.Angle, err error) {
	if err := checkLatitude(lat); err != nil {
		return 0, 0, err
	}
	if err := unit.CheckRange("declination (degrees)", declination.Degrees(), -90, 90, "definition"); err != nil {
		return 0, 0, err
	}
	if err := unit.CheckRange("hour angle (degrees)", hourAngle.Degrees(), -180, 180, "definition"); err != nil {
		return 0, 0, err
	}
	sinLat, cosLat := math.Sincos(lat.Radians())
	sinD, cosD := math.Sincos(declination.Radians())
	el, az := horizontal(sinLat, cosLat, sinD, cosD, hourAngle.Radians())
	return s1.Angle(el), s1.Angle(az), nil
}

// Daylight is a day's sunrise, noon and sunset. Rise and Set are zero where the
// sun does not cross the horizon on that day; Up then says which side it keeps.
type Daylight struct {
	Rise, Noon, Set time.Time
	Up              bool // the sun is up at noon
}

// riseElevationDeg is the true elevation of the sun's center when its upper
// edge touches the horizon: 0.5667° of refraction and 0.2667° of half disc, as
// in Reda and Andreas, NREL/TP-560-34302, 2008 rev., section A.2.
const riseElevationDeg = -0.8333

// DaylightOn reports sunrise, noon and sunset of the solar day whose noon falls
// closest to t, over a level horizon, in UTC and good to a few seconds below
// the polar circles. It returns a *unit.RangeError as PositionAt does.
func DaylightOn(t time.Time, at s2.LatLng) (Daylight, error) {
	if err := checkPlace(at); err != nil {
		return Daylight{}, err
	}
	if err := checkYear(t); err != nil {
		return Daylight{}, err
	}
	latRad, lonRad := at.Lat.Radians(), at.Lng.Radians()
	look := func(t time.Time) Position { return eclipticSun(t).over(latRad, lonRad) }
	noon := t.UTC()
	for range 4 {
		noon = noon.Add(-time.Duration(look(noon).HourAngle.Degrees() / 360 * float64(24*time.Hour)))
	}
	day := Daylight{Noon: noon, Up: look(noon).Elevation.Degrees() > riseElevationDeg}
	below := func(t time.Time) bool { return look(t).Elevation.Degrees() < riseElevationDeg }
	before, after := noon.Add(-12*time.Hour), noon.Add(12*time.Hour)
	if day.Up && below(before) {
		day.Rise = crossing(before, noon, below)
	}
	if day.Up && below(after) {
		day.Set = crossing(after, noon, below)
	}
	return day, nil
}

// crossing narrows the instant between a dark end and a light end at which the
// sun passes the horizon, to a tenth of a second.
func crossing(dark, light time.Time, below func(time.Time) bool) time.Time {
	for range 20 {
		mid := dark.Add(light.Sub(dark) / 2)
		if below(mid) {
			dark = mid
		} else {
			light = mid
		}
	}
	return light
}

func rad(deg float64) float64 { return deg * (math.Pi / 180) }
func deg(rad float64) float64 { return rad * (180 / math.Pi) }

func clamp(v, lo, hi float64) float64 { return math.Max(lo, math.Min(hi, v)) }
