package intake

import (
	"fmt"
	"math"
	"slices"
	"time"

	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// The limits of Check, in meters. Common practice, no source.
const (
	// ShoreSlackM is how far outside the shoreline a sounding may lie: a fix is
	// that good, and so is an outline.
	ShoreSlackM = 5
	swappedM    = 10000 // soundings further off than this are not of this pond
	feetDepthM  = 12    // deeper is unusual for a pond
	feetShare   = 0.10  // of the diameter of a circle of the water's area
)

// Check compares the soundings of one or more files with the outline of their
// pond and returns those to go on with, in order.
//
// Left out, with a Problem for each file, are soundings more than ShoreSlackM
// outside the shore (OUTSIDE_SHORE) and exact repeats (DUPLICATE). A warning,
// FEET_AS_METERS, is given where the depth is so great for the pond that it may
// be in feet: more than 12 m, or a relative depth 50·z·√π/√A (Hutchinson, A
// Treatise on Limnology, 1957; from memory) above 10 %, with z the greatest running
// median of five, so that a lone spike does not cry wolf.
//
// The error is an *Error: LATLON_SWAPPED where the soundings of a file lie more
// than 10 km from the shore and within it once latitude and longitude are
// swapped, NO_SOUNDINGS where none is left.
func Check(s *shore.Shore, readings []Reading) ([]Reading, []Problem, error) {
	b := bank{Shore: s}
	b.lo, b.hi = s.Bounds()
	var ps problems
	var kept []Reading
	nearestM := math.Inf(1)
	seen := make(map[sameness]bool, len(readings))
	for _, file := range byFile(readings) {
		ps.file = file[0].File
		if err := checkSwapped(b, &ps, file); err != nil {
			return nil, nil, err
		}
		var outside, repeats count
		var in []Reading
		for _, r := range file {
			d := b.outsideM(r)
			nearestM = min(nearestM, d)
			switch {
			case d > ShoreSlackM:
				outside.add(r.Line)
			case seen[sameAs(r)]:
				repeats.add(r.Line)
			default:
				seen[sameAs(r)] = true
				in = append(in, r)
			}
		}
		if outside.n > 0 {
			ps.add(CodeOutsideShore, outside.line, "", "check that outline and soundings are of the same pond, and the outline where the boat went",
				"%s of %d more than %d m outside the shore left out, the first here", plural(outside.n, "sounding"), len(file), ShoreSlackM)
		}
		if repeats.n > 0 {
			ps.add(CodeDuplicate, repeats.line, "", "nothing to do: each sounding counts once",
				"%s with the time, place and depth of an earlier one left out, the first here", plural(repeats.n, "sounding"))
		}
		checkFeet(s, &ps, in)
		kept = append(kept, in...)
	}
	if len(kept) == 0 {
		return nil, nil, noSoundings(readings, nearestM)
	}
	return kept, ps.done(), nil
}

// byFile splits readings into runs of one file.
func byFile(readings []Reading) [][]Reading {
	var files [][]Reading
	for lo := 0; lo < len(readings); {
		hi := lo + 1
		for hi < len(readings) && readings[hi].File == readings[lo].File {
			hi++
		}
		files = append(files, readings[lo:hi])
		lo = hi
	}
	return files
}

// sameness is what two readings must share to be one.
type sameness struct {
	at               time.Time
	lat, lon, depthM float64
	pass             string
}

func sameAs(r Reading) sameness {
	return sameness{r.Time.UTC(), r.Lat, r.Lon, r.ReadingM, r.Pass}
}

// bank answers how far from the water a reading was taken.
type bank struct {
	*shore.Shore
	lo, hi plane.Point
}

// outsideM returns how far a reading lies outside the water, 0 within; beyond
// ShoreSlackM, where the number only has to be large, the distance to the box
// about the pond is enough.
func (b bank) outsideM(r Reading) float64 {
	p := b.Frame().ToPlane(r.LatLng())
	if b.Contains(p) {
		return 0
	}
	dx, dy := max(b.lo.X-p.X, p.X-b.hi.X, 0), max(b.lo.Y-p.Y, p.Y-b.hi.Y, 0)
	if d := math.Hypot(dx, dy); d > ShoreSlackM {
		return d
	}
	d, _ := b.Nearest(p)
	return d
}

func checkSwapped(b bank, ps *problems, file []Reading) error {
	var far, cured count
	for _, r := range file {
		if b.outsideM(r) <= swappedM {
			continue
		}
		far.add(r.Line)
		r.Lat, r.Lon = r.Lon, r.Lat
		if math.Abs(r.Lat) <= 90 && b.outsideM(r) <= ShoreSlackM {
			cured.add(r.Line)
		}
	}
	if 2*far.n <= len(file) || 2*cured.n <= far.n {
		return nil
	}
	return ps.fatal(CodeLatLonSwapped, far.line, "lat", "swap the columns of the soundings, or write the outline as longitude, latitude",
		"%s of %d lie more than 10 km outside the shore, and %d of them inside it with latitude and longitude swapped", plural(far.n, "sounding"), len(file), cured.n)
}

func checkFeet(s *shore.Shore, ps *problems, in []Reading) {
	deepest, line := smoothDeepest(in)
	relative := 0.5 * deepest * math.Sqrt(math.Pi) / math.Sqrt(float64(s.Area()))
	if deepest <= feetDepthM && relative <= feetShare {
		return
	}
	remedy := "if the depths are in feet, name the column depth_ft; if they are in meters, nothing to do"
	if in[0].Reference == BelowTransducer {
		remedy = "check that the sounder sends meters; if it does, nothing to do"
	}
	ps.add(CodeFeetAsMeters, line, "depth", remedy,
		"the deepest soundings of %.1f m are unusual for a pond of %.2f acres (relative depth %.0f %%): are they feet?", deepest, s.Area().Acres(), 100*relative)
}

// smoothDeepest returns the greatest running median of five depths and its line;
// with fewer, the greatest depth.
func smoothDeepest(in []Reading) (deepestM float64, line int) {
	var five [5]float64
	half := len(five) / 2
	if len(in) < len(five) {
		half = 0
	}
	for i := half; i+half < len(in); i++ {
		window := five[:0]
		for _, r := range in[i-half : i+half+1] {
			window = append(window, r.ReadingM)
		}
		slices.Sort(window)
		if m := window[len(window)/2]; m > deepestM {
			deepestM, line = m, in[i].Line
		}
	}
	return deepestM, line
}

func noSoundings(readings []Reading, nearestM float64) *Error {
	p := Problem{Code: CodeNoSoundings, Message: "no soundings at all", Remedy: "give at least one file of soundings, and see what was said about those given"}
	if len(readings) > 0 {
		p.File, p.Line = readings[0].File, readings[0].Line
		p.Message = fmt.Sprintf("all %d soundings lie outside the shore, the nearest %.0f m away", len(readings), nearestM)
		p.Remedy = "check that outline and soundings are of the same pond"
	}
	return &Error{p}
}
