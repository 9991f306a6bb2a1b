package main

import (
	"time"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
)

func climateCalculations() []calculation {
	return []calculation{
		{"climate", "Sun, wind and temperature of a site by month, and from where", "climate --at 35.6,-97.9", climateOf},
		{"hourly", "Light on a tilted panel, hour by hour", "hourly --at 36.1,-79.95 --from 2026-06-21T00:00:00-05:00 --tilt 36deg", hourlyOf},
		{"shade", "Sky to keep clear of trees, and how far they must stand", "shade --at 40,-90 --height 30ft --distance 80ft", shadeOf},
		{"cell", "How warm a panel runs, and what that costs", "cell --light 900W/m2 --temp 20C --wind 5m/s --power 300W", panelHeatOf},
	}
}

func climateOf(f *form) func(*worksheet) error {
	at := needPlace(f, "where")
	irradiation := askMonths(f, "irradiation", ofDayLight, "light on level ground a day")
	wind := askMonths(f, "wind", ofSpeed, "mean wind at 10 m")
	temp := askMonths(f, "air-temp", ofTemperature, "mean temperature of the air")
	return func(w *worksheet) error {
		c, err := sun.ClimateAt(at.at, sun.Own{Irradiation: irradiation.v(), Wind: wind.v(), Temperature: temp.v()})
		if err != nil {
			return err
		}
		w.from("light", c.IrradiationFrom)
		w.from("wind", c.WindFrom)
		w.from("temperature", c.TemperatureFrom)
		station, distance := "none: all numbers are your own", unit.Meters(0)
		for _, o := range []sun.Origin{c.IrradiationFrom, c.WindFrom, c.TemperatureFrom} {
			if !o.Own {
				station, distance = o.Station, o.Distance
				w.cite(unit.Published, "typical year of "+o.Station+" ("+o.Source+")")
			}
		}
		w.result("station", "station", say(station))
		if distance > 0 {
			w.result("distance", "away by", of(ofDistance, distance))
		}
		t := w.table("months", "Mean months", column{"month", "month", nil}, column{"irradiation", "light on level ground, a day", ofDayLight.dimension},
			column{"wind", "wind", ofSpeed.dimension}, column{"temperature", "air", ofTemperature.dimension})
		var year unit.WattHoursPerSquareMeter
		for i := range 12 {
			t.add(say(time.Month(i+1).String()), of(ofDayLight, c.Irradiation[i]), of(ofSpeed, c.Wind[i]), of(ofTemperature, c.Temperature[i]))
			year += c.Irradiation[i] / 12
		}
		w.result("meanIrradiation", "mean of the months, a day", of(ofDayLight, year))
		w.step("distance", "distance of the station", of(ofDistance, distance), "great circle; nearest on the same side of the equator")
		w.step("meanIrradiation", "mean of the months", of(ofDayLight, year), "Σ months/12")
		w.notef("A typical year is twelve chosen months, not the long-term mean. A pond among trees or below banks has less wind than a station.")
		if len(w.sources) == 0 {
			w.cite(unit.Published, "your own twelve numbers")
		}
		w.cite(unit.CommonPractice, "150 km as the distance beyond which a station is far")
		w.hold("a station within 150 km in like country")
		w.figures = append(w.figures, "sun")
		return nil
	}
}

func hourlyOf(f *form) func(*worksheet) error {
	at := needPlace(f, "where the panel stands")
	from := needText(f, "from", "start of the first hour, as 2026-06-21T00:00:00-05:00, with the offset from universal time")
	hours := askWhole(f, "hours", 24, "how many hours of clear sky, where there is no --log")
	log := askText(f, "log", "CSV file of logged hours in a row: column light, on level ground, as in light_w/m2; without it the sky is clear")
	tilt := ask(f, "tilt", ofAngle, "", "tilt from level; by default the best of the year by latitude")
	azimuth := ask(f, "azimuth", ofAngle, "", "true bearing that the panel faces; by default toward the equator")
	albedo := ask(f, "albedo", ofShare, "20%", "share of light that the ground throws back").nonzero()
	horizon := askText(f, "horizon", "skyline, true bearing and elevation in degrees, as 90:10,180:25,270:10")
	sky := askChoice(f, "sky", "perez", "how the light of the sky is spread", option[sun.SkyModel]{"perez", sun.Perez},
		option[sun.SkyModel]{"hay-davies", sun.HayDavies}, option[sun.SkyModel]{"even", sun.Isotropic})
	return func(w *worksheet) error {
		start, err := time.Parse(time.RFC3339, *from)
		if err != nil {
			return usagef("--from: %q is not of the form 2026-06-21T00:00:00-05:00", *from)
		}
		skyline, err := parseSkyline(*horizon)
		if err != nil {
			return usagef("--horizon: %w", err)
		}
		panel := sun.Panel{Tilt: tilt.v(), Azimuth: azimuth.v()}
		if !azimuth.has() {
			panel.Azimuth = sun.TowardEquator(at.at.Lat)
			w.assume("azimuth", "azimuth", of(ofAngle, panel.Azimuth))
		}
		if !tilt.has() {
			if panel.Tilt, err = sun.LatitudeTilt(at.at.Lat); err != nil {
				return err
			}
			w.assume("tilt", "tilt", of(ofAngle, panel.Tilt))
		}
		var level []unit.WattsPerSquareMeter
		if *log != "" {
			level, err = readLight(*log, *f.units)
		} else if err = unit.CheckRange("hours", float64(*hours), 1, 8784, "a year"); err == nil {
			level, err = sun.ClearHours(at.at, start, *hours)
		}
		if err != nil {
			return err
		}
		onPanel, err := sun.Scene{Panel: panel, Horizon: skyline, Albedo: albedo.v(), Model: sky.v()}.Hours(at.at, start, level)
		if err != nil {
			return err
		}
		w.hourly(start, level, onPanel)
		if *log == "" {
			w.step("clear", "light of a clear sky", say("in the table"), "1098 cos z exp(−0.059/cos z), sun at the middle of the hour")
			w.cite(unit.Published, "Haurwitz, Journal of Meteorology 2, 1945 (clear sky)")
		}
		w.step("split", "beam and diffuse", say("by hour"), "polynomial of Erbs in the hour's clearness")
		w.step("skyView", "sky left by the skyline", of(ofShare, skyline.SkyView()), "mean of cos² of the skyline's elevation")
		w.cite(unit.Published, positionSource)
		w.cite(unit.Published, "hourly diffuse share of Erbs, Klein & Duffie, Solar Energy 28, 1982; sky of Perez et al., Solar Energy 44, 1990")
		w.hold("1900 to 2100, either hemisphere; light on level ground up to 2,000 W/m²")
		w.figures = append(w.figures, "sun")
		return nil
	}
}

// hourly puts hours of light on the sheet, one by one where they are few.
func (w *worksheet) hourly(start time.Time, level, onPanel []unit.WattsPerSquareMeter) {
	var sumLevel, sumPanel unit.WattHoursPerSquareMeter
	best := 0
	for i := range onPanel {
		sumLevel += unit.WattHoursPerSquareMeter(level[i])
		sumPanel += unit.WattHoursPerSquareMeter(onPanel[i])
		if onPanel[i] > onPanel[best] {
			best = i
		}
	}
	at := func(i int) string { return start.Add(time.Duration(i) * time.Hour).Format(time.RFC3339) }
	w.result("hours", "hours", count(len(onPanel)))
	w.result("level", "on level ground, all hours", of(ofDayLight, sumLevel))
	w.result("panel", "on the panel, all hours", of(ofDayLight, sumPanel))
	if len(onPanel) > 0 {
		w.result("best", "brightest hour", of(ofLight, onPanel[best]))
		w.result("bestAt", "it starts at", say(at(best)))
	}
	if len(onPanel) <= 72 {
		t := w.table("byHour", "Hour by hour", column{"from", "from", nil}, column{"level", "on level ground", ofLight.dimension}, column{"panel", "on the panel", ofLight.dimension})
		for i := range onPanel {
			t.add(say(at(i)), of(ofLight, level[i]), of(ofLight, onPanel[i]))
		}
	}
	w.step("panel", "on the panel", of(ofDayLight, sumPanel), "Σ beam × cos θ/cos z where the skyline lets it + sky + level × albedo (1 − cos β)/2")
}

func readLight(name string, units unitSystem) ([]unit.WattsPerSquareMeter, error) {
	file, err := readSheetFile(name, units, "*light")
	if err != nil {
		return nil, err
	}
	var out []unit.WattsPerSquareMeter
	for i := range file.rows {
		v, err := mustCell(file, i, "light", ofLight)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, nil
}

func shadeOf(f *form) func(*worksheet) error {
	at := needPlace(f, "where the panel stands")
	height := ask(f, "height", ofLength, "", "height of a tree or bank above the panel").nonzero()
	distance := ask(f, "distance", ofLength, "", "how far it stands").nonzero()
	return func(w *worksheet) error {
		arc, err := sun.KeepClear(at.at.Lat)
		if err != nil {
			return err
		}
		w.result("noon", "sun at noon of the shortest day", of(ofAngle, arc.NoonElevation))
		w.result("nine", "at nine and three", of(ofAngle, arc.NineElevation))
		w.result("from", "keep clear from true bearing", of(ofAngle, arc.From))
		w.result("to", "to", of(ofAngle, arc.To))
		w.step("noon", "sun at noon", of(ofAngle, arc.NoonElevation), "90° − latitude − 23.45°")
		w.step("nine", "at nine by the sundial", of(ofAngle, arc.NineElevation), "asin(sin φ sin δ + cos φ cos δ cos 45°)")
		w.notef("Part of a string in shade takes the whole string down: count a shaded hour as lost.")
		w.cite(unit.Published, positionSource)
		w.hold("up to 52° from the equator, where the sun still stands high enough at nine")
		if !height.has() {
			return nil
		}
		need, err := arc.Spacing(height.v())
		if err != nil {
			return err
		}
		w.result("spacing", "it must stand away by", of(ofLength, need))
		w.step("spacing", "distance", of(ofLength, need), "height/tan(elevation at nine)")
		if !distance.has() {
			return nil
		}
		up, err := sun.ObstacleElevation(height.v(), distance.v())
		if err != nil {
			return err
		}
		w.result("obstacle", "it stands up to", of(ofAngle, up))
		w.result("clear", "leaves the winter arc clear", say(map[bool]string{true: "yes", false: "no"}[up <= arc.NineElevation]))
		w.step("obstacle", "it stands up to", of(ofAngle, up), "atan(height/distance)")
		return nil
	}
}

func panelHeatOf(f *form) func(*worksheet) error {
	light := need(f, "light", ofLight, "light on the panel")
	temp := need(f, "temp", ofTemperature, "temperature of the air")
	wind := ask(f, "wind", ofSpeed, "1m/s", "wind at the panel")
	nominal := ask(f, "noct", ofTemperature, "45C", "nominal cell temperature of the data sheet")
	power := ask(f, "power", ofPower, "", "rated power of the panel").nonzero()
	perK := ask(f, "per-kelvin", ofShare, "-0.37%", "change of power for each kelvin").nonzero()
	return func(w *worksheet) error {
		m := sun.Module{Power: power.v(), NOCT: nominal.v(), PowerPerK: perK.v()}
		if !power.has() {
			m.Power = 1
		}
		still, err := m.CellTemperature(temp.v(), light.v())
		if err != nil {
			return err
		}
		windy, err := sun.CellInWind(temp.v(), light.v(), wind.v())
		if err != nil {
			return err
		}
		back, rack, err := sun.CellInRack(temp.v(), light.v(), wind.v())
		if err != nil {
			return err
		}
		w.result("nominal", "cells, by the data sheet", of(ofTemperature, still))
		w.result("inWind", "panel in this wind", of(ofTemperature, windy))
		w.result("back", "its back, in an open rack", of(ofTemperature, back))
		w.result("rack", "cells, in an open rack", of(ofTemperature, rack))
		w.step("nominal", "cells, by the data sheet", of(ofTemperature, still), "Ta + (NOCT − 20 °C)/800 G, in next to no wind: the safe end")
		w.step("inWind", "panel in this wind", of(ofTemperature, windy), "Ta + G/(25 + 6.84 v)")
		w.step("rack", "cells, in an open rack", of(ofTemperature, rack), "Ta + G exp(−3.47 − 0.0594 v) + 3 K × G/1000")
		w.cite(unit.Published, "Faiman, Progress in Photovoltaics 16, 2008; King, Boyson & Kratochvil, SAND2004-3535")
		w.cite(unit.CommonPractice, "nominal cell temperature and change of power, where the data sheet's are not given")
		w.hold("glass panels with air behind them; the weather of this earth")
		w.figures = append(w.figures, "sun")
		if !power.has() {
			return nil
		}
		out, err := m.PowerAt(light.v(), still)
		if err != nil {
			return err
		}
		w.result("power", "power, before dirt and wire", of(ofPower, out))
		w.step("power", "power", of(ofPower, out), "P G/1000 [1 + γ (Tc − 25 °C)], at the data sheet's cell temperature")
		w.caution(sun.Cautions()...)
		return nil
	}
}
