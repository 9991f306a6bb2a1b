// Package sheet makes the papers of a plan: the sheets that an install crew builds
// from, one plain page for the owner, and every drawing as SVG and PNG.
//
//	files, err := sheet.Papers(sheet.Job{Name: "Fernhollow", Plan: p, Survey: report, Shore: s})
//
// All numbers come from the plan as it is sent to any program, and from the survey
// that it was made for; the package computes none of its own but lengths on the
// page. A part that the plan carries nothing for is left out. The same job gives
// the same bytes: dates come from the job and never from the clock.
package sheet

import (
	"fmt"
	"regexp"
	"time"

	"pondwright/calc/unit"
	"pondwright/geo/draw"
	"pondwright/geo/plan"
	"pondwright/geo/shore"
	"pondwright/geo/survey"
	pb "pondwright/proto/pondwright/v1"
)

// Job is what the papers are made from. A zero field is not known, and nothing is
// said of it.
type Job struct {
	Name, Owner, Place string
	Plan               *pb.Plan
	Version            *pb.PlanVersion // what became of it, if it was saved
	Survey             *survey.Report
	Shore              *shore.Shore
	Start              *pb.StartUpResponse // of the first start, if it was worked out
	Surveyed           time.Time           // of the newest sounding, where the plan does not say
	Units              unit.System
	Format             Format // zero is Letter
	Prices             plan.Prices
}

// File is one paper.
type File struct {
	Name string
	Data []byte
}

// dotsPerMM of the images: 6, about 150 to the inch.
const dotsPerMM = 6

// SheetsName is the file with the crew's sheets.
const SheetsName = "sheets.pdf"

// Papers makes all papers: sheets.pdf for the crew, owner.pdf for the owner,
// waypoints.gpx for a receiver, and each drawing as SVG and PNG, the map first.
func Papers(j Job) ([]File, error) {
	b := newBook(j)
	sheets := b.sheets()
	pdf, err := PDF(b.name+": sheets", b.date(), sheets)
	if err != nil {
		return nil, err
	}
	owner, err := PDF(b.name+": for the owner", b.date(), newBook(j).ownerPages())
	if err != nil {
		return nil, err
	}
	files := []File{{SheetsName, pdf}, {"owner.pdf", owner}}
	if g := b.gpx(); g != nil {
		files = append(files, File{"waypoints.gpx", g})
	}
	for _, d := range b.drawings {
		page := sheets[d.page]
		image, err := PNG(page, dotsPerMM)
		if err != nil {
			return nil, err
		}
		files = append(files, File{d.name + ".svg", page.SVG()}, File{d.name + ".png", image})
	}
	return files, nil
}

// IsDrawing reports whether a file's name is that of a drawing that Papers makes.
func IsDrawing(file string) bool { return drawingName.MatchString(file) }

var drawingName = regexp.MustCompile(`^(map(-[0-9]+)?|hoses-[0-9]+)\.(svg|png)$`)

// Surveyed returns when the newest of the readings was taken, the zero time if none
// has a time.
func Surveyed(readings []survey.Reading) time.Time {
	var newest time.Time
	for _, r := range readings {
		if r.Time.After(newest) {
			newest = r.Time
		}
	}
	return newest
}

// book is a document under way.
type book struct {
	Job
	press
	name     string // of the pond; never empty
	drawings []drawing
}

// drawing is a page that is also written as an image of its own.
type drawing struct {
	name string
	page int
}

func newBook(j Job) *book {
	if j.Plan == nil {
		j.Plan = &pb.Plan{}
	}
	if j.Format == (Format{}) {
		j.Format = Letter
	}
	b := &book{Job: j, press: press{format: j.Format, body: bodySize}, name: j.Name}
	if b.name == "" {
		b.name = "Pond without a name"
	}
	return b
}

// sheets sets every page for the crew.
func (b *book) sheets() []*draw.Picture {
	b.cover()
	b.maps()
	b.hoseProfiles()
	b.air()
	b.runs()
	b.coils()
	b.ballast()
	b.truck()
	b.places()
	b.boatWork()
	b.labels()
	b.power()
	b.mast()
	b.start()
	b.logs()
	return b.finish(b.frame())
}

// surveyed is the day of the survey, empty where nobody noted one.
func (b *book) surveyed() string {
	if on := b.Plan.GetInputs().GetSurveyedOn(); on != "" || b.Surveyed.IsZero() {
		return on
	}
	return b.Surveyed.UTC().Format(time.DateOnly)
}

// date is the document's: that of the survey, or the first day of Unix time where
// nobody noted one.
func (b *book) date() time.Time {
	if day, err := time.Parse(time.DateOnly, b.surveyed()); err == nil {
		return day
	}
	return time.Unix(0, 0).UTC()
}

const stampText = "NOT FOR CONSTRUCTION: DEFAULTS USED"

// frame is what stands on every page.
func (b *book) frame() frame {
	var surveyed string
	if on := b.surveyed(); on != "" {
		surveyed = "Surveyed " + on
	}
	state := []string{joined(", ", b.Owner, b.Place), b.planID(), surveyed, b.standing()}
	f := frame{pond: b.name, state: joined(". ", state...)}
	if len(Defaults(b.Plan)) > 0 {
		f.stamp = stampText
		f.footer = "Not for construction: defaults used. See page 1."
	}
	return f
}

func (b *book) planID() string {
	if id := b.Plan.GetPlanId(); id != "" {
		return "Plan " + id
	}
	return ""
}

// standing says whether the plan may be built.
func (b *book) standing() string {
	a := b.Version.GetApproval()
	switch b.Version.GetStanding() {
	case pb.PlanStanding_PLAN_STANDING_APPROVED:
		return "Approved by " + a.GetPerson() + ", " + a.GetApprovedAt().AsTime().UTC().Format(time.DateOnly)
	case pb.PlanStanding_PLAN_STANDING_REPLACED:
		return "REPLACED by another plan: do not build from this one"
	case pb.PlanStanding_PLAN_STANDING_UNSPECIFIED, pb.PlanStanding_PLAN_STANDING_DRAFT:
	}
	return "DRAFT, not approved"
}

// joined puts what is not empty together.
func joined(between string, parts ...string) string {
	out := ""
	for _, p := range parts {
		if p != "" && out != "" {
			out += between
		}
		out += p
	}
	return out
}

// Defaults returns the figures of a plan that nobody gave.
func Defaults(p *pb.Plan) []*pb.Assumption {
	var out []*pb.Assumption
	for _, a := range p.GetAssumptions() {
		if a.GetIsDefault() {
			out = append(out, a)
		}
	}
	return out
}

// labelOf is the name of a diffuser that a message points to.
func (b *book) labelOf(i uint32) string {
	if int64(i) < int64(len(b.Plan.GetDiffusers())) {
		return b.label(int(i))
	}
	return fmt.Sprint("D", i+1)
}

// label is the name of diffuser i on drawings and hoses.
func (b *book) label(i int) string {
	if l := b.Plan.GetDiffusers()[i].GetLabel(); l != "" {
		return l
	}
	return fmt.Sprint("D", i+1)
}
