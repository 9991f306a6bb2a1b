package sheet

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"pondwright/calc/unit"
	"pondwright/geo/draw"
	pb "pondwright/proto/pondwright/v1"
)

// start sets the first start day by day, or why it must not be.
func (b *book) start() {
	s := b.Start
	if s == nil {
		return
	}
	b.open("First start", true)
	switch s.GetWay() {
	case pb.StartWay_START_WAY_NOT_NOW, pb.StartWay_START_WAY_UNSPECIFIED:
		b.strong("DO NOT SWITCH ON. Not now, for these reasons:")
	case pb.StartWay_START_WAY_AT_ONCE:
		b.strong("Oxygen permits a start at once. Stop by the rules below all the same.")
	case pb.StartWay_START_WAY_BY_DAYS:
		b.strong("Run so long each day and no longer. Measure oxygen at dawn before each run.")
	case pb.StartWay_START_WAY_LOWER_BY_STEPS:
		b.strong("Hang the diffusers shallow and lower them in steps. Measure oxygen at dawn before each step.")
	}
	for _, o := range s.GetObjections() {
		b.point("!", joined(" To lift this: ", sentence(unit.Words(b.Units, o.GetTextTemplate(), o.GetText())), o.GetRemedy()))
	}
	for _, instead := range s.GetInstead() {
		b.point("–", "Instead: "+instead)
	}
	b.startDays(s)
	b.startSteps(s)
	if len(s.GetRules()) > 0 {
		b.head("Stop by these, every day")
	}
	for _, rule := range s.GetRules() {
		b.point("!", rule)
	}
	for _, c := range s.GetCautions() {
		b.point("!", unit.Words(b.Units, c.GetTextTemplate(), c.GetText()))
	}
}

func (b *book) startDays(s *pb.StartUpResponse) {
	t := table{columns: []column{
		{head: "Day"}, {head: "Run for", align: draw.Right}, {head: "Oxygen next dawn", align: draw.Right}, {head: "End the run below", align: draw.Right},
		{head: "End the start below", align: draw.Right}, {head: "Measured", least: 18}, {head: "By whom", least: 18},
	}}
	for _, d := range s.GetDays() {
		t.rows = append(t.rows, []string{d.GetDay(), hours(d.GetRunS()), oxygen(d.GetExpectedMgPerL()), oxygen(d.GetStopMgPerL()), oxygen(d.GetAbortMgPerL()), "", ""})
	}
	t.set(&b.press)
	visits := table{columns: []column{{head: "Day"}, {head: "Who"}, {head: "What for", wraps: true}, {head: "Done", tick: true}}}
	for _, v := range s.GetVisits() {
		visits.rows = append(visits.rows, []string{v.GetDay(), v.GetPerson(), unit.Words(b.Units, v.GetWhatTemplate(), v.GetWhat()), ""})
	}
	if len(visits.rows) > 0 {
		b.head("Somebody has to be there")
		visits.set(&b.press)
	}
}

func (b *book) startSteps(s *pb.StartUpResponse) {
	t := table{columns: []column{
		{head: "From"}, {head: "Diffusers hang at", align: draw.Right}, {head: "Oxygen once mixed", align: draw.Right}, {head: "Measured", least: 24}, {head: "By whom", least: 24},
	}}
	for _, d := range s.GetSteps() {
		t.rows = append(t.rows, []string{d.GetDay(), b.Units.Length(unit.Meters(d.GetDepthM())), oxygen(d.GetExpectedMgPerL()), "", ""})
	}
	t.set(&b.press)
}

// sentence gives words a capital and a full stop.
func sentence(words string) string {
	if words == "" {
		return ""
	}
	first, n := utf8.DecodeRuneInString(words)
	words = string(unicode.ToUpper(first)) + words[n:]
	if !strings.HasSuffix(words, ".") {
		words += "."
	}
	return words
}

func oxygen(mgL float64) string { return unit.Decimal(mgL, 1) + " mg/L" }

// hours prints seconds as hours and minutes.
func hours(seconds float64) string {
	if !(seconds >= 0 && seconds < 1e6) {
		return ""
	}
	minutes := int(seconds/60 + 0.5)
	return fmt.Sprintf("%d h %02d min", minutes/60, minutes%60)
}
