package treat

import (
	"fmt"

	"pondwright/calc/unit"
)

// Basis says what a level counts. The zero value means not said, and is
// refused: for a 5 % product the two differ twentyfold.
type Basis int

// The bases of a level.
const (
	BasisUnknown Basis = iota
	ProductLevel       // mg of product per liter
	ActiveLevel        // mg of active ingredient per liter
)

// Agent is what the product is, as far as rules of its own go with it.
type Agent int

// The agents.
const (
	OtherAgent Agent = iota
	Copper           // active ingredient counted as copper
	Rotenone
)

// Part says which water is treated. The zero value is the whole pond.
type Part int

// The parts.
const (
	WholePond Part = iota
	Layer          // between two depths
	Zone           // between shores and a line across
)

// Aerator says what the aerator does during treatment. The zero value means not
// said.
type Aerator int

// What the aerator does.
const (
	AeratorUnknown Aerator = iota
	AeratorRuns
	AeratorOff // off, and stays off as long as the label says the treatment works
	NoAerator
)

// Volume is a measured volume with its interval at 95 %, 0 < Low ≤ Best ≤ High.
type Volume struct{ Low, Best, High unit.CubicMeters }

func (v Volume) check(what string) error {
	const source = "a pond measured with its doubt"
	for _, in := range []struct {
		name        string
		got, lo, hi float64
	}{
		{"volume of " + what + " (m³)", float64(v.Best), minVolumeM3, maxVolumeM3},
		{"low end of the volume of " + what + " (m³)", float64(v.Low), minVolumeM3, float64(v.Best)},
		{"high end of the volume of " + what + " (m³)", float64(v.High), float64(v.Best), maxVolumeM3},
	} {
		if err := unit.CheckRange(in.name, in.got, in.lo, in.hi, source); err != nil {
			return err
		}
	}
	return nil
}

const (
	minVolumeM3 = 1
	maxVolumeM3 = 1e9
	minLevelMGL = 1e-6
	maxLevelMGL = 1e3
	labelSource = "the product's label"
)

// Product is what the label says about the product. Either Strength or
// ActivePerVolume must be given.
type Product struct {
	Agent           Agent
	Strength        float64                     // active ingredient by mass, above 0 to 1
	Density         unit.KilogramsPerCubicMeter // of a liquid; 0 for a dry product
	ActivePerVolume unit.KilogramsPerCubicMeter // active ingredient per volume of liquid; 0 where Strength is given
}

// check returns an error unless the strength is given once and in range.
func (p Product) check() error {
	if err := unit.CheckRange("density of the product (kg/m³)", float64(p.Density), 0, 5000, labelSource); err != nil {
		return err
	}
	if p.ActivePerVolume != 0 {
		if p.Strength != 0 {
			return &Refusal{Rule: AgainstFigure, Remedy: "give the strength by mass or by volume, not both", Source: labelSource}
		}
		return unit.CheckRange("active ingredient per volume (kg/m³)", float64(p.ActivePerVolume), 0.01, 5000, labelSource)
	}
	return unit.CheckRange("strength of the product", p.Strength, 1e-4, 1, labelSource)
}

// Dose is a treatment to be weighed out. Level, Basis, Product and Volume must
// be given; for a Layer or Zone also Pond and Aerator.
type Dose struct {
	Level      unit.MilligramsPerLiter // from the label, typed in by the licensed person
	Basis      Basis
	LabelMax   unit.MilligramsPerLiter // greatest level the label allows, on the same basis; 0 is not typed in
	Product    Product
	Part       Part
	Volume     Volume // of the part treated
	Pond       Volume // of the whole pond, for a Layer, a Zone or a weedy pond
	Aerator    Aerator
	Thermal    bool                    // a profile of the last days shows a strong thermocline, for a Layer
	Weedy      bool                    // plants or algae fill much of the pond and will die
	Alkalinity unit.MilligramsPerLiter // total, as CaCO₃; for Copper
}

// Amount is a quantity of product, for the low end of the volume.
type Amount struct {
	Active      unit.Kilograms
	Product     unit.Kilograms          // 0 where the label gives strength by volume and no density
	Liquid      unit.CubicMeters        // 0 for a dry product
	Level       unit.MilligramsPerLiter // of active ingredient in the part treated, if its volume is the low end
	LeastLevel  unit.MilligramsPerLiter // the same if the volume is the high end
	Mixed       unit.MilligramsPerLiter // of active ingredient once the part has mixed into the whole pond
	VolumeUsed  unit.CubicMeters
	VolumeNamed string // which end of the volume that is
	Cautions    []string
}

// Quantity reports how much product brings the treated water to a level: volume
// × level / strength. It uses the low end of the volume, so that the level is
// not passed anywhere within the survey's doubt. It returns a *Refusal where a
// rule forbids the treatment and a *unit.RangeError for figures out of range.
func Quantity(d Dose) (Amount, error) {
	if err := d.check(); err != nil {
		return Amount{}, err
	}
	activeMGL, err := d.activeMGL()
	if err != nil {
		return Amount{}, err
	}
	if err := d.refuse(activeMGL); err != nil {
		return Amount{}, err
	}
	volumeM3 := float64(d.Volume.Low)
	a := Amount{
		Active:      unit.Kilograms(volumeM3 * activeMGL / 1000),
		Level:       unit.MilligramsPerLiter(activeMGL),
		LeastLevel:  unit.MilligramsPerLiter(activeMGL * float64(d.Volume.Low/d.Volume.High)),
		Mixed:       unit.MilligramsPerLiter(activeMGL),
		VolumeUsed:  d.Volume.Low,
		VolumeNamed: "low end of the measured volume, because a maximum must not be passed",
	}
	if d.Part != WholePond {
		a.Mixed = unit.MilligramsPerLiter(activeMGL * min(1, float64(d.Volume.Low/d.Pond.Best)))
	}
	p := d.Product
	switch {
	case p.ActivePerVolume != 0:
		a.Liquid = unit.CubicMeters(float64(a.Active) / float64(p.ActivePerVolume))
		a.Product = unit.Kilograms(float64(a.Liquid) * float64(p.Density))
	default:
		a.Product = unit.Kilograms(float64(a.Active) / p.Strength)
		if p.Density != 0 {
			a.Liquid = unit.CubicMeters(float64(a.Product) / float64(p.Density))
		}
	}
	a.Cautions = d.cautions()
	return a, nil
}

// check returns a *unit.RangeError for figures out of range.
func (d Dose) check() error {
	for _, in := range []struct {
		name        string
		got, lo, hi float64
	}{
		{"level (mg/L)", float64(d.Level), minLevelMGL, maxLevelMGL},
		{"label's greatest level (mg/L)", float64(d.LabelMax), 0, maxLevelMGL},
		{"agent", float64(d.Product.Agent), float64(OtherAgent), float64(Rotenone)},
		{"part of the pond", float64(d.Part), float64(WholePond), float64(Zone)},
		{"what the aerator does", float64(d.Aerator), float64(AeratorUnknown), float64(NoAerator)},
		{"alkalinity (mg/L as CaCO₃)", float64(d.Alkalinity), 0, 2000},
	} {
		if err := unit.CheckRange(in.name, in.got, in.lo, in.hi, labelSource); err != nil {
			return err
		}
	}
	if err := d.Product.check(); err != nil {
		return err
	}
	if err := d.Volume.check("the water treated"); err != nil {
		return err
	}
	if d.Part == WholePond && !d.Weedy {
		return nil
	}
	if err := d.Pond.check("the pond"); err != nil {
		return err
	}
	return unit.CheckRange("volume of the water treated (m³)", float64(d.Volume.Best), minVolumeM3, float64(d.Pond.Best), "the whole pond")
}

// activeMGL reports the level as active ingredient.
func (d Dose) activeMGL() (float64, error) {
	switch d.Basis {
	case ActiveLevel:
		return float64(d.Level), nil
	case ProductLevel:
		if d.Product.Strength != 0 {
			return float64(d.Level) * d.Product.Strength, nil
		}
		if d.Product.Density != 0 {
			return float64(d.Level) * min(1, float64(d.Product.ActivePerVolume/d.Product.Density)), nil
		}
		return 0, &Refusal{Rule: AgainstFigure, Remedy: "a level of product by mass needs the product's density beside its strength by volume", Source: labelSource}
	case BasisUnknown:
	}
	return 0, &Refusal{Rule: NoBasis, Remedy: "read it on the label", Source: labelSource}
}

// refuse returns the first rule that forbids the dose.
func (d Dose) refuse(activeMGL float64) error {
	if d.LabelMax > 0 && d.Level > d.LabelMax {
		return &Refusal{OverLabel, float64(d.Level), float64(d.LabelMax), "mg/L", "the label is the law", labelSource}
	}
	if d.Part != WholePond && d.Aerator != AeratorOff && d.Aerator != NoAerator {
		return &Refusal{Rule: LayerMixes, Remedy: "switch it off for as long as the treatment works, or dose the whole pond"}
	}
	if d.Part == Layer && !d.Thermal {
		return &Refusal{Rule: LayerWeak, Remedy: "measure temperature against depth"}
	}
	if d.Weedy {
		share := float64(d.Volume.Best / d.Pond.Best)
		if share > maxWeedShare {
			return &Refusal{TooMuchWeed, share, maxWeedShare, "of the pond", "treat a third to a half, and the next part 10 to 14 days later: dying plants take the oxygen", "extension bulletins, from memory"}
		}
	}
	switch d.Product.Agent {
	case Rotenone:
		if activeMGL > maxRotenoneMGL*(1+1e-9) {
			return &Refusal{OverToxicant, activeMGL, maxRotenoneMGL, "mg/L of active ingredient", "older rates are no longer lawful", rotenoneSource}
		}
	case Copper:
		return checkCopper(d.Alkalinity, activeMGL)
	case OtherAgent:
	}
	return nil
}

const (
	maxWeedShare   = 0.5
	maxRotenoneMGL = 0.2
	rotenoneSource = "Finlayson, American Fisheries Society meeting 2011, after EPA 738-R-07-005"
)

// cautions lists what has to be shown with an amount of product.
func (d Dose) cautions() []string {
	out := append([]string(nil), always...)
	out = append(out, fmt.Sprintf("The amount is for the low end of the measured volume; the level reached may be as low as %.0f %% of the one aimed at.", 100*float64(d.Volume.Low/d.Volume.High)))
	if d.LabelMax == 0 {
		out = append(out, "The label's greatest level was not typed in and was not checked.")
	}
	if d.Part != WholePond {
		out = append(out, "The amount is for one part of the pond. It holds only while that part stays unmixed: aerator off, no wind to turn it.")
	} else if d.Aerator == AeratorUnknown {
		out = append(out, "Ask the label whether the aerator runs or stands still during treatment.")
	}
	if d.Weedy {
		out = append(out, "Leave 10 to 14 days before the next part (extension bulletins, from memory).")
	}
	return append(out, d.Product.Agent.cautions()...)
}

// Cautions lists what goes with every figure of a treatment with an agent, in a
// fixed order.
func Cautions(a Agent) []string { return append(append([]string(nil), always...), a.cautions()...) }

// cautions lists what goes with an agent of its own.
func (a Agent) cautions() []string {
	var out []string
	switch a {
	case Copper:
		out = append(out, "Trout, koi, snails and the small life of soft water are harmed by little copper. Dying algae take oxygen: treat part, in the morning, in cool weather, with the aerator running.")
	case Rotenone:
		out = append(out, "Rotenone: restricted use. Keep the placards up and people out for the label's re-entry time, up to 14 days; protective equipment inside it; deactivate before any discharge.",
			"Test with caged fish before restocking.")
	case OtherAgent:
	}
	return out
}

// always holds the cautions of every amount of product.
var always = []string{
	"Quantities follow from the measured volume and the figure typed in from the label. They are no advice to treat.",
	"The label is the law: read it and follow it. Restricted products are bought and used by a licensed applicator or under one's supervision.",
	"Ask the state's fish and water agencies for the permits a treatment needs.",
	"Let no treated water leave the pond. Keep people and livestock out for as long as the label says.",
	"Plants, algae and fish that die use up oxygen for days. Measure it at dawn, at mid-depth and at the bottom; below 3 mg/L fish are in danger, below 2 mg/L many die (University of Georgia Extension).",
}
