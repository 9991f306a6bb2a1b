package air_test

import (
	"errors"
	"math"
	"testing"

	"pondwright/calc/air"
	"pondwright/calc/unit"
)

const (
	poundForce = 4.4482216152605 // N
	footM      = 0.3048
)

// Net uplift of polyethylene hose full of air, pounds a foot, worked by hand as
// 62.4 × (outside area) − 62.4 × 0.955 × (wall area), with walls of ASTM D2239 and
// D2737 (from memory).
func TestTube_Uplift(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name           string
		boreIn, wallIn float64
		wantLbFt       float64
	}{
		{"copper tube size 1/2 in", 0.487, 0.069, 0.083},
		{"inside diameter controlled 1/2 in", 0.622, 0, 0.134},
		{"3/4 in", 0.824, 0, 0.234},
		{"1 in", 1.049, 0, 0.379},
	} {
		tube := air.Tube{Bore: unit.Inches(c.boreIn), Wall: unit.Inches(c.wallIn)}
		got, err := tube.Uplift(footM)
		if err != nil {
			t.Fatal(err)
		}
		// Water of 1000 kg/m³ and the ratio rule for 1 in against the table: 0.5 %.
		if lb := float64(got) / poundForce; math.Abs(lb-c.wantLbFt) > 0.006*c.wantLbFt+0.0005 {
			t.Errorf("%s: %.4f lb/ft, want %.3f", c.name, lb, c.wantLbFt)
		}
	}
}

// 100 ft of 3/4 in hose pull up with 23.4 lb; 1.5 times that under water takes
// 35 lb of submerged weight, 62 lb of concrete dry, since concrete of 145 lb/ft³
// loses 43 % (worked by hand).
func TestConcrete(t *testing.T) {
	t.Parallel()
	up, err := air.Tube{Bore: unit.Inches(0.824)}.Uplift(100 * footM)
	if err != nil {
		t.Fatal(err)
	}
	if lb := float64(air.Concrete(up, 1.5)) / 0.45359237; math.Abs(lb-35.1/(1-62.4/145)) > 0.5 {
		t.Errorf("%.1f lb of concrete, want 61.6", lb)
	}
	if air.Concrete(-5, 1.5) != 0 {
		t.Error("hose that sinks takes ballast")
	}
}

// Weighted hose sinks: a wall heavy enough turns the sign.
func TestTube_Refuses(t *testing.T) {
	t.Parallel()
	if up, err := (air.Tube{Bore: 0.0127, Wall: 0.005, Density: 2500}).Uplift(1); err != nil || up >= 0 {
		t.Errorf("weighted hose: %v N, %v", up, err)
	}
	for _, tube := range []air.Tube{{}, {Bore: 0.01, Wall: 0.02}, {Bore: 0.01, Density: 1}, {Bore: unit.Meters(math.NaN())}} {
		if _, err := tube.Uplift(1); !errors.As(err, new(*unit.RangeError)) {
			t.Errorf("%+v: %v", tube, err)
		}
	}
	if _, err := (air.Tube{Bore: 0.01}).Uplift(-1); err == nil {
		t.Error("a length below zero passes")
	}
}
