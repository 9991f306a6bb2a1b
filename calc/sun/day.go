package sun

import (
	"math"
	"time"

	"github.com/golang/geo/s1"

	"pondwright/calc/unit"
)

// solarConstantWM2 is the irradiance outside the air at the mean distance, W/m².
// The daily and monthly correlations of this package were fitted with 1367;
// today's best figure is 1361, and a lower one would raise every clearness by
// 0.4 %.
const solarConstantWM2 = 1367

// Declination reports the sun's declination on a day of the year after Cooper
// 1969, as Duffie and Beckman eq. 1.6.1: 23.45° sin(360° (284+n)/365). It errs by
// up to 0.6° and serves the monthly method, which was built on it. Day 1 is
// 1 January; other numbers wrap round the year.
func Declination(day int) s1.Angle {
	return s1.Angle(23.45*math.Sin(rad(360*float64(284+wrapDay(day))/365))) * s1.Degree
}

// EquationOfTime reports how far the sundial runs ahead of an even clock on a
// day of the year, after Spencer 1971 as in Duffie and Beckman eq. 1.5.3.
func EquationOfTime(day int) time.Duration {
	b := 2 * math.Pi * float64(wrapDay(day)-1) / 365
	minutes := 229.18 * (0.000075 + 0.001868*math.Cos(b) - 0.032077*math.Sin(b) -
		0.014615*math.Cos(2*b) - 0.04089*math.Sin(2*b))
	return time.Duration(minutes * float64(time.Minute))
}

// SunsetAngle reports the hour angle of sunset on a level horizon without air,
// acos(−tan φ tan δ): 0 where the sun stays down, 180° where it stays up. Angles
// beyond 90° count as 90°.
func SunsetAngle(lat, declination s1.Angle) s1.Angle {
	phi := clamp(lat.Radians(), -math.Pi/2, math.Pi/2)
	delta := clamp(declination.Radians(), -math.Pi/2, math.Pi/2)
	return s1.Angle(sunset(phi, delta))
}

func sunset(latRad, declRad float64) float64 {
	return math.Acos(clamp(-math.Tan(latRad)*math.Tan(declRad), -1, 1))
}

// DayLength reports the time from sunrise to sunset at a latitude and a
// declination, without air.
func DayLength(lat, declination s1.Angle) unit.Seconds {
	return unit.Hours(2 * SunsetAngle(lat, declination).Degrees() / 15)
}

// Extraterrestrial reports the energy of a day of the year on level ground
// outside the air (Duffie and Beckman eq. 1.10.3). It returns a *unit.RangeError
// for a latitude beyond 90°.
func Extraterrestrial(lat s1.Angle, day int) (unit.WattHoursPerSquareMeter, error) {
	if err := checkLatitude(lat); err != nil {
		return 0, err
	}
	return unit.WattHoursPerSquareMeter(newSolarDay(lat.Radians(), wrapDay(day)).beyondWhM2), nil
}

// meanDays are the days of the year whose extraterrestrial energy is closest to
// the mean of their month, after Klein 1977.
var meanDays = [12]int{17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344}

// MeanDay reports the day of the year that stands for a month, after Klein 1977
// as in Duffie and Beckman table 1.6.1. Months outside January to December give
// that of the nearest of the two.
func MeanDay(m time.Month) int {
	return meanDays[min(max(m, time.January), time.December)-1]
}

// solarDay is the sun's course on one day at one latitude.
type solarDay struct {
	sinLat, cosLat   float64
	sinDecl, cosDecl float64
	latRad, declRad  float64
	sunsetRad        float64
	beyondWhM2       float64 // on level ground outside the air
}

func newSolarDay(latRad float64, day int) solarDay {
	s := courseOf(latRad, Declination(day).Radians())
	normalWM2 := solarConstantWM2 * (1 + 0.033*math.Cos(rad(360*float64(day)/365)))
	s.beyondWhM2 = 24 / math.Pi * normalWM2 *
		math.Max(0, s.cosLat*s.cosDecl*math.Sin(s.sunsetRad)+s.sunsetRad*s.sinLat*s.sinDecl)
	return s
}

// courseOf is the sun's course at a declination, without its strength.
func courseOf(latRad, declRad float64) solarDay {
	s := solarDay{latRad: latRad, declRad: declRad, sunsetRad: sunset(latRad, declRad)}
	s.sinLat, s.cosLat = math.Sincos(latRad)
	s.sinDecl, s.cosDecl = math.Sincos(declRad)
	return s
}

// wrapDay brings any number to 1…366.
func wrapDay(day int) int {
	if day >= 1 && day <= 366 {
		return day
	}
	return ((day-1)%365+365)%365 + 1
}

// TowardEquator reports the true bearing that a panel at a latitude faces to see
// the noon sun: 180° in the north and on the equator, 0 in the south.
func TowardEquator(lat s1.Angle) s1.Angle {
	if lat < 0 {
		return 0
	}
	return 180 * s1.Degree
}
