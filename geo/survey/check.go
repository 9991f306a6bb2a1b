package survey

import (
	"fmt"
	"math"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/shore"
)

// Limits at which a survey is questioned. The figures are common practice, no
// source.
const (
	// swapDistanceM is how far from the shoreline every sounding must lie before
	// swapped coordinates are suspected.
	swapDistanceM = 10000
	// deepestPond is the depth above which feet labelled as meters are suspected.
	deepestPond unit.Meters = 12
	// steepestRelativeDepth, in percent, is the same alarm for a small pond; few
	// natural basins exceed a few percent.
	steepestRelativeDepth = 10
)

// swapped reports whether latitude and longitude were exchanged: the readings lie
// far outside the outline, and inside it when exchanged back.
func swapped(s *shore.Shore, readings []Reading) *Warning {
	far, inside := 0, 0
	for _, r := range readings {
		if d, _ := s.Nearest(s.Frame().ToPlane(r.At)); d > swapDistanceM {
			far++
			if back := (s2.LatLng{Lat: r.At.Lng, Lng: r.At.Lat}); back.IsValid() && s.ContainsLatLng(back) {
				inside++
			}
		}
	}
	// Half is enough: a few fixes may lie ashore whichever way they are read.
	if far == 0 || 2*inside < len(readings) {
		return nil
	}
	return &Warning{
		Code:    CodeSwapped,
		Source:  readings[0].Source,
		Field:   "lat",
		Message: fmt.Sprintf("%d of %d soundings lie more than 10 km outside the shoreline, and %d of them inside it with latitude and longitude exchanged", far, len(readings), inside),
		Remedy:  "exchange the lat and lon columns: --map lat=lon --map lon=lat",
	}
}

// feetAsMeters warns when the depths are implausible in meters.
func feetAsMeters(area unit.SquareMeters, deepest unit.Meters, at Source) *Warning {
	relative := RelativeDepth(deepest, area)
	if deepest <= deepestPond && relative <= steepestRelativeDepth {
		return nil
	}
	return &Warning{
		Code:   CodeFeet,
		Source: at,
		Field:  "depth_m",
		Message: fmt.Sprintf("the deepest sounding is %.1f m, %.0f %% of the pond's mean width: depths in feet may be labelled as meters",
			float64(deepest), relative),
		Remedy: "check the sounder's unit; name the column depth_ft if the figures are feet",
	}
}

// RelativeDepth returns the deepest depth as a percentage of the diameter of a
// circle of the pond's area, 50 z √π / √A (Hutchinson, A Treatise on Limnology I,
// 1957, from memory). It is zero for an area that is not positive.
func RelativeDepth(deepest unit.Meters, area unit.SquareMeters) float64 {
	if !(area > 0) {
		return 0
	}
	return 50 * float64(deepest) * math.Sqrt(math.Pi) / math.Sqrt(float64(area))
}
