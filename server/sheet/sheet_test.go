package sheet_test

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/golang/geo/s2"
	"github.com/ledongthuc/pdf"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	"pondwright/calc/mast"
	"pondwright/calc/unit"
	"pondwright/geo/draw"
	"pondwright/geo/plan"
	pb "pondwright/proto/pondwright/v1"
	planservice "pondwright/server/plan"
	"pondwright/server/sheet"
	"pondwright/server/survey"
)

// The test pond is an oval of 90 by 50 m, 4 m deep.
const (
	midLat, midLon = 45.0, -93.0
	perLat, perLon = 111132.0, 78847.0 // m a degree, about
)

func inline() *pb.InlineSurvey {
	ring, out := new(pb.Ring), new(pb.InlineSurvey)
	for i := range 60 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / 60)
		ring.Points = append(ring.Points, &pb.LatLng{LatDeg: midLat + 25*sin/perLat, LonDeg: midLon + 45*cos/perLon})
	}
	out.Shoreline = &pb.Shoreline{Outer: ring}
	for y := -20.0; y <= 20; y += 8 {
		for x := -42.0; x <= 42; x += 4 {
			if r := x*x/2025 + y*y/625; r < 0.95 {
				out.Soundings = append(out.Soundings, &pb.Sounding{LatDeg: midLat + y/perLat, LonDeg: midLon + x/perLon, DepthM: 4 * (1 - r)})
			}
		}
	}
	return out
}

var prices = plan.Prices{Dated: "2026-03-01", List: []plan.Price{{Item: plan.ItemDiffuser, Unit: "each", Each: 210.5}, {Item: plan.ItemHose, Unit: "m", Each: 1.9}}}

// job is the test pond with its plan, made once. Nobody may change what it points to.
var job = sync.OnceValues(func() (sheet.Job, error) {
	pond, err := survey.MeasureInline(inline(), nil)
	if err != nil {
		return sheet.Job{}, err
	}
	in := plan.Input{
		Survey: pond.Report, Shore: pond.Input.Shore, Equipment: plan.DefaultEquipment(),
		Mast: planservice.LatLng(&pb.MastSite{LatDeg: midLat + 40/perLat, LonDeg: midLon}),
	}
	in.Equipment.Coils = []plan.Coil{{Bore: in.Equipment.Bore, Length: 100, Count: 2}}
	in.Zones = []plan.Zone{{Kind: plan.IntakeZone, Name: "pump", Points: []s2.LatLng{s2.LatLngFromDegrees(midLat, midLon+38/perLon)}}}
	in.Power = &plan.Power{Source: plan.SunBattery, Day: time.Date(2026, 6, 9, 0, 0, 0, 0, time.UTC), Wiring: plan.Wiring{Length: 12}}
	in.Prices = prices
	var places []s2.LatLng // given: looking for the best takes longer than all the tests
	for _, x := range []float64{-15, 0, 14} {
		places = append(places, s2.LatLngFromDegrees(midLat+2/perLat, midLon+x/perLon))
	}
	p, err := plan.Evaluate(in, places)
	if err != nil {
		return sheet.Job{}, err
	}
	return sheet.Job{
		Name: "Fernhollow", Owner: "Thistledrum Farm", Place: "Larkrow Hollow",
		Plan: planservice.Message(p, in), Survey: pond.Report, Shore: pond.Input.Shore,
		Surveyed: time.Date(2026, 6, 9, 15, 0, 0, 0, time.UTC),
		Prices:   prices,
	}, nil
})

func testJob(t interface {
	Helper()
	Fatal(...any)
}) sheet.Job {
	t.Helper()
	j, err := job()
	if err != nil {
		t.Fatal(err)
	}
	return j
}

func papers(t interface {
	Helper()
	Fatal(...any)
}, j sheet.Job) map[string][]byte {
	t.Helper()
	files, err := sheet.Papers(j)
	if err != nil {
		t.Fatal(err)
	}
	return byName(files)
}

func sheets(t interface {
	Helper()
	Fatal(...any)
}, j sheet.Job) []byte {
	t.Helper()
	data, err := sheet.Sheets(j)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func byName(files []sheet.File) map[string][]byte {
	out := make(map[string][]byte)
	for _, f := range files {
		out[f.Name] = f.Data
	}
	return out
}

// usual are the papers of the test pond, made once.
var usual = sync.OnceValues(func() ([]sheet.File, error) {
	j, err := job()
	if err != nil {
		return nil, err
	}
	return sheet.Papers(j)
})

func usualPapers(t *testing.T) map[string][]byte {
	t.Helper()
	files, err := usual()
	if err != nil {
		t.Fatal(err)
	}
	return byName(files)
}

// read returns the words of a PDF page by page, read by a library of others, and
// the pages' sizes in points.
func read(t interface {
	Helper()
	Fatal(...any)
}, data []byte) (pages []string, sizes [][2]float64) {
	t.Helper()
	r, err := pdf.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	for i := 1; i <= r.NumPage(); i++ {
		page := r.Page(i)
		var words strings.Builder
		for _, text := range page.Content().Text {
			words.WriteString(text.S)
		}
		pages = append(pages, words.String())
		box := page.V.Key("MediaBox")
		sizes = append(sizes, [2]float64{box.Index(2).Float64() - box.Index(0).Float64(), box.Index(3).Float64() - box.Index(1).Float64()})
	}
	return pages, sizes
}

// squeeze drops spaces: a reader of others may lose or add them between words.
func squeeze(s string) string { return strings.ReplaceAll(s, " ", "") }

// Every number of the plan that goes to other programs stands in the sheets.
func TestPapers_SheetsSayWhatThePlanSays(t *testing.T) {
	t.Parallel()
	for _, u := range []unit.System{unit.US, unit.SI} {
		j := testJob(t)
		j.Units = u
		pages, _ := read(t, sheets(t, j))
		all := squeeze(strings.Join(pages, "\n"))
		p := j.Plan
		want := []string{
			u.Area(j.Survey.Area.Value), u.Volume(j.Survey.Volume.Value), u.Volume(j.Survey.Volume.Low), u.Volume(j.Survey.Volume.High),
			u.Air(unit.StdCubicMetersPerSecond(p.GetCompressorFlowM3PerS())), u.Gauge(unit.PascalsGauge(p.GetManifoldPressurePaGauge())),
			u.Distance(unit.Meters(p.GetTotalHoseM())), fmt.Sprintf("%.2f (between %.2f and %.2f)", p.GetTurnoversPerDay().GetValue(), p.GetTurnoversPerDay().GetLow(), p.GetTurnoversPerDay().GetHigh()),
			fmt.Sprintf("%.6f", p.GetMast().GetLat()), "Surveyed 2026-06-09", "DRAFT, not approved", j.Name, j.Owner, j.Place, "Intake: pump",
		}
		for _, d := range p.GetDiffusers() {
			h := d.GetHose()
			want = append(want, d.GetLabel(), fmt.Sprintf("%.6f", d.GetLat()), fmt.Sprintf("%.6f", d.GetLon()),
				u.Length(unit.Meters(d.GetDepthM())), u.Length(unit.Meters(d.GetSubmergenceM())), u.Air(unit.StdCubicMetersPerSecond(d.GetAirflowM3PerS())),
				u.Gauge(unit.PascalsGauge(d.GetInletPressurePaGauge())), u.Gauge(unit.PascalsGauge(d.GetValveDropPa())),
				u.Water(unit.CubicMetersPerSecond(d.GetLiftM3PerS())), u.Volume(unit.CubicMeters(d.GetServedM3())),
				u.Distance(unit.Meters(h.GetLengthM())), u.Distance(unit.Meters(h.GetWaterM())), u.Distance(unit.Meters(h.GetTrenchM())), u.Bore(unit.Meters(h.GetBoreM())))
		}
		for _, a := range p.GetAssumptions() {
			want = append(want, a.GetName())
		}
		for _, c := range p.GetCuts() {
			want = append(want, u.Distance(unit.Meters(c.GetLengthM())), u.Distance(unit.Meters(c.GetLeftM())), u.Distance(unit.Meters(c.GetCoilLengthM())))
		}
		for _, task := range p.GetBoatWork() {
			want = append(want, unit.Words(u, task.GetTextTemplate(), task.GetText()))
		}
		for _, m := range p.GetSupply().GetMonths() {
			want = append(want, fmt.Sprintf("%.1f%.2f%.2f%.2f", m.GetRunHoursPerDay(), m.GetTurnoversPerDay().GetValue(), m.GetTurnoversPerDay().GetLow(), m.GetTurnoversPerDay().GetHigh()))
		}
		v := p.GetMastVerdict()
		want = append(want, unit.Decimal(p.GetSupply().GetArrayW(), 0)+" W together", unit.Decimal(p.GetSupply().GetBatteryWh(), 0)+" Wh",
			u.Length(unit.Meters(v.GetFootingDepthM())), u.Wind(unit.MetersPerSecond(v.GetWindMPerS())), v.GetPole(), u.Fill(unit.CubicMeters(v.GetConcreteM3())),
			u.Gauge(unit.PascalsGauge(p.GetCommissioning().GetSoundingDay().GetPressurePaGauge().GetHigh())))
		for _, c := range v.GetChecks() {
			amount := mast.Check{Unit: c.GetUnit()}.Amount
			want = append(want, c.GetKind(), amount(c.GetDemand()).In(u), amount(c.GetCapacity()).In(u))
		}
		for _, r := range p.GetRefusals() {
			want = append(want, r.GetText()[1:20])
		}
		if len(p.GetSupply().GetMonths()) != 12 || len(v.GetChecks()) == 0 || len(p.GetCuts()) == 0 || len(p.GetBoatWork()) == 0 || len(p.GetGround().GetZones()) == 0 {
			t.Fatal("the test's plan is too poor to test the sheets with")
		}
		for _, c := range p.GetCautions() {
			if c.GetCode() != plan.CodeDefaults {
				want = append(want, c.GetText()[:20])
			}
		}
		for _, w := range want {
			if !strings.Contains(all, squeeze(w)) {
				t.Errorf("%s: the sheets lack %q", u, w)
			}
		}
	}
}

// The units of one system that the sheets of the other may not hold, but between
// brackets. Oxygen is in mg/L and light in W/m² in both.
var foreign = map[unit.System]*regexp.Regexp{
	unit.US: regexp.MustCompile(`[0-9] ?(m|mm|km|kg|k?Pa|MPa|k?N|k?N·m|L/min|L/s|m³|m²|m/s|°C)([^A-Za-z0-9/²³·]|$)`),
	unit.SI: regexp.MustCompile(`[0-9] ?(ft|ft²|ft³|mi|lb|lbf|lbf·ft|psi|psf|scfm|gpm|acres|acre-ft|mph|°F)([^A-Za-z0-9/²³·]|$)`),
}

// No text speaks the units of the other system.
func TestPapers_OneSystemOfUnits(t *testing.T) {
	t.Parallel()
	j := testJob(t)
	j.Start = &pb.StartUpResponse{Way: pb.StartWay_START_WAY_NOT_NOW, Objections: []*pb.Objection{{
		Code: "PROFILE_TOO_SHORT", Text: "at 2.0 m", TextTemplate: "at {length 2}", Remedy: "read down to the bottom",
	}}}
	pole := mast.NotEnough{By: []mast.Check{{Kind: mast.PoleCheck, Demand: 9000, Capacity: 4000, Unit: "N·m"}, {Kind: mast.FrostCheck, Demand: 1.2, Capacity: 0.9, Unit: "m"}}}
	j.Plan = proto.CloneOf(j.Plan)
	v := j.Plan.GetMastVerdict()
	v.Judgement, v.Text, v.TextTemplate = pb.MastJudgement_MAST_JUDGEMENT_NOT_ENOUGH, pole.String(), string(pole.Text())
	for _, u := range []unit.System{unit.US, unit.SI} {
		j.Units = u
		files := papers(t, j)
		for _, name := range []string{sheet.SheetsName, "owner.pdf"} {
			for i, words := range first(read(t, files[name])) {
				words = bracketed.ReplaceAllString(words, "")
				for _, at := range foreign[u].FindAllStringIndex(words, -1) {
					t.Errorf("%s sheets, %s page %d: …%s…", u, name, i+1, words[max(0, at[0]-40):min(len(words), at[1]+20)])
				}
				if strings.ContainsAny(words, "{}") {
					t.Errorf("%s sheets, %s page %d holds a mark", u, name, i+1)
				}
			}
		}
	}
}

var bracketed = regexp.MustCompile(`\([^()]*\)`)

// A table row read back holds what one diffuser has, and not another's.
func TestPapers_RowsHoldTogether(t *testing.T) {
	t.Parallel()
	j := testJob(t)
	pages, _ := read(t, usualPapers(t)[sheet.SheetsName])
	all := squeeze(strings.Join(pages, "\n"))
	for _, d := range j.Plan.GetDiffusers() {
		h := d.GetHose()
		cut := d.GetLabel()
		for _, lengthM := range []float64{h.GetLengthM(), h.GetTrenchM(), h.GetRiserM(), h.GetWaterM(), h.GetSlackM(), h.GetSpareM()} {
			cut += j.Units.Distance(unit.Meters(lengthM))
		}
		cut += j.Units.Bore(unit.Meters(h.GetBoreM()))
		at := d.GetLabel() + fmt.Sprintf("diffuser%.6f%.6f", d.GetLat(), d.GetLon()) + j.Units.Length(unit.Meters(d.GetDepthM()))
		for _, row := range []string{cut, at} {
			if !strings.Contains(all, squeeze(row)) {
				t.Errorf("no row reads %q", row)
			}
		}
	}
}

func TestPapers_EveryPageIsStampedAndNumbered(t *testing.T) {
	t.Parallel()
	j := testJob(t)
	files := usualPapers(t)
	for _, name := range []string{sheet.SheetsName, "owner.pdf"} {
		pages, _ := read(t, files[name])
		for i, words := range pages {
			for _, want := range []string{"NOT FOR CONSTRUCTION: DEFAULTS USED", "DRAFT", "Not for construction", fmt.Sprintf("Page %d of %d", i+1, len(pages))} {
				if !strings.Contains(squeeze(words), squeeze(want)) {
					t.Errorf("%s, page %d lacks %q", name, i+1, want)
				}
			}
		}
	}
	if !bytes.Contains(files["map.svg"], []byte("NOT FOR CONSTRUCTION")) {
		t.Error("the map alone is not stamped")
	}
	sure := proto.CloneOf(j.Plan)
	for _, a := range sure.GetAssumptions() {
		a.IsDefault = false
	}
	j.Plan = sure
	for _, words := range first(read(t, sheets(t, j))) {
		if strings.Contains(squeeze(words), squeeze("NOT FOR CONSTRUCTION")) {
			t.Error("a plan without a default is stamped")
		}
	}
}

func first[A, B any](a A, _ B) A { return a }

// The head of every page says what the plan is worth.
func TestPapers_Standing(t *testing.T) {
	t.Parallel()
	approved := &pb.PlanApproval{Person: "W. Sedge", ApprovedAt: timestamppb.New(time.Date(2026, 7, 1, 9, 0, 0, 0, time.UTC)), Reason: "soil tested by hand"}
	for _, tt := range []struct {
		version *pb.PlanVersion
		want    []string
		never   string
	}{
		{&pb.PlanVersion{Standing: pb.PlanStanding_PLAN_STANDING_DRAFT}, []string{"DRAFT, not approved", "Plan P-TEST-0001"}, "Approved"},
		{&pb.PlanVersion{Standing: pb.PlanStanding_PLAN_STANDING_APPROVED, Approval: approved}, []string{"Approved by W. Sedge, 2026-07-01"}, "DRAFT"},
		{&pb.PlanVersion{Standing: pb.PlanStanding_PLAN_STANDING_REPLACED, Approval: approved}, []string{"REPLACED by another plan"}, "Approved by"},
	} {
		j := testJob(t)
		j.Plan, j.Version = proto.CloneOf(j.Plan), tt.version
		j.Plan.PlanId = "P-TEST-0001"
		pages, _ := read(t, sheets(t, j))
		for i, words := range pages {
			for _, want := range tt.want {
				if !strings.Contains(squeeze(words), squeeze(want)) {
					t.Errorf("%s: page %d lacks %q", tt.version.GetStanding(), i+1, want)
				}
			}
			if strings.Contains(squeeze(words), squeeze(tt.never)) {
				t.Errorf("%s: page %d says %q", tt.version.GetStanding(), i+1, tt.never)
			}
		}
		if a := tt.version.GetApproval(); a != nil && !strings.Contains(squeeze(pages[0]), squeeze(a.GetReason())) {
			t.Errorf("page 1 does not give the reason %q", a.GetReason())
		}
	}
}

// A depth of a footing never stands on a page without its wind and its verdict.
func TestPapers_FootingHasWindAndVerdict(t *testing.T) {
	t.Parallel()
	j := testJob(t)
	v := j.Plan.GetMastVerdict()
	pages, _ := read(t, usualPapers(t)[sheet.SheetsName])
	found := false
	for i, words := range pages {
		words = squeeze(words)
		if !strings.Contains(words, squeeze(j.Units.Length(unit.Meters(v.GetFootingDepthM()))+" (")) || !strings.Contains(words, "deep") {
			continue
		}
		found = true
		if !strings.Contains(words, squeeze(j.Units.Wind(unit.MetersPerSecond(v.GetWindMPerS())))) || !strings.Contains(words, "UNVERIFIED") && !strings.Contains(words, "ENOUGH") {
			t.Errorf("page %d has a footing without wind or verdict", i+1)
		}
	}
	if !found {
		t.Error("no page has the footing")
	}
}

func TestPapers_FirstStart(t *testing.T) {
	t.Parallel()
	j := testJob(t)
	if pages, _ := read(t, usualPapers(t)[sheet.SheetsName]); strings.Contains(squeeze(strings.Join(pages, "")), squeeze("First start")) {
		t.Error("a start that nobody worked out has a page")
	}
	for way, want := range map[pb.StartWay][]string{
		pb.StartWay_START_WAY_BY_DAYS: {"First start", "Run so long each day", "2026-06-12", "1 h 30 min", "6.2 mg/L", "4.0 mg/L", "3.0 mg/L", "W. Sedge"},
		pb.StartWay_START_WAY_NOT_NOW: {"DO NOT SWITCH ON", "The profile is too old. To lift this: measure again"},
	} {
		j.Start = &pb.StartUpResponse{Way: way}
		if way == pb.StartWay_START_WAY_NOT_NOW {
			j.Start.Objections = []*pb.Objection{{Code: "PROFILE_TOO_OLD", Text: "the profile is too old", Remedy: "measure again"}}
		} else {
			j.Start.Days = []*pb.StartDay{{Day: "2026-06-12", RunS: 5400, ExpectedMgPerL: 6.2, StopMgPerL: 4, AbortMgPerL: 3}}
			j.Start.Visits = []*pb.StartVisit{{Day: "2026-06-12", Person: "W. Sedge", What: "switch off"}}
		}
		pages, _ := read(t, sheets(t, j))
		all := squeeze(strings.Join(pages, ""))
		for _, w := range want {
			if !strings.Contains(all, squeeze(w)) {
				t.Errorf("%s: the sheets lack %q", way, w)
			}
		}
	}
}

// No word leaves its page, however long the texts are.
func TestPapers_NothingFallsOffThePage(t *testing.T) {
	t.Parallel()
	j := testJob(t)
	j.Plan = proto.CloneOf(j.Plan)
	j.Name = strings.Repeat("A pond with a long name ", 20)
	long := strings.Repeat("a figure that takes many words to tell of, ", 300)
	j.Plan.Assumptions[0].Value, j.Plan.Assumptions[0].ValueTemplate, j.Plan.Assumptions[0].Source = long, "", long
	j.Plan.Cautions[1].Text, j.Plan.Cautions[1].TextTemplate = long, ""
	j.Plan.Diffusers[0].Label = strings.Repeat("D", 60)
	data := sheets(t, j)
	r, err := pdf.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	for i := 1; i <= r.NumPage(); i++ {
		box := r.Page(i).V.Key("MediaBox")
		for _, text := range r.Page(i).Content().Text {
			if text.X < 0 || text.X > box.Index(2).Float64() || text.Y < 0 || text.Y > box.Index(3).Float64() {
				t.Errorf("page %d: %q at %.0f, %.0f leaves the page", i, text.S, text.X, text.Y)
			}
		}
	}
	said := strings.Count(squeeze(strings.Join(first(read(t, data)), "")), "manywords")
	if said < 3*290 { // a line may break within the words
		t.Errorf("of 900 repeats %d are printed", said)
	}
}

func TestPapers_OwnerPage(t *testing.T) {
	t.Parallel()
	j := testJob(t)
	pages, _ := read(t, usualPapers(t)["owner.pdf"])
	if len(pages) != 1 {
		t.Errorf("the owner gets %d pages, want 1", len(pages))
	}
	n := float64(len(j.Plan.GetDiffusers()))
	diffusers, hose := 210.5*n, 1.9*j.Plan.GetTotalHoseM()
	for _, want := range []string{
		unit.Decimal(diffusers, 2), unit.Decimal(hose, 2), unit.Decimal(diffusers+hose, 2), "2026-03-01", "compressor",
		"kill every fish", "thin or open", "licensed electrician", "each month",
	} {
		if !strings.Contains(squeeze(pages[0]), squeeze(want)) {
			t.Errorf("the owner's page lacks %q:\n%s", want, pages[0])
		}
	}
	j.Prices = plan.Prices{}
	if pages, _ := read(t, papers(t, j)["owner.pdf"]); strings.Contains(squeeze(pages[0]), squeeze("What it costs")) {
		t.Error("a price without a list")
	}
}

func TestPapers_SameJobSameBytes(t *testing.T) {
	t.Parallel()
	j := testJob(t)
	a, b := usualPapers(t), papers(t, j)
	for name, data := range a {
		if !bytes.Equal(data, b[name]) {
			t.Errorf("%s differs between two runs", name)
		}
	}
	j.Surveyed = time.Time{}
	if c := sheets(t, j); !bytes.Contains(c, []byte("D:19700101000000")) {
		t.Error("a document without a survey date asks the clock")
	}
}

// Sizes of paper are those of ANSI/ASME Y14.1 (A) and ISO 216 (A4), in points.
func TestPapers_Formats(t *testing.T) {
	t.Parallel()
	for format, size := range map[sheet.Format][2]float64{sheet.Letter: {612, 792}, sheet.A4: {595.28, 841.89}} {
		j := testJob(t)
		j.Format = format
		_, sizes := read(t, sheets(t, j))
		for i, got := range sizes {
			lying := [2]float64{size[1], size[0]}
			if !near(got, size) && !near(got, lying) {
				t.Errorf("page %d is %v points, want %v either way", i+1, got, size)
			}
		}
	}
}

func near(a, b [2]float64) bool { return math.Abs(a[0]-b[0]) < 0.1 && math.Abs(a[1]-b[1]) < 0.1 }

func TestIsDrawing(t *testing.T) {
	t.Parallel()
	for name := range usualPapers(t) {
		want := strings.HasSuffix(name, ".svg") || strings.HasSuffix(name, ".png")
		if got := sheet.IsDrawing(name); got != want {
			t.Errorf("IsDrawing(%q) = %t", name, got)
		}
	}
	for _, name := range []string{"map-mine.png", "mymap.svg", "hoses.png", "plan.json"} {
		if sheet.IsDrawing(name) {
			t.Errorf("%q is taken for a drawing of a plan", name)
		}
	}
}

func TestPapers_Waypoints(t *testing.T) {
	t.Parallel()
	j := testJob(t)
	var got struct {
		XMLName xml.Name `xml:"http://www.topografix.com/GPX/1/1 gpx"`
		Version string   `xml:"version,attr"`
		Points  []struct {
			Lat  float64 `xml:"lat,attr"`
			Lon  float64 `xml:"lon,attr"`
			Name string  `xml:"name"`
		} `xml:"wpt"`
	}
	if err := xml.Unmarshal(usualPapers(t)["waypoints.gpx"], &got); err != nil {
		t.Fatal(err)
	}
	for _, d := range j.Plan.GetDiffusers() {
		at := slices.IndexFunc(got.Points, func(p struct {
			Lat  float64 `xml:"lat,attr"`
			Lon  float64 `xml:"lon,attr"`
			Name string  `xml:"name"`
		}) bool {
			return p.Name == d.GetLabel()
		})
		if at < 0 || math.Abs(got.Points[at].Lat-d.GetLat()) > 1e-8 || math.Abs(got.Points[at].Lon-d.GetLon()) > 1e-8 {
			t.Errorf("waypoint of %s is %d of %+v, want %g, %g", d.GetLabel(), at, got.Points, d.GetLat(), d.GetLon())
		}
	}
	if got.Version != "1.1" || len(got.Points) != len(j.Plan.GetDiffusers())+2 {
		t.Errorf("version %q, %d points, want 1.1 and every diffuser, mast and entry", got.Version, len(got.Points))
	}
}

// Whatever the plan holds and however people name things, the papers are made and
// can be read.
func FuzzPapers(f *testing.F) {
	whole := testJob(f)
	text := rapid.OneOf(rapid.String(), rapid.StringMatching(`[A-Za-z池пруд ]{0,300}`), rapid.SampledFrom([]string{"", "静かな池", "بركة", "🐟🐟", strings.Repeat("x", 500), "a\x00b\u202ec\xff"}))
	number := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-100, 1000), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, math.MaxFloat64}))
	for seed := range 12 { // what a usual run of the tests meets
		data := make([]byte, 4000)
		for i := range data {
			data[i] = byte((i*i*(2*seed+1) + 7*i) >> 3)
		}
		f.Add(data)
	}
	f.Fuzz(rapid.MakeFuzz(func(t *rapid.T) {
		j := sheet.Job{Name: text.Draw(t, "name"), Owner: text.Draw(t, "owner"), Place: text.Draw(t, "place"), Units: unit.System(rapid.Bool().Draw(t, "si"))}
		if rapid.Bool().Draw(t, "measured") {
			j.Survey, j.Shore = whole.Survey, whole.Shore
		}
		if rapid.Bool().Draw(t, "planned") {
			j.Plan = anyPlan(t, text, number)
		}
		read(t, sheets(t, j))
	}))
}

func anyPlan(t *rapid.T, text *rapid.Generator[string], number *rapid.Generator[float64]) *pb.Plan {
	p := &pb.Plan{
		ManifoldPressurePaGauge: number.Draw(t, "pressure"), TotalHoseM: number.Draw(t, "hose"), RunHoursPerDay: number.Draw(t, "hours"),
		Shortfall: text.Draw(t, "shortfall"), TurnoversPerDay: &pb.Interval{Value: number.Draw(t, "turnovers")},
		BindingConstraint: pb.Plan_BindingConstraint(rapid.Int32Range(-1, 20).Draw(t, "binds")),
		Assumptions:       []*pb.Assumption{nil, {Name: text.Draw(t, "input"), Value: text.Draw(t, "value"), IsDefault: true}},
		Cautions:          []*pb.Caution{nil, {Text: text.Draw(t, "caution")}},
	}
	if rapid.Bool().Draw(t, "mast") {
		p.Mast = &pb.RoutePoint{Lat: number.Draw(t, "lat"), Lon: number.Draw(t, "lon")}
	}
	for range rapid.IntRange(0, 4).Draw(t, "diffusers") {
		at := &pb.RoutePoint{Lat: number.Draw(t, "lat"), Lon: number.Draw(t, "lon")}
		p.Diffusers = append(p.Diffusers, &pb.Diffuser{
			Lat: number.Draw(t, "lat"), Lon: number.Draw(t, "lon"), DepthM: number.Draw(t, "depth"), Label: text.Draw(t, "label"),
			Hose: &pb.Hose{LengthM: number.Draw(t, "length"), BoreM: number.Draw(t, "bore"), ShoreEntry: at, Route: []*pb.RoutePoint{at, {Lat: midLat, Lon: midLon}}},
		})
	}
	return p
}

func TestPDF_NoPages(t *testing.T) {
	t.Parallel()
	if _, err := sheet.PDF("", time.Time{}, nil); err != nil {
		t.Errorf("an empty document: %v", err)
	}
}

// A PNG shows what was drawn where it was drawn: areas with their holes, lines with
// their gaps, words as ink.
func TestPNG(t *testing.T) {
	t.Parallel()
	p := draw.NewPicture("", 40, 30)
	hole := []draw.Point{{X: 8, Y: 8}, {X: 12, Y: 8}, {X: 12, Y: 12}, {X: 8, Y: 12}}
	p.Draw(draw.Path{Lines: [][]draw.Point{{{X: 5, Y: 5}, {X: 15, Y: 5}, {X: 15, Y: 15}, {X: 5, Y: 15}}, hole}, Closed: true, Fill: draw.Ink})
	p.Rule(draw.Point{X: 0, Y: 20}, draw.Point{X: 40, Y: 20}, 1, draw.Ink, 5, 5)
	p.Write(draw.Text{At: draw.Point{X: 20, Y: 15}, Size: 10, Words: "M"})
	data, err := sheet.PNG(p, 10)
	if err != nil {
		t.Fatal(err)
	}
	im, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if im.Bounds() != image.Rect(0, 0, 400, 300) {
		t.Fatalf("bounds %v", im.Bounds())
	}
	dark := func(x, y float64) bool {
		return color.GrayModel.Convert(im.At(int(10*x), int(10*y))).(color.Gray).Y < 100
	}
	for _, tt := range []struct {
		what string
		x, y float64
		want bool
	}{
		{"area", 6, 6, true}, {"hole", 10, 10, false}, {"outside", 17, 10, false},
		{"first dash", 2, 20, true}, {"first gap", 7, 20, false}, {"second dash", 12, 20, true}, {"beside the line", 2, 21, false},
	} {
		if got := dark(tt.x, tt.y); got != tt.want {
			t.Errorf("%s at %g, %g: dark is %t, want %t", tt.what, tt.x, tt.y, got, tt.want)
		}
	}
	ink := 0
	for y := 70; y < 160; y++ {
		for x := 200; x < 300; x++ {
			if dark(float64(x)/10, float64(y)/10) {
				ink++
			}
		}
	}
	if ink < 800 || ink > 4000 {
		t.Errorf("the letter has %d dark dots of 9,000", ink)
	}
	for _, size := range [][2]float64{{0, 10}, {math.NaN(), 10}, {1e5, 1e5}} {
		if _, err := sheet.PNG(draw.NewPicture("", size[0], size[1]), 10); err == nil {
			t.Errorf("an image of %v was made", size)
		}
	}
}

func BenchmarkPapers(b *testing.B) {
	j := testJob(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := sheet.Papers(j); err != nil {
			b.Fatal(err)
		}
	}
}
