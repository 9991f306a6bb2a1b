package mast

import "pondwright/calc/unit"

// Rules are the figures behind a judgement that rest on convention, memory or
// practice. A zero field takes its default from Settings.
type Rules struct {
	Gust            float64                     // gust factor of a rigid structure
	Directionality  float64                     // Kd
	PoleDrag        float64                     // drag coefficient of the pole
	WetShare        float64                     // of bearing left in wet, untested shore soil
	BelowGrade      float64                     // rise of the pole's moment below grade, as a share
	ConcreteDensity unit.KilogramsPerCubicMeter // plain concrete in air
	SoilDensity     unit.KilogramsPerCubicMeter // of the soil dug out
	PoleShort       unit.Meters                 // concrete under the pole
	BagYield        unit.CubicMeters            // concrete from one bag
	HeadDensity     float64                     // panels and frame, kg per m² of panel
	DigStep         unit.Meters                 // to which Size rounds a depth up
}

// ruleSettings ties each field of Rules to its default.
func ruleSettings(r *Rules) []struct {
	set   unit.Setting
	field *float64
} {
	type row = struct {
		set   unit.Setting
		field *float64
	}
	return []row{
		{unit.Setting{Name: "gust factor of a rigid mast", Value: 0.85, Unit: "1", Mark: unit.Published, Source: "ASCE 7-22, 26.11.1, as cited in public code"}, &r.Gust},
		{unit.Setting{Name: "wind directionality factor", Value: 0.85, Unit: "1", Mark: unit.Published, Source: "ASCE 7-22, 26.6, as cited in public code"}, &r.Directionality},
		{unit.Setting{Name: "drag coefficient of the pole", Value: 1.2, Unit: "1", Mark: unit.FromMemory, Source: "ASCE 7, round chimneys and tanks"}, &r.PoleDrag},
		{unit.Setting{Name: "share of bearing left in wet, untested shore soil", Value: 0.5, Unit: "1", Mark: unit.CommonPractice}, &r.WetShare},
		{unit.Setting{Name: "rise of the pole's bending moment below grade", Value: 0.15, Unit: "1", Mark: unit.CommonPractice}, &r.BelowGrade},
		{unit.Setting{Name: "density of concrete", Value: 2322.7, Unit: "kg/m³", Mark: unit.CommonPractice}, (*float64)(&r.ConcreteDensity)},
		{unit.Setting{Name: "density of soil dug out", Value: 1760, Unit: "kg/m³", Mark: unit.CommonPractice}, (*float64)(&r.SoilDensity)},
		{unit.Setting{Name: "concrete under the pole", Value: 0.1524, Unit: "m", Mark: unit.CommonPractice}, (*float64)(&r.PoleShort)},
		{unit.Setting{Name: "concrete from one 80 lb bag", Value: 0.60 * 0.028316846592, Unit: "m³", Mark: unit.CommonPractice}, (*float64)(&r.BagYield)},
		{unit.Setting{Name: "mass of panels and frame per area of panel", Value: 18, Unit: "kg/m²", Mark: unit.Judgement}, &r.HeadDensity},
		{unit.Setting{Name: "step to which a footing depth is rounded up", Value: 0.0254, Unit: "m", Mark: unit.Judgement}, (*float64)(&r.DigStep)},
	}
}

// Defaults for inputs that a Design leaves out; a design judged with any of them
// is never Enough.
const (
	defaultSpeedMPS    = 115 * 0.44704
	defaultTopographic = 1
	defaultYieldPa     = 35e3 * 6894.757293168361
	minFrequencyHz     = 1
)

// inputSettings lists the defaults of left-out inputs.
func inputSettings() []unit.Setting {
	return []unit.Setting{
		{Name: "basic wind speed, where none is given", Value: defaultSpeedMPS, Unit: "m/s", Mark: unit.Judgement},
		{Name: "topographic factor, where none is given", Value: defaultTopographic, Unit: "1", Mark: unit.Judgement},
		{Name: "yield stress of pole steel, where none is given", Value: defaultYieldPa, Unit: "Pa", Mark: unit.FromMemory, Source: "ASTM A53 grade B"},
		{Name: "natural frequency of a rigid structure, at least", Value: minFrequencyHz, Unit: "Hz", Mark: unit.Published, Source: "ASCE 7-22, 26.11, as cited in public code"},
		{Name: "soil at the top not to count in wet clay", Value: 0.3048, Unit: "m", Mark: unit.CommonPractice},
	}
}

// Settings lists the figures of this package that a person may replace, in a
// fixed order: those of Rules, then the defaults of inputs and, to be seen, what
// pipes rest on.
func Settings() []unit.Setting {
	var out []unit.Setting
	for _, r := range ruleSettings(new(Rules)) {
		out = append(out, r.set)
	}
	out = append(out, inputSettings()...)
	out = append(out,
		unit.Setting{Name: "share of a pipe's nominal wall that counts", Value: designWall, Unit: "1", Mark: unit.FromMemory, Source: "AISC 360"},
		unit.Setting{Name: "divisor of bending strength", Value: safety, Unit: "1", Mark: unit.FromMemory, Source: "AISC 360, chapter F8"},
		unit.Setting{Name: "slenderness up to which a pipe is compact, D/t over E/Fy", Value: compactShare, Unit: "1", Mark: unit.FromMemory, Source: "AISC 360, table B4.1"})
	for _, p := range Schedule40() {
		out = append(out, unit.Setting{Name: "outside diameter, " + p.Name, Value: float64(p.Outside), Unit: "m", Mark: unit.FromMemory, Source: "ASME B36.10M"},
			unit.Setting{Name: "wall, " + p.Name, Value: float64(p.Wall), Unit: "m", Mark: unit.FromMemory, Source: "ASME B36.10M"})
	}
	return out
}

// filled reports the rules with defaults in place of zeros.
func (r Rules) filled() Rules {
	for _, row := range ruleSettings(&r) {
		if *row.field == 0 {
			*row.field = row.set.Value
		}
	}
	return r
}

// check returns a *unit.RangeError for a rule outside a tenth to ten times its
// default, shares up to one.
func (r Rules) check() error {
	for _, row := range ruleSettings(&r) {
		lo, hi := row.set.Value/10, row.set.Value*10
		if row.field == &r.WetShare || row.field == &r.BelowGrade {
			hi = 1
		}
		if err := unit.CheckRange(row.set.Name+" ("+row.set.Unit+")", *row.field, lo, hi, windSource); err != nil {
			return err
		}
	}
	return nil
}
