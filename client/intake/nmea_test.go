package intake

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// Sources of the sentences below.
const (
	parserDocs = "sample sentence in the documentation of open NMEA 0183 parsers"
	fromMemory = "from memory: the GGA sentence that tutorials print"
	recomputed = "recomputed: exclusive or of the bytes between $ and *, in a script apart"
)

func TestChecksum_Samples(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		body   string
		want   byte
		source string
	}{
		{"SDDBK,1330.5,f,0405.5,M,0221.6,F", 0x2E, parserDocs},
		{"GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,", 0x47, fromMemory},
		{"GPGGA,153027.40,3636.00600,N,08411.94000,W,4,14,0.8,312.450,M,-31.200,M,1.0,0123", 0x74, recomputed},
		{"GPGGA,153028.40,3636.00700,N,08411.93800,W,1,07,1.9,,M,,M,,", 0x41, recomputed},
		{"GNRMC,153027.40,A,3636.00600,N,08411.94000,W,2.1,087.4,241126,,,R", 0x4A, recomputed},
		{"SDDPT,2.85,0.30,10.0", 0x68, recomputed},
		{"SDDPT,2.85,0.30", 0x5B, recomputed},
		{"SDDBT,9.35,f,2.85,M,1.56,F", 0x34, recomputed},
		{"SDDBS,10.33,f,3.15,M,1.72,F", 0x03, recomputed},
		{"SDDBK,8.86,f,2.70,M,1.48,F", 0x27, recomputed},
		{"SDMTW,18.4,C", 0x09, recomputed},
		{"YXMTW,18.4,C", 0x1F, recomputed},
		{"HCHDG,087.4,,,3.9,W", 0x3A, recomputed},
		{"HEHDT,083.5,T", 0x21, recomputed},
		{"GPVTG,087.4,T,091.3,M,2.1,N,3.9,K,D", 0x2F, recomputed},
		{"GPZDA,153027.40,24,11,2026,00,00", 0x60, recomputed},
	} {
		if got := checksum(tc.body); got != tc.want {
			t.Errorf("checksum(%q) = %02X, want %02X (%s)", tc.body, got, tc.want, tc.source)
		}
		var ps problems
		if got := sentences(line{n: 1, text: fmt.Sprintf("$%s*%02X", tc.body, tc.want)}, &ps); len(got) != 1 || len(ps.list) != 0 {
			t.Errorf("sentences(%q) = %v, %v, want one sentence", tc.body, got, ps.list)
		}
	}
}

// say frames a sentence.
func say(body string) string { return fmt.Sprintf("$%s*%02X\r\n", body, checksum(body)) }

// TestParseNMEA_WholeFleet reads the sentences a well-equipped boat sends: a
// precise receiver, a sounder with offset, a compass.
func TestParseNMEA_WholeFleet(t *testing.T) {
	t.Parallel()
	// Sums recomputed; the first is longer than 82 characters on purpose.
	const sent = `$GPGGA,153027.40,3636.00600,N,08411.94000,W,4,14,0.8,312.450,M,-31.200,M,1.0,0123*74
$GNRMC,153027.40,A,3636.00600,N,08411.94000,W,2.1,087.4,241126,,,R*4A
$HEHDT,083.5,T*21
$GPVTG,087.4,T,091.3,M,2.1,N,3.9,K,D*2F
$SDMTW,18.4,C*09
$SDDPT,2.85,0.30,10.0*68
$SDDBT,9.35,f,2.85,M,1.56,F*34
$SDDBS,10.33,f,3.15,M,1.72,F*03
$SDDBK,8.86,f,2.70,M,1.48,F*27
$HCHDG,087.4,,,3.9,W*3A
$GPZDA,153027.40,24,11,2026,00,00*60
$GPGGA,153028.40,3636.00700,N,08411.93800,W,1,07,1.9,,M,,M,,*41
$SDDPT,2.85,0.30*5B
`
	got, err := ParseNMEA("boat.log", []byte(sent))
	if err != nil {
		t.Fatal(err)
	}
	offset := 0.30
	want := &Soundings{
		Format:  FormatNMEA,
		OffsetM: &offset,
		Readings: []Reading{
			{
				Time: time.Date(2026, 11, 24, 15, 30, 27, 4e8, time.UTC), Lat: 36.6001, Lon: -84.1990,
				ReadingM: 2.85, Reference: BelowTransducer, Quality: new(4), Satellites: new(14), HDOP: new(0.8),
				HeadingDeg: new(83.5), WaterTempC: new(18.4), File: "boat.log", Line: 6,
			},
			{
				Time: time.Date(2026, 11, 24, 15, 30, 28, 4e8, time.UTC), Lat: 36.600116666666667, Lon: -84.19896666666667,
				ReadingM: 2.85, Reference: BelowTransducer, Quality: new(1), Satellites: new(7), HDOP: new(1.9),
				HeadingDeg: new(83.5), WaterTempC: new(18.4), File: "boat.log", Line: 13,
			},
		},
	}
	if diff := cmp.Diff(want, got, within(1e-9)); diff != "" {
		t.Errorf("ParseNMEA differs (-want +got):\n%s", diff)
	}
}

// within compares floats to an absolute tolerance.
func within(tol float64) cmp.Option {
	return cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) <= tol })
}

func TestDegrees(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		value, hemisphere string
		want              float64
		ok                bool
	}{
		{"3636.00600", "N", 36.6001, true}, // recomputed
		{"3636.00600", "S", -36.6001, true},
		{"0000.0000", "N", 0, true},
		{"12311.12", "N", 123.18533333333333, true}, // range is checked with the longitude
		{"3660.00000", "N", 0, false},               // minutes end below 60
		{"36", "N", 0, false},
		{"-3636.006", "N", 0, false},
		{"3636.00600", "E", 0, false},
		{"3636.00600", "", 0, false},
		{"", "N", 0, false},
		{"36x6.0", "N", 0, false},
	} {
		got, ok := degrees(tc.value, tc.hemisphere, "N", "S")
		if ok != tc.ok || math.Abs(got-tc.want) > 1e-9 {
			t.Errorf("degrees(%q, %q) = %v, %v, want %v, %v", tc.value, tc.hemisphere, got, ok, tc.want, tc.ok)
		}
	}
}

// fix is a GGA sentence at a time of day, so many seconds of arc minutes east.
func fix(hhmmss string, eastMin float64) string {
	return say(fmt.Sprintf("GPGGA,%s,3636.00000,N,%09.5f,W,1,08,1.0,,M,,M,,", hhmmss, 8412-eastMin))
}

func rmc(hhmmss, ddmmyy string) string {
	return say(fmt.Sprintf("GPRMC,%s,A,3636.00000,N,08412.00000,W,0.1,,%s,,,A", hhmmss, ddmmyy))
}

func dpt(depthM float64) string { return say(fmt.Sprintf("SDDPT,%.2f,0.30", depthM)) }

// sounding is what a timing test looks at.
type soundingAt struct {
	At      string
	EastMin float64
	DepthM  float64
}

func TestParseNMEA_TimeAndPlace(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name    string
		log     string
		want    []soundingAt
		dropped int
		codes   []string
	}{
		{
			name: "one depth a fix takes its time and place",
			log:  rmc("120000", "090626") + fix("120000", 0) + dpt(1) + fix("120001", 1) + dpt(2) + fix("120002", 2),
			want: []soundingAt{{"2026-06-09T12:00:00Z", 0, 1}, {"2026-06-09T12:00:01Z", 1, 2}},
		},
		{
			name: "several depths a fix are spread evenly",
			log:  fix("120000", 0) + rmc("120000", "090626") + dpt(1) + dpt(2) + dpt(3) + dpt(4) + fix("120002", 1) + dpt(5),
			want: []soundingAt{
				{"2026-06-09T12:00:00Z", 0, 1}, {"2026-06-09T12:00:00.5Z", 0.25, 2}, {"2026-06-09T12:00:01Z", 0.5, 3},
				{"2026-06-09T12:00:01.5Z", 0.75, 4}, {"2026-06-09T12:00:02Z", 1, 5},
			},
		},
		{
			name: "fixes more than two seconds apart give no place between them",
			log:  rmc("120000", "090626") + fix("120000", 0) + dpt(1) + fix("120003", 1) + dpt(2) + fix("120004", 2),
			want: []soundingAt{{"2026-06-09T12:00:03Z", 1, 2}}, dropped: 1, codes: []string{CodeNoPosition},
		},
		{
			name: "a lost fix of one second is bridged",
			log: rmc("120000", "090626") + fix("120000", 0) + dpt(1) + say("GPGGA,120001,,,,,0,00,,,M,,M,,") + dpt(2) +
				fix("120002", 1) + dpt(3),
			want:  []soundingAt{{"2026-06-09T12:00:00Z", 0, 1}, {"2026-06-09T12:00:01Z", 0.5, 2}, {"2026-06-09T12:00:02Z", 1, 3}},
			codes: []string{CodeNoFix},
		},
		{
			name: "depths before the first fix and beyond the last have no place",
			log:  rmc("120000", "090626") + dpt(9) + fix("120000", 0) + dpt(1) + fix("120001", 1) + dpt(2) + dpt(3),
			want: []soundingAt{{"2026-06-09T12:00:00Z", 0, 1}, {"2026-06-09T12:00:01Z", 1, 2}}, dropped: 2, codes: []string{CodeNoPosition},
		},
		{
			name: "midnight",
			log:  fix("235958", 0) + rmc("235958", "311226") + dpt(1) + fix("235959", 1) + dpt(2) + fix("000000", 2) + dpt(3),
			want: []soundingAt{{"2026-12-31T23:59:58Z", 0, 1}, {"2026-12-31T23:59:59Z", 1, 2}, {"2027-01-01T00:00:00Z", 2, 3}},
		},
		{
			name: "a date that comes late dates what came before it",
			log:  fix("235959", 0) + dpt(1) + fix("000000", 1) + dpt(2) + fix("000001", 2) + say("GPZDA,000001,01,03,2028,00,00") + dpt(3),
			want: []soundingAt{{"2028-02-29T23:59:59Z", 0, 1}, {"2028-03-01T00:00:00Z", 1, 2}, {"2028-03-01T00:00:01Z", 2, 3}},
		},
		{
			name: "two days strung together keep their days",
			log: fix("170000", 0) + rmc("170000", "090626") + dpt(1) + fix("170001", 1) +
				fix("090000", 2) + dpt(2) + fix("090001", 3) + rmc("090001", "110626") + dpt(3),
			want: []soundingAt{{"2026-06-09T17:00:00Z", 0, 1}, {"2026-06-11T09:00:00Z", 2, 2}, {"2026-06-11T09:00:01Z", 3, 3}},
		},
		{
			name: "without a date the order is kept",
			log:  fix("120000", 0) + dpt(1) + dpt(2) + fix("120001", 1) + dpt(3),
			want: []soundingAt{{"0001-01-01T00:00:00Z", 0, 1}, {"0001-01-01T00:00:00Z", 0.5, 2}, {"0001-01-01T00:00:00Z", 1, 3}}, codes: []string{CodeNMEANoDate},
		},
		{
			name: "a date without a fix is not believed",
			log:  say("GPRMC,120000,V,,,,,,,060180,,,N") + rmc("120000", "090626") + fix("120000", 0) + dpt(1),
			want: []soundingAt{{"2026-06-09T12:00:00Z", 0, 1}},
		},
		{
			name: "a lost bottom is counted",
			log:  rmc("120000", "090626") + fix("120000", 0) + dpt(0) + fix("120001", 1) + say("SDDPT,,0.30") + fix("120002", 2) + dpt(3),
			want: []soundingAt{{"2026-06-09T12:00:02Z", 2, 3}}, dropped: 2, codes: []string{CodeBottomLost},
		},
		{
			name: "RMC stands in for a missing GGA",
			log:  rmc("120000", "090626") + dpt(1) + rmc("120001", "090626") + dpt(2),
			want: []soundingAt{{"2026-06-09T12:00:00Z", 0, 1}, {"2026-06-09T12:00:01Z", 0, 2}}, codes: []string{CodeNMEANoGGA},
		},
		{
			name: "DBT in feet and in fathoms without a DPT",
			log:  rmc("120000", "090626") + fix("120000", 0) + say("SDDBT,10.0,f,,M,,F") + fix("120001", 1) + say("SDDBT,,f,,M,1.0,F"),
			want: []soundingAt{{"2026-06-09T12:00:00Z", 0, 3.048}, {"2026-06-09T12:00:01Z", 1, 1.8288}}, codes: []string{CodeNMEAOffsetMissing},
		},
		{
			name: "DBT counts where DPT never sees the bottom",
			log:  rmc("120000", "090626") + fix("120000", 0) + dpt(0) + say("SDDBT,,f,2.85,M,,F"),
			want: []soundingAt{{"2026-06-09T12:00:00Z", 0, 2.85}}, codes: []string{CodeNMEAOffsetMissing},
		},
		{
			name: "tag blocks, leading times and lost line ends",
			log: `\s:GP0001,c:1781006400*2E\` + fix("120000", 0) + "2026-06-09T12:00:00.120Z " + rmc("120000", "090626") +
				"1781006400.2;" + dpt(1) + strings.TrimSpace(fix("120001", 1)) + dpt(2),
			want: []soundingAt{{"2026-06-09T12:00:00Z", 0, 1}, {"2026-06-09T12:00:01Z", 1, 2}},
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			s, err := ParseNMEA("boat.nmea", []byte(tc.log))
			if err != nil {
				t.Fatal(err)
			}
			var got []soundingAt
			for _, r := range s.Readings {
				got = append(got, soundingAt{r.Time.Format(time.RFC3339Nano), (r.Lon + 84.2) * 60, r.ReadingM})
			}
			if diff := cmp.Diff(tc.want, got, within(1e-6)); diff != "" {
				t.Errorf("readings differ (-want +got):\n%s", diff)
			}
			if s.Dropped != tc.dropped {
				t.Errorf("dropped %d, want %d", s.Dropped, tc.dropped)
			}
			if diff := cmp.Diff(tc.codes, codes(s.Problems)); diff != "" {
				t.Errorf("problems differ (-want +got):\n%s", diff)
			}
		})
	}
}

func codes(ps []Problem) []string {
	var out []string
	for _, p := range ps {
		out = append(out, p.Code)
	}
	return out
}

// TestParseNMEA_AntimeridianIsCrossedTheShortWay interpolates from 179.99 E to
// 179.99 W.
func TestParseNMEA_AntimeridianIsCrossedTheShortWay(t *testing.T) {
	t.Parallel()
	log := rmc("120000", "090626") + say("GPGGA,120000,1700.00000,S,17959.40000,E,1,08,1.0,,M,,M,,") + dpt(1) + dpt(2) + dpt(3) + dpt(4) +
		say("GPGGA,120001,1700.00000,S,17959.40000,W,1,08,1.0,,M,,M,,")
	s, err := ParseNMEA("boat.nmea", []byte(log))
	if err != nil {
		t.Fatal(err)
	}
	var got []float64
	for _, r := range s.Readings {
		got = append(got, math.Abs(r.Lon))
	}
	if diff := cmp.Diff([]float64{179.99, 179.995, 180, 179.995}, got, within(1e-9)); diff != "" {
		t.Errorf("longitudes differ (-want +got):\n%s", diff)
	}
}

func TestParseNMEA_HeadingAndCourse(t *testing.T) {
	t.Parallel()
	vtg := func(course, knots float64) string {
		return say(fmt.Sprintf("GPVTG,%05.1f,T,,M,%.1f,N,,K,A", course, knots))
	}
	for _, tc := range []struct {
		name string
		log  string
		want *float64
	}{
		{"compass outranks course", say("HEHDT,083.5,T") + vtg(90, 2), new(83.5)},
		{"course of VTG", vtg(90, 2), new(90.0)},
		{"course of RMC", say("GPRMC,120000,A,3636.0,N,08412.0,W,2.1,087.4,090626,,,A"), new(87.4)},
		{"course is meaningless at rest", vtg(90, 0.9), nil},
		{"full circle is north", say("HEHDT,360.0,T"), new(0.0)},
		{"old heading is forgotten", say("HEHDT,083.5,T") + fix("120001", 1) + fix("120002", 2) + fix("120003", 3), nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			s, err := ParseNMEA("boat.nmea", []byte(fix("120000", 0)+tc.log+dpt(1)))
			if err != nil || len(s.Readings) != 1 {
				t.Fatalf("ParseNMEA = %d readings, %v, want one", len(s.Readings), err)
			}
			if diff := cmp.Diff(tc.want, s.Readings[0].HeadingDeg, within(1e-9)); diff != "" {
				t.Errorf("heading differs (-want +got):\n%s", diff)
			}
		})
	}
}

func TestParseNMEA_WaterTemperature(t *testing.T) {
	t.Parallel()
	mtw := func(tempC float64) string { return say(fmt.Sprintf("YXMTW,%.1f,C", tempC)) }
	for _, tc := range []struct {
		name string
		log  string
		want []*float64
	}{
		{"holds until the next", fix("120000", 0) + mtw(20) + dpt(1) + fix("120001", 0) + dpt(1) + mtw(21) + dpt(1) + fix("120002", 0), []*float64{new(20.0), new(20.0), new(21.0)}},
		{"holds back to the first depths", fix("120000", 0) + dpt(1) + fix("120001", 0) + mtw(20) + dpt(1), []*float64{new(20.0), new(20.0)}},
		{"came before the first fix", mtw(20) + fix("120000", 0) + dpt(1), []*float64{new(20.0)}},
		{"is old after five minutes", fix("120000", 0) + mtw(20) + fix("120501", 0) + dpt(1), []*float64{nil}},
		{"in another unit is not read", fix("120000", 0) + say("YXMTW,68.0,F") + dpt(1), []*float64{nil}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			s, err := ParseNMEA("boat.nmea", []byte(tc.log))
			if err != nil {
				t.Fatal(err)
			}
			var got []*float64
			for _, r := range s.Readings {
				got = append(got, r.WaterTempC)
			}
			if diff := cmp.Diff(tc.want, got); diff != "" {
				t.Errorf("temperatures differ (-want +got):\n%s", diff)
			}
		})
	}
}

func TestParseNMEA_Offset(t *testing.T) {
	t.Parallel()
	type told struct {
		Code  string
		Line  int
		Field string
	}
	for _, tc := range []struct {
		name string
		log  string
		want *float64
		told []told
	}{
		{"to the water line", say("SDDPT,2.00,0.30"), new(0.30), nil},
		{"to the keel", say("SDDPT,2.00,-0.20"), nil, []told{{CodeNMEAOffsetKeel, 3, "DPT offset"}}},
		{"never set", say("SDDPT,2.00,0.00"), nil, []told{{CodeNMEAOffsetMissing, 3, "DPT offset"}}},
		{"not sent", say("SDDPT,2.00"), nil, []told{{CodeNMEAOffsetMissing, 3, "DPT offset"}}},
		{"absurd", say("SDDPT,2.00,30"), nil, []told{{CodeValueRange, 3, "DPT offset"}, {CodeNMEAOffsetMissing, 3, "DPT offset"}}},
		{
			"changed under way: most readings win",
			say("SDDPT,2.00,0.30") + say("SDDPT,2.00,0.40") + say("SDDPT,2.00,0.40"),
			new(0.40),
			[]told{{CodeNMEAOffsetChanged, 4, "DPT offset"}},
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			s, err := ParseNMEA("boat.nmea", []byte(rmc("120000", "090626")+fix("120000", 0)+tc.log+fix("120001", 1)))
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(tc.want, s.OffsetM, within(1e-12)); diff != "" {
				t.Errorf("OffsetM differs (-want +got):\n%s", diff)
			}
			var got []told
			for _, p := range s.Problems {
				got = append(got, told{p.Code, p.Line, p.Field})
			}
			if diff := cmp.Diff(tc.told, got); diff != "" {
				t.Errorf("problems differ (-want +got):\n%s", diff)
			}
			for _, r := range s.Readings {
				if r.ReadingM != 2 || r.Reference != BelowTransducer {
					t.Errorf("reading %v %v was changed by the offset, want 2 BELOW_TRANSDUCER", r.ReadingM, r.Reference)
				}
			}
		})
	}
}

// TestParseNMEA_BadLines puts one bad line into a good log and expects it told
// and the rest untouched.
func TestParseNMEA_BadLines(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, bad   string
		code, field string
	}{
		{"wrong checksum", "$SDDPT,2.85,0.30*5C\r\n", CodeNMEAChecksum, "checksum"},
		{"no checksum", "$SDDPT,2.85,0.30\r\n", CodeNMEAChecksum, "checksum"},
		{"half a checksum", "$SDDPT,2.85,0.30*5\r\n", CodeNMEAChecksum, "checksum"},
		{"cut line", "$SDDPT,2.8\r\n", CodeNMEAChecksum, "checksum"},
		{"too long", "$SDXDR," + strings.Repeat("A", 2000) + "\r\n", CodeNMEALineLong, ""},
		{"noise", "\x00\x01\xff boot ok\r\n", CodeNMEANoise, ""},
		{"depth is no number", say("SDDPT,NaN,0.30"), CodeValueInvalid, "DPT"},
		{"depth in hexadecimal", say("SDDPT,0x2,0.30"), CodeValueInvalid, "DPT"},
		{"depth of infinity", say("SDDPT,1e999,0.30"), CodeValueInvalid, "DPT"},
		{"negative depth", say("SDDPT,-2.85,0.30"), CodeValueRange, "DPT"},
		{"depth no pond has", say("SDDPT,2850,0.30"), CodeValueRange, "DPT"},
		{"no position", say("GPGGA,120001,9936.00000,N,08412.00000,W,1,08,1.0,,M,,M,,"), CodeValueInvalid, "GGA"},
		{"position zero", say("GPGGA,120001,0000.00000,N,00000.00000,W,1,08,1.0,,M,,M,,"), CodeValueInvalid, "GGA"},
		{"no time of day", say("GPGGA,126101,3636.00000,N,08412.00000,W,1,08,1.0,,M,,M,,"), CodeValueInvalid, "GGA"},
		{"quality zero", say("GPGGA,120001,3636.00000,N,08412.00000,W,0,00,,,M,,M,,"), CodeNoFix, "GGA"},
		{"boiling water", say("SDMTW,118.4,C"), CodeValueRange, "MTW"},
		{"heading beyond the circle", say("HEHDT,361.0,T"), CodeValueRange, "HDT"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			head := rmc("120000", "090626") + fix("120000", 0) + dpt(1)
			s, err := ParseNMEA("boat.nmea", []byte(head+tc.bad+fix("120001", 1)+dpt(2)))
			if err != nil {
				t.Fatal(err)
			}
			if len(s.Readings) != 2 || s.Readings[0].ReadingM != 1 || s.Readings[1].ReadingM != 2 || s.Readings[1].Line != 6 {
				t.Errorf("readings = %v, want the two good ones", s.Readings)
			}
			if len(s.Problems) != 1 {
				t.Fatalf("problems = %v, want one", s.Problems)
			}
			p := s.Problems[0]
			if p.Code != tc.code || p.Line != 4 || p.Field != tc.field || p.File != "boat.nmea" || p.Remedy == "" {
				t.Errorf("problem = %+v, want %s in line 4, field %q, with a remedy", p, tc.code, tc.field)
			}
		})
	}
}

func TestParseNMEA_LongLinesAreRead(t *testing.T) {
	t.Parallel()
	long := say("GPGGA,120000.000000,3636.000000000000,N,08412.000000000000,W,1,08,1.0," + strings.Repeat("0", 170) + "312.4,M,-31.2,M,,")
	if len(long) < 256 {
		t.Fatalf("the test's line has %d characters, want 256 or more", len(long))
	}
	s, err := ParseNMEA("boat.nmea", []byte(rmc("120000", "090626")+long+dpt(1)))
	if err != nil || len(s.Readings) != 1 || len(s.Problems) != 0 {
		t.Errorf("ParseNMEA = %+v, %v, want one reading and no problem", s, err)
	}
}

func TestParseNMEA_NothingUsable(t *testing.T) {
	t.Parallel()
	s, err := ParseNMEA("boat.nmea", []byte(fix("120000", 0)+say("SDDBS,10.33,f,3.15,M,1.72,F")))
	if err != nil || len(s.Readings) != 0 {
		t.Fatalf("ParseNMEA = %+v, %v, want no reading", s, err)
	}
	last := s.Problems[len(s.Problems)-1]
	if last.Code != CodeNoSoundings || !strings.Contains(last.Message, "1 GGA; 1 DBS") {
		t.Errorf("problem = %+v, want NO_SOUNDINGS that lists what there is", last)
	}
}

// TestProblems_ManyOfAKindAreCounted keeps a ruined log from drowning its reader.
func TestProblems_ManyOfAKindAreCounted(t *testing.T) {
	t.Parallel()
	s, err := ParseNMEA("boat.nmea", []byte(strings.Repeat("$SDDPT,2.85,0.30*00\n", 1000)))
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Problems) != perKind+2 {
		t.Fatalf("%d problems, want %d told, one that counts and NO_SOUNDINGS", len(s.Problems), perKind)
	}
	if p := s.Problems[perKind+1]; p.Line != 21 || !strings.Contains(p.Message, "979 more like this up to line 1000") {
		t.Errorf("problem = %v, want the rest counted", p)
	}
}
