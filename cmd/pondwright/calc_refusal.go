package main

import (
	"errors"
	"io"
	"io/fs"
	"math"

	"pondwright/calc/air"
	"pondwright/calc/mast"
	"pondwright/calc/plume"
	"pondwright/calc/sound"
	"pondwright/calc/sun"
	"pondwright/calc/treat"
	"pondwright/calc/unit"
	"pondwright/calc/water"
)

// refusalCodes name the answers that the packages refuse, first match first, for
// programs that act on them. The codes are a promise.
func refusalCodes() []struct {
	err  error
	code string
} {
	return []struct {
		err  error
		code string
	}{
		{sun.ErrNoStation, "NO_STATION"}, {sun.ErrTooDark, "TOO_DARK"}, {sun.ErrNoGauge, "NO_WIRE_HEAVY_ENOUGH"},
		{air.ErrChoked, "CHOKED"}, {air.ErrNothingOpens, "NOTHING_OPENS"}, {air.ErrNoRuns, "NO_RUNS"}, {air.ErrNoRatings, "NO_RATINGS"},
		{air.ErrNeverCool, "NEVER_COOL"}, {air.ErrTooFewPoints, "TOO_FEW_POINTS"}, {mast.ErrNoBearing, "NO_BEARING"},
		{plume.ErrNoProfile, "NO_PROFILE"}, {water.ErrStartStops, "START_STOPS"}, {water.ErrNeverDone, "NEVER_DONE"},
		{water.ErrTooFewReadings, "TOO_FEW_READINGS"}, {water.ErrDepthsRepeat, "DEPTHS_REPEAT"}, {water.ErrNoWater, "NO_WATER"},
		{sound.ErrFlatLine, "FLAT_LINE"}, {sound.ErrShortLine, "SHORT_LINE"}, {sound.ErrNoStaff, "NO_STAFF"}, {sound.ErrPlateMarks, "PLATE_MARKS"},
		{fs.ErrNotExist, "FILE_UNREADABLE"}, {fs.ErrPermission, "FILE_UNREADABLE"},
	}
}

// refusalCode names why an answer was refused.
func refusalCode(err error) string {
	for _, r := range refusalCodes() {
		if errors.Is(err, r.err) {
			return r.code
		}
	}
	switch {
	case errors.As(err, new(*startRefused)):
		return "NO_START"
	case errors.As(err, new(*treat.Refusal)):
		return "AGAINST_RULE"
	case errors.As(err, new(*air.AboveRatingError)):
		return "ABOVE_RATING"
	case errors.As(err, new(*air.ImpossibleError)):
		return "IMPOSSIBLE_CURVE"
	case errors.As(err, new(*air.WeakestPartError)):
		return "WEAKEST_PART"
	case errors.As(err, new(*unit.RangeError)):
		return "OUT_OF_RANGE"
	case errors.As(err, new(*quantityError)):
		return "NO_QUANTITY"
	}
	return "REFUSED"
}

// refusal is a refused answer as data. Value and limits are in the unit that the
// quantity names, and null where there are none.
func refusal(calculation string, err error) object {
	out := object{{"code", refusalCode(err)}, {"message", err.Error()}}
	var quantity, source, remedy string
	var value, least, most any
	if r := (*unit.RangeError)(nil); errors.As(err, &r) {
		quantity, source = r.Quantity, r.Source
		value, least, most = finite(r.Got), finite(r.Min), finite(r.Max)
	}
	if r := (*treat.Refusal)(nil); errors.As(err, &r) {
		quantity, source, remedy = string(r.Rule), r.Source, r.Remedy
		if r.Unit != "" {
			quantity += " (" + r.Unit + ")"
			value, most = finite(r.Got), finite(r.Limit)
			if r.Rule == treat.SoftWater {
				least, most = most, nil
			}
		}
	}
	if errors.As(err, new(*startRefused)) {
		remedy = startRemedy
	}
	out = append(out, object{{"quantity", quantity}, {"value", value}, {"min", least}, {"max", most}, {"source", source}, {"remedy", remedy}}...)
	return object{{"calculation", calculation}, {"refusal", out}}
}

// finite is a number that JSON can hold, or null.
func finite(v float64) any {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return v
}

// refuseCalc returns err, and where JSON is wanted prints the refusal first, so
// that a program that reads the output learns the code, the limits and their
// source. Wrong usage prints nothing there.
func refuseCalc(out io.Writer, calculation string, err error, asJSON bool) error {
	if !asJSON || errors.As(err, new(usageError)) {
		return err
	}
	return errors.Join(err, writeIndented(out, refusal(calculation, err)))
}
