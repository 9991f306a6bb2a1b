package intake

import (
	"math"
	"strings"
	"testing"
)

func TestParseProfile(t *testing.T) {
	t.Parallel()
	p, err := ParseProfile("f", []byte(`Depth_ft;Temp_F;oxygen_mg_l;time;time_of_day;smell;lat;lon;bottom_ft;demand_mg_l;level_m;probe
0;77,0;6,5;2026-06-09T06:10:00-05:00;dawn;rotten eggs;38,3;-93,4;14,0;1,5;2,25;A
;;;;;;;;;;;
10,0;59;;;day;;;;;;;A
12;50;0,2;;;;;;;;;A
`))
	if err != nil {
		t.Fatal(err)
	}
	if got := p.Time.Format("2006-01-02T15:04Z07:00"); got != "2026-06-09T11:10Z" || p.TimeOfDay != "dawn" || p.Smell != "rotten eggs" {
		t.Errorf("time %s, %q, smell %q", got, p.TimeOfDay, p.Smell)
	}
	if *p.Lat != 38.3 || *p.Lon != -93.4 || *p.DemandMgL != 1.5 || *p.LevelM != 2.25 || math.Abs(*p.BottomM-4.2672) > 1e-9 {
		t.Errorf("profile %+v", p)
	}
	want := []ProfileReading{{DepthM: 0, TempC: 25}, {DepthM: 3.048, TempC: 15}, {DepthM: 3.6576, TempC: 10}} // 77, 59 and 50 °F
	if len(p.Readings) != len(want) {
		t.Fatalf("readings %+v", p.Readings)
	}
	for i, w := range want {
		if r := p.Readings[i]; math.Abs(r.DepthM-w.DepthM) > 1e-9 || math.Abs(r.TempC-w.TempC) > 1e-9 || (r.OxygenMgL == nil) != (i == 1) {
			t.Errorf("reading %d: %+v, want %+v", i, r, w)
		}
	}
	if len(p.Problems) != 1 || p.Problems[0].Code != CodeColumnUnknown || !strings.Contains(p.Problems[0].Message, "probe") {
		t.Errorf("problems %v", p.Problems)
	}
}

// A bad line is told with its place and costs that line only.
func TestParseProfile_BadLines(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		line, code, field string
		costs             bool
	}{
		{"1,20,5,none", "", "", false},
		{",20,5,none", CodeValueMissing, "depth_m", true},
		{"1,x,5,none", CodeValueInvalid, "temp_c", true},
		{"1,77,5,none", CodeValueRange, "temp_c", true}, // Fahrenheit in a column of Celsius
		{"-1,20,5,none", CodeValueRange, "depth_m", true},
		{"1,NaN,5,none", CodeValueInvalid, "temp_c", true},
		{"3,20,5,none", CodeValueInvalid, "depth_m", true}, // there already
		{"1,20,95,none", CodeValueRange, "oxygen_mg_l", false},
		{"1,20,5,swampy", CodeValueInvalid, "smell", false},
		{"1,20", CodeCSVLineCut, "oxygen_mg_l", true},
		{"1,20,5,none,7", CodeCSVLineLong, "", true},
		{`1,20,5,"none`, CodeCSVQuote, "", true},
	} {
		p, err := ParseProfile("f", []byte("depth_m,temp_c,oxygen_mg_l,smell\n3,15,1,\n"+c.line+"\n0,22,7,\n"))
		if err != nil {
			t.Errorf("%s: %v", c.line, err)
			continue
		}
		if (len(p.Readings) == 2) != c.costs {
			t.Errorf("%s: %d readings", c.line, len(p.Readings))
		}
		if c.code == "" && len(p.Problems) == 0 {
			continue
		}
		if len(p.Problems) != 1 || p.Problems[0].Code != c.code || p.Problems[0].Field != c.field || p.Problems[0].Line != 3 {
			t.Errorf("%s: problems %v", c.line, p.Problems)
		}
	}
}

func TestParse_TellsProfilesFromSoundings(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]Format{
		"depth_m,temp_c\n0,20\n1,19\n":                                    FormatProfile,
		"depth_ft\ttemp_f\toxygen_ppm\tlat\tlon\n0\t70\t8\t38.3\t-93.4\n": FormatProfile,
		"lat,lon,depth_m,temp_c\n38.3,-93.4,1,20\n":                       FormatCSV, // a sounder with a thermometer
		"lat,lon,depth_m\n38.3,-93.4,1\n":                                 FormatCSV,
	} {
		if got, err := Sniff("f", []byte(text)); err != nil || got != want {
			t.Errorf("%q is %v, %v, want %v", text, got, err, want)
		}
	}
}

func FuzzProfile(f *testing.F) {
	f.Add([]byte("depth_m,temp_c,oxygen_mg_l,time,time_of_day,smell\n0,25,8,2026-06-09T06:10:00Z,dawn,none\n4,14,0.1,,,\n"))
	f.Add([]byte("depth_ft;temp_f;bottom_ft;lat;lon;level_ft\n0;77,5;14;38,3;-93,4;1\n\"3\n;;\n"))
	f.Add([]byte("depth_m\ttemp_c\tdepth_ft\n1\t2\t3\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := ParseProfile("f", data)
		if err != nil {
			checkError(t, err)
			return
		}
		checkProblems(t, p.Problems)
		for _, r := range p.Readings {
			if !(r.DepthM >= 0 && r.DepthM <= 100 && r.TempC >= 0 && r.TempC <= 40) || r.OxygenMgL != nil && !(*r.OxygenMgL >= 0 && *r.OxygenMgL <= 30) || r.Line < 1 {
				t.Errorf("reading %+v", r)
			}
		}
		if (p.Lat == nil) != (p.Lon == nil) {
			t.Error("half a position")
		}
	})
}
