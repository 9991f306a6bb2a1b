package mast

import (
	"math"
	"slices"

	"github.com/golang/geo/s1"

	"pondwright/calc/unit"
)

// Array is the panels on the mast, as one flat plate.
type Array struct {
	Area   unit.SquareMeters // of all panels, 0.01 to 100 m²
	Chord  unit.Meters       // length up the slope, for the load on the clamps; 0 leaves that out
	Tilt   s1.Angle          // from horizontal, 7.5 to 90°
	Center unit.Meters       // height of the panels' middle above grade, 0.3 to 15 m
	Mass   unit.Kilograms    // panels, frame and what else hangs at the top; 0 means not given
}

// Pole is the mast itself.
type Pole struct {
	Section Pipe
	Exposed unit.Meters       // length of pole in the wind; 0 takes the array's height
	Yield   unit.PascalsGauge // yield stress of the steel; 0 means not given
}

// Design is a mast to be judged. Array.Area, Tilt and Center, Pole.Section and
// Footing.Width must be given; what else is left out is assumed and listed.
type Design struct {
	Wind    Wind
	Array   Array
	Pole    Pole
	Footing Footing
	Ground  Ground
	Rules   Rules
}

// Loads are the wind's forces in allowable-stress terms: the edition's factor is
// in them.
type Loads struct {
	ArrayPush unit.Newtons      // horizontal, wind onto the panels' face
	PoleDrag  unit.Newtons      // horizontal, on the pole
	Moment    unit.NewtonMeters // of both at grade
	Arm       unit.Meters       // Moment over the sum of both
	Down      unit.Newtons      // vertical, wind onto the face
	Uplift    unit.Newtons      // vertical, wind from behind
	Twist     unit.NewtonMeters // about the panels' mid-chord, on clamps and bracket
}

// Lateral reports the whole horizontal force.
func (l Loads) Lateral() unit.Newtons { return l.ArrayPush + l.PoleDrag }

// Report is a judged mast. It is made by Judge and Size only.
type Report struct {
	Design        Design            // as judged, defaults filled in
	Factor        float64           // share of the wind load combined, 0.6 or 1
	Kz, Ke        float64           // exposure and ground elevation factors
	Pressure      unit.PascalsGauge // velocity pressure at the array's middle, before Factor
	Net           Coefficients
	Loads         Loads
	RequiredDepth unit.Meters // least depth that holds the lateral load, whatever Design.Footing.Depth is
	Frequency     unit.Hertz  // lowest natural frequency of the mast
	PoleShare     float64     // moment at grade over what the pole may carry there
	Concrete      unit.CubicMeters
	Bags          int // of concrete
	PoleLength    unit.Meters
	Checks        []Check
	Assumed       []Assumption
	Cautions      []string
	Verdict       Verdict
}

// Judge reports whether a mast with a footing of the depth given stands up to
// its wind. It returns ErrNoBearing or a *unit.RangeError for input that cannot
// be judged.
func Judge(d Design) (Report, error) {
	r, err := load(d)
	if err != nil {
		return Report{}, err
	}
	return r.judged()
}

// Size finds the least footing depth that holds the lateral load and lies below
// frost, rounds it up, and judges the mast with it. Where that depth passes 15
// m, the depth judged is 15 m and the verdict says by how much it fails. Width
// and pole are not changed. Errors are those of Judge.
func Size(d Design) (Report, error) {
	r, err := load(d)
	if err != nil {
		return Report{}, err
	}
	need := r.RequiredDepth
	if f := r.Design.Ground.Frost; f != nil {
		need = max(need, *f)
	}
	step := r.Design.Rules.DigStep
	rounded := unit.Meters(math.Ceil(float64(need/step)-1e-9)) * step
	r.Design.Footing.Depth = min(max(need, rounded), maxDepthM)
	return r.judged()
}

// massInput names the masthead's mass among the assumptions.
const massInput = "mass at the masthead"

// fill checks a design and puts defaults where it says nothing.
func fill(d Design) (Design, []Assumption, error) {
	var as []Assumption
	assume := func(input, format string, args ...any) {
		as = append(as, Assumption{input, unit.Say(format, args...)})
	}
	w, a := &d.Wind, &d.Array
	switch {
	case w.Speed == 0 && w.Map == EditionUnknown:
		w.Speed, w.Map = defaultSpeedMPS, ASCE716
		assume("wind speed", "%s of an %v map", w.Speed.Text(), w.Map)
	case w.Speed == 0:
		w.Speed = defaultSpeedMPS
		assume("wind speed", "%s", w.Speed.Text())
	case w.Map == EditionUnknown:
		assume("edition of the wind map", "full wind load, as for a service-level map")
	}
	if w.Exposure == ExposureUnknown {
		w.Exposure = ExposureC
		assume("exposure", "C, open country")
	}
	if w.Topographic == 0 {
		w.Topographic = defaultTopographic
		assume("topographic factor", "1, flat ground")
	}
	d.Rules = d.Rules.filled()
	if a.Mass == 0 {
		a.Mass = unit.Kilograms(d.Rules.HeadDensity * float64(a.Area))
		assume(massInput, "%s, and none of it against uplift", a.Mass.Text())
	}
	if d.Pole.Exposed == 0 {
		d.Pole.Exposed = a.Center
	}
	if d.Pole.Yield == 0 {
		d.Pole.Yield = defaultYieldPa
		assume("steel of the pole", "yield stress %s", unit.PascalsGauge(defaultYieldPa).Stress())
	}
	if d.Ground.Soil == SoilUnknown && !d.Ground.measured() {
		d.Ground.Soil = Clay
		assume("soil class", "%v, the weakest that has a value", Clay)
	}
	if d.Ground.Frost == nil {
		assume("frost depth", "none checked")
	}
	return d, as, d.check()
}

// check returns a *unit.RangeError for the first input outside its range.
func (d Design) check() error {
	frost := 0.0
	if d.Ground.Frost != nil {
		frost = float64(*d.Ground.Frost)
	}
	for _, in := range []struct {
		name        string
		got, lo, hi float64
	}{
		{"area of the panels (m²)", float64(d.Array.Area), 0.01, 100},
		{"length of the panels up the slope (m)", float64(d.Array.Chord), 0, 20},
		{"height of the panels' middle (m)", float64(d.Array.Center), 0.3, 15},
		{"mass at the masthead (kg)", float64(d.Array.Mass), 0.001, 1e4},
		{"exposed length of the pole (m)", float64(d.Pole.Exposed), 0.1, 20},
		{"frost depth (m)", frost, 0, 5},
	} {
		if err := unit.CheckRange(in.name, in.got, in.lo, in.hi, windSource); err != nil {
			return err
		}
	}
	if err := d.Rules.check(); err != nil {
		return err
	}
	if err := d.Footing.check(); err != nil {
		return err
	}
	return d.Pole.Section.check(d.Pole.Yield)
}

// load computes the wind on a design and the depth that holds it.
func load(d Design) (Report, error) {
	given := d
	d, assumed, err := fill(d)
	if err != nil {
		return Report{}, err
	}
	r := Report{Design: d, Factor: d.Wind.Map.Factor(), Assumed: assumed}
	if r.Kz, r.Ke, err = d.Wind.Coefficients(d.Array.Center); err != nil {
		return Report{}, err
	}
	if r.Pressure, err = d.Wind.pressure(d.Array.Center, d.Rules); err != nil {
		return Report{}, err
	}
	if r.Net, err = NetCoefficients(d.Array.Tilt); err != nil {
		return Report{}, err
	}
	r.Loads = loads(d, r.Net, r.Factor*float64(r.Pressure)*d.Rules.Gust)
	p, err := newPost(d.Footing, d.Ground, r.Loads.Arm, d.Rules)
	if err != nil {
		return Report{}, err
	}
	r.RequiredDepth = unit.Meters(p.depthM(float64(r.Loads.Lateral()))) + d.Ground.Uncount
	r.Cautions = cautions(given, r)
	return r, nil
}

// loads resolves a gust pressure into forces and moments.
func loads(d Design, net Coefficients, gustPa float64) Loads {
	area, chord := float64(d.Array.Area), float64(d.Array.Chord)
	center, exposed := float64(d.Array.Center), float64(d.Pole.Exposed)
	sin, cos := math.Sincos(float64(d.Array.Tilt))
	cos = max(0, cos)
	push := gustPa * net.Push * area * sin
	drag := gustPa * d.Rules.PoleDrag * float64(d.Pole.Section.Outside) * exposed
	moment := push*center + drag*exposed/2
	arm := center
	if push+drag > 0 {
		arm = moment / (push + drag)
	}
	return Loads{
		ArrayPush: unit.Newtons(push),
		PoleDrag:  unit.Newtons(drag),
		Moment:    unit.NewtonMeters(moment),
		Arm:       unit.Meters(arm),
		Down:      unit.Newtons(gustPa * net.Push * area * cos),
		Uplift:    unit.Newtons(gustPa * net.Uplift * area * cos),
		Twist:     unit.NewtonMeters(gustPa * area * chord * net.Twist / 8),
	}
}

// judged fills in what depends on the footing's depth, and the verdict.
func (r Report) judged() (Report, error) {
	d := r.Design
	f, g, rules := d.Footing, d.Ground, d.Rules
	p, err := newPost(f, g, r.Loads.Arm, rules)
	if err != nil {
		return Report{}, err
	}
	allow, err := d.Pole.Section.Allowable(d.Pole.Yield)
	if err != nil {
		return Report{}, err
	}
	short := rules.PoleShort
	if f.Bare {
		short = 0
	}
	r.PoleLength = d.Pole.Exposed + max(0, f.Depth-short)
	r.Concrete = f.Concrete(d.Pole.Section, rules.PoleShort)
	r.Bags = int(math.Ceil(float64(r.Concrete/rules.BagYield) - 1e-9))
	r.PoleShare = float64(r.Loads.Moment) / float64(allow)
	// The pole bends from about a quarter of the footing's depth below grade.
	r.Frequency = d.Pole.Section.frequency(float64(d.Array.Center+f.Depth/4), float64(d.Array.Mass))
	vertical, err := g.vertical(rules)
	if err != nil {
		return Report{}, err
	}
	weight := r.weightN()
	r.Checks = []Check{
		{LateralCheck, float64(r.Loads.Lateral()), p.capacityN(float64(f.Depth - g.Uncount)), "N"},
		{PoleCheck, float64(r.Loads.Moment) * (1 + rules.BelowGrade), float64(allow), "N·m"},
		{UpliftCheck, float64(r.Loads.Uplift), 0.6 * weight.against, "N"},
		{BearingCheck, float64(r.Loads.Down) + weight.onto, float64(vertical) * f.areaM2(), "N"},
		{RigidCheck, minFrequencyHz, float64(r.Frequency), "Hz"},
	}
	if g.Frost != nil {
		r.Checks = append(r.Checks, Check{FrostCheck, float64(*g.Frost), float64(f.Depth), "m"})
	}
	r.Verdict = judge(r.Checks, r.Assumed)
	return r, nil
}

// weights are the dead loads of a mast, in newtons.
type weights struct {
	against float64 // that holds it down; the masthead counts only if its mass was given
	onto    float64 // that presses on the soil, less the soil dug out
}

// weightN adds up the dead load. In ground that is not dry the footing is taken
// to stand in water, which carries part of it.
func (r Report) weightN() weights {
	d := r.Design
	concreteM3 := float64(r.Concrete)
	steelKg := d.Pole.Section.MassPerMeter() * float64(r.PoleLength)
	headKg := float64(d.Array.Mass)
	buoyantKg := 0.0
	if !d.Ground.Dry {
		buoyantKg = 1000 * concreteM3
	}
	heldKg := steelKg + float64(d.Rules.ConcreteDensity)*concreteM3 - buoyantKg
	if !slices.ContainsFunc(r.Assumed, func(a Assumption) bool { return a.Input == massInput }) {
		heldKg += headKg
	}
	excessKg := max(0, float64(d.Rules.ConcreteDensity-d.Rules.SoilDensity)*concreteM3)
	return weights{
		against: max(0, heldKg) * unit.GravityMPS2,
		onto:    (steelKg + headKg + excessKg) * unit.GravityMPS2,
	}
}
