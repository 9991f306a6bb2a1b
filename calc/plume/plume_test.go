package plume

import (
	"math"
	"testing"

	"pondwright/calc/unit"
)

var seaLevel = Site{Pressure: unit.StandardPressure, Temperature: unit.Celsius(20)}

func near(t *testing.T, name string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.7g, want %.7g within %.2g", name, got, want, tol)
	}
}
