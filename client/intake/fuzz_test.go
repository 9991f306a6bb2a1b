package intake

import (
	"errors"
	"math"
	"testing"
)

// wholeFile are the codes of problems that concern no single line.
var wholeFile = map[string]bool{
	CodeFileEmpty: true, CodeFormatUnknown: true, CodeTextEncoding: true, CodeNoSoundings: true, CodeNMEANoDate: true, CodeNoProfile: true,
}

func checkProblems(t *testing.T, problems []Problem) {
	t.Helper()
	for _, p := range problems {
		if p.Code == "" || p.File != "f" || p.Message == "" || p.Remedy == "" || p.Line < 0 || p.Line == 0 && !wholeFile[p.Code] {
			t.Errorf("problem %+v lacks code, file, line, message or remedy", p)
		}
	}
}

func checkError(t *testing.T, err error) {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) {
		t.Fatalf("error %v (%T) is no *Error", err, err)
	}
	checkProblems(t, []Problem{e.Problem})
}

func checkSoundings(t *testing.T, s *Soundings) {
	t.Helper()
	checkProblems(t, s.Problems)
	for i, r := range s.Readings {
		sane := r.File == "f" && r.Line >= 1 && validPosition(r.Lat, r.Lon) && r.ReadingM >= 0 && r.ReadingM <= MaxDepthM && r.Reference != ReferenceUnknown
		for _, v := range []*float64{r.HDOP, r.HeadingDeg, r.WaterTempC, r.SoftM, r.FirmM} {
			sane = sane && (v == nil || !math.IsNaN(*v) && !math.IsInf(*v, 0))
		}
		if !sane || len(r.Extra) != len(s.ExtraColumns) {
			t.Errorf("reading %+v is not sane", r)
		}
		if i > 0 && r.Line < s.Readings[i-1].Line {
			t.Errorf("line %d comes after line %d", r.Line, s.Readings[i-1].Line)
		}
	}
}

func FuzzCSV(f *testing.F) {
	f.Add([]byte("time,lat,lon,depth_m\n2026-06-09T14:00:00Z,38.3,-93.4,1.25\n"))                                                // plain
	f.Add([]byte("\ufefflat;lon;depth_ft;pass;quality;soft_m;firm_m;bottom;x\r\n38,3;-93,4;1,25;A;1;1,3;1,5;\"a;\"\"b\"\"\";y")) // everything
	f.Add([]byte("lat\tlon\tdepth_m\n-93.4\t38.3\t1\n"))                                                                         // swapped
	f.Add([]byte("lat,lon,depth_m\n38.3,-93.4,1.25\n38.3,-93"))                                                                  // cut
	f.Add([]byte("lat,lon,depth_m\n38.3,-93.4,NaN\n38.3,-93.4,-1\n\"38.3\n\n,,\n0,0,1\n"))                                       // bad values
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := ParseCSV("f", data, Options{})
		if err != nil {
			checkError(t, err)
			return
		}
		checkSoundings(t, s)
	})
}

func FuzzGeoJSON(f *testing.F) {
	f.Add([]byte(polygonOf(square, island)))
	f.Add([]byte(collectionOf(featureOf(polygonOf(square), `{"name": "a", "water_level_m": 1, "drawn_on": "2026-06-09"}`))))
	f.Add([]byte(`{"type": "MultiPolygon", "coordinates": [[` + square + `], [` + island + `]]}`))
	f.Add([]byte(polygonOf("[[-93.4, 38.3], [-93.399, 38.301], [-93.399, 38.3], [-93.4, 38.301]]"))) // bow-tie
	f.Add([]byte(`{"type": "Feature", "geometry": null, "crs": {"properties": {"name": "x"}}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		o, err := ParseGeoJSON("f", data)
		if err != nil {
			checkError(t, err)
			return
		}
		checkProblems(t, o.Problems)
		if s, err := o.Shore(); err != nil {
			checkError(t, err)
		} else if !(s.Area() > 0) {
			t.Errorf("area %v of %s", s.Area(), data)
		}
	})
}

func FuzzNMEA(f *testing.F) {
	f.Add([]byte(rmc("120000", "090626") + fix("120000", 0) + dpt(1) + dpt(2) + fix("120001", 1) + dpt(3)))
	f.Add([]byte(fix("235959", 0) + say("SDMTW,18.4,C") + say("HEHDT,083.5,T") + dpt(1) + fix("000000", 1) + say("GPZDA,000000,01,03,2028,00,00"))) // midnight
	f.Add([]byte(`\g:1-2-33*5A\` + say("SDDBT,9.35,f,,M,,F") + rmc("120000", "090626") + say("GPVTG,087.4,T,,M,2.1,N,,K,A")))                       // tags, DBT
	f.Add([]byte("$SDDPT,2.85,0.30*5C\n$SDDPT,2.8\n\x00\n" + say("SDDPT,2.85,-0.30") + say("SDDPT,0,0.30")))                                        // bad lines
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := ParseNMEA("f", data)
		if err != nil {
			checkError(t, err)
			return
		}
		checkSoundings(t, s)
	})
}

// FuzzNMEABody frames every line as a sound sentence, so that the fuzzer gets
// past the checksum.
func FuzzNMEABody(f *testing.F) {
	f.Add("GPGGA,120000,3636.00000,N,08412.00000,W,1,08,1.0,,M,,M,,\nGPRMC,120000,A,3636.0,N,08412.0,W,2.1,087.4,090626\nSDDPT,2.85,0.30\nSDDPT,2.85\nGPGGA,120001,3636.00000,N,08412.00000,W,1,08,1.0")
	f.Fuzz(func(t *testing.T, bodies string) {
		var log []byte
		for l := range lines([]byte(bodies)) {
			log = append(log, say(l.text)...)
		}
		s, err := ParseNMEA("f", log)
		if err != nil {
			checkError(t, err)
			return
		}
		checkSoundings(t, s)
	})
}

func FuzzSniff(f *testing.F) {
	f.Add([]byte("lat,lon,depth_m\n38.3,-93.4,1\n"))
	f.Add([]byte(polygonOf(square)))
	f.Add([]byte(dpt(1)))
	f.Fuzz(func(t *testing.T, data []byte) {
		if _, err := Parse("f", data, Options{}); err != nil {
			checkError(t, err)
		}
	})
}
