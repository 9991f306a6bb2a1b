package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/golang/geo/s2"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// calculation is one question that `pondwright calc` answers.
type calculation struct {
	name, short string
	example     string // what follows `pondwright calc`
	// set declares the flags and returns what works the sheet out.
	set func(f *form) func(w *worksheet) error
}

// calcGroups lists the calculations under the headings of the help.
func calcGroups() []struct {
	id, title string
	list      []calculation
} {
	return []struct {
		id, title string
		list      []calculation
	}{
		{"water", "Water and its layers:", append(waterCalculations(), startCalculations()...)},
		{"lift", "Water lifted by bubbles:", append(liftCalculations(), plumeCalculations()...)},
		{"air", "Compressed air:", append(airCalculations(), airPartCalculations()...)},
		{"sun", "Sun, panels and wire:", append(sunCalculations(), climateCalculations()...)},
		{"wind", "Wind and other sources of air:", windCalculations()},
		{"mast", "The mast:", append(mastCalculations(), frostCalculations()...)},
		{"care", "Care of the pond:", append(careCalculations(), treatCalculations()...)},
		{"sound", "Soundings:", append(soundCalculations(), lineCalculations()...)},
	}
}

// aboutGroup heads what tells of the calculations themselves.
const aboutGroup = "about"

func (m *Main) calcCommand() *cobra.Command {
	var asJSON, explain bool
	parent := &cobra.Command{
		Use:   "calc",
		Short: "Work out one piece of pond engineering, with its source",
		Long: "calc answers one engineering question at a time. A quantity may carry its unit, as in\n" +
			"15ft, 4.6m, 1.2scfm, 8.5psi, 60F or 90mph; a bare number is in the units of --units.\n" +
			"Results come in those units with the others beside them.",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	parent.PersistentFlags().BoolVar(&asJSON, "json", false, "print everything as JSON, in SI units")
	parent.PersistentFlags().BoolVar(&explain, "explain", false, "print formula, inputs, steps, sources and range of validity as well")
	for _, g := range calcGroups() {
		parent.AddGroup(&cobra.Group{ID: g.id, Title: g.title})
		for _, calc := range g.list {
			c := &cobra.Command{Use: calc.name, Short: calc.short, Example: "  pondwright calc " + calc.example, Args: cobra.NoArgs, GroupID: g.id}
			c.Flags().SortFlags = false // as declared: what is needed comes before what is not
			f := &form{units: &m.units, flags: c.Flags()}
			work := calc.set(f)
			c.RunE = calcRun(func() error {
				w := &worksheet{name: calc.name, title: calc.short}
				if err := work(w); err != nil {
					return refuseCalc(m.Out, calc.name, err, asJSON)
				}
				w.inputs = append(f.entries(), w.inputs...)
				if asJSON {
					return writeIndented(m.Out, w.data())
				}
				w.write(m.Out, m.units, explain)
				return nil
			})
			parent.AddCommand(c)
		}
	}
	parent.AddGroup(&cobra.Group{ID: aboutGroup, Title: "What all this rests on:"})
	parent.AddCommand(m.calcSettingsCommand(&asJSON))
	return parent
}

// calcRun tells a refusal, which is a failure of the work, from wrong usage.
func calcRun(run func() error) func(*cobra.Command, []string) error {
	return func(*cobra.Command, []string) error {
		err := run()
		if err == nil || errors.As(err, new(usageError)) {
			return err
		}
		return failure{err}
	}
}

// form is a calculation's flags. What they hold becomes the inputs of its sheet.
type form struct {
	units  *unitSystem
	flags  *pflag.FlagSet
	inputs []func() []entry
}

func (f *form) entries() []entry {
	var out []entry
	for _, in := range f.inputs {
		out = append(out, in()...)
	}
	return out
}

func (f *form) require(name string) {
	f.flags.Lookup(name).Annotations = map[string][]string{cobra.BashCompOneRequiredFlag: {"true"}}
}

// quantity is a flag that holds a quantity, or nothing.
type quantity[T ~float64] struct {
	measure[T]
	units *unitSystem
	text  string
	given bool
	some  bool // zero is refused
}

// nonzero refuses zero, where the packages would take it for their default.
func (q *quantity[T]) nonzero() *quantity[T] {
	q.some = true
	return q
}

func (q *quantity[T]) String() string { return q.text }
func (q *quantity[T]) Type() string   { return strings.ReplaceAll(q.name, " ", "-") }

// Set checks the text. A bare number waits for --units, which may follow it.
func (q *quantity[T]) Set(text string) error {
	v, err := q.parse(text, usUnits)
	if err != nil {
		return err
	}
	if q.some && v == 0 {
		return &quantityError{text, "is zero, and has to be more or less than that"}
	}
	q.text, q.given = text, true
	return nil
}

// has reports whether there is a value, given or by default.
func (q *quantity[T]) has() bool { return q.text != "" }

// v is the value in SI, zero where there is none.
func (q *quantity[T]) v() T {
	if !q.has() {
		return 0
	}
	v, err := q.parse(q.text, *q.units)
	if err != nil {
		return 0 // Set has checked it
	}
	return T(v)
}

// ask declares a quantity that may be left out; def is its value then, and may
// be empty.
func ask[T ~float64](f *form, name string, m measure[T], def, help string) *quantity[T] {
	q := &quantity[T]{measure: m, units: f.units, text: def}
	f.flags.Var(q, name, help+m.hint())
	f.inputs = append(f.inputs, func() []entry {
		if !q.has() {
			return nil
		}
		return []entry{{key: camel(name), name: words(name), value: of(m, q.v()), isDefault: !q.given}}
	})
	return q
}

// need declares a quantity that must be given.
func need[T ~float64](f *form, name string, m measure[T], help string) *quantity[T] {
	q := ask(f, name, m, "", "needed: "+help)
	f.require(name)
	return q
}

// hint says in which unit a bare number is.
func (d *dimension) hint() string {
	switch {
	case d == ofNumber.dimension:
		return ""
	case d == ofShare.dimension:
		return " (0.03 or 3%)"
	case d.us.symbol == d.si.symbol:
		return " (" + d.us.symbol + ")"
	}
	return fmt.Sprintf(" (%s, with --units si %s)", d.us.symbol, d.si.symbol)
}

// twelve is a flag of a year's months, January first.
type twelve[T ~float64] struct {
	measure[T]
	units *unitSystem
	text  string
}

func (q *twelve[T]) String() string { return q.text }
func (q *twelve[T]) Type() string   { return "12-values" }

func (q *twelve[T]) Set(text string) error {
	parts := strings.Split(text, ",")
	if len(parts) != 12 {
		return fmt.Errorf("%d values where twelve months are wanted, January first", len(parts))
	}
	for _, p := range parts {
		if _, err := q.parse(p, usUnits); err != nil {
			return err
		}
	}
	q.text = text
	return nil
}

// v is the twelve values, or nil.
func (q *twelve[T]) v() *[12]T {
	if q.text == "" {
		return nil
	}
	var out [12]T
	for i, p := range strings.Split(q.text, ",") {
		v, err := q.parse(p, *q.units)
		if err != nil {
			return nil // Set has checked it
		}
		out[i] = T(v)
	}
	return &out
}

func askMonths[T ~float64](f *form, name string, m measure[T], help string) *twelve[T] {
	q := &twelve[T]{measure: m, units: f.units}
	f.flags.Var(q, name, help+", twelve values from January, with commas"+m.hint())
	f.inputs = append(f.inputs, func() []entry {
		months := q.v()
		if months == nil {
			return nil
		}
		var out []entry
		for i, v := range months {
			month := time.Month(i + 1).String()
			out = append(out, entry{key: camel(name) + month, name: words(name) + " of " + month, value: of(m, v)})
		}
		return out
	})
	return q
}

// askText, askYes and askCount declare flags that are no quantities; a count is
// 1 unless given.
func askText(f *form, name, help string) *string {
	p := f.flags.String(name, "", help)
	f.inputs = append(f.inputs, func() []entry {
		if *p == "" {
			return nil
		}
		return []entry{{key: camel(name), name: words(name), value: say(*p), isDefault: !f.flags.Changed(name)}}
	})
	return p
}

func needText(f *form, name, help string) *string {
	p := askText(f, name, "needed: "+help)
	f.require(name)
	return p
}

func askYes(f *form, name, help string) *bool {
	p := f.flags.Bool(name, false, help)
	f.inputs = append(f.inputs, func() []entry {
		return []entry{{key: camel(name), name: words(name), value: say(map[bool]string{true: "yes", false: "no"}[*p]), isDefault: !f.flags.Changed(name)}}
	})
	return p
}

func askCount(f *form, name, help string) *int { return askWhole(f, name, 1, help) }

func askWhole(f *form, name string, def int, help string) *int {
	p := f.flags.Int(name, def, help)
	f.inputs = append(f.inputs, func() []entry {
		return []entry{{key: camel(name), name: words(name), value: count(*p), isDefault: !f.flags.Changed(name)}}
	})
	return p
}

// choice is a flag with a fixed list of answers.
type choice[T any] struct {
	options []option[T]
	text    string
}

type option[T any] struct {
	name  string
	value T
}

func (c *choice[T]) String() string { return c.text }

func (c *choice[T]) Type() string {
	var names []string
	for _, o := range c.options {
		names = append(names, o.name)
	}
	return strings.Join(names, "|")
}

func (c *choice[T]) Set(text string) error {
	for _, o := range c.options {
		if strings.EqualFold(o.name, text) {
			c.text = o.name
			return nil
		}
	}
	return fmt.Errorf("%q is none of %s", text, c.Type())
}

// v is the value picked, or the zero value.
func (c *choice[T]) v() T {
	for _, o := range c.options {
		if o.name == c.text {
			return o.value
		}
	}
	var none T
	return none
}

func askChoice[T any](f *form, name, def, help string, options ...option[T]) *choice[T] {
	c := &choice[T]{options: options, text: def}
	f.flags.Var(c, name, help)
	f.inputs = append(f.inputs, func() []entry {
		if c.text == "" {
			return nil
		}
		return []entry{{key: camel(name), name: words(name), value: say(c.text), isDefault: !f.flags.Changed(name)}}
	})
	return c
}

// place is a flag that holds LAT,LON.
type place struct{ at s2.LatLng }

func (p *place) String() string {
	if p.at == (s2.LatLng{}) {
		return ""
	}
	return strconv.FormatFloat(p.at.Lat.Degrees(), 'f', -1, 64) + "," + strconv.FormatFloat(p.at.Lng.Degrees(), 'f', -1, 64)
}

func (p *place) Type() string { return "LAT,LON" }

func (p *place) Set(text string) (err error) {
	p.at, err = parseLatLng(text)
	return err
}

func needPlace(f *form, help string) *place {
	p := &place{}
	f.flags.Var(p, "at", "needed: "+help+", in degrees")
	f.require("at")
	f.inputs = append(f.inputs, func() []entry {
		return []entry{
			{key: "latitude", name: "latitude", value: of(ofPosition, p.at.Lat)},
			{key: "longitude", name: "longitude", value: of(ofPosition, p.at.Lng)},
		}
	})
	return p
}

func words(flag string) string { return strings.ReplaceAll(flag, "-", " ") }

// camel makes a data key of a flag's name.
func camel(flag string) string {
	var b strings.Builder
	for i, part := range strings.Split(flag, "-") {
		for j, r := range part {
			if i > 0 && j == 0 {
				r = unicode.ToUpper(r)
			}
			b.WriteRune(r)
		}
	}
	return b.String()
}
