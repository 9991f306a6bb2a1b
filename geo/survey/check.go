package survey

import (
	"fmt"
	"math"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/shore"
)

// Limits at which a survey is questioned. The figures are common practice, no
// source.
const (
	// swapDistanceM is how far from the shoreline a sounding must lie before
	// swapped coordinates are suspected.
	swapDistanceM = 10000
	// deepestPond is the depth above which feet labeled as meters are suspected.
	deepestPond unit.Meters = 12
	// steepestRelativeDepth, in percent, is the same alarm for a small pond; few
	// natural basins exceed a few percent.
	steepestRelativeDepth = 10
	// fewestLines and mostFarShare bound a survey that is dense enough.
	fewestLines  = 4
	mostFarShare = 0.5
)

// swapped reports whether latitude and longitude were exchanged: the readings lie
// far outside the outline, and inside it when exchanged back.
func swapped(s *shore.Shore, readings []Reading) *Warning {
	far, inside := 0, 0
	var first Source
	for _, r := range readings {
		if d, _ := s.Nearest(s.Frame().ToPlane(r.At)); !(d > swapDistanceM) {
			continue
		}
		far++
		if back := (s2.LatLng{Lat: r.At.Lng, Lng: r.At.Lat}); back.IsValid() && s.ContainsLatLng(back) {
			if inside++; inside == 1 || r.Source.compare(first) < 0 {
				first = r.Source
			}
		}
	}
	// Half is enough: a few fixes may lie ashore whichever way they are read.
	if inside == 0 || 2*inside < len(readings) {
		return nil
	}
	return &Warning{
		Code:    CodeSwapped,
		Source:  first,
		Field:   "lat",
		Message: fmt.Sprintf("%d of %d soundings lie more than 10 km outside the shoreline, and %d of them inside it with latitude and longitude exchanged", far, len(readings), inside),
		Remedy:  "exchange latitude and longitude of the soundings, or of the outline if that is the one the wrong way round",
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
		Message: fmt.Sprintf("the deepest sounding is %.1f m, %.0f %% of the pond's mean width: depths in feet may be labeled as meters",
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

// LeftOut returns the flag that keeps a sounding out of the bed, and whether one
// does. A person's verdict outranks the rules that judge a depth by its
// neighbors; nobody can make land into water or nothing into a depth.
func LeftOut(flags []bed.Flag, v bed.Verdict) (bed.Flag, bool) {
	for _, f := range flags {
		switch f.Rule {
		case bed.NotADepth, bed.Person, bed.OutsideShore, bed.AtEdge, BankPoint:
			return f, true
		case PoleDiffers: // a hint
		default:
			if f.Excludes() && v != bed.Accepted && v != bed.Adjusted {
				return f, true
			}
		}
	}
	return bed.Flag{}, false
}

// reasons tells what to say of the soundings that a rule took out, in the order
// of the warnings.
var reasons = []struct {
	rule                      bed.Rule
	code, field, what, remedy string
}{
	{bed.NotADepth, CodeFlagged, "depth", "are no depth in a pond: zero, negative, beyond 100 m or no number", "look for a lost bottom or a wrong column; a correction can give the depth"},
	{PoorFix, CodeFix, "lat", "have a poor fix, with fewer than 5 satellites or a dilution of precision above 4, and were left out", "look at them; accept with a correction where the place is right"},
	{bed.Person, CodeFlagged, "", "were left out because a person rejected them", "record another correction if that was wrong"},
	{bed.OutsideShore, CodeOutside, "lat", "lie more than 5 m outside the shoreline and were left out", "check the outline against the day's water, and the file against the pond"},
	{bed.AtEdge, CodeFlagged, "lat", "lie up to 5 m outside the shoreline and were left out", "nothing, if they are few: the shore itself says that the depth there is zero"},
	{bed.LostBottom, CodeFlagged, "depth", "repeat one value while the boat moved on (a lost bottom) and were left out", "look at them; accept with a correction what is right"},
	{bed.DoubleEcho, CodeFlagged, "depth", "are about twice as deep as their neighbors (a double echo) and were left out", "look at them; accept with a correction what is right"},
	{bed.Spike, CodeFlagged, "depth", "stand out from their neighbors along the line and were left out", "look at them; accept with a correction what is right"},
	{bed.FalseRun, CodeFlagged, "depth", "lie off the bed in a run between two steps (weed or fish) and were left out", "look at them; accept with a correction what is right"},
}

// judge adds what the soundings and the estimate gave rise to.
func (r *Report) judge(in Input, soundings []bed.Sounding) {
	type finding struct {
		count int
		first Source
	}
	found := make(map[bed.Rule]finding)
	deepest, deepestAt := unit.Meters(0), Source{}
	for i, flags := range r.Flags {
		at, depth := in.Readings[i].Source, unit.Meters(soundings[i].DepthM)
		if flag, out := LeftOut(flags, soundings[i].Verdict); out {
			f := found[flag.Rule]
			if f.count++; f.count == 1 || at.compare(f.first) < 0 {
				f.first = at
			}
			found[flag.Rule] = f
		} else if depth > deepest || depth == deepest && at.compare(deepestAt) < 0 {
			deepest, deepestAt = depth, at
		}
	}
	for _, why := range reasons {
		if f := found[why.rule]; f.count > 0 {
			r.Warnings = append(r.Warnings, Warning{
				Code: why.code, Source: f.first, Field: why.field, Remedy: why.remedy,
				Message: fmt.Sprintf("%d soundings %s; this is the first", f.count, why.what),
			})
		}
	}
	if w := feetAsMeters(in.Shore.Area(), deepest, deepestAt); w != nil {
		r.Warnings = append(r.Warnings, *w)
	}
	if w := thin(r.Bed.Diagnostics()); w != nil {
		r.Warnings = append(r.Warnings, *w)
	}
}

// thin warns of a survey with nothing or too little in it.
func thin(d bed.Diagnostics) *Warning {
	switch {
	case d.Guess:
		return &Warning{
			Code:    CodeNone,
			Message: "there is no usable sounding: the depths are a guess from the outline alone, good for nothing but planning the survey",
			Remedy:  "sound the pond, or check why every sounding was left out",
		}
	case d.Lines < fewestLines || d.FarShare > mostFarShare:
		return &Warning{
			Code:    CodeSparse,
			Message: fmt.Sprintf("%d boat lines were told apart and %.0f %% of the water lies farther from a sounding than the lines lie from each other", d.Lines, 100*d.FarShare),
			Remedy:  "run more lines, into the arms too; the interval is wide for this reason",
		}
	}
	return nil
}
