package sun

import (
	_ "embed" // the stations
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
)

// stationTable holds monthly means of typical-year weather files of government
// origin; data/README.md tells how they were made.
//
//go:embed data/climate-stations.csv
var stationTable string

// ErrNoStation says that no station can stand for a place: give your own twelve
// numbers.
var ErrNoStation = errors.New("no weather station on this side of the equator")

const earthRadiusM = 6371008.8 // mean radius, IUGG; distances within 0.6 %

// Station is a row of the table of typical years.
type Station struct {
	ID, Name, Region string
	At               s2.LatLng
	Elevation        unit.Meters
	Source           string
	Irradiation      [12]unit.WattHoursPerSquareMeter // on level ground, mean day
	Wind             [12]unit.MetersPerSecond         // at the anemometer, about 10 m up
	Temperature      [12]unit.Kelvin                  // of the air
}

// loadStations reads the embedded table. Tests read it too, so a build whose
// table is broken does not pass; should one be made all the same, no place has a
// station and every question to it is refused.
var loadStations = sync.OnceValue(func() []Station {
	stations, err := parseStations(stationTable)
	if err != nil {
		return nil
	}
	return stations
})

// Stations lists the table of typical years.
func Stations() []Station { return append([]Station(nil), loadStations()...) }

// parseStations reads the table: a header and 43 columns a row.
func parseStations(text string) ([]Station, error) {
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("stations: %w", err)
	}
	var out []Station
	for i, row := range rows {
		if i == 0 {
			continue
		}
		if len(row) != 43 {
			return nil, fmt.Errorf("stations: row %d has %d columns, want 43", i+1, len(row))
		}
		var v [40]float64
		for j := range v {
			if j == 3 {
				continue // the source, a text
			}
			if v[j], err = strconv.ParseFloat(row[3+j], 64); err != nil {
				return nil, fmt.Errorf("stations: row %d: %w", i+1, err)
			}
		}
		out = append(out, stationOf(row, &v))
	}
	return out, nil
}

func stationOf(row []string, v *[40]float64) Station {
	s := Station{
		ID: row[0], Name: row[1], Region: row[2], Source: row[6],
		At: s2.LatLngFromDegrees(v[0], v[1]), Elevation: unit.Meters(v[2]),
	}
	for m := range 12 {
		s.Irradiation[m] = unit.WattHoursPerSquareMeter(v[4+m])
		s.Wind[m] = unit.MetersPerSecond(v[16+m])
		s.Temperature[m] = unit.Celsius(v[28+m])
	}
	return s
}

// Nearest reports the station closest to a place, on the same side of the
// equator, and how far it is. It returns a *unit.RangeError for a place off the
// globe and ErrNoStation where there is none.
func Nearest(at s2.LatLng) (Station, unit.Meters, error) {
	if err := checkPlace(at); err != nil {
		return Station{}, 0, err
	}
	best, least := Station{}, math.Inf(1)
	for _, s := range loadStations() {
		if (s.At.Lat < 0) != (at.Lat < 0) {
			continue
		}
		if d := s.At.Distance(at).Radians() * earthRadiusM; d < least {
			best, least = s, d
		}
	}
	if math.IsInf(least, 1) {
		return Station{}, 0, ErrNoStation
	}
	return best, unit.Meters(least), nil
}

// Own holds a person's twelve numbers, January first; nil where there are none.
type Own struct {
	Irradiation *[12]unit.WattHoursPerSquareMeter // on level ground, mean day
	Wind        *[12]unit.MetersPerSecond         // at 10 m
	Temperature *[12]unit.Kelvin                  // of the air
}

// Origin says where twelve numbers come from.
type Origin struct {
	Own      bool // a person's own
	Station  string
	Source   string
	Distance unit.Meters // of the station
}

// String names the origin for a sheet.
func (o Origin) String() string { return o.Text().String() }

// Text names the origin in words.
func (o Origin) Text() unit.Text {
	if o.Own {
		return "your own twelve numbers"
	}
	return unit.Say("%s, %s away (%s)", o.Station, o.Distance.Far(), o.Source)
}

// Warning is what must be said about the origin, or empty.
func (o Origin) Warning() unit.Text {
	if o.Own || o.Distance <= farStationM {
		return ""
	}
	return unit.Say("the nearest station, %s, is %s away: beyond %s its climate may be another; give your own twelve numbers",
		o.Station, o.Distance.Far(), unit.Meters(farStationM).Far())
}

// Climate is a place's mean months and where they come from.
type Climate struct {
	At              s2.LatLng
	Irradiation     [12]unit.WattHoursPerSquareMeter
	Wind            [12]unit.MetersPerSecond
	Temperature     [12]unit.Kelvin
	IrradiationFrom Origin
	WindFrom        Origin
	TemperatureFrom Origin
}

// ClimateAt gathers a place's climate: a person's own numbers where there are
// any, the nearest station's otherwise. A typical year is twelve chosen months,
// not the long-term mean, and a pond among trees or below banks sees less wind
// than a station. It returns a *unit.RangeError for a place or a number outside
// records on earth, and ErrNoStation where a missing series finds no station.
func ClimateAt(at s2.LatLng, own Own) (Climate, error) {
	if err := checkPlace(at); err != nil {
		return Climate{}, err
	}
	c := Climate{At: at}
	if own.Irradiation == nil || own.Wind == nil || own.Temperature == nil {
		s, distance, err := Nearest(at)
		if err != nil {
			return Climate{}, err
		}
		from := Origin{Station: s.Name + ", " + s.Region, Source: s.Source, Distance: distance}
		c.Irradiation, c.Wind, c.Temperature = s.Irradiation, s.Wind, s.Temperature
		c.IrradiationFrom, c.WindFrom, c.TemperatureFrom = from, from, from
	}
	if err := c.replace(own); err != nil {
		return Climate{}, err
	}
	return c, nil
}

// replace puts a person's own numbers in place.
func (c *Climate) replace(own Own) error {
	if own.Irradiation != nil {
		c.Irradiation, c.IrradiationFrom = *own.Irradiation, Origin{Own: true}
	}
	if own.Wind != nil {
		c.Wind, c.WindFrom = *own.Wind, Origin{Own: true}
	}
	if own.Temperature != nil {
		c.Temperature, c.TemperatureFrom = *own.Temperature, Origin{Own: true}
	}
	for m := range 12 {
		for _, err := range []error{
			unit.CheckRange("irradiation (Wh/m² a day)", float64(c.Irradiation[m]), 0, 12000, "more than arrives outside the air"),
			unit.CheckRange("wind speed (m/s)", float64(c.Wind[m]), 0, 40, "monthly means on earth"),
			unit.CheckRange("air temperature (°C)", c.Temperature[m].Celsius(), -60, 50, "monthly means on earth"),
		} {
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// Site is the climate's light at the place, behind a horizon.
func (c Climate) Site(h Horizon) Site {
	return Site{Lat: c.At.Lat, Irradiation: c.Irradiation, Horizon: h}
}
