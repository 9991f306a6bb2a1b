package main

import (
	"encoding/csv"
	"fmt"
	"os"
	"strings"
	"time"

	"pondwright/calc/sound"
)

// sheetFile is a small CSV file of quantities. A header names its column and may
// name the unit behind it, as in depth_ft or "temp (C)"; a cell may too. Where
// neither does, the unit is that of --units.
type sheetFile struct {
	name  string
	rows  []map[string]string // by column, with the header's unit behind
	units unitSystem
}

// readSheetFile reads a file whose columns start with one of the names given.
// Those with a star must be there.
func readSheetFile(name string, units unitSystem, columns ...string) (*sheetFile, error) {
	data, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer data.Close() //nolint:errcheck // only read
	r := csv.NewReader(data)
	r.Comment, r.TrimLeadingSpace = '#', true
	lines, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if len(lines) < 2 {
		return nil, fmt.Errorf("%s: a header and rows below it are wanted", name)
	}
	heads := make([]string, len(lines[0]))
	suffix := make([]string, len(lines[0]))
	for i, h := range lines[0] {
		h = strings.TrimPrefix(strings.TrimSpace(h), "\ufeff")
		for _, c := range columns {
			c = strings.TrimPrefix(c, "*")
			if rest, ok := strings.CutPrefix(strings.ToLower(h), c); ok && (rest == "" || strings.ContainsRune("_ (,", rune(rest[0]))) {
				heads[i], suffix[i] = c, strings.Trim(rest, "_ (),")
			}
		}
		if heads[i] == "" {
			return nil, fmt.Errorf("%s: column %q is none of %s", name, h, strings.ReplaceAll(strings.Join(columns, ", "), "*", ""))
		}
	}
	f := &sheetFile{name: name, units: units}
	for _, line := range lines[1:] {
		row := make(map[string]string)
		for i, cell := range line {
			cell = strings.TrimSpace(cell)
			if _, symbol := splitUnit(cell); symbol == "" && cell != "" {
				cell += suffix[i]
			}
			row[heads[i]] = cell
		}
		f.rows = append(f.rows, row)
	}
	for _, c := range columns {
		if c, must := strings.CutPrefix(c, "*"); must {
			if _, ok := f.rows[0][c]; !ok {
				return nil, fmt.Errorf("%s: no column %s", name, c)
			}
		}
	}
	return f, nil
}

// wrap names the file in an error of its content.
func (f *sheetFile) wrap(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", f.name, err)
}

// cellOf reads a quantity of a row and whether there is one. The row is counted
// from 0.
func cellOf[T ~float64](f *sheetFile, row int, column string, m measure[T]) (v T, ok bool, err error) {
	text := f.rows[row][column]
	if text == "" {
		return 0, false, nil
	}
	si, err := m.parse(text, f.units)
	if err != nil {
		return 0, false, fmt.Errorf("%s: row %d, %s: %w", f.name, row+1, column, err)
	}
	return T(si), true, nil
}

// mustCell reads a quantity that may not be missing.
func mustCell[T ~float64](f *sheetFile, row int, column string, m measure[T]) (T, error) {
	v, ok, err := cellOf(f, row, column, m)
	if err == nil && !ok {
		err = fmt.Errorf("%s: row %d: no %s", f.name, row+1, column)
	}
	return v, err
}

// readPairs makes a list of a file that has two quantities in each row.
func readPairs[A, B ~float64, T any](name string, units unitSystem, first string, a measure[A], second string, b measure[B], pair func(A, B) T) ([]T, error) {
	f, err := readSheetFile(name, units, "*"+first, "*"+second)
	if err != nil {
		return nil, err
	}
	var out []T
	for i := range f.rows {
		x, err := mustCell(f, i, first, a)
		if err != nil {
			return nil, err
		}
		y, err := mustCell(f, i, second, b)
		if err != nil {
			return nil, err
		}
		out = append(out, pair(x, y))
	}
	return out, nil
}

// readTimed makes a list of a file of heights of water, a moment in each row.
func readTimed(name string, units unitSystem, column string) ([]sound.StaffReading, error) {
	f, err := readSheetFile(name, units, "*time", "*"+column)
	if err != nil {
		return nil, err
	}
	var out []sound.StaffReading
	for i, row := range f.rows {
		at, err := time.Parse(time.RFC3339, row["time"])
		if err != nil {
			return nil, fmt.Errorf("%s: row %d, time: %q is not written as 2026-06-09T14:00:00-05:00", name, i+1, row["time"])
		}
		h, err := mustCell(f, i, column, ofLength)
		if err != nil {
			return nil, err
		}
		out = append(out, sound.StaffReading{At: at, Height: h})
	}
	return out, nil
}
