package plan

import (
	"cmp"
	"math"
	"slices"

	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// Tolerances of setting: judgement, no source.
const (
	// offPlace is what a hand-held receiver and a drifting boat come to.
	offPlace unit.Meters = 5
	// offDepth is three hundredths of a bar: the air shifts among the runs.
	offDepth unit.Meters = 0.3
)

// Setting is where a diffuser is to stand, or stands.
type Setting struct {
	Label string
	At    s2.LatLng
	Depth unit.Meters // of the water, at the level of the shoreline; NaN: not sounded
}

// Deviation is a diffuser as built beside the plan.
type Deviation struct {
	Label    string
	Missing  bool              // planned and not set
	Extra    bool              // set and not planned
	Distance unit.Meters       // from the planned place
	Bearing  float64           // from the planned place, degrees from true north
	Deeper   unit.Meters       // than planned; NaN where it was not sounded
	Head     unit.PascalsGauge // more that its air must overcome than planned
	Verdict  unit.Text         // empty: as planned
}

// CompareBuilt sets diffusers as built beside a plan, in order of label. Distances
// are measured in the frame of the first of them, to a millimeter over a pond.
func CompareBuilt(planned, built []Setting) []Deviation {
	var out []Deviation
	for _, p := range planned {
		i := slices.IndexFunc(built, func(b Setting) bool { return b.Label == p.Label })
		if i < 0 {
			out = append(out, Deviation{Label: p.Label, Missing: true, Deeper: unit.Meters(math.NaN()), Verdict: "not set yet"})
			continue
		}
		out = append(out, deviation(p, built[i]))
	}
	for _, b := range built {
		if !slices.ContainsFunc(planned, func(p Setting) bool { return p.Label == b.Label }) {
			out = append(out, Deviation{Label: b.Label, Extra: true, Deeper: unit.Meters(math.NaN()), Verdict: "not on the plan: was the label misread?"})
		}
	}
	slices.SortStableFunc(out, func(a, b Deviation) int {
		return cmp.Or(cmp.Compare(len(a.Label), len(b.Label)), cmp.Compare(a.Label, b.Label))
	})
	return out
}

func deviation(p, b Setting) Deviation {
	frame := plane.NewFrame(p.At)
	v := frame.ToPlane(b.At)
	d := Deviation{Label: p.Label, Distance: unit.Meters(math.Hypot(v.X, v.Y)), Deeper: b.Depth - p.Depth}
	if d.Distance > 0 {
		d.Bearing = math.Mod(math.Atan2(v.X, v.Y)*180/math.Pi+360, 360)
	}
	if !math.IsNaN(float64(d.Deeper)) {
		d.Head = unit.PascalsGauge(float64(waterDensity) * unit.GravityMPS2 * float64(d.Deeper))
	}
	off := unit.Meters(math.Abs(float64(d.Deeper)))
	switch {
	case d.Distance > offPlace && off > offDepth:
		d.Verdict = unit.Say("%s off and %s %s: lift it and set it anew, or plan again with it where it is", d.Distance.Distance(), off.Text(), deeper(d.Deeper))
	case d.Distance > offPlace:
		d.Verdict = unit.Say("%s off: its water is served from elsewhere; move it, or plan again with it where it is", d.Distance.Distance())
	case off > offDepth:
		d.Verdict = unit.Say("%s %s than planned: set the valves anew by gauge and boil", off.Text(), deeper(d.Deeper))
	}
	return d
}

func deeper(d unit.Meters) string {
	if d > 0 {
		return "deeper"
	}
	return "shallower"
}
