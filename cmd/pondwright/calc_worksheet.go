package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"pondwright/calc/unit"
)

// worksheet is a calculation as it was done. Prose, data and explanation are
// all printed from it.
type worksheet struct {
	name, title string
	inputs      []entry
	steps       []entry
	results     []entry
	tables      []table
	notes       []unit.Text
	cautions    []string
	sources     []source
	holds       []string // ranges in which the method holds
	figures     []string // packages whose settings stand behind it
}

// value is a quantity, a count or a text.
type value struct {
	dim  *dimension // nil for a text
	si   float64
	text unit.Text
}

func (v value) prose(u unitSystem) string {
	if v.dim == nil {
		return v.text.In(unit.System(u))
	}
	return v.dim.both(v.si, u)
}

// datum is the value as data: null where it is not finite.
func (v value) datum() any {
	switch {
	case v.dim == nil:
		return v.text.String()
	case math.IsInf(v.si, 0) || math.IsNaN(v.si):
		return nil
	}
	return v.dim.datum(v.si)
}

// entry is a named value; a step also has the formula that gave it.
type entry struct {
	key, name string
	value
	formula   string
	isDefault bool // nobody gave it
}

func (e entry) dataKey() string {
	if e.dim == nil {
		return e.key
	}
	return e.key + e.dim.key
}

// table is a list of results of one kind.
type table struct {
	key, name string
	columns   []column
	rows      [][]value
}

type column struct {
	key, name string
	dim       *dimension // nil for text
}

type source struct {
	Mark   unit.Mark `json:"mark"`
	Source string    `json:"source"`
}

// of makes a value of a measure.
func of[T ~float64](m measure[T], v T) value { return value{dim: m.dimension, si: float64(v)} }

func say[T ~string](text T) value { return value{text: unit.Text(text)} }

func count(n int) value { return of(ofNumber, float64(n)) }

// result, step and notef add to the sheet, in the order in which they are printed;
// a note is printed once.
func (w *worksheet) result(key, name string, v value) {
	w.results = append(w.results, entry{key: key, name: name, value: v})
}

func (w *worksheet) step(key, name string, v value, formula string) {
	w.steps = append(w.steps, entry{key: key, name: name, value: v, formula: formula})
}

func inUnits(texts []unit.Text, u unitSystem) []string {
	var out []string
	for _, t := range texts {
		out = append(out, t.In(unit.System(u)))
	}
	return out
}

// assume adds an input that nobody gave.
func (w *worksheet) assume(key, name string, v value) {
	w.inputs = append(w.inputs, entry{key: key, name: name, value: v, isDefault: true})
}

func (w *worksheet) notef(format string, args ...any) {
	if note := unit.Say(format, args...); !slices.Contains(w.notes, note) {
		w.notes = append(w.notes, note)
	}
}

func (w *worksheet) caution(texts ...string) {
	for _, text := range texts {
		if !slices.Contains(w.cautions, text) {
			w.cautions = append(w.cautions, text)
		}
	}
}

func (w *worksheet) cite(mark unit.Mark, text string) {
	if s := (source{mark, text}); !slices.Contains(w.sources, s) {
		w.sources = append(w.sources, s)
	}
}

func (w *worksheet) hold(texts ...string) { w.holds = append(w.holds, texts...) }

// table starts a table; add appends a row to it.
func (w *worksheet) table(key, name string, columns ...column) *table {
	w.tables = append(w.tables, table{key: key, name: name, columns: columns})
	return &w.tables[len(w.tables)-1]
}

func (t *table) add(row ...value) { t.rows = append(t.rows, row) }

// object is a JSON object that keeps its order.
type object []member

type member struct {
	key   string
	value any
}

func (o object) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, m := range o {
		if i > 0 {
			b.WriteByte(',')
		}
		key, err := plainJSON(m.key)
		if err != nil {
			return nil, err
		}
		value, err := plainJSON(m.value)
		if err != nil {
			return nil, err
		}
		b.Write(key)
		b.WriteByte(':')
		b.Write(value)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// plainJSON leaves & and its like alone, which only a page would need escaped.
func plainJSON(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, fmt.Errorf("print JSON: %w", err)
	}
	return b.Bytes(), nil
}

func objectOf(entries []entry) object {
	out := object{}
	for _, e := range entries {
		out = append(out, member{e.dataKey(), e.datum()})
	}
	return out
}

// data is the sheet as data: SI, units in the keys, in a fixed order.
func (w *worksheet) data() object {
	results := objectOf(w.results)
	for _, t := range w.tables {
		rows := []object{}
		for _, r := range t.rows {
			row := object{}
			for i, c := range t.columns {
				row = append(row, member{entry{key: c.key, value: value{dim: c.dim}}.dataKey(), r[i].datum()})
			}
			rows = append(rows, row)
		}
		results = append(results, member{t.key, rows})
	}
	defaults, steps := []string{}, []object{}
	for _, e := range w.inputs {
		if e.isDefault {
			defaults = append(defaults, e.dataKey())
		}
	}
	for _, e := range w.steps {
		steps = append(steps, object{{"name", e.name}, {"formula", e.formula}, {e.dataKey(), e.datum()}})
	}
	return object{
		{"calculation", w.name}, {"inputs", objectOf(w.inputs)}, {"defaults", defaults},
		{"results", results}, {"steps", steps}, {"notes", listed(inUnits(w.notes, siUnits))}, {"cautions", listed(w.cautions)},
		{"sources", listed(w.sources)}, {"holdsFor", listed(w.holds)}, {"settingsOf", listed(w.figures)},
	}
}

// listed is a list that JSON writes as empty, not as null.
func listed[T any](list []T) []T { return append([]T{}, list...) }

func writeIndented(out io.Writer, v any) error {
	raw, err := plainJSON(v)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := json.Indent(&b, raw, "", "  "); err != nil {
		return fmt.Errorf("print JSON: %w", err)
	}
	if _, err := b.WriteTo(out); err != nil {
		return fmt.Errorf("print JSON: %w", err)
	}
	return nil
}

// write prints the sheet for people.
func (w *worksheet) write(out io.Writer, u unitSystem, explain bool) {
	fmt.Fprintln(out, w.title)
	if len(w.results) > 0 {
		fmt.Fprintln(out)
		width := widest(w.results)
		for _, e := range w.results {
			fmt.Fprintf(out, "  %-*s  %s\n", width, e.name, e.prose(u))
		}
	}
	for _, t := range w.tables {
		t.write(out, u)
	}
	if explain {
		w.explain(out, u)
	} else if list := w.taken(u); list != "" {
		fmt.Fprintf(out, "\nNot given, so taken: %s.\n", list)
	}
	writeList(out, "Note", inUnits(w.notes, u))
	writeList(out, "Caution", w.cautions)
}

// taken lists the inputs that nobody gave.
func (w *worksheet) taken(u unitSystem) string {
	var list []string
	for _, e := range w.inputs {
		if e.isDefault {
			list = append(list, e.name+" "+e.prose(u))
		}
	}
	return strings.Join(list, "; ")
}

// explain prints how the results came about.
func (w *worksheet) explain(out io.Writer, u unitSystem) {
	fmt.Fprintln(out, "\nInputs")
	width := widest(w.inputs)
	for _, e := range w.inputs {
		mark := ""
		if e.isDefault {
			mark = ", not given"
		}
		fmt.Fprintf(out, "  %-*s  %s%s\n", width, e.name, e.prose(u), mark)
	}
	fmt.Fprintln(out, "\nHow it is found")
	width = widest(w.steps)
	for _, e := range w.steps {
		fmt.Fprintf(out, "  %-*s  %s\n  %*s    %s\n", width, e.name, e.prose(u), width, "", e.formula)
	}
	fmt.Fprintln(out, "\nSources")
	for _, s := range w.sources {
		fmt.Fprintln(out, "  "+strings.TrimSuffix(string(s.Mark)+": "+s.Source, ": "))
	}
	fmt.Fprintln(out, "\nHolds for")
	for _, h := range w.holds {
		fmt.Fprintln(out, "  "+h)
	}
	for _, p := range w.figures {
		fmt.Fprintf(out, "\nFigures from memory, practice or judgement behind it: pondwright calc settings %s\n", p)
	}
}

func widest(entries []entry) int {
	n := 0
	for _, e := range entries {
		n = max(n, len([]rune(e.name)))
	}
	return n
}

func writeList(out io.Writer, name string, list []string) {
	if len(list) > 0 {
		fmt.Fprintln(out)
	}
	for _, text := range list {
		fmt.Fprintf(out, "%s: %s\n", name, text)
	}
}

// write prints a table, one line a row.
func (t *table) write(out io.Writer, u unitSystem) {
	cells := [][]string{make([]string, len(t.columns))}
	for i, c := range t.columns {
		cells[0][i] = c.name
	}
	for _, r := range t.rows {
		line := make([]string, len(t.columns))
		for i, v := range r {
			line[i] = v.prose(u)
		}
		cells = append(cells, line)
	}
	widths := make([]int, len(t.columns))
	for _, line := range cells {
		for i, text := range line {
			widths[i] = max(widths[i], len([]rune(text)))
		}
	}
	fmt.Fprintf(out, "\n%s\n", t.name)
	for _, line := range cells {
		var b strings.Builder
		for i, text := range line {
			pad := strings.Repeat(" ", widths[i]-len([]rune(text)))
			if t.columns[i].dim == nil {
				text += pad
			} else {
				text = pad + text
			}
			b.WriteString("  " + text)
		}
		fmt.Fprintln(out, strings.TrimRight(b.String(), " "))
	}
}
