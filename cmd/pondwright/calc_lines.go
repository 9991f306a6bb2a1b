package main

import (
	"fmt"
	"time"

	"pondwright/calc/sound"
	"pondwright/calc/unit"
)

func lineCalculations() []calculation {
	return []calculation{
		{"soundspeed", "Speed of sound in a pond's water, and what a wrong setting costs", "soundspeed --profile profile.csv", soundSpeedOf},
		{"level", "Water level at a moment, between staff readings", "level --staff staff.csv --time 2026-06-01T08:15:00Z --depth 3.1m --full 1.5m", levelOf},
		{"latency", "How far positions lag behind soundings", "latency --shift 3m --out 1.5m/s --back 1.5m/s --slope 0.333", latencyOf},
		{"crossing", "How well check lines agree with main lines", "crossing --crossings crossings.csv --order special", crossingOf},
		{"beam", "Bed that a sounder's beam covers", "beam --depth 3m --beam 20deg --slope 0.333", beamOf},
		{"order", "Limits of uncertainty by IHO S-44, as a yardstick", "order --depth 3m --uncertainty 0.2m", orderOf},
	}
}

func soundSpeedOf(f *form) func(*worksheet) error {
	temp := ask(f, "temp", ofTemperature, "", "temperature of the water, instead of --profile")
	profile := askText(f, "profile", profileHelp)
	set := ask(f, "set-speed", ofSoundSpeed, "1500m/s", "sound speed set in the sounder").nonzero()
	return func(w *worksheet) error {
		if temp.has() == (*profile != "") {
			return usagef("give --temp or --profile")
		}
		if err := unit.CheckRange("sound speed set (m/s)", float64(set.v()), 1300, 1700, "sounders"); err != nil {
			return err
		}
		c, err := sound.Speed(temp.v())
		formula := "polynomial of fifth order in t"
		if *profile != "" {
			c, err = speedOf(*profile, *f.units)
			formula = "H/Σ(h/c), harmonic mean of layers between the readings"
		}
		if err != nil {
			return err
		}
		w.result("speed", "sound in this water", of(ofSoundSpeed, c))
		w.result("deepShare", "a sounder so set shows too deep by", of(ofShare, float64(set.v()/c)-1))
		w.step("speed", "sound in this water", of(ofSoundSpeed, c), formula)
		w.step("deepShare", "too deep by", of(ofShare, float64(set.v()/c)-1), "speed set/speed − 1; less than nothing is too shallow")
		w.cite(unit.Published, "Marczak, J. Acoust. Soc. Am. 102, 1997 (sound speed)")
		w.hold("fresh water of 0 to 95 °C at one atmosphere; depth adds 0.016 m/s a meter, which is left out")
		w.figures = append(w.figures, "sound")
		return nil
	}
}

// speedOf is the speed through the layers of a profile, each as warm as the mean
// of the readings around it.
func speedOf(name string, units unitSystem) (unit.MetersPerSecond, error) {
	p, err := readProfile(name, units)
	if err != nil {
		return 0, err
	}
	var layers []sound.Layer
	topM, topC := 0.0, p.Temperature(0).Celsius()
	p.Knots(func(depthM, tempC float64) {
		if depthM > topM {
			layers = append(layers, sound.Layer{Thickness: unit.Meters(depthM - topM), Temperature: unit.Celsius((topC + tempC) / 2)})
		}
		topM, topC = depthM, tempC
	})
	return sound.SpeedLayered(layers)
}

func levelOf(f *form) func(*worksheet) error {
	staff := needText(f, "staff", "CSV file of staff readings: time and height, as in time,height_m, times as 2026-06-01T08:00:00Z")
	when := needText(f, "time", "the moment, as 2026-06-01T08:15:00Z")
	depth := ask(f, "depth", ofLength, "", "a depth of water sounded then").nonzero()
	full := ask(f, "full", ofLength, "", "height of the full pond on the staff")
	return func(w *worksheet) error {
		at, err := time.Parse(time.RFC3339, *when)
		if err != nil {
			return usagef("--time: %q is not of the form 2026-06-01T08:15:00Z", *when)
		}
		readings, err := readTimed(*staff, *f.units, "height")
		if err != nil {
			return err
		}
		l, err := sound.NewLevel(readings)
		if err != nil {
			return err
		}
		height, away := l.At(at)
		low, high := l.Range()
		w.result("level", "on the staff", of(ofLength, height))
		w.result("away", "nearest reading", of(ofTime, unit.Seconds(away.Seconds())))
		w.result("low", "lowest reading", of(ofLength, low))
		w.result("high", "highest reading", of(ofLength, high))
		w.step("level", "on the staff", of(ofLength, height), "straight between the readings around it; the nearest is held beyond them")
		if depth.has() {
			w.result("bed", "bed, on the staff", of(ofLength, sound.BedHeight(height, depth.v())))
			w.step("bed", "bed", of(ofLength, sound.BedHeight(height, depth.v())), "level − depth")
			if full.has() {
				w.result("belowFull", "depth with the pond full", of(ofLength, sound.BelowFull(full.v(), height, depth.v())))
				w.step("belowFull", "with the pond full", of(ofLength, sound.BelowFull(full.v(), height, depth.v())), "depth + full − level")
			}
		}
		every := figureOf(sound.Settings(), staffEveryFigure)
		if away.Seconds() > every {
			w.notef("The nearest reading is more than %s away: the level is a guess.", ofTime.print(every, usUnits))
		}
		w.cite(unit.CommonPractice, "staff read at start, end, each hour and at each 0.02 m of change")
		w.hold("readings of one staff, within ±10 km of its datum")
		w.figures = append(w.figures, "sound")
		return nil
	}
}

const staffEveryFigure = "longest time between staff readings"

func latencyOf(f *form) func(*worksheet) error {
	shift := ask(f, "shift", ofLength, "", "how far along the line the run back shows the bed, beyond the run out")
	out := ask(f, "out", ofSpeed, "", "needed: speed of the run out")
	back := ask(f, "back", ofSpeed, "", "needed: speed of the run back")
	f.require("out")
	f.require("back")
	outRun := askText(f, "out-run", "CSV file of the run out: distance along the line and depth, as in distance_m,depth_m; with --back-run it finds the shift")
	backRun := askText(f, "back-run", "CSV file of the run back, distances as for the run out")
	slope := ask(f, "slope", ofNumber, "0", "rise over run of a bank, to tell what the delay costs there")
	return func(w *worksheet) error {
		if shift.has() == (*outRun != "" && *backRun != "") {
			return usagef("give --shift, or --out-run and --back-run")
		}
		if err := unit.CheckRange("slope", slope.v(), 0, 2, "banks"); err != nil {
			return err
		}
		var delay time.Duration
		var err error
		if shift.has() {
			delay, err = sound.Latency(shift.v(), out.v(), back.v())
		} else {
			delay, err = w.fitLatency(*outRun, *backRun, *f.units, out.v(), back.v())
		}
		if err != nil {
			return err
		}
		w.result("delay", "positions lag by", of(ofDelay, unit.Seconds(delay.Seconds())))
		bias := sound.LatencyBias(delay, max(out.v(), back.v()), slope.v())
		if slope.v() > 0 {
			w.result("bias", "depth wrong on that bank by", of(ofLength, bias))
			w.step("bias", "depth wrong by", of(ofLength, bias), "delay × the faster speed × slope")
		}
		w.step("delay", "delay", of(ofDelay, unit.Seconds(delay.Seconds())), "shift/(speed out + speed back)")
		w.cite(unit.FromMemory, "latency test of EM 1110-2-1003")
		w.hold("speeds of 0.1 to 20 m/s, shift up to 1 km; a line over a bank, run both ways")
		w.figures = append(w.figures, "sound")
		return nil
	}
}

// fitLatency finds the delay from the two runs themselves.
func (w *worksheet) fitLatency(outName, backName string, units unitSystem, v1, v2 unit.MetersPerSecond) (time.Duration, error) {
	out, err := readRun(outName, units)
	if err != nil {
		return 0, err
	}
	back, err := readRun(backName, units)
	if err != nil {
		return 0, err
	}
	fit, err := sound.FitLatency(out, back, v1, v2)
	if err != nil {
		return 0, err
	}
	w.result("stdErr", "standard error", of(ofDelay, unit.Seconds(fit.StdErr.Seconds())))
	w.result("before", "runs differ by, uncorrected", of(ofLength, fit.Before))
	w.result("after", "with the shift taken out", of(ofLength, fit.After))
	w.step("shift", "shift", of(ofLength, fit.Shift), "that leaves the least mean square of depth differences, within three seconds of the joint speed")
	return fit.Delay, nil
}

func readRun(name string, units unitSystem) ([]sound.Along, error) {
	return readPairs(name, units, "distance", ofLength, "depth", ofLength, func(x, d unit.Meters) sound.Along { return sound.Along{Distance: x, Depth: d} })
}

// askOrder is a flag of an order of survey.
func askOrder(f *form, def string) *choice[sound.Order] {
	return askChoice(f, "order", def, "order of IHO S-44 to hold against", option[sound.Order]{"2", sound.Order2}, option[sound.Order]{"1b", sound.Order1b},
		option[sound.Order]{"1a", sound.Order1a}, option[sound.Order]{"special", sound.OrderSpecial}, option[sound.Order]{"exclusive", sound.OrderExclusive})
}

const s44Source = "IHO S-44, edition 6, 2020, table 1"

func crossingOf(f *form) func(*worksheet) error {
	name := needText(f, "crossings", "CSV file, a row a crossing: depth on the main line and on the check line, as in main_m,check_m")
	order := askOrder(f, "special")
	return func(w *worksheet) error {
		list, err := readPairs(*name, *f.units, "main", ofLength, "check", ofLength, func(a, b unit.Meters) sound.Crossing { return sound.Crossing{Main: a, Check: b} })
		if err != nil {
			return err
		}
		r, err := sound.CheckCrossings(list, order.v(), sound.CrossingRules{})
		if err != nil {
			return err
		}
		yes := map[bool]string{true: "yes", false: "no"}
		w.result("passes", "check lines pass", say(yes[r.Pass]))
		w.result("crossings", "crossings", count(r.Count))
		w.result("bias", "check less main, mean", of(ofLength, r.Bias))
		w.result("spread95", "one sounding, 95 %, either way", of(ofLength, r.Spread95))
		w.result("withinShare", "differences within their limit", of(ofShare, r.Within))
		w.step("bias", "mean difference", of(ofLength, r.Bias), "Σ (check − main)/n, at most 0.06 m either way")
		w.step("spread95", "95 % of one sounding", of(ofLength, r.Spread95), "1.96/√2 × standard deviation of the differences")
		w.step("withinShare", "within their limit", of(ofShare, r.Within), "within √2 × the order's vertical limit at that depth; at least 95 % of them, and ten crossings")
		if !r.Enough {
			w.notef("Too few crossings to judge by: run more check lines.")
		}
		w.notef("A yardstick: what passes is not certified.")
		w.cite(unit.Published, s44Source)
		w.cite(unit.Published, "EM 1110-2-1003, 2002, table 3-1 (bias)")
		w.cite(unit.CommonPractice, "ten crossings, 95 % of them")
		w.hold("both depths at one water level, 0 to 200 m")
		w.figures = append(w.figures, "sound")
		return nil
	}
}

func beamOf(f *form) func(*worksheet) error {
	depth := need(f, "depth", ofLength, "water below the transducer")
	beam := need(f, "beam", ofAngle, "full angle of the beam")
	slope := ask(f, "slope", ofNumber, "0", "rise over run of the bed")
	return func(w *worksheet) error {
		across, err := sound.Footprint(depth.v(), beam.v())
		if err != nil {
			return err
		}
		shallow, err := sound.SlopeBias(depth.v(), beam.v(), slope.v())
		if err != nil {
			return err
		}
		w.result("footprint", "bed covered, across", of(ofLength, across))
		w.result("bias", "first echo reads shallow by", of(ofLength, shallow))
		w.step("footprint", "across", of(ofLength, across), "2 d tan(beam/2)")
		w.step("bias", "reads shallow by", of(ofLength, shallow), "d [1 − 1/(cos a + slope sin a)], a half the beam or the slope's angle, whichever is less")
		w.cite(unit.Published, "geometry of a cone")
		w.hold("depth up to 200 m, beam up to 120°, slope up to 2")
		return nil
	}
}

func orderOf(f *form) func(*worksheet) error {
	depth := need(f, "depth", ofLength, "depth of water")
	doubt := ask(f, "uncertainty", ofLength, "", "vertical uncertainty of a sounding, 95 %").nonzero()
	return func(w *worksheet) error {
		t := w.table("orders", "Limits at 95 %", column{"order", "order", nil}, column{"vertical", "vertical", ofLength.dimension}, column{"horizontal", "horizontal", ofLength.dimension})
		for o := sound.Order2; o <= sound.OrderExclusive; o++ {
			v, err := o.MaxVertical(depth.v())
			if err != nil {
				return err
			}
			h, err := o.MaxHorizontal(depth.v())
			if err != nil {
				return err
			}
			t.add(say(o.String()), of(ofLength, v), of(ofLength, h))
			w.step("order"+fmt.Sprint(int(o)), o.String()+", vertical", of(ofLength, v), "√(a² + (b d)²), a and b of the order")
		}
		w.cite(unit.Published, s44Source)
		w.hold("depths up to 12,000 m; written for ships: orders 1 and 2 are far too loose for a pond")
		if !doubt.has() {
			return nil
		}
		met, ok, err := sound.StrictestMet(doubt.v(), depth.v())
		if err != nil {
			return err
		}
		word := "none"
		if ok {
			word = met.String()
		}
		w.result("met", "strictest order met", say(word))
		w.notef("A yardstick: what meets an order's figures is not certified by it.")
		return nil
	}
}
