// Package intake reads what instruments and people hand over: an outline as
// GeoJSON, soundings as CSV, a boat's log as NMEA 0183 sentences.
//
// It parses; it does not store, correct or average, and it does not hold soundings
// against an outline, which is geo/survey's. Readings leave as
// they were taken: a depth below the transducer stays one, and the offset the
// instrument reported lies beside it. Whatever is wrong with a file is told as a
// Problem with file and line, and the good rest survives; only a file that can
// give nothing, or whose meaning is in doubt, ends in an *Error.
//
//	file, err := intake.Parse("north-arm.csv", data, intake.Options{})
//	if err != nil { … }                       // *intake.Error
//	for _, p := range file.Soundings.Problems { … }
//
// Everything here is a pure function of its input and safe for concurrent use.
package intake

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"
)

// Problem is one thing that is wrong with the input, told to a person.
type Problem struct {
	Code    string // what kind, for programs: UPPER_SNAKE, see the constants
	File    string // the name the data was given under
	Line    int    // 1 is the first line; 0 says that the whole file is meant
	Field   string // column, sentence field or property; empty where none fits
	Message string // what is wrong
	Remedy  string // what to do about it
}

// String returns the problem as one line of text.
func (p Problem) String() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d", p.Line)
	}
	if p.Field != "" {
		fmt.Fprintf(&b, ": %s", p.Field)
	}
	fmt.Fprintf(&b, ": %s", p.Message)
	if p.Remedy != "" {
		fmt.Fprintf(&b, " (%s)", p.Remedy)
	}
	return b.String()
}

// Error is a Problem that leaves nothing to go on with.
type Error struct{ Problem }

// Error returns the problem as one line of text.
func (e *Error) Error() string { return e.Problem.String() }

// Codes of problems. Codes are only ever added.
const (
	CodeFileEmpty     = "FILE_EMPTY"     // nothing in the file
	CodeFormatUnknown = "FORMAT_UNKNOWN" // neither CSV nor GeoJSON nor NMEA 0183
	CodeTextEncoding  = "TEXT_ENCODING"  // not UTF-8
	CodeNoSoundings   = "NO_SOUNDINGS"   // no usable sounding at all
	CodeLatLonSwapped = "LATLON_SWAPPED" // latitude and longitude the wrong way round
	CodeValueInvalid  = "VALUE_INVALID"  // not a number, time or word of the kind asked for
	CodeValueRange    = "VALUE_RANGE"    // a number no pond can give
	CodeValueMissing  = "VALUE_MISSING"  // an empty field that is needed
	CodeNoFix         = "NO_FIX"         // the receiver had no position

	CodeColumnMissing = "COLUMN_MISSING" // a needed column is not in the header
	CodeColumnTwice   = "COLUMN_TWICE"   // two columns for one thing
	CodeColumnUnknown = "COLUMN_UNKNOWN" // a column kept without being read
	CodeMapUnknown    = "MAP_UNKNOWN"    // Options.Map names no field of ours
	CodeCSVLineCut    = "CSV_LINE_CUT"   // fewer fields than the header
	CodeCSVLineLong   = "CSV_LINE_LONG"  // more fields than the header
	CodeCSVQuote      = "CSV_QUOTE"      // quotation marks that do not pair

	CodeGeoJSONSyntax   = "GEOJSON_SYNTAX"   // not JSON
	CodeGeoJSONShape    = "GEOJSON_SHAPE"    // JSON, but a member is missing or of the wrong kind
	CodeGeometryType    = "GEOMETRY_TYPE"    // no polygon there, or something beside it
	CodeMultiPolygon    = "MULTIPOLYGON"     // several polygons in one geometry
	CodePolygonCount    = "POLYGON_COUNT"    // several polygons in one file
	CodeCRSIgnored      = "CRS_IGNORED"      // the file claims another coordinate system
	CodeRingCrosses     = "RING_CROSSES"     // a ring crosses itself or another
	CodeRingInvalid     = "RING_INVALID"     // a ring that is none for another reason
	CodeOutlineTooWide  = "OUTLINE_TOO_WIDE" // no pond is that large
	CodePropertyInvalid = "PROPERTY_INVALID" // a property that cannot be read

	CodeNMEAChecksum      = "NMEA_CHECKSUM"       // missing or wrong checksum
	CodeNMEALineLong      = "NMEA_LINE_LONG"      // longer than any sentence
	CodeNMEANoise         = "NMEA_NOISE"          // a line without a sentence
	CodeNMEANoDate        = "NMEA_NO_DATE"        // no sentence gave the date
	CodeNMEANoGGA         = "NMEA_NO_GGA"         // positions taken from RMC
	CodeNMEAOffsetKeel    = "NMEA_OFFSET_KEEL"    // offset to the keel, not to the water line
	CodeNMEAOffsetChanged = "NMEA_OFFSET_CHANGED" // the offset changed under way
	CodeNMEAOffsetMissing = "NMEA_OFFSET_MISSING" // the sounder does not know its draft
	CodeBottomLost        = "BOTTOM_LOST"         // the sounder saw no bottom
	CodeNoPosition        = "NO_POSITION"         // depths too far in time from a fix
)

// MaxDepthM is the deepest reading taken for one, in meters; no pond comes near.
const MaxDepthM = 200

// Format is what a file holds, told from its content.
type Format int

// The formats. The zero Format is none of them.
const (
	FormatUnknown Format = iota
	FormatCSV
	FormatGeoJSON
	FormatNMEA
	FormatProfile
)

// String returns the name of the format.
func (f Format) String() string {
	switch f {
	case FormatCSV:
		return "CSV"
	case FormatGeoJSON:
		return "GeoJSON"
	case FormatNMEA:
		return "NMEA 0183"
	case FormatProfile:
		return "profile CSV"
	case FormatUnknown:
	}
	return "unknown"
}

// Options say how a file is to be read. The zero value reads the columns by
// their own names.
type Options struct {
	// Map names the column of a CSV file that holds a field, for headers that
	// are not ours: {"depth": "Sonar"}. Keys are time, lat, lon, depth, pass,
	// quality, soft, firm, bottom; columns are compared without regard to case.
	// A mapped depth, soft or firm column is in meters unless its name ends in
	// ft or feet; the keys depth_m, depth_ft, soft_m and firm_m say it outright.
	Map map[string]string
}

// File is a parsed file: an outline, soundings or a profile, by its format.
type File struct {
	Format    Format
	Outline   *Outline   // nil unless Format is FormatGeoJSON
	Soundings *Soundings // nil unless Format is FormatCSV or FormatNMEA
	Profile   *Profile   // nil unless Format is FormatProfile
}

// Parse tells the format by content and reads the file. The error is an *Error.
func Parse(name string, data []byte, opt Options) (File, error) {
	format, err := Sniff(name, data)
	if err != nil {
		return File{}, err
	}
	f := File{Format: format}
	switch format {
	case FormatGeoJSON:
		f.Outline, err = ParseGeoJSON(name, data)
	case FormatCSV:
		f.Soundings, err = ParseCSV(name, data, opt)
	case FormatNMEA:
		f.Soundings, err = ParseNMEA(name, data)
	case FormatProfile:
		f.Profile, err = ParseProfile(name, data)
	case FormatUnknown: // Sniff returns it with an error only
	}
	return f, err
}

// Sniff tells the format of a file from its content, whatever its name. The
// error is an *Error: FILE_EMPTY, TEXT_ENCODING or FORMAT_UNKNOWN.
func Sniff(name string, data []byte) (Format, error) {
	text, err := plainText(name, data)
	if err != nil {
		return FormatUnknown, err
	}
	if trimmed := bytes.TrimSpace(text); trimmed[0] == '{' {
		return FormatGeoJSON, nil
	}
	const window = 64 << 10 // a log may open with noise, so look well into it
	head := text[:min(len(text), window)]
	first := ""
	for l := range lines(head) {
		if hasSentence(l.text) {
			return FormatNMEA, nil
		}
		if first == "" {
			first = strings.TrimSpace(l.text)
		}
	}
	if isProfile(first) {
		return FormatProfile, nil
	}
	if strings.ContainsAny(first, ",;\t") {
		return FormatCSV, nil
	}
	return FormatUnknown, &Error{Problem{
		Code: CodeFormatUnknown, File: name,
		Message: fmt.Sprintf("is neither CSV, GeoJSON nor an NMEA 0183 log; it begins %q", clip(first)),
		Remedy:  "give soundings or a profile as CSV with a header line, an outline as GeoJSON, or the instrument's log as it was written",
	}}
}

// plainText returns data without its byte order mark, or an *Error for what is
// no text in UTF-8 or empty.
func plainText(name string, data []byte) ([]byte, error) {
	if bytes.HasPrefix(data, []byte{0xff, 0xfe}) || bytes.HasPrefix(data, []byte{0xfe, 0xff}) {
		return nil, &Error{Problem{
			Code: CodeTextEncoding, File: name,
			Message: "is text in UTF-16", Remedy: "save it again as UTF-8",
		}}
	}
	data = bytes.TrimPrefix(data, []byte{0xef, 0xbb, 0xbf})
	if len(bytes.TrimSpace(data)) == 0 {
		return nil, &Error{Problem{
			Code: CodeFileEmpty, File: name,
			Message: "is empty", Remedy: "check that the copy finished and that the logger was switched on",
		}}
	}
	// A logger whose power failed may leave a few zero bytes in good text.
	if head := data[:min(len(data), 4096)]; bytes.Count(head, []byte{0}) > len(head)/10 {
		return nil, &Error{Problem{
			Code: CodeFormatUnknown, File: name,
			Message: "is not a text file", Remedy: "export the soundings as CSV or the log as NMEA 0183 sentences",
		}}
	}
	return data, nil
}

// line is one line of a file without its end.
type line struct {
	n     int
	text  string
	ended bool // false for a last line without a line feed
}

// lines yields the lines of data, whose ends may be LF, CR LF or, in a file
// without a single LF, CR.
func lines(data []byte) func(yield func(line) bool) {
	end := byte('\n')
	if bytes.IndexByte(data, '\n') < 0 {
		end = '\r'
	}
	return func(yield func(line) bool) {
		for n := 1; len(data) > 0; n++ {
			raw, rest, ended := bytes.Cut(data, []byte{end})
			data = rest
			if !yield(line{n: n, text: string(bytes.TrimSuffix(raw, []byte{'\r'})), ended: ended}) {
				return
			}
		}
	}
}

// clip shortens a piece of input for a message.
func clip(s string) string {
	const limit = 40
	if utf8.RuneCountInString(s) <= limit {
		return s
	}
	return string([]rune(s)[:limit]) + "…"
}

// perKind is the number of problems of one code and field that are told one by
// one; the others are counted in one more.
const perKind = 20

// problems collects what is wrong with one file.
type problems struct {
	file  string
	list  []Problem
	kinds []kind
	index map[[2]string]int // of kinds, by code and field
}

type kind struct {
	n, last int
	next    Problem // the first one that was not told
}

func (ps *problems) add(code string, line int, field, remedy, message string, args ...any) {
	p := Problem{Code: code, File: ps.file, Line: line, Field: field, Message: fmt.Sprintf(message, args...), Remedy: remedy}
	k := ps.kindOf(code, field)
	k.n, k.last = k.n+1, line
	switch {
	case k.n <= perKind:
		ps.list = append(ps.list, p)
	case k.n == perKind+1:
		k.next = p
	}
}

func (ps *problems) kindOf(code, field string) *kind {
	i, ok := ps.index[[2]string{code, field}]
	if !ok {
		if ps.index == nil {
			ps.index = map[[2]string]int{}
		}
		i = len(ps.kinds)
		ps.index[[2]string{code, field}], ps.kinds = i, append(ps.kinds, kind{})
	}
	return &ps.kinds[i]
}

// done returns the list, closed by one line for each kind that was cut short.
func (ps *problems) done() []Problem {
	for _, k := range ps.kinds {
		switch p := k.next; {
		case k.n == perKind+1:
			ps.list = append(ps.list, p)
		case k.n > perKind:
			p.Message += fmt.Sprintf("; and %d more like this up to line %d", k.n-perKind-1, k.last)
			ps.list = append(ps.list, p)
		}
	}
	ps.kinds, ps.index = nil, nil
	return ps.list
}

func (ps *problems) fatal(code string, line int, field, remedy, message string, args ...any) *Error {
	return &Error{Problem{Code: code, File: ps.file, Line: line, Field: field, Message: fmt.Sprintf(message, args...), Remedy: remedy}}
}
