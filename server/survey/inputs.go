package survey

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash"
	"math"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"pondwright/geo/survey"
	"pondwright/proto/block"
	"pondwright/proto/digest"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/state"
)

// Inputs is what a plan of a pond is made from, by its digests.
type Inputs struct {
	Survey     digest.Digest
	Facts      []*pb.KindDigest // in order of kind
	SurveyedOn string           // day of the newest sounding, ISO 8601; empty if unknown
	// Undecided are the kinds of record on which people contradict each other where
	// that can hurt someone, in order.
	Undecided []string
}

// Inputs returns what a plan made now would be made from. It measures nothing. It
// returns the errors of Measured.
func (s *Service) Inputs(ctx context.Context, id block.ID) (Inputs, error) {
	if err := s.state.WaitCurrent(ctx); err != nil {
		return Inputs{}, fmt.Errorf("wait for the state: %w", err)
	}
	who := s.caller(ctx)
	if !who.Sees(id) {
		return Inputs{}, state.ErrPondNotFound
	}
	version, err := s.state.Version(who.Tenant, id)
	if err != nil {
		return Inputs{}, fmt.Errorf("version of the pond: %w", err)
	}
	if version == 0 {
		return Inputs{}, state.ErrPondNotFound
	}
	f, soundings, err := s.read(ctx, pondKey{who.Tenant, id})
	if err != nil {
		return Inputs{}, err
	}
	in, err := f.input(soundings)
	if err != nil {
		return Inputs{}, refuse(err)
	}
	return inputsOf(in, f), nil
}

func inputsOf(in survey.Input, f facts) Inputs {
	return Inputs{Survey: surveyDigest(in), Facts: kindDigests(f.things), SurveyedOn: surveyedOn(in), Undecided: f.undecided()}
}

// surveyedOn is the day of the newest reading.
func surveyedOn(in survey.Input) string {
	var newest time.Time
	for _, r := range in.Readings {
		if r.Time.After(newest) {
			newest = r.Time
		}
	}
	if newest.IsZero() {
		return ""
	}
	return newest.Format("2006-01-02")
}

// surveyDigest covers everything that shapes the bed, whatever the order in which
// it came.
func surveyDigest(in survey.Input) digest.Digest {
	h := sha256.New()
	h.Write([]byte("pondwright survey 1\x00"))
	frame := in.Shore.Frame()
	for _, ring := range in.Shore.Rings() {
		numbers(h, float64(len(ring)))
		for _, p := range ring {
			ll := frame.ToLatLng(p)
			numbers(h, nano(ll.Lat.Degrees()), nano(ll.Lng.Degrees()))
		}
	}
	numbers(h, float64(in.Bias.Level), float64(in.Bias.Draft), float64(in.Bias.Muck), in.Bias.Sound, float64(in.Bias.Outline))
	if in.ShoreLevel != nil {
		numbers(h, float64(*in.ShoreLevel))
	}
	var passes []string
	for name := range in.Setups {
		passes = append(passes, name)
	}
	slices.Sort(passes)
	for _, name := range passes {
		s := in.Setups[name]
		h.Write([]byte(name))
		known := 0.0
		if s.DraftKnown {
			known = 1
		}
		numbers(h, float64(s.Draft), known, float64(s.SpeedSet), float64(s.WaterTemperature), float64(s.Level))
	}
	readings := slices.Clone(in.Readings)
	slices.SortFunc(readings, func(a, b survey.Reading) int {
		return cmp.Or(cmp.Compare(a.Source.File, b.Source.File), cmp.Compare(a.Source.Line, b.Source.Line), cmp.Compare(a.Seq, b.Seq))
	})
	for _, r := range readings {
		h.Write([]byte(r.Pass))
		numbers(h, r.At.Lat.Degrees(), r.At.Lng.Degrees(), float64(r.Depth), float64(r.Reference), float64(r.Verdict), float64(r.Corrected), float64(r.Seq))
	}
	return digest.Digest(h.Sum(nil))
}

// nano rounds to 1e-9 of a degree, a tenth of a millimeter: a trip through the
// plane does not count as a change.
func nano(deg float64) float64 { return math.Round(deg * 1e9) }

func numbers(h hash.Hash, vs ...float64) {
	var b []byte
	for _, v := range vs {
		b = binary.BigEndian.AppendUint64(b, math.Float64bits(v))
	}
	h.Write(b)
}

// outcomes are the kinds of record that no plan is made from: what came of plans,
// and what shapes the bed, which has a digest of its own.
var outcomes = []protoreflect.Name{
	"plan", "plan_approval", "reading", "service", "as_built", "profile", "visit", "pass", "correction", "shoreline", "transect", "photo",
}

func kindOf(r *pb.Record) (protoreflect.FieldDescriptor, proto.Message) {
	m := r.ProtoReflect()
	f := m.WhichOneof(m.Descriptor().Oneofs().ByName("kind"))
	if f == nil {
		return nil, nil
	}
	return f, m.Get(f).Message().Interface()
}

// kindDigests returns the digest of each kind of record that a plan may rest on, in
// order of kind. A kind that a later version adds counts from the start.
func kindDigests(things []state.Thing) []*pb.KindDigest {
	byKind := make(map[string][]string)
	for _, t := range things {
		if t.Deleted || t.Message == nil {
			continue
		}
		f, fact := kindOf(t.Message)
		if f == nil || slices.Contains(outcomes, f.Name()) {
			continue
		}
		d := digest.Of(fact)
		byKind[string(f.Name())] = append(byKind[string(f.Name())], string(t.ID[:])+string(d[:]))
	}
	var kinds []string
	for k := range byKind {
		kinds = append(kinds, k)
	}
	slices.Sort(kinds)
	var out []*pb.KindDigest
	for _, k := range kinds {
		slices.Sort(byKind[k])
		h := sha256.New()
		h.Write([]byte("pondwright " + k + " 1\x00"))
		for _, text := range byKind[k] {
			h.Write([]byte(text))
		}
		out = append(out, &pb.KindDigest{Kind: k, Digest: h.Sum(nil)})
	}
	return out
}

// undecided returns the kinds on which people contradict each other: versions of one
// record that no rule settles, or different records of a fact that a pond has once.
func (f facts) undecided() []string {
	open := make(map[string]bool)
	for _, t := range f.things {
		kind, _ := kindOf(t.Message)
		if kind != nil && t.Undecided && kind.Name() != "plan_approval" {
			open[string(kind.Name())] = true
		}
	}
	open["mast_site"] = open["mast_site"] || f.mast.open
	open["equipment_choice"] = open["equipment_choice"] || f.equipment.open
	var out []string
	for kind, is := range open {
		if is {
			out = append(out, kind)
		}
	}
	slices.Sort(out)
	return out
}
