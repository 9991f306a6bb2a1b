package survey_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
	"pondwright/geo/survey"
)

func ExampleMeasure() {
	// A round pond of 40 m radius, sounded with a pole from the surface.
	frame := plane.NewFrame(s2.LatLngFromDegrees(38, -93))
	at := func(radiusM, turn float64) s2.LatLng {
		return frame.ToLatLng(plane.Point{X: radiusM * math.Cos(turn), Y: radiusM * math.Sin(turn)})
	}
	var ring []s2.LatLng
	for k := range 60 {
		ring = append(ring, at(40, 2*math.Pi*float64(k)/60))
	}
	outline, err := shore.New(ring, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	readings := []survey.Reading{{At: at(0, 0), Depth: 3, Source: survey.Source{File: "pole.csv", Line: 2}}}
	for k := range 12 {
		readings = append(readings, survey.Reading{
			At: at(25, float64(k)), Depth: unit.Meters(1.8), Source: survey.Source{File: "pole.csv", Line: k + 3},
		})
	}
	report, err := survey.Measure(survey.Input{Shore: outline, Readings: readings}, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.2f acres, %d soundings used, %d warnings\n", report.Area.Value.Acres(), report.Used, len(report.Warnings))
	// Output: 1.24 acres, 13 soundings used, 0 warnings
}

func BenchmarkMeasure(b *testing.B) {
	s := round(b, bowlM)
	in := survey.Input{Shore: s, Readings: lines(s, 8)}
	b.ReportAllocs()
	for b.Loop() {
		measure(b, in)
	}
}
