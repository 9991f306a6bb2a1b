package sun_test

import (
	"math"
	"os"
	"testing"
	"time"

	"github.com/golang/geo/s1"
	"github.com/golang/geo/s2"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
)

func finite(t *testing.T, what string, values ...float64) {
	t.Helper()
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("%s is %v", what, v)
		}
	}
}

// skipWild leaves out inputs that are not numbers; the target promises finite
// answers for finite inputs only.
func skipWild(t *testing.T, values ...float64) {
	t.Helper()
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Skip()
		}
	}
}

func FuzzPosition(f *testing.F) {
	f.Add(int64(1066419030), 39.742476, -105.1786, 82000.0, 284.15) // the published example
	f.Add(int64(0), 90.0, 180.0, 0.0, 0.0)                          // the pole
	f.Add(int64(math.MaxInt64), -90.0, -180.0, 1e308, -1e308)       // nonsense
	f.Fuzz(func(t *testing.T, second int64, lat, lon, pressure, temperature float64) {
		skipWild(t, lat, lon, pressure, temperature)
		at, when := s2.LatLngFromDegrees(lat, lon), time.Unix(second, 0)
		if p, err := sun.PositionAt(when, at, sun.Air{Pressure: unit.Pascals(pressure), Temperature: unit.Kelvin(temperature)}); err == nil {
			finite(t, "position", float64(p.Elevation), float64(p.Azimuth), float64(p.Declination), float64(p.HourAngle), p.DistanceAU, float64(p.Beyond()))
			finite(t, "clear sky", float64(sun.Haurwitz(p.Elevation)), sun.AirMass(p.Elevation))
		}
		if _, err := sun.DaylightOn(when, at); err != nil {
			return
		}
		if field, err := sun.WMM2025().Field(when, at, unit.Meters(pressure)); err == nil {
			finite(t, "field", float64(field.X), float64(field.Y), float64(field.Z), float64(field.Declination()), float64(field.Uncertainty()))
		}
	})
}

func FuzzSite(f *testing.F) {
	f.Add(36.1, 4000.0, 36.0, 180.0, 0.2, 400.0, 90.0, 20.0)       // a usual site
	f.Add(-65.0, 10.0, 90.0, 0.0, 1.0, 0.0, 0.0, 90.0)             // midwinter at the limit
	f.Add(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)                  // nothing
	f.Add(1e308, -1e308, 1e300, 1e300, -1e-308, 1e18, 361.0, -1.0) // nonsense
	f.Fuzz(func(t *testing.T, lat, level, tilt, azimuth, albedo, threshold, bearing, height float64) {
		skipWild(t, lat, level, tilt, azimuth, albedo, threshold, bearing, height)
		site := sun.Site{Lat: degrees(lat)}
		h, err := sun.NewHorizon([]sun.HorizonPoint{{degrees(bearing), degrees(height)}, {degrees(bearing / 2), 0}})
		if err == nil {
			site.Horizon = h
			finite(t, "horizon", h.SkyView(), float64(h.At(degrees(azimuth))))
		}
		for m := range 12 {
			site.Irradiation[m], site.Albedo[m] = unit.WattHoursPerSquareMeter(level), albedo
			if outside, err := sun.Extraterrestrial(site.Lat, sun.MeanDay(time.Month(m+1))); err == nil && level >= 0 && level <= 1 {
				site.Irradiation[m] = outside * unit.WattHoursPerSquareMeter(level) // a clearness, to get past the gate
			}
		}
		p := sun.Panel{Tilt: degrees(tilt), Azimuth: degrees(azimuth)}
		if months, err := site.Months(p); err == nil {
			for _, m := range months {
				finite(t, "month", float64(m.Tilted), m.BeamRatio, m.Facing, m.DiffuseShare, m.Clearness)
			}
		}
		if hours, err := site.RunHours(p, unit.WattsPerSquareMeter(threshold)); err == nil {
			for _, v := range hours {
				finite(t, "run hours", float64(v))
			}
		}
		if tilt, err := sun.LatitudeTilt(site.Lat); err == nil {
			finite(t, "tilt", float64(tilt))
		}
		if loss, err := site.AzimuthLoss(p, degrees(bearing), sun.Goal{}); err == nil {
			finite(t, "loss", loss)
		}
		if size, err := site.SizeStorage(p, sun.StorageNeed{Load: unit.Watts(threshold), Days: height, Hours: unit.Hours(bearing)}); err == nil {
			finite(t, "storage", float64(size.Array), float64(size.Battery), float64(size.Charge), size.SunHours)
		}
		if size, err := site.SizeDirect(p, sun.DirectNeed{Load: unit.Watts(threshold), Hours: unit.Hours(height)}); err == nil {
			finite(t, "direct", float64(size.Array), float64(size.Threshold))
		}
	})
}

func FuzzLight(f *testing.F) {
	f.Add(45.0, 180.0, 700.0, 600.0, 200.0, 1367.0, 1.4, 40.0, 180.0, 0.2, 0)
	f.Add(-0.1, 0.0, 0.0, 0.0, 1e-300, 1300.0, 0.0, 90.0, 0.0, 0.0, 1)
	f.Add(89.999, 1e9, 2000.0, 2000.0, 5e-324, 1200.0, 40.0, 0.0, -360.0, 1.0, 2)
	f.Fuzz(func(t *testing.T, el, az, global, beam, diffuse, beyond, mass, tilt, azimuth, albedo float64, model int) {
		skipWild(t, el, az, global, beam, diffuse, beyond, mass, tilt, azimuth, albedo)
		pos := sun.Position{Elevation: degrees(el), Azimuth: degrees(az)}
		scene := sun.Scene{Panel: sun.Panel{Tilt: degrees(tilt), Azimuth: degrees(azimuth)}, Albedo: albedo, Model: sun.SkyModel(model)}
		sky := sun.Sky{Global: unit.WattsPerSquareMeter(global), Beam: unit.WattsPerSquareMeter(beam), Diffuse: unit.WattsPerSquareMeter(diffuse)}
		if l, err := scene.Light(pos, sky, unit.WattsPerSquareMeter(beyond), mass); err == nil {
			finite(t, "light", float64(l.Beam), float64(l.Sky), float64(l.Ground))
		}
		if sky, err := sun.SplitHour(sky.Global, unit.WattsPerSquareMeter(beyond), pos.Elevation); err == nil {
			finite(t, "split", float64(sky.Beam), float64(sky.Diffuse))
		}
		if sky, err := sun.IneichenPerez(sun.ClearAir{Beyond: unit.WattsPerSquareMeter(beyond), Zenith: pos.Elevation, AirMass: mass, Linke: tilt, Altitude: unit.Meters(global)}); err == nil {
			finite(t, "clear sky", float64(sky.Global), float64(sky.Beam), float64(sky.Diffuse))
		}
		if g, d, err := sun.HourShare(s1.Angle(el), s1.Angle(az)); err == nil {
			finite(t, "hour share", g, d)
		}
	})
}

func FuzzElectric(f *testing.F) {
	f.Add(300.0, 40.0, 10.0, 318.15, -0.0037, -0.0028, 2, 253.15, 900.0, 30.0, 24.0, 0.03)
	f.Add(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0, 0.0, 0.0, 0.0, 0.0, 0.0)
	f.Add(1e308, -1e308, 1e308, 1e308, 1.0, 1.0, math.MaxInt, 1e308, 1e308, 1e308, 1e-308, 1e308)
	f.Fuzz(func(t *testing.T, power, open, short, noct, gamma, beta float64, n int, coldest, light, length, source, share float64) {
		skipWild(t, power, open, short, noct, gamma, beta, coldest, light, length, source, share)
		m := sun.Module{Power: unit.Watts(power), Open: unit.Volts(open), Short: unit.Amperes(short), NOCT: unit.Kelvin(noct), PowerPerK: gamma, OpenPerK: beta, SeriesLength: n}
		air, lit := unit.Kelvin(coldest), unit.WattsPerSquareMeter(light)
		if v, err := m.CellTemperature(air, lit); err == nil {
			finite(t, "cell", float64(v))
		}
		if v, err := m.PowerAt(lit, air); err == nil {
			finite(t, "power", float64(v))
		}
		if v, err := m.ColdVoltage(air); err == nil {
			finite(t, "voltage", float64(v))
		}
		if v, err := m.CurrentFor(n); err == nil {
			finite(t, "current", float64(v.Conductor))
		}
		c := sun.Circuit{Length: unit.Meters(length), Current: unit.Amperes(short), Source: unit.Volts(source), Wire: air}
		if _, loss, err := c.Size(share); err == nil {
			finite(t, "loss", float64(loss.Drop), loss.Share, float64(loss.Power))
		}
		if v, err := sun.DriveThreshold(unit.Watts(power), unit.Watts(light), share); err == nil {
			finite(t, "threshold", float64(v))
		}
	})
}

func FuzzParseMagnetic(f *testing.F) {
	good, err := os.ReadFile("data/WMM2025.COF")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(good))             // the model itself
	f.Add("2025.0 X 1/1/2025\n1 0") // cut short
	f.Add("")
	f.Fuzz(func(t *testing.T, text string) {
		m, err := sun.ParseMagnetic(text)
		if err != nil {
			return
		}
		from, _ := m.Valid()
		if field, err := m.Field(utc(int(from)+1, 1, 1, 0, 0, 0), s2.LatLngFromDegrees(40, -100), 0); err == nil {
			finite(t, "field", float64(field.X), float64(field.Y), float64(field.Z))
		}
	})
}

// FuzzPlace throws any numbers at what the other targets do not reach.
func FuzzPlace(f *testing.F) {
	f.Add(36.1, -79.95, int64(1782000000), 900.0, 5.0, 300.0, 10.0, 20.0, 180.0, 172)
	f.Add(0.0, 0.0, int64(0), 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0)
	f.Add(1e308, -1e308, int64(math.MinInt64), 1e308, -1e308, 1e308, -1e308, 1e308, 1e308, math.MinInt)
	f.Fuzz(func(t *testing.T, lat, lon float64, second int64, light, wind, kelvin, height, distance, bearing float64, day int) {
		skipWild(t, lat, lon, light, wind, kelvin, height, distance, bearing)
		at, when := s2.LatLngFromDegrees(lat, lon), time.Unix(second, 0)
		finite(t, "day geometry", float64(sun.Declination(day)), sun.EquationOfTime(day).Minutes(), sun.DayLength(degrees(lat), degrees(lon)).Hours())
		if back, cell, err := sun.CellInRack(unit.Kelvin(kelvin), unit.WattsPerSquareMeter(light), unit.MetersPerSecond(wind)); err == nil {
			finite(t, "rack", float64(back), float64(cell))
		}
		if v, err := sun.CellInWind(unit.Kelvin(kelvin), unit.WattsPerSquareMeter(light), unit.MetersPerSecond(wind)); err == nil {
			finite(t, "cell", float64(v))
		}
		if arc, err := sun.KeepClear(degrees(lat)); err == nil {
			finite(t, "arc", float64(arc.NoonElevation), float64(arc.NineElevation), float64(arc.From), float64(arc.To))
			if far, err := arc.Spacing(unit.Meters(height)); err == nil {
				finite(t, "spacing", float64(far))
			}
		}
		if v, err := sun.ObstacleElevation(unit.Meters(height), unit.Meters(distance)); err == nil {
			finite(t, "obstacle", float64(v))
		}
		if hours, err := sun.ClearHours(at, when, day%49); err == nil {
			panel, err := sun.Scene{Panel: sun.Panel{Tilt: degrees(height), Azimuth: degrees(bearing)}}.Hours(at, when, hours)
			for i := range panel {
				finite(t, "hours", float64(hours[i]), float64(panel[i]))
			}
			if err == nil && len(panel) != len(hours) {
				t.Fatalf("%d hours of %d", len(panel), len(hours))
			}
		}
		if shown, err := (sun.Field{X: unit.Nanoteslas(light), Y: unit.Nanoteslas(wind), Z: unit.Nanoteslas(kelvin)}).Compass(degrees(bearing)); err == nil {
			finite(t, "compass", float64(shown))
		}
		own := sun.Own{Wind: new([12]unit.MetersPerSecond{unit.MetersPerSecond(wind)})}
		if c, err := sun.ClimateAt(at, own); err == nil {
			finite(t, "climate", float64(c.Irradiation[0]), float64(c.Wind[0]), float64(c.Temperature[0]), float64(c.IrradiationFrom.Distance))
		}
	})
}
