package plan

import (
	"errors"
	"fmt"
	"math"
	"sort"
	"strings"

	"github.com/golang/geo/s1"

	"pondwright/calc/mast"
	"pondwright/calc/unit"
)

// Defaults of a mast: judgement, no source. The section is that of ASME B36.10M,
// from memory.
const (
	// leastMastTilt is where the code's figure begins.
	leastMastTilt = 7.5 * s1.Degree
	mastSection   = "4 in "
	// mostMastArea is what package mast judges.
	mostMastArea = unit.SquareMeters(100)
	mastCenter   = unit.Meters(8 * 0.3048)
	mastFooting  = unit.Meters(18 * 0.0254)
)

// structure judges the mast that carries the panels. A soil without a value in the
// code refuses; a plan without panels has no mast to judge.
func (s *search) structure(p *Plan) error {
	if p.Supply == nil || p.Supply.Area == 0 {
		return nil
	}
	var given Structure
	if s.in.Structure != nil {
		given = *s.in.Structure
	}
	if p.Supply.Area > mostMastArea {
		p.refuse(CodeArrayTooBig, "panels", unit.Say("%s of panels are more than one mast is judged for", p.Supply.Area.Panel()),
			"split the panels over frames on the ground, designed by an engineer, or need less power")
		return nil
	}
	v, err := judgeMast(given, p.Supply, s.in.Altitude, s.in.AltitudeKnown)
	if errors.Is(err, mast.ErrNoBearing) {
		p.refuse(CodeSoil, "soil", "mud, organic soil, peat and unprepared fill have no bearing value without a test", "have the soil tested and give its bearing, or move the mast to firm ground")
		return nil
	}
	if err != nil {
		return fmt.Errorf("mast: %w", err)
	}
	p.Structure = v
	if short, ok := v.Verdict.(mast.NotEnough); ok {
		fewer := ""
		if n := held(given, p.Supply, s.in); n > 0 {
			fewer = fmt.Sprintf("no more than %d panels on this one, ", n)
		}
		p.refuse(CodeArrayTooBig, "mast", "the mast is "+short.Text(), "a stronger pole or a wider, deeper footing, "+fewer+"or frames on the ground")
	}
	return nil
}

// judgeMast judges a mast with defaults where nothing was given.
func judgeMast(given Structure, u *Supply, altitude unit.Meters, known bool) (*MastVerdict, error) {
	v := &MastVerdict{}
	assume := func(input, format string, args ...any) {
		v.Defaults = append(v.Defaults, mast.Assumption{Input: input, Used: unit.Say(format, args...)})
	}
	d := mast.Design{
		Wind: given.Wind, Ground: given.Ground, Pole: given.Pole, Footing: given.Footing,
		// A figure of the code begins at 7.5°; flatter panels are taken as that steep.
		Array: mast.Array{
			Area: u.Area, Chord: unit.Meters(math.Sqrt(float64(u.Area))), Tilt: max(u.Tilt, leastMastTilt),
			Center: given.Center, Mass: given.Mass,
		},
	}
	if known && altitude > 0 && d.Wind.Elevation == 0 {
		d.Wind.Elevation = altitude
	}
	if d.Array.Center == 0 {
		d.Array.Center = mastCenter
		assume("height of the panels", "%s to their middle", mastCenter.Text())
	}
	if d.Pole.Section == (mast.Pipe{}) {
		d.Pole.Section = defaultPipe()
		assume("pole", "%s", d.Pole.Section.Name)
	}
	if d.Footing.Width == 0 {
		d.Footing.Width = mastFooting
		if d.Footing.Bare {
			d.Footing.Width = d.Pole.Section.Outside
		}
		assume("width of the footing", "%s", d.Footing.Width.Text())
	}
	if u.PanelsWanted {
		assume("panels", "%d proposed, %s in all", u.Panels, u.Area.Panel())
	}
	judge := mast.Judge
	if d.Footing.Depth == 0 {
		judge, v.Sought = mast.Size, true
	}
	var err error
	if v.Report, err = judge(d); err != nil {
		return nil, err
	}
	v.Defaults = append(v.Defaults, v.Report.Assumed...)
	v.Verdict = v.Report.Verdict
	switch judged := v.Verdict.(type) {
	case mast.Enough:
		if len(v.Defaults) > 0 {
			v.Verdict = mast.Unverified{Because: v.Defaults}
		}
	case mast.Unverified:
		v.Verdict = mast.Unverified{Because: v.Defaults}
	case mast.NotEnough:
		v.Verdict = mast.NotEnough{By: judged.By, Defaults: v.Defaults}
	}
	return v, nil
}

// held is how many of the panels the mast does hold.
func held(given Structure, u *Supply, in Input) int {
	each := u.Area / unit.SquareMeters(max(1, u.Panels))
	return sort.Search(max(0, u.Panels-1), func(i int) bool {
		fewer := *u
		fewer.Area = each * unit.SquareMeters(i+1)
		v, err := judgeMast(given, &fewer, in.Altitude, in.AltitudeKnown)
		if err != nil {
			return true
		}
		_, short := v.Verdict.(mast.NotEnough)
		return short
	})
}

// defaultPipe is the pole where nobody chose one.
func defaultPipe() mast.Pipe {
	pipes := mast.Schedule40()
	for _, p := range pipes {
		if strings.HasPrefix(p.Name, mastSection) {
			return p
		}
	}
	return pipes[len(pipes)/2]
}
