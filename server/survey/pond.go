package survey

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/golang/geo/s2"
	"google.golang.org/protobuf/proto"

	"pondwright/calc/sound"
	"pondwright/calc/unit"
	"pondwright/geo/bed"
	"pondwright/geo/shore"
	"pondwright/geo/survey"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/state"
)

// ErrNoShoreline says that nobody has drawn the pond's shoreline yet.
var ErrNoShoreline = errors.New("the pond has no shoreline yet: add an outline and sync")

// ShorelineError says that a shoreline cannot be used.
type ShorelineError struct{ Err error }

// Error gives the reason.
func (e *ShorelineError) Error() string { return "shoreline: " + e.Err.Error() }

// Unwrap returns the reason.
func (e *ShorelineError) Unwrap() error { return e.Err }

// facts are a pond's records, newest last within each kind.
type facts struct {
	things      []state.Thing // all of them
	pond        *pb.Pond
	shorelines  []*pb.Shoreline
	mast        one[*pb.MastSite]
	equipment   one[*pb.EquipmentChoice]
	visits      map[string]*pb.Visit
	passes      map[string]*pb.Pass
	corrections map[correctionKey]*pb.Correction
	zones       []*pb.Zone
	zonesOpen   bool
	conflicts   int // records that wait for a person to settle them
}

type correctionKey struct {
	log string
	seq uint64
}

// one is a fact of which a pond has one, and which can hurt someone if it is wrong.
type one[M proto.Message] struct {
	fact  M
	known bool
	open  bool // people say different things
}

// say takes another record of the fact and reports whether it makes a new conflict:
// its own, or with a record of the same fact that somebody began under another id.
func (o *one[M]) say(fact M, undecided bool) (conflict bool) {
	differs := o.known && !proto.Equal(o.fact, fact)
	o.fact, o.known, o.open = fact, true, o.open || undecided || differs
	return differs && !undecided
}

// gather sorts what a pond's records come to, which is in order of their clocks;
// what was deleted is left out.
func gather(things []state.Thing) facts {
	f := facts{
		things:      things,
		visits:      make(map[string]*pb.Visit),
		passes:      make(map[string]*pb.Pass),
		corrections: make(map[correctionKey]*pb.Correction),
	}
	for _, t := range things {
		if len(t.Conflicts) > 0 {
			f.conflicts++
		}
		if t.Deleted {
			continue
		}
		switch m := t.Message; kind := m.GetKind().(type) {
		case *pb.Record_Pond:
			f.pond = kind.Pond
		case *pb.Record_Shoreline:
			f.shorelines = append(f.shorelines, kind.Shoreline)
		case *pb.Record_MastSite:
			if f.mast.say(kind.MastSite, t.Undecided) {
				f.conflicts++
			}
		case *pb.Record_EquipmentChoice:
			if f.equipment.say(kind.EquipmentChoice, t.Undecided) {
				f.conflicts++
			}
		case *pb.Record_Zone:
			f.zones, f.zonesOpen = append(f.zones, kind.Zone), f.zonesOpen || t.Undecided
		case *pb.Record_Visit:
			f.visits[string(m.GetRecordId())] = kind.Visit
		case *pb.Record_Pass:
			f.passes[string(kind.Pass.GetPassId())] = kind.Pass
		case *pb.Record_Correction:
			c := kind.Correction
			f.corrections[correctionKey{string(c.GetLogId()), c.GetSeq()}] = c
		}
	}
	return f
}

// input turns a pond's facts and soundings into what the pure rooms measure.
func (f facts) input(soundings []state.Sounding) (survey.Input, error) {
	if len(f.shorelines) == 0 {
		return survey.Input{}, ErrNoShoreline
	}
	line := f.shorelines[len(f.shorelines)-1]
	s, err := outline(line)
	if err != nil {
		return survey.Input{}, &ShorelineError{err}
	}
	in := survey.Input{Shore: s, Setups: make(map[string]survey.Setup), Warnings: f.doubts()}
	if line.WaterLevelM != nil {
		in.ShoreLevel = new(unit.Meters(line.GetWaterLevelM()))
	}
	if line.PositionErrorM != nil {
		in.Bias.Outline = unit.Meters(line.GetPositionErrorM())
	}
	for name, first := range firsts(soundings) {
		in.Setups[name] = f.setup(f.passes[string(first.Pass[:])], first, line)
	}
	for _, q := range soundings {
		in.Readings = append(in.Readings, f.reading(passName(q), q))
	}
	return in, nil
}

// firsts returns the earliest sounding of each pass: by its time, or where that is
// not known by its number in its log.
func firsts(soundings []state.Sounding) map[string]state.Sounding {
	out := make(map[string]state.Sounding)
	for _, q := range soundings {
		name := passName(q)
		first, ok := out[name]
		if !ok || cmp.Or(cmp.Compare(age(q), age(first)), bytes.Compare(q.Log[:], first.Log[:]), cmp.Compare(q.Seq, first.Seq)) < 0 {
			out[name] = q
		}
	}
	return out
}

// age orders soundings in time, those without one last.
func age(q state.Sounding) int64 {
	if q.TimeMs == 0 {
		return math.MaxInt64
	}
	return q.TimeMs
}

// doubts are the warnings that the records themselves give rise to.
func (f facts) doubts() []survey.Warning {
	var out []survey.Warning
	different := make(map[string]bool)
	for _, line := range f.shorelines {
		different[shape(line)] = true
	}
	if len(different) > 1 {
		out = append(out, survey.Warning{
			Code:    "SHORELINES_DIFFER",
			Field:   "shoreline",
			Message: fmt.Sprintf("%d different shorelines are on record; the newest is used", len(different)),
			Remedy:  "agree on one and record it again",
		})
	}
	if f.shorelines[len(f.shorelines)-1].WaterLevelM == nil && f.levelsRead() {
		out = append(out, survey.Warning{
			Code: "LEVEL_UNKNOWN", Field: "water_level_m",
			Message: "water levels are on record, but not that of the day the shoreline was drawn: none of them is used",
			Remedy:  "give the outline the property water_level_m, read on the same benchmark, and add it again",
		})
	}
	return out
}

// levelsRead reports whether anybody told a water level over the benchmark.
func (f facts) levelsRead() bool {
	if p := f.pond; p != nil && (p.FullLevelM != nil || p.UsualLowLevelM != nil || p.HighestLevelM != nil) {
		return true
	}
	for _, v := range f.visits {
		if len(v.GetWaterLevels()) > 0 {
			return true
		}
	}
	return false
}

// shape is the same for outlines with the same corners.
func shape(line *pb.Shoreline) string {
	var b strings.Builder
	for _, ring := range append([]*pb.Ring{line.GetOuter()}, line.GetIslands()...) {
		for _, p := range ring.GetPoints() {
			fmt.Fprintf(&b, "%.8f %.8f,", p.GetLatDeg(), p.GetLonDeg())
		}
		b.WriteByte(';')
	}
	return b.String()
}

func outline(line *pb.Shoreline) (*shore.Shore, error) {
	var islands [][]s2.LatLng
	for _, ring := range line.GetIslands() {
		islands = append(islands, corners(ring))
	}
	return shore.New(corners(line.GetOuter()), islands)
}

func corners(ring *pb.Ring) []s2.LatLng {
	var out []s2.LatLng
	for _, p := range ring.GetPoints() {
		out = append(out, s2.LatLngFromDegrees(p.GetLatDeg(), p.GetLonDeg()))
	}
	return out
}

// passName names a sounding's pass in the pure rooms: its id, or the log for a
// sounding without one, so that two boats never share a line.
func passName(q state.Sounding) string {
	if q.Pass.IsZero() {
		return "log " + q.Log.String()
	}
	return q.Pass.String()
}

// setup is how a pass was made, as far as its records say. The pass's own offset
// outranks the visit's draft.
func (f facts) setup(pass *pb.Pass, first state.Sounding, line *pb.Shoreline) survey.Setup {
	var out survey.Setup
	visit := f.visits[string(pass.GetVisitId())]
	if instrument := visit.GetSetup(); instrument != nil {
		if instrument.DraftM != nil {
			out.Draft, out.DraftKnown = unit.Meters(instrument.GetDraftM()), true
		}
		out.SpeedSet = unit.MetersPerSecond(instrument.GetSoundSpeedSetMPerS())
		if instrument.WaterTempC != nil {
			out.WaterTemperature = unit.Celsius(instrument.GetWaterTempC())
		}
	}
	if pass != nil && pass.OffsetM != nil && pass.GetOffsetM() >= 0 { // below zero it counts from something else than the water
		out.Draft, out.DraftKnown = unit.Meters(pass.GetOffsetM()), true
	}
	if out.WaterTemperature == 0 && first.Has&block.HasTemp != 0 {
		out.WaterTemperature = unit.Celsius(float64(first.WaterTempCC) / 100)
	}
	if out.SpeedSet == 0 && out.WaterTemperature != 0 {
		out.SpeedSet = sound.UsualSetSpeed
	}
	for _, p := range visit.GetPlates() {
		out.Plates = append(out.Plates, sound.PlateMark{True: unit.Meters(p.GetTrueM()), Displayed: unit.Meters(p.GetShownM())})
	}
	out.Staff, out.Level = levels(visit, line)
	return out
}

// levels returns the staff of a visit and the height of its zero above the
// shoreline's level; without both there is none, and the levels count as one.
func levels(visit *pb.Visit, line *pb.Shoreline) (staff sound.Level, zero unit.Meters) {
	var read []sound.StaffReading
	for _, r := range visit.GetWaterLevels() {
		read = append(read, sound.StaffReading{At: r.GetTime().AsTime(), Height: unit.Meters(r.GetLevelM())})
	}
	if line.WaterLevelM == nil {
		return sound.Level{}, 0
	}
	staff, err := sound.NewLevel(read)
	if err != nil {
		return sound.Level{}, 0
	}
	return staff, -unit.Meters(line.GetWaterLevelM())
}

// reading turns a stored sounding into a raw reading with a person's verdict.
func (f facts) reading(pass string, q state.Sounding) survey.Reading {
	r := survey.Reading{
		At:        s2.LatLngFromDegrees(float64(q.LatE7)/1e7, float64(q.LonE7)/1e7),
		Seq:       int64(q.Seq),
		Depth:     unit.Meters(q.ReadingMM) / 1000,
		Reference: survey.BelowSurface,
		Pass:      pass,
		Source:    survey.Source{File: "log " + q.Log.String(), Line: int(q.Seq)},
	}
	if q.TimeMs != 0 {
		r.Time = time.UnixMilli(q.TimeMs).UTC()
	}
	if q.Has&block.HasHDOP != 0 {
		r.HDOP = float64(q.HDOPCenti) / 100
	}
	if q.Has&block.HasSatellites != 0 {
		r.Satellites = int(q.Satellites)
	}
	if q.Has&block.HasFirm != 0 {
		r.Firm, r.HasFirm = unit.Meters(q.FirmMM)/1000, true
	}
	if q.Reference == block.BelowTransducer {
		r.Reference = survey.BelowTransducer
	}
	switch c := f.corrections[correctionKey{string(q.Log[:]), q.Seq}]; c.GetAction() {
	case pb.CorrectionAction_CORRECTION_ACTION_ACCEPT:
		r.Verdict = bed.Accepted
	case pb.CorrectionAction_CORRECTION_ACTION_REJECT:
		r.Verdict = bed.Rejected
	case pb.CorrectionAction_CORRECTION_ACTION_ADJUST:
		if c.DepthM != nil { // else it says nothing
			r.Verdict, r.Corrected = bed.Adjusted, unit.Meters(c.GetDepthM())
		}
	case pb.CorrectionAction_CORRECTION_ACTION_UNSPECIFIED:
	}
	return r
}

// levels are the pond's water levels over that of its newest shoreline; nil where
// that one's was not measured.
func (f facts) levels() *pb.PondLevels {
	if f.pond == nil || len(f.shorelines) == 0 {
		return nil
	}
	line := f.shorelines[len(f.shorelines)-1]
	if line.WaterLevelM == nil {
		return nil
	}
	over := func(known bool, level float64) *float64 {
		if !known {
			return nil
		}
		level -= line.GetWaterLevelM()
		return &level
	}
	p := f.pond
	return &pb.PondLevels{
		FullM: over(p.FullLevelM != nil, p.GetFullLevelM()), UsualLowM: over(p.UsualLowLevelM != nil, p.GetUsualLowLevelM()),
		HighestM: over(p.HighestLevelM != nil, p.GetHighestLevelM()),
	}
}
