package survey_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/golang/geo/s2"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/geo/bed"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/journal"
	"pondwright/server/state"
	"pondwright/server/survey"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.6g, want %.6g ± %g", what, got, want, tol)
	}
}

func TestListPonds(t *testing.T) {
	t.Parallel()
	m := newMemory()
	other := block.ID{9}
	named := func(name string) *pb.Record {
		return &pb.Record{Kind: &pb.Record_Pond{Pond: &pb.Pond{Name: name}}}
	}
	m.put(pond, sounded(), named("Willow"), shoreline(circle(20)))
	m.put(other, nil, named("Alder"))
	got, err := serve(t, m).ListPonds(t.Context(), &pb.ListPondsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	n := uint32(len(sounded()))
	want := &pb.ListPondsResponse{Ponds: []*pb.PondSummary{
		{PondId: other[:], Pond: &pb.Pond{Name: "Alder"}},
		{PondId: pond[:], Pond: &pb.Pond{Name: "Willow"}, HasShoreline: true, Soundings: n,
			LastSoundingAt: timestamppb.New(time.UnixMilli(1780000000000 + int64(n-1)*1000))},
	}}
	if !proto.Equal(got, want) {
		t.Errorf("ponds %v, want %v", got, want)
	}
}

func TestMeasure_Report(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.put(pond, sounded(), shoreline(circle(20)))
	r := measure(t, serve(t, m))
	// A paraboloid holds half the cylinder about it (Archimedes).
	want := math.Pi * 400 * 3 / 2
	near(t, "volume (m³)", r.GetVolumeM3().GetValue(), want, 0.03*want)
	if v := r.GetVolumeM3(); !(v.GetLow() < v.GetValue() && v.GetValue() < v.GetHigh()) {
		t.Errorf("interval %v", v)
	}
	if n := uint32(len(sounded())); r.GetSoundingsUsed() != n || r.GetSoundingsRejected() != 0 || len(r.GetWarnings()) != 0 {
		t.Errorf("%d used, %d left out, warnings %v", r.GetSoundingsUsed(), r.GetSoundingsRejected(), r.GetWarnings())
	}
	rows := r.GetCurve()
	if first, last := rows[0], rows[len(rows)-1]; first.GetDepthM() != 0 || last.GetVolumeM3() != 0 {
		t.Errorf("curve from %v to %v", first, last)
	}
}

// What was put in comes back by the tokens of the cells it lies in, at every level,
// once and unchanged.
func TestListSoundings_ByCell(t *testing.T) {
	t.Parallel()
	m := newMemory()
	put := sounded()
	put[7].Has, put[7].WaterTempCC = block.HasTemp, 1875
	put[8].TimeMs, put[8].Pass, put[8].Quality = 0, block.ID{}, 0
	m.put(pond, put, shoreline(circle(20)))
	c := serve(t, m)
	cellOf := func(q state.Sounding) s2.CellID {
		return s2.CellIDFromLatLng(s2.LatLngFromDegrees(float64(q.LatE7)/1e7, float64(q.LonE7)/1e7))
	}
	for _, level := range []int{0, 12, 19, 21, 23, 30} {
		tokens := make(map[string][]state.Sounding)
		for _, q := range put {
			token := cellOf(q).Parent(level).ToToken()
			tokens[token] = append(tokens[token], q)
		}
		tried := 0
		for token, want := range tokens {
			if tried++; tried > 5 {
				break
			}
			got, err := list(t.Context(), c, token)
			if err != nil {
				t.Fatal(err)
			}
			compare(t, fmt.Sprintf("cell %s of level %d", token, level), got, want)
		}
	}
	all, err := list(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	compare(t, "the whole pond", all, put)
	// A cell and its parent hold nothing twice; a cell elsewhere holds nothing.
	twice, err := list(t.Context(), c, cellOf(put[0]).Parent(12).ToToken(), cellOf(put[0]).Parent(20).ToToken())
	if err != nil {
		t.Fatal(err)
	}
	compare(t, "a cell in another", twice, put)
	none, err := list(t.Context(), c, s2.CellIDFromLatLng(s2.LatLngFromDegrees(-10, 10)).Parent(10).ToToken())
	if err != nil {
		t.Fatal(err)
	}
	compare(t, "a cell elsewhere", none, nil)
}

// compare holds what came back against what was put in.
func compare(t *testing.T, what string, got []*pb.Sounding, want []state.Sounding) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("%s: %d soundings, want %d", what, len(got), len(want))
		return
	}
	for i, q := range want {
		k := slices.IndexFunc(got, func(g *pb.Sounding) bool { return g.GetSeq() == q.Seq })
		if k < 0 {
			t.Errorf("%s: sounding %d is missing", what, i)
			continue
		}
		g := got[k]
		w := &pb.Sounding{
			LogId: q.Log[:], Seq: q.Seq, LatDeg: g.GetLatDeg(), LonDeg: g.GetLonDeg(),
			DepthM: float64(q.ReadingMM) / 1000, ReadingM: float64(q.ReadingMM) / 1000, Quality: uint32(q.Quality),
			Reference: pb.ReadingReference_READING_REFERENCE_BELOW_SURFACE, Flag: pb.SoundingFlag_SOUNDING_FLAG_USED,
		}
		if !q.Pass.IsZero() {
			w.PassId = q.Pass[:]
		}
		if q.TimeMs != 0 {
			w.Time = timestamppb.New(time.UnixMilli(q.TimeMs))
		}
		if q.Has&block.HasTemp != 0 {
			w.WaterTempC = new(float64(q.WaterTempCC) / 100)
		}
		if !proto.Equal(g, w) || math.Abs(g.GetLatDeg()*1e7-float64(q.LatE7)) > 0.01 || math.Abs(g.GetLonDeg()*1e7-float64(q.LonE7)) > 0.01 {
			t.Errorf("%s: sounding %v, want %v at %d, %d", what, g, w, q.LatE7, q.LonE7)
		}
	}
}

func TestListSoundings_MoreThanAMessage(t *testing.T) {
	t.Parallel()
	m := newMemory()
	var many []state.Sounding
	for k := range 9 {
		for _, q := range sounded() {
			q.Seq += uint64(k) * 1000
			q.TimeMs += int64(k) * 1e6
			many = append(many, q)
		}
	}
	m.put(pond, many, shoreline(circle(20)))
	got, err := list(t.Context(), serve(t, m))
	if err != nil || len(got) != len(many) || len(many) < 2001 {
		t.Errorf("%d of %d soundings, error %v", len(got), len(many), err)
	}
}

// The records of the boat's day decide what its readings mean.
func TestSoundings_ReducedByTheVisit(t *testing.T) {
	t.Parallel()
	m := newMemory()
	put := sounded()
	for i := range put {
		put[i].Reference = block.BelowTransducer
	}
	put[5].Has, put[5].FirmMM = block.HasFirm, put[5].ReadingMM+200
	line := circle(20)
	line.WaterLevelM = new(100.0)
	level := &pb.WaterLevelReading{Time: timestamppb.New(time.UnixMilli(1780000000000)), LevelM: 100.1}
	m.put(pond, put, shoreline(line),
		&pb.Record{RecordId: visit[:], Kind: &pb.Record_Visit{Visit: &pb.Visit{Day: "2026-05-28",
			WaterLevels: []*pb.WaterLevelReading{level},
			Setup:       &pb.InstrumentSetup{DraftM: new(0.30), SoundSpeedSetMPerS: new(1500.0), WaterTempC: new(18.4)}}}},
		&pb.Record{Kind: &pb.Record_Pass{Pass: &pb.Pass{PassId: pass[:], VisitId: visit[:]}}})
	c := serve(t, m)
	got, err := list(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	// 2.85 m come to 3.1070 m: EM 1110-2-1003, 2002, with the sound speed of
	// Marczak, J. Acoust. Soc. Am. 102, 2776, 1997; recomputed.
	const ratio = (3.1070 - 0.30) / 2.85
	for _, g := range got {
		near(t, "depth below the surface of the day (m)", g.GetDepthM(), 0.30+ratio*g.GetReadingM(), 1e-4)
		if g.FirmDepthM != nil {
			near(t, "firm bottom (m)", g.GetFirmDepthM(), 0.30+ratio*(g.GetReadingM()+0.2), 1e-4)
		} else if g.GetSeq() == put[5].Seq {
			t.Error("the firm depth was lost")
		}
	}
	// The pond is 0.1 m less deep at the shoreline's level, 0.30 m more by the draft.
	near(t, "greatest depth (m)", measure(t, c).GetMaxDepthM().GetValue(), 3*ratio+0.30-0.1, 0.1)
}

func TestCorrections(t *testing.T) {
	t.Parallel()
	m := newMemory()
	client := serve(t, m)
	put := sounded()
	spike := len(put) / 2
	put[spike].ReadingMM += 1500
	correct := func(action pb.CorrectionAction, depthM *float64) *pb.Record {
		return &pb.Record{Kind: &pb.Record_Correction{Correction: &pb.Correction{
			LogId: boatLog[:], Seq: put[spike].Seq, Action: action, DepthM: depthM, Reason: "looked twice", Person: "crew"}}}
	}
	const (
		accept = pb.CorrectionAction_CORRECTION_ACTION_ACCEPT
		reject = pb.CorrectionAction_CORRECTION_ACTION_REJECT
		adjust = pb.CorrectionAction_CORRECTION_ACTION_ADJUST
	)
	raw := float64(put[spike].ReadingMM) / 1000
	for _, c := range []struct {
		name    string
		records []*pb.Record
		flag    pb.SoundingFlag
		rule    string // part of it
		depthM  float64
		used    int
	}{
		{"nobody looked", nil, pb.SoundingFlag_SOUNDING_FLAG_REJECTED_BY_RULE, string(bed.Spike), raw, len(put) - 1},
		{"accepted", []*pb.Record{correct(accept, nil)}, pb.SoundingFlag_SOUNDING_FLAG_ACCEPTED_BY_PERSON, "looked twice", raw, len(put)},
		{"rejected", []*pb.Record{correct(reject, nil)}, pb.SoundingFlag_SOUNDING_FLAG_REJECTED_BY_PERSON, "looked twice", raw, len(put) - 1},
		{"adjusted", []*pb.Record{correct(adjust, new(2.9))}, pb.SoundingFlag_SOUNDING_FLAG_ADJUSTED_BY_PERSON, "looked twice", 2.9, len(put)},
		{"adjusted to nothing said", []*pb.Record{correct(adjust, nil)}, pb.SoundingFlag_SOUNDING_FLAG_REJECTED_BY_RULE, string(bed.Spike), raw, len(put) - 1},
		{"the newest word counts", []*pb.Record{correct(accept, nil), correct(reject, nil)}, pb.SoundingFlag_SOUNDING_FLAG_REJECTED_BY_PERSON, "looked twice", raw, len(put) - 1},
	} {
		m.forget()
		m.put(pond, put, append(c.records, shoreline(circle(20)))...)
		got, err := list(t.Context(), client)
		if err != nil {
			t.Fatal(err)
		}
		g := got[spike]
		if g.GetFlag() != c.flag || !strings.Contains(g.GetFlagRule(), c.rule) || (c.rule == "") != (g.GetFlagRule() == "") {
			t.Errorf("%s: flag %v, %q, want %v, %q", c.name, g.GetFlag(), g.GetFlagRule(), c.flag, c.rule)
		}
		near(t, c.name+": depth (m)", g.GetDepthM(), c.depthM, 1e-9)
		if used := measure(t, client).GetSoundingsUsed(); int(used) != c.used {
			t.Errorf("%s: %d soundings used, want %d", c.name, used, c.used)
		}
	}
}

// A verdict does not make land into water, and the answer does not say it did.
func TestCorrections_AcceptedAshore(t *testing.T) {
	t.Parallel()
	m := newMemory()
	put := sounded()
	put[0].LonE7 += 20000 // 150 m east
	m.put(pond, put, shoreline(circle(20)), &pb.Record{Kind: &pb.Record_Correction{Correction: &pb.Correction{
		LogId: boatLog[:], Seq: put[0].Seq, Action: pb.CorrectionAction_CORRECTION_ACTION_ACCEPT, Reason: "sure", Person: "crew"}}})
	got, err := list(t.Context(), serve(t, m))
	if err != nil {
		t.Fatal(err)
	}
	if got[0].GetFlag() != pb.SoundingFlag_SOUNDING_FLAG_REJECTED_BY_RULE {
		t.Errorf("flag %v, %q", got[0].GetFlag(), got[0].GetFlagRule())
	}
}

func TestShorelines_Differ(t *testing.T) {
	t.Parallel()
	m := newMemory()
	client := serve(t, m)
	for _, c := range []struct {
		name  string
		lines []*pb.Shoreline
		says  string
		areaM float64 // radius of the newest
	}{
		{"one", []*pb.Shoreline{circle(20)}, "", 20},
		{"the same twice", []*pb.Shoreline{circle(20), circle(20)}, "", 20},
		{"two", []*pb.Shoreline{circle(20), circle(22)}, "2 different", 22},
		{"there and back", []*pb.Shoreline{circle(20), circle(22), circle(20)}, "2 different", 20},
	} {
		m.forget()
		var records []*pb.Record
		for _, l := range c.lines {
			records = append(records, shoreline(l))
		}
		m.put(pond, sounded(), records...)
		r := measure(t, client)
		k := slices.IndexFunc(r.GetWarnings(), func(w *pb.Warning) bool { return w.GetCode() == "SHORELINES_DIFFER" })
		if (k >= 0) != (c.says != "") {
			t.Errorf("%s: warnings %v", c.name, r.GetWarnings())
		} else if k >= 0 && (!strings.Contains(r.GetWarnings()[k].GetMessage(), c.says) || r.GetWarnings()[k].GetRemedy() == "") {
			t.Errorf("%s: warning %v", c.name, r.GetWarnings()[k])
		}
		near(t, c.name+": area (m²)", r.GetAreaM2().GetValue(), math.Pi*c.areaM*c.areaM, 0.01*math.Pi*c.areaM*c.areaM)
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	m := newMemory()
	client := serve(t, m)
	bow := &pb.Shoreline{Outer: &pb.Ring{Points: []*pb.LatLng{
		{LatDeg: 45, LonDeg: -93}, {LatDeg: 45.001, LonDeg: -92.999}, {LatDeg: 45.001, LonDeg: -93}, {LatDeg: 45, LonDeg: -92.999},
	}}}
	swapped := sounded()
	exchanged := circle(20)
	for _, p := range exchanged.GetOuter().GetPoints() {
		p.LonDeg, p.LatDeg = p.GetLatDeg(), p.GetLonDeg()+100 // a pond at 7° N, 45° E
	}
	for i, q := range sounded() {
		swapped[i].LatE7, swapped[i].LonE7 = q.LatE7, q.LonE7+1000000000
	}
	for _, c := range []struct {
		name          string
		fill          func(*memory)
		code          codes.Code
		reason, field string
	}{
		{"unknown pond", func(*memory) {}, codes.NotFound, "POND_NOT_FOUND", ""},
		{"no shoreline", func(m *memory) { m.put(pond, sounded()) }, codes.FailedPrecondition, "SHORELINE_MISSING", "shoreline"},
		{"bow-tie", func(m *memory) { m.put(pond, sounded(), shoreline(bow)) }, codes.FailedPrecondition, "SHORELINE_INVALID", "shoreline"},
		{"empty shoreline", func(m *memory) { m.put(pond, sounded(), shoreline(&pb.Shoreline{})) }, codes.FailedPrecondition, "SHORELINE_INVALID", "shoreline"},
		{"swapped", func(m *memory) { m.put(pond, swapped, shoreline(exchanged)) }, codes.FailedPrecondition, "FIELD_INVALID", "lat"},
	} {
		m.forget()
		c.fill(m)
		_, err := client.Measure(t.Context(), &pb.MeasureRequest{PondId: pond[:]})
		refused(t, err, c.code, c.reason, c.field)
		_, err = list(t.Context(), client)
		refused(t, err, c.code, c.reason, c.field)
	}
}

func TestRefusals_OfTheRequest(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.put(pond, sounded(), shoreline(circle(20)))
	c := serve(t, m)
	_, err := c.Measure(t.Context(), &pb.MeasureRequest{PondId: []byte("short")})
	refused(t, err, codes.InvalidArgument, "FIELD_INVALID", "pond_id")
	_, err = list(t.Context(), c, "not hex")
	refused(t, err, codes.InvalidArgument, "FIELD_INVALID", "cell_tokens[0]")
	for _, token := range []string{"0", "ffffffffffffffff", "4000000000000001"} {
		if s2.CellIDFromToken(token).IsValid() {
			continue
		}
		_, err = list(t.Context(), c, "52b33", token)
		refused(t, err, codes.InvalidArgument, "FIELD_INVALID", "cell_tokens")
	}
	if n := m.calls("Soundings"); n != 0 {
		t.Errorf("bad requests cost %d reads of the soundings", n)
	}
}

// A pond is measured once for each version, however many ask.
func TestAnswer_KeptUntilThePondChanges(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.put(pond, sounded(), shoreline(circle(20)))
	c := serve(t, m)
	first := measure(t, c)
	var wg sync.WaitGroup
	for range 6 {
		wg.Go(func() {
			if got, err := c.Measure(t.Context(), &pb.MeasureRequest{PondId: pond[:]}); err != nil || !proto.Equal(got.GetReport(), first) {
				t.Errorf("another answer: %v, %v", got, err)
			}
		})
	}
	if _, err := list(t.Context(), c); err != nil {
		t.Fatal(err)
	}
	wg.Wait()
	if n := m.calls("Soundings"); n != 1 {
		t.Errorf("measured %d times, want once", n)
	}
	m.put(pond, nil, shoreline(circle(24)))
	if second := measure(t, c); second.GetAreaM2().GetValue() < 1.1*first.GetAreaM2().GetValue() {
		t.Errorf("the area is %v after the shoreline grew from %v", second.GetAreaM2(), first.GetAreaM2())
	}
	if n := m.calls("Soundings"); n != 2 {
		t.Errorf("measured %d times after one change, want 2", n)
	}
}

// A refusal is not kept: it goes away with its cause.
func TestAnswer_RefusalIsNotKept(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.put(pond, sounded())
	c := serve(t, m)
	_, err := c.Measure(t.Context(), &pb.MeasureRequest{PondId: pond[:]})
	refused(t, err, codes.FailedPrecondition, "SHORELINE_MISSING", "shoreline")
	m.put(pond, nil, shoreline(circle(20)))
	measure(t, c)
}

// Whoever gives up is let go at once, the one who measures and the one who waits
// for it; the pond is measured for the next.
func TestCancel(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.put(pond, sounded(), shoreline(circle(20)))
	m.hold, m.seen = make(chan struct{}), make(chan string, 100)
	c := serve(t, m)
	type caller struct {
		cancel context.CancelFunc
		err    chan error
	}
	ask := func() caller {
		ctx, cancel := context.WithCancel(t.Context())
		out := caller{cancel, make(chan error, 1)}
		go func() {
			_, err := c.Measure(ctx, &pb.MeasureRequest{PondId: pond[:]})
			out.err <- err
		}()
		return out
	}
	first := ask()
	m.await(t, "Soundings") // it measures
	second := ask()
	m.await(t, "Version") // the other finds it at work
	second.cancel()
	if err := <-second.err; status.Code(err) != codes.Canceled {
		t.Errorf("the one that waited: %v", err)
	}
	first.cancel()
	if err := <-first.err; status.Code(err) != codes.Canceled {
		t.Errorf("the one that measured: %v", err)
	}
	m.mu.Lock()
	m.hold = nil
	m.mu.Unlock()
	measure(t, c)
}

// The pure room is stopped by the caller's end too.
func TestMeasured_CancelStopsTheWork(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.put(pond, sounded(), shoreline(circle(20)))
	s := survey.NewService(m, "t")
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	calls := 0
	_, err := s.Measured(ctx, pond, func(float64) bool {
		calls++
		cancel()
		return true
	})
	if !errors.Is(err, context.Canceled) || calls != 1 {
		t.Errorf("error %v after %d calls", err, calls)
	}
	if _, err := s.Measured(t.Context(), pond, func(float64) bool { return false }); !errors.Is(err, context.Canceled) {
		t.Errorf("progress said stop: %v", err)
	}
	last := -1.0
	if _, err := s.Measured(t.Context(), pond, func(share float64) bool {
		if share < last || share < 0 || share > 1 {
			t.Errorf("progress went from %v to %v", last, share)
		}
		last = share
		return true
	}); err != nil || last < 0.5 {
		t.Errorf("progress ended at %v, error %v", last, err)
	}
}

// Whatever the state says, the wire never says Unknown.
func TestFaults_NeverUnknown(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.put(pond, sounded(), shoreline(circle(20)))
	c := serve(t, m)
	for _, fault := range []struct {
		err  error
		code codes.Code
	}{
		{errors.New("something burst"), codes.Internal},
		{state.ErrClosed, codes.Unavailable},
		{journal.ErrClosed, codes.Unavailable},
		{journal.ErrCorrupt, codes.DataLoss},
		{fmt.Errorf("write: %w", syscall.ENOSPC), codes.Unavailable},
		{context.Canceled, codes.Internal}, // of the server's own making: the caller still waits
		{status.Error(codes.Unknown, "from below"), codes.Internal},
	} {
		for _, method := range []string{"WaitCurrent", "Version", "Things", "Soundings", "Ponds"} {
			m.fail(method, fault.err)
			var errs []error
			if method != "Version" && method != "Soundings" {
				_, err := c.ListPonds(t.Context(), &pb.ListPondsRequest{})
				errs = append(errs, err)
			}
			if method != "Ponds" {
				_, err := c.Measure(t.Context(), &pb.MeasureRequest{PondId: pond[:]})
				_, err2 := list(t.Context(), c)
				errs = append(errs, err, err2)
			}
			for _, err := range errs {
				if got := status.Code(err); got != fault.code {
					t.Errorf("%s fails with %v: code %v, want %v (%v)", method, fault.err, got, fault.code, err)
				}
			}
		}
	}
}

func TestMeasureInline(t *testing.T) {
	t.Parallel()
	in := &pb.InlineSurvey{Shoreline: circle(20)}
	for _, q := range sounded() {
		in.Soundings = append(in.Soundings, &pb.Sounding{
			LatDeg: float64(q.LatE7) / 1e7, LonDeg: float64(q.LonE7) / 1e7, DepthM: float64(q.ReadingMM) / 1000,
		})
	}
	p, err := survey.MeasureInline(in, nil)
	if err != nil {
		t.Fatal(err)
	}
	want := math.Pi * 400 * 3 / 2
	near(t, "volume (m³)", float64(p.Report.Volume.Value), want, 0.03*want)
	if p.Report.Used != len(in.GetSoundings()) {
		t.Errorf("%d of %d used", p.Report.Used, len(in.GetSoundings()))
	}
	var r *survey.Refusal
	if _, err := survey.MeasureInline(&pb.InlineSurvey{}, nil); !errors.As(err, &r) || r.Code != codes.InvalidArgument || r.Field != "inline.shoreline" {
		t.Errorf("no shoreline: %v", err)
	}
	if _, err := survey.MeasureInline(in, func(float64) bool { return false }); !errors.Is(err, bed.ErrCanceled) {
		t.Errorf("canceled: %v", err)
	}
	for _, q := range in.GetSoundings() { // far away, and home when exchanged
		q.LatDeg, q.LonDeg = q.GetLonDeg()+100, q.GetLatDeg()
	}
	for _, p := range in.GetShoreline().GetOuter().GetPoints() {
		p.LonDeg += 100
	}
	if _, err := survey.MeasureInline(in, nil); !errors.As(err, &r) || r.Code != codes.InvalidArgument || r.Field != "inline.soundings" {
		t.Errorf("swapped: %v", err)
	}
}
