package sun_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
)

func TestStations_AreWhole(t *testing.T) {
	t.Parallel()
	stations := sun.Stations()
	if len(stations) != 27 {
		t.Fatalf("%d stations, want 27", len(stations))
	}
	for _, s := range stations {
		if s.ID == "" || s.Name == "" || s.Region == "" || s.Source == "" {
			t.Errorf("%+v lacks a name or a source", s)
		}
		site := sun.Site{Lat: s.At.Lat, Irradiation: s.Irradiation}
		months, err := site.Months(south(30))
		if err != nil {
			t.Errorf("%s: %v", s.Name, err)
			continue
		}
		if july, january := s.Temperature[6], s.Temperature[0]; july <= january {
			t.Errorf("%s: July is not warmer than January", s.Name)
		}
		for m, v := range months {
			if v.Clearness < 0.3 || v.Clearness > 0.78 {
				t.Errorf("%s, %s: clearness %.2f", s.Name, time.Month(m+1), v.Clearness)
			}
			if s.Wind[m] < 1 || s.Wind[m] > 9 {
				t.Errorf("%s, %s: wind %.1f m/s", s.Name, time.Month(m+1), float64(s.Wind[m]))
			}
		}
	}
}

func TestStations_FirstAndLastRow(t *testing.T) {
	t.Parallel()
	stations := sun.Stations()
	first, last := stations[0], stations[26]
	const source = "typical-year files TMY2 23183 and CWEC2016 716230, monthly summary"
	run(t, []check{
		{"first latitude", first.At.Lat.Degrees(), 33.417, 1e-9, source},
		{"first longitude", first.At.Lng.Degrees(), -112.017, 1e-9, source},
		{"first elevation", float64(first.Elevation), 339, 0, source},
		{"first January light", float64(first.Irradiation[0]), 3251, 0, source},
		{"first December light", float64(first.Irradiation[11]), 2927, 0, source},
		{"first January wind", float64(first.Wind[0]), 2.4, 0, source},
		{"first December temperature", first.Temperature[11].Celsius(), 11.4, 1e-9, source},
		{"last December wind", float64(last.Wind[11]), 4.6, 0, source},
		{"last December temperature", last.Temperature[11].Celsius(), -2.5, 1e-9, source},
	})
}

func TestClimate_NamesTheStationAndWarns(t *testing.T) {
	t.Parallel()
	near := must(sun.ClimateAt(s2.LatLngFromDegrees(36.0, -97.6), sun.Own{}))
	if !strings.Contains(near.IrradiationFrom.String(), "Oklahoma City") || near.IrradiationFrom.Warning() != "" {
		t.Errorf("%v, warning %q: want the nearest station without a warning", near.IrradiationFrom, near.IrradiationFrom.Warning())
	}
	if d := float64(near.WindFrom.Distance); math.Abs(d-70.4e3) > 1e3 {
		t.Errorf("distance %.0f m, want 0.633° of a great circle, 70.4 km", d)
	}
	far := must(sun.ClimateAt(s2.LatLngFromDegrees(37.5, -99.5), sun.Own{}))
	if w := far.TemperatureFrom.Warning(); !strings.Contains(w.String(), "km away") || far.TemperatureFrom.Distance < 150e3 {
		t.Errorf("%v, warning %q: want a warning beyond 150 km (common practice, no source)", far.TemperatureFrom, w)
	}
}

func TestClimate_OwnNumbersWin(t *testing.T) {
	t.Parallel()
	light := days(2500, 3200, 4200, 5200, 5900, 6400, 6500, 5800, 4800, 3700, 2700, 2300)
	c := must(sun.ClimateAt(s2.LatLngFromDegrees(36.0, -97.6), sun.Own{Irradiation: &light}))
	if c.Irradiation != light || !c.IrradiationFrom.Own || c.IrradiationFrom.Warning() != "" {
		t.Errorf("own light was not used: %v", c.IrradiationFrom)
	}
	if c.WindFrom.Own || c.WindFrom.Station == "" {
		t.Errorf("wind should come from a station: %v", c.WindFrom)
	}
	if _, err := sun.ClimateAt(s2.LatLngFromDegrees(-36, 147), sun.Own{Irradiation: &light}); !errors.Is(err, sun.ErrNoStation) {
		t.Errorf("south of the equator: %v, want ErrNoStation", err)
	}
	wind, temperature := [12]unit.MetersPerSecond{}, [12]unit.Kelvin{}
	for i := range temperature {
		temperature[i] = unit.Celsius(10)
	}
	if _, err := sun.ClimateAt(s2.LatLngFromDegrees(-36, 147), sun.Own{&light, &wind, &temperature}); err != nil {
		t.Errorf("all own numbers south of the equator: %v", err)
	}
	light[3] = 20000
	_, err := sun.ClimateAt(s2.LatLngFromDegrees(36.0, -97.6), sun.Own{Irradiation: &light})
	wantRange(t, "20 kWh/m² a day", err)
}

func TestSettings_AreNamedAndMarked(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, s := range sun.Settings() {
		if s.Name == "" || s.Unit == "" || s.Mark == "" || seen[s.Name] {
			t.Errorf("%+v: want a name of its own, a unit and a mark", s)
		}
		if (s.Mark == unit.Published || s.Mark == unit.FromMemory) == (s.Source == "") {
			t.Errorf("%s: mark %q with source %q", s.Name, s.Mark, s.Source)
		}
		seen[s.Name] = true
	}
	if len(sun.Cautions()) == 0 || sun.Cautions()[0] != sun.CodeNote {
		t.Error("the deferral to the local electrical code leads the cautions")
	}
}
