package intake

import (
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// field is a quantity that a CSV column may hold.
type field int

const (
	fieldTime field = iota
	fieldLat
	fieldLon
	fieldDepth
	fieldPass
	fieldQuality
	fieldSoft
	fieldFirm
	fieldBottom
	fieldCount
)

const metersPerFoot = 0.3048 // exact (NIST SP 811, 2008, appendix B.8)

// header is a way to name a field: as a key of Options.Map and, unless keyOnly,
// as a column.
type header struct {
	name    string
	field   field
	toM     float64 // of a length; 0 where the column's own name says it
	keyOnly bool
}

var headers = []header{
	{name: "time", field: fieldTime},
	{name: "lat", field: fieldLat},
	{name: "lon", field: fieldLon},
	{name: "depth", field: fieldDepth, keyOnly: true},
	{name: "depth_m", field: fieldDepth, toM: 1},
	{name: "depth_ft", field: fieldDepth, toM: metersPerFoot},
	{name: "pass", field: fieldPass},
	{name: "quality", field: fieldQuality},
	{name: "soft", field: fieldSoft, keyOnly: true},
	{name: "soft_m", field: fieldSoft, toM: 1},
	{name: "firm", field: fieldFirm, keyOnly: true},
	{name: "firm_m", field: fieldFirm, toM: 1},
	{name: "bottom", field: fieldBottom},
}

// table is the layout of one CSV file.
type table struct {
	problems
	separator rune
	names     []string        // the header, as written
	at        [fieldCount]int // column of each field, -1 where there is none
	toM       [fieldCount]float64
	extra     []int // columns kept without being read
	out       *Soundings
	decimals  int // fewest decimals of a good line's last column, -1 before the first
}

// ParseCSV reads soundings from a table whose first line names the columns.
//
// Columns, in any case and order: time (RFC 3339, or empty), lat and lon
// (degrees, WGS 84), depth_m or depth_ft (positive down from the water surface
// of that day), and where there are any pass, quality (fix quality as in an NMEA
// 0183 GGA sentence; 0 is no fix, and the line is dropped), soft_m, firm_m and
// bottom. Other columns are kept in Reading.Extra and named once. Options.Map
// renames. The separator, told from the header, is a comma, a semicolon or a
// tab; decimals may be written with a comma unless that is the separator. A line
// is a record: a quoted field must not hold a line break. A header met again
// further down is skipped, so that files may be strung together.
//
// A line that cannot be read is a Problem and the others survive. The *Error is
// for a file that is no table, lacks a column, names the depth twice or has
// latitude and longitude swapped.
func ParseCSV(name string, data []byte, opt Options) (*Soundings, error) {
	text, err := plainText(name, data)
	if err != nil {
		return nil, err
	}
	t := &table{problems: problems{file: name}, out: &Soundings{Format: FormatCSV}, decimals: -1}
	swapped, swappedAt := 0, 0
	for l := range lines(text) {
		if strings.TrimSpace(l.text) == "" {
			continue
		}
		if !utf8.ValidString(l.text) {
			t.add(CodeTextEncoding, l.n, "", "save the file as UTF-8", "holds bytes that are not UTF-8; they were replaced")
			l.text = strings.ToValidUTF8(l.text, "\uFFFD")
		}
		if t.names == nil {
			if err := t.readHeader(l, opt); err != nil {
				return nil, err
			}
			continue
		}
		if t.readLine(l) {
			if swapped++; swapped == 1 {
				swappedAt = l.n
			}
		}
	}
	if swapped > len(t.out.Readings) {
		return nil, t.fatal(CodeLatLonSwapped, swappedAt, "lat", "swap the two columns, or their names in the header",
			"%d of %d lines have a latitude beyond 90 degrees where the longitude would do: lat and lon are swapped", swapped, swapped+len(t.out.Readings))
	}
	if len(t.out.Readings) == 0 {
		t.add(CodeNoSoundings, 0, "", "see the other messages on this file", "holds no usable sounding")
	}
	t.out.Problems = t.done()
	return t.out, nil
}

// readHeader tells the separator and finds the columns.
func (t *table) readHeader(l line, opt Options) error {
	best := -1
	for _, sep := range []rune{',', ';', '\t'} {
		names, err := split(l.text, sep)
		if err != nil {
			continue
		}
		known := len(names) - 1 // with no known name, the most columns win
		for _, n := range names {
			if slices.ContainsFunc(headers, func(h header) bool { return h.name == fold(n) }) {
				known += 1000
			}
		}
		if known > best {
			best, t.separator, t.names = known, sep, names
		}
	}
	if t.names == nil {
		return t.fatal(CodeCSVQuote, l.n, "", "mend the quotation marks of the header line", "has quotation marks that do not pair in its header")
	}
	for i := range t.at {
		t.at[i] = -1
	}
	if err := t.mapColumns(l, opt); err != nil {
		return err
	}
	if err := t.nameColumns(l); err != nil {
		return err
	}
	if err := t.checkColumns(l); err != nil {
		return err
	}
	for i, name := range t.names {
		if slices.Contains(t.at[:], i) {
			continue
		}
		t.extra = append(t.extra, i)
		t.out.ExtraColumns = append(t.out.ExtraColumns, name)
	}
	if len(t.extra) > 0 {
		t.add(CodeColumnUnknown, l.n, "", "nothing to do unless one of them holds a known field: then map it, as in --map depth=COLUMN",
			"columns kept but not read: %s", quoted(t.out.ExtraColumns))
	}
	return nil
}

// mapColumns gives the fields named in opt.Map their columns.
func (t *table) mapColumns(l line, opt Options) error {
	keys := make([]string, 0, len(opt.Map))
	for k := range opt.Map {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	for _, key := range keys {
		column := opt.Map[key]
		h := slices.IndexFunc(headers, func(h header) bool { return h.name == fold(key) })
		if h < 0 {
			return t.fatal(CodeMapUnknown, l.n, key, "map one of time, lat, lon, depth, pass, quality, soft, firm, bottom", "is no field that a column can be mapped to")
		}
		i := slices.IndexFunc(t.names, func(n string) bool { return fold(n) == fold(column) })
		if i < 0 {
			return t.fatal(CodeColumnMissing, l.n, column, "columns there are: "+quoted(t.names), "is mapped to %s but is not in the header", key)
		}
		f, toM := headers[h].field, headers[h].toM
		if t.at[f] >= 0 {
			return t.fatal(CodeColumnTwice, l.n, column, "map one column to it", "is the second column mapped to %s", key)
		}
		if length := f == fieldDepth || f == fieldSoft || f == fieldFirm; length && toM == 0 {
			toM = unitOf(column)
		}
		t.at[f], t.toM[f] = i, toM
	}
	return nil
}

// unitOf returns the length of one unit of a column in meters, by its name: feet
// where it ends in ft or feet, brackets aside, else meters.
func unitOf(column string) float64 {
	name := strings.TrimRight(fold(column), ")]. ")
	if strings.HasSuffix(name, "ft") || strings.HasSuffix(name, "feet") {
		return metersPerFoot
	}
	return 1
}

// nameColumns finds the columns of the fields that are not mapped, by name.
func (t *table) nameColumns(l line) error {
	mapped := t.at
	for i, name := range t.names {
		h := slices.IndexFunc(headers, func(h header) bool { return h.name == fold(name) && !h.keyOnly })
		if h < 0 || slices.Contains(mapped[:], i) {
			continue
		}
		f := headers[h].field
		if mapped[f] >= 0 {
			continue // the map outranks the name
		}
		if first := t.at[f]; first >= 0 {
			return t.fatal(CodeColumnTwice, l.n, name, fmt.Sprintf("delete one of the two columns, or choose as in --map %s=%s", headers[h].key(), t.names[first]),
				"columns %q and %q both hold the %s", t.names[first], name, headers[h].key())
		}
		t.at[f], t.toM[f] = i, headers[h].toM
	}
	return nil
}

// key returns the name of the header's field in Options.Map.
func (h header) key() string {
	name, _, _ := strings.Cut(h.name, "_")
	return name
}

// checkColumns refuses a table without position or depth.
func (t *table) checkColumns(l line) error {
	for _, need := range []struct {
		f         field
		name, key string
		alike     []string
	}{
		{fieldLat, "lat", "lat", []string{"lat", "y"}},
		{fieldLon, "lon", "lon", []string{"lon", "lng", "x"}},
		{fieldDepth, "depth_m or depth_ft", "depth", []string{"depth", "z"}},
	} {
		if t.at[need.f] >= 0 {
			continue
		}
		candidate := "COLUMN"
		for _, n := range t.names {
			if slices.ContainsFunc(need.alike, func(a string) bool { return strings.HasPrefix(fold(n), a) }) {
				candidate = strconv.Quote(n)
				break
			}
		}
		return t.fatal(CodeColumnMissing, l.n, need.name,
			fmt.Sprintf("name the column in the header line, or map it, as in --map %s=%s", need.key, candidate),
			"is not among the columns %s", quoted(t.names))
	}
	return nil
}

// readLine adds the reading of one line. It reports whether the line was dropped
// because its latitude can only be a longitude.
func (t *table) readLine(l line) (swapped bool) {
	cells, err := split(l.text, t.separator)
	if err != nil {
		t.drop(CodeCSVQuote, l.n, "", "mend the quotation marks; a quoted field must end on its own line", "quotation marks do not pair: %s", clip(l.text))
		return false
	}
	for len(cells) > len(t.names) && cells[len(cells)-1] == "" {
		cells = cells[:len(cells)-1]
	}
	if !slices.ContainsFunc(cells, func(c string) bool { return c != "" }) || slices.Equal(cells, t.names) {
		return false
	}
	if !t.checkLength(l, cells) {
		return false
	}
	r := Reading{File: t.file, Line: l.n, Reference: BelowSurface}
	if lat, lon, ok := t.latLon(cells); ok && math.Abs(lat) > 90 && math.Abs(lat) <= 180 && math.Abs(lon) <= 90 {
		swapped = true
	}
	var okLat, okLon, okDepth bool
	r.Lat, okLat = t.needed(cells, fieldLat, l.n, -90, 90, "give degrees, north positive, as in 38.3128")
	r.Lon, okLon = t.needed(cells, fieldLon, l.n, -180, 180, "give degrees, east positive, as in -93.4527")
	r.ReadingM, okDepth = t.needed(cells, fieldDepth, l.n, 0, MaxDepthM, "depth counts downward from the water surface, in the unit of the column's name")
	if okLat && okLon && !validPosition(r.Lat, r.Lon) {
		t.add(CodeNoFix, l.n, t.name(fieldLat), "drop the line, or look for the position in the receiver's own log", "position 0, 0 is what a receiver without a fix writes")
		okLat = false
	}
	if !okLat || !okLon || !okDepth || !t.options(cells, &r) {
		t.out.Dropped++
		return swapped
	}
	t.out.Readings = append(t.out.Readings, r)
	if d := decimals(cells[len(cells)-1]); t.decimals < 0 || d < t.decimals {
		t.decimals = d
	}
	return false
}

// decimals counts the characters after the decimal sign.
func decimals(s string) int {
	if i := strings.IndexAny(s, ".,"); i >= 0 {
		return len(s) - i - 1
	}
	return 0
}

// checkLength reports whether a line has as many fields as the header and does
// not break off within the last one.
func (t *table) checkLength(l line, cells []string) bool {
	if len(cells) < len(t.names) {
		t.drop(CodeCSVLineCut, l.n, t.names[len(cells)], "complete the line from the instrument, or delete it",
			"has %d of %d fields: %s", len(cells), len(t.names), clip(l.text))
		return false
	}
	if len(cells) > len(t.names) {
		t.drop(CodeCSVLineLong, l.n, "", "write decimals with a point, and text that holds the separator in quotation marks",
			"has %d fields where the header has %d: %s", len(cells), len(t.names), clip(l.text))
		return false
	}
	// A copy that was cut short ends within a number: the last line has no end
	// and fewer decimals than any before.
	if !l.ended && t.decimals > decimals(cells[len(cells)-1]) {
		t.drop(CodeCSVLineCut, l.n, t.names[len(cells)-1], "complete the line from the instrument, or end it with a line feed if it is whole",
			"the file ends within this line: %s", clip(l.text))
		return false
	}
	return true
}

// options fills in the fields a line need not have. It reports whether the
// position can be used at all.
func (t *table) options(cells []string, r *Reading) bool {
	r.Time = t.time(cells, r.Line)
	r.Pass, r.Bottom = t.cell(cells, fieldPass), t.cell(cells, fieldBottom)
	r.SoftM = t.optional(cells, fieldSoft, r.Line, "give the depth to the top of the muck, or leave the field empty")
	r.FirmM = t.optional(cells, fieldFirm, r.Line, "give the depth at which the pole stops, or leave the field empty")
	if r.SoftM != nil && r.FirmM != nil && *r.FirmM < *r.SoftM {
		t.add(CodeValueRange, r.Line, t.name(fieldFirm), "check whether the two columns are swapped",
			"firm bottom at %g m lies above the top of the muck at %g m; both were left out", *r.FirmM, *r.SoftM)
		r.SoftM, r.FirmM = nil, nil
	}
	if s := t.cell(cells, fieldQuality); s != "" {
		q, err := strconv.Atoi(s)
		switch {
		case err != nil || q < 0 || q > 8:
			t.add(CodeValueInvalid, r.Line, t.name(fieldQuality), "give the fix quality, 0 to 8, or leave the field empty", "%q is no fix quality; it was left out", clip(s))
		case q == 0:
			t.add(CodeNoFix, r.Line, t.name(fieldQuality), "nothing to do unless the column means something else: then rename it", "fix quality 0: the receiver had no position")
			return false
		default:
			r.Quality = &q
		}
	}
	for _, i := range t.extra {
		r.Extra = append(r.Extra, cells[i])
	}
	return true
}

// time returns the time of a line, zero where there is none.
func (t *table) time(cells []string, n int) time.Time {
	s := t.cell(cells, fieldTime)
	if s == "" {
		return time.Time{}
	}
	// RFC 3339 section 5.6 lets t and z be small and a space stand for the T.
	norm := []byte(strings.ToUpper(s))
	if len(norm) > 10 && norm[10] == ' ' {
		norm[10] = 'T'
	}
	at, err := time.Parse(time.RFC3339, string(norm))
	if err != nil || at.Year() < 1900 {
		t.add(CodeValueInvalid, n, t.name(fieldTime), "write times as 2026-06-09T14:00:00Z or with an offset as in 2026-06-09T09:00:00-05:00, or leave them empty",
			"%q is no RFC 3339 time; the sounding is kept without time", clip(s))
		return time.Time{}
	}
	return at.UTC()
}

// latLon returns the position of a line, in range or not.
func (t *table) latLon(cells []string) (lat, lon float64, ok bool) {
	lat, okLat := t.number(t.cell(cells, fieldLat))
	lon, okLon := t.number(t.cell(cells, fieldLon))
	return lat, lon, okLat && okLon
}

// needed returns a number that a line must have, in the range lo to hi.
func (t *table) needed(cells []string, f field, n int, lo, hi float64, remedy string) (float64, bool) {
	s := t.cell(cells, f)
	if s == "" {
		t.add(CodeValueMissing, n, t.name(f), remedy, "is empty")
		return 0, false
	}
	v, ok := t.number(s)
	if !ok {
		t.add(CodeValueInvalid, n, t.name(f), remedy, "%q is not a number", clip(s))
		return 0, false
	}
	if t.toM[f] != 0 {
		v *= t.toM[f]
	}
	if v < lo || v > hi {
		t.add(CodeValueRange, n, t.name(f), remedy, "%s is out of range%s", clip(s), t.limits(f, lo, hi))
		return 0, false
	}
	return v, true
}

// limits describes a range in the unit of the field's column.
func (t *table) limits(f field, lo, hi float64) string {
	unit := " degrees"
	if toM := t.toM[f]; toM != 0 {
		lo, hi, unit = lo/toM, hi/toM, " m"
		if toM != 1 {
			unit = " ft"
		}
	}
	return fmt.Sprintf(" (%.0f to %.0f%s)", lo, hi, unit)
}

// optional returns a depth that a line need not have.
func (t *table) optional(cells []string, f field, n int, remedy string) *float64 {
	if t.cell(cells, f) == "" {
		return nil
	}
	if v, ok := t.needed(cells, f, n, 0, MaxDepthM, remedy); ok {
		return &v
	}
	return nil
}

// number parses a plain decimal. Unlike strconv it takes no hexadecimal, no
// infinity and no NaN, and a decimal comma where the comma separates nothing.
func (t *table) number(s string) (float64, bool) { return decimal(s, t.separator) }

func decimal(s string, separator rune) (float64, bool) {
	if separator != ',' && strings.Count(s, ",") == 1 && !strings.Contains(s, ".") {
		s = strings.Replace(s, ",", ".", 1)
	}
	return parseNumber(s)
}

func parseNumber(s string) (float64, bool) {
	if strings.Trim(s, "0123456789+-.eE") != "" || len(s) > 64 {
		return 0, false
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil && !math.IsInf(v, 0)
}

func (t *table) cell(cells []string, f field) string {
	if t.at[f] < 0 {
		return ""
	}
	return cells[t.at[f]]
}

// name returns the name of a field's column as the file has it.
func (t *table) name(f field) string { return t.names[t.at[f]] }

func (t *table) drop(code string, n int, field, remedy, message string, args ...any) {
	t.add(code, n, field, remedy, message, args...)
	t.out.Dropped++
}

// split cuts a line into trimmed fields.
func split(s string, sep rune) ([]string, error) {
	var cells []string
	if !strings.Contains(s, `"`) {
		cells = strings.Split(s, string(sep)) // what csv.Reader gives, without its buffers
	} else {
		r := csv.NewReader(strings.NewReader(s))
		r.Comma, r.FieldsPerRecord, r.TrimLeadingSpace = sep, -1, sep != '\t'
		var err error
		if cells, err = r.Read(); err != nil {
			return nil, err
		}
	}
	for i, c := range cells {
		cells[i] = strings.TrimSpace(c)
	}
	return cells, nil
}

// fold brings a column name to the form in which names are compared.
func fold(name string) string { return strings.ToLower(strings.TrimSpace(name)) }

// quoted lists names for a message.
func quoted(names []string) string {
	const limit = 30
	var b strings.Builder
	for i, n := range names {
		if i == limit {
			fmt.Fprintf(&b, " and %d more", len(names)-limit)
			break
		}
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(strconv.Quote(clip(n)))
	}
	return b.String()
}
