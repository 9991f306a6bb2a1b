package sun_test

import (
	"testing"
	"time"

	"github.com/golang/geo/s2"

	"pondwright/calc/sun"
)

// BenchmarkHours_Year is a year of hours on a tilted panel behind trees.
func BenchmarkHours_Year(b *testing.B) {
	at, from := s2.LatLngFromDegrees(36.1, -79.9), utc(2026, time.January, 1, 0, 0, 0)
	global := must(sun.ClearHours(at, from, 8760))
	scene := sun.Scene{Panel: south(36), Horizon: must(sun.NewHorizon([]sun.HorizonPoint{
		{Azimuth: degrees(80), Elevation: degrees(15)}, {Azimuth: degrees(120)}, {Azimuth: degrees(250), Elevation: degrees(8)}}))}
	b.ReportAllocs()
	for b.Loop() {
		must(scene.Hours(at, from, global))
	}
}

func BenchmarkRunHours(b *testing.B) {
	site := greensboro()
	for b.Loop() {
		must(site.RunHours(south(36), 400))
	}
}

func BenchmarkBestTilt_RunHours(b *testing.B) {
	site := greensboro()
	for b.Loop() {
		must(site.BestTilt(degrees(180), sun.Goal{HoursAbove: 400}))
	}
}

func BenchmarkPositionAt(b *testing.B) {
	at, when := s2.LatLngFromDegrees(36.1, -79.9), utc(2026, time.June, 1, 17, 0, 0)
	for b.Loop() {
		must(sun.PositionAt(when, at, sun.Air{}))
	}
}

func BenchmarkField(b *testing.B) {
	at, when := s2.LatLngFromDegrees(36.1, -79.9), utc(2026, time.June, 1, 17, 0, 0)
	for b.Loop() {
		must(sun.WMM2025().Field(when, at, 0))
	}
}
