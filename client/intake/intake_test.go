package intake

import (
	"errors"
	"strings"
	"testing"
)

func TestSniff(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, data string
		want       Format
		code       string
	}{
		{"CSV", "time,lat,lon,depth_m\n", FormatCSV, ""},
		{"CSV with semicolons", "\ufeff\nlat;lon;depth_m", FormatCSV, ""},
		{"CSV whose text has a dollar sign", "lat,lon,depth_m,note\n38.3,-93.4,1,$5 bait\n", FormatCSV, ""},
		{"GeoJSON", " \n{\"type\": \"Polygon\"", FormatGeoJSON, ""},
		{"NMEA", "$SDDPT,2.85,0.30*5B\r\n", FormatNMEA, ""},
		{"NMEA after noise", "\x00\x00boot, 1.2\n2.85,0.30*5B\n\\g:1-2-33*5A\\$SDDPT,2.85,0.30*5B\r\n" + strings.Repeat("$GPGSV,1,1,00*79\n", 9), FormatNMEA, ""},
		{"NMEA with every checksum wrong", "$SDDPT,2.85,0.30*00\n", FormatNMEA, ""},
		{"empty", "", FormatUnknown, CodeFileEmpty},
		{"blank", " \r\n\t", FormatUnknown, CodeFileEmpty},
		{"JSON that is an array", "[1]", FormatUnknown, CodeFormatUnknown},
		{"prose", "We went out on Tuesday.", FormatUnknown, CodeFormatUnknown},
		{"binary", "\x89PNG\r\n\x1a\n\x00\x00\x00\x0d\x00\x00,", FormatUnknown, CodeFormatUnknown},
		{"UTF-16", "\xff\xfet\x00i\x00", FormatUnknown, CodeTextEncoding},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			got, err := Sniff("f", []byte(tc.data))
			if got != tc.want {
				t.Errorf("Sniff = %v, want %v", got, tc.want)
			}
			var e *Error
			if tc.code == "" && err != nil || tc.code != "" && (!errors.As(err, &e) || e.Code != tc.code || e.File != "f" || e.Remedy == "") {
				t.Errorf("Sniff error = %v, want code %q", err, tc.code)
			}
		})
	}
}

func TestParse_ByContentNotByName(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, data string
		want       Format
	}{
		{"pond.csv", polygonOf(square), FormatGeoJSON},
		{"pond.geojson", "lat,lon,depth_m\n38.3,-93.4,1\n", FormatCSV},
		{"pond.csv", fix("120000", 0) + dpt(1), FormatNMEA},
	} {
		f, err := Parse(tc.name, []byte(tc.data), Options{})
		if err != nil || f.Format != tc.want || (f.Outline != nil) != (tc.want == FormatGeoJSON) || (f.Soundings != nil) != (tc.want != FormatGeoJSON) {
			t.Errorf("Parse(%q) = %+v, %v, want %v", tc.name, f, err, tc.want)
		}
	}
	if _, err := Parse("f", nil, Options{}); err == nil {
		t.Error("Parse of nothing gave no error")
	}
}

func TestProblem_String(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		p    Problem
		want string
	}{
		{Problem{File: "a.csv", Line: 3, Field: "lat", Message: "is empty", Remedy: "give degrees"}, "a.csv:3: lat: is empty (give degrees)"},
		{Problem{File: "a.csv", Message: "is empty"}, "a.csv: is empty"},
	} {
		if got := tc.p.String(); got != tc.want {
			t.Errorf("String = %q, want %q", got, tc.want)
		}
	}
}

func BenchmarkParseCSV(b *testing.B) {
	var sb strings.Builder
	sb.WriteString("time,lat,lon,depth_m\n")
	for range 10000 {
		sb.WriteString("2026-06-09T14:00:00.000Z,38.31278802,-93.45267581,0.298\n")
	}
	data := []byte(sb.String())
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := ParseCSV("s.csv", data, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkParseNMEA(b *testing.B) {
	var sb strings.Builder
	for i := range 10000 {
		clock := []byte("000000")
		for at, k := 5, i; at >= 0; at-- {
			base := 10
			if at%2 == 0 {
				base = 6
			}
			clock[at] += byte(k % base)
			k /= base
		}
		sb.WriteString(fix(string(clock), 0) + rmc(string(clock), "090626") + dpt(2.5))
	}
	data := []byte(sb.String())
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := ParseNMEA("boat.nmea", data); err != nil {
			b.Fatal(err)
		}
	}
}
