package main

import (
	"fmt"
	"strings"

	"pondwright/calc/sound"
	"pondwright/calc/unit"
)

func soundCalculations() []calculation {
	return []calculation{
		{"sounding", "From a sounder's reading to a depth", "sounding --reading 2.85m --draft 0.30m --temp 18.4C", soundingOf},
		{"plate", "Plate check of a sounder, and a reading corrected by it", "plate --marks 1m:1.042m,2m:2.055m,3m:3.071m,4m:4.088m --reading 2.85m", plateOf},
	}
}

const emSource = "US Army Corps of Engineers, EM 1110-2-1003, Hydrographic Surveying, 2002, ch. 9"

func soundingOf(f *form) func(*worksheet) error {
	reading := need(f, "reading", ofLength, "below the transducer, as shown")
	draft := need(f, "draft", ofLength, "transducer below the water line")
	temp := need(f, "temp", ofTemperature, "of the water, mean over the depth")
	set := ask(f, "set-speed", ofSoundSpeed, "1500m/s", "sound speed set in the sounder")
	full := ask(f, "full", ofLength, "", "height of the full pond on the staff")
	level := ask(f, "level", ofLength, "", "height of the water on the same staff during the sounding")
	return func(w *worksheet) error {
		if full.has() != level.has() {
			return usagef("--full and --level go together")
		}
		c, err := sound.Speed(temp.v())
		if err != nil {
			return err
		}
		d, err := sound.Sounder{Draft: draft.v(), SetSpeed: set.v()}.Depth(reading.v(), c)
		if err != nil {
			return err
		}
		w.result("depth", "depth", of(ofLength, d))
		w.step("soundSpeed", "sound in this water", of(ofSoundSpeed, c), "polynomial of fifth order in t")
		w.step("depth", "depth", of(ofLength, d), "draft + reading × c/speed set")
		if full.has() {
			w.result("belowFull", "with the pond full", of(ofLength, sound.BelowFull(full.v(), level.v(), d)))
			w.step("belowFull", "with the pond full", of(ofLength, sound.BelowFull(full.v(), level.v(), d)), "depth + full − level")
		}
		if least := unit.Meters(figureOf(sound.Settings(), deadZoneFigure)); reading.v() < least {
			w.notef("Nearer than %s to the transducer an echo is not to be trusted.", ofLength.both(float64(least), usUnits))
		}
		w.cite(unit.Published, "Marczak, J. Acoust. Soc. Am. 102, 1997 (sound speed)")
		w.cite(unit.Published, emSource)
		w.hold("fresh water of 0 to 95 °C, readings up to 200 m, draft up to 5 m")
		w.figures = append(w.figures, "sound")
		return nil
	}
}

const deadZoneFigure = "least depth below the transducer to trust an echo"

// markList is a flag of plate marks.
type markList struct {
	units *unitSystem
	text  string
}

func (l *markList) String() string { return l.text }
func (l *markList) Type() string   { return "TRUE:SHOWN,…" }

func (l *markList) Set(text string) error {
	l.text = text
	_, err := l.parse(usUnits)
	return err
}

func (l *markList) parse(u unitSystem) ([]sound.PlateMark, error) {
	var out []sound.PlateMark
	for part := range strings.SplitSeq(l.text, ",") {
		deep, shown, ok := strings.Cut(part, ":")
		if !ok {
			return nil, fmt.Errorf("%q is not TRUE:SHOWN", part)
		}
		d, err := ofLength.parse(deep, u)
		if err != nil {
			return nil, err
		}
		s, err := ofLength.parse(shown, u)
		if err != nil {
			return nil, err
		}
		out = append(out, sound.PlateMark{True: unit.Meters(d), Displayed: unit.Meters(s)})
	}
	return out, nil
}

func plateOf(f *form) func(*worksheet) error {
	marks := &markList{units: f.units}
	f.flags.Var(marks, "marks", "needed: true depth of the plate and what the sounder showed"+ofLength.hint())
	f.require("marks")
	f.inputs = append(f.inputs, func() []entry {
		var out []entry
		list, err := marks.parse(*f.units)
		if err != nil {
			return nil // Set has checked it
		}
		for i, m := range list {
			out = append(out, entry{key: fmt.Sprintf("mark%dTrue", i+1), name: fmt.Sprintf("mark %d, true", i+1), value: of(ofLength, m.True)},
				entry{key: fmt.Sprintf("mark%dShown", i+1), name: fmt.Sprintf("mark %d, shown", i+1), value: of(ofLength, m.Displayed)})
		}
		return out
	})
	reading := ask(f, "reading", ofLength, "", "a reading to correct, as shown")
	return func(w *worksheet) error {
		list, err := marks.parse(*f.units)
		if err != nil {
			return usageError{err}
		}
		fit, err := sound.FitPlate(list)
		if err != nil {
			return err
		}
		if reading.has() {
			d := fit.Depth(reading.v())
			w.result("depth", "depth", of(ofLength, d))
			if doubt, ok := fit.Doubt95(d); ok {
				w.result("doubt95", "the correction's 95 %, either way", of(ofLength, doubt))
			}
			if !fit.Brackets(d) {
				w.notef("That depth lies outside the marks: the correction is an extrapolation.")
			}
			w.step("depth", "depth", of(ofLength, d), "(shown − offset)/scale")
		}
		w.result("scale", "scale", of(ofNumber, fit.Scale))
		w.result("offset", "offset", of(ofLength, fit.Offset))
		w.result("largest", "largest residual", of(ofLength, fit.Largest))
		w.step("scale", "scale", of(ofNumber, fit.Scale), "least squares of shown = scale × true + offset; speed set over sound speed")
		w.step("offset", "offset", of(ofLength, fit.Offset), "what the sounder shows at the water line")
		w.step("scatter", "scatter of one mark", of(ofLength, fit.Scatter), "standard deviation about the line")
		w.step("scaleStdErr", "standard error of scale", of(ofNumber, fit.ScaleStdErr), "of the fitted line; 0 is unknown, with two marks")
		w.step("offsetStdErr", "standard error of offset", of(ofLength, fit.OffsetStdErr), "the same")
		if fit.DegreesOfFreedom == 0 {
			w.notef("Two marks give a line and no way to judge it: use three or more.")
		}
		w.notef("It replaces draft and sound speed, and holds for that day's water and that mounting.")
		w.cite(unit.Published, emSource+" (bar check)")
		w.hold("marks down to 200 m, scale 0.8 to 1.25")
		w.figures = append(w.figures, "sound")
		return nil
	}
}
