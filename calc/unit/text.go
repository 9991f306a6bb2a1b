package unit

import (
	"fmt"
	"regexp"
	"strconv"
)

// Text is words in which every quantity keeps its value, so that whoever prints
// them chooses the units: "lay {distance 12.4} of hose". A mark is the name of what
// is measured and a value in SI units, between braces; braces around anything else
// are words like others.
type Text string

// Say writes a Text as fmt.Sprintf does. Arguments that are Texts keep their marks.
func Say(format string, args ...any) Text {
	whole := make([]any, len(args))
	for i, a := range args {
		if t, ok := a.(Text); ok {
			a = string(t)
		}
		whole[i] = a
	}
	return Text(fmt.Sprintf(format, whole...))
}

// In returns the words with every quantity in the units of u.
func (t Text) In(u System) string {
	return markForm.ReplaceAllStringFunc(string(t), func(mark string) string {
		part := markForm.FindStringSubmatch(mark)
		v, err := strconv.ParseFloat(part[2], 64)
		show, known := shows[part[1]]
		if err != nil || !known {
			return mark
		}
		return show(u, v)
	})
}

// String returns the words in SI units.
func (t Text) String() string { return t.In(SI) }

// Template returns the marked words for a message, or nothing if no quantity is
// marked and the plain text says all.
func (t Text) Template() string {
	if t.In(SI) == string(t) {
		return ""
	}
	return string(t)
}

var markForm = regexp.MustCompile(`\{([a-z]+) ([^ {}]+)\}`)

// shows tells how a System prints what is measured.
var shows = map[string]func(System, float64) string{
	"length":      func(u System, v float64) string { return u.Length(Meters(v)) },
	"distance":    func(u System, v float64) string { return u.Distance(Meters(v)) },
	"far":         func(u System, v float64) string { return u.Far(Meters(v)) },
	"bore":        func(u System, v float64) string { return u.Bore(Meters(v)) },
	"volume":      func(u System, v float64) string { return u.Volume(CubicMeters(v)) },
	"air":         func(u System, v float64) string { return u.Air(StdCubicMetersPerSecond(v)) },
	"gauge":       func(u System, v float64) string { return u.Gauge(PascalsGauge(v)) },
	"mass":        func(u System, v float64) string { return u.Mass(Kilograms(v)) },
	"wind":        func(u System, v float64) string { return u.Wind(MetersPerSecond(v)) },
	"temperature": func(u System, v float64) string { return u.Temperature(Kelvin(v)) },
	"warmth":      func(u System, v float64) string { return u.Warmth(Kelvin(v)) },
	"panel":       func(u System, v float64) string { return u.Panel(SquareMeters(v)) },
	"force":       func(u System, v float64) string { return u.Force(Newtons(v)) },
	"moment":      func(u System, v float64) string { return u.Moment(NewtonMeters(v)) },
	"stress":      func(u System, v float64) string { return u.Stress(PascalsGauge(v)) },
}

func mark[Q ~float64](what string, q Q) Text {
	return Text("{" + what + " " + strconv.FormatFloat(float64(q), 'g', -1, 64) + "}")
}

// Text marks a depth or a height; see Distance, Bore and Far for other lengths.
func (m Meters) Text() Text { return mark("length", m) }

// Distance marks a way along ground or water.
func (m Meters) Distance() Text { return mark("distance", m) }

// Bore marks the inside diameter of a hose.
func (m Meters) Bore() Text { return mark("bore", m) }

// Far marks a way across country.
func (m Meters) Far() Text { return mark("far", m) }

// Text marks an amount of water.
func (v CubicMeters) Text() Text { return mark("volume", v) }

// Text marks a flow of air at standard conditions.
func (q StdCubicMetersPerSecond) Text() Text { return mark("air", q) }

// Text marks a pressure of air; see Stress for soil and steel.
func (p PascalsGauge) Text() Text { return mark("gauge", p) }

// Stress marks a stress of soil or steel.
func (p PascalsGauge) Stress() Text { return mark("stress", p) }

// Text marks a weight to carry.
func (m Kilograms) Text() Text { return mark("mass", m) }

// Text marks a speed of wind.
func (v MetersPerSecond) Text() Text { return mark("wind", v) }

// Exactly marks a temperature to a tenth of a degree.
func (k Kelvin) Exactly() Text { return mark("warmth", k) }

// Text marks a temperature.
func (k Kelvin) Text() Text { return mark("temperature", k) }

// Panel marks an area of panels.
func (a SquareMeters) Panel() Text { return mark("panel", a) }

// Text marks a force.
func (f Newtons) Text() Text { return mark("force", f) }

// Text marks a moment.
func (m NewtonMeters) Text() Text { return mark("moment", m) }

// Words returns what stands in a message as plain text and as a Text: the Text in
// the units of u, or the plain text where there is no Text.
func Words(u System, template, text string) string {
	if template == "" {
		return text
	}
	return Text(template).In(u)
}
