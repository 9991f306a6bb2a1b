package sun_test

import (
	"testing"

	"github.com/golang/geo/s1"
	"pgregory.net/rapid"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
)

// A battery's run lies between what the mean energy of the month allows at most and
// what panels alone give to the same load at the same share, and grows with both.
func TestStorageHours_Bounds(t *testing.T) {
	t.Parallel()
	site := greensboro()
	p := sun.Panel{Tilt: 36 * s1.Degree, Azimuth: 180 * s1.Degree}
	months, err := site.Months(p)
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		loadW := rapid.Float64Range(20, 400).Draw(t, "load")
		arrayW := rapid.Float64Range(50, 4000).Draw(t, "array")
		batteryWh := rapid.Float64Range(0, 40000).Draw(t, "battery")
		hours := func(arrayW, batteryWh float64) [12]unit.Seconds {
			out, err := site.StorageHours(p, unit.Watts(arrayW), unit.WattHours(batteryWh), sun.StorageNeed{Load: unit.Watts(loadW)})
			if err != nil {
				t.Fatal(err)
			}
			return out
		}
		got, bigger, more := hours(arrayW, batteryWh), hours(arrayW, 1.5*batteryWh), hours(1.2*arrayW, batteryWh)
		for i, h := range got {
			energyH := float64(months[i].Tilted) / 1000 * arrayW * 0.6 / loadW
			// The first round starts from a full battery; its rest is small by the third.
			if h.Hours() > min(24, energyH)*1.0001+batteryWh/loadW/20 {
				t.Fatalf("month %d runs %.3f h, its energy is worth %.3f", i+1, h.Hours(), energyH)
			}
			if bigger[i] < h-1e-6 || more[i] < h-1e-6 {
				t.Fatalf("month %d: %.4f h, with more battery %.4f, with more panel %.4f", i+1, h.Hours(), bigger[i].Hours(), more[i].Hours())
			}
		}
	})
}

// What SizeStorage sizes for round the clock runs nearly so in its worst month, and
// quite so in the best: three sunless days bridge the dull ones of a mean month.
func TestStorageHours_AgreesWithSizing(t *testing.T) {
	t.Parallel()
	site := greensboro()
	p := sun.Panel{Tilt: 36 * s1.Degree, Azimuth: 180 * s1.Degree}
	need := sun.StorageNeed{Load: 150}
	size, err := site.SizeStorage(p, need)
	if err != nil {
		t.Fatal(err)
	}
	hours, err := site.StorageHours(p, size.Array, size.Battery, need)
	if err != nil {
		t.Fatal(err)
	}
	if worst := hours[size.Worst-1].Hours(); worst < 22.5 || worst > 24 {
		t.Errorf("%v runs %.2f h a day on what was sized for 24", size.Worst, worst)
	}
	if june := hours[5].Hours(); june < 23.99 {
		t.Errorf("June runs %.2f h a day", june)
	}
	for _, bad := range []struct {
		array   unit.Watts
		battery unit.WattHours
		load    unit.Watts
	}{{-1, 1, 100}, {1e8, 1, 100}, {100, -1, 100}, {100, 1e9, 100}, {100, 100, 0}} {
		if _, err := site.StorageHours(p, bad.array, bad.battery, sun.StorageNeed{Load: bad.load}); err == nil {
			t.Errorf("%+v is taken", bad)
		}
	}
}
