package main

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"pondwright/calc/sound"
	"pondwright/calc/unit"
	"pondwright/client/intake"
	"pondwright/geo/shore"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
	surveyservice "pondwright/server/survey"
)

// inputError carries a problem of the input out of a command: what is wrong, in
// which file and line, and what to do.
type inputError struct{ warning survey.Warning }

func (e *inputError) Error() string { return warningLine(e.message()) }

func (e *inputError) message() *pb.Warning {
	return surveyservice.Warnings([]survey.Warning{e.warning})[0]
}

// warningLine prints a warning on one line, as compilers do: file, line, code.
func warningLine(w *pb.Warning) string {
	var b strings.Builder
	if w.GetFile() != "" {
		b.WriteString(w.GetFile())
		if w.GetLine() > 0 {
			fmt.Fprintf(&b, ":%d", w.GetLine())
		}
		b.WriteString(": ")
	}
	b.WriteString(w.GetCode() + ": ")
	if w.GetField() != "" {
		b.WriteString(w.GetField() + ": ")
	}
	b.WriteString(w.GetMessage())
	if w.GetRemedy() != "" {
		b.WriteString("; " + w.GetRemedy())
	}
	return b.String()
}

// asWarning turns a parser's problem into a survey's warning.
func asWarning(p intake.Problem) survey.Warning {
	return survey.Warning{
		Code:    p.Code,
		Source:  survey.Source{File: p.File, Line: p.Line},
		Field:   p.Field,
		Message: p.Message,
		Remedy:  p.Remedy,
	}
}

// asInputError turns a parser's error into an inputError and leaves others.
func asInputError(err error) error {
	if bad, ok := errors.AsType[*intake.Error](err); ok {
		return &inputError{asWarning(bad.Problem)}
	}
	return err
}

// readFile reads and parses one file by its content.
func readFile(name string, columns map[string]string) (intake.File, error) {
	data, err := os.ReadFile(name)
	if err != nil {
		return intake.File{}, &inputError{survey.Warning{
			Code: "FILE_UNREADABLE", Source: survey.Source{File: name},
			Message: err.Error(), Remedy: "check the path and its permissions",
		}}
	}
	f, err := intake.Parse(name, data, intake.Options{Map: columns})
	if err != nil {
		return intake.File{}, asInputError(err)
	}
	return f, nil
}

// readSurvey gathers a survey's input from one outline and any number of
// sounding files.
func readSurvey(shoreline string, soundings []string, columns map[string]string) (survey.Input, error) {
	s, in, err := readShoreline(shoreline)
	if err != nil {
		return survey.Input{}, err
	}
	in.Shore = s
	in.Setups = make(map[string]survey.Setup)
	for _, name := range soundings {
		f, err := readFile(name, columns)
		if err != nil {
			var bad *inputError
			if errors.As(err, &bad) && bad.warning.Code == intake.CodeFileEmpty {
				// The outline still says something: go on and warn.
				in.Warnings = append(in.Warnings, bad.warning)
				continue
			}
			return survey.Input{}, err
		}
		if f.Soundings == nil {
			return survey.Input{}, wrongKind(name, f.Format, "soundings (CSV or NMEA 0183)")
		}
		addSoundings(&in, name, f.Soundings)
	}
	return in, nil
}

func readShoreline(name string) (*shore.Shore, survey.Input, error) {
	f, err := readFile(name, nil)
	if err != nil {
		return nil, survey.Input{}, err
	}
	if f.Outline == nil {
		return nil, survey.Input{}, wrongKind(name, f.Format, "an outline (GeoJSON)")
	}
	s, err := f.Outline.Shore()
	if err != nil {
		return nil, survey.Input{}, asInputError(err)
	}
	var in survey.Input
	if f.Outline.WaterLevelM != nil {
		in.ShoreLevel = new(unit.Meters(*f.Outline.WaterLevelM))
	}
	for _, p := range f.Outline.Problems {
		in.Warnings = append(in.Warnings, asWarning(p))
	}
	return s, in, nil
}

func wrongKind(name string, got intake.Format, want string) error {
	return &inputError{survey.Warning{
		Code:    "FILE_KIND",
		Source:  survey.Source{File: name},
		Message: fmt.Sprintf("holds %s where %s is wanted", got, want),
		Remedy:  "check that the files are given to the right flags",
	}}
}

// addSoundings adds one file's readings. Passes of different files never mix.
func addSoundings(in *survey.Input, name string, s *intake.Soundings) {
	for _, p := range s.Problems {
		in.Warnings = append(in.Warnings, asWarning(p))
	}
	in.Readings = slices.Grow(in.Readings, len(s.Readings))
	named := ""
	pass := name + "\x00"
	for i, r := range s.Readings {
		if r.Pass != named { // readings of a pass share its name
			named, pass = r.Pass, name+"\x00"+r.Pass
		}
		in.Readings = append(in.Readings, survey.Reading{
			At:      r.LatLng(),
			Time:    r.Time,
			Seq:     int64(i) + 1,
			Depth:   unit.Meters(readingM(r)),
			Firm:    unit.Meters(known(r.FirmM)),
			HasFirm: r.FirmM != nil,

			HDOP: known(r.HDOP), Satellites: known(r.Satellites),
			Reference: reference(r.Reference),
			Pass:      pass,
			Source:    survey.Source{File: r.File, Line: r.Line},
		})
		if _, ok := in.Setups[pass]; !ok {
			in.Setups[pass] = setup(s, r)
		}
	}
}

// readingM is what a line says of the bottom that the water ends at: the top of the
// muck where the crew told it from the depth.
func readingM(r intake.Reading) float64 {
	if r.SoftM != nil && r.Reference == intake.BelowSurface {
		return *r.SoftM
	}
	return r.ReadingM
}

// known is what a file says, zero where it does not.
func known[T any](v *T) (out T) {
	if v != nil {
		out = *v
	}
	return out
}

func reference(r intake.Reference) survey.Reference {
	if r == intake.BelowTransducer {
		return survey.BelowTransducer
	}
	return survey.BelowSurface
}

// setup is how the pass that begins with reading r was made, as far as its file
// says.
func setup(s *intake.Soundings, r intake.Reading) survey.Setup {
	var out survey.Setup
	if s.OffsetM != nil {
		out.Draft, out.DraftKnown = unit.Meters(*s.OffsetM), true
	}
	if r.Reference == intake.BelowTransducer && r.WaterTempC != nil {
		out.SpeedSet, out.WaterTemperature = sound.UsualSetSpeed, unit.Celsius(*r.WaterTempC)
	}
	return out
}
