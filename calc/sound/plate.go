package sound

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"pondwright/calc/unit"
)

// ErrPlateMarks means that a plate check has fewer than two different depths.
var ErrPlateMarks = errors.New("sound: a plate check needs marks at two different depths")

const plateSource = "a sound-speed ratio outside this is a mistake in the marks, not water"

// PlateMark is one step of a plate check: a flat plate hung at a marked depth
// below the water line, and what the sounder showed for it.
type PlateMark struct {
	True      unit.Meters
	Displayed unit.Meters
}

// PlateFit is the straight line through a plate check, displayed = Scale ×
// true + Offset, with its errors. It replaces both the assumed draft and the
// assumed sound speed, and holds for that day's water and that mounting. The
// zero value is not usable.
type PlateFit struct {
	Scale            float64     // sound speed set over sound speed in the water
	Offset           unit.Meters // what the sounder shows at the water line
	ScaleStdErr      float64     // one standard error; zero and unknown with two marks
	OffsetStdErr     unit.Meters // one standard error; zero and unknown with two marks
	Scatter          unit.Meters // standard deviation of one mark about the line
	Largest          unit.Meters // largest residual
	DegreesOfFreedom int         // marks less two; 0 means that the errors are unknown
	Shallow, Deep    unit.Meters // the marks' range of true depth

	n, mean, sxx float64
}

// FitPlate fits a line through the marks of a plate check by least squares
// (principle of the bar check in EM 1110-2-1003, 2002, chapter 9). It returns
// ErrPlateMarks with fewer than two different depths, and a *unit.RangeError
// for a mark outside 0 to 200 m or a scale outside 0.8 to 1.25, which no water
// explains.
func FitPlate(marks []PlateMark) (PlateFit, error) {
	n := float64(len(marks))
	f := PlateFit{n: n}
	var meanX, meanY float64
	for i, m := range marks {
		if err := unit.CheckRange("plate depth (m)", float64(m.True), 0, maxReadingM, depthSource); err != nil {
			return PlateFit{}, err
		}
		if err := unit.CheckRange("depth shown for the plate (m)", float64(m.Displayed), -maxDraftM, maxReadingM, depthSource); err != nil {
			return PlateFit{}, err
		}
		meanX += float64(m.True) / n
		meanY += float64(m.Displayed) / n
		if i == 0 || m.True < f.Shallow {
			f.Shallow = m.True
		}
		if i == 0 || m.True > f.Deep {
			f.Deep = m.True
		}
	}
	var sxx, sxy float64
	for _, m := range marks {
		dx := float64(m.True) - meanX
		sxx += dx * dx
		sxy += dx * (float64(m.Displayed) - meanY)
	}
	if len(marks) < 2 || f.Deep-f.Shallow < 1e-3 {
		return PlateFit{}, ErrPlateMarks
	}
	f.Scale = sxy / sxx
	if err := unit.CheckRange("plate check scale", f.Scale, minScale, maxScale, plateSource); err != nil {
		return PlateFit{}, err
	}
	f.Offset = unit.Meters(meanY - f.Scale*meanX)
	f.mean, f.sxx = meanX, sxx
	f.DegreesOfFreedom = len(marks) - 2
	f.residuals(marks)
	return f, nil
}

// residuals fills in the scatter and the standard errors.
func (f *PlateFit) residuals(marks []PlateMark) {
	var ss float64
	for _, m := range marks {
		r := float64(m.Displayed) - f.Scale*float64(m.True) - float64(f.Offset)
		ss += r * r
		f.Largest = max(f.Largest, unit.Meters(math.Abs(r)))
	}
	if f.DegreesOfFreedom == 0 {
		return
	}
	s := math.Sqrt(ss / float64(f.DegreesOfFreedom))
	f.Scatter = unit.Meters(s)
	f.ScaleStdErr = s / math.Sqrt(f.sxx)
	f.OffsetStdErr = unit.Meters(s * math.Sqrt(1/f.n+f.mean*f.mean/f.sxx))
}

// Depth reports the depth below the water surface behind a displayed one.
func (f PlateFit) Depth(displayed unit.Meters) unit.Meters {
	return (displayed - f.Offset) / unit.Meters(f.Scale)
}

// Doubt95 reports the half width at 95 % confidence of the correction itself at
// a true depth (not the scatter of one reading), by the usual confidence band of
// a fitted line. ok is false with two marks, which leave nothing to judge by.
func (f PlateFit) Doubt95(depth unit.Meters) (half unit.Meters, ok bool) {
	if f.DegreesOfFreedom < 1 {
		return 0, false
	}
	dx := float64(depth) - f.mean
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(f.DegreesOfFreedom)}.Quantile(0.975)
	return unit.Meters(t * float64(f.Scatter) / f.Scale * math.Sqrt(1/f.n+dx*dx/f.sxx)), true
}

// Brackets reports whether a true depth lies between the shallowest and the
// deepest mark. Outside, the correction is an extrapolation.
func (f PlateFit) Brackets(depth unit.Meters) bool { return depth >= f.Shallow && depth <= f.Deep }
