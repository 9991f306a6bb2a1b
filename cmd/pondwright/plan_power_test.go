package main

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/pflag"

	"pondwright/calc/mast"
	"pondwright/calc/unit"
	"pondwright/client/intake"
	"pondwright/geo/plan"
)

// given reads flags as plan does.
func given(args ...string) (plan.Input, []intake.Problem, error) {
	var p powerFlags
	var in plan.Input
	f := pflag.NewFlagSet("plan", pflag.ContinueOnError)
	p.flags(f)
	if err := f.Parse(args); err != nil {
		return in, nil, err
	}
	problems, err := p.apply(&in, usUnits)
	return in, problems, err
}

func TestPowerFlags(t *testing.T) {
	t.Parallel()
	in, _, err := given("--power", "battery", "--panels", "3", "--panel", "400W", "--season", "may-sep", "--tilt", "30", "--azimuth", "170", "--horizon", "90:10,180:5",
		"--battery", "9kWh", "--battery-kind", "lithium", "--volts", "48", "--wire", "30ft", "--mains", "100m", "--light", "1,2,3,4,5,6,7,7,6,5,4,3", "--lockout",
		"--wind", "115mph", "--wind-map", "7-16", "--exposure", "c", "--soil", "sand", "--frost", "1ft", "--pole", "4", "--highest", "1ft", "--lowest", "2ft", "--rating", "30psi")
	if err != nil {
		t.Fatal(err)
	}
	p := in.Power
	if p.Source != plan.SunBattery || p.Panels.Count != 3 || p.Panels.Module.Power != 400 || p.Battery.Capacity != 9000 || p.Battery.Kind.Name == "" || p.Wiring.Length != unit.Feet(30) ||
		p.Grid.Length != 100 || p.Climate.Irradiation[11] != 3000 || !p.Lockout || !p.HorizonKnown || len(p.Horizon) != 2 || p.Panels.Azimuth == nil {
		t.Errorf("power %+v", p)
	}
	if s := in.Structure; s.Wind.Speed != unit.MPH(115) || s.Wind.Map != mast.ASCE716 || s.Wind.Exposure != mast.ExposureC || s.Ground.Soil != mast.Sand || *s.Ground.Frost != unit.Feet(1) || s.Pole.Section.Name == "" {
		t.Errorf("mast %+v", s)
	}
	if *in.Levels.Highest != unit.Feet(1) || *in.Levels.Low != -unit.Feet(2) || in.Ratings[0].Limit != unit.PSIG(30) {
		t.Errorf("levels %+v, ratings %+v", in.Levels, in.Ratings)
	}
	none, _, err := given()
	if err != nil || none.Power != nil || none.Structure != nil || none.Levels != (plan.Levels{}) {
		t.Errorf("nothing typed is read as %+v, %v", none, err)
	}
	if open, _, err := given("--power", "sun", "--horizon", "open"); err != nil || !open.Power.HorizonKnown || len(open.Power.Horizon) != 0 {
		t.Errorf("an open horizon: %+v, %v", open.Power, err)
	}
}

func TestPowerFlags_Usage(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{
		{"--power", "steam"}, {"--panels", "3"}, {"--power", "sun", "--panel", "much"}, {"--power", "sun", "--season", "monsoon"}, {"--power", "sun", "--light", "1,2"},
		{"--power", "sun", "--horizon", "90"}, {"--soil", "cheese"}, {"--pole", "99"}, {"--wind-map", "7-99"}, {"--highest", "tall"},
	} {
		if _, _, err := given(args...); !errors.As(err, new(usageError)) {
			t.Errorf("%v: %v", args, err)
		}
	}
}

// A price list names the items that a plan counts, in the plan's own units.
func TestPrices_ItemsAgree(t *testing.T) {
	t.Parallel()
	var list strings.Builder
	list.WriteString("item,unit,price\n")
	for _, i := range plan.ItemUnits() {
		list.WriteString(i.Name + "," + i.Unit + ",1\n")
	}
	got, err := intake.ParsePrices("prices.csv", []byte(list.String()))
	if err != nil || len(got.Problems) > 0 || len(got.Rows) != len(intake.PriceItems()) {
		t.Fatalf("%+v, %v", got, err)
	}
	for i, r := range got.Rows {
		if r.Each != 1 || !slices.Contains(plan.ItemUnits(), plan.Item{Name: r.Item, Unit: r.Unit}) {
			t.Errorf("row %d: %+v", i, r)
		}
	}
}

func TestPrices_Files(t *testing.T) {
	t.Parallel()
	name := filepath.Join(t.TempDir(), "prices.csv")
	if err := os.WriteFile(name, []byte("item,unit,price\npanel,W,1\nboat,each,2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	in, problems, err := given("--prices", name)
	if err != nil || len(in.Prices.List) != 1 || len(problems) != 1 || problems[0].Line != 3 {
		t.Errorf("%+v, %v, %v", in.Prices, problems, err)
	}
	if _, _, err := given("--prices", filepath.Join(t.TempDir(), "none.csv")); err == nil {
		t.Error("a file that is not there is taken")
	}
}
