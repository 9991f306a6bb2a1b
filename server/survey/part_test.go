package survey_test

import (
	"math"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/state"
)

// bowlM3 is the test pond's volume: half the cylinder about it (Archimedes).
const bowlM3 = math.Pi * 400 * 3 / 2

func TestGuess_FromTheShoreline(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.put(pond, nil, shoreline(circle(20)))
	c := serve(t, m)
	got, err := c.Guess(t.Context(), &pb.GuessRequest{PondId: pond[:], Anchor: pb.GuessAnchor_GUESS_ANCHOR_DEEPEST, DepthM: 3})
	if err != nil {
		t.Fatal(err)
	}
	g := got.GetGuess()
	if v := g.GetVolumeM3(); !(v.GetLow() < bowlM3 && bowlM3 < v.GetHigh()) || !g.GetNotForOrdering() || g.GetSystem().GetDiffusers() == 0 || g.GetDepthM() != 3 {
		t.Errorf("guess %v", g)
	}
	if got, err = c.Guess(t.Context(), &pb.GuessRequest{PondId: pond[:]}); err != nil {
		t.Fatal(err)
	}
	if g := got.GetGuess(); g.GetAnchor() != pb.GuessAnchor_GUESS_ANCHOR_OUTLINE || g.DepthM != nil {
		t.Errorf("guess %v", g)
	}
	_, err = c.Guess(t.Context(), &pb.GuessRequest{PondId: pond[:], Anchor: pb.GuessAnchor_GUESS_ANCHOR_MIDDLE})
	refused(t, err, codes.OutOfRange, "VALUE_OUT_OF_RANGE", "")
	m.put(block.ID{8}, sounded())
	id := block.ID{8}
	_, err = c.Guess(t.Context(), &pb.GuessRequest{PondId: id[:]})
	refused(t, err, codes.FailedPrecondition, "SHORELINE_MISSING", "shoreline")
	_, err = c.ProposeTransects(t.Context(), &pb.ProposeTransectsRequest{PondId: id[:]})
	refused(t, err, codes.FailedPrecondition, "SHORELINE_MISSING", "shoreline")
}

func TestProposeTransects_FromTheShoreline(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.put(pond, nil, shoreline(circle(20)))
	got, err := serve(t, m).ProposeTransects(t.Context(), &pb.ProposeTransectsRequest{PondId: pond[:], SpacingM: 4})
	if err != nil {
		t.Fatal(err)
	}
	p := got.GetPlan()
	if len(p.GetTransects()) != int(p.GetChosen().GetLines()) || p.GetChosen().GetLines() < 10 || p.GetIntervalM() != 1 {
		t.Errorf("%d lines, chosen %v", len(p.GetTransects()), p.GetChosen())
	}
	for _, l := range p.GetTransects() {
		for _, at := range l.GetPoints() {
			if away := math.Hypot((at.GetLatDeg()-midLat)*perLat, (at.GetLonDeg()-midLon)*perLon); away > 20 {
				t.Errorf("%s goes %.1f m from the middle of a pond of 20 m", l.GetName(), away)
			}
		}
	}
}

func TestReadStages(t *testing.T) {
	t.Parallel()
	m := newMemory()
	line := circle(20)
	line.WaterLevelM = new(101.25)
	m.put(pond, sounded(), shoreline(line))
	c := serve(t, m)
	got, err := c.ReadStages(t.Context(), &pb.ReadStagesRequest{PondId: pond[:], StepM: 0.5, VolumesM3: []float64{bowlM3 / 4, 2 * bowlM3}})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range got.GetRows()[:len(got.GetRows())-1] {
		// At drawdown s a paraboloid holds V (1 − s/3)².
		near(t, "volume (m³)", r.GetVolumeM3().GetValue(), bowlM3*math.Pow(1-r.GetDrawdownM()/3, 2), 0.04*bowlM3)
		near(t, "level (m)", r.GetLevelM(), 101.25-r.GetDrawdownM(), 1e-9)
		if v := r.GetVolumeM3(); !(v.GetLow() < v.GetLow80() && v.GetLow80() < v.GetValue() && v.GetHigh80() < v.GetHigh()) {
			t.Errorf("interval %v", v)
		}
	}
	quarter, twice := got.GetStages()[0], got.GetStages()[1]
	near(t, "stage of a quarter (m)", quarter.GetDrawdownM().GetValue(), 1.5, 0.1)
	near(t, "its level (m)", quarter.GetLevelM(), 101.25-1.5, 0.1)
	if !twice.GetAboveSurvey() || quarter.GetAboveSurvey() {
		t.Errorf("stages %v", got.GetStages())
	}
	_, err = c.ReadStages(t.Context(), &pb.ReadStagesRequest{PondId: pond[:], StepM: 0.0001})
	refused(t, err, codes.OutOfRange, "VALUE_OUT_OF_RANGE", "step_m")
}

func TestMeasurePart(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.put(pond, sounded(), shoreline(circle(20)))
	c := serve(t, m)
	east := new(pb.Ring)
	for _, p := range [][2]float64{{-50, 0}, {-50, 50}, {50, 50}, {50, 0}} {
		east.Points = append(east.Points, &pb.LatLng{LatDeg: midLat + p[0]/perLat, LonDeg: midLon + p[1]/perLon})
	}
	got, err := c.MeasurePart(t.Context(), &pb.MeasurePartRequest{PondId: pond[:], Ring: east, UpperM: 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "volume (m³)", got.GetPart().GetVolumeM3().GetValue(), bowlM3/2*4/9, 0.04*bowlM3)
	near(t, "area (m²)", got.GetPart().GetAreaM2().GetValue(), math.Pi*400/2*2/3, 30)
	_, err = c.MeasurePart(t.Context(), &pb.MeasurePartRequest{PondId: pond[:], UpperM: 2, LowerM: new(1.0)})
	refused(t, err, codes.InvalidArgument, "FIELD_INVALID", "lower_m")
}

// later are the same soundings a year on, in another pass, with a tenth of the depth
// filled up.
func later() []state.Sounding {
	out := sounded()
	for k := range out {
		out[k].Seq += 10000
		out[k].Pass = block.ID{33}
		out[k].TimeMs += 365 * 86400 * 1000
		out[k].ReadingMM = out[k].ReadingMM * 9 / 10
	}
	return out
}

func TestCompareSurveys(t *testing.T) {
	t.Parallel()
	m := newMemory()
	untimed := sounded()[:3]
	for k := range untimed {
		untimed[k].Seq, untimed[k].TimeMs, untimed[k].Pass = untimed[k].Seq+50000, 0, block.ID{44}
	}
	m.put(pond, append(append(sounded(), later()...), untimed...), shoreline(circle(20)))
	c := serve(t, m)
	between := time.UnixMilli(1780000000000).Add(30 * 24 * time.Hour)
	got, err := c.CompareSurveys(t.Context(), &pb.CompareSurveysRequest{PondId: pond[:], Before: timestamppb.New(between)})
	if err != nil {
		t.Fatal(err)
	}
	ch := got.GetChange()
	if v := ch.GetChangeM3(); !(v.GetLow() < -bowlM3/10 && -bowlM3/10 < v.GetHigh()) || !ch.GetCertain() {
		t.Errorf("change %v, certain %v, want %.0f m³ in it", v, ch.GetCertain(), -bowlM3/10)
	}
	var area, moved float64
	for _, cell := range ch.GetCells() {
		area, moved = area+cell.GetAreaM2(), moved+cell.GetAreaM2()*cell.GetChangeM()
	}
	near(t, "area of the cells (m²)", area, math.Pi*400, 10)
	near(t, "change of the cells (m³)", moved, ch.GetChangeM3().GetValue(), 0.02*bowlM3)
	if ws := ch.GetWarnings(); len(ws) != 1 || ws[0].GetCode() != "TIME_UNKNOWN" {
		t.Errorf("warnings %v", ws)
	}
	_, err = c.CompareSurveys(t.Context(), &pb.CompareSurveysRequest{PondId: pond[:], Before: timestamppb.New(time.UnixMilli(1))})
	refused(t, err, codes.FailedPrecondition, "SOUNDINGS_MISSING", "before")
	_, err = c.CompareSurveys(t.Context(), &pb.CompareSurveysRequest{PondId: pond[:], Before: timestamppb.New(between.AddDate(9, 0, 0))})
	refused(t, err, codes.FailedPrecondition, "SOUNDINGS_MISSING", "after")
}

// A firm bottom that is on record comes out as sediment, and with its sounding.
func TestMeasure_SedimentFromTheRecord(t *testing.T) {
	t.Parallel()
	m := newMemory()
	put := sounded()
	for k := range put {
		put[k].Has, put[k].FirmMM = block.HasFirm, put[k].ReadingMM*6/5
	}
	m.put(pond, put, shoreline(circle(20)))
	r := measure(t, serve(t, m))
	if v := r.GetSedimentM3(); !(v.GetLow() < bowlM3/5 && bowlM3/5 < v.GetHigh()) {
		t.Errorf("sediment %v, want %.0f m³ in it", v, bowlM3/5)
	}
}

// What a visit says of plate and staff reaches the bed, and the report says how the
// lines agree.
func TestMeasure_PlatesStaffAndCrossings(t *testing.T) {
	t.Parallel()
	m := newMemory()
	put := sounded()
	end := put[len(put)-1].TimeMs
	for i := range put {
		// The water falls by 0.1 m; the sounder shows 1.02 times the depth less 0.2 m.
		falls := 0.1 * float64(end-put[i].TimeMs) / float64(end-put[0].TimeMs)
		put[i].Reference = block.BelowTransducer
		put[i].ReadingMM = int32(max(1, 1000*(1.02*(float64(put[i].ReadingMM)/1000+falls)-0.2)))
	}
	// A line across all others, of another pass and as the pond is.
	for k := range 37 {
		y := float64(k) - 18
		put = append(put, state.Sounding{Log: boatLog, Seq: uint64(20000 + k), Pass: block.ID{55}, Sounding: block.Sounding{
			TimeMs: end + 60000 + int64(k)*1000, LatE7: int32((midLat + y/perLat) * 1e7), LonE7: int32(midLon*1e7) + 1,
			ReadingMM: int32(3000 * (1 - y*y/400)), Reference: block.BelowSurface,
			Has: block.HasHDOP | block.HasSatellites, HDOPCenti: 90, Satellites: 11,
		}})
	}
	put[len(put)-1].Satellites = 3
	line := circle(20)
	line.WaterLevelM = new(10.0)
	v := &pb.Visit{Day: "2026-05-28", WaterLevels: []*pb.WaterLevelReading{
		{Time: timestamppb.New(time.UnixMilli(put[0].TimeMs)), LevelM: 10.1}, {Time: timestamppb.New(time.UnixMilli(end)), LevelM: 10},
	}}
	for _, d := range []float64{0.5, 1.5, 3.2} {
		v.Plates = append(v.Plates, &pb.PlateReading{TrueM: d, ShownM: 1.02*d - 0.2})
	}
	m.put(pond, put, shoreline(line),
		&pb.Record{RecordId: visit[:], Kind: &pb.Record_Visit{Visit: v}},
		&pb.Record{Kind: &pb.Record_Pass{Pass: &pb.Pass{PassId: pass[:], VisitId: visit[:]}}})
	r := measure(t, serve(t, m))
	near(t, "volume (m³)", r.GetVolumeM3().GetValue(), bowlM3, 0.02*bowlM3)
	q := r.GetQuality()
	if len(q.GetPlates()) != 1 || !q.GetPlates()[0].GetUsed() || q.GetPlates()[0].GetMarks() != 3 {
		t.Errorf("plates %v", q.GetPlates())
	}
	near(t, "scale", q.GetPlates()[0].GetScaleFactor(), 1.02, 1e-9)
	if n := q.GetCrossingCount(); n < 9 || int(n) != len(q.GetCrossings()) || len(q.GetOrders()) != 5 {
		t.Errorf("%d crossings, %d listed, orders %v", n, len(q.GetCrossings()), q.GetOrders())
	}
	near(t, "bias (m)", q.GetBiasM(), 0, 0.02)
	for _, rule := range q.GetRules() {
		if rule.GetRule() == "poor fix" && (rule.GetFlagged() != 1 || rule.GetLeftOut() != 1) {
			t.Errorf("rule %v", rule)
		}
	}
}

func TestMeasure_LevelsApart(t *testing.T) {
	t.Parallel()
	m := newMemory()
	line := circle(20)
	line.WaterLevelM = new(10.0)
	m.put(pond, sounded(), shoreline(line),
		&pb.Record{RecordId: visit[:], Kind: &pb.Record_Visit{Visit: &pb.Visit{Day: "2026-05-28", WaterLevels: []*pb.WaterLevelReading{
			{Time: timestamppb.New(time.UnixMilli(1780000000000)), LevelM: 9.5},
		}}}},
		&pb.Record{Kind: &pb.Record_Pass{Pass: &pb.Pass{PassId: pass[:], VisitId: visit[:]}}})
	_, err := serve(t, m).Measure(t.Context(), &pb.MeasureRequest{PondId: pond[:]})
	refused(t, err, codes.FailedPrecondition, "LEVELS_APART", "water_level_m")
}
