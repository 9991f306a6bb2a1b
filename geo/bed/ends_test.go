package bed

import (
	"math"
	"testing"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// square returns a pond with sides of 200 m and the map from its own plane.
func square(t *testing.T) (*shore.Shore, func(x, y float64) plane.Point) {
	t.Helper()
	f := plane.NewFrame(s2.LatLngFromDegrees(38, -95))
	var ring []s2.LatLng
	for _, p := range []plane.Point{{X: 0, Y: 0}, {X: 200, Y: 0}, {X: 200, Y: 200}, {X: 0, Y: 200}} {
		ring = append(ring, f.ToLatLng(p))
	}
	s, err := shore.New(ring, nil)
	if err != nil {
		t.Fatal(err)
	}
	return s, func(x, y float64) plane.Point { return s.Frame().ToPlane(f.ToLatLng(plane.Point{X: x, Y: y})) }
}

func TestLineEnds_TellOfTheWayToTheShore(t *testing.T) {
	t.Parallel()
	s, at := square(t)
	clock := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
	var soundings []Sounding
	for k := range 41 { // from 40 m off the west bank to 1 m off the east bank
		x := 40 + float64(k)*159/40
		soundings = append(soundings, Sounding{At: at(x, 100), DepthM: 0.3 + 0.02*float64(k), Time: clock.Add(time.Duration(k) * time.Second)})
	}
	soundings = append(soundings, Sounding{At: at(150, 50), DepthM: 2}) // of no line
	fixes, _ := prepare(s, soundings, make([][]Flag, len(soundings)))
	data := lineEnds(fixes, s, 0)
	if len(data) != endParts-1 {
		t.Fatalf("%d places, want %d, all at the west end: %+v", len(data), endParts-1, data)
	}
	for k, d := range data {
		part := float64(k+1) / endParts
		if want := at(40*(1-part), 100); d.at.Distance(want) > 0.1 || math.Abs(d.depthM-0.3*(1-part)) > 1e-3 || !d.end || d.line != data[0].line {
			t.Errorf("place %d: %+v, want %v and %.2f m", k, d, want, 0.3*(1-part))
		}
	}
}

// Deep water at an end, or a long way from it, leaves the shore's depth open.
func TestLineEnds_SayLessFromDeepWater(t *testing.T) {
	t.Parallel()
	s, at := square(t)
	sd := func(x, depthM float64) float64 {
		var fixes []fix
		for k := range 5 {
			fixes = append(fixes, fix{at: at(x+float64(k), 100), depthM: depthM, ordered: true})
		}
		d := lineEnds(fixes, s, 0)[0]
		return math.Sqrt(d.spread) * priorNoiseM / d.depthM
	}
	near, far, deep := sd(10, 0.3), sd(60, 0.3), sd(60, 3)
	if !(near < far && far < deep && near < 0.6 && deep > 2) {
		t.Errorf("relative standard deviations %.2f near, %.2f far, %.2f far and deep; want them to rise from under 0.6 to over 2", near, far, deep)
	}
}
