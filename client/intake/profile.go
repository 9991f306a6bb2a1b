package intake

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// ProfileReading is one depth of a profile.
type ProfileReading struct {
	DepthM    float64  // below the surface of that day, in [0, 100]
	TempC     float64  // in [0, 40]
	OxygenMgL *float64 // in [0, 30]; nil where it was not measured
	Line      int
}

// Profile is temperature and perhaps oxygen against depth, as one file gave them.
// Pointers are nil and texts empty where the file does not say.
type Profile struct {
	Time       time.Time // UTC; zero where the file gives none
	TimeOfDay  string    // "dawn", "day" or empty
	Lat, Lon   *float64  // degrees, WGS 84; both or none
	Smell      string    // "none", "rotten eggs" or empty
	BottomM    *float64  // depth to the bottom there
	DemandMgL  *float64  // oxygen that bottom water took in a bottle
	LevelM     *float64  // water level above the pond's benchmark
	Readings   []ProfileReading
	Problems   []Problem
	OtherNames []string // columns that were not read
}

// CodeNoProfile says that a profile holds fewer than two usable depths.
const CodeNoProfile = "NO_PROFILE"

// The columns of a profile, all but depth and temperature optional.
const (
	columnDepth = iota
	columnTemp
	columnOxygen
	columnTime
	columnLat
	columnLon
	columnTimeOfDay
	columnSmell
	columnBottom
	columnDemand
	columnLevel
	columnCount
)

// profileColumn is a way to name a column of a profile and how to bring its
// numbers to SI: v*scale + shift, which must lie in lo to hi.
type profileColumn struct {
	name         string
	column       int
	scale, shift float64
	lo, hi       float64
	remedy       string
}

const (
	celsiusRemedy = "water is between 0 and 40 °C (32 and 104 °F); check the column's unit"
	oxygenRemedy  = "oxygen lies between 0 and 30 mg/L; leave it empty where it was not measured"
	depthRemedy   = "depth counts downward from the water surface, in the unit of the column's name"
	levelRemedy   = "give the level above the pond's benchmark, or leave it empty"
)

var profileColumns = []profileColumn{
	{"depth_m", columnDepth, 1, 0, 0, 100, depthRemedy},
	{"depth_ft", columnDepth, metersPerFoot, 0, 0, 100, depthRemedy},
	{"temp_c", columnTemp, 1, 0, 0, 40, celsiusRemedy},
	{"temp_f", columnTemp, 1 / 1.8, -32 / 1.8, 0, 40, celsiusRemedy},
	{"oxygen_mg_l", columnOxygen, 1, 0, 0, 30, oxygenRemedy},
	{"oxygen_ppm", columnOxygen, 1, 0, 0, 30, oxygenRemedy}, // by mass; a liter of water is a kilogram
	{"time", columnTime, 0, 0, 0, 0, ""},
	{"lat", columnLat, 1, 0, -90, 90, "give degrees, north positive, as in 38.3128"},
	{"lon", columnLon, 1, 0, -180, 180, "give degrees, east positive, as in -93.4527"},
	{"time_of_day", columnTimeOfDay, 0, 0, 0, 0, ""},
	{"smell", columnSmell, 0, 0, 0, 0, ""},
	{"bottom_m", columnBottom, 1, 0, 0, 100, depthRemedy},
	{"bottom_ft", columnBottom, metersPerFoot, 0, 0, 100, depthRemedy},
	{"demand_mg_l", columnDemand, 1, 0, 0, 20, "give what the bottle test showed, 0 to 20 mg/L, or leave it empty"},
	{"level_m", columnLevel, 1, 0, -500, 9000, levelRemedy},
	{"level_ft", columnLevel, metersPerFoot, 0, -500, 9000, levelRemedy},
}

// profileNamed tells which column a header names, nil for none.
func profileNamed(header string) *profileColumn {
	i := slices.IndexFunc(profileColumns, func(c profileColumn) bool { return c.name == fold(header) })
	if i < 0 {
		return nil
	}
	return &profileColumns[i]
}

// isProfile reports whether the header line of a table is that of a profile:
// depth and temperature, and no position unless there is oxygen, too.
func isProfile(headerLine string) bool {
	for _, sep := range []rune{',', ';', '\t'} {
		names, err := split(headerLine, sep)
		if err != nil || len(names) < 2 {
			continue
		}
		var has [columnCount]bool
		for _, n := range names {
			if c := profileNamed(n); c != nil {
				has[c.column] = true
			}
		}
		if has[columnDepth] && has[columnTemp] && (has[columnOxygen] || !has[columnLat]) {
			return true
		}
	}
	return false
}

// profileTable is the layout of one profile.
type profileTable struct {
	problems
	separator rune
	names     []string
	at        [columnCount]int // column of each field, -1 where there is none
	what      [columnCount]*profileColumn
	out       *Profile
}

// ParseProfile reads a profile from a table whose first line names the columns:
// depth_m or depth_ft, temp_c or temp_f, and where there are any oxygen_mg_l,
// time (RFC 3339), time_of_day (dawn or day), lat and lon, bottom_m or bottom_ft
// (depth to the bottom there), smell (none or rotten eggs), demand_mg_l and
// level_m or level_ft. What holds for the whole profile is read from the first
// line that gives it. A bad line costs that line. The *Error is for a file that is
// no such table.
func ParseProfile(name string, data []byte) (*Profile, error) {
	text, err := plainText(name, data)
	if err != nil {
		return nil, err
	}
	t := &profileTable{problems: problems{file: name}, out: new(Profile)}
	for l := range lines(text) {
		if strings.TrimSpace(l.text) == "" {
			continue
		}
		l.text = strings.ToValidUTF8(l.text, "\uFFFD")
		if t.names == nil {
			if err := t.readHeader(l); err != nil {
				return nil, err
			}
			continue
		}
		t.readLine(l)
	}
	if len(t.out.Readings) < 2 {
		t.add(CodeNoProfile, 0, "", "give at least two depths; see the other messages on this file", "holds %d usable depths", len(t.out.Readings))
	}
	if (t.out.Lat == nil) != (t.out.Lon == nil) {
		t.out.Lat, t.out.Lon = nil, nil
	}
	t.out.Problems = t.done()
	return t.out, nil
}

func (t *profileTable) readHeader(l line) error {
	best := -1
	for _, sep := range []rune{',', ';', '\t'} {
		names, err := split(l.text, sep)
		if err != nil {
			continue
		}
		known := 0
		for _, n := range names {
			if profileNamed(n) != nil {
				known++
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
	for i, n := range t.names {
		c := profileNamed(n)
		switch {
		case c == nil:
			t.out.OtherNames = append(t.out.OtherNames, n)
		case t.at[c.column] >= 0:
			return t.fatal(CodeColumnTwice, l.n, n, "delete one of the two columns", "columns %q and %q hold the same", t.names[t.at[c.column]], n)
		default:
			t.at[c.column], t.what[c.column] = i, c
		}
	}
	for column, needed := range []string{"depth_m or depth_ft", "temp_c or temp_f"} {
		if t.at[column] < 0 {
			return t.fatal(CodeColumnMissing, l.n, needed, "name the column in the header line", "is not among the columns %s", quoted(t.names))
		}
	}
	if len(t.out.OtherNames) > 0 {
		t.add(CodeColumnUnknown, l.n, "", "nothing to do unless one of them holds a known field: then rename it", "columns not read: %s", quoted(t.out.OtherNames))
	}
	return nil
}

func (t *profileTable) readLine(l line) {
	cells, err := split(l.text, t.separator)
	if err != nil {
		t.add(CodeCSVQuote, l.n, "", "mend the quotation marks", "quotation marks do not pair: %s", clip(l.text))
		return
	}
	for len(cells) > len(t.names) && cells[len(cells)-1] == "" {
		cells = cells[:len(cells)-1]
	}
	if !slices.ContainsFunc(cells, func(c string) bool { return c != "" }) || slices.Equal(cells, t.names) {
		return
	}
	switch {
	case len(cells) < len(t.names):
		t.add(CodeCSVLineCut, l.n, t.names[len(cells)], "complete the line, or delete it", "has %d of %d fields: %s", len(cells), len(t.names), clip(l.text))
		return
	case len(cells) > len(t.names):
		t.add(CodeCSVLineLong, l.n, "", "write decimals with a point", "has %d fields where the header has %d: %s", len(cells), len(t.names), clip(l.text))
		return
	}
	t.readWhole(cells, l.n)
	r := ProfileReading{Line: l.n, OxygenMgL: t.number(cells, columnOxygen, l.n)}
	depth, temp := t.needed(cells, columnDepth, l.n), t.needed(cells, columnTemp, l.n)
	if depth == nil || temp == nil {
		return
	}
	r.DepthM, r.TempC = *depth, *temp
	if i := slices.IndexFunc(t.out.Readings, func(o ProfileReading) bool { return o.DepthM == r.DepthM }); i >= 0 {
		t.add(CodeValueInvalid, l.n, t.names[t.at[columnDepth]], "delete the worse of the two lines", "line %d has the same depth; this line was left out", t.out.Readings[i].Line)
		return
	}
	t.out.Readings = append(t.out.Readings, r)
}

// readWhole takes what holds for the whole profile, from the first line that has it.
func (t *profileTable) readWhole(cells []string, n int) {
	first := func(to **float64, column int) {
		if *to == nil {
			*to = t.number(cells, column, n)
		}
	}
	first(&t.out.Lat, columnLat)
	first(&t.out.Lon, columnLon)
	first(&t.out.BottomM, columnBottom)
	first(&t.out.DemandMgL, columnDemand)
	first(&t.out.LevelM, columnLevel)
	word := func(to *string, column int, words ...string) {
		s := fold(t.cell(cells, column))
		if *to != "" || s == "" {
			return
		}
		if !slices.Contains(words, s) {
			t.add(CodeValueInvalid, n, t.names[t.at[column]], "write "+strings.Join(words, " or ")+", or leave it empty", "%q is not a word known here; it was left out", clip(s))
			return
		}
		*to = s
	}
	word(&t.out.TimeOfDay, columnTimeOfDay, "dawn", "day")
	word(&t.out.Smell, columnSmell, "none", "rotten eggs")
	if s := t.cell(cells, columnTime); s != "" && t.out.Time.IsZero() {
		at, err := time.Parse(time.RFC3339, strings.Replace(strings.ToUpper(s), " ", "T", 1))
		if err != nil || at.Year() < 1900 {
			t.add(CodeValueInvalid, n, t.names[t.at[columnTime]], "write times as 2026-06-09T06:10:00-05:00", "%q is no RFC 3339 time; it was left out", clip(s))
			return
		}
		t.out.Time = at.UTC()
	}
}

func (t *profileTable) cell(cells []string, column int) string {
	if t.at[column] < 0 {
		return ""
	}
	return cells[t.at[column]]
}

// needed is number for a field that every line must have.
func (t *profileTable) needed(cells []string, column, n int) *float64 {
	if t.cell(cells, column) == "" {
		t.add(CodeValueMissing, n, t.names[t.at[column]], t.what[column].remedy, "is empty")
		return nil
	}
	return t.number(cells, column, n)
}

// number returns a field in SI, nil where it is empty or wrong.
func (t *profileTable) number(cells []string, column, n int) *float64 {
	s := t.cell(cells, column)
	if s == "" {
		return nil
	}
	c := t.what[column]
	v, ok := decimal(s, t.separator)
	if !ok {
		t.add(CodeValueInvalid, n, t.names[t.at[column]], c.remedy, "%q is not a number", clip(s))
		return nil
	}
	if v = v*c.scale + c.shift; !(v >= c.lo && v <= c.hi) {
		t.add(CodeValueRange, n, t.names[t.at[column]], c.remedy, "%s is out of range (%s)", clip(s), fmt.Sprintf("%g to %g in SI", c.lo, c.hi))
		return nil
	}
	return &v
}
