package intake

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/golang/geo/s2"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"pondwright/geo/shore"
)

// boxShore is a rectangle of 0.001 by 0.001 degrees with its south-west corner
// at lat, lon.
func boxShore(t testing.TB, lat, lon float64) *shore.Shore {
	t.Helper()
	ring := make([]s2.LatLng, 0, 4)
	for _, c := range [][2]float64{{0, 0}, {0, 1}, {1, 1}, {1, 0}} {
		ring = append(ring, s2.LatLngFromDegrees(lat+c[0]*0.001, lon+c[1]*0.001))
	}
	s, err := shore.New(ring, nil)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// across are n readings of depthM on a line across the box.
func across(file string, n int, lat, lon, depthM float64) []Reading {
	rs := make([]Reading, n)
	for i := range rs {
		share := (float64(i) + 0.5) / float64(n)
		rs[i] = Reading{Lat: lat + 0.0005, Lon: lon + 0.001*share, ReadingM: depthM, Reference: BelowSurface, File: file, Line: i + 2}
	}
	return rs
}

func swap(rs []Reading) []Reading {
	for i := range rs {
		rs[i].Lat, rs[i].Lon = rs[i].Lon, rs[i].Lat
	}
	return rs
}

func TestCheck_KeepsWhatIsGood(t *testing.T) {
	t.Parallel()
	rs := append(across("a.csv", 10, 38.3, -83.4, 2), across("b.csv", 10, 38.3, -83.4, 3)...)
	kept, problems, err := Check(boxShore(t, 38.3, -83.4), rs)
	if err != nil || len(problems) != 0 {
		t.Fatalf("Check = %v, %v, want nothing to tell", problems, err)
	}
	if diff := cmp.Diff(rs, kept); diff != "" {
		t.Errorf("kept differ (-want +got):\n%s", diff)
	}
}

func TestCheck_LatLonSwapped(t *testing.T) {
	t.Parallel()
	s := boxShore(t, 38.3, -83.4)
	good := across("a.csv", 10, 38.3, -83.4, 2)
	for _, tc := range []struct {
		name  string
		shore *shore.Shore
		rs    []Reading
		file  string
	}{
		{"soundings", s, swap(across("b.csv", 10, 38.3, -83.4, 2)), "b.csv"},
		{"one file of two", s, append(good, swap(across("b.csv", 10, 38.3, -83.4, 2))...), "b.csv"},
		{"the outline", boxShore(t, -83.4, 38.3), good, "a.csv"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			_, _, err := Check(tc.shore, tc.rs)
			var e *Error
			if !errors.As(err, &e) || e.Code != CodeLatLonSwapped || e.File != tc.file || e.Line != 2 || e.Remedy == "" {
				t.Errorf("Check = %v, want LATLON_SWAPPED at %s:2 with a remedy", err, tc.file)
			}
		})
	}
}

func TestCheck_OutsideShore(t *testing.T) {
	t.Parallel()
	s := boxShore(t, 38.3, -83.4)
	rs := across("a.csv", 10, 38.3, -83.4, 2)
	rs[4].Lat = 38.301 + 4.0/111002 // 4 m north of the shore; 111,002 m a degree here, recomputed
	rs[5].Lat = 38.301 + 6.0/111002
	rs[7].Lat = 39
	kept, problems, err := Check(s, rs)
	if err != nil {
		t.Fatal(err)
	}
	if len(kept) != 8 || kept[4].Line != rs[4].Line {
		t.Errorf("%d kept, want 8 with the one 4 m out", len(kept))
	}
	if len(problems) != 1 || problems[0].Code != CodeOutsideShore || problems[0].Line != 7 || problems[0].File != "a.csv" || !strings.HasPrefix(problems[0].Message, "2 soundings of 10 ") {
		t.Errorf("problems = %v, want OUTSIDE_SHORE with 2 from line 7", problems)
	}
}

func TestCheck_Duplicates(t *testing.T) {
	t.Parallel()
	rs := append(across("a.csv", 10, 38.3, -83.4, 2), across("b.csv", 10, 38.3, -83.4, 2)...)
	rs[19].Time = time.Date(2026, 6, 9, 14, 0, 0, 0, time.UTC) // same place and depth, another time
	kept, problems, err := Check(boxShore(t, 38.3, -83.4), rs)
	if err != nil || len(kept) != 11 {
		t.Errorf("Check = %d kept, %v, want 11", len(kept), err)
	}
	if len(problems) != 1 || problems[0].Code != CodeDuplicate || problems[0].File != "b.csv" || problems[0].Line != 2 || !strings.HasPrefix(problems[0].Message, "9 soundings") {
		t.Errorf("problems = %v, want DUPLICATE with 9 from b.csv:2", problems)
	}
}

func TestCheck_NoSoundings(t *testing.T) {
	t.Parallel()
	s := boxShore(t, 38.3, -83.4)
	for _, tc := range []struct {
		name string
		rs   []Reading
		file string
	}{
		{"none given", nil, ""},
		{"another pond", across("a.csv", 10, 38.32, -83.4, 2), "a.csv"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			_, _, err := Check(s, tc.rs)
			var e *Error
			if !errors.As(err, &e) || e.Code != CodeNoSoundings || e.File != tc.file || e.Remedy == "" {
				t.Errorf("Check = %v, want NO_SOUNDINGS with a remedy", err)
			}
		})
	}
}

func TestCheck_FeetAsMeters(t *testing.T) {
	t.Parallel()
	// The box is 9,710 m²: 50·z·√π/√A reaches 10 % at z = 11.12 m (recomputed).
	for _, tc := range []struct {
		name  string
		lat   float64
		depth []float64
		want  bool
	}{
		{"shallow", 38.3, []float64{2, 2, 2, 2, 2, 2}, false},
		{"just below a tenth of the diameter", 38.3, []float64{11.1, 11.1, 11.1, 11.1, 11.1, 11.1}, false},
		{"just above a tenth of the diameter", 38.3, []float64{11.2, 11.2, 11.2, 11.2, 11.2, 11.2}, true},
		{"two spikes", 38.3, []float64{2, 30, 2, 2, 30, 2}, false},
		{"few soundings", 38.3, []float64{2, 12.1}, true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			rs := across("a.csv", len(tc.depth), 38.3, -83.4, 0)
			for i, d := range tc.depth {
				rs[i].ReadingM = d
			}
			kept, problems, err := Check(boxShore(t, 38.3, -83.4), rs)
			if err != nil || len(kept) != len(rs) {
				t.Fatalf("Check = %d kept, %v, want all", len(kept), err)
			}
			if got := len(problems) == 1 && problems[0].Code == CodeFeetAsMeters && problems[0].Line >= 2; got != tc.want {
				t.Errorf("problems = %v, want warning %v", problems, tc.want)
			}
		})
	}
}

// TestCheck_KeepsExactlyTheWet draws readings about the pond.
func TestCheck_KeepsExactlyTheWet(t *testing.T) {
	t.Parallel()
	s := boxShore(t, 38.3, -83.4)
	rapid.Check(t, func(t *rapid.T) {
		rs := across("a.csv", rapid.IntRange(3, 20).Draw(t, "n"), 38.3, -83.4, 2)
		outside := 0
		for i := range rs[1:] {
			if rapid.Bool().Draw(t, "out") {
				rs[i+1].Lat -= rapid.Float64Range(0.0006, 40).Draw(t, "by")
				outside++
			}
		}
		kept, _, err := Check(s, rs)
		if err != nil || len(kept) != len(rs)-outside {
			t.Fatalf("Check = %d kept, %v, want %d", len(kept), err, len(rs)-outside)
		}
	})
}
