package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/golang/geo/s1"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
)

const (
	positionSource = "Meeus, Astronomical Algorithms, 2nd ed., ch. 16 and 25"
	monthlySource  = "Liu & Jordan and Klein, with the diffuse share of Erbs: Duffie & Beckman, Solar Engineering of Thermal Processes, sec. 2.19"
	hoursSource    = "spread of clearness, Duffie & Beckman, 5th ed., eqs. 2.9.4 to 2.9.6; daily diffuse share of Erbs from memory"
	wireSource     = "NEC chapter 9, table 8, direct-current resistance"
)

func sunCalculations() []calculation {
	return []calculation{
		{"sun", "Where the sun stands", "sun --at 39.742476,-105.1786 --time 2003-10-17T12:30:30-07:00", sunOf},
		{"light", "Light on a tilted panel, month by month", "light --at 36.1,-79.95 --tilt 36deg", lightOf},
		{"tilt", "Best tilt of a panel, and what a wrong bearing costs", "tilt --at 36.1,-79.95 --months apr-oct --worst", tiltOf},
		{"runhours", "Hours a day that a pump runs straight from a panel", "runhours --at 36.1,-79.95 --tilt 36deg --load 150W --array 400W", runHoursOf},
		{"panels", "Panels and battery for a load", "panels --at 36.1,-79.95 --tilt 36deg --load 150W --battery lead-acid --panel 400W", panelsOf},
		{"string", "Voltage on the coldest morning, and currents, of panels in a row", "string --open 40V --short 10A --coldest -20C", stringOf},
		{"wire", "Wire between a source and a load", "wire --length 50ft --current 15A --volts 24V --loss 3%", wireOf},
		{"compass", "What a compass shows along a true bearing", "compass --at 35.6,-97.9 --date 2026-07-01", compassOf},
	}
}

func sunOf(f *form) func(*worksheet) error {
	at := needPlace(f, "where")
	when := needText(f, "time", "when, as 2026-06-21T12:30:00-05:00, with the offset from universal time")
	temp := ask(f, "temp", ofTemperature, "15C", "temperature of the air, which bends the light")
	site := askSite(f)
	return func(w *worksheet) error {
		t, err := time.Parse(time.RFC3339, *when)
		if err != nil {
			return usagef("--time: %q is not of the form 2026-06-21T12:30:00-05:00", *when)
		}
		pressure, err := site.at(w)
		if err != nil {
			return err
		}
		p, err := sun.PositionAt(t, at.at, sun.Air{Pressure: pressure, Temperature: temp.v()})
		if err != nil {
			return err
		}
		day, err := sun.DaylightOn(t, at.at)
		if err != nil {
			return err
		}
		w.result("elevation", "above the horizon", of(ofAngle, p.Elevation))
		w.result("azimuth", "true bearing", of(ofAngle, p.Azimuth))
		w.result("zenith", "from straight up", of(ofAngle, p.Zenith()))
		clock := func(t2 time.Time) value {
			if t2.IsZero() {
				return say("not on this day")
			}
			return say(t2.In(t.Location()).Round(time.Second).Format(time.RFC3339))
		}
		w.result("sunrise", "sunrise", clock(day.Rise))
		w.result("noon", "noon by the sun", clock(day.Noon))
		w.result("sunset", "sunset", clock(day.Set))
		w.step("declination", "declination", of(ofAngle, p.Declination), "of the sun at the instant, with aberration and nutation")
		w.step("hourAngle", "hour angle", of(ofAngle, p.HourAngle), "past the meridian")
		w.step("distance", "distance in AU", of(ofNumber, p.DistanceAU), "earth to sun")
		w.step("beyond", "light outside the air", of(ofLight, p.Beyond()), "solar constant/distance²")
		w.cite(unit.Published, positionSource)
		w.hold("1900 to 2100, to 0.01°; level horizon")
		return nil
	}
}

// siteOfSun are the flags by which a panel's place and climate are told.
type siteOfSun struct {
	at         *place
	tilt       *quantity[s1.Angle] // nil where the tilt is sought
	azimuth    *quantity[s1.Angle]
	irradiance *twelve[unit.WattHoursPerSquareMeter]
	albedo     *quantity[float64]
	horizon    *string
}

func needSun(f *form, withTilt bool) siteOfSun {
	s := siteOfSun{at: needPlace(f, "where the panel stands")}
	if withTilt {
		s.tilt = ask(f, "tilt", ofAngle, "", "tilt from level; by default the best of the year by latitude")
	}
	s.azimuth = ask(f, "azimuth", ofAngle, "", "true bearing that the panel faces; by default toward the equator")
	s.irradiance = askMonths(f, "irradiation", ofDayLight, "light on level ground a day; by default the nearest typical year's")
	s.albedo = ask(f, "albedo", ofShare, "20%", "share of light that the ground throws back").nonzero()
	s.horizon = askText(f, "horizon", "skyline, true bearing and elevation in degrees, as 90:10,180:25,270:10")
	return s
}

// read gathers the site and the panel.
func (s siteOfSun) read(w *worksheet) (sun.Site, sun.Panel, error) {
	skyline, err := parseSkyline(*s.horizon)
	if err != nil {
		return sun.Site{}, sun.Panel{}, usagef("--horizon: %w", err)
	}
	climate, err := sun.ClimateAt(s.at.at, sun.Own{Irradiation: s.irradiance.v()})
	if err != nil {
		return sun.Site{}, sun.Panel{}, err
	}
	site := climate.Site(skyline)
	for i := range site.Albedo {
		site.Albedo[i] = s.albedo.v()
	}
	panel := sun.Panel{Azimuth: s.azimuth.v()}
	if !s.azimuth.has() {
		panel.Azimuth = sun.TowardEquator(s.at.at.Lat)
		w.assume("azimuth", "azimuth", of(ofAngle, panel.Azimuth))
	}
	if s.tilt != nil {
		panel.Tilt = s.tilt.v()
		if !s.tilt.has() {
			if panel.Tilt, err = sun.LatitudeTilt(s.at.at.Lat); err != nil {
				return sun.Site{}, sun.Panel{}, err
			}
			w.assume("tilt", "tilt", of(ofAngle, panel.Tilt))
		}
	}
	w.from("light", climate.IrradiationFrom)
	w.cite(unit.Published, monthlySource)
	w.hold("within 65° of the equator, clearness 0.1 to 0.8; 5 % either way, 10 % from year to year")
	w.figures = append(w.figures, "sun")
	return site, panel, nil
}

// from tells where twelve numbers come from.
func (w *worksheet) from(what string, o sun.Origin) {
	w.assume(what+"From", what+" from", say(o.String()))
	if warning := o.Warning(); warning != "" {
		w.notef("%s", warning)
	}
}

func parseSkyline(text string) (sun.Horizon, error) {
	points, err := parseSights(text)
	if err != nil {
		return sun.Horizon{}, err
	}
	return sun.NewHorizon(points)
}

// parseSights reads the points of a skyline.
func parseSights(text string) ([]sun.HorizonPoint, error) {
	var points []sun.HorizonPoint
	for part := range strings.SplitSeq(text, ",") {
		if text == "" {
			break
		}
		bearing, elevation, ok := strings.Cut(part, ":")
		if !ok {
			return nil, fmt.Errorf("%q is not BEARING:ELEVATION", part)
		}
		b, err := ofAngle.parse(bearing, siUnits)
		if err != nil {
			return nil, err
		}
		e, err := ofAngle.parse(elevation, siUnits)
		if err != nil {
			return nil, err
		}
		points = append(points, sun.HorizonPoint{Azimuth: s1.Angle(b), Elevation: s1.Angle(e)})
	}
	return points, nil
}

// parseSeason reads months as apr-oct; empty is the whole year.
func parseSeason(text string) (sun.Season, error) {
	if text == "" {
		return sun.Season{}, nil
	}
	first, last, ok := strings.Cut(strings.ToLower(text), "-")
	if !ok {
		last = first
	}
	var months [2]time.Month
	for i, name := range []string{first, last} {
		for m := time.January; m <= time.December; m++ {
			if len(name) >= 3 && strings.HasPrefix(strings.ToLower(m.String()), name) {
				months[i] = m
			}
		}
		if months[i] == 0 {
			return sun.Season{}, fmt.Errorf("%q is no month; write it as apr-oct", name)
		}
	}
	return sun.Between(months[0], months[1]), nil
}

const seasonHelp = "months that count, as apr-oct; by default the whole year"

// hoursTable lists running time by month.
func hoursTable(w *worksheet, key, name string, hours [12]unit.Seconds) {
	t := w.table(key, name, column{"month", "month", nil}, column{"hours", "a day", ofTime.dimension})
	for i, h := range hours {
		t.add(say(time.Month(i+1).String()), of(ofTime, h))
	}
}

func meanHours(hours [12]unit.Seconds) (sum unit.Seconds) {
	for _, h := range hours {
		sum += h / 12
	}
	return sum
}

func lightOf(f *form) func(*worksheet) error {
	in := needSun(f, true)
	return func(w *worksheet) error {
		site, panel, err := in.read(w)
		if err != nil {
			return err
		}
		months, err := site.Months(panel)
		if err != nil {
			return err
		}
		t := w.table("months", "Light of the mean day", column{"month", "month", nil}, column{"level", "on level ground", ofDayLight.dimension},
			column{"panel", "on the panel", ofDayLight.dimension}, column{"clearness", "clearness", ofNumber.dimension}, column{"diffuseShare", "diffuse", ofShare.dimension},
			column{"beamRatio", "beam ratio", ofNumber.dimension})
		var year unit.WattHoursPerSquareMeter
		worst := 0
		for i, m := range months {
			t.add(say(time.Month(i+1).String()), of(ofDayLight, m.Level), of(ofDayLight, m.Tilted), of(ofNumber, m.Clearness), of(ofShare, m.DiffuseShare), of(ofNumber, m.BeamRatio))
			year += m.Tilted / 12
			if m.Tilted < months[worst].Tilted {
				worst = i
			}
		}
		w.result("mean", "mean of the months, a day", of(ofDayLight, year))
		w.result("worstMonth", "darkest month", say(time.Month(worst+1).String()))
		w.result("worst", "light of it, a day", of(ofDayLight, months[worst].Tilted))
		w.step("beyond", "outside the air", of(ofDayLight, months[worst].Extraterrestrial), "H0 of the darkest month's mean day")
		w.step("clearness", "clearness", of(ofNumber, months[worst].Clearness), "K = H/H0")
		w.step("diffuseShare", "diffuse share", of(ofShare, months[worst].DiffuseShare), "polynomial of Erbs in K")
		w.step("beamRatio", "beam ratio", of(ofNumber, months[worst].BeamRatio), "beam on the tilt over beam on level ground, Klein")
		w.step("panel", "on the panel", of(ofDayLight, months[worst].Tilted), "H [(1 − Hd/H) Rb + Hd/H (1 + cos β)/2 + ρ (1 − cos β)/2]")
		return nil
	}
}

func tiltOf(f *form) func(*worksheet) error {
	in := needSun(f, false)
	months := askText(f, "months", seasonHelp)
	worst := askYes(f, "worst", "serve the darkest of the months, rather than their mean")
	above := ask(f, "hours-above", ofLight, "", "count the hours above this light, rather than the light: for a pump without battery").nonzero()
	off := ask(f, "off", ofAngle, "10deg", "error of bearing to judge")
	return func(w *worksheet) error {
		season, err := parseSeason(*months)
		if err != nil {
			return usagef("--months: %w", err)
		}
		site, panel, err := in.read(w)
		if err != nil {
			return err
		}
		goal := sun.Goal{Season: season, Worst: *worst, HoursAbove: above.v()}
		if panel.Tilt, err = site.BestTilt(panel.Azimuth, goal); err != nil {
			return err
		}
		byLatitude, err := sun.LatitudeTilt(in.at.at.Lat)
		if err != nil {
			return err
		}
		loss, err := site.AzimuthLoss(panel, off.v(), goal)
		if err != nil {
			return err
		}
		w.result("tilt", "best tilt", of(ofAngle, panel.Tilt))
		w.result("byLatitude", "most of the year by latitude", of(ofAngle, byLatitude))
		w.result("azimuthLoss", "lost by the error of bearing", of(ofShare, loss))
		w.step("tilt", "best tilt", of(ofAngle, panel.Tilt), "searched by the degree, not below 10°, at which rain still cleans the glass")
		w.step("byLatitude", "by latitude", of(ofAngle, byLatitude), "polynomial of the latitude, either hemisphere")
		w.step("azimuthLoss", "lost", of(ofShare, loss), "mean of both sides")
		w.cite(unit.Published, "by latitude: Jacobson & Jadhav, Solar Energy 169, 2018; least tilt: NREL report 95004")
		return nil
	}
}

func runHoursOf(f *form) func(*worksheet) error {
	in := needSun(f, true)
	load := ask(f, "load", ofPower, "", "electrical load, running").nonzero()
	array := ask(f, "array", ofPower, "", "rated power of the panels").nonzero()
	share := ask(f, "share", ofShare, "75%", "share of rated power that reaches the pump").nonzero()
	threshold := ask(f, "threshold", ofLight, "", "light from which the pump runs, instead of --load and --array").nonzero()
	return func(w *worksheet) error {
		if threshold.has() == (load.has() && array.has()) {
			return usagef("give --load and --array, or --threshold")
		}
		site, panel, err := in.read(w)
		if err != nil {
			return err
		}
		light := threshold.v()
		if !threshold.has() {
			if light, err = sun.DriveThreshold(load.v(), array.v(), share.v()); err != nil {
				return err
			}
			w.step("threshold", "light at which it runs", of(ofLight, light), "1000 W/m² × load/(array × share)")
		}
		hours, err := site.RunHours(panel, light)
		if err != nil {
			return err
		}
		w.result("threshold", "runs from", of(ofLight, light))
		w.result("mean", "mean of the months, a day", of(ofTime, meanHours(hours)))
		hoursTable(w, "months", "Running time by month", hours)
		w.step("mean", "mean of the months", of(ofTime, meanHours(hours)), "20 days of each month by the spread of clearness, each cut into hours; never the average day")
		w.notef("A passing cloud stops the pump: count these hours as the most it can run.")
		w.cite(unit.FromMemory, hoursSource)
		w.caution(sun.Cautions()...)
		return nil
	}
}

func panelsOf(f *form) func(*worksheet) error {
	in := needSun(f, true)
	load := need(f, "load", ofPower, "electrical load, running")
	hours := ask(f, "hours", ofTime, "", "running time wanted a day; by default 6 h without a battery, else round the clock").nonzero()
	battery := askChoice(f, "battery", "none", "wired straight to the panels, or through a battery",
		option[*sun.Battery]{"none", nil}, option[*sun.Battery]{"lead-acid", new(sun.LeadAcid())}, option[*sun.Battery]{"lithium", new(sun.LithiumIron())})
	months := askText(f, "months", seasonHelp)
	days := ask(f, "days", ofNumber, "3", "days without sun that the battery bridges").nonzero()
	coldest := ask(f, "coldest", ofTemperature, "25C", "coldest the battery becomes")
	bank := ask(f, "bank", ofVolts, "24V", "voltage of the battery").nonzero()
	share := ask(f, "share", ofShare, "", "share that reaches the load; by default 75% without a battery, 60% with one").nonzero()
	each := ask(f, "panel", ofPower, "", "rated power of one panel, to count them").nonzero()
	return func(w *worksheet) error {
		season, err := parseSeason(*months)
		if err != nil {
			return usagef("--months: %w", err)
		}
		site, panel, err := in.read(w)
		if err != nil {
			return err
		}
		w.caution(sun.Cautions()...)
		var array unit.Watts
		if kind := battery.v(); kind == nil {
			array, err = w.direct(site, panel, sun.DirectNeed{Load: load.v(), Hours: hours.v(), Season: season, Share: share.v()})
		} else {
			array, err = w.stored(site, panel, sun.StorageNeed{Load: load.v(), Hours: hours.v(), Season: season, Share: share.v(),
				Days: days.v(), Battery: *kind, Coldest: coldest.v(), Bank: bank.v()})
		}
		if err != nil || !each.has() {
			return err
		}
		n, err := sun.PanelCount(array, each.v())
		if err != nil {
			return err
		}
		w.result("panels", "panels", count(n))
		return nil
	}
}

// direct sizes panels for a pump without a battery.
func (w *worksheet) direct(site sun.Site, panel sun.Panel, need sun.DirectNeed) (unit.Watts, error) {
	w.assumeDrive(&need.Hours, unit.Hours(6), &need.Share, "share of rated power that reaches a pump without battery")
	size, err := site.SizeDirect(panel, need)
	if err != nil {
		return 0, err
	}
	w.result("array", "rated power of panels", of(ofPower, size.Array))
	w.result("worstMonth", "set by", say(size.Worst.String()))
	w.result("threshold", "runs from", of(ofLight, size.Threshold))
	hoursTable(w, "months", "Running time by month", size.Hours)
	w.step("threshold", "light at which it runs", of(ofLight, size.Threshold), "brightest that still gives the hours in the darkest month")
	w.step("array", "panels", of(ofPower, size.Array), "1000 W/m² × load/(threshold × share)")
	w.cite(unit.FromMemory, hoursSource)
	return size.Array, nil
}

// assumeDrive fills in hours and share where they are not given.
func (w *worksheet) assumeDrive(hours *unit.Seconds, usual unit.Seconds, share *float64, setting string) {
	if *hours == 0 {
		*hours = usual
		w.assume("hours", "hours", of(ofTime, usual))
	}
	if *share == 0 {
		*share = figureOf(sun.Settings(), setting)
		w.assume("share", "share", of(ofShare, *share))
	}
}

// stored sizes panels and battery.
func (w *worksheet) stored(site sun.Site, panel sun.Panel, need sun.StorageNeed) (unit.Watts, error) {
	w.assumeDrive(&need.Hours, unit.Hours(24), &need.Share, "share of the panel's light that reaches a pump through a battery")
	size, err := site.SizeStorage(panel, need)
	if err != nil {
		return 0, err
	}
	w.result("array", "rated power of panels", of(ofPower, size.Array))
	w.result("worstMonth", "set by", say(size.Worst.String()))
	w.result("battery", "battery", of(ofEnergy, size.Battery))
	w.result("charge", "at its voltage", of(ofCharge, size.Charge))
	w.step("sunHours", "sun hours of that month", of(ofDayLight, unit.WattHoursPerSquareMeter(1000*size.SunHours)), "light on the panel, a day")
	w.step("array", "panels", of(ofPower, size.Array), "load a day/(sun hours × share)")
	w.step("battery", "battery", of(ofEnergy, size.Battery), "load a day × days/(depth × efficiency × share left in the cold)")
	w.step("charge", "charge", of(ofCharge, size.Charge), "battery/voltage")
	for _, n := range size.Notes {
		w.notef("%s", n)
	}
	w.cite(unit.CommonPractice, "days, depth of discharge, efficiency and shares")
	return size.Array, nil
}

func stringOf(f *form) func(*worksheet) error {
	open := need(f, "open", ofVolts, "open-circuit voltage of one panel, from its data sheet")
	short := need(f, "short", ofCurrent, "its short-circuit current")
	coldest := need(f, "coldest", ofTemperature, "coldest daylight it will see")
	series := askCount(f, "series", "panels in a row")
	parallel := askCount(f, "parallel", "rows side by side")
	perK := ask(f, "per-kelvin", ofShare, "-0.28%", "change of open-circuit voltage for each kelvin").nonzero()
	return func(w *worksheet) error {
		m := sun.Module{Power: 1, Open: open.v(), Short: short.v(), OpenPerK: perK.v(), SeriesLength: *series}
		cold, err := m.ColdVoltage(coldest.v())
		if err != nil {
			return err
		}
		current, err := m.CurrentFor(*parallel)
		if err != nil {
			return err
		}
		w.result("cold", "voltage when coldest", of(ofVolts, cold))
		w.result("circuit", "greatest lasting current", of(ofCurrent, current.Circuit))
		w.result("conductor", "wire and fuse, at least", of(ofCurrent, current.Conductor))
		w.step("cold", "voltage when coldest", of(ofVolts, cold), "V n [1 + β (T − 25 °C)]")
		w.step("circuit", "greatest lasting current", of(ofCurrent, current.Circuit), "1.25 × short circuit × rows")
		w.step("conductor", "wire and fuse", of(ofCurrent, current.Conductor), "1.25 times that again, before corrections for heat and bundling")
		w.notef("%s", current.Note)
		w.cite(unit.Published, "NEC 690.8(A)(1), 690.8(B)(1) and 690.9(B)(1), as read in a trade journal")
		w.cite(unit.CommonPractice, "change with temperature; the data sheet's is better")
		w.hold("up to 100 panels in a row, −80 to 120 °C of cell")
		w.figures = append(w.figures, "sun")
		w.caution(sun.Cautions()...)
		return nil
	}
}

func wireOf(f *form) func(*worksheet) error {
	length := need(f, "length", ofLength, "one way")
	current := need(f, "current", ofCurrent, "running current")
	volts := need(f, "volts", ofVolts, "at the source")
	loss := ask(f, "loss", ofShare, "3%", "share of the voltage that may be lost").nonzero()
	gauge := askText(f, "gauge", "judge this wire, as 10 or \"10 AWG\", instead of choosing one")
	temp := ask(f, "temp", ofTemperature, "75C", "temperature of the copper; the default is the safe end")
	return func(w *worksheet) error {
		c := sun.Circuit{Length: length.v(), Current: current.v(), Source: volts.v(), Wire: temp.v()}
		var g sun.Gauge
		var took sun.WireLoss
		var err error
		if *gauge != "" {
			if g, err = gaugeOf(*gauge); err != nil {
				return err
			}
			took, err = c.Loss(g)
		} else {
			g, took, err = c.Size(loss.v())
		}
		if err != nil {
			return err
		}
		w.result("gauge", "wire", say(g.Name))
		w.result("drop", "voltage lost", of(ofVolts, took.Drop))
		w.result("lossShare", "of the source", of(ofShare, took.Share))
		w.result("heat", "turned to heat", of(ofPower, took.Power))
		w.step("resistance", "ohms a km at 75 °C", of(ofNumber, 1000*g.OhmsPerMeter), "one conductor")
		w.step("drop", "voltage lost", of(ofVolts, took.Drop), "2 L I R(T), R(T) = R75 [1 + 0.00323 (T − 75)]")
		w.notef("Sized for voltage loss only.")
		w.cite(unit.Published, wireSource)
		w.hold("up to 10 km, 1,000 A and 1,000 V; direct current, or alternating at unity power factor at these sizes")
		w.figures = append(w.figures, "sun")
		w.caution(sun.Cautions()...)
		return nil
	}
}

func gaugeOf(name string) (sun.Gauge, error) {
	var names []string
	for _, g := range sun.Gauges() {
		if fold(g.Name) == fold(name) || fold(g.Name) == fold(name+" AWG") {
			return g, nil
		}
		names = append(names, g.Name)
	}
	return sun.Gauge{}, usagef("--gauge: %q is none of %s", name, strings.Join(names, ", "))
}

func compassOf(f *form) func(*worksheet) error {
	at := needPlace(f, "where")
	date := needText(f, "date", "day of the visit, as 2026-07-01")
	bearing := ask(f, "bearing", ofAngle, "", "true bearing wanted; by default toward the equator, as a panel faces")
	height := ask(f, "altitude", ofLength, "0ft", "height above sea level")
	return func(w *worksheet) error {
		day, err := time.Parse(time.DateOnly, *date)
		if err != nil {
			return usagef("--date: %q is not of the form 2026-07-01", *date)
		}
		model := sun.WMM2025()
		field, err := model.Field(day, at.at, height.v())
		if err != nil {
			return err
		}
		true0 := bearing.v()
		if !bearing.has() {
			true0 = sun.TowardEquator(at.at.Lat)
			w.assume("bearing", "bearing", of(ofAngle, true0))
		}
		shown, err := field.Compass(true0)
		if err != nil {
			return err
		}
		from, to := model.Valid()
		w.result("compass", "compass shows", of(ofAngle, shown))
		w.result("declination", "declination, east positive", of(ofAngle, field.Declination()))
		w.result("uncertainty", "one standard deviation", of(ofAngle, field.Uncertainty()))
		w.step("x", "field to true north", of(ofField, field.X), "spherical harmonics to degree 12, with yearly change")
		w.step("y", "field to the east", of(ofField, field.Y), "the same")
		w.step("z", "field down", of(ofField, field.Z), "the same")
		w.step("declination", "declination", of(ofAngle, field.Declination()), "atan2(Y, X)")
		w.step("compass", "compass shows", of(ofAngle, shown), "true bearing − declination")
		w.cite(unit.Published, "World Magnetic Model "+model.Name()+", NOAA NCEI and BGS")
		w.hold("years " + strconv.FormatFloat(from, 'f', 1, 64) + " to " + strconv.FormatFloat(to, 'f', 1, 64))
		w.notef("Iron nearby, such as a steel mast, turns a compass far more than the model errs: read it some steps away.")
		return nil
	}
}
