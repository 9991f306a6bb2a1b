package intake

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestParseCSV_Reads(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 6, 9, 14, 0, 0, 0, time.UTC)
	for _, tc := range []struct {
		name  string
		csv   string
		opt   Options
		want  []Reading
		extra []string
		codes []string
	}{
		{
			name: "plain",
			csv:  "time,lat,lon,depth_m\n2026-06-09T14:00:00Z,38.3,-93.4,1.25\n",
			want: []Reading{{Time: at, Lat: 38.3, Lon: -93.4, ReadingM: 1.25, Line: 2}},
		},
		{
			name: "byte order mark, any case and order, spaces, CR LF, no last line end",
			csv:  "\ufeffDepth_M, LON ,Lat,TIME\r\n1.25, -93.4 ,38.3,2026-06-09T09:00:00-05:00\r\n\r\n2,-93.4,38.3,",
			want: []Reading{{Time: at, Lat: 38.3, Lon: -93.4, ReadingM: 1.25, Line: 2}, {Lat: 38.3, Lon: -93.4, ReadingM: 2, Line: 4}},
		},
		{
			name: "feet", // 10 ft = 3.048 m, exact by definition (NIST SP 811)
			csv:  "lat,lon,depth_ft\n38.3,-93.4,10\n",
			want: []Reading{{Lat: 38.3, Lon: -93.4, ReadingM: 3.048, Line: 2}},
		},
		{
			name: "semicolon and decimal comma",
			csv:  "lat;lon;depth_m\n38,3;-93,4;1,25\n38.3;-93.4;1.5\n",
			want: []Reading{{Lat: 38.3, Lon: -93.4, ReadingM: 1.25, Line: 2}, {Lat: 38.3, Lon: -93.4, ReadingM: 1.5, Line: 3}},
		},
		{
			name: "tab",
			csv:  "lat\tlon\tdepth_m\n38.3\t-93.4\t1.25\n",
			want: []Reading{{Lat: 38.3, Lon: -93.4, ReadingM: 1.25, Line: 2}},
		},
		{
			name: "old line ends",
			csv:  "lat,lon,depth_m\r38.3,-93.4,1.25\r",
			want: []Reading{{Lat: 38.3, Lon: -93.4, ReadingM: 1.25, Line: 2}},
		},
		{
			name:  "everything there is, and more",
			csv:   "time,lat,lon,depth_m,pass,quality,soft_m,firm_m,bottom,crew,\"note, long\"\n,38.3,-93.4,0,A,4,1.2,1.5,\"silt, \"\"black\"\"\",ann,x\n",
			want:  []Reading{{Lat: 38.3, Lon: -93.4, Line: 2, Pass: "A", Quality: new(4), SoftM: new(1.2), FirmM: new(1.5), Bottom: `silt, "black"`, Extra: []string{"ann", "x"}}},
			extra: []string{"crew", "note, long"},
			codes: []string{CodeColumnUnknown},
		},
		{
			name:  "mapped, in feet by name",
			csv:   "Latitude,Longitude,Sonar (ft)\n38.3,-93.4,10\n",
			opt:   Options{Map: map[string]string{"lat": "latitude", "LON": "Longitude", "depth": "sonar (ft)"}},
			want:  []Reading{{Lat: 38.3, Lon: -93.4, ReadingM: 3.048, Line: 2}},
			codes: nil,
		},
		{
			name:  "the map outranks a column's name",
			csv:   "lat,lon,depth_m,depth_ft\n38.3,-93.4,9,10\n",
			opt:   Options{Map: map[string]string{"depth": "depth_ft"}},
			want:  []Reading{{Lat: 38.3, Lon: -93.4, ReadingM: 3.048, Line: 2, Extra: []string{"9"}}},
			extra: []string{"depth_m"},
			codes: []string{CodeColumnUnknown},
		},
		{
			name: "mapped in feet outright",
			csv:  "lat,lon,sonar\n38.3,-93.4,10\n",
			opt:  Options{Map: map[string]string{"depth_ft": "sonar"}},
			want: []Reading{{Lat: 38.3, Lon: -93.4, ReadingM: 3.048, Line: 2}},
		},
		{
			name: "a second header and empty rows are skipped",
			csv:  "lat,lon,depth_m\n38.3,-93.4,1\n,,\nlat,lon,depth_m\n38.3,-93.4,2,,\n",
			want: []Reading{{Lat: 38.3, Lon: -93.4, ReadingM: 1, Line: 2}, {Lat: 38.3, Lon: -93.4, ReadingM: 2, Line: 5}},
		},
		{
			name: "RFC 3339 allows small letters and a space", // RFC 3339 section 5.6, notes
			csv:  "time,lat,lon,depth_m\n2026-06-09 14:00:00z,38.3,-93.4,1\n2026-06-09t14:00:00.000Z,38.3,-93.4,2\n",
			want: []Reading{{Time: at, Lat: 38.3, Lon: -93.4, ReadingM: 1, Line: 2}, {Time: at, Lat: 38.3, Lon: -93.4, ReadingM: 2, Line: 3}},
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			got, err := ParseCSV("s.csv", []byte(tc.csv), tc.opt)
			if err != nil {
				t.Fatal(err)
			}
			for i := range tc.want {
				tc.want[i].File, tc.want[i].Reference = "s.csv", BelowSurface
			}
			if diff := cmp.Diff(tc.want, got.Readings, within(1e-12)); diff != "" {
				t.Errorf("readings differ (-want +got):\n%s", diff)
			}
			if diff := cmp.Diff(tc.extra, got.ExtraColumns); diff != "" {
				t.Errorf("extra columns differ (-want +got):\n%s", diff)
			}
			if diff := cmp.Diff(tc.codes, codes(got.Problems)); diff != "" {
				t.Errorf("problems differ (-want +got):\n%s", diff)
			}
		})
	}
}

func TestParseCSV_Refuses(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, csv   string
		opt         Options
		code, field string
		line        int
	}{
		{name: "empty", csv: "\ufeff \r\n\n", code: CodeFileEmpty},
		{name: "UTF-16", csv: "\xff\xfel\x00a\x00t\x00", code: CodeTextEncoding},
		{name: "binary", csv: "PK\x03\x04\x00\x00\x00\x00,\x00", code: CodeFormatUnknown},
		{name: "both depths", csv: "\nlat,lon,depth_m,depth_ft\n", code: CodeColumnTwice, field: "depth_ft", line: 2},
		{name: "lat twice", csv: "lat,lon,depth_m,LAT\n", code: CodeColumnTwice, field: "LAT", line: 1},
		{name: "no depth", csv: "lat,lon,Depth\n38.3,-93.4,1\n", code: CodeColumnMissing, field: "depth_m or depth_ft", line: 1},
		{name: "no header", csv: "38.3,-93.4,1\n", code: CodeColumnMissing, field: "lat", line: 1},
		{name: "header quotes", csv: "\"lat,lon,depth_m\n38.3,-93.4,1\n", code: CodeCSVQuote, line: 1},
		{name: "map to nowhere", csv: "lat,lon,d\n", opt: Options{Map: map[string]string{"depth": "D2"}}, code: CodeColumnMissing, field: "D2", line: 1},
		{name: "map of nothing", csv: "lat,lon,d\n", opt: Options{Map: map[string]string{"dept": "d"}}, code: CodeMapUnknown, field: "dept", line: 1},
		{name: "map twice", csv: "lat,lon,d,e\n", opt: Options{Map: map[string]string{"depth": "d", "depth_ft": "e"}}, code: CodeColumnTwice, field: "e", line: 1},
		{name: "swapped beyond the pole", csv: "lat,lon,depth_m\n-93.4,38.3,1\n-93.4,38.3,1\n93.4,138.3,1\n", code: CodeLatLonSwapped, field: "lat", line: 2},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			_, err := ParseCSV("s.csv", []byte(tc.csv), tc.opt)
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("ParseCSV = %v, want an *Error", err)
			}
			if e.Code != tc.code || e.Field != tc.field || e.Line != tc.line || e.File != "s.csv" || e.Message == "" || e.Remedy == "" {
				t.Errorf("error = %+v, want %s in line %d, field %q, with a remedy", e.Problem, tc.code, tc.line, tc.field)
			}
		})
	}
}

func TestParseCSV_RemedyShowsTheMap(t *testing.T) {
	t.Parallel()
	_, err := ParseCSV("s.csv", []byte("lat,lon,Depth of water\n38.3,-93.4,1\n"), Options{})
	if want := `--map depth="Depth of water"`; err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("ParseCSV = %v, want a remedy with %s", err, want)
	}
}

// TestParseCSV_BadLines puts one bad line between good ones.
func TestParseCSV_BadLines(t *testing.T) {
	t.Parallel()
	const head = "time,lat,lon,depth_m,quality,soft_m,firm_m\n2026-06-09T14:00:00Z,38.30001,-93.40001,1.25,1,,\n"
	const tail = "2026-06-09T14:00:02Z,38.30003,-93.40003,1.35,1,,\n"
	for _, tc := range []struct {
		name, bad   string
		code, field string
		keeps       bool // the sounding survives without the field
	}{
		{"cut in a field", "2026-06-09T14:00:01Z,38.30002,-93.4\n", CodeCSVLineCut, "depth_m", false},
		{"cut at the start", "20\n", CodeCSVLineCut, "lat", false},
		{"too many fields", "2026-06-09T14:00:01Z,38,30002,-93,40002,1,30,1,,\n", CodeCSVLineLong, "", false},
		{"quote", "\"2026-06-09T14:00:01Z,38.30002,-93.40002,1.30,1,,\n", CodeCSVQuote, "", false},
		{"stray quote", "2026-06-09T14:00:01Z,38.3\"0002,-93.40002,1.30,1,,\n", CodeCSVQuote, "", false},
		{"no depth", "2026-06-09T14:00:01Z,38.30002,-93.40002,,1,,\n", CodeValueMissing, "depth_m", false},
		{"no latitude", "2026-06-09T14:00:01Z,,-93.40002,1.30,1,,\n", CodeValueMissing, "lat", false},
		{"depth NaN", "2026-06-09T14:00:01Z,38.30002,-93.40002,NaN,1,,\n", CodeValueInvalid, "depth_m", false},
		{"depth Inf", "2026-06-09T14:00:01Z,38.30002,-93.40002,+Inf,1,,\n", CodeValueInvalid, "depth_m", false},
		{"depth too large for a number", "2026-06-09T14:00:01Z,38.30002,-93.40002,1e400,1,,\n", CodeValueInvalid, "depth_m", false},
		{"depth hexadecimal", "2026-06-09T14:00:01Z,38.30002,-93.40002,0x1p1,1,,\n", CodeValueInvalid, "depth_m", false},
		{"depth with unit", "2026-06-09T14:00:01Z,38.30002,-93.40002,1.30 m,1,,\n", CodeValueInvalid, "depth_m", false},
		{"depth negative", "2026-06-09T14:00:01Z,38.30002,-93.40002,-1.30,1,,\n", CodeValueRange, "depth_m", false},
		{"depth beyond any pond", "2026-06-09T14:00:01Z,38.30002,-93.40002,1300,1,,\n", CodeValueRange, "depth_m", false},
		{"latitude beyond the pole", "2026-06-09T14:00:01Z,98.30002,-193.40002,1.30,1,,\n", CodeValueRange, "lat", false},
		{"longitude beyond the circle", "2026-06-09T14:00:01Z,38.30002,-193.40002,1.30,1,,\n", CodeValueRange, "lon", false},
		{"degrees and minutes", "2026-06-09T14:00:01Z,38 18.001 N,-93.40002,1.30,1,,\n", CodeValueInvalid, "lat", false},
		{"position zero", "2026-06-09T14:00:01Z,0.0,0.0,1.30,1,,\n", CodeNoFix, "lat", false},
		{"no fix", "2026-06-09T14:00:01Z,38.30002,-93.40002,1.30,0,,\n", CodeNoFix, "quality", false},
		{"quality in words", "2026-06-09T14:00:01Z,38.30002,-93.40002,1.30,good,,\n", CodeValueInvalid, "quality", true},
		{"time without offset", "2026-06-09T14:00:01,38.30002,-93.40002,1.30,1,,\n", CodeValueInvalid, "time", true},
		{"time of another country", "9/6/2026 14:00,38.30002,-93.40002,1.30,1,,\n", CodeValueInvalid, "time", true},
		{"muck of no number", "2026-06-09T14:00:01Z,38.30002,-93.40002,1.30,1,x,\n", CodeValueInvalid, "soft_m", true},
		{"firm bottom above the muck", "2026-06-09T14:00:01Z,38.30002,-93.40002,1.30,1,1.5,1.2\n", CodeValueRange, "firm_m", true},
		{"not UTF-8", "2026-06-09T14:00:01Z,38.30002,-93.40002,1.30\xb0,1,,\n", CodeTextEncoding, "", false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			s, err := ParseCSV("s.csv", []byte(head+tc.bad+tail), Options{})
			if err != nil {
				t.Fatal(err)
			}
			want := []int{2, 4}
			if tc.keeps {
				want = []int{2, 3, 4}
			}
			var got []int
			for _, r := range s.Readings {
				got = append(got, r.Line)
			}
			if !slices.Equal(got, want) {
				t.Errorf("lines read %v, want %v", got, want)
			}
			if s.Dropped != 3-len(want) {
				t.Errorf("dropped %d, want %d", s.Dropped, 3-len(want))
			}
			if len(s.Problems) == 0 {
				t.Fatal("no problem was told")
			}
			p := s.Problems[0]
			if p.Code != tc.code || p.Line != 3 || p.Field != tc.field || p.File != "s.csv" || p.Message == "" || p.Remedy == "" {
				t.Errorf("problem = %+v, want %s in line 3, field %q, with a remedy", p, tc.code, tc.field)
			}
		})
	}
}

func TestParseCSV_FileCutWithinTheLastNumber(t *testing.T) {
	t.Parallel()
	const head = "lat,lon,depth_m\n38.30001,-93.40001,1.250\n38.30002,-93.40002,1.300\n"
	for _, tc := range []struct {
		name, last string
		want       int
	}{
		{"cut", "38.30003,-93.40003,1.3", 2},
		{"cut at the point", "38.30003,-93.40003,1.", 2},
		{"whole without a line end", "38.30003,-93.40003,1.350", 3},
		{"short but ended", "38.30003,-93.40003,1.3\n", 3},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			s, err := ParseCSV("s.csv", []byte(head+tc.last), Options{})
			if err != nil {
				t.Fatal(err)
			}
			if len(s.Readings) != tc.want {
				t.Errorf("%d readings, want %d", len(s.Readings), tc.want)
			}
			if cut := len(s.Problems) == 1 && s.Problems[0].Code == CodeCSVLineCut && s.Problems[0].Line == 4; cut != (tc.want == 2) {
				t.Errorf("problems = %v, want the cut line told where there is one", s.Problems)
			}
		})
	}
}

func TestParseCSV_NothingUsable(t *testing.T) {
	t.Parallel()
	s, err := ParseCSV("s.csv", []byte("lat,lon,depth_m\n"), Options{})
	if err != nil || len(s.Readings) != 0 || len(s.Problems) != 1 || s.Problems[0].Code != CodeNoSoundings {
		t.Errorf("ParseCSV = %+v, %v, want NO_SOUNDINGS told", s, err)
	}
}

// TestParseCSV_GoodLinesSurvive inserts any one line anywhere.
func TestParseCSV_GoodLinesSurvive(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(t, "n")
		good := make([]string, n)
		for i := range good {
			good[i] = fmt.Sprintf("2026-06-09T14:00:%02dZ,38.3%04d,-93.4%04d,%.2f,\"a, b\"", i, i, i, rapid.Float64Range(0, 20).Draw(t, "depth"))
		}
		bad := strings.NewReplacer("\n", "", "\r", "").Replace(rapid.OneOf(
			rapid.String(),
			rapid.StringMatching(`[0-9TZ:.,;"\-]{0,60}`),
			rapid.Map(rapid.IntRange(0, 40), func(cut int) string { return good[0][:cut] }),
		).Draw(t, "bad"))
		at := rapid.IntRange(0, n).Draw(t, "at")
		mixed := slices.Insert(slices.Clone(good), at, bad)
		s, err := ParseCSV("s.csv", []byte("time,lat,lon,depth_m,note\n"+strings.Join(mixed, "\n")), Options{})
		if err != nil {
			t.Fatal(err)
		}
		clean, err := ParseCSV("s.csv", []byte("time,lat,lon,depth_m,note\n"+strings.Join(good, "\n")+"\n"), Options{})
		if err != nil || len(clean.Readings) != n {
			t.Fatalf("the good lines alone gave %+v, %v", clean, err)
		}
		var got []Reading
		for _, r := range s.Readings {
			if r.Line != at+2 {
				if r.Line > at+2 {
					r.Line--
				}
				got = append(got, r)
			}
		}
		if diff := cmp.Diff(clean.Readings, got); diff != "" {
			t.Errorf("good lines did not survive %q (-want +got):\n%s", bad, diff)
		}
	})
}

// TestParseNMEA_GoodLinesSurvive inserts any one line anywhere.
func TestParseNMEA_GoodLinesSurvive(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		good := []string{rmc("120000", "090626")}
		n := rapid.IntRange(1, 8).Draw(t, "n")
		for i := range n {
			good = append(good, fix(fmt.Sprintf("1200%02d", i), float64(i)/100), dpt(rapid.Float64Range(0.1, 20).Draw(t, "depth")))
		}
		// A line that is no sentence with a checksum: sound sentences may well
		// change what the others mean.
		bad := strings.NewReplacer("\n", "", "\r", "", "*", "").Replace(rapid.OneOf(
			rapid.String(),
			rapid.StringMatching(`\$[A-Z]{5}[0-9.,NWM]{0,60}`),
			rapid.Map(rapid.IntRange(0, 25), func(cut int) string { return good[1][:cut] }),
		).Draw(t, "bad"))
		at := rapid.IntRange(0, len(good)).Draw(t, "at")
		mixed := slices.Insert(slices.Clone(good), at, bad+"\n")
		s, err := ParseNMEA("boat.nmea", []byte(strings.Join(mixed, "")))
		if err != nil {
			t.Fatal(err)
		}
		clean, err := ParseNMEA("boat.nmea", []byte(strings.Join(good, "")))
		if err != nil || len(clean.Readings) != n {
			t.Fatalf("the good lines alone gave %+v, %v", clean, err)
		}
		for i, r := range s.Readings {
			if r.Line > at+1 {
				s.Readings[i].Line--
			}
		}
		if diff := cmp.Diff(clean.Readings, s.Readings); diff != "" {
			t.Errorf("good lines did not survive %q (-want +got):\n%s", bad, diff)
		}
	})
}
