package main

import (
	"time"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
	"pondwright/calc/wind"
)

func windCalculations() []calculation {
	return []calculation{
		{"windhours", "Hours a day that the wind drives a pump", "windhours --at 35.6,-97.9 --cut-in 7mph", windHoursOf},
		{"sources", "Sun, battery, wind and mains side by side", "sources --at 35.6,-97.9 --tilt 20deg --load 200W --hours 6h --months apr-oct --cable 330ft", sourcesOf},
	}
}

// windFlags tell a place's wind and its mill.
type windFlags struct {
	wind            *twelve[unit.MetersPerSecond]
	cutIn, cutOut   *quantity[unit.MetersPerSecond]
	hub, anemometer *quantity[unit.Meters]
	shelter         *quantity[float64]
}

func askWind(f *form) windFlags {
	return windFlags{
		wind:       askMonths(f, "wind", ofSpeed, "mean wind; by default the nearest typical year's"),
		cutIn:      ask(f, "cut-in", ofSpeed, "3m/s", "wind at which the mill gives air against the diffuser's depth").nonzero(),
		cutOut:     ask(f, "cut-out", ofSpeed, "", "wind at which it turns out of the wind; by default never").nonzero(),
		hub:        ask(f, "hub", ofLength, "6m", "height of its wheel").nonzero(),
		anemometer: ask(f, "anemometer", ofLength, "10m", "height at which the wind was measured").nonzero(),
		shelter:    ask(f, "shelter", ofShare, "100%", "share of the open wind that reaches the mill").nonzero(),
	}
}

func (in windFlags) mill() wind.Mill {
	return wind.Mill{CutIn: in.cutIn.v(), CutOut: in.cutOut.v(), Hub: in.hub.v()}
}

// site fills in the wind of a climate.
func (in windFlags) site(w *worksheet, c sun.Climate) wind.Site {
	w.from("wind", c.WindFrom)
	w.cite(unit.CommonPractice, "Rayleigh distribution of the wind; rise with height by the 1/7 power")
	w.figures = append(w.figures, "wind")
	return wind.Site{Wind: c.Wind, Anemometer: in.anemometer.v(), Shelter: in.shelter.v()}
}

func windHoursOf(f *form) func(*worksheet) error {
	at := needPlace(f, "where the mill stands")
	in := askWind(f)
	return func(w *worksheet) error {
		climate, err := sun.ClimateAt(at.at, sun.Own{Wind: in.wind.v()})
		if err != nil {
			return err
		}
		site, mill := in.site(w, climate), in.mill()
		hours, err := site.RunHours(mill)
		if err != nil {
			return err
		}
		atHub, err := site.AtHub(mill.Hub)
		if err != nil {
			return err
		}
		w.result("mean", "mean of the months, a day", of(ofTime, meanHours(hours)))
		t := w.table("months", "Running time by month", column{"month", "month", nil}, column{"wind", "wind at the wheel", ofSpeed.dimension}, column{"hours", "a day", ofTime.dimension})
		for i, h := range hours {
			t.add(say(time.Month(i+1).String()), of(ofSpeed, atHub[i]), of(ofTime, h))
		}
		exceeds, err := wind.Exceeds(atHub[0], mill.CutIn)
		if err != nil {
			return err
		}
		w.step("atHub", "January's wind at the wheel", of(ofSpeed, atHub[0]), "v (h/h0)^(1/7) × shelter")
		w.step("exceeds", "share above cut-in", of(ofShare, exceeds), "exp(−π/4 (v/v̄)²)")
		w.step("hours", "hours of January, a day", of(ofTime, hours[0]), "24 h × (share above cut-in − share above cut-out)")
		w.notef("Calm spells last for days in summer, when a pond needs air most: the mean hides them. How much air a mill gives is its maker's curve.")
		w.hold("mean wind up to 40 m/s, heights of 1 to 200 m")
		w.caution("A mast that moves in the wind has to be designed for it: see pondwright calc mast, and have it confirmed by a licensed engineer where the building authority asks for it.")
		return nil
	}
}

func sourcesOf(f *form) func(*worksheet) error {
	in := needSun(f, true)
	load := need(f, "load", ofPower, "electrical load, running; the mill does not need it")
	hours := ask(f, "hours", ofTime, "24h", "running time wanted a day").nonzero()
	months := askText(f, "months", seasonHelp)
	cable := need(f, "cable", ofLength, "length of cable to the mains, one way")
	volts := ask(f, "volts", ofVolts, "120V", "of the mains, single phase").nonzero()
	days := ask(f, "days", ofNumber, "3", "days without sun that the battery bridges").nonzero()
	turning := askWind(f)
	return func(w *worksheet) error {
		season, err := parseSeason(*months)
		if err != nil {
			return usagef("--months: %w", err)
		}
		site, panel, err := in.read(w)
		if err != nil {
			return err
		}
		climate, err := sun.ClimateAt(in.at.at, sun.Own{Irradiation: in.irradiance.v(), Wind: turning.wind.v()})
		if err != nil {
			return err
		}
		list, err := wind.Compare(wind.Case{
			Load: load.v(), Hours: hours.v(), Season: season, Sun: site, Panel: panel, Storage: sun.StorageNeed{Days: days.v()},
			Wind: turning.site(w, climate), Mill: turning.mill(), Grid: wind.Grid{Length: cable.v(), Volts: volts.v()},
		})
		if err != nil {
			return err
		}
		t := w.table("sources", "What each takes", column{"source", "source", nil}, column{"meets", "gives the hours", nil}, column{"worstMonth", "darkest or calmest", nil},
			column{"worst", "hours then", ofTime.dimension}, column{"array", "panels", ofPower.dimension}, column{"battery", "battery", ofEnergy.dimension}, column{"wire", "wire", nil},
			column{"reason", "", nil})
		for _, s := range list {
			meets := "yes"
			if !s.Meets {
				meets = "no"
			}
			t.add(say(s.Kind.String()), say(meets), say(s.Worst.String()), of(ofTime, s.Hours[s.Worst-1]), of(ofPower, s.Array), of(ofEnergy, s.Battery), say(s.Cable.Gauge.Name), say(s.Reason))
			for _, n := range s.Notes {
				w.notef("%s: %s", s.Kind, n)
			}
		}
		byMonth := w.table("months", "Running time a day", column{"month", "month", nil}, column{"sunDirect", list[0].Kind.String(), ofTime.dimension},
			column{"sunBattery", list[1].Kind.String(), ofTime.dimension}, column{"windMill", list[2].Kind.String(), ofTime.dimension}, column{"mains", list[3].Kind.String(), ofTime.dimension})
		for i := range 12 {
			row := []value{say(time.Month(i + 1).String())}
			for _, s := range list {
				row = append(row, of(ofTime, s.Hours[i]))
			}
			byMonth.add(row...)
		}
		wired := list[wind.Mains].Cable
		if wired.Current > 0 {
			w.step("current", "current of the motor", of(ofCurrent, wired.Current), "load/(volts × power factor)")
			w.step("drop", "voltage lost in the cable", of(ofVolts, wired.Loss.Drop), "2 L I R")
			w.step("trench", "trench", of(ofLength, wired.Trench), "its length")
			w.step("soil", "soil to move", of(ofSolid, wired.Soil), "length × cover × width")
		}
		w.step("array", "panels without battery", of(ofPower, list[wind.SunDirect].Array), "smallest that gives the hours in every month asked for")
		w.step("stored", "panels with battery", of(ofPower, list[wind.SunBattery].Array), "load a day/(sun hours of the darkest month × share)")
		w.notef("No prices are weighed.")
		w.cite(unit.FromMemory, hoursSource)
		w.cite(unit.Published, wireSource)
		w.hold("load 1 W to 100 kW; cable up to 10 km")
		w.caution(sun.Cautions()...)
		w.caution("Have buried lines marked before digging a trench.")
		return nil
	}
}
