package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"pondwright/client"
	"pondwright/client/intake"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

func (m *Main) addCommand() *cobra.Command {
	var dir, pond, author string
	var columns map[string]string
	c := &cobra.Command{
		Use:   "add --store DIR --pond NAME FILE…",
		Short: "Put outlines, soundings and profiles into this device's store, with or without a network",
		Args:  cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, files []string) error {
			if block.NormalizeName(pond) == "" {
				return usagef("--pond: a pond needs a name")
			}
			store, err := client.Open(c.Context(), dir)
			if err != nil {
				return err
			}
			a := adder{store: store, pond: block.PondID(pond), name: pond, author: author, out: m.Out, err: m.Err}
			return errors.Join(a.add(c.Context(), files, columns), store.Close())
		},
	}
	c.Flags().StringVar(&dir, "store", "", "folder of the device's store; made if missing")
	c.Flags().StringVar(&pond, "pond", "", "name of the pond; boats that use one name meet in one pond")
	c.Flags().StringVar(&author, "by", "", "who took the soundings or the profile")
	c.Flags().StringToStringVar(&columns, "map", nil, "name a CSV column of another header, as depth=COLUMN; may be given several times")
	require(c, "store", "pond")
	return c
}

// adder puts files into a store.
type adder struct {
	store  *client.Client
	pond   block.ID
	name   string
	author string
	out    io.Writer
	err    io.Writer
}

// add stores what can be read. A file that cannot be read is told and does not
// keep the others out.
func (a *adder) add(ctx context.Context, files []string, columns map[string]string) error {
	if err := a.recordPond(ctx, &pb.Pond{Name: a.name}); err != nil {
		return err
	}
	var failed error
	for _, name := range files {
		data, err := os.ReadFile(name)
		if err == nil {
			err = a.addFile(ctx, name, data, columns)
		}
		failed = errors.Join(failed, err)
	}
	return failed
}

// recordPond records the pond unless this device already holds it.
func (a *adder) recordPond(ctx context.Context, pond *pb.Pond) error {
	records, err := a.store.Records(ctx, a.pond)
	if err != nil {
		return err
	}
	for _, r := range records {
		if r.Message.GetPond() != nil {
			return nil
		}
	}
	return a.record(ctx, &pb.Record{RecordId: a.pond[:], Kind: &pb.Record_Pond{Pond: pond}})
}

func (a *adder) record(ctx context.Context, r *pb.Record) error {
	r.Author = a.author
	_, err := a.store.Record(ctx, a.pond, r)
	return err
}

func (a *adder) addFile(ctx context.Context, name string, data []byte, columns map[string]string) error {
	if bytes.HasPrefix(data, jpegStart) {
		return a.addPhoto(ctx, name, data)
	}
	file, err := intake.Parse(name, data, intake.Options{Map: columns})
	if err != nil {
		return asInputError(err)
	}
	if file.Outline != nil {
		return a.addOutline(ctx, file.Outline)
	}
	if file.Profile != nil {
		return a.addProfile(ctx, name, file.Profile)
	}
	return a.addSoundings(ctx, name, data, file.Soundings)
}

// jpegStart is how every JPEG file begins: the marker SOI and the next marker's first
// byte (ITU-T T.81, 1992, annex B).
var jpegStart = []byte{0xff, 0xd8, 0xff}

// addPhoto stores a picture under the file's own name.
func (a *adder) addPhoto(ctx context.Context, name string, data []byte) error {
	base := filepath.Base(name)
	caption := clip(strings.TrimSuffix(base, filepath.Ext(base)), 200)
	if _, err := a.store.AddPhoto(ctx, a.pond, a.author, &pb.Photo{Caption: caption}, data); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	fmt.Fprintf(a.out, "%s: picture of %s bytes; it is sent once nothing else waits\n", name, number(float64(len(data)), 0))
	return nil
}

func (a *adder) tell(problems []intake.Problem) {
	for _, p := range problems {
		bad := inputError{asWarning(p)}
		fmt.Fprintln(a.err, "warning:", bad.Error())
	}
}

// addOutline records an outline once it has been checked.
func (a *adder) addOutline(ctx context.Context, o *intake.Outline) error {
	s, err := o.Shore()
	if err != nil {
		return asInputError(err)
	}
	a.tell(o.Problems)
	line := &pb.Shoreline{Outer: new(pb.Ring), WaterLevelM: o.WaterLevelM}
	if !o.DrawnOn.IsZero() {
		line.DrawnOn = o.DrawnOn.Format("2006-01-02")
	}
	frame := s.Frame()
	for i, ring := range s.Rings() {
		to := line.GetOuter()
		if i > 0 {
			to = new(pb.Ring)
			line.Islands = append(line.Islands, to)
		}
		for _, p := range ring {
			ll := frame.ToLatLng(p)
			to.Points = append(to.Points, &pb.LatLng{LatDeg: degrees(ll.Lat.Degrees()), LonDeg: degrees(ll.Lng.Degrees())})
		}
	}
	if err := a.record(ctx, &pb.Record{Kind: &pb.Record_Shoreline{Shoreline: line}}); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "%s: outline with %d island(s)\n", o.File, len(line.GetIslands()))
	return nil
}

// degrees rounds to 1e-9 of a degree, a tenth of a millimeter.
func degrees(v float64) float64 { return math.Round(v*1e9) / 1e9 }

// addSoundings records the passes of a file and their soundings. A pass is named
// for what it holds, so that the same file added again adds nothing.
func (a *adder) addSoundings(ctx context.Context, name string, data []byte, s *intake.Soundings) error {
	a.tell(s.Problems)
	held, err := a.passes(ctx)
	if err != nil {
		return err
	}
	added, again := 0, 0
	for start := 0; start < len(s.Readings); {
		end := start
		label := s.Readings[start].Pass
		var soundings []block.Sounding
		for ; end < len(s.Readings) && s.Readings[end].Pass == label; end++ {
			soundings = append(soundings, sounding(s.Readings[end]))
		}
		pass := passID(a.pond, data, label, start)
		start = end
		if held[pass] {
			again += len(soundings)
			continue
		}
		if err := a.addPass(ctx, pass, name, label, s, soundings); err != nil {
			return err
		}
		added += len(soundings)
	}
	fmt.Fprintf(a.out, "%s: %d soundings added", name, added)
	if again > 0 {
		fmt.Fprintf(a.out, ", %d were there already", again)
	}
	fmt.Fprintln(a.out)
	return nil
}

// passes returns the passes that this device has stored in full.
func (a *adder) passes(ctx context.Context) (map[block.ID]bool, error) {
	records, err := a.store.Records(ctx, a.pond)
	if err != nil {
		return nil, err
	}
	held := make(map[block.ID]bool)
	for _, r := range records {
		if p := r.Message.GetPass(); p != nil && !r.Foreign {
			if id, err := block.IDFromBytes(p.GetPassId()); err == nil {
				held[id] = true
			}
		}
	}
	return held, nil
}

// addPass stores the soundings first and the pass last: a pass on record is whole.
func (a *adder) addPass(ctx context.Context, id block.ID, file, label string, s *intake.Soundings, soundings []block.Sounding) error {
	if err := a.store.RecordSoundings(ctx, a.pond, id, a.author, soundings); err != nil {
		return err
	}
	pass := &pb.Pass{
		PassId: id[:], Device: clip(file+" "+label, 200), Method: pb.PassMethod_PASS_METHOD_IMPORTED,
		Reference: pb.ReadingReference_READING_REFERENCE_BELOW_SURFACE, OffsetM: s.OffsetM,
	}
	if soundings[0].Reference == block.BelowTransducer {
		pass.Method = pb.PassMethod_PASS_METHOD_ECHO_SOUNDER
		pass.Reference = pb.ReadingReference_READING_REFERENCE_BELOW_TRANSDUCER
	}
	if day := dayOf(soundings[0].TimeMs); day != "" {
		visit, known, err := a.visit(ctx, day)
		if err != nil {
			return err
		}
		if known {
			pass.VisitId = visit[:]
		}
	}
	return a.record(ctx, &pb.Record{Kind: &pb.Record_Pass{Pass: pass}})
}

// clip cuts text to at most n bytes, at a whole character.
func clip(text string, n int) string {
	if len(text) <= n {
		return text
	}
	for i := range text {
		if i > n-len("…") {
			return text[:i-1] + "…"
		}
	}
	return text
}

// passID names a pass by the pond, the file's content, the pass's label and where
// it begins.
func passID(pond block.ID, data []byte, label string, start int) block.ID {
	h := sha256.New()
	fmt.Fprintf(h, "pondwright pass 1\x00%s\x00%d\x00%s\x00", pond, start, label)
	h.Write(data)
	return block.ID(h.Sum(nil)[:16])
}

// sounding packs a reading for the store.
func sounding(r intake.Reading) block.Sounding {
	s := block.Sounding{
		LatE7:     int32(math.Round(r.Lat * 1e7)),
		LonE7:     int32(math.Round(r.Lon * 1e7)),
		ReadingMM: int32(math.Round(readingM(r) * 1000)),
		Reference: block.BelowSurface,
	}
	if r.Reference == intake.BelowTransducer {
		s.Reference = block.BelowTransducer
	}
	if !r.Time.IsZero() {
		s.TimeMs = r.Time.UnixMilli()
	}
	if r.Quality != nil {
		s.Quality = uint8(min(max(*r.Quality, 0), math.MaxUint8))
	}
	set := func(v *float64, field block.Fields, perUnit, most float64, put func(float64)) {
		if v != nil && *v*perUnit <= most && *v*perUnit >= -most {
			s.Has |= field
			put(math.Round(*v * perUnit))
		}
	}
	set(r.FirmM, block.HasFirm, 1000, math.MaxInt32, func(v float64) { s.FirmMM = int32(v) })
	set(r.HDOP, block.HasHDOP, 100, math.MaxUint16, func(v float64) { s.HDOPCenti = uint16(max(v, 0)) })
	set(r.HeadingDeg, block.HasHeading, 100, 35999, func(v float64) { s.HeadingCdeg = uint16(max(v, 0)) })
	set(r.WaterTempC, block.HasTemp, 100, math.MaxInt16, func(v float64) { s.WaterTempCC = int16(v) })
	if r.Satellites != nil {
		s.Has |= block.HasSatellites
		s.Satellites = uint8(min(max(*r.Satellites, 0), math.MaxUint8))
	}
	return s
}
