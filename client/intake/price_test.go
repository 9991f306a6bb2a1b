package intake_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pondwright/client/intake"
)

func TestParsePrices(t *testing.T) {
	t.Parallel()
	const list = "dated,2026-07-31\nitem,unit,price\npanel,kW,800\nHose, 100 ft , 60.96\nbattery,Wh,0.25\ndiffuser,each,0\n"
	got, err := intake.ParsePrices("prices.csv", []byte(list))
	if err != nil {
		t.Fatal(err)
	}
	want := &intake.Prices{Dated: "2026-07-31", Rows: []intake.Price{
		{Item: "panel", Unit: "W", Each: 0.8, Line: 3},
		{Item: "hose", Unit: "m", Each: 2, Line: 4}, // 100 ft are 30.48 m
		{Item: "battery", Unit: "Wh", Each: 0.25, Line: 5},
		{Item: "diffuser", Unit: "each", Each: 0, Line: 6},
	}}
	if diff := cmp.Diff(want, got, cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-12 })); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
}

// A bad row is told with its line and field, and the good ones survive.
func TestParsePrices_Problems(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, row, field string
	}{
		{"unknown item", "boat,each,100", "item"},
		{"unknown unit", "hose,furlong,1", "unit"},
		{"no number", "cable,m,twelve", "price"},
		{"below zero", "cable,m,-1", "price"},
		{"no number at all", "cable,m,NaN", "price"},
		{"money sign", "cable,m,$5", "price"},
		{"short row", "cable,m", ""},
		{"twice", "panel,W,2", "item"},
	} {
		got, err := intake.ParsePrices("p.csv", []byte("item,unit,price\npanel,W,1\n"+c.row+"\n"))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if len(got.Rows) != 1 || got.Rows[0].Each != 1 || len(got.Problems) != 1 {
			t.Errorf("%s: rows %+v, problems %v", c.name, got.Rows, got.Problems)
			continue
		}
		if p := got.Problems[0]; p.Line != 3 || p.Field != c.field || p.Message == "" || p.Remedy == "" || p.File != "p.csv" {
			t.Errorf("%s: %+v", c.name, p)
		}
	}
	for _, bad := range []string{"", "item,unit\n", "panel,W,1\n", "item,unit,price\n", "item,unit,price\nboat,each,1\n", strings.Repeat("x", 2<<20)} {
		var e *intake.Error
		if _, err := intake.ParsePrices("p.csv", []byte(bad)); !errors.As(err, &e) || e.File != "p.csv" || e.Remedy == "" {
			t.Errorf("%.30q: %v", bad, err)
		}
	}
	if got, err := intake.ParsePrices("p.csv", []byte("dated,soon\nitem,unit,price\npanel,W,1\n")); err != nil || got.Dated != "" || len(got.Problems) != 1 {
		t.Errorf("a day that is none: %+v, %v", got, err)
	}
}

func FuzzParsePrices(f *testing.F) {
	for _, seed := range []string{"", "dated,2026-07-31\nitem,unit,price\npanel,kW,800\n", "item,unit,price\n\"a\nb\",m,1\n", "\ufeffitem,unit,price\r\ncable,ft,1e3\r\n"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := intake.ParsePrices("fuzz.csv", data)
		if (got == nil) == (err == nil) {
			t.Fatalf("prices %v, error %v", got, err)
		}
		if err != nil {
			return
		}
		seen := make(map[string]bool)
		for _, r := range got.Rows {
			if !(r.Each >= 0 && r.Each <= 1e9) || r.Line < 1 || seen[r.Item] {
				t.Fatalf("row %+v", r)
			}
			seen[r.Item] = true
		}
	})
}
